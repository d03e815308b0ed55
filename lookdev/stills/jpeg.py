"""JPEG (ITU-T T.81): headers by Pillow, pixels in and out by libjpeg-turbo; CMYK, grey, damage by Pillow."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import StillError
from lookdev.stills.formats import Decoded, Header, TakeMemory, pillow_without_limit

_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)
_START_OF_SCAN, _END_OF_IMAGE = 0xDA, 0xD9
_END = bytes([0xFF, _END_OF_IMAGE])
_WITHOUT_LENGTH = (0x01, 0xD8, 0xD9)
_MAX_SEGMENTS = 20_000
SUBSAMPLINGS = ("4:4:4", "4:2:2", "4:2:0")
_LARGEST_EDGE = 65500  # libjpeg's JPEG_MAX_DIMENSION
_LARGEST_SEGMENT = 65533  # T.81 B.1.1.4: two bytes of length count themselves
_ICC_MARK = b"ICC_PROFILE\0"
_GAIN_MAP_MARKS = (b"hdrgm:Version", b"urn:iso:std:iso:ts:21496:-1", b"apple:hdr_gain_map")


def header(data: bytes) -> Header:
    """Size, profile, EXIF and notes; no pixel is decoded."""
    from PIL import Image

    with pillow_without_limit():
        image: Any = Image.open(io.BytesIO(data), formats=("JPEG",))
    start, is_whole = _start_and_whole(data)
    notes = []
    before_scan = data[: start or len(data)]
    if any(mark in before_scan for mark in _GAIN_MAP_MARKS):
        notes.append("HDR gain map left aside: the standard picture is read")
    frames = getattr(image, "n_frames", 1)
    if frames > 1:
        notes.append(f"multi-picture file: the primary of {frames} pictures is read")
    info = image.info
    return Header(
        kind="JPEG",
        size=(image.height, image.width),
        icc=info.get("icc_profile"),
        exif=info.get("exif"),
        xmp=info.get("xmp"),
        notes=tuple(notes),
        extra=(image.mode, is_whole),
    )


def segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Marker code, start and end (which may lie past the data) of each marker segment after the first.

    T.81 annex B: in entropy-coded data 0xFF is followed by 0x00 or a restart marker, so that any other marker
    is a real one.

    Raises
    ------
    StillError : more segments than any camera writes.
    """
    at = 2
    for _ in range(_MAX_SEGMENTS):
        match = _MARKER.search(data, at)
        if match is None:
            return
        start, at = match.span()
        code = data[start + 1]
        if code not in _WITHOUT_LENGTH:
            at += int.from_bytes(data[at : at + 2], "big") if at + 2 <= len(data) else 2
        yield code, start, at
    raise StillError("this JPEG file is broken", found=f"more than {_MAX_SEGMENTS} marker segments")


def scan_extent(data: bytes) -> tuple[int | None, int | None]:
    """Offsets of the first start of scan and of the end of image marker; None where there is none."""
    first = None
    for code, start, end in segments(data):
        if code == _END_OF_IMAGE:
            return first, end
        if code == _START_OF_SCAN and first is None:
            first = start
    return first, None


def _start_and_whole(data: bytes) -> tuple[int | None, bool]:
    """Offset of the first start of scan, and whether the end of the image is there."""
    start = header_end(data)
    if start is not None and data.endswith(_END):  # it cannot stand within a scan: no need to look through it
        return start, True
    start, end = scan_extent(data)
    return start, end is not None


def header_end(data: bytes) -> int | None:
    """Offset of the first start of scan, if that segment and all before it are there, or None."""
    found = next(((start, end) for code, start, end in segments(data) if code == _START_OF_SCAN), None)
    return found[0] if found is not None and found[1] <= len(data) else None


def cut_to_whole_segments(data: bytes) -> bytes:
    """A JPEG that breaks off, without a marker segment that is not all there, and with an end of image."""
    broken = next((start for _, start, end in segments(data) if end > len(data)), None)
    whole = data.rstrip(b"\xff") if broken is None else data[:broken]
    return whole + _END


def decode(
    data: bytes, head: Header, *, salvage: bool = False, reduce: int = 1, take: TakeMemory | None = None
) -> Decoded:
    """Pixels of a JPEG, unturned.

    Parameters
    ----------
    salvage : use a picture that breaks off as far as it goes.
    reduce : 1, 2, 4 or 8: decode at a fraction of the size (averages code values, not light).
    take : gives memory of so many bytes for the pixels; it need not be used.
    """
    mode, whole = head.extra
    if not whole:
        if not salvage:
            raise StillError(
                "the picture breaks off: the file is cut short",
                found=f"{len(data)} bytes without an end of image",
                wanted="a whole file, or --salvage to use what is there",
            )
        data = cut_to_whole_segments(data)
    if mode != "RGB" or not whole:
        decoded = _by_pillow(data, mode, reduce)
    elif reduce > 1:
        decoded = _reduced_by_turbo(data, head.size, reduce, take)
    else:
        decoded = _by_turbo(data, head.size, take)
    if whole:
        return decoded
    pixels, missing = _fill_missing(decoded.pixels)
    words = f"salvaged from a file that is cut short: the lowest {missing:.0%} is missing"
    return Decoded(pixels, decoded.mode, warnings=(words,))


