"""Graded stills in HDR: 10-bit HEIC and AVIF whose nclx code points say PQ or HLG.

Code points of ITU-T H.273 (primaries 9, transfer 16 or 18, matrix 9), full range. HEIC by libheif and x265,
AVIF by libavif; both give the same bytes for the same pixels.
"""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.colorimetry.hdr_scene import is_hlg, is_pq
from lookdev.errors import StillError
from lookdev.stills.avif_items import with_items

HDR_SUFFIXES = frozenset({".avif", ".heic"})
_PRIMARIES, _MATRIX, _PQ, _HLG = 9, 9, 16, 18
_HEIC_PRESET = (
    "ultrafast"  # an eighth of the time of x265's own choice, a few per cent more in size and error
)
_AVIF_SPEED = 8  # of 0 to 10: half the time of 6


def is_hdr(encoding: Encoding) -> bool:
    """Whether nclx code points can say what ``encoding`` is: BT.2100 PQ or HLG in full range."""
    return encoding.code_range == "full" and (is_pq(encoding) or is_hlg(encoding))


def hdr_still_bytes(
    suffix: str,
    pixels: NDArray[np.uint16],
    encoding: Encoding,
    *,
    exif: bytes,
    xmp: bytes | None,
    quality: int,
    subsampling: str,
) -> bytes:
    """The file's bytes, of 16-bit code values (h, w, 3) rounded to 10 bits.

    ``suffix`` : ".heic" or ".avif". ``quality`` and ``subsampling`` as of a JPEG.

    Raises
    ------
    StillError : no HDR encoding, not 16 bits, or the encoder refuses the picture.
    """
    if not is_hdr(encoding):
        raise StillError(
            f"a {suffix} is written in HDR",
            found=encoding.name,
            wanted="BT.2100 PQ or BT.2100 HLG, full range",
        )
    if pixels.dtype != np.uint16:
        raise StillError(f"a {suffix} holds 10 bits", found=f"{pixels.dtype}", wanted="16-bit code values")
    codes = ((pixels.astype(np.uint32) * 1023 + 32767) // 65535).astype(np.uint16)
    transfer = _PQ if is_pq(encoding) else _HLG
    try:
        if suffix == ".heic":
            return _heic(codes, transfer, exif, xmp, quality, subsampling)
        return with_items(_avif(codes, transfer, quality, subsampling), exif, xmp)
    except (OSError, RuntimeError, ValueError, MemoryError) as error:
        size = f"{pixels.shape[1]} by {pixels.shape[0]} pixels"
        raise StillError(f"the {suffix} could not be encoded: {error}", found=size) from error


def _heic(
    codes: NDArray[np.uint16], transfer: int, exif: bytes, xmp: bytes | None, quality: int, subsampling: str
) -> bytes:
    import pillow_heif

    size = (codes.shape[1], codes.shape[0])
    picture = pillow_heif.from_bytes(mode="RGB;16", size=size, data=np.left_shift(codes, 6).tobytes())
    out = io.BytesIO()
    picture.save(
        out,
        quality=quality,
        chroma=int(subsampling.replace(":", "")),
        color_primaries=_PRIMARIES,
        transfer_characteristics=transfer,
        matrix_coefficients=_MATRIX,
        full_range_flag=1,
        enc_params={"preset": _HEIC_PRESET},
        exif=exif,
        xmp=xmp,
    )
    return out.getvalue()


def _avif(codes: NDArray[np.uint16], transfer: int, quality: int, subsampling: str) -> bytes:
    import imagecodecs

    return bytes(
        imagecodecs.avif_encode(
            codes,
            level=quality,
            speed=_AVIF_SPEED,
            bitspersample=10,
            pixelformat=imagecodecs.AVIF.PIXEL_FORMAT[f"YUV{subsampling.replace(':', '')}"],
            primaries=_PRIMARIES,
            transfer=transfer,
            matrix=_MATRIX,
            numthreads=1,
        )
    )
