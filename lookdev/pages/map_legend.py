"""The legend under a map of what no look does: what its greys stand for."""

from __future__ import annotations

from importlib import resources

import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]

_HEIGHT_PX, _MARGIN_PX, _TEXT_PX = 44, 12, 15
_LEAST_WIDTH_PX = 420


def with_legend(grey: Grey, white: float, counted: float) -> Grey:
    """A map (h, w) with a strip under it: a ramp from 0 to ``white`` CIEDE2000, and from where it counts."""
    from PIL import Image, ImageDraw, ImageFont

    height, width = grey.shape
    if width < _LEAST_WIDTH_PX:
        return grey
    out = Image.new("L", (width, height + _HEIGHT_PX), 24)
    out.paste(Image.fromarray(grey), (0, 0))
    draw = ImageDraw.Draw(out)
    file = resources.files("lookdev.pages") / "fonts" / "LookdevSans-Regular.ttf"
    with resources.as_file(file) as path:
        font = ImageFont.truetype(str(path), _TEXT_PX)
    top = height + 6
    words = f"CIEDE2000 left, counted from {counted:.0f}"
    start = _MARGIN_PX + int(font.getlength(words)) + 24
    end = min(width - 60, start + 360)
    draw.text((_MARGIN_PX, top), words, fill=220, font=font)
    ramp = np.linspace(0, 255, end - start).astype(np.uint8)
    out.paste(Image.fromarray(np.tile(ramp, (14, 1))), (start, top + 2))
    draw.rectangle((start - 1, top + 1, end, top + 16), outline=120)
    for value, label in ((0.0, "0"), (counted, f"{counted:.0f}"), (white, f"{white:.0f} +")):
        at = start + (end - start) * value / white
        half = font.getlength(label) / 2
        draw.line((at, top + 16, at, top + 19), fill=220)
        draw.text((min(at - half, width - 2 * half - 4), top + 19), label, fill=220, font=font)
    return np.asarray(out, dtype=np.uint8)
