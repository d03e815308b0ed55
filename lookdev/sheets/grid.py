"""Blocks of a still's pictures in several lines, and the page of a single still."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from lookdev.sheets.layout import GAP, Columns, columns, fair_width, per_line, spread
from lookdev.sheets.page import RASTER_DPI, SMALL, Page
from lookdev.sheets.sheet_model import PICTURE_EDGE_PX, Row, SheetModel
from lookdev.sheets.sheet_parts import (
    LABEL_GAP,
    LabelAbove,
    NoRoomError,
    captions,
    draw_picture,
    head_words,
    picture_size,
)

LARGEST_EDGE = PICTURE_EDGE_PX * 72.0 / RASTER_DPI
"""Long edge in points of a picture that is shown sample for pixel."""

GRID_GAP = 14.0  # between pictures of a grid, across
LINE_GAP = 12.0  # between its lines
_WORDS_GAP = 4.0  # picture to the words under it
_ASIDE_GAP = 6.0  # picture to the words at its right
_LEAST_WORDS, _MOST_ASIDE = 92.0, 150.0


@dataclass(frozen=True)
class Block:
    """Something of a known height that draws itself at a y."""

    height: float
    draw: Callable[[Page, float], None]


def widest(row: Row) -> float:
    """Width of a row's pictures with a long edge of one."""
    return min(1.0, row.aspect)


def grid_block(
    page: Page,
    model: SheetModel,
    index: int,
    grid: Columns,
    size: tuple[int, int],
    *,
    full: bool,
    aside: float = 0.0,
    room: float = 0.0,
) -> Block:
    """One still with its pictures in lines, each with the title of its look under it.

    Parameters
    ----------
    size : (height, width) of a picture in pixels.
    full : key parameters and what was taken out of the cast as well.
    aside : width of the words at the right of a picture; 0: they stand under it.
    room : height to be filled: what is left over goes above and between the lines.
    """
    row, count, pixel = model.rows[index], len(model.columns), page.document.pixel
    height, width = size[0] * pixel, size[1] * pixel
    above = LabelAbove.of(row, index + 1, page.content.right - grid.margin)
    words_width = aside or grid.words
    words = []
    for column, own in enumerate(captions(model, row)):
        head = head_words(model, column, words_width, full=full)
        words.append(replace(head, items=(*head.items, (own, SMALL, 6))))
    starts = range(0, count, grid.count)
    lines = [range(start, min(start + grid.count, count)) for start in starts]
    depths = [_depth(height, max(words[i].height for i in line), aside) for line in lines]
    least = above.height + LABEL_GAP + sum(depths) + LINE_GAP * (len(lines) - 1) + pixel
    top_air, air = spread(room - least, len(lines))

    def draw(target: Page, y: float) -> None:
        y += top_air
        above.draw(target, grid.margin, y)
        y += above.height + LABEL_GAP
        for line, depth in zip(lines, depths, strict=True):
            top = target.snap(y)
            for left, column in zip(grid.lefts, line, strict=False):
                draw_picture(target, left, top, row.pictures[column], size)
                if aside:
                    words[column].draw(target, left + width + _ASIDE_GAP, top - 2)
                else:
                    words[column].draw(target, left, top + height + _WORDS_GAP)
            y += depth + LINE_GAP + air

    return Block(max(least, room), draw)


def _depth(height: float, words: float, aside: float) -> float:
    return max(height, words) if aside else height + _WORDS_GAP + words


def draw_single(page: Page, y: float, model: SheetModel, *, full: bool) -> None:
    """One still from ``y`` down: its pictures as large as the page allows, in as many lines as that takes.

    Words stand under the pictures or at their right, as lets the pictures be larger.
    """
    best: tuple[int, Block] | None = None
    seen = set()
    for lines in range(1, len(model.columns) + 1):
        across = per_line(len(model.columns), lines)
        if across in seen:
            continue
        seen.add(across)
        for is_aside in (False, True):
            found = _largest(page, y, model, across, full=full, is_aside=is_aside)
            if found is not None and (best is None or found[0] > best[0] + 2):
                best = found
    if best is None:
        raise NoRoomError(found=model.location)
    best[1].draw(page, y)


def _largest(
    page: Page, y: float, model: SheetModel, across: int, *, full: bool, is_aside: bool
) -> tuple[int, Block] | None:
    """Long edge in pixels, and the block, of the largest pictures that fit under ``y``."""
    row, box, pixel = model.rows[0], page.content, page.document.pixel
    fair = fair_width(box.width, across, GRID_GAP, GRID_GAP)
    least_aside = _LEAST_WORDS + _ASIDE_GAP if is_aside else 0.0

    def block(edge_px: int, room: float = 0.0) -> Block | None:
        size = picture_size(page, row, edge_px * pixel)
        width = size[1] * pixel
        if width + least_aside > fair + 0.01:
            return None
        aside = min(fair - width - _ASIDE_GAP, _MOST_ASIDE) if is_aside else 0.0
        grid = columns(
            box.left, box.width, across, width + (aside + _ASIDE_GAP if is_aside else 0.0), pixel,
            least_words=_LEAST_WORDS + 2 * GAP, first=GRID_GAP, gap=GRID_GAP, has_gutter=False,
        )  # fmt: skip
        made = grid_block(page, model, 0, grid, size, full=full, aside=aside, room=room)
        return made if room or made.height <= page.room(y) else None

    low, high = 0, round(LARGEST_EDGE / pixel)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if block(middle) is not None else (low, middle - 1)
    made = block(low, page.room(y)) if low * pixel >= 12.0 else None
    return None if made is None else (low, made)
