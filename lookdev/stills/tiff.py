"""TIFF 6.0, BigTIFF and TIFF/EP tags, through tifffile."""

from __future__ import annotations

import io
import logging
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import get_encoding
from lookdev.errors import StillError
from lookdev.stills.formats import Decoded, Header

_GREY_WHITE_IS_ZERO, _GREY, _RGB, _PALETTE, _SEPARATED, _YCBCR, _CIELAB = 0, 1, 2, 3, 5, 6, 8
_MAX_STRIP_ENTRIES = 4_000_000


def _first_page(data: bytes) -> tuple[Any, int]:
    import tifffile

    log = logging.getLogger("tifffile")
    if not log.handlers:
        log.addHandler(logging.NullHandler())  # it logs damaged tags; without a handler, on standard error
    file = tifffile.TiffFile(io.BytesIO(data))
    pages = file.pages
    page: Any = pages[0]
    count = 2 if len(data) and _has_next(pages) else 1
    return page, count


def _has_next(pages: Any) -> bool:
    try:
        pages[1]
    except Exception:
        return False
    return True


def header(data: bytes) -> Header:
    """Size, profile, tags; no pixel is decoded."""
    page, count = _first_page(data)
    if len(page.dataoffsets) > _MAX_STRIP_ENTRIES:
        raise StillError("cannot be decoded", found=f"{len(page.dataoffsets)} strips")
    tag = page.tags.get(274)
    orientation = int(tag.value) if tag is not None and tag.value in range(1, 9) else 1
    photometric, sample_format = int(page.photometric), int(page.sampleformat)
    bits = int(page.bitspersample)
    is_float = sample_format == 3
    if sample_format not in (1, 3, 4) or (is_float and bits not in (16, 32, 64)):
        raise StillError(
            "this kind of TIFF is not read", found=f"sample format {sample_format}, {bits} bits per sample"
        )
    profile = page.tags.get(34675)
    xmp = page.tags.get(700)
    notes = ("file of several pages: the first is read",) if count > 1 else ()
    marked = None
    if is_float:
        marked = get_encoding("Linear BT.709"), "float TIFF: scene-linear, BT.709 primaries assumed"
    return Header(
        kind="TIFF",
        size=(int(page.imagelength), int(page.imagewidth)),
        orientation=orientation,
        icc=_bytes(profile),
        exif=data if data[2:4] in (b"*\0", b"\0*") else None,
        xmp=_bytes(xmp),
        marked=marked,
        notes=notes,
        extra=(photometric, is_float),
    )


def _bytes(tag: Any) -> bytes | None:
    if tag is None:
        return None
    value = tag.value
    return bytes(value) if isinstance(value, (bytes, tuple, list)) else None


def decode(data: bytes, head: Header, *, salvage: bool = False, reduce: int = 1) -> Decoded:
    """Pixels of the first page."""
    page, _ = _first_page(data)
    photometric, is_float = head.extra
    size = head.size
    raw_ycbcr = photometric == _YCBCR and int(page.compression) not in (6, 7)
    if raw_ycbcr or photometric in (_PALETTE, _CIELAB) or int(page.bitspersample) not in (8, 16, 32, 64):
        return _by_pillow(data, photometric)
    pixels = page.asarray(maxworkers=1)
    pixels = _interleaved(np.asarray(pixels), page, size)
    pixels, warnings = _plain_numbers(pixels, is_float)
    extra = tuple(int(v) for v in page.extrasamples)
    colours = {_RGB: 3, _YCBCR: 3, _SEPARATED: 4}.get(photometric, 1)
    if pixels.shape[2] < colours:
        raise StillError("cannot be decoded", found=f"{pixels.shape[2]} samples where {colours} belong")
    alpha, premultiplied = None, False
    if pixels.shape[2] > colours and extra[:1] in ((1,), (2,)):
        alpha, premultiplied = pixels[..., colours], extra[0] == 1
    body = pixels[..., :colours]
    if photometric == _SEPARATED:
        if body.dtype == np.uint16:
            body = (body >> 8).astype(np.uint8)
        return Decoded(np.ascontiguousarray(body), "CMYK", warnings=warnings)
    if colours == 1:
        body = body[..., 0]
        if photometric == _GREY_WHITE_IS_ZERO and not is_float:
            body = np.iinfo(body.dtype).max - body
        return Decoded(np.ascontiguousarray(body), "GREY", alpha, premultiplied, warnings)
    return Decoded(np.ascontiguousarray(body), "RGB", alpha, premultiplied, warnings)


def _by_pillow(data: bytes, photometric: int) -> Decoded:
    from PIL import Image

    from lookdev.stills.formats import pillow_without_limit

    with pillow_without_limit():
        image: Any = Image.open(io.BytesIO(data), formats=("TIFF",))
    if photometric == _CIELAB:
        raise StillError("this kind of TIFF is not read", found="CIELAB", wanted="RGB, grey or CMYK")
    if image.mode in ("1", "L", "I;16", "I"):
        return Decoded(np.asarray(image.convert("L")), "GREY")
    return Decoded(np.asarray(image.convert("RGB")))


def _interleaved(pixels: NDArray[Any], page: Any, size: tuple[int, int]) -> NDArray[Any]:
    """(h, w, samples) whatever the planar configuration."""
    samples = int(page.samplesperpixel)
    if pixels.ndim == 2:
        pixels = pixels[..., None]
    elif int(page.planarconfig) == 2 and samples > 1 and pixels.shape[0] == samples:
        pixels = np.moveaxis(pixels, 0, -1)
    if pixels.ndim != 3 or pixels.shape[:2] != size:
        raise StillError("cannot be decoded", found=f"an array of {' x '.join(map(str, pixels.shape))}")
    return pixels


def _plain_numbers(pixels: NDArray[Any], is_float: bool) -> tuple[NDArray[Any], tuple[str, ...]]:
    """Native uint8, uint16 or finite float32; what was changed is said."""
    if not is_float:
        if pixels.dtype.itemsize > 2:
            return (pixels >> (8 * (pixels.dtype.itemsize - 2))).astype(np.uint16), ()
        return pixels.astype(pixels.dtype.newbyteorder("="), copy=False), ()
    light = pixels.astype(np.float32)
    return finite(light)


def finite(light: NDArray[Any]) -> tuple[NDArray[Any], tuple[str, ...]]:
    """Float pixels with NaN and infinities set to 0 and to half float's largest, and the words for it."""
    bad = ~np.isfinite(light)
    if not bad.any():
        return light, ()
    mended = np.nan_to_num(light, nan=0.0, posinf=65504.0, neginf=-65504.0)
    return mended, (f"{int(bad.sum())} values that are no numbers were set to 0 or to the largest",)
