"""What a file is, by its first bytes; and the two records that every format's reader fills."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import RLock
from typing import TYPE_CHECKING, Any, BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.stills.still import Metadata

# Pillow warns of every damaged EXIF entry; the entry is left out, and a terminal is not the place to say so.
warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")

_RAW = (
    "3fr arw cr2 cr3 crw dcr dng erf fff iiq kdc mef mos mrw nef nrw orf pef raf raw rw2 rwl sr2 srf srw x3f"
)
RAW_SUFFIXES = frozenset("." + name for name in _RAW.split())
_RAW_HEADS = (b"FUJIFILM", b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"\0MRM", b"FOVb", b"II\x1a\0\0\0HEAPCCDR")
OTHERS: dict[str, frozenset[str]] = {
    "BMP": frozenset({".bmp", ".dib"}),
    "GIF": frozenset({".gif"}),
    "JPEG 2000": frozenset({".jp2", ".j2k", ".jpf", ".jpx", ".jpc"}),
    "TGA": frozenset({".tga"}),
    "PSD": frozenset({".psd"}),
    "PNM": frozenset({".ppm", ".pgm", ".pnm"}),
}
"""Formats that are read through imageio."""
SUFFIXES: dict[str, frozenset[str]] = {
    **OTHERS,
    "JPEG": frozenset({".jpg", ".jpeg", ".jpe", ".jfif", ".mpo"}),
    "PNG": frozenset({".png"}),
    "TIFF": frozenset({".tif", ".tiff"}),
    "HEIF": frozenset({".heic", ".heif", ".hif"}),
    "AVIF": frozenset({".avif"}),
    "WebP": frozenset({".webp"}),
    "OpenEXR": frozenset({".exr"}),
    "raw": RAW_SUFFIXES,
}
CLIP_SUFFIXES = frozenset({".mp4", ".mov", ".m4v"})
"""Clips, of which a still is one picture (:mod:`lookdev.stills.clip`)."""
STILL_SUFFIXES = frozenset().union(*SUFFIXES.values(), CLIP_SUFFIXES)


TakeMemory = Callable[[int], NDArray[np.uint8]]
"""Gives memory of so many bytes, filled with anything."""


@dataclass(frozen=True)
class Header:
    """A file's description, before any pixel is decoded.

    Attributes
    ----------
    kind : key of :data:`SUFFIXES`.
    size : (height, width) as stored, before orientation.
    orientation : 1 to 8, what has still to be done to the decoded pixels.
    icc, exif, xmp : blocks as found; ``exif`` may be the file itself, as long as it is open.
    marked : encoding and words of a marking other than a profile or DCF (PNG chunks, nclx, chromaticities).
    marking_rules : whether ``marked`` rules over an embedded profile and the DCF marking.
    metadata : camera settings, where the format has its own instead of EXIF.
    extra : whatever the format's ``decode`` wants to be told.
    bytes_per_pixel : what decoding makes of a pixel before anything is done with it.
    """

    kind: str
    size: tuple[int, int]
    orientation: int = 1
    icc: bytes | None = None
    exif: bytes | BinaryIO | None = field(default=None, repr=False)
    xmp: bytes | None = field(default=None, repr=False)
    marked: tuple[Encoding, str] | None = None
    marking_rules: bool = False
    metadata: Metadata | None = None
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    extra: Any = None
    bytes_per_pixel: float = 8.0

    @property
    def bytes_in_hand(self) -> int:
        """Memory that the decoded still takes while it is worked on: as decoded, as RGB, and as graded."""
        return int(self.size[0] * self.size[1] * (2 * self.bytes_per_pixel + 6))


@dataclass(frozen=True)
class Decoded:
    """Pixels as stored: (h, w, 3) RGB, (h, w) grey or (h, w, 4) CMYK (255 is full ink), by ``mode``.

    ``alpha`` is (h, w) in the same kind of number, or None. ``premultiplied`` says that the light was already
    multiplied by alpha. ``marked`` and ``metadata`` say what only decoding could tell, and rule over the
    header's.
    """

    pixels: NDArray[Any]
    mode: str = "RGB"
    alpha: NDArray[Any] | None = None
    premultiplied: bool = False
    warnings: tuple[str, ...] = ()
    metadata: Metadata | None = None
    marked: tuple[Encoding, str] | None = None


def sniff(data: bytes, suffix: str) -> str | None:
    """Which kind of still this is, by content; the suffix only tells raw files from TIFF."""
    head = data[:16]
    if head[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if head[:4] == b"\x76\x2f\x31\x01":
        return "OpenEXR"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WebP"
    if head[4:8] == b"ftyp":
        return _brand(data)
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        is_raw = head[8:10] == b"CR" or suffix in RAW_SUFFIXES or has_dng_version(io.BytesIO(data))
        return "raw" if is_raw else "TIFF"
    if head.startswith(_RAW_HEADS):
        return "raw"
    return sniff_other(data, suffix) or ("raw" if suffix in RAW_SUFFIXES else None)


def sniff_other(data: bytes, suffix: str) -> str | None:
    """Which of :data:`OTHERS` this is; a TGA has no mark at its beginning, so that its suffix counts."""
    head = data[:26]
    if head[:2] == b"BM" and head[6:10] == bytes(4):
        return "BMP"
    if head[:6] in (b"GIF87a", b"GIF89a"):
        return "GIF"
    if head[:12] == b"\0\0\0\x0cjP  \r\n\x87\n" or head[:4] == b"\xff\x4f\xff\x51":
        return "JPEG 2000"
    if head[:6] == b"8BPS\0\x01":
        return "PSD"
    if head[:2] in (b"P2", b"P3", b"P5", b"P6") and head[2:3].isspace():
        return "PNM"
    is_tga = (
        len(head) > 17 and head[1] < 2 and head[2] in (1, 2, 3, 9, 10, 11) and head[16] in (8, 15, 16, 24, 32)
    )
    return "TGA" if suffix == ".tga" and is_tga else None


def begins_like_raw(data: bytes) -> bool:
    """Whether the first bytes are those of a raw format with a mark of its own; some old ones have none."""
    heads = (*_RAW_HEADS, b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"IIII", b"MMMM")
    return data.startswith(heads) or data[4:8] == b"ftyp"


def _brand(data: bytes) -> str | None:
    """Kind of an ISO base media file (ISO/IEC 14496-12 4.3) by its brands."""
    size = int.from_bytes(data[:4], "big")
    brands = {data[8:12]} | {data[i : i + 4] for i in range(16, min(size, len(data), 256) - 3, 4)}
    if b"crx " in brands:
        return "raw"
    if brands & {b"avif", b"avis"}:
        return "AVIF"
    if brands & {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}:
        return "HEIF"
    return None


def has_dng_version(file: BinaryIO) -> bool:
    """Whether the first directory of a TIFF holds DNGVersion (50706)."""
    file.seek(0)
    head = file.read(8)
    order: Literal["little", "big"] = "little" if head[:2] == b"II" else "big"
    if head[2:4] not in (b"*\0", b"\0*"):
        return False
    file.seek(int.from_bytes(head[4:8], order))
    count = int.from_bytes(file.read(2), order)
    entries = file.read(12 * count)
    tag = (50706).to_bytes(2, order)
    return any(entries[i : i + 2] == tag for i in range(0, len(entries), 12))


_PILLOW_LOCK = RLock()


@contextmanager
def pillow_without_limit() -> Iterator[None]:
    """Pillow's own size limit set aside while a file is opened: ours is checked on the header instead."""
    from PIL import Image

    with _PILLOW_LOCK:
        before = Image.MAX_IMAGE_PIXELS
        Image.MAX_IMAGE_PIXELS = None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = before
