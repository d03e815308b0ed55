"""JPEG (ITU-T T.81): headers by Pillow, pixels in and out by libjpeg-turbo; its warnings count as damage."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import StillError
from lookdev.stills.ahead import taken
from lookdev.stills.formats import Decoded, Header, TakeMemory, pillow_without_limit

_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)
_START_OF_SCAN, _END_OF_IMAGE = 0xDA, 0xD9
_PROGRESSIVE_FRAMES, _FRAMES = (0xC2, 0xC6, 0xCA, 0xCE), frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_END = bytes([0xFF, _END_OF_IMAGE])
_WITHOUT_LENGTH = (0x01, 0xD8, 0xD9)
_MAX_SEGMENTS = 20_000
_MAX_SCANS = 64  # encoders write up to a dozen; each one costs a pass over the whole picture
_MUCH_FILL = 4096
_HARMLESS = ("unknown JFIF revision number", "Unknown Adobe color transform code", "bad ICC marker")
SUBSAMPLINGS = ("4:4:4", "4:2:2", "4:2:0")
_LARGEST_EDGE = 65500  # libjpeg's JPEG_MAX_DIMENSION
_LARGEST_SEGMENT = 65533  # T.81 B.1.1.4: two bytes of length count themselves
_ICC_MARK = b"ICC_PROFILE\0"
_XMP_MARK = b"http://ns.adobe.com/xap/1.0/\0"
_GAIN_MAP_MARKS = (b"hdrgm:Version", b"urn:iso:std:iso:ts:21496:-1", b"apple:hdr_gain_map")


@dataclass(frozen=True)
class _Extra:
    """What :func:`decode` is told: Pillow's mode, whether the end is there, and damage seen in the header."""

    mode: str
    is_whole: bool
    damage: str | None = None


def header(data: bytes) -> Header:
    """Size, profile, EXIF and notes; no pixel is decoded.

    Raises
    ------
    StillError : more scans than any encoder writes.
    """
    from PIL import Image

    with pillow_without_limit():
        image: Any = Image.open(io.BytesIO(without_fill(data)), formats=("JPEG",))
    start, is_whole = _start_and_whole(data)
    damage = _missing_scans(data) if start is not None and is_whole else None
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
        warnings=() if info.get("icc_profile") else _incomplete_profile(before_scan),
        extra=_Extra(image.mode, is_whole, damage),
        bytes_per_pixel={"CMYK": 7.0, "L": 4.0}.get(image.mode, 3.0),
    )


def without_fill(data: bytes) -> bytes:
    """``data`` without what stands between the segments before the first scan, if that is much.

    T.81 B.1.1.2 allows any number of fill bytes (0xFF) before a marker; Pillow takes them one by one.
    """
    parts, at, fill = [(0, 2)], 2, 0
    for code, start, end in segments(data):
        fill += start - at
        at = len(data) if code == _START_OF_SCAN else end
        parts.append((start, at))
        if code == _START_OF_SCAN:
            break
    else:
        rest = len(data[at:].lstrip(b"\xff"))
        fill += len(data) - at - rest
        parts.append((len(data) - rest, len(data)))
    return b"".join(data[start:end] for start, end in parts) if fill > _MUCH_FILL else data


def _incomplete_profile(before_scan: bytes) -> tuple[str, ...]:
    """A warning if there are profile segments and no profile (ICC.1:2022 annex B.4: all must be there)."""
    numbers = [
        (before_scan[start + 4 + len(_ICC_MARK)], before_scan[start + 5 + len(_ICC_MARK)])
        for code, start, end in segments(before_scan)
        if code == 0xE2
        and before_scan[start + 4 :].startswith(_ICC_MARK)
        and start + 6 + len(_ICC_MARK) <= min(end, len(before_scan))
    ]
    if not numbers:
        return ()
    have, wanted = len({number for number, _ in numbers}), max(count for _, count in numbers)
    return (f"the embedded profile is incomplete ({have} of {wanted} segments): read without it",)


