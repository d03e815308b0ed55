"""Written stills: JPEG, PNG, TIFF with the profile of what they are, upright, whole or not at all.

HEIC and AVIF are for HDR: what they are is said by code points (:mod:`lookdev.stills.hdr_writer`).
"""

from __future__ import annotations

import io
import struct
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.cores import usable_cores
from lookdev.errors import LookdevError, StillError
from lookdev.files import write_whole
from lookdev.stills import jpeg
from lookdev.stills.exif import Directory, exif_bytes, exif_directories
from lookdev.stills.hdr_writer import HDR_SUFFIXES, hdr_still_bytes
from lookdev.stills.icc import profile_bytes
from lookdev.stills.still import Metadata
from lookdev.stills.view import EQUIRECTANGULAR, projection_xmp

MAX_TIFF_BYTES = 4_000_000_000  # TIFF 6.0 counts bytes in 32 bits
_MOST_TIFF_THREADS = 8  # a batch has other stills in hand
WRITTEN_SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff"}) | HDR_SUFFIXES


def write_still(
    path: Path,
    pixels: NDArray[Any],
    encoding: Encoding,
    *,
    metadata: Metadata | None = None,
    quality: int = 92,
    subsampling: str = "4:4:4",
    keep_private: bool = False,
) -> None:
    """Write pixels with their ICC profile and camera settings. The same input writes the same bytes.

    Parameters
    ----------
    path : the suffix picks JPEG (8 bits), PNG or TIFF (8 or 16 bits), HEIC or AVIF (10 bits of 16, HDR).
    pixels : (h, w, 3) uint8 or uint16 code values of ``encoding``, upright.
    metadata : camera settings to keep; orientation is always 1.
    quality, subsampling : of a JPEG, HEIC or AVIF: 1 to 100; "4:4:4", "4:2:2" or "4:2:0".
    keep_private : also write position, owner and serial numbers.

    Raises
    ------
    StillError : another suffix, 16 bits in a JPEG, an encoding that the file cannot say, or a failed write.
    """
    path = Path(path)
    data = still_bytes(
        path.suffix,
        pixels,
        encoding,
        metadata=metadata,
        quality=quality,
        subsampling=subsampling,
        keep_private=keep_private,
    )
    try:
        write_whole(path, data)
    except LookdevError as error:
        raise StillError(error.problem, file=path) from error


def still_bytes(
    suffix: str,
    pixels: NDArray[Any],
    encoding: Encoding,
    *,
    metadata: Metadata | None = None,
    quality: int = 92,
    subsampling: str = "4:4:4",
    keep_private: bool = False,
) -> bytes:
    """The file that :func:`write_still` writes, as bytes."""
    kind = suffix.lower()
    if kind not in WRITTEN_SUFFIXES:
        raise StillError(
            "cannot write this kind of still", found=suffix, wanted=".jpg, .png, .tif, .heic or .avif"
        )
    is_jpeg = kind in (".jpg", ".jpeg")
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype not in (np.uint8, np.uint16):
        raise StillError(
            "cannot write these pixels",
            found=f"{pixels.shape} {pixels.dtype}",
            wanted="(h, w, 3) 8 or 16 bits",
        )
    if is_jpeg and pixels.dtype != np.uint8:
        raise StillError("a JPEG holds 8 bits", found="16 bits", wanted=".png or .tif for 16 bits")
    icc = profile_bytes(encoding) if kind not in HDR_SUFFIXES else b""
    exif = exif_bytes(metadata or Metadata(), encoding_name=encoding.name, keep_private=keep_private)
    projection = metadata.projection if metadata is not None else None
    xmp = projection_xmp() if projection == EQUIRECTANGULAR else None
    if kind in HDR_SUFFIXES:
        return hdr_still_bytes(
            kind, pixels, encoding, exif=exif, xmp=xmp, quality=quality, subsampling=subsampling
        )
    if is_jpeg:
        return jpeg.with_segments(jpeg.encode(pixels, quality, subsampling), exif, icc, xmp)
    if kind == ".png":
        return _png(pixels, icc, exif, encoding.name, xmp)
    return _tiff(pixels, icc, exif, metadata or Metadata(), xmp)


