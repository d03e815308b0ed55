"""Table profiles and CMYK through LittleCMS (imagecodecs' binding, which takes 16 bits as well as 8)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import StillError
from lookdev.stills.icc import parse_profile, profile_bytes

_NARROW, _WIDE = "sRGB", "Adobe RGB"  # Adobe RGB holds the printing gamuts that sRGB cuts
_CUT_SHARE = 1e-3
_BAND_PIXELS = 1 << 20
_SPACES = {"RGB": "RGB", "GREY": "GRAY", "CMYK": "CMYK"}


def convert_with_profile(pixels: NDArray[Any], mode: str, icc: bytes) -> tuple[NDArray[Any], Encoding]:
    """Pixels to sRGB through ``icc``, or to Adobe RGB where sRGB would cut colours off; 8 or 16 bits stay so.

    Relative colorimetric with black point compensation.

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
    narrow = _through_littlecms(pixels, space, icc, get_encoding(_NARROW))
    ends = np.any((narrow == 0) | (narrow == top), axis=-1)
    if mode != "GREY" and ends.mean() > _CUT_SHARE:
        wide = _through_littlecms(pixels, space, icc, get_encoding(_WIDE))
        cut = ends & ~np.any((wide == 0) | (wide == top), axis=-1)
        if cut.mean() > _CUT_SHARE:
            return wide, get_encoding(_WIDE)
    return narrow, get_encoding(_NARROW)


def _through_littlecms(pixels: NDArray[Any], space: str, icc: bytes, target: Encoding) -> NDArray[Any]:
    """RGB (h, w, 3) of ``target``, in the type of ``pixels``."""
    import imagecodecs

    try:
        converted = imagecodecs.cms_transform(
            np.ascontiguousarray(pixels),
            icc,
            profile_bytes(target),
            colorspace=space.lower(),
            outcolorspace="rgb",
            outdtype=pixels.dtype,
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
