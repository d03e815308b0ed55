"""What is set on a page and how large it is: styles, boxes, table columns, colours, lines of text measured.

Sizes are points (1/72 inch). Nothing here draws: :mod:`lookdev.pages.page` does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.errors import SheetError
from lookdev.pages import fonts

Colour = Sequence[float] | Sequence[int]
Align = Literal["left", "centre", "right"]


MIN_SIZE = 7.0

SURROUND = (119, 119, 119)  # L* 50.0
INK = (0, 0, 0)
PAPER_WHITE = (255, 255, 255)
HAIRLINE = (70, 70, 70)
"""sRGB, 8 bits, all neutral, so that nothing on the page tints the eye."""


@dataclass(frozen=True)
class Style:
    """How text is set: size in points, weight, colour, and line distance as a multiple of the size."""

    size: float
    weight: str = fonts.REGULAR
    colour: Colour = INK
    leading: float = 1.28

    @property
    def line(self) -> float:
        """Distance between baselines in points."""
        return self.size * self.leading

    def width(self, text: str) -> float:
        """Width of ``text`` in points."""
        return fonts.text_width(text, self.size, self.weight)


HEADING = Style(19, fonts.SEMIBOLD, PAPER_WHITE, 1.15)
SUBHEADING = Style(11.5, fonts.SEMIBOLD, PAPER_WHITE, 1.2)
BODY = Style(9)
BODY_BOLD = Style(9, fonts.SEMIBOLD)
SMALL = Style(7.5)
SMALL_BOLD = Style(7.5, fonts.SEMIBOLD)
LABEL = Style(7.0)


@dataclass(frozen=True)
class Box:
    """A rectangle in points from the top left of the page."""

    left: float
    top: float
    right: float
    bottom: float
    what: str = ""

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    def overlaps(self, other: Box, slack: float = 0.05) -> bool:
        """Whether the two share more than ``slack`` points in both directions."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return across > slack and down > slack


@dataclass(frozen=True)
class Column:
    """A table column: its heading, width in points, alignment."""

    heading: str
    width: float
    align: Align = "left"


@dataclass(frozen=True)
class TableEnd:
    """Where a table stopped: the y under it, and how many rows are drawn: fewer than given on a full page."""

    bottom: float
    rows: int


def unit_rgb(colour: Colour) -> tuple[float, float, float]:
    """sRGB in 0..1, clipped, of floats in 0..1 or 8-bit integers.

    >>> unit_rgb((255, 0, 51))
    (1.0, 0.0, 0.2)
    """
    values = tuple(colour)
    if len(values) != 3:
        raise SheetError("a colour has three values", found=str(colour))
    return _unit_rgb(*values)


@lru_cache(maxsize=4096, typed=True)
def _unit_rgb(red: float, green: float, blue: float) -> tuple[float, float, float]:
    values = np.array((red, green, blue))
    scale = 255.0 if np.issubdtype(values.dtype, np.integer) else 1.0
    unit = np.clip(values / scale, 0.0, 1.0)
    return float(unit[0]), float(unit[1]), float(unit[2])


def fitted(text: str, style: Style, width: float, min_size: float = MIN_SIZE, lines: int = 1) -> Style:
    """``style``, smaller where ``text`` takes more than ``lines`` lines, down to ``min_size``."""
    size, text = style.size, _clipped(text, lines)
    while size > min_size and len(fonts.wrap(text, size, width, style.weight)) > lines:
        size = max(min_size, size - 0.5)
    return style if size == style.size else replace(style, size=size)


def _clipped(text: str, lines: int | None) -> str:
    """No more of ``text`` than ``lines`` lines could hold on any page, so that absurd input costs no time."""
    return text if lines is None else text[: (lines + 1) * 400]


def lines_of(text: str, style: Style, width: float, max_lines: int | None = None) -> list[str]:
    """The lines of ``text`` in ``width`` points; more than ``max_lines`` end in "…"."""
    lines = fonts.wrap(_clipped(text, max_lines), style.size, width, style.weight)
    if max_lines is None or len(lines) <= max_lines:
        return lines
    last = fonts.shorten(lines[max_lines - 1] + " " + lines[max_lines], style.size, width, style.weight)
    if not last.endswith("…"):
        last = fonts.shorten(last + "…" * 2, style.size, width, style.weight)
    return [*lines[: max_lines - 1], last]


def text_height(text: str, style: Style, width: float, max_lines: int | None = None) -> float:
    """Height in points that :meth:`Page.paragraph` will take."""
    return len(lines_of(text, style, width, max_lines)) * style.line


def table_row_height(
    columns: Sequence[Column],
    row: Sequence[str | Colour],
    style: Style = SMALL,
    padding: float = 3.0,
    max_lines: int = 12,
) -> float:
    """Height in points of one table row."""
    if len(row) != len(columns):
        raise SheetError("a table row needs one cell a column", found=len(row), wanted=str(len(columns)))
    heights = [
        text_height(cell, style, column.width, max_lines) if isinstance(cell, str) else style.line
        for column, cell in zip(columns, row, strict=True)
    ]
    return max(heights, default=0.0) + 2 * padding


def as_uint8(srgb: ArrayLike) -> NDArray[np.uint8]:
    """uint8 of sRGB signal in 0..1, rounded half up and clipped."""
    return np.asarray(np.clip(np.floor(np.asarray(srgb) * 255.0 + 0.5), 0, 255), dtype=np.uint8)
