"""Views of an equirectangular panorama: sampled by OpenCV's Lanczos filter in linear light.

The panorama is known by GPano:ProjectionType (Photo Sphere XMP metadata, "equirectangular"): longitude goes
across, 360 degrees in its width, latitude down, 180 degrees in its height.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import StillError
from lookdev.stills.still import code_values

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.stills.part import View

EQUIRECTANGULAR = "equirectangular"
WIDEST_DEG = 160.0
"""A flat picture of more stretches its edges beyond use."""
FEW_PX = 720
_REACH = 4  # pixels that Lanczos over 8 taps asks for to either side
_MOST_PX = 32000  # OpenCV's remap counts in 16 bits
_ROWS = 256
_PROJECTION = re.compile(rb"GPano:ProjectionType\s*(?:=\s*[\"']|>)\s*([A-Za-z]+)")
_WHOLE = re.compile(rb"GPano:(FullPano|CroppedAreaImage)(Width|Height)Pixels\s*(?:=\s*[\"']|>)\s*(\d+)")


def projection_of(xmp: bytes | None) -> str | None:
    """GPano:ProjectionType of an XMP packet, in lower case; "part" behind it for a piece of a panorama.

    >>> projection_of(b'<x GPano:ProjectionType="equirectangular"/>')
    'equirectangular'
    """
    found = _PROJECTION.search(xmp or b"")
    if found is None:
        return None
    sizes = {(what, side): int(n) for what, side, n in _WHOLE.findall(xmp or b"")}
    for side in (b"Width", b"Height"):
        whole, cropped = sizes.get((b"FullPano", side)), sizes.get((b"CroppedAreaImage", side))
        if whole and cropped and cropped < whole:
            return found[1].decode().lower() + ", part"
    return found[1].decode().lower()


def projection_xmp() -> bytes:
    """An XMP packet (ISO 16684-1) that marks an equirectangular panorama, and says nothing else."""
    return (
        b'<?xpacket begin="\xef\xbb\xbf" id="W5M0MpCehiHzreSzNTczkc9d"?>'
        b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        b'<rdf:Description rdf:about="" xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" '
        b'GPano:ProjectionType="equirectangular"/></rdf:RDF></x:xmpmeta><?xpacket end="r"?>'
    )


def is_whole_panorama(size: tuple[int, int], projection: str | None) -> bool:
    """Whether a picture (h, w) goes all round: marked so and 2:1 within a hundredth, or exactly 2:1."""
    height, width = size
    if projection is None:
        return width == 2 * height
    return projection == EQUIRECTANGULAR and abs(width - 2 * height) <= 0.01 * width


def check_panorama(size: tuple[int, int], projection: str | None) -> None:
    """Refuse views of a picture that does not go all round.

    Raises
    ------
    StillError : what it is.
    """
    if not is_whole_panorama(size, projection):
        marked = "" if projection is None else f", marked {projection}"
        raise StillError(
            "is no panorama that views can be taken of",
            found=f"{size[1]} x {size[0]} pixels{marked}",
            wanted="an equirectangular picture, exactly twice as wide as high",
        )


def view_size(view: View, width: int) -> tuple[int, int]:
    """(height, width) in pixels of a view of a panorama of ``width`` pixels: as fine in its middle.

    >>> from lookdev.stills.part import View
    >>> view_size(View(lens_mm=18, gate_mm=(24.0, 13.5)), 8192)
    (978, 1738)
    """
    focal_px = width / (2 * math.pi)
    across, down = (max(1, round(focal_px * side / view.lens_mm)) for side in view.gate_mm)
    return down, across


def few_pixels(size: tuple[int, int]) -> str | None:
    """Words where a view is small; None where it is not."""
    if max(size) >= FEW_PX:
        return None
    return f"the panorama has no more than {size[1]} x {size[0]} pixels for this view"


def take_view(pixels: NDArray[Any], encoding: Encoding, view: View) -> NDArray[Any]:
    """A view (h, w, 3) of a panorama's ``pixels``, in their own type and encoding.

    Each channel is sampled in linear light; where Lanczos overshoots, at a lamp in the dark, the value is
    held within those of the pixels around.
    """
    import cv2

    height, width = pixels.shape[:2]
    size = view_size(view, width)
    x, y = _sampled_at(view, size, (height, width))
    left, top = math.floor(float(x.min())) - _REACH, math.floor(float(y.min())) - _REACH
    right, bottom = math.ceil(float(x.max())) + _REACH + 1, math.ceil(float(y.max())) + _REACH + 1
    if max(right - left, bottom - top, *size) > _MOST_PX:
        found = f"{width} x {height}"
        raise StillError(
            "the panorama is too large for views", found=found, wanted=f"{_MOST_PX} pixels a side"
        )
    rows, columns = np.arange(top, bottom), np.arange(left, right) % width
    over = (rows < 0) | (rows >= height)  # beyond a pole the panorama goes on, half a turn further
    rows = np.where(rows < 0, -1 - rows, np.where(rows >= height, 2 * height - 1 - rows, rows))
    x, y = x - np.float32(left), y - np.float32(top)
    nearest_x, nearest_y = np.round(x), np.round(y)
    across = np.full((1, 3), 1.0)
    table = None
    if pixels.dtype.kind != "f":
        ramp = np.linspace(0.0, 1.0, int(np.iinfo(pixels.dtype).max) + 1)[:, None] * across
        table = np.asarray(encoding.decode(ramp), dtype=np.float32)
    light = np.empty((*size, 3), dtype=np.float32)
    kernel = np.ones((3, 3), np.uint8)
    for channel in range(3):
        part = pixels[..., channel][np.ix_(rows, columns)]
        if over.any():
            turned = (columns + width // 2) % width
            part[over] = pixels[..., channel][np.ix_(rows[over], turned)]
        source = np.take(table[:, channel], part) if table is not None else _light(part, encoding, channel)
        sampled = cv2.remap(source, x, y, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
        low = cv2.remap(cv2.erode(source, kernel), nearest_x, nearest_y, cv2.INTER_NEAREST)
        high = cv2.remap(cv2.dilate(source, kernel), nearest_x, nearest_y, cv2.INTER_NEAREST)
        light[..., channel] = np.clip(sampled, low, high)
    out = np.empty((*size, 3), dtype=pixels.dtype)
    for start in range(0, size[0], _ROWS):
        band = slice(start, start + _ROWS)
        out[band] = code_values(np.asarray(encoding.encode(light[band].astype(np.float64))), pixels.dtype)
    return out


def _light(part: NDArray[Any], encoding: Encoding, channel: int) -> NDArray[np.float32]:
    """Linear light of one channel of float code values."""
    if encoding.is_linear:
        return np.ascontiguousarray(part, dtype=np.float32)
    three = np.repeat(part[..., None], 3, axis=-1)
    return np.ascontiguousarray(encoding.decode(three)[..., channel], dtype=np.float32)


def _sampled_at(
    view: View, size: tuple[int, int], panorama: tuple[int, int]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """x, y (h, w) in the panorama's pixels, whose middles are whole numbers, for each pixel of a view.

    x goes on over the panorama's edge.
    """
    height, width = panorama
    across = (np.arange(size[1]) + 0.5 - size[1] / 2) / size[1] * view.gate_mm[0] / view.lens_mm
    down = (np.arange(size[0]) + 0.5 - size[0] / 2) / size[0] * view.gate_mm[1] / view.lens_mm
    u, v = np.meshgrid(across, down)
    roll, tilt = math.radians(view.roll_deg), math.radians(view.tilt_deg)
    right, below = u * math.cos(roll) - v * math.sin(roll), u * math.sin(roll) + v * math.cos(roll)
    ahead = math.cos(tilt) + below * math.sin(tilt)
    lower = below * math.cos(tilt) - math.sin(tilt)
    longitude = np.arctan2(right, ahead)
    latitude = -np.arctan2(lower, np.hypot(right, ahead))
    x = (longitude / (2 * math.pi) + view.pan_deg / 360 + 0.5) * width - 0.5
    y = (0.5 - latitude / math.pi) * height - 0.5
    return x.astype(np.float32), y.astype(np.float32)
