"""The overview: a whole scout on as few pages as can be, one compact group of pictures a location.

``model.location`` is the heading, ``model.rows`` are the locations: name, reading and count of stills in
``details``, one picture a look. Groups stand one, two or three across.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from lookdev.sheets import fonts
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
_SMALLEST_EDGE, _LARGEST_EDGE = 50.0, 150.0
_READABLE_EDGE, _READABLE_PAGES = 95.0, 3  # about 34 mm: a picture that can be judged at arm's length
_SHAPES = (1.0, 0.85, 2 / 3)  # height of a picture's box over its width; the tall ones for portraits
_MOST_AIR = 14.0


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
    plan = _choose(doc, model)
    for number, lines in enumerate(plan.pages):
        page = doc.new_page(model.production, subject(model, "Overview", "location"))
        y = _head(page, model, plan.grid, first=number == 0)
        for line in lines:
            for place, index in enumerate(line):
                _draw_group(page, y, model, index, plan.grid, place)
            y += _line_height(page, model, line, plan.grid) + ROW_GAP + plan.air
    return doc


@dataclass(frozen=True)
class _Grid:
    """Groups across, the width of a picture's box in points, and its height over its width."""

    across: int
    edge: float
    shape: float


@dataclass(frozen=True)
class _Plan:
    grid: _Grid
    pages: list[list[list[int]]]
    air: float  # more room between lines, where pages have it


def _group_width(page: Page, across: int) -> float:
    return (page.content.width - _GROUP_GAP * (across - 1)) / across


def _gaps(across: int) -> tuple[float, float]:
    """After "as it stood", and between looks."""
    return (16.0, 7.0) if across == 1 else (10.0, 4.0)


def _edge(page: Page, count: int, across: int) -> float:
    first, gap = _gaps(across)
    room = _group_width(page, across) - (first + gap * (count - 2) if count > 1 else 0.0)
    pixel = page.document.pixel
    return float(np.floor(min(room / count, _LARGEST_EDGE) / pixel)) * pixel


def _lefts(page: Page, count: int, grid: _Grid, place: int) -> list[float]:
    first, gap = _gaps(grid.across)
    steps = [0.0] + [grid.edge + (first if i == 1 else gap) for i in range(1, count)]
    left = page.content.left + place * (_group_width(page, grid.across) + _GROUP_GAP)
    return [page.snap(left + float(s)) for s in np.cumsum(steps)]


def _box_px(page: Page, grid: _Grid) -> tuple[int, int]:
    width = max(1, round(grid.edge / page.document.pixel))
    return max(1, round(width * grid.shape)), width


def _label(page: Page, model: SheetModel, index: int, across: int) -> Words:
    row, width = model.rows[index], _group_width(page, across)
    items = [(numbered_name(row, index + 1), NAME, 2), (phrase_lines(row.details, SMALL, width, 2), SMALL, 2)]
    items += [(w, SMALL_BOLD, 2) for w in marked(row.warnings, 2)]
    return Words(width, tuple(items))


def _line_height(page: Page, model: SheetModel, line: Sequence[int], grid: _Grid) -> float:
    """Height of groups side by side: the deepest label and the tallest picture of each."""
    pixel, box = page.document.pixel, _box_px(page, grid)
    heights = []
    for index in line:
        sizes = [fit_size(p.shape[:2], box) if p is not None else box for p in model.rows[index].pictures]
        label = _label(page, model, index, grid.across)
        heights.append(label.height + LABEL_GAP + max(s[0] for s in sizes) * pixel + pixel)
    return max(heights)


def _draw_group(page: Page, y: float, model: SheetModel, index: int, grid: _Grid, place: int) -> None:
    lefts = _lefts(page, len(model.columns), grid, place)
    top = page.snap(_label(page, model, index, grid.across).draw(page, lefts[0], y) + LABEL_GAP)
    for left, picture in zip(lefts, model.rows[index].pictures, strict=True):
        draw_picture(page, left, top, picture, _box_px(page, grid))


def _head(page: Page, model: SheetModel, grid: _Grid, *, first: bool) -> float:
    """Heading, notes and warnings, and the titles of the looks over each group column; returns the bottom."""
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
    y += 5
    style = LOOK_TITLE if grid.across == 1 else replace(LOOK_TITLE, size=7.5)
    titles = [Words(grid.edge, ((look_title(model, i), style, 4),)) for i in range(len(model.columns))]
    for place in range(min(grid.across, len(model.rows))):
        for left, title in zip(_lefts(page, len(titles), grid, place), titles, strict=True):
            title.draw(page, left, y)
    return y + max(title.height for title in titles) + 7


def _choose(doc: Document, model: SheetModel) -> _Plan:
    """Pictures that can be judged if three pages hold them; then the fewest pages, the largest pictures."""
    plans = []
    has_portraits = any(row.aspect < 1.0 for row in model.rows)
    for across in (1, 2, 3):
        for shape in _SHAPES if has_portraits else _SHAPES[-1:]:
            plan = _plan(doc, model, across, shape)
            if plan is not None:
                plans.append(plan)
    if not plans:
        raise NoRoomError(found=model.location)

    def rank(plan: _Plan) -> tuple[bool, int, float, float]:
        readable = plan.grid.edge >= _READABLE_EDGE and len(plan.pages) <= _READABLE_PAGES
        return not readable, len(plan.pages), -plan.grid.edge, -plan.grid.shape

    return min(plans, key=rank)


def _plan(doc: Document, model: SheetModel, across: int, shape: float) -> _Plan | None:
    scratch = Document("", paper=doc.paper, dpi=doc.dpi)
    rooms = []
    for first in (True, False):
        page = scratch.new_page(model.production, subject(model, "Overview", "location"))
        grid = _Grid(across, _edge(page, len(model.columns), across), shape)
        rooms.append(page.room(_head(page, model, grid, first=first)) + ROW_GAP)
    if min(rooms) <= ROW_GAP or (grid.edge < _SMALLEST_EDGE and across > 1):
        return None
    order = range(len(model.rows))
    lines = [list(order[i : i + across]) for i in order[::across]]
    heights = [_line_height(page, model, line, grid) + ROW_GAP for line in lines]
    split = balanced(heights, rooms[0], rooms[1])
    if split is None:
        return None
    ends = np.cumsum([0, *split]).tolist()
    spare = [
        (rooms[min(n, 1)] - sum(heights[a:b])) / max(b - a - 1, 1) for n, (a, b) in enumerate(pairwise(ends))
    ]
    air = max(0.0, min(_MOST_AIR, *spare))
    return _Plan(grid, [lines[a:b] for a, b in pairwise(ends)], air)
