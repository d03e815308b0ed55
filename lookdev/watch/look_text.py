"""A look file as text, exactly as it stands: what it says, where its keys are, what differs in another."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lookdev.errors import LookdevError, LookError
from lookdev.files import read_ordinary, write_whole
from lookdev.text.toml_in import MAX_BYTES, parse_toml

_TABLE = re.compile(r"\s*\[{1,2}\s*([^\[\]#]+?)\s*\]{1,2}\s*(?:#.*)?$")
_KEY = re.compile(r"\s*([A-Za-z0-9_\-.\"' ]+?)\s*=")
_MOST_CHANGES = 2


@dataclass(frozen=True)
class LookText:
    """A text file's words, lines ended by ``\\n``; how the file ends lines, and its mark."""

    text: str
    line_end: str = "\n"
    byte_order_mark: bool = False

    def encoded(self) -> bytes:
        """The bytes of the file."""
        raw = self.text.replace("\n", self.line_end).encode("utf-8")
        return codecs.BOM_UTF8 + raw if self.byte_order_mark else raw


def read_text(path: Path) -> LookText:
    """A look file's text.

    Raises
    ------
    LookError : it cannot be read, is over 200 kB, or no UTF-8.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise LookError("too large to be a look", file=path, wanted=f"at most {MAX_BYTES} bytes")
        raw = read_ordinary(path)
        text = raw.removeprefix(codecs.BOM_UTF8).decode("utf-8")
    except OSError as fault:
        raise LookError(f"cannot be read: {fault.strerror or fault}", file=path) from None
    except UnicodeDecodeError as fault:
        raise LookError(f"is not UTF-8 text (byte {fault.start})", file=path, wanted="a TOML file") from None
    line_end = "\r\n" if "\r\n" in text else "\n"
    return LookText(text.replace("\r\n", "\n"), line_end, raw.startswith(codecs.BOM_UTF8))


def write_text(path: Path, text: str, like: LookText) -> LookText:
    """Write ``text`` whole, with line ends and mark as ``like`` has them; gives what stands there now.

    Raises
    ------
    LookError : too large, or letters that UTF-8 does not have.
    LookdevError : the file cannot be written.
    """
    written = LookText(text.replace("\r\n", "\n"), like.line_end, like.byte_order_mark)
    try:
        raw = written.encoded()
    except UnicodeEncodeError:
        raise LookError("holds half a letter, which no file can keep", file=path) from None
    if len(raw) > MAX_BYTES:
        raise LookError("too large to be a look", file=path, wanted=f"at most {MAX_BYTES} bytes")
    write_whole(path, raw)
    return written


def line_of(error: LookdevError, text: str, path: Path) -> int:
    """The line of ``text``, from 1, that an error is about; that of ``based_on`` where another file is wrong.

    >>> line_of(LookError("out of range", key="curve.toe"), "[curve]\\ntoe = 9", Path("dusk.toml"))
    2
    """
    elsewhere = error.file is not None and Path(error.file) != path
    if error.line is not None and not elsewhere:
        return error.line
    lines = dict(_lines_of_keys(text))
    key = "based_on" if elsewhere else (error.key or "")
    while key:
        if key in lines:
            return lines[key]
        key = key.rpartition(".")[0]
    return 1


def _lines_of_keys(text: str) -> Iterator[tuple[str, int]]:
    """Dotted names of tables and keys as errors spell them, tables of a list numbered from 1, with lines."""
    table, counts = "", dict[str, int]()
    for number, line in enumerate(text.split("\n"), 1):
        if found := _TABLE.match(line):
            table = _dotted(found[1])
            if line.lstrip().startswith("[["):
                counts[table] = counts.get(table, 0) + 1
                table = f"{table}.{counts[table]}"
            yield table, number
        elif found := _KEY.match(line):
            yield f"{table}.{_dotted(found[1])}".lstrip("."), number


def _dotted(name: str) -> str:
    return ".".join(part.strip(" \t\"'") for part in name.split("."))


def what_changed(before: str, after: str) -> str:
    """What differs between two texts of a look, in a few words.

    >>> what_changed("[curve]\\ntoe = 0.1", "[curve]\\ntoe = 0.2\\nblack = 0.01")
    'curve.toe 0.1 to 0.2, curve.black 0.01'
    """
    if before == after:
        return "nothing"
    try:
        then, now = (dict(_values(parse_toml(text, LookError))) for text in (before, after))
    except LookError:
        return "does not read"
    changes = [
        _change(key, then, now) for key in dict.fromkeys([*then, *now]) if then.get(key) != now.get(key)
    ]
    if not changes:
        return "words and order"
    rest = len(changes) - _MOST_CHANGES
    return ", ".join(changes[:_MOST_CHANGES]) + (f" and {rest} more" if rest > 0 else "")


def _values(data: Any, above: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(data, dict):
        for key, value in data.items():
            yield from _values(value, f"{above}.{key}" if above else str(key))
    elif isinstance(data, list) and any(isinstance(each, dict) for each in data):
        for number, value in enumerate(data, 1):
            yield from _values(value, f"{above} {number}")
    else:
        yield above, _clip(str(data))


def _change(key: str, then: dict[str, str], now: dict[str, str]) -> str:
    name = _clip(key)
    if key not in now:
        return f"{name} taken out"
    return f"{name} {now[key]}" if key not in then else f"{name} {then[key]} to {now[key]}"


def _clip(text: str, limit: int = 40) -> str:
    return text if len(text) <= limit else text[: limit - 1] + "…"
