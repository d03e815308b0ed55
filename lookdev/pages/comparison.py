"""Comparison sheets, made for judging: stills down, looks across, on neutral grey; numbers behind, on white.

Pure data in (:class:`SheetModel`), PDF and PNG out. Pictures are uint8 sRGB of any size; they are brought to
their place in linear light, and each sample becomes one pixel of the PNG. At most four looks stand beside "as
it stood"; more go to a further page, which begins with "as it stood" again. How many stills stand on a page,
and in how many lines the pictures of each, is what fills the pages best.

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
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from pathlib import Path

from lookdev.pages import fonts
from lookdev.pages.document import RASTER_DPI, Document
from lookdev.pages.faces_page import faces_block
from lookdev.pages.page import Page
from lookdev.pages.setting import BODY, HEADING, INK, PAPER_WHITE, SMALL, Box, Style, lines_of
from lookdev.pages.sheet_model import AS_IT_STOOD, Light, LookColumn, Picture, Row, SheetModel
from lookdev.pages.sheet_parts import FOOT, count_of, draw_picture, marked, picture_size

__all__ = [
    "AS_IT_STOOD", "Light", "LookColumn", "Picture", "Row", "SheetModel", "comparison_sheet",
    "draw_comparison", "picture_edge_px",
]  # fmt: skip

MOST_LOOKS = 4
"""Beside each other; more are not judged, they are searched."""
ENOUGH = 0.56
"""Of a page's area below its head that pictures fill."""
ENOUGH_TO_FIND = 0.42
"""The same of an overview, which is for finding a place: there fewer pages count for more."""
READABLE_EDGE = 95.0
"""About 34 mm: the long edge of a picture that can be judged at arm's length."""
_GAP, _LINE_GAP, _ROW_GAP = 6.0, 6.0, 8.0
_SHORTEST, _SHORT_COSTS = 0.8, 8  # of that edge; a tenth less is worth two and a third times the pages
_MOST_LINES, _MOST_ROWS = 3, 12
_TITLE = Style(9.5, fonts.SEMIBOLD, PAPER_WHITE, 1.2)
_LABEL = Style(8.5, fonts.SEMIBOLD, PAPER_WHITE, 1.25)
_NOTE_LINES = 3
_HEAD = _TITLE.line + _NOTE_LINES * SMALL.line + 4
_ROW_LABEL = _LABEL.line + 2
_OVER = _TITLE.line + 1


def comparison_sheet(
    model: SheetModel, pdf_path: Path | None, png_path: Path | None = None, paper: str = "a4"
) -> list[Path]:
    """Write the sheet: PDF, and PNG (NAME.png, NAME_2.png, ...). Returns the paths written.

    Raises
    ------
    SheetError : unknown paper.
    """
    return draw_comparison(model, paper).save(pdf_path, png_path)


def draw_comparison(model: SheetModel, paper: str = "a4", *, dpi: int = RASTER_DPI) -> Document:
    """The sheet as a document; see :func:`comparison_sheet` for files."""
    doc = Document(f"{model.production} · {model.location}", paper=paper, foot=FOOT, dpi=dpi)
    page, box = _new_page(doc, model, continued=False)
    doc.pages.clear()
    looks = len(model.columns) - model.repeated
    plan = _choose(
        box.width,
        box.height,
        tuple(_shape(r.aspect) for r in model.rows),
        looks,
        model.repeated,
        _enough(model),
    )
    start = 0
    for taken in plan.rows:
        first = model.repeated
        for count in plan.looks:
            columns = [*range(model.repeated), *range(first, first + count)]
            page, box = _new_page(doc, model, continued=bool(doc.pages))
            _draw_page(page, box, model, range(start, start + taken), columns, plan)
            first += count
        start += taken
    _numbers(doc, model)
    return doc


def _enough(model: SheetModel) -> float:
    return ENOUGH if model.noun == "still" else ENOUGH_TO_FIND


def picture_edge_px(
    aspects: Sequence[float], looks: int, repeated: int = 1, enough: float = ENOUGH, paper: str = "a4"
) -> int:
    """Long edge in pixels of the largest picture on a sheet of stills of such shapes (width over height).

    >>> picture_edge_px([1.5, 1.5, 1.5], 4) > picture_edge_px([1.5] * 8, 4)
    True
    """
    doc = Document("", paper=paper)
    box = doc.new_page("x", "x").content
    height = box.height - HEADING.line - 4
    plan = _choose(box.width, height, tuple(_shape(a) for a in aspects), looks, repeated, enough)
    return _whole_px(plan.largest, doc.pixel)


def _whole_px(edge: float, pixel: float) -> int:
    """Pixels of a picture's edge in points, as it is drawn: one of just that size is not resampled."""
    return max(1, int(edge / pixel + 1e-6))


