"""HEIF with HEVC (ISO/IEC 23008-12) through libheif, and AVIF through Pillow and imagecodecs.

The libheif that pillow-heif ships has no AV1 decoder; it still reads the boxes of an AVIF.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.hdr_scene import is_hlg, is_pq
from lookdev.errors import StillError
from lookdev.stills.exif import load_exif, orientation_of
from lookdev.stills.formats import Decoded, Header, pillow_without_limit
from lookdev.stills.icc import has_cicp
from lookdev.stills.marking import UNSPECIFIED, marked_by_code_points
from lookdev.stills.still import spread


def _heif(data: bytes) -> Any:
    import pillow_heif

    return pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)


def header(data: bytes) -> Header:
    """Size, profile or nclx code points, EXIF, notes on what else the file holds.

    Rotation and mirroring of the container (irot, imir) rule; the EXIF orientation repeats them and is not
    applied again (ISO/IEC 23008-12 6.5.10, annex A.2.1).
    """
    if _is_avif(data):
        return _avif_header(data)
    file = _heif(data)
    info: dict[str, Any] = file.info
    return Header(
        kind="HEIF",
        size=(int(file.size[1]), int(file.size[0])),
        exif=info.get("exif"),
        xmp=info.get("xmp"),
        **_marking(info.get("nclx_profile"), info.get("icc_profile")),
        notes=_notes(info, len(file)),
        extra=(int(info.get("bit_depth") or 8), False),
        bytes_per_pixel=4.0 if int(info.get("bit_depth") or 8) == 8 else 12.0,
    )


def _avif_header(data: bytes) -> Header:
    """Pillow's view, with bit depth and nclx as libheif reads them from the boxes."""
    image = _avif(data)
    try:
        info: dict[str, Any] = _heif(data).info
    except Exception:  # libheif refuses some sequences that libavif reads
        info = {}
    exif = image.info.get("exif")
    return Header(
        kind="AVIF",
        size=(image.height, image.width),
        orientation=orientation_of(load_exif(exif) or {}),
        exif=exif,
        xmp=image.info.get("xmp"),
        **_marking(info.get("nclx_profile"), image.info.get("icc_profile")),
        notes=_notes(info, int(getattr(image, "n_frames", 1))),
        extra=(int(info.get("bit_depth") or 8), True),
        bytes_per_pixel=4.0 if int(info.get("bit_depth") or 8) == 8 else 12.0,
    )


def _is_avif(data: bytes) -> bool:
    size = int.from_bytes(data[:4], "big")
    return b"avif" in data[8 : min(size, 256)] or b"avis" in data[8 : min(size, 256)]


def _avif(data: bytes) -> Any:
    from PIL import Image

    with pillow_without_limit():
        return Image.open(io.BytesIO(data), formats=("AVIF",))


def _marking(nclx: Any, icc: bytes | None) -> dict[str, Any]:
    """What :class:`Header` is told of colour: profile, marking, warnings.

    A profile rules over nclx (ISO/IEC 23008-12 6.5.5 has the same order as MIAF), except where nclx says HDR,
    which a profile without a cicp tag cannot say.
    """
    if not isinstance(nclx, dict):
        return {"icc": icc}
    marked, warnings = marked_by_code_points(
        int(nclx.get("color_primaries", UNSPECIFIED)),
        int(nclx.get("transfer_characteristics", UNSPECIFIED)),
        "nclx colour information",
    )
    is_hdr = marked is not None and (is_pq(marked[0]) or is_hlg(marked[0]))
    return {
        "icc": icc,
        "marked": marked,
        "warnings": warnings if icc is None else (),
        "marking_rules": is_hdr and icc is not None and not has_cicp(icc),
    }


def _notes(info: dict[str, Any], pictures: int) -> tuple[str, ...]:
    notes = []
    auxiliary = " ".join(map(str, info.get("aux") or {})).lower()
    if "gain" in auxiliary:
        notes.append("HDR gain map left aside: the standard picture is read")
    if info.get("depth_images"):
        notes.append("depth picture left aside")
    if pictures > 1:
        notes.append(f"multi-picture file: the primary of {pictures} pictures is read")
    return tuple(notes)


def decode(data: bytes, head: Header, *, salvage: bool = False, reduce: int = 1) -> Decoded:
    """8-bit or 16-bit pixels; 10 and 12 bits are spread over 16, so that white is white."""
    bits, is_avif = head.extra
    pixels = _decode_avif(data, bits) if is_avif else _decode_heif(data, bits)
    if pixels.ndim == 2:
        return Decoded(pixels, "GREY")
    if pixels.shape[2] == 2:
        return Decoded(np.ascontiguousarray(pixels[..., 0]), "GREY", pixels[..., 1])
    alpha = pixels[..., 3] if pixels.shape[2] == 4 else None
    return Decoded(np.ascontiguousarray(pixels[..., :3]), "RGB", alpha)


def _decode_heif(data: bytes, bits: int) -> NDArray[Any]:
    file = _heif(data)
    pixels = np.array(file)[:, : int(file.size[0])]  # a copy: the library's own memory goes with ``file``
    if pixels.dtype == np.uint16:
        return spread(pixels >> (16 - bits), bits)
    return pixels


def _decode_avif(data: bytes, bits: int) -> NDArray[Any]:
    if bits == 8:
        image = _avif(data)
        return np.asarray(image if image.mode in ("RGB", "RGBA") else image.convert("RGB"))
    import imagecodecs

    pixels = np.asarray(imagecodecs.avif_decode(data))
    if pixels.dtype != np.uint16:
        raise StillError("cannot be decoded", found=f"{bits}-bit AVIF as {pixels.dtype}")
    return spread(pixels, bits)
