"""Blocks of a still's pictures in several lines, and the page of a single still."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from lookdev.sheets.layout import GAP, Columns, columns, fair_width, per_line, spread
from lookdev.sheets.page import RASTER_DPI, SMALL, Page
from lookdev.sheets.sheet_model import PICTURE_EDGE_PX, Row, SheetModel
from lookdev.sheets.sheet_parts import (
    FEWEST_LINES,
    LABEL_GAP,
    MOST_LINES,
    ROW_GAP,
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
_LEAST_EDGE = 12.0  # less is no picture


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
        head = head_words(model, column, words_width, full=full, most=MOST_LINES if aside else FEWEST_LINES)
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


def draw_single(
    page: Page, y: float, model: SheetModel, *, full: bool, largest: float = LARGEST_EDGE
) -> None:
    """One still from ``y`` down: its pictures as large as the page allows, in as many lines as that takes."""
    if not draw_in_lines(page, y, model, full=full, largest=largest):
        raise NoRoomError(found=model.location)


def draw_in_lines(
    page: Page, y: float, model: SheetModel, *, full: bool, beat: float = 0.0, largest: float = LARGEST_EDGE
) -> bool:
    """All stills on one page from ``y`` down, in as many lines each as makes their pictures largest.

    Words stand under the pictures or at their right, as lets the pictures be larger. Nothing is drawn, and
    False is the answer, if no picture can have a long edge of more than ``beat`` points. None gets more than
    ``largest``.
    """
    edge, best = max(round(beat / page.document.pixel), 0), None
    count = len(model.columns)
    for across in sorted({per_line(count, lines) for lines in range(1, count + 1)}, reverse=True):
        for is_aside in (False, True):
            found = _largest(page, y, model, across, largest, full=full, is_aside=is_aside)
            if found is not None and found[0] > edge + 2 * (best is not None):
                edge, best = found
    if best is None:
        return False
    room = page.room(y) - sum(block.height for block in best) - ROW_GAP * (len(best) - 1)
    above, between = spread(room, len(best))
    y += above
    for block in best:
        block.draw(page, y)
        y += block.height + ROW_GAP + between
    return True


def _largest(
    page: Page, y: float, model: SheetModel, across: int, largest: float, *, full: bool, is_aside: bool
) -> tuple[int, list[Block]] | None:
    """Long edge in pixels, and the blocks, of the largest pictures that fit under ``y``."""
    box, pixel, order = page.content, page.document.pixel, range(len(model.rows))
    fair = fair_width(box.width, across, GRID_GAP, GRID_GAP)
    least_aside = _LEAST_WORDS + _ASIDE_GAP if is_aside else 0.0

    def blocks(edge_px: int, room: float = 0.0) -> list[Block] | None:
        sizes = [picture_size(page, row, edge_px * pixel) for row in model.rows]
        width = max(size[1] for size in sizes) * pixel
        if width + least_aside > fair + 0.01:
            return None
        aside = min(fair - width - _ASIDE_GAP, _MOST_ASIDE) if is_aside else 0.0
        cell = width + aside + _ASIDE_GAP if is_aside else width
        grid = columns(
            box.left, box.width, across, cell, pixel,
            least_words=_LEAST_WORDS + 2 * GAP, first=GRID_GAP, gap=GRID_GAP, has_gutter=False,
        )  # fmt: skip
        made = [grid_block(page, model, i, grid, sizes[i], full=full, aside=aside, room=room) for i in order]
        height = sum(block.height for block in made) + ROW_GAP * (len(made) - 1)
        return made if room or height <= page.room(y) else None

    low, high = 0, round(largest / pixel)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if blocks(middle) is not None else (low, middle - 1)
    made = blocks(low, page.room(y) if len(order) == 1 else 0.0) if low * pixel >= _LEAST_EDGE else None
    return None if made is None else (low, made)
