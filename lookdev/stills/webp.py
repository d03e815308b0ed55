"""WebP (RFC 9649), through Pillow."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from lookdev.stills.formats import Decoded, Header, pillow_without_limit


def _open(data: bytes) -> Any:
    from PIL import Image

    with pillow_without_limit():
        return Image.open(io.BytesIO(data), formats=("WEBP",))


def header(data: bytes) -> Header:
    """Size, profile, EXIF."""
    image = _open(data)
    animated = getattr(image, "n_frames", 1) > 1
    return Header(
        kind="WebP",
        size=(image.height, image.width),
        icc=image.info.get("icc_profile"),
        exif=image.info.get("exif"),
        xmp=image.info.get("xmp"),
        notes=("animated picture: the first frame is read",) if animated else (),
        bytes_per_pixel=4.0,
    )


def decode(data: bytes, head: Header, *, salvage: bool = False, reduce: int = 1) -> Decoded:
    """8-bit pixels and alpha."""
    image = _open(data)
    if image.mode in ("RGBA", "RGBX"):
        rgba = np.asarray(image.convert("RGBA"))
        alpha = rgba[..., 3] if image.mode == "RGBA" else None
        return Decoded(np.ascontiguousarray(rgba[..., :3]), "RGB", alpha)
    return Decoded(np.asarray(image.convert("RGB")))
