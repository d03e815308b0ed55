"""Graded pixels to the bytes of a file, outside the interpreter's lock: threads encode side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.errors import StillError
from lookdev.stills.writer import SUBSAMPLINGS, still_bytes

if TYPE_CHECKING:
    from lookdev.stills.still import Metadata

_ICC_PART = 65519  # ICC.1, B.4: what fits into one APP2 segment beside its head


def encoded(
    suffix: str,
    pixels: NDArray[Any],
    encoding: Encoding,
    metadata: Metadata,
    quality: int,
    subsampling: str,
    keep_private: bool = False,
) -> bytes:
    """As ``still_bytes``. The same input gives the same bytes."""
    if suffix.lower() not in (".jpg", ".jpeg") or pixels.dtype != np.uint8 or max(pixels.shape) > 65500:
        return still_bytes(
            suffix,
            pixels,
            encoding,
            metadata=metadata,
            quality=quality,
            subsampling=subsampling,
            keep_private=keep_private,
        )
    from lookdev.stills.exif import exif_bytes
    from lookdev.stills.icc import profile_bytes

    exif = exif_bytes(metadata, encoding_name=encoding.name, keep_private=keep_private)
    return with_segments(jpeg(pixels, quality, subsampling), exif, profile_bytes(encoding))


def jpeg(pixels: NDArray[np.uint8], quality: int, subsampling: str) -> bytes:
    """Pixels (h, w, 3) as a JPEG without a profile, by libjpeg-turbo, which takes RGB as it is."""
    import imagecodecs

    if subsampling not in SUBSAMPLINGS:
        raise StillError("unknown subsampling", found=subsampling, wanted=", ".join(SUBSAMPLINGS))
    code = subsampling.replace(":", "")
    return bytes(imagecodecs.jpeg8_encode(np.ascontiguousarray(pixels), level=quality, subsampling=code))


def with_segments(data: bytes, exif: bytes, icc: bytes) -> bytes:
    """A JPEG with an EXIF segment (CIPA DC-008, APP1) and its profile (ICC.1 annex B.4, APP2) put in."""
    after_jfif = 4 + int.from_bytes(data[4:6], "big") if data[2:4] == b"\xff\xe0" else 2
    parts = [icc[start : start + _ICC_PART] for start in range(0, len(icc), _ICC_PART)]
    segments = [(b"\xff\xe1", exif if exif.startswith(b"Exif\0\0") else b"Exif\0\0" + exif)]
    for number, part in enumerate(parts, 1):
        segments.append((b"\xff\xe2", b"ICC_PROFILE\0" + bytes([number, len(parts)]) + part))
    head = b"".join(marker + (len(body) + 2).to_bytes(2, "big") + body for marker, body in segments)
    return data[:after_jfif] + head + data[after_jfif:]
