"""Formats without a decoder of their own here, through imageio: BMP, GIF, JPEG 2000, TGA, PSD, PNM.

8 or 16 bits; sRGB unless a profile says otherwise. Of a GIF the first frame is read, of a PSD the composite.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Iterator
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
    warnings: tuple[str, ...] = ()
    if kind in _PROFILES:
        icc, warnings = _PROFILES[kind](data)
    return Header(
        kind=kind or "BMP",
        size=(int(properties.shape[0]), int(properties.shape[1])),
        icc=icc if isinstance(icc, bytes) else None,
        exif=exif if isinstance(exif, bytes) else None,
        warnings=warnings,
        notes=("animated picture: the first frame is read",) if frames > 1 else (),
        extra=(mode, "transparency" in told),
        bytes_per_pixel=8.0,
    )


def _profile_of_bmp(data: bytes) -> tuple[bytes | None, tuple[str, ...]]:
    """Profile and warnings of the colour space in a BMP's V4 or V5 header (BITMAPV5HEADER)."""
    size = int.from_bytes(data[14:18], "little")
    kind = data[70:74][::-1] if size >= 108 else b"sRGB"
    if kind == b"MBED" and size >= 124:
        start, length = struct.unpack_from("<II", data, 14 + 112)
        profile = data[14 + start : 14 + start + length]
        return (profile, ()) if profile else (None, ("the embedded profile lies outside the file",))
    if kind == b"LINK":
        return None, ("the BMP names a profile in another file: read without it",)
    if kind == bytes(4) and any(data[74:110]):
        return None, ("the BMP's own primaries are not read: sRGB is assumed",)
    return None, ()


_JP2_COLOURS = (16, 17, 18)  # sRGB, grey and sYCC, which is decoded to sRGB


def _profile_of_jpeg_2000(data: bytes) -> tuple[bytes | None, tuple[str, ...]]:
    """Profile and warnings of the first colour specification box (ISO/IEC 15444-1 I.5.3.3)."""
    at = data.find(b"jp2h")
    if at < 4:
        return None, ()
    end = at - 4 + int.from_bytes(data[at - 4 : at], "big")
    at += 4
    while at + 11 <= min(end, len(data)):
        size, name = struct.unpack_from(">I4s", data, at)
        if name == b"colr":
            body = data[at + 8 : at + size]
            if body[0] in (2, 3):
                return body[3:], ()
            space = int.from_bytes(body[3:7], "big")
            known = body[0] == 1 and space in _JP2_COLOURS
            return None, () if known else (f"JPEG 2000 colour space {space} is not read: sRGB is assumed",)
        if size < 8:
            break
        at += size
    return None, ()


def _profile_of_gif(data: bytes) -> tuple[bytes | None, tuple[str, ...]]:
    """A GIF's profile stands in an application extension, which is not read."""
    return None, ("the GIF's profile is not read: sRGB is assumed",) if b"ICCRGBG1" in data else ()


_PROFILES: dict[str | None, Callable[[bytes], tuple[bytes | None, tuple[str, ...]]]] = {
    "BMP": _profile_of_bmp,
    "JPEG 2000": _profile_of_jpeg_2000,
    "GIF": _profile_of_gif,
}


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
