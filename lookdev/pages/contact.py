"""Contact pages: the stills of a scout under a lettered grid, by whose fields a grey patch is named."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from PIL.Image import Image

STILL_PX = 1320
MARGIN_PX, LETTERS_PX, CAPTION_PX = 40, 34, 64
CROP_PX = 56
A_PAGE = (2, 2)
"""Stills across and down."""
_INK, _PAPER, _FAINT, _MARK = (20, 20, 20), (128, 128, 128), (255, 255, 255, 70), (255, 214, 0)


@dataclass(frozen=True)
class ContactStill:
    """``picture`` sRGB (h, w, 3) within STILL_PX; ``caption`` one line; ``outlines`` closed lines of x, y in
    shares of width and height: the chart that was found, the patch that is sampled; ``crop`` that patch."""

    picture: NDArray[np.uint8]
    caption: str
    outlines: tuple[tuple[tuple[float, float], ...], ...] = ()
    crop: NDArray[np.uint8] | None = None


@cache
def _font(size: int) -> Any:
    from PIL import ImageFont

    data = resources.files("lookdev.pages").joinpath("fonts", "LookdevSans-Regular.ttf").read_bytes()
    return ImageFont.truetype(io.BytesIO(data), size)


def contact_pages(
    stills: Sequence[ContactStill], columns: str, rows: int, a_page: tuple[int, int] = A_PAGE
) -> list[Image]:
    """Pages of stills, each under a grid of ``columns`` letters and ``rows`` numbers, or none."""
    from PIL import Image

    across, down = a_page
    cell = STILL_PX + 2 * LETTERS_PX
    size = (across * cell + (across + 1) * MARGIN_PX, down * (cell + CAPTION_PX) + (down + 1) * MARGIN_PX)
    pages = []
    for start in range(0, len(stills), across * down):
        page = Image.new("RGB", size, _PAPER)
        lowest = top = MARGIN_PX
        for i, still in enumerate(stills[start : start + across * down]):
            if i % across == 0:
                top = lowest if i == 0 else lowest + MARGIN_PX
            tile = _tile(still, columns, rows)
            page.paste(tile, (MARGIN_PX + (i % across) * (cell + MARGIN_PX), top))
            lowest = max(lowest, top + tile.height)
        pages.append(page.crop((0, 0, size[0], lowest + MARGIN_PX)))
    return pages


def _tile(still: ContactStill, columns: str, rows: int) -> Image:
    from PIL import Image, ImageDraw

    height, width = still.picture.shape[:2]
    words_px = math.ceil(_font(24).getlength(still.caption)) + (0 if still.crop is None else CROP_PX + 20)
    across = min(max(width, words_px), STILL_PX) + 2 * LETTERS_PX
    tile = Image.new("RGB", (across, height + 2 * LETTERS_PX + CAPTION_PX), _PAPER)
    tile.paste(Image.fromarray(still.picture), (LETTERS_PX, LETTERS_PX))
    draw = ImageDraw.Draw(tile, "RGBA")
    for i in range(len(columns) + 1 if columns else 0):
        x = LETTERS_PX + round(i * width / len(columns))
        draw.line([(x, LETTERS_PX), (x, LETTERS_PX + height)], _FAINT)
        if i < len(columns):
            middle = LETTERS_PX + (i + 0.5) * width / len(columns)
            for y in (LETTERS_PX / 2, LETTERS_PX * 1.5 + height):
                draw.text((middle, y), columns[i], _INK, _font(20), anchor="mm")
    for j in range(rows + 1 if rows else 0):
        y = LETTERS_PX + round(j * height / rows)
        draw.line([(LETTERS_PX, y), (LETTERS_PX + width, y)], _FAINT)
        if j < rows:
            middle = LETTERS_PX + (j + 0.5) * height / rows
            for x in (LETTERS_PX / 2, LETTERS_PX * 1.5 + width):
                draw.text((x, middle), str(j + 1), _INK, _font(20), anchor="mm")
    for outline in still.outlines:
        points = [(LETTERS_PX + x * width, LETTERS_PX + y * height) for x, y in (*outline, outline[0])]
        draw.line(points, _MARK, 3)
    baseline = (LETTERS_PX, 2 * LETTERS_PX + height + CAPTION_PX / 2)
    draw.text(baseline, still.caption, _INK, _font(24), anchor="lm")
    if still.crop is not None:
        crop = Image.fromarray(still.crop)
        scale = CROP_PX / max(crop.size)
        crop = crop.resize((max(1, round(crop.width * scale)), max(1, round(crop.height * scale))))
        left = min(LETTERS_PX + draw.textlength(still.caption, _font(24)) + 20, tile.width - CROP_PX)
        tile.paste(crop, (round(left), round(baseline[1] - crop.height / 2)))
    return tile
