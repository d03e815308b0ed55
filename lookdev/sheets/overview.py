"""The overview: a whole scout on as few pages as can be, one compact group of pictures a location.

``model.location`` is the heading, ``model.rows`` are the locations: name, reading and count of stills in
``details``, one picture a look. Groups stand one, two or three across; few locations
with many looks, or a single one, stand in several lines each, as that makes the pictures larger.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product
from pathlib import Path

import numpy as np

from lookdev.sheets import fonts
from lookdev.sheets.grid import draw_in_lines, draw_single
from lookdev.sheets.layout import READABLE_EDGE, Columns, columns, fair_width, spread
from lookdev.sheets.page import HEADING, RASTER_DPI, SMALL, SMALL_BOLD, Document, Page
from lookdev.sheets.sheet_model import SheetModel
from lookdev.sheets.sheet_parts import (
    CONTINUED,
    FOOT,
    LABEL_GAP,
    LOOK_TITLE,
    NAME,
    ROW_GAP,
    NoRoomError,
    Words,
    balanced,
    draw_picture,
    look_title,
    marked,
    numbered_name,
    phrase_lines,
    subject,
    terse,
)
from lookdev.sheets.thumbnails import fit_size

_GROUP_GAP = 26.0
_LARGEST_EDGE = 262.0
_FEW_PAGES, _SMALL_EDGE, _SMALLEST_EDGE = 3, 72.0, 50.0
_SHARES = (1.0, 0.93, 0.86, 0.8, 0.7, 0.6, 0.5, 0.4)  # of the width that a picture could have
_FEW_PLACES, _WORTH_LINES = (
    3,
    1.2,
)  # so few, with many looks, stand in several lines if that enlarges pictures so
_SHAPES = (1.0, 0.85, 2 / 3)  # height of a picture's box over its width; the tall ones for portraits
_LEAST_WORDS = 72.0
_SHARP_ENOUGH = 360 * 72.0 / RASTER_DPI  # a still of many has 360 samples or more


def overview_sheet(
    model: SheetModel, pdf_path: Path | None, png_path: Path | None = None, paper: str = "a4"
) -> list[Path]:
    """Write the overview of a scout: PDF, and PNG (NAME.png, NAME_2.png, ...). Returns the paths written."""
    return draw_overview(model, paper).save(pdf_path, png_path)


def draw_overview(model: SheetModel, paper: str = "a4", *, dpi: int = RASTER_DPI) -> Document:
    """The overview as a document; see :func:`overview_sheet` for files.

    Raises
    ------
    SheetError : unknown paper.
    """
    try:
        return _draw(model, paper, dpi)
    except NoRoomError:
        return _draw(terse(model), paper, dpi)


def _draw(model: SheetModel, paper: str, dpi: int) -> Document:
    doc = Document(f"{model.production} · {model.location}", paper=paper, foot=FOOT, dpi=dpi)
    if len(model.rows) == 1:
        page, y = _new_page(doc, model, first=True)
        draw_single(page, y, model, full=False, largest=_largest_sharp(model))
        return doc
    plan = _choose(doc, model)
    if len(model.rows) <= _FEW_PLACES and plan.grid.edge < READABLE_EDGE:
        page, y = _new_page(doc, model, first=True)
        if draw_in_lines(page, y, model, full=False, beat=plan.grid.edge * _WORTH_LINES):
            return doc
        doc.pages.clear()
    for number, lines in enumerate(plan.pages):
        page, y = _new_page(doc, model, first=number == 0)
        heights = [_line_height(page, model, line, plan.grid) for line in lines]
        used = _heads_height(page, model, plan.grid) + sum(heights) + ROW_GAP * (len(lines) - 1)
        above, between = spread(page.room(y) - used, len(lines))
        y = _draw_heads(page, y + above, model, plan.grid, max(len(line) for line in lines))
        for line, height in zip(lines, heights, strict=True):
            for place, index in enumerate(line):
                _draw_group(page, y, model, index, plan.grid, place)
            y += height + ROW_GAP + between
    return doc


def _largest_sharp(model: SheetModel) -> float:
    """Long edge in points of a picture shown sample for pixel, as one of many stills may have few samples."""
    samples = [max(p.shape) for row in model.rows for p in row.pictures if p is not None]
    return max(max(samples, default=0) * 72.0 / RASTER_DPI, _SHARP_ENOUGH)


@dataclass(frozen=True)
class _Grid:
    """A group of pictures for each location: the columns of each group across, and a picture's box."""

    groups: tuple[Columns, ...]
    box_px: tuple[int, int]  # height, width
    edge: float  # long edge of the largest pictures in points
    smallest: float  # long edge of the smallest

    @property
    def across(self) -> int:
        return len(self.groups)