# pages ----------------------------------------------------------------------------------------------------


def _new_page(doc: Document, model: SheetModel, *, continued: bool) -> tuple[Page, Box]:
    """A page with its head: the location's name, its light in words; and what is below."""
    said = (count_of(len(model.rows), model.noun), count_of(len(model.columns) - model.repeated, "look"))
    page = doc.new_page(model.production, " · ".join(said))
    box = page.content
    name = f"{fonts.clean(model.location)}, continued" if continued else model.location
    words = " ".join([*marked(model.warnings, 1), model.light]).strip()
    share = 0.5 if words else 1.0
    page.text(box.left, box.top - 6, name, HEADING, width=box.width * share, overflow="ellipsis", min_size=9)
    if words:
        left = box.left + box.width * share + 8
        page.text(
            left, box.top, words, BODY, width=box.right - left, align="right", lines=2, overflow="ellipsis"
        )
    page.content = Box(box.left, box.top + HEADING.line + 4, box.right, box.bottom)
    return page, page.content


def _draw_page(
    page: Page, box: Box, model: SheetModel, rows: range, columns: Sequence[int], plan: _Plan
) -> None:
    fit = _fit(
        box.width, box.height, tuple(_shape(model.rows[i].aspect) for i in rows), len(columns), plan.lines
    )
    assert fit is not None
    y = box.top
    if not fit.is_stacked:
        pitch = (box.width + _GAP) / len(columns)
        for at, column in enumerate(columns):
            _head(page, box.left + at * pitch, y, model.columns[column], pitch - _GAP, notes=_NOTE_LINES)
        y += _HEAD
        page.content = Box(box.left, y, box.right, box.bottom)
    air = min(fit.spare / (len(rows) + 1), 24.0)
    y += (fit.spare - air * (len(rows) - 1)) * 0.4
    for i in rows:
        scale = fit.scales[i - rows.start]
        y = _draw_row(page, box, y, model, i, columns, plan, scale, fit.is_stacked) + _ROW_GAP + air


def _draw_row(
    page: Page,
    box: Box,
    y: float,
    model: SheetModel,
    index: int,
    columns: Sequence[int],
    plan: _Plan,
    scale: float,
    is_stacked: bool,
) -> float:
    row, pixel = model.rows[index], page.pixel
    _row_label(page, box, y, row)
    y += _ROW_LABEL
    lines, per_line = _in_lines(row.aspect, len(columns), plan.lines)
    pitch = (box.width + _GAP) / per_line
    width = (pitch - _GAP) * scale
    edge = width if row.aspect >= 1 else width / row.aspect
    size = picture_size(page, row, _whole_px(edge, pixel) * pixel)
    for line in range(lines):
        if is_stacked:
            for at, column in enumerate(columns[line * per_line : (line + 1) * per_line]):
                head = model.columns[column]
                _head(page, box.left + at * pitch, y, head, pitch - _GAP, notes=0)
            y += _OVER
        top = page.snap(y)
        for at, column in enumerate(columns[line * per_line : (line + 1) * per_line]):
            draw_picture(page, page.snap(box.left + at * pitch), top, row.pictures[column], size)
        y = top + size[0] * pixel + (_LINE_GAP if line + 1 < lines else 0.0)
    return y


def _head(page: Page, x: float, y: float, column: LookColumn, width: float, *, notes: int) -> None:
    """A look's title, and its note under it; without room for that, behind it."""
    page.text(x, y, column.title, _TITLE, width=width, overflow="ellipsis", min_size=8)
    if notes:
        page.paragraph(x, y + _TITLE.line, width, column.note, SMALL, max_lines=notes)
        return
    used = _TITLE.width(fonts.clean(column.title)) + 8
    if column.note and width - used > 60:
        page.text(x + used, y + 1.5, column.note, SMALL, width=width - used, overflow="ellipsis")


def _row_label(page: Page, box: Box, y: float, row: Row) -> None:
    """Place and time, the file's name small, and what is to be known before it is trusted."""
    x = box.left
    if row.heading:
        width = min(_LABEL.width(fonts.clean(row.heading)) + 0.01, box.width * 0.4)
        page.text(x, y, row.heading, _LABEL, width=width, overflow="ellipsis")
        x += width + 8
    name, rest = row.title, box.right - x
    width = min(SMALL.width(fonts.clean(name)) + 0.01, rest * (0.4 if row.warnings else 1.0))
    page.text(x, y + 1, name, SMALL, width=width, overflow="ellipsis")
    x += width + 10
    if row.warnings and box.right - x > 20:
        words = " ".join(marked(row.warnings))
        page.text(x, y + 1, words, SMALL, width=box.right - x, overflow="ellipsis")


