"""The painter's pages: what to mix for each place, on white, large enough to be read from a ladder.

Pure data in, pages out; nothing is computed here. As made and as it reads on screen touch each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lookdev.pages import fonts
from lookdev.pages.document import Document
from lookdev.pages.page import Page
from lookdev.pages.setting import INK, PAPER_WHITE, Column, Style, text_height
from lookdev.pages.swatch_page import CAUTIONS

Signal = Sequence[float] | NDArray[np.float64]

PLACE = Style(24, fonts.SEMIBOLD, INK, 1.15)
FACT = Style(9.5, fonts.REGULAR, INK)
PAINT = Style(17, fonts.SEMIBOLD, INK, 1.15)
NUMBERS = Style(11.5, fonts.REGULAR, INK)
KNOWN = Style(9, fonts.REGULAR, INK)
LOUD = Style(12.5, fonts.SEMIBOLD, INK, 1.2)
COLUMN = Style(9.5, fonts.SEMIBOLD, INK)
FOOT = Style(7.5, fonts.REGULAR, INK)
LIST = Style(11, fonts.REGULAR, INK)

LABEL_WIDTH = 214.0
ROW_GAP = 12.0
ROW_LEAST = 118.0


@dataclass(frozen=True)
class Seen:
    """How a paint reads in one column: sRGB signal 0 to 1, its name in words."""

    signal: Signal
    name: str


@dataclass(frozen=True)
class PaintRow:
    """One paint at one place: its numbers, how it is known, and loud words where shop and screen differ."""

    title: str
    numbers: str
    known: str
    loud: str
    made: Seen
    seen: tuple[Seen, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlacePage:
    """One place: its light in a line or two, what the columns are, and its paints."""

    place: str
    facts: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[PaintRow, ...]


@dataclass(frozen=True)
class Pick:
    """A line of the pick list: sRGB signal as made, name, code, Munsell, LRV in percent, where it is used."""

    signal: Signal
    name: str
    code: str
    munsell: str
    lrv: str
    places: str


def painter_document(
    title: str, pages: Sequence[PlacePage], picks: Sequence[Pick], paper: str = "a4"
) -> Document:
    """A page a place (more where its paints need it), then the pick list."""
    document = Document(title, paper=paper, surround=PAPER_WHITE, foot=title)
    for page in pages:
        _place(document, page)
    _pick_list(document, picks)
    return document


def _cautions(page: Page) -> float:
    """The cautions at the foot; how far down the rest may go."""
    width = page.content.width
    top = page.content.bottom - text_height(CAUTIONS, FOOT, width)
    page.line(page.content.left, top - 4, page.content.right, top - 4)
    page.paragraph(page.content.left, top, width, CAUTIONS, FOOT)
    return top - 12


def _place(document: Document, sheet: PlacePage) -> None:
    todo = list(sheet.rows)
    first = True
    while todo:
        page = document.new_page()
        left, width = page.content.left, page.content.width
        bottom = _cautions(page)
        name = sheet.place if first else f"{sheet.place}, further paints"
        y = page.paragraph(left, page.content.top, width, name, PLACE, max_lines=2) + 2
        for fact in sheet.facts:
            y = page.paragraph(left, y, width, fact, FACT)
        y += 8
        cell = (width - LABEL_WIDTH) / (1 + len(sheet.columns))
        heads = ("as made, in the shop (daylight)", *sheet.columns)
        tall = max(text_height(h, COLUMN, cell - 8) for h in heads)
        for k, head in enumerate(heads):
            lift = tall - text_height(head, COLUMN, cell - 8)
            page.paragraph(left + LABEL_WIDTH + k * cell, y + lift, cell - 8, head, COLUMN)
        y += tall + 4
        heights = [_row_height(row, cell) for row in todo]
        fits, used = 0, 0.0
        for height in heights:
            used += height + ROW_GAP
            if fits and y + used - ROW_GAP > bottom:
                break
            fits += 1
        spare = max(0.0, bottom - y - sum(heights[:fits]) - ROW_GAP * (fits - 1)) / fits
        for row, height in zip(todo[:fits], heights, strict=False):
            each = height + min(spare, 60.0)
            _row(page, row, left, y, cell, each)
            y += each + ROW_GAP
        todo, first = todo[fits:], False


def _label_height(row: PaintRow) -> float:
    width = LABEL_WIDTH - 14
    parts = [(row.title, PAINT), (row.loud, LOUD), (row.numbers, NUMBERS), (row.known, KNOWN)]
    parts += [(remark, KNOWN) for remark in row.remarks]
    return sum(text_height(text, style, width) + 2 for text, style in parts if text)


def _name_height(row: PaintRow, cell: float) -> float:
    return max(text_height(s.name, COLUMN, cell - 8) for s in (row.made, *row.seen)) + 3


def _row_height(row: PaintRow, cell: float) -> float:
    return max(_label_height(row), ROW_LEAST, 84.0 + _name_height(row, cell))


def _row(page: Page, row: PaintRow, left: float, top: float, cell: float, height: float) -> None:
    width = LABEL_WIDTH - 14
    y = page.paragraph(left, top, width, row.title, PAINT) + 2
    y = page.paragraph(left, y, width, row.numbers, NUMBERS) + 2
    if row.loud:
        y = page.paragraph(left, y, width, row.loud, LOUD) + 2
    y = page.paragraph(left, y, width, row.known, KNOWN) + 2
    for remark in row.remarks:
        y = page.paragraph(left, y, width, remark, KNOWN) + 2
    swatch = height - _name_height(row, cell)
    for k, seen in enumerate((row.made, *row.seen)):
        x = left + LABEL_WIDTH + k * cell
        page.swatch(x, top, cell, swatch, tuple(seen.signal))
        page.paragraph(x, top + swatch + 2, cell - 8, seen.name, COLUMN)


def _pick_list(document: Document, picks: Sequence[Pick]) -> None:
    rows: list[list[str | tuple[float, ...]]] = [
        [tuple(p.signal), p.name, p.code, p.munsell, p.lrv, p.places] for p in picks
    ]
    while rows:
        page = document.new_page()
        y = page.paragraph(page.content.left, page.content.top, page.content.width, "Pick list", PLACE) + 6
        width = page.content.width
        shares = (0.05, 0.27, 0.14, 0.13, 0.07, 0.34)
        gap = 8.0
        columns = [
            Column(head, width * share - gap)
            for head, share in zip(("", "paint", "code", "Munsell", "LRV %", "places"), shares, strict=True)
        ]
        end = page.table(
            page.content.left, y, columns, rows, LIST, heading_style=COLUMN, bottom=_cautions(page), gap=gap
        )
        rows = rows[max(end.rows, 1) :]
