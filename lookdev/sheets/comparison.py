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

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lookdev.sheets import fonts
from lookdev.sheets.grid import LARGEST_EDGE, Block, draw_single, grid_block, widest
from lookdev.sheets.layout import (
    READABLE_EDGE,
    Columns,
    columns,
    fair_width,
    per_line,
    spread,
    worth_of_size,
)
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
    FEWEST_LINES,
    FOOT,
    LABEL_GAP,
    MOST_LINES,
    ROW_GAP,
    LabelAbove,
    NoRoomError,
    Words,
    balanced,
    captions_in_line,
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

_STEP, _SMALLEST_SHARE = 0.96, 0.08  # sizes of picture tried, as shares of the largest that the width allows
_PAGE_WORTH, _ORPHAN_WORTH = 0.4, 0.15  # against the logarithm of the picture's size
_HEAD_GAP = 5.0  # rule to the heads of the columns
_LEAST_WORDS = 90.0  # width that words of a column would like
_MOST_LIGHTS = 6


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

    Pictures shrink where that saves pages or a lonely row, and not so far that they cannot be judged. A
    single still, and a panorama, get their pictures in several lines, larger; so do stills with so many looks
    that one line of them would be too small. Pages are filled evenly. Words that leave no room for pictures
    are cut short, and the sheet says so.
    """
    try:
        return _draw(model, paper, dpi)
    except NoRoomError:
        return _draw(terse(model), paper, dpi)


def _draw(model: SheetModel, paper: str, dpi: int) -> Document:
    doc = Document(f"{model.production} · {model.location}", paper=paper, foot=FOOT, dpi=dpi)
    if len(model.rows) == 1:
        page, y = _new_page(doc, model, first=True)
        draw_single(page, y, model, full=True)
        return doc
    layout = _choose(doc, model)
    start = 0
    for number, taken in enumerate(layout.split):
        page, y = _new_page(doc, model, first=number == 0)
        has_heads = number == 0 or not all(_is_wide(model, row) for row in model.rows[start : start + taken])
        heads = _heads(model, layout.plan, full=number == 0) if has_heads else []
        blocks = [_row_block(page, model, i, layout.plan) for i in range(start, start + taken)]
        room = page.room(y) - sum(b.height for b in blocks) - ROW_GAP * (taken - 1)
        if number == 0:
            longer = _heads(model, layout.plan, full=True, most=MOST_LINES)
            heads = longer if _heads_height(longer) <= room else heads
        above, between = spread(room - _heads_height(heads), taken)
        y = _draw_heads(page, y + above, heads)
        for block in blocks:
            block.draw(page, y)
            y += block.height + ROW_GAP + between
        start += taken
    return doc


def _new_page(doc: Document, model: SheetModel, *, first: bool) -> tuple[Page, float]:
    """A page with its title strip and what is said of the location, and where the pictures may begin."""
    page = doc.new_page(model.production, subject(model, "Comparison sheet", "still"))
    y = _strip(page, model, first=first)
    page.line(page.content.left, y, page.content.right, y)
    return page, y + _HEAD_GAP


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


def _heads(
    model: SheetModel, plan: _Plan, *, full: bool, most: int = FEWEST_LINES
) -> list[list[tuple[float, Words]]]:
    """Heads of the columns, line by line, each with its left edge.

    Where pictures stand in several lines the head is a key in as many lines, and further pages have none, as
    each picture has its title.
    """
    if plan.lines > 1 and not full:
        return []
    cells = plan.cells
    heads = [head_words(model, i, cells.words, full=full, most=most) for i in range(len(model.columns))]
    lines = [heads[i : i + cells.count] for i in range(0, len(heads), cells.count)]
    return [list(zip(cells.lefts, line, strict=False)) for line in lines]


def _heads_height(heads: Sequence[Sequence[tuple[float, Words]]]) -> float:
    return sum(max(words.height for _, words in line) + 7 for line in heads)


def _draw_heads(page: Page, y: float, heads: Sequence[Sequence[tuple[float, Words]]]) -> float:
    for line in heads:
        for left, words in line:
            words.draw(page, left, y)
        y += _heads_height([line])
    return y


# layout ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Plan:
    """Lines of pictures a still, the long edge of a picture in points, its share of the largest, columns."""

    lines: int
    edge: float
    share: float
    cells: Columns


@dataclass(frozen=True)
class _Layout:
    plan: _Plan
    split: list[int]

    @property
    def has_orphan(self) -> bool:
        """A page with one row where others have more."""
        return min(self.split) == 1 < max(self.split)

    @property
    def worth(self) -> float:
        """Large pictures, few pages, no lonely row."""
        pages = _PAGE_WORTH * float(np.log(len(self.split)))
        return worth_of_size(self.plan.edge) - pages - _ORPHAN_WORTH * self.has_orphan


def _is_wide(model: SheetModel, row: Row) -> bool:
    return row.aspect >= WIDE_ASPECT and len(model.columns) >= 4


def _lines(page: Page, model: SheetModel) -> int:
    """Lines of pictures a still: one, unless that makes them too small to judge, or all are panoramas."""
    count = len(model.columns)
    lines = 2 if all(_is_wide(model, row) for row in model.rows) else 1
    while lines < count and _largest_edge(page, model, lines) < READABLE_EDGE:
        lines += 1
    return lines


def _largest_edge(page: Page, model: SheetModel, lines: int) -> float:
    """Long edge of the pictures if they fill the width of the page."""
    rows = [row for row in model.rows if lines > 1 or not _is_wide(model, row)]
    fair = fair_width(page.content.width, per_line(len(model.columns), lines))
    return min(fair / max(widest(row) for row in rows), LARGEST_EDGE)


def _plan(page: Page, model: SheetModel, lines: int, share: float) -> _Plan:
    """Pictures ``share`` of the size that they could have, on whole pixels."""
    pixel, count = page.document.pixel, per_line(len(model.columns), lines)
    edge = float(np.floor(_largest_edge(page, model, lines) * share / pixel)) * pixel
    rows = [row for row in model.rows if lines > 1 or not _is_wide(model, row)]
    fair = fair_width(page.content.width, count)
    while (picture := max(picture_size(page, row, edge)[1] for row in rows) * pixel) > max(fair, pixel):
        edge -= pixel  # a width rounded up to whole pixels
    cells = columns(
        page.content.left, page.content.width, count, picture, page.document.pixel,
        least_words=_LEAST_WORDS, has_gutter=lines == 1,
    )  # fmt: skip
    return _Plan(lines, edge, share, cells)


def _choose(doc: Document, model: SheetModel) -> _Layout:
    """The layout that is worth most: sizes tried in steps, then the best one's made as large as it can be."""
    scratch = Document("", paper=doc.paper, dpi=doc.dpi)
    pages = [scratch.new_page(model.production, subject(model, "Comparison sheet", "still")) for _ in "12"]
    strips = [_strip(page, model, first=page is pages[0]) for page in pages]
    rooms = [page.room(y) - _HEAD_GAP for page, y in zip(pages, strips, strict=True)]
    lines = _lines(pages[0], model)

    def layout(share: float) -> _Layout | None:
        return _layout(pages[0], model, _plan(pages[0], model, lines, share), rooms)

    best: _Layout | None = None
    larger = share = 1.0
    while share > _SMALLEST_SHARE:
        found = layout(share)
        if found is not None and (best is None or found.worth > best.worth):
            best, larger = found, share / _STEP
        if found is not None and (len(found.split) == 1 or found.plan.edge < READABLE_EDGE):
            break
        share *= _STEP
    if best is None:
        raise NoRoomError(found=model.location)
    low, high = best.plan.share, min(larger, 1.0)
    for _ in range(5):
        middle = (low + high) / 2
        found = layout(middle)
        if found is not None and found.worth >= best.worth:
            best, low = found, middle
        else:
            high = middle
    return best


