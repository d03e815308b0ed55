"""Table profiles and CMYK through LittleCMS (Pillow's ImageCms)."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import StillError
from lookdev.stills.icc import parse_profile, profile_bytes

TARGET = "Adobe RGB"  # holds the printing gamuts that sRGB cuts


def convert_with_profile(pixels: NDArray[Any], mode: str, icc: bytes) -> tuple[NDArray[np.uint8], Encoding]:
    """8-bit pixels to :data:`TARGET` through ``icc``, relative colorimetric.

    Parameters
    ----------
    pixels : (h, w, 3) RGB, (h, w) grey or (h, w, 4) CMYK (255 is full ink); 16 bits are cut to 8.
    mode : "RGB", "GREY" or "CMYK".

    Raises
    ------
    StillError : LittleCMS refuses the profile, or it is not for such pixels.
    """
    from PIL import Image, ImageCms

    wanted = {"RGB": "RGB", "GREY": "GRAY", "CMYK": "CMYK"}[mode]
    space = parse_profile(icc).colour_space
    if space != wanted:
        raise StillError("broken ICC profile", found=f"a {space} profile on {mode} pixels")
    target = get_encoding(TARGET)
    codes = pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
    pil_mode = {"RGB": "RGB", "GREY": "L", "CMYK": "CMYK"}[mode]
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        goal = ImageCms.ImageCmsProfile(io.BytesIO(profile_bytes(target)))
        transform: Any = ImageCms.buildTransform(
            source,
            goal,
            pil_mode,
            "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
        done = ImageCms.applyTransform(Image.fromarray(np.ascontiguousarray(codes), pil_mode), transform)
    except (ImageCms.PyCMSError, OSError, ValueError) as error:
        raise StillError("broken ICC profile", found=str(error)) from error
    return np.asarray(done), target


def cmyk_without_profile(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """Plain (1 - ink)(1 - black), Pillow's conversion: a picture to look at, no colour to trust."""
    from PIL import Image

    return np.asarray(Image.fromarray(pixels, "CMYK").convert("RGB"))