def _missing_scans(data: bytes) -> str | None:
    """What a progressive or non-interleaved JPEG still lacks when its end of image comes, in words.

    T.81 G.1.1.1: each coefficient is sent down to its lowest bit (Al 0). A decoder does not mind if it is
    not, so a picture that was cut after a scan, and given an end, would be taken as good.

    Raises
    ------
    StillError : more scans than any encoder writes.
    """
    is_progressive, parts, scans = False, 0, 0
    left: dict[int, set[int]] = {}
    for code, start, end in segments(data):
        body = data[start + 4 : end]
        if code in _FRAMES and not left and len(body) >= 6:
            is_progressive, parts = code in _PROGRESSIVE_FRAMES, body[5]
            left = {body[6 + 3 * i]: set(range(64)) for i in range(parts) if 6 + 3 * i < len(body)}
        elif code == _START_OF_SCAN and len(body) >= 1 and len(body) >= 4 + 2 * body[0]:
            scans += 1
            if scans == 1 and not is_progressive and body[0] == parts:
                return None  # all in one scan: the decoder itself sees what is missing
            if scans > _MAX_SCANS:
                raise StillError(
                    "the JPEG has too many scans", found=f"more than {_MAX_SCANS}", wanted="a dozen or so"
                )
            first, last, low_bit = (*body[1 + 2 * body[0] : 3 + 2 * body[0]], body[3 + 2 * body[0]] & 15)
            if low_bit == 0 or not is_progressive:
                sent = set(range(first, last + 1)) if is_progressive else set(range(64))
                for i in range(body[0]):
                    left.get(body[1 + 2 * i], set()).difference_update(sent)
        elif code == _END_OF_IMAGE:
            break
    return "scans are missing" if any(left.values()) else None


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
    salvage : use a picture that breaks off, or is damaged, as far as it goes.
    reduce : 1, 2, 4 or 8: decode at a fraction of the size (averages code values, not light).
    take : gives memory of so many bytes for the pixels; it need not be used.
    """
    extra: _Extra = head.extra
    if not extra.is_whole:
        if not salvage:
            raise StillError(
                "the picture breaks off: the file is cut short",
                found=f"{len(data)} bytes without an end of image",
                wanted="a whole file, or --salvage to use what is there",
            )
        decoded = _by_pillow(cut_to_whole_segments(data), extra.mode, reduce)
        pixels, missing = _fill_missing(decoded.pixels)
        words = f"salvaged from a file that is cut short: the lowest {missing:.0%} is missing"
        return Decoded(pixels, decoded.mode, warnings=(words,))
    decoded, damage = _by_turbo(data, extra.mode, head.size, reduce, take)
    damage = extra.damage or damage
    if damage is None:
        return decoded
    if not salvage:
        raise StillError(
            "the picture is damaged", found=damage, wanted="a whole file, or --salvage to use it as it is"
        )
    pixels, missing = _fill_missing(decoded.pixels) if "premature end" in damage else (decoded.pixels, 0.0)
    lost = f", the lowest {missing:.0%} is missing" if missing >= 0.005 else ""
    words = f"salvaged from a damaged file ({damage}): parts of the picture are wrong{lost}"
    return Decoded(pixels, decoded.mode, warnings=(words,))


_TURBO_MODES = {"RGB": ("RGB", 3), "L": ("GRAY", 1), "CMYK": ("CMYK", 4)}


def _by_turbo(
    data: bytes, mode: str, size: tuple[int, int], reduce: int, take: TakeMemory | None
) -> tuple[Decoded, str | None]:
    """Pixels by simplejpeg's libjpeg-turbo, and the last of the decoder's warnings of damage.

    It alone says what the decoder warned of, can reduce, and leaves the pixels in memory of our own.
    """
    import simplejpeg

    colours, channels = _TURBO_MODES.get(mode, ("RGB", 3))
    height, width = (-(-edge // reduce) for edge in size)
    if reduce == 1 and mode == "RGB" and (ready := taken(data)) is not None:
        return Decoded(ready), None
    memory = None if take is None else take(height * width * channels)

    def pixels(strict: bool) -> NDArray[Any]:
        return np.asarray(
            simplejpeg.decode_jpeg(
                data,
                colours,
                min_height=height,
                min_width=width,
                min_factor=reduce,
                buffer=memory,
                strict=strict,
            )
        )

    damage = None
    try:
        found = pixels(True)
    except ValueError as error:
        said = " ".join(str(error).removeprefix("Corrupt JPEG data: ").split())
        if any(words in said for words in _HARMLESS) and data != (plain := _with_plain_marks(data)):
            return _by_turbo(plain, mode, size, reduce, take)
        if "bytes before marker 0xd9" in said and data != (plain := _without_padding(data)):
            padded, more = _by_turbo(plain, mode, size, reduce, take)
            if more is None:  # every pixel was there before the padding
                return padded, None
        if "subsampling" in said:
            return replace(_by_pillow(data, mode, reduce), warnings=(_UNCHECKED,)), None
        found = pixels(False)  # raises again if it is more than a warning
        damage = said or "the decoder warns of damage"
    if found.shape != (height, width, channels):
        raise StillError("this JPEG file is broken or cut short")
    if mode == "CMYK":
        return Decoded(255 - found, "CMYK"), damage  # written inverted, as in every CMYK JPEG since Adobe's
    return (Decoded(found[..., 0], "GREY") if channels == 1 else Decoded(found)), damage


_UNCHECKED = "unusual chroma subsampling: whether the file is damaged cannot be told"


def _without_padding(data: bytes) -> bytes:
    """A JPEG without the zeros that some cameras put between the picture and its end."""
    end = data.rfind(_END)
    return data[:end].rstrip(b"\0") + _END


def _with_plain_marks(data: bytes) -> bytes:
    """A JPEG without the marks that libjpeg warns of though every pixel is right.

    They are a JFIF revision of its future, an Adobe colour transform it does not know (taken as YCbCr),
    and the pieces of a profile, which is not asked of it.
    """
    kept, at = [data[:2]], 2
    for code, start, end in segments(data):
        body = data[start + 4 : end]
        segment = data[at:end]
        if code == 0xE0 and body.startswith(b"JFIF\0"):
            segment = b"\xff\xe0\0\x10JFIF\0\1\1" + body[7:12].ljust(7, b"\0")
        elif code == 0xEE and body.startswith(b"Adobe") and len(body) >= 12:
            segment = segment[:-1] + bytes([min(body[11], 1)]) if len(body) == 12 else segment
        elif code == 0xE2 and body.startswith(_ICC_MARK):
            segment = b""
        if code == _START_OF_SCAN:
            break
        kept.append(segment)
        at = end
    return b"".join(kept) + data[at:]


def _by_pillow(data: bytes, mode: str, reduce: int) -> Decoded:
    from PIL import Image

    with pillow_without_limit():
        image: Any = Image.open(io.BytesIO(without_fill(data)), formats=("JPEG",))
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


def with_segments(data: bytes, exif: bytes, icc: bytes, xmp: bytes | None = None) -> bytes:
    """A JPEG with an EXIF segment (CIPA DC-008, APP1), an XMP packet (ISO 16684-3, APP1) and its profile
    (ICC.1 annex B.4, APP2) put in.

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
    if xmp is not None:
        bodies.append((b"\xff\xe1", _XMP_MARK + xmp))
    for number, part in enumerate(parts, 1):
        bodies.append((b"\xff\xe2", _ICC_MARK + bytes([number, len(parts)]) + part))
    head = b"".join(marker + (len(body) + 2).to_bytes(2, "big") + body for marker, body in bodies)
    picture = memoryview(data)  # copied once; by slices twice
    return b"".join((picture[:after_jfif], head, picture[after_jfif:]))