def _layout(page: Page, model: SheetModel, plan: _Plan, rooms: Sequence[float]) -> _Layout | None:
    """Rows on pages at one size of picture; None if a row fits no page."""
    first, other = (
        room - _heads_height(_heads(model, plan, full=full)) + ROW_GAP
        for room, full in zip(rooms, (True, False), strict=True)
    )
    if min(first, other) <= ROW_GAP:
        return None
    heights = [_row_block(page, model, i, plan).height + ROW_GAP for i in range(len(model.rows))]
    split = balanced(heights, first, other)
    return None if split is None else _Layout(plan, split)


def _row_block(page: Page, model: SheetModel, index: int, plan: _Plan) -> Block:
    """One still with its pictures in the columns; a panorama in wide cells."""
    row, pixel = model.rows[index], page.document.pixel
    if plan.lines > 1:
        size = picture_size(page, row, plan.edge)
        return grid_block(page, model, index, plan.cells, size, full=False)
    if _is_wide(model, row):
        return _wide_block(page, model, index, plan)
    size, cells = picture_size(page, row, plan.edge), plan.cells
    said = captions_in_line(model, row, cells.words)
    under = [Words(cells.words, ((c, SMALL, 6),)) for c in said]
    deepest = max(words.height for words in under)
    picture_bottom = size[0] * pixel + (deepest + 3 if deepest else 0.0)
    beside = label_beside(row, index + 1, cells.gutter) if cells.gutter else None
    above = None if beside else LabelAbove.of(row, index + 1, page.content.right - cells.margin)
    offset = above.height + LABEL_GAP if above else 0.0

    def draw(target: Page, y: float) -> None:
        if beside:
            beside.draw(target, cells.margin, y - 2)
        if above:
            above.draw(target, cells.margin, y)
        top = target.snap(y + offset)
        for left, picture, words in zip(cells.lefts, row.pictures, under, strict=True):
            draw_picture(target, left, top, picture, size)
            words.draw(target, left, top + size[0] * pixel + 3)

    return Block(max(offset + picture_bottom, beside.height if beside else 0.0) + pixel, draw)


def _wide_block(page: Page, model: SheetModel, index: int, plan: _Plan) -> Block:
    """A panorama among other stills: two lines of wide cells over the whole width."""
    count, box, pixel = per_line(len(model.columns), 2), page.content, page.document.pixel
    edge = min(fair_width(box.width, count) * plan.share, LARGEST_EDGE)
    size = picture_size(page, model.rows[index], float(np.floor(edge / pixel)) * pixel)
    cells = columns(
        box.left, box.width, count, size[1] * pixel, pixel, least_words=_LEAST_WORDS, has_gutter=False
    )
    return grid_block(page, model, index, cells, size, full=False)
