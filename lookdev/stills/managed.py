"""Table profiles and CMYK through LittleCMS (imagecodecs' binding, which takes 16 bits as well as 8)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import StillError
from lookdev.stills.icc import parse_profile, profile_bytes
from lookdev.stills.still import signal_of

_TARGETS = ("sRGB", "Adobe RGB", "Display P3")  # the first that holds every colour; each in the still's bits
_WIDEST = "BT.2020"  # in 16 bits, for what none of them holds
_OFF_CODES, _OFF_SHARE = 1.5, 1e-5
_BAND_PIXELS = 1 << 20
_SPACES = {"RGB": "RGB", "GREY": "GRAY", "CMYK": "CMYK"}


def convert_with_profile(pixels: NDArray[Any], mode: str, icc: bytes) -> tuple[NDArray[Any], Encoding]:
    """Pixels through ``icc`` to the first of sRGB, Adobe RGB and Display P3 that cuts none of their colours.

    8 or 16 bits stay so; what none of the three holds comes as 16-bit BT.2020. Relative colorimetric with
    black point compensation.

    Parameters
    ----------
    pixels : (h, w, 3) RGB, (h, w) grey or (h, w, 4) CMYK (full ink is the highest code), uint8 or uint16.
    mode : "RGB", "GREY" or "CMYK".

    Raises
    ------
    StillError : LittleCMS refuses the profile, or it is not for such pixels.
    """
    space = parse_profile(icc).colour_space
    if space != _SPACES[mode]:
        raise StillError("broken ICC profile", found=f"a {space} profile on {mode} pixels")
    top = np.iinfo(pixels.dtype).max
    wide: NDArray[Any] | None = None
    for name in _TARGETS:
        target = get_encoding(name)
        narrow = _through_littlecms(pixels, space, icc, target, pixels.dtype)
        ends = np.any((narrow == 0) | (narrow == top), axis=-1)
        if mode == "GREY" or not ends.any():
            return narrow, target
        if wide is None:
            wide = _through_littlecms(pixels, space, icc, get_encoding(_WIDEST), np.uint16)
        if _share_outside(wide[ends], target) * ends.mean() <= _OFF_SHARE:
            return narrow, target
    assert wide is not None
    return wide, get_encoding(_WIDEST)


def _share_outside(wide: NDArray[Any], target: Encoding) -> float:
    """Share of colours (n, 3), 16-bit codes of the widest encoding, that lie outside ``target`` by a code."""
    widest = get_encoding(_WIDEST)
    outside = 0
    for start in range(0, len(wide), _BAND_PIXELS):
        signal = target.from_working(widest.to_working(signal_of(wide[start : start + _BAND_PIXELS])))
        off = np.abs(signal - np.clip(signal, 0, 1)).max(axis=-1) * 255
        outside += int(np.count_nonzero(off > _OFF_CODES))
    return outside / len(wide)


def _through_littlecms(
    pixels: NDArray[Any], space: str, icc: bytes, target: Encoding, dtype: Any
) -> NDArray[Any]:
    """RGB (h, w, 3) of ``target`` in ``dtype``."""
    import imagecodecs

    try:
        converted = imagecodecs.cms_transform(
            np.ascontiguousarray(pixels),
            icc,
            profile_bytes(target),
            colorspace=space.lower(),
            outcolorspace="rgb",
            outdtype=np.dtype(dtype),
            intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
            flags=imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION,
        )
    except (imagecodecs.CmsError, ValueError) as error:
        raise StillError("broken ICC profile", found=str(error)) from error
    return np.asarray(converted).reshape(*pixels.shape[:2], 3)


def _in_bands(codes: NDArray[np.uint8], convert: Callable[[NDArray[np.uint8]], Any]) -> NDArray[np.uint8]:
    """RGB (h, w, 3) of Pillow's conversion of a few rows at a time, so that a large picture is held once."""
    height, width = codes.shape[:2]
    out = np.empty((height, width, 3), dtype=np.uint8)
    rows = max(1, _BAND_PIXELS // width)
    for top in range(0, height, rows):
        out[top : top + rows] = np.asarray(convert(codes[top : top + rows]))
    return out


def _image(codes: NDArray[np.uint8], pil_mode: str) -> Any:
    from PIL import Image

    height, width = codes.shape[:2]
    return Image.frombuffer(
        pil_mode, (width, height), np.ascontiguousarray(codes).tobytes(), "raw", pil_mode, 0, 1
    )


def cmyk_without_profile(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """Plain (1 - ink)(1 - black), Pillow's conversion: a picture to look at, no colour to trust."""
    return _in_bands(pixels, lambda band: _image(band, "CMYK").convert("RGB"))
