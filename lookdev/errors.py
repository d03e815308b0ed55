"""One family of errors, written for the person who typed the file."""

from __future__ import annotations

from pathlib import Path
from typing import Self


class LookdevError(Exception):
    """Something a person can mend: what, where, what was found, what is wanted.

    Parameters
    ----------
    problem : what is wrong, in plain words.
    file, line, row, column, key : where. Lines count from 1; rows as in a spreadsheet, header included.
    found : the text or value as it stands there.
    wanted : what would be accepted.

    Examples
    --------
    >>> str(MeterError("not a number", file="meter.csv", row=4, column="cct_k",
    ...                found="32oo", wanted="kelvin from 1000 to 25000"))
    "meter.csv, row 4, column cct_k: not a number; found '32oo'; wanted kelvin from 1000 to 25000"
    """

    def __init__(
        self,
        problem: str,
        *,
        file: str | Path | None = None,
        line: int | None = None,
        row: int | None = None,
        column: str | None = None,
        key: str | None = None,
        found: object = None,
        wanted: str | None = None,
    ) -> None:
        self.problem, self.file, self.line, self.row = problem, file, line, row
        self.column, self.key, self.found, self.wanted = column, key, found, wanted
        super().__init__(self._line())

    def about(self, file: str | Path) -> Self:
        """The same error with the file that it is about, where it names none."""
        if self.file is not None:
            return self
        state = {k: v for k, v in self.__dict__.items() if k not in ("problem", "file")}
        return type(self)(self.problem, file=file, **state)

    def _line(self) -> str:
        where = []
        if self.file is not None:
            where.append(one_line(str(self.file)))
        if self.line is not None:
            where.append(f"line {self.line}")
        if self.row is not None:
            where.append(f"row {self.row}")
        if self.column is not None:
            where.append(f"column {_clip(one_line(self.column))}")
        if self.key is not None:
            where.append(f"key {_clip(one_line(self.key))}")
        what = [one_line(self.problem)]
        if self.found is not None:
            what.append(f"found {_short(self.found)}")
        if self.wanted is not None:
            what.append(f"wanted {one_line(self.wanted)}")
        head = ", ".join(where)
        return (head + ": " if head else "") + "; ".join(what)

    def __reduce__(self) -> tuple[object, ...]:
        state = {k: v for k, v in self.__dict__.items() if k != "problem"}
        return (_rebuild, (type(self), self.problem, state))


def _rebuild(kind: type[LookdevError], problem: str, state: dict[str, object]) -> LookdevError:
    return kind(problem, **state)  # type: ignore[arg-type]


def one_line(text: str) -> str:
    """``text`` on one line, with control characters and lone surrogates shown as escapes."""
    out = []
    for char in text:
        if char.isprintable() and not 0xD800 <= ord(char) <= 0xDFFF:
            out.append(char)
        else:
            out.append(char.encode("unicode_escape", "surrogatepass").decode("ascii"))
    return "".join(out)


def _short(value: object) -> str:
    try:
        text = repr(value) if isinstance(value, str) else str(value)
    except (RecursionError, ValueError):  # a table nested without end, an integer of over 4300 digits
        text = f"a {type(value).__name__} too large to print"
    return _clip(one_line(text))


def _clip(text: str, limit: int = 80) -> str:
    return text if len(text) <= limit else text[: limit - 1] + "…"


class StillError(LookdevError):
    """A still cannot be read or written."""


class MeterError(LookdevError):
    """The meter log, a spectrum file or scout.toml is wrong somewhere."""


class LookError(LookdevError):
    """A look file is wrong somewhere."""


class LutError(LookdevError):
    """A LUT or CDL file is wrong somewhere, or cannot express what was asked."""


class ChipError(LookdevError):
    """A chip file is wrong somewhere."""


class SheetError(LookdevError):
    """A sheet cannot be laid out."""


class RequestError(LookdevError):
    """The request itself is wrong; nothing was written (exit status 2)."""
