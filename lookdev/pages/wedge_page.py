"""Pages of a wedge: one still in many versions of a look, on the neutral surround, a page a still.

Pure data in, pages out. Each version has its sign and its value over it, and how far it is from its
neighbour; the look itself is framed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lookdev.pages import fonts
from lookdev.pages.document import Document
from lookdev.pages.page import Page
from lookdev.pages.setting import PAPER_WHITE, SMALL, Style
from lookdev.pages.sheet_parts import draw_picture
from lookdev.pages.thumbnails import fit_size
from lookdev.paint.faces import Face

Picture = NDArray[np.uint8]

GAP = 9.0
UNDER = 10.0
FACES, LARGEST_FACES = 13.0, 44.0
"""Points of the row of faces under a picture, at least; and at most, where the page has room for more."""

HOW_TO_READ = "Under each picture six model skins, light to dark: left half in daylight, right half here."
HEAD = Style(9, fonts.SEMIBOLD)
ITSELF = Style(9, fonts.SEMIBOLD, PAPER_WHITE)


@dataclass(frozen=True)
class WedgeCell:
    """``head`` as ``B2 · keep 0.35``, ``step`` in words, the picture (None: not made), ``itself`` framed,
    and the six complexions in it (none: no light was metered)."""

    head: str
    step: str
    picture: Picture | None
    itself: bool = False
    faces: tuple[Face, ...] = ()


@dataclass(frozen=True)
class WedgePage:
    """A still's page: its name, what is varied in words, (height, width) of its pictures, rows of cells."""

    still: str
    subject: str
    size: tuple[int, int]
    rows: tuple[tuple[WedgeCell, ...], ...]


def wedge_document(title: str, pages: Sequence[WedgePage], paper: str = "a4") -> Document:
    """A page a still."""
    document = Document(title, paper=paper, foot=title)
    for sheet in pages:
        page = document.new_page(sheet.still, sheet.subject)
        _draw(page, sheet)
    return document


def laid_out(rows: Sequence[Sequence[WedgeCell]], page: Page, size: tuple[int, int]) -> tuple[int, float]:
    """How many cells a line takes, and how wide a picture may be in points: as large as it can be.

    A ring-around keeps its columns; a single row is broken into as many lines as suits it.
    """
    count = len(rows[0])
    choices = [count] if len(rows) > 1 else range(1, count + 1)
    return max(((across, _width(rows, page, size, across)) for across in choices), key=lambda c: (c[1], c[0]))


def _width(rows: Sequence[Sequence[WedgeCell]], page: Page, size: tuple[int, int], across: int) -> float:
    lines = len(rows) if len(rows) > 1 else -(-len(rows[0]) // across)
    wide = (page.content.width - GAP * (across - 1)) / across
    for _ in range(3):  # narrower pictures may need more lines of words
        words = _words_height(rows, wide)
        tall = (_room(rows, page) - lines * (words + _faces_height(rows)) - UNDER * (lines - 1)) / lines
        wide = min(wide, max(tall, 1.0) * size[1] / size[0])
    return wide


def _has_faces(rows: Sequence[Sequence[WedgeCell]]) -> bool:
    return any(cell.faces for row in rows for cell in row)


def _faces_height(rows: Sequence[Sequence[WedgeCell]]) -> float:
    """At least, with the gap over it."""
    return FACES + 3 if _has_faces(rows) else 0.0


def _room(rows: Sequence[Sequence[WedgeCell]], page: Page) -> float:
    """Points for the cells, one above the other."""
    return page.content.height - (SMALL.line + 4 if _has_faces(rows) else 0.0)


def _words_height(rows: Sequence[Sequence[WedgeCell]], width: float) -> float:
    from lookdev.pages.setting import text_height

    return max(
        text_height(cell.head, HEAD, width, 2) + text_height(cell.step, SMALL, width, 2) + 3
        for row in rows
        for cell in row
    )


def _draw(page: Page, sheet: WedgePage) -> None:
    across, wide = laid_out(sheet.rows, page, sheet.size)
    words = _words_height(sheet.rows, wide)
    rows = sheet.rows
    if len(rows) == 1:
        rows = tuple(rows[0][k : k + across] for k in range(0, len(rows[0]), across))
    room = (
        max(1, round(wide * sheet.size[0] / sheet.size[1] / page.pixel)),
        round(wide / page.pixel),
    )
    box = fit_size(sheet.size, room)
    high = box[0] * page.pixel
    faces = _faces_height(rows)
    spare = _room(rows, page) - len(rows) * (words + high + faces) - UNDER * (len(rows) - 1)
    if faces:
        more = max(0.0, min(spare / len(rows), LARGEST_FACES - FACES))
        faces, spare = faces + more, spare - more * len(rows)
    left = page.content.left + max(0.0, page.content.width - across * wide - GAP * (across - 1)) / 2
    y = page.content.top + max(0.0, spare) * 0.4  # a row of portraits stands in the middle, a little high
    for row in rows:
        for k, cell in enumerate(row):
            x = left + k * (wide + GAP)
            end = page.paragraph(x, y, wide, cell.head, ITSELF if cell.itself else HEAD, max_lines=2)
            page.paragraph(x, end, wide, cell.step, SMALL, max_lines=2)
            top = y + words
            draw_picture(page, x, top, cell.picture, box)
            if cell.itself:
                _frame(page, x, top, box[1] * page.pixel, high)
            _draw_faces(page, x, top + high + 3, box[1] * page.pixel, faces - 3, cell.faces)
        y += words + high + faces + UNDER
    if faces:
        page.text(
            left, y - UNDER + 4, HOW_TO_READ, SMALL, width=page.content.right - left, overflow="ellipsis"
        )


def _draw_faces(page: Page, x: float, y: float, width: float, height: float, faces: Sequence[Face]) -> None:
    """Side by side, over the width of their picture."""
    for k, face in enumerate(faces):
        column = width / len(faces)
        half = (column - 2) / 2
        page.swatch(x + k * column, y, half, height, tuple(face.daylight))
        page.swatch(x + k * column + half, y, half, height, tuple(face.here))


def _frame(page: Page, x: float, top: float, width: float, height: float) -> None:
    x, top, off = page.snap(x), page.snap(top), 1.5
    corners = [(x - off, top - off), (x + width + off, top - off), (x + width + off, top + height + off)]
    page.polygon([*corners, (x - off, top + height + off)], outline=PAPER_WHITE)