@dataclass(frozen=True)
class _Plan:
    grid: _Grid
    pages: list[list[list[int]]]


def _grid(page: Page, model: SheetModel, across: int, shape: float, share: float) -> _Grid:
    """Groups ``across`` the page; a picture's box is ``shape`` times as high as wide."""
    count, pixel, whole = len(model.columns), page.document.pixel, page.content
    first, gap = (16.0, 7.0) if across == 1 else (10.0, 4.0)
    width = (whole.width - _GROUP_GAP * (across - 1)) / across
    largest = min(_LARGEST_EDGE, _LARGEST_EDGE / shape)
    picture_px = max(1, int(min(fair_width(width, count, first, gap), largest) * share / pixel))
    box = max(1, round(picture_px * shape)), picture_px
    sizes = [fit_size(p.shape[:2], box) for row in model.rows for p in row.pictures if p is not None]
    used = max((size[1] for size in sizes), default=picture_px) * pixel
    groups = tuple(
        columns(
            whole.left + place * (width + _GROUP_GAP), width, count, used, page.document.pixel,
            least_words=_LEAST_WORDS, first=first, gap=gap, has_gutter=across == 1,
        )
        for place in range(across)
    )  # fmt: skip
    edges = [max(size) * pixel for size in sizes] or [picture_px * pixel]
    return _Grid(groups, box, max(edges), min(edges))


