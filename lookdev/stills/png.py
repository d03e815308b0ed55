"""PNG (W3C Portable Network Graphics, third edition, 2025)."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import replace
from typing import Any

import numpy as np

from lookdev.colorimetry.encodings import get_encoding
from lookdev.errors import StillError
from lookdev.stills.formats import Decoded, Header, pillow_without_limit
from lookdev.stills.marking import (
    Marked,
    encoding_from_chromaticities,
    marked_by_code_points,
    space_from_chromaticities,
)
from lookdev.stills.quiet import quiet


def header(data: bytes) -> Header:
    """Size, profile, chunks that mark colour (cICP, iCCP, sRGB, gAMA with cHRM: 4.3 gives this order)."""
    from PIL import Image

    with pillow_without_limit():
        image: Any = Image.open(io.BytesIO(data), formats=("PNG",))
    chunks = chunks_before_pixels(data)
    bits = data[24]
    notes = []
    if getattr(image, "is_animated", False):
        notes.append("animated picture: the first frame is read")
    return Header(
        kind="PNG",
        size=(image.height, image.width),
        icc=image.info.get("icc_profile"),
        exif=image.info.get("exif"),
        xmp=image.info.get("xmp"),
        notes=tuple(notes),
        extra=(image.mode, bits),
        bytes_per_pixel=8.0 if bits == 16 else 4.0,
        **_marking(chunks, has_profile=bool(image.info.get("icc_profile"))),
    )


def chunks_before_pixels(data: bytes) -> dict[bytes, bytes]:
    """First chunk of each type before IDAT. Pillow reads most of them but drops cICP, hence this walk."""
    out: dict[bytes, bytes] = {}
    at = 8
    while at + 12 <= len(data):
        size, kind = struct.unpack_from(">I4s", data, at)
        if kind in (b"IDAT", b"IEND") or at + 12 + size > len(data):
            break
        if len(out) < 256:
            out.setdefault(kind, data[at + 8 : at + 8 + size])
        at += 12 + size
    return out


def _marking(chunks: dict[bytes, bytes], *, has_profile: bool) -> dict[str, Any]:
    """What :class:`Header` is told of colour by the chunks: marking, whether it rules, warnings."""
    cicp = chunks.get(b"cICP", b"")
    warnings: tuple[str, ...] = ()
    if len(cicp) == 4:
        marked, warnings = marked_by_code_points(cicp[0], cicp[1], "PNG cICP chunk", full_range=cicp[3] == 1)
        if marked is not None:
            return {"marked": marked, "marking_rules": True, "warnings": warnings}
    elif b"cICP" in chunks:
        warnings = (f"PNG cICP chunk of {len(cicp)} bytes, where 4 belong: not used",)
    if b"iCCP" in chunks and not has_profile:
        warnings = (*warnings, "the embedded profile cannot be unpacked: read without it")
    marked, more = _by_older_chunks(chunks)
    return {"marked": marked, "warnings": (*warnings, *more)}


def _by_older_chunks(chunks: dict[bytes, bytes]) -> tuple[Marked | None, tuple[str, ...]]:
    if b"sRGB" in chunks:
        return (get_encoding("sRGB"), "PNG sRGB chunk"), ()
    chrm = chunks.get(b"cHRM", b"")
    xy = [v / 100000 for v in struct.unpack(">8I", chrm)] if len(chrm) == 32 else None
    gama = chunks.get(b"gAMA", b"")
    gamma = struct.unpack(">I", gama)[0] / 100000 if len(gama) == 4 else 0.0
    if not 0.05 <= gamma <= 20:
        if xy is None or b"iCCP" in chunks:
            return None, ()
        space = space_from_chromaticities(xy)
        if space is None:
            return None, ("PNG cHRM chunk: primaries that no colour space has; not used",)
        srgb = get_encoding("sRGB")
        if space == srgb.space:
            return (srgb, "PNG cHRM chunk: sRGB"), ()
        made = replace(srgb, name=f"sRGB curve, {space.name}", standard="PNG cHRM", space=space)
        words = "PNG cHRM chunk without gAMA: the sRGB curve is assumed with its primaries"
        return (made, f"PNG cHRM: {made.name}"), (words,)
    found = encoding_from_chromaticities(xy, 1 / gamma)
    if found is None:
        return None, ("PNG cHRM chunk: primaries that no colour space has; not used",)
    return (found, f"PNG gAMA{' and cHRM' if xy else ''}: {found.name}"), ()


def decode(data: bytes, head: Header, *, salvage: bool = False, reduce: int = 1) -> Decoded:
    """Pixels of a PNG: 16 bits by imagecodecs (Pillow cuts them to 8), the rest by Pillow."""
    mode, bits = head.extra
    if bits == 16:
        return _sixteen(data)
    from PIL import Image

    with pillow_without_limit():
        image: Any = Image.open(io.BytesIO(data), formats=("PNG",))
    clear = "transparency" in image.info or mode in ("LA", "RGBA", "PA")
    if mode in ("1", "L", "I") and not clear:
        return Decoded(np.asarray(image.convert("L")), "GREY")
    if mode == "LA":
        pair = np.asarray(image)
        return Decoded(np.ascontiguousarray(pair[..., 0]), "GREY", pair[..., 1])
    if clear:
        rgba = np.asarray(image.convert("RGBA"))
        return Decoded(np.ascontiguousarray(rgba[..., :3]), "RGB", rgba[..., 3])
    return Decoded(np.asarray(image.convert("RGB")))


def _sixteen(data: bytes) -> Decoded:
    import imagecodecs

    with quiet():
        pixels = np.asarray(imagecodecs.png_decode(data))
    if pixels.dtype != np.uint16:
        raise StillError("this PNG file is broken or cut short")
    if pixels.ndim == 2:
        return Decoded(pixels, "GREY")
    if pixels.shape[2] == 2:
        return Decoded(np.ascontiguousarray(pixels[..., 0]), "GREY", pixels[..., 1])
    rgb = np.ascontiguousarray(pixels[..., :3])
    return Decoded(rgb, "RGB", pixels[..., 3] if pixels.shape[2] == 4 else None)


def insert_chunks(png: bytes, chunks: list[tuple[bytes, bytes]]) -> bytes:
    """A PNG with ``chunks`` (type, data) put after its IHDR."""
    made = b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )
    picture = memoryview(png)  # copied once; by slices twice
    return b"".join((picture[:33], made, picture[33:]))
