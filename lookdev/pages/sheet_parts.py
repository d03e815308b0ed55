"""Parts of the comparison sheets: pictures, counts, warnings."""

from __future__ import annotations

from collections.abc import Sequence

from lookdev.pages import fonts
from lookdev.pages.page import Page
from lookdev.pages.setting import HAIRLINE, LABEL
from lookdev.pages.sheet_model import Picture, Row
from lookdev.pages.thumbnails import fit_size, resize_srgb

WARNING = f"▲{fonts.NO_BREAK}"
FOOT = "Judge colour on a calibrated monitor or a proof print"
JPEG_QUALITY = 92


def marked(warnings: Sequence[str], most: int = 3) -> list[str]:
    """Warnings with their mark; past ``most`` they are counted."""
    said = [WARNING + w for w in warnings if w]
    rest = len(said) - most
    return said if rest <= 1 else [*said[:most], f"{WARNING}and {rest} more warnings"]


def picture_size(page: Page, row: Row, edge: float) -> tuple[int, int]:
    """(height, width) in pixels of a row's pictures with the long edge ``edge`` points."""
    long_px = max(1, round(edge / page.pixel))
    return fit_size((1000, max(1, round(1000 * row.aspect))), (long_px, long_px))


def draw_picture(page: Page, x: float, y: float, picture: Picture | None, size: tuple[int, int]) -> None:
    """A picture inside ``size`` (height, width) pixels, as JPEG 4:4:4; an empty frame where there is none."""
    if picture is not None:
        pixels = resize_srgb(picture, fit_size(picture.shape[:2], size))
        down, across = pixels.shape[:2]
        pixel = page.pixel
        page.photograph(x, y, _jpeg(pixels), (across, down), across * pixel, down * pixel)
        return
    width, height = size[1] * page.pixel, size[0] * page.pixel
    page.polygon([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], outline=HAIRLINE)
    page.text(x + 3, y + 3, "not made", LABEL, width=max(width - 6, 8), overflow="ellipsis")


def count_of(number: int, noun: str) -> str:
    """ "1 still", "3 stills", with a no-break space."""
    return f"{number}{fonts.NO_BREAK}{noun}{'' if number == 1 else 's'}"


def _jpeg(pixels: Picture) -> bytes:
    import numpy as np
    import simplejpeg

    whole = np.ascontiguousarray(pixels)
    return bytes(simplejpeg.encode_jpeg(whole, quality=JPEG_QUALITY, colorsubsampling="444"))