def _png(pixels: NDArray[Any], icc: bytes, exif: bytes, name: str, xmp: bytes | None) -> bytes:
    """PNG by OpenCV (Pillow has no 16-bit RGB); the profile and EXIF chunks are put in here."""
    import zlib

    import cv2

    from lookdev.stills.png import insert_chunks

    bgr = cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2BGR)
    done, coded = cv2.imencode(".png", bgr)  # its own setting: a third of the time of zlib 6, a tenth larger
    if not done:
        raise StillError("the PNG could not be written")
    label = "".join(c for c in name if " " <= c <= "~").strip()[:79] or "profile"
    body = label.encode("ascii") + b"\0\0" + zlib.compress(icc, 9)
    chunks = [(b"iCCP", body), (b"eXIf", exif.removeprefix(b"Exif\0\0"))]
    if xmp is not None:
        chunks.append((b"iTXt", b"XML:com.adobe.xmp" + bytes(5) + xmp))
    return insert_chunks(coded.tobytes(), chunks)


def _tiff(pixels: NDArray[Any], icc: bytes, exif: bytes, metadata: Metadata, xmp: bytes | None) -> bytes:
    """TIFF, Deflate and horizontal prediction; camera settings as in a TIFF of Exif (CIPA DC-008, 4.5)."""
    import tifffile

    if pixels.nbytes > MAX_TIFF_BYTES:
        raise StillError("too large for a TIFF", found=f"{pixels.nbytes} bytes", wanted=".png")
    ascii_, short = 2, 3
    tags: list[tuple[int, int, int, Any, bool]] = [(274, short, 1, 1, True)]
    if metadata.camera:
        tags.append((272, ascii_, 0, metadata.camera.encode("utf-8"), True))
    if metadata.date:
        tags.append((306, ascii_, 0, metadata.date.replace("-", ":").replace("T", " "), True))
    if xmp is not None:
        tags.append((700, 1, len(xmp), xmp, True))
    out = io.BytesIO()
    tifffile.imwrite(
        out,
        np.ascontiguousarray(pixels),
        byteorder="<",
        photometric="rgb",
        compression="deflate",
        compressionargs={"level": 1},  # libdeflate's: half the time of 6, and no larger where there is noise
        predictor=True,
        maxworkers=min(usable_cores(), _MOST_TIFF_THREADS),  # each strip by itself: the same bytes
        iccprofile=icc,
        software="lookdev",
        metadata=None,
        extratags=tags,
    )
    _add_directories(out, exif_directories(exif))
    return out.getvalue()


def _add_directories(tiff: io.BytesIO, directories: Mapping[int, Directory]) -> None:
    """Put directories behind a little-endian TIFF, and a first one that points to them.

    tifffile writes no pointers of its caller's, so the first directory is written again at the end.
    """
    data = tiff.getbuffer()
    (at,) = struct.unpack_from("<L", data, 4)
    (count,) = struct.unpack_from("<H", data, at)
    entries = [bytes(data[at + 2 + 12 * i : at + 14 + 12 * i]) for i in range(count)]
    data.release()
    for tag, directory in directories.items():
        place = _word_boundary(tiff)
        entries.append(struct.pack("<HHLL", tag, 4, 1, place))
        tiff.write(directory(place))
    first = _word_boundary(tiff)
    entries.sort(key=lambda entry: struct.unpack_from("<H", entry))
    tiff.write(struct.pack("<H", len(entries)) + b"".join(entries) + bytes(4))
    tiff.seek(4)
    tiff.write(struct.pack("<L", first))


def _word_boundary(tiff: io.BytesIO) -> int:
    """The end of the file, where TIFF 6.0, section 2, lets a directory begin."""
    tiff.write(bytes(tiff.seek(0, io.SEEK_END) % 2))
    return tiff.tell()