# layout ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Fit:
    """A page's pictures: ``scales`` of what the width allows, a row each, share of the area, height to spare,
    edges."""

    scales: tuple[float, ...]
    coverage: float
    spare: float
    least: float
    largest: float
    is_stacked: bool


@dataclass(frozen=True)
class _Plan:
    """Stills a page, looks a page, lines a still by its kind of shape; the worst page's share of pictures."""

    rows: tuple[int, ...]
    looks: tuple[int, ...]
    lines: tuple[int, int, int]
    worst: float
    largest: float


def _shape(aspect: float) -> float:
    """Of a picture one pixel wide and thousands tall: still a shape, that a page can hold."""
    return max(round(aspect, 3), 0.001)


def _kind(aspect: float) -> int:
    return 0 if aspect < 0.95 else 1 if aspect < 1.8 else 2


def _in_lines(aspect: float, count: int, lines: tuple[int, int, int]) -> tuple[int, int]:
    """Lines of a still's pictures, and how many stand in each."""
    per_line = -(-count // min(lines[_kind(aspect)], count))
    return -(-count // per_line), per_line


@lru_cache(maxsize=4096)
def _fit(
    width: float, height: float, aspects: tuple[float, ...], count: int, lines: tuple[int, int, int]
) -> _Fit | None:
    """Stills of such shapes on one page, ``count`` pictures each; None where words leave them no room.

    All as wide as each other, or upright ones no higher than the others, as pictures fill it better: one
    upright still as wide as the rest would make all small.
    """
    fits = [_fit_as(width, height, aspects, count, lines, level) for level in (False, True)]
    return max((fit for fit in fits if fit is not None), key=lambda fit: fit.coverage, default=None)


def _fit_as(
    width: float,
    height: float,
    aspects: tuple[float, ...],
    count: int,
    lines: tuple[int, int, int],
    level: bool,
) -> _Fit | None:
    placed = [_in_lines(a, count, lines) for a in aspects]
    is_stacked = any(n > 1 for n, _ in placed)
    below = height if is_stacked else height - _HEAD
    taken, natural, area, least, largest = _ROW_GAP * (len(aspects) - 1) + 2.0, 0.0, 0.0, 1e9, 0.0
    cells = [(width - _GAP * (per_line - 1)) / per_line for _, per_line in placed]
    lying = [cell / a for cell, a in zip(cells, aspects, strict=True) if _kind(a) > 0]
    most = max(lying) if level and lying else float("inf")
    parts = [min(1.0, most * a / cell) for cell, a in zip(cells, aspects, strict=True)]
    for aspect, (n, _), whole, part in zip(aspects, placed, cells, parts, strict=True):
        cell = whole * part
        taken += _ROW_LABEL + (n * _OVER if is_stacked else 0.0) + (n - 1) * _LINE_GAP + n * 0.5
        natural += n * cell / aspect
        area += count * cell * cell / aspect
        edge = cell * max(1.0, 1.0 / aspect)
        least, largest = min(least, edge), max(largest, edge)
    scale = min(1.0, (below - taken) / natural)
    if scale <= 0.0:
        return None
    spare = below - taken - natural * scale
    scales = tuple(part * scale for part in parts)
    return _Fit(scales, area * scale**2 / (width * below), spare, least * scale, largest * scale, is_stacked)


def _even(count: int, parts: int) -> tuple[int, ...]:
    """``count`` in ``parts``, the fuller ones first."""
    return tuple(count // parts + (i < count % parts) for i in range(parts))


def _splits(stills: int, looks: int) -> Iterator[tuple[tuple[int, ...], tuple[int, ...]]]:
    least = max(1, -(-looks // MOST_LOOKS))
    for parts in range(least, max(looks, 1) + 1):
        seen = set()
        for most in range(min(stills, _MOST_ROWS), 0, -1):
            pages = -(-stills // most)
            if pages not in seen:
                seen.add(pages)
                yield _even(stills, pages), _even(looks, parts)


@lru_cache(maxsize=256)
def _choose(
    width: float,
    height: float,
    aspects: tuple[float, ...],
    looks: int,
    repeated: int,
    enough: float = ENOUGH,
) -> _Plan:
    """The fewest pages on which pictures fill enough; where none are, those that pictures fill best.

    A long edge somewhat under what can be judged at arm's length counts as more pages, so that two
    millimetres do not make a dozen pages of one look each out of two to compare looks on.
    """
    best: tuple[tuple[float, ...], _Plan] | None = None
    kinds = {_kind(a) for a in aspects}
    choices = [range(1, _MOST_LINES + 1) if k in kinds else (1,) for k in range(3)]
    for (rows, parts), lines in product(list(_splits(len(aspects), looks)), product(*choices)):
        three = (lines[0], lines[1], lines[2])
        worst, best_page, least, largest, start, fits = 1.0, 0.0, 1e9, 0.0, 0, True
        for taken in rows:
            shapes = aspects[start : start + taken]
            start += taken
            for count in set(parts):
                fit = _fit(width, height, shapes, repeated + count, three)
                if fit is None:
                    fits = False
                    break
                worst, least = min(worst, fit.coverage), min(least, fit.least)
                best_page, largest = max(best_page, fit.coverage), max(largest, fit.largest)
            if not fits:
                break
        if not fits:
            continue
        plan = _Plan(rows, parts, three, worst, largest)
        pages = len(rows) * len(parts)
        short = min(1.0, least / READABLE_EDGE)
        good = worst >= enough and short > _SHORTEST
        rank = (1.0, -pages * short**-_SHORT_COSTS, worst) if good else (0.0, worst * short, best_page)
        if best is None or rank > best[0]:
            best = rank, plan
    assert best is not None, "one still with one picture always fits"
    return best[1]


# numbers --------------------------------------------------------------------------------------------------

_BETWEEN_COLUMNS, _MOST_LINES_OF_TEXT = 20.0, 12
_NAME = Style(8.5, fonts.SEMIBOLD, INK, 1.25)


def _numbers(doc: Document, model: SheetModel) -> None:
    """Faces, readings, notes, parameters, stills with their settings: on white, behind the pictures."""

    def start() -> Page:
        return doc.new_page(model.production, f"{_short(model.location)}: numbers", surround=PAPER_WHITE)

    lines = list(_number_lines(model))
    if model.faces:
        page, top = faces_block(start, model.faces)
    else:
        page = start()
        top = page.content.top
    room, content = page.room(top), page.content
    width = (content.width - _BETWEEN_COLUMNS) / 2
    placed, alone = (_in_columns(lines, width, height, content.height) for height in (room, content.height))
    if room < content.height / 3 or placed[-1][0] > 1 >= alone[-1][0]:
        # a page of its own, not one more for the last lines
        page, top, placed = start(), content.top, alone
    last = 0
    for (text, style, _), (column, y) in zip(lines, placed, strict=True):
        if column > last and column % 2 == 0:
            page, top = start(), content.top
        last, x = column, content.left + column % 2 * (width + _BETWEEN_COLUMNS)
        page.paragraph(x, top + y, width, text, style, max_lines=_MOST_LINES_OF_TEXT)


def _in_columns(
    lines: Sequence[tuple[str, Style, float]], width: float, first: float, rest: float
) -> list[tuple[int, float]]:
    """Column and distance from its top of each piece of text, as :func:`_number_lines` gives them.

    Two columns a page, those of the first page ``first`` high, all others ``rest``.
    """
    column, y, placed = 0, 0.0, []
    for text, style, gap in lines:
        tall = len(lines_of(text, style, width, _MOST_LINES_OF_TEXT)) * style.line
        at = y + gap if y else 0.0
        if y and at + tall > (first if column < 2 else rest):
            column, at = column + 1, 0.0
        placed.append((column, at))
        y = at + tall
    return placed


def _short(text: str) -> str:
    text = " ".join(fonts.clean(text).split())
    return text if len(text) <= 60 else f"{text[:59]}…"


def _number_lines(model: SheetModel) -> Iterator[tuple[str, Style, float]]:
    """What the page of numbers says: text, style, gap above."""
    if not model.lights:
        if model.noun == "still":
            yield "No meter reading for this location.", SMALL, 0.0
    else:
        yield "Light", _NAME, 0.0
    for light in model.lights:
        yield light.whole_line(), SMALL, 0.0
    for words in (*model.notes, *marked(model.warnings, 50)):
        yield words, SMALL, 2.0
    yield "Looks", _NAME, 10.0
    for column in model.columns[model.repeated :]:
        parameters = " · ".join(p for p in column.parameters if p)
        yield f"{column.title}: {parameters}" if parameters else column.title, SMALL, 2.0
    for row in model.rows:
        yield " · ".join(w for w in (row.heading, row.title) if w) or "unnamed", _NAME, 8.0
        details = " · ".join(d for d in row.details if d)
        if details:
            yield details, SMALL, 0.0
        for i, column in enumerate(model.columns):
            said = [words[i] for words in (row.taken_out, row.captions) if words and words[i]]
            if said:
                yield f"{column.title}: {'; '.join(said)}", SMALL, 0.0
        for words in marked(row.warnings, 50):
            yield words, SMALL, 0.0
