"""Wedges of looks: one look at several values of a key, or of two (a ring-around), or from one to another."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from lookdev.errors import RequestError
from lookdev.looks.keys import known_key, numbers_of, tidy, with_numbers
from lookdev.looks.mix import mixed
from lookdev.looks.model import Look
from lookdev.text.numbers import MINUS

MOST_IN_A_ROW = 9
MOST_IN_A_RING = 7
_NUMBER = r"[+\-−–]?(?:\d+(?:\.\d*)?|\.\d+)"
_RANGE = re.compile(rf"({_NUMBER})\s*(?:to|\.\.)\s*({_NUMBER})\s*(?:in|by)\s*(\d+)")
_WANTED = 'KEY = 0, .25, .5 or KEY = 0 to 1 in 5, such as "balance.keep = 0, .25, .5"'


@dataclass(frozen=True)
class Variation:
    """A key and the values that it takes, the least first or as typed."""

    key: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class Cell:
    """One version: its sign (``3``, ``B2``), what is set in it, the look, whether that is the look itself."""

    sign: str
    head: str
    look: Look
    values: tuple[tuple[str, float], ...] = ()
    itself: bool = False


@dataclass(frozen=True)
class Wedge:
    """Rows of cells: one row, or as many as the second key has values."""

    title: str
    rows: tuple[tuple[Cell, ...], ...]
    words: str

    @property
    def cells(self) -> tuple[Cell, ...]:
        """All cells, row by row."""
        return tuple(cell for row in self.rows for cell in row)

    def cell(self, sign: str) -> Cell:
        """The cell of a sign.

        Raises
        ------
        RequestError : there is none.
        """
        for cell in self.cells:
            if cell.sign.casefold() == sign.strip().casefold():
                return cell
        ends = f"{self.cells[0].sign} to {self.cells[-1].sign}"
        raise RequestError("no such cell in this wedge", found=sign.strip()[:20], wanted=ends)


def parse_variation(text: str, look: Look) -> Variation:
    """``balance.keep = 0, .25, .5`` or ``balance.keep = 0 to 1 in 5``.

    Raises
    ------
    RequestError : it is not that, or the key is no number of the look.

    >>> parse_variation("balance.keep = 0 to 1 in 5", Look(title="x")).values
    (0.0, 0.25, 0.5, 0.75, 1.0)
    """
    name, equals, right = text.partition("=")
    if not equals or not name.strip() or not right.strip():
        raise RequestError("not a key with its values", found=text[:80], wanted=_WANTED)
    key = known_key(look, name)
    values = _values(right.strip(), text)
    if len(set(values)) != len(values):
        raise RequestError("a value stands twice", found=text[:80], wanted="each value once")
    for value in values:
        with_numbers(look, {key: value})  # in range, or said so
    return Variation(key, values)


def _values(right: str, text: str) -> tuple[float, ...]:
    spread = _RANGE.fullmatch(right)
    if spread:
        low, high, steps = _number(spread[1]), _number(spread[2]), spread[3].lstrip("0") or "0"
        if len(steps) > 3 or not 2 <= int(steps) <= MOST_IN_A_ROW:
            raise RequestError("so many steps", found=steps[:20], wanted=f"2 to {MOST_IN_A_ROW}")
        count = int(steps)
        return tuple(tidy(low + (high - low) * i / (count - 1)) for i in range(count))
    parts = [part for part in re.split(r"\s*[,;]\s*|\s+", right) if part]
    if not parts or not all(re.fullmatch(_NUMBER, part) for part in parts):
        raise RequestError("not numbers", found=text[:80], wanted=_WANTED)
    if len(parts) > MOST_IN_A_ROW:
        raise RequestError("so many values", found=len(parts), wanted=f"at most {MOST_IN_A_ROW}")
    return tuple(_number(part) for part in parts)


def _number(text: str) -> float:
    return float(text.replace(MINUS, "-").replace("–", "-"))


def wedge_of(look: Look, variations: Sequence[Variation]) -> Wedge:
    """A row for one key; for two a ring-around: the first key across, the second down.

    In a ring-around the look's own values are put in where they are not among those typed, so that the look
    itself stands among its neighbours.

    Raises
    ------
    RequestError : no key, more than two, the same twice, or too many values.
    """
    if not 1 <= len(variations) <= 2:
        raise RequestError(
            "a wedge varies one key or two", found=len(variations), wanted="--vary once or twice"
        )
    own = numbers_of(look)
    if len(variations) == 1:
        (across,) = variations
        row = tuple(
            _cell(look, str(i), ((across.key, value),), own) for i, value in enumerate(across.values, 1)
        )
        return Wedge(look.title, (row,), across.key)
    across, down = variations
    if across.key == down.key:
        raise RequestError("the same key twice", found=across.key, wanted="two keys")
    columns, lines = (_with_own(v.values, own[v.key]) for v in (across, down))
    if max(len(columns), len(lines)) > MOST_IN_A_RING:
        found = f"{len(columns)} by {len(lines)}"
        raise RequestError(
            "too many values in a ring-around", found=found, wanted=f"at most {MOST_IN_A_RING} each"
        )
    rows = tuple(
        tuple(
            _cell(look, f"{chr(65 + i)}{j}", ((across.key, x), (down.key, y)), own)
            for i, x in enumerate(columns)
        )
        for j, y in enumerate(lines, 1)
    )
    return Wedge(look.title, rows, f"{across.key} across, {down.key} down")


def _with_own(values: tuple[float, ...], own: float) -> tuple[float, ...]:
    if own in values:
        return values
    rising = values[0] <= values[-1]
    return tuple(sorted((*values, own), reverse=not rising))


def _cell(look: Look, sign: str, values: tuple[tuple[str, float], ...], own: dict[str, float]) -> Cell:
    head = ", ".join(f"{_short(key)} {_shown(value)}" for key, value in values)
    itself = all(own[key] == value for key, value in values)
    made = (
        look
        if itself
        else with_numbers(look, dict(values)).model_copy(update={"title": f"{look.title}, {head}"[:120]})
    )
    return Cell(sign, head, made, values, itself)


def _short(key: str) -> str:
    """A key as it stands over a picture: its last two parts where one would not do."""
    parts = key.split(".")
    return parts[-1] if len(parts) < 3 else " ".join(parts[-2:])


def _shown(value: float) -> str:
    return f"{value:g}".replace("-", MINUS)


def between(one: Look, two: Look, steps: int) -> Wedge:
    """From one look to another in so many cells, both ends among them.

    Raises
    ------
    RequestError : the steps are not 3 to 9, or the two cannot be mixed.
    """
    if not 3 <= steps <= MOST_IN_A_ROW:
        raise RequestError("so many steps", found=steps, wanted=f"3 to {MOST_IN_A_ROW}")
    cells = []
    for i in range(steps):
        share = i / (steps - 1)
        end = one if i == 0 else two if i == steps - 1 else None
        head = f"share {_shown(tidy(share))}" if end is None else end.title
        title = f"{one.title} to {two.title}, {round(100 * share)}%"[:120]
        look = end if end is not None else mixed(one, two, share, title)
        cells.append(Cell(str(i + 1), head, look, itself=end is not None))
    return Wedge(f"{one.title} to {two.title}", (tuple(cells),), "share of the way")