def _by_turbo(data: bytes, size: tuple[int, int], take: TakeMemory | None) -> Decoded:
    """imagecodecs' libjpeg-turbo: as quick as OpenCV's, in RGB order, and silent about damage."""
    import imagecodecs

    memory = None if take is None else take(size[0] * size[1] * 3).reshape(*size, 3)
    pixels = np.asarray(imagecodecs.jpeg8_decode(data, out=memory))
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype != np.uint8:
        raise StillError("this JPEG file is broken or cut short")
    return Decoded(pixels)


def _reduced_by_turbo(data: bytes, size: tuple[int, int], reduce: int, take: TakeMemory | None) -> Decoded:
    """simplejpeg's libjpeg-turbo, which alone can reduce, keep silent and leave the pixels where they are."""
    import simplejpeg

    height, width = (-(-edge // reduce) for edge in size)
    pixels = simplejpeg.decode_jpeg(
        data,
        "RGB",
        min_height=height,
        min_width=width,
        min_factor=reduce,
        buffer=None if take is None else take(height * width * 3),
        strict=False,
    )
    return Decoded(pixels)


def _by_pillow(data: bytes, mode: str, reduce: int) -> Decoded:
    from PIL import Image

    with pillow_without_limit():
        image: Any = Image.open(io.BytesIO(data), formats=("JPEG",))
    if reduce > 1:
        image.draft(None, (image.width // reduce, image.height // reduce))
    if mode == "L":
        return Decoded(np.asarray(image), "GREY")
    if mode == "CMYK":
        return Decoded(np.asarray(image), "CMYK")
    return Decoded(np.asarray(image if image.mode == "RGB" else image.convert("RGB")))


def _fill_missing(pixels: NDArray[Any]) -> tuple[NDArray[Any], float]:
    """Mid grey where nothing was decoded (libjpeg repeats the last row), and the share of it."""
    height = len(pixels)
    rows = np.asarray(pixels).reshape(height, -1)
    same = np.all(rows == rows[-1], axis=1)
    kept = height - int(np.argmin(same[::-1])) if not same.all() else 0
    kept = kept // 8 * 8
    out = np.array(pixels)
    out[kept:] = 118
    return out, (height - kept) / height


def encode(pixels: NDArray[np.uint8], quality: int, subsampling: str) -> bytes:
    """RGB (h, w, 3) as a JPEG without metadata. It runs outside the interpreter's lock.

    The same input gives the same bytes.

    Parameters
    ----------
    quality : 1 to 100.
    subsampling : "4:4:4", "4:2:2" or "4:2:0".

    Raises
    ------
    StillError : another subsampling, or a picture larger than a JPEG can be.
    """
    import imagecodecs

    if subsampling not in SUBSAMPLINGS:
        raise StillError("unknown subsampling", found=subsampling, wanted="4:4:4, 4:2:2 or 4:2:0")
    if max(pixels.shape[:2]) > _LARGEST_EDGE:
        found = f"{pixels.shape[1]} x {pixels.shape[0]}"
        raise StillError(f"a JPEG ends at {_LARGEST_EDGE} pixels", found=found)
    code = subsampling.replace(":", "")
    return bytes(imagecodecs.jpeg8_encode(np.ascontiguousarray(pixels), level=quality, subsampling=code))


def with_segments(data: bytes, exif: bytes, icc: bytes) -> bytes:
    """A JPEG with an EXIF segment (CIPA DC-008, APP1) and its profile (ICC.1 annex B.4, APP2) put in.

    Raises
    ------
    StillError : more EXIF, or a larger profile, than segments hold.
    """
    after_jfif = 4 + int.from_bytes(data[4:6], "big") if data[2:4] == b"\xff\xe0" else 2
    size = _LARGEST_SEGMENT - len(_ICC_MARK) - 2
    parts = [icc[start : start + size] for start in range(0, len(icc), size)]
    bodies = [(b"\xff\xe1", exif if exif.startswith(b"Exif\0\0") else b"Exif\0\0" + exif)]
    if len(bodies[0][1]) > _LARGEST_SEGMENT or len(parts) > 255:
        raise StillError("metadata that no JPEG can hold", found=f"{len(exif)} and {len(icc)} bytes")
    for number, part in enumerate(parts, 1):
        bodies.append((b"\xff\xe2", _ICC_MARK + bytes([number, len(parts)]) + part))
    head = b"".join(marker + (len(body) + 2).to_bytes(2, "big") + body for marker, body in bodies)
    return data[:after_jfif] + head + data[after_jfif:]