def _label(page: Page, model: SheetModel, index: int, group: Columns) -> Words:
    """At the left of a location's pictures, if there is a gutter, else over them."""
    row = model.rows[index]
    width = group.gutter or group.lefts[-1] + group.words - group.lefts[0]
    most = 6 if group.gutter else 2
    items = [(numbered_name(row, index + 1), NAME, most // 2 + 1)]
    items += [(phrase_lines(row.details, SMALL, width, most), SMALL, most)]
    items += [(w, SMALL_BOLD, most) for w in marked(row.warnings, 2)]
    return Words(width, tuple(items))


def _line_height(page: Page, model: SheetModel, line: Sequence[int], grid: _Grid) -> float:
    """Height of groups side by side: the deepest label and the tallest picture of each."""
    pixel, heights = page.document.pixel, []
    for index in line:
        pictures = model.rows[index].pictures
        sizes = [fit_size(p.shape[:2], grid.box_px) if p is not None else grid.box_px for p in pictures]
        label, tallest = _label(page, model, index, grid.groups[0]).height, max(s[0] for s in sizes) * pixel
        stacked = max(label, tallest) if grid.groups[0].gutter else label + LABEL_GAP + tallest
        heights.append(stacked + pixel)
    return max(heights)


def _draw_group(page: Page, y: float, model: SheetModel, index: int, grid: _Grid, place: int) -> None:
    group = grid.groups[place]
    label = _label(page, model, index, group)
    if group.gutter:
        label.draw(page, group.margin, y - 2)
        top = page.snap(y)
    else:
        top = page.snap(label.draw(page, group.lefts[0], y) + LABEL_GAP)
    for left, picture in zip(group.lefts, model.rows[index].pictures, strict=True):
        draw_picture(page, left, top, picture, grid.box_px)


def _new_page(doc: Document, model: SheetModel, *, first: bool) -> tuple[Page, float]:
    """A page with its title strip, heading, notes and warnings, and where the pictures may begin."""
    page = doc.new_page(model.production, subject(model, "", "location"))
    box = page.content
    if first:
        y = page.text(box.left, box.top - 3, model.location, HEADING, width=box.width, lines=2, max_lines=3)
        words = [(n, SMALL) for n in model.notes[:8]] + [(w, SMALL_BOLD) for w in marked(model.warnings)]
        for text, style in words:
            y = page.paragraph(box.left, y, box.width, text, style, max_lines=3)
    else:
        text = f"{fonts.clean(model.location)}, continued"
        y = page.text(box.left, box.top, text, CONTINUED, width=box.width, lines=2, max_lines=3)
    y += 5
    page.line(box.left, y, box.right, y)
    return page, y + 5


def _heads(model: SheetModel, grid: _Grid) -> list[Words]:
    """The titles of the looks."""
    style = LOOK_TITLE if grid.across == 1 else replace(LOOK_TITLE, size=7.5)
    width = grid.groups[0].words
    return [Words(width, ((look_title(model, i), style, 4),)) for i in range(len(model.columns))]


def _heads_height(page: Page, model: SheetModel, grid: _Grid) -> float:
    return max(title.height for title in _heads(model, grid)) + 7


def _draw_heads(page: Page, y: float, model: SheetModel, grid: _Grid, across: int) -> float:
    """The titles of the looks over each column of groups; returns the bottom."""
    titles = _heads(model, grid)
    for group in grid.groups[:across]:
        for left, title in zip(group.lefts, titles, strict=True):
            title.draw(page, left, y)
    return y + _heads_height(page, model, grid)


def _choose(doc: Document, model: SheetModel) -> _Plan:
    """Pictures that can be judged, else small ones, if three pages hold them; then the fewest pages."""
    scratch = Document("", paper=doc.paper, dpi=doc.dpi)
    opened = [_new_page(scratch, model, first=first) for first in (True, False)]
    page, rooms = opened[0][0], [p.room(y) for p, y in opened]
    broadest, narrowest = (choose(row.aspect for row in model.rows) for choose in (max, min))
    shapes = (min(1 / broadest, 3.0),) if broadest < 1 else _SHAPES if narrowest < 1 else _SHAPES[-1:]
    plans = []
    for across, shape, share in product((1, 2, 3), shapes, _SHARES):
        plan = _plan(page, rooms, model, across, shape, share)
        if plan is not None:
            plans.append(plan)
    if not plans:
        raise NoRoomError(found=model.location)

    def rank(plan: _Plan) -> tuple[int, int, float, int]:
        is_small = plan.grid.smallest < _SMALL_EDGE or len(plan.pages) > _FEW_PAGES
        too_small = 2 if is_small else int(plan.grid.edge < READABLE_EDGE)
        return too_small, len(plan.pages), -plan.grid.edge, -plan.grid.box_px[0]

    return min(plans, key=rank)


def _plan(
    page: Page, rooms: Sequence[float], model: SheetModel, across: int, shape: float, share: float
) -> _Plan | None:
    grid = _grid(page, model, across, shape, share)
    if grid.edge < _SMALLEST_EDGE and (grid.across > 1 or share < 1.0):
        return None
    first, other = (room - _heads_height(page, model, grid) + ROW_GAP for room in rooms)
    if min(first, other) <= ROW_GAP:
        return None
    order = range(len(model.rows))
    lines = [list(order[i : i + grid.across]) for i in order[:: grid.across]]
    split = balanced([_line_height(page, model, line, grid) + ROW_GAP for line in lines], first, other)
    if split is None:
        return None
    ends = np.cumsum([0, *split]).tolist()
    return _Plan(grid, [lines[a:b] for a, b in pairwise(ends)])
