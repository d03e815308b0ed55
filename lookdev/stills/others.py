"""Formats without a decoder of their own here, through imageio: BMP, GIF, JPEG 2000, TGA, PSD, PNM.

8 or 16 bits; sRGB unless a profile says otherwise. Of a GIF the first frame is read, of a PSD the composite.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from lookdev.errors import StillError
from lookdev.stills.formats import Decoded, Header, pillow_without_limit, sniff_other

_COMPOSITE = b"8BIM\x04\x21"  # image resource 1057, version info: whether there is a composite
_GREY, _COLOUR = ("1", "L", "I;16", "I;16B", "I;16L", "I"), ("RGB", "RGBA", "RGBX", "P", "LA", "PA")


@contextmanager
def _opened(data: bytes) -> Iterator[tuple[Any, int]]:
    """imageio's plugin on ``data``, and the number of the picture to read."""
    import imageio.v3 as iio

    with pillow_without_limit():
        try:
            file = iio.imopen(io.BytesIO(data), "r", plugin="pillow")
        except OSError as error:
            raise StillError("this kind of file is not read, or it is broken") from error
        with file:
            yield file, 1 if sniff_other(data, ".tga") == "PSD" else 0


def header(data: bytes) -> Header:
    """Size, profile, EXIF; no pixel is decoded."""
    kind = sniff_other(data, ".tga")
    if kind == "PSD" and _has_no_composite(data):
        raise StillError(
            "no composite picture in this PSD", wanted="one that was saved with its composite picture"
        )
    with _opened(data) as (file, number):
        properties = file.properties(index=number)
        told = file.metadata(index=number, exclude_applied=False)
        mode = str(told.get("mode", ""))
        frames = int(getattr(file._image, "n_frames", 1)) if kind == "GIF" else 1
    if mode not in (*_GREY, *_COLOUR, "CMYK"):
        raise StillError(f"this kind of {kind} is not read", found=mode, wanted="RGB, grey or CMYK")
    icc, exif = told.get("icc_profile"), told.get("exif")
    return Header(
        kind=kind or "BMP",
        size=(int(properties.shape[0]), int(properties.shape[1])),
        icc=icc if isinstance(icc, bytes) else None,
        exif=exif if isinstance(exif, bytes) else None,
        notes=("animated picture: the first frame is read",) if frames > 1 else (),
        extra=(mode, "transparency" in told),
        bytes_per_pixel=8.0,
    )


def _has_no_composite(data: bytes) -> bool:
    at = data.find(_COMPOSITE, 26)
    name = at + len(_COMPOSITE)
    body = name + (data[name] + 2) // 2 * 2 + 4 if 0 < at < len(data) - 16 else 0
    return bool(body) and body + 4 < len(data) and data[body + 4] == 0


def decode(data: bytes, head: Header, *, salvage: bool = False, reduce: int = 1) -> Decoded:
    """Pixels of the picture, upright as the format stores them."""
    mode, has_clear_colour = head.extra
    is_clear = has_clear_colour or mode in ("RGBA", "LA", "PA")
    wanted: str | None = "RGBA" if is_clear else "RGB"
    if mode == "CMYK":
        wanted = mode
    elif mode in _GREY and not is_clear:
        wanted = "L" if mode in ("1", "L") else None
    with _opened(data) as (file, number):
        pixels = np.asarray(file.read(index=number, mode=wanted))
    if pixels.dtype not in (np.uint8, np.uint16):
        pixels = np.clip(pixels, 0, 65535).astype(np.uint16)  # grey of 16 bits comes in wider numbers
    if pixels.shape[:2] != head.size:
        raise StillError("cannot be decoded", found=f"an array of {' x '.join(map(str, pixels.shape))}")
    if pixels.ndim == 2:
        return Decoded(np.ascontiguousarray(pixels), "GREY")
    if mode == "CMYK":
        return Decoded(np.ascontiguousarray(pixels), "CMYK")
    alpha = pixels[..., 3] if pixels.shape[2] == 4 else None
    return Decoded(np.ascontiguousarray(pixels[..., :3]), "RGB", alpha)
