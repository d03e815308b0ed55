"""Comparison sheets: stills down, looks across, on neutral grey.

Pure data in (:class:`SheetModel`), PDF and PNG out. Pictures are uint8 sRGB of any size (a long edge of about
``PICTURE_EDGE_PX`` is enough); they are brought to their place in linear light, all to one long edge, and
each sample becomes one pixel of the PNG.

>>> import numpy as np
>>> picture = np.full((400, 600, 3), 119, np.uint8)
>>> model = SheetModel(
...     production="Low Ferry",
...     location="Net loft",
...     lights=(Light("sodium lamp", cct_k=1960, duv=0.0010, xy=(0.533, 0.415), illuminance_lux=120),),
...     columns=(LookColumn(AS_IT_STOOD), LookColumn("Slack water", ("−0.4 stops", "saturation 0.55"))),
...     rows=(Row("loft_01.jpg", ("1/60 s", "f/2.8", "ISO 800"), (picture, picture),
...               taken_out=("", "65 % of the cast taken out")),),
... )
>>> draw_comparison(model).faults()
[]

The overview of a whole scout is in :mod:`lookdev.sheets.overview`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from lookdev.sheets import fonts
from lookdev.sheets.overview import draw_overview, overview_sheet
from lookdev.sheets.page import HEADING, RASTER_DPI, SMALL, SMALL_BOLD, Column, Document, Page
from lookdev.sheets.sheet_model import (
    AS_IT_STOOD,
    PICTURE_EDGE_PX,
    Light,
    LookColumn,
    Picture,
    Row,
    SheetModel,
    write_cct,
    write_duv,
    write_foot_candles,
    write_lux,
    write_xy,
)
from lookdev.sheets.sheet_parts import (
    CONTINUED,
    FOOT,
    LABEL_GAP,
    ROW_GAP,
    LabelAbove,
    NoRoomError,
    Words,
    balanced,
    captions,
    count_of,
    draw_picture,
    head_words,
    label_beside,
    marked,
    picture_size,
    subject,
    terse,
)

__all__ = [
    "AS_IT_STOOD",
    "PICTURE_EDGE_PX",
    "Light",
    "LookColumn",
    "Picture",
    "Row",
    "SheetModel",
    "comparison_sheet",
    "draw_comparison",
    "draw_overview",
    "overview_sheet",
]

WIDE_ASPECT = 1.9  # a panorama, which gets a wide cell

_GAP, _FIRST_GAP, _GRID_GAP = 7.0, 16.0, 12.0  # between looks; after "as it stood"; in a grid
_GUTTER_MIN, _GUTTER_MAX = 104.0, 190.0
_WIDEST_CELL = 262.0
_SHARES = np.round(np.arange(1.0, 0.69, -0.02), 2)  # of the width that a picture could have
_PAGE_WORTH, _ORPHAN_WORTH = (
    0.10,
    0.15,
)  # of picture size: what a page saved, a lonely last row avoided, is worth
_MOST_LIGHTS = 6
_CAPTION_WIDTH = 150.0  # of words under a narrow picture in a grid


def comparison_sheet(
    model: SheetModel, pdf_path: Path | None, png_path: Path | None = None, paper: str = "a4"
) -> list[Path]:
    """Write the sheet of one location: PDF, and PNG (NAME.png, NAME_2.png, ...). Returns the paths written.

    Raises
    ------
    SheetError : unknown paper.
    """
    return draw_comparison(model, paper).save(pdf_path, png_path)


def draw_comparison(model: SheetModel, paper: str = "a4", *, dpi: int = RASTER_DPI) -> Document:
    """The sheet of one location as a document; see :func:`comparison_sheet` for files.

    Pictures shrink by up to three tenths where that saves pages or a lonely last row. A single still, and a
    panorama, get their pictures in several lines, larger. Words that leave no room for pictures are cut
    short, and the sheet says so.
    """
    try:
        return _draw(model, paper, dpi)
    except NoRoomError:
        return _draw(terse(model), paper, dpi)


def _draw(model: SheetModel, paper: str, dpi: int) -> Document:
    doc = Document(f"{model.production} · {model.location}", paper=paper, foot=FOOT, dpi=dpi)
    if len(model.rows) == 1 and len(model.columns) >= 3:
        _draw_single(doc, model)
        return doc
    layout = _choose(doc, model)
    start = 0
    for number, taken in enumerate(layout.split):
        page = doc.new_page(model.production, subject(model, "Comparison sheet", "still"))
        y = _draw_heads(page, _strip(page, model, first=number == 0), model, layout.cells, full=number == 0)
        for index in range(start, start + taken):
            block = _row_block(page, model, index, layout.cells)
            block.draw(page, y)
            y += block.height + ROW_GAP
        start += taken
    return doc


def _strip(page: Page, model: SheetModel, *, first: bool) -> float:
    """Location, readings, notes, warnings; returns the bottom."""
    box = page.content
    if not first:
        again = f"{fonts.clean(model.location)}, continued"
        return page.text(box.left, box.top, again, CONTINUED, width=box.width, lines=2, max_lines=3) + 6
    side_width = box.width * (0.62 if model.lights else 0.3)
    room, side = box.width - side_width - 18, box.right - side_width
    y = page.text(
        box.left, box.top - 3, model.location, HEADING, width=room, lines=3, min_size=8, max_lines=9
    )
    if model.lights:
        y = max(y, _lights_table(page, side, box.top, side_width, model.lights))
    else:
        nothing = "No meter reading for this location."
        y = max(y, page.text(side, box.top, nothing, SMALL, width=side_width, align="right"))
    y += 3
    words = [(n, SMALL) for n in model.notes[:8]] + [(w, SMALL_BOLD) for w in marked(model.warnings)]
    for text, style in words:
        y = page.paragraph(box.left, y, box.width, text, style, max_lines=3)
    return y + 6


def _lights_table(page: Page, x: float, top: float, width: float, lights: Sequence[Light]) -> float:
    fixed = [
        Column("CCT", 36, "right"),
        Column("Duv", 38, "right"),
        Column("x, y", 68, "right"),
        Column("Lux", 34, "right"),
        Column("Foot-candles", 42, "right"),
        Column("Camera at", 36, "right"),
    ]
    gap = 8.0
    source = Column("Source", width - sum(c.width for c in fixed) - gap * len(fixed))
    rows = [
        [
            " · ".join(w for w in (light.source, light.note) if w),
            write_cct(light.cct_k) or "–",
            write_duv(light.duv) or "–",
            write_xy(light.xy) or "–",
            write_lux(light.illuminance_lux) or "–",
            write_foot_candles(light.illuminance_lux) or "–",
            write_cct(light.camera_balance_k) or "–",
        ]
        for light in lights[:_MOST_LIGHTS]
    ]
    table = page.table(x, top, [source, *fixed], rows, padding=1.5, gap=gap, max_lines=4, bottom=page.height)
    if len(lights) <= _MOST_LIGHTS:
        return table.bottom
    words = f"and {count_of(len(lights) - _MOST_LIGHTS, 'more reading')}"
    return page.text(x, table.bottom + 1, words, SMALL, width=width, align="right")


def _draw_heads(page: Page, y: float, model: SheetModel, cells: _Cells, *, full: bool) -> float:
    heads = [head_words(model, i, cells.edge, full=full) for i in range(len(model.columns))]
    page.line(page.content.left, y, page.content.right, y)
    y += 5
    for left, words in zip(cells.lefts, heads, strict=True):
        words.draw(page, left, y)
    return y + max(words.height for words in heads) + 7


# layout ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Cells:
    """Where the pictures of a row stand: left edges and the long edge of a picture, in points."""

    lefts: tuple[float, ...]
    edge: float
    share: float
    gutter: float  # width for the label at the left; 0 if the label stands over the pictures


@dataclass(frozen=True)
class _Block:
    """Something of a known height that draws itself at a y."""

    height: float
    draw: Callable[[Page, float], None]


@dataclass(frozen=True)
class _Layout:
    cells: _Cells
    split: list[int]

    @property
    def has_orphan(self) -> bool:
        """A last page with one row where others have more."""
        return len(self.split) > 1 and self.split[-1] == 1 and max(self.split) > 1


def _cells(page: Page, count: int, share: float) -> _Cells:
    """``count`` cells across, pictures ``share`` of the width that they could have."""
    left, width, pixel = page.content.left, page.content.width, page.document.pixel
    gaps = _FIRST_GAP + _GAP * (count - 2) if count > 1 else 0.0
    edge = float(np.floor(min((width - gaps) / count, _WIDEST_CELL) * share / pixel)) * pixel
    spare = width - edge * count - gaps
    gutter = min(spare - 2 * _GAP, _GUTTER_MAX) if spare >= _GUTTER_MIN + 2 * _GAP else 0.0
    if gutter:
        extra = min(max(0.0, spare - gutter - 2 * _GAP) / max(count - 1, 1), 24.0)
        first = page.content.right - edge * count - gaps - extra * (count - 1)
    else:
        extra, first = spare / max(count - 1, 1), left
    steps = [0.0] + [edge + (_FIRST_GAP if i == 1 else _GAP) + extra for i in range(1, count)]
    lefts = tuple(page.snap(first + float(s)) for s in np.cumsum(steps))
    return _Cells(lefts, edge, share, gutter)


def _choose(doc: Document, model: SheetModel) -> _Layout:
    """The layout that serves best: large pictures, few pages, no lonely last row."""
    layouts = [x for x in (_layout(doc, model, float(share)) for share in _SHARES) if x is not None]
    if layouts:
        fewest = min(len(x.split) for x in layouts)

        def worth(layout: _Layout) -> float:
            pages = (len(layout.split) - fewest) / fewest
            return layout.cells.share - _PAGE_WORTH * min(pages * 4, 4) - _ORPHAN_WORTH * layout.has_orphan

        return max(layouts, key=worth)
    for share in np.arange(_SHARES[-1], 0.08, -0.04):
        smaller = _layout(doc, model, float(share))
        if smaller is not None:
            return smaller
    raise NoRoomError(found=model.location)


def _layout(doc: Document, model: SheetModel, share: float) -> _Layout | None:
    """Rows on pages at one size of picture; None if a row fits no page."""
    scratch = Document("", paper=doc.paper, dpi=doc.dpi)
    rooms = []
    for first in (True, False):
        page = scratch.new_page(model.production, subject(model, "Comparison sheet", "still"))
        cells = _cells(page, len(model.columns), share)
        y = _draw_heads(page, _strip(page, model, first=first), model, cells, full=first)
        rooms.append(page.room(y) + ROW_GAP)
    if min(rooms) <= ROW_GAP:
        return None
    heights = [_row_block(page, model, i, cells).height + ROW_GAP for i in range(len(model.rows))]
    split = balanced(heights, rooms[0], rooms[1])
    return None if split is None else _Layout(cells, split)


def _row_block(page: Page, model: SheetModel, index: int, cells: _Cells) -> _Block:
    """One still with its pictures in the columns; a panorama in wide cells."""
    row = model.rows[index]
    if row.aspect >= WIDE_ASPECT and len(model.columns) >= 4:
        per_line = -(-len(model.columns) // 2)
        return _grid_block(page, model, index, per_line, share=cells.share, full=False)
    size, pixel = picture_size(page, row, cells.edge), page.document.pixel
    under = [Words(cells.edge, ((c, SMALL, 6),)) for c in captions(model, row)]
    deepest = max(words.height for words in under)
    picture_bottom = size[0] * pixel + (deepest + 3 if deepest else 0.0)
    beside = label_beside(row, index + 1, cells.gutter) if cells.gutter else None
    above = None if beside else LabelAbove.of(row, index + 1, page.content.width)
    offset = above.height + LABEL_GAP if above else 0.0

    def draw(target: Page, y: float) -> None:
        if beside:
            beside.draw(target, target.content.left, y - 2)
        if above:
            above.draw(target, target.content.left, y)
        top = target.snap(y + offset)
        for left, picture, words in zip(cells.lefts, row.pictures, under, strict=True):
            draw_picture(target, left, top, picture, size)
            words.draw(target, left, top + size[0] * pixel + 3)

    return _Block(max(offset + picture_bottom, beside.height if beside else 0.0) + pixel, draw)


def _grid_block(
    page: Page, model: SheetModel, index: int, per_line: int, *, share: float, full: bool
) -> _Block:
    """One still with its pictures in lines of ``per_line``, each with the title of its look under it."""
    row, count, pixel = model.rows[index], len(model.columns), page.document.pixel
    left, step = page.content.left, (page.content.width + _GRID_GAP) / per_line
    size = picture_size(page, row, (step - _GRID_GAP) * share)
    height, width = size[0] * pixel, size[1] * pixel
    cell = max(width, min(_CAPTION_WIDTH, step - _GRID_GAP))
    step = (page.content.width - cell) / max(per_line - 1, 1)
    room = cell if per_line > 1 else page.content.width
    above = LabelAbove.of(row, index + 1, page.content.width)
    under = []
    for column, own in enumerate(captions(model, row)):
        words = head_words(model, column, room, full=full)
        under.append(replace(words, items=(*words.items, (own, SMALL, 6))))
    lines = [range(start, min(start + per_line, count)) for start in range(0, count, per_line)]
    depths = [height + 4 + max(under[i].height for i in line) for line in lines]

    def draw(target: Page, y: float) -> None:
        above.draw(target, left, y)
        y += above.height + LABEL_GAP
        for line, depth in zip(lines, depths, strict=True):
            top = target.snap(y)
            for place, column in enumerate(line):
                x = target.snap(left + place * step)
                draw_picture(target, x, top, row.pictures[column], size)
                under[column].draw(target, x, top + height + 4)
            y += depth + 10

    return _Block(above.height + LABEL_GAP + sum(depths) + 10 * (len(lines) - 1) + pixel, draw)


def _draw_single(doc: Document, model: SheetModel) -> None:
    """One still: all its pictures as large as the page allows, in as many lines as that takes."""
    page = doc.new_page(model.production, subject(model, "Comparison sheet", "still"))
    y = _strip(page, model, first=True)
    page.line(page.content.left, y, page.content.right, y)
    y += 6
    best: tuple[float, _Block] | None = None
    for per_line in range(1, len(model.columns) + 1):
        room = (page.content.width + _GRID_GAP) / per_line - _GRID_GAP
        for share in np.arange(1.0, 0.1, -0.02):
            block = _grid_block(page, model, 0, per_line, share=float(share), full=True)
            if block.height <= page.room(y):
                if best is None or room * share > best[0] + 0.5:
                    best = (room * float(share), block)
                break
    if best is None:
        raise NoRoomError(found=model.location)
    best[1].draw(page, y)
