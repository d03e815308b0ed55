"""PNG (W3C Portable Network Graphics, third edition, 2025)."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

import numpy as np

from lookdev.errors import StillError
from lookdev.stills.formats import Decoded, Header, pillow_without_limit
from lookdev.stills.marking import encoding_from_chromaticities, encoding_from_code_points
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
        marked=_marked(chunks),
        notes=tuple(notes),
        extra=(image.mode, bits),
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


def _marked(chunks: dict[bytes, bytes]) -> Any:
    cicp = chunks.get(b"cICP", b"")
    if len(cicp) == 4:
        found = encoding_from_code_points(cicp[0], cicp[1], full_range=cicp[3] == 1)
        if found is not None:
            return found, f"PNG cICP chunk: {found.name}"
    if b"sRGB" in chunks:
        from lookdev.colorimetry.encodings import get_encoding

        return get_encoding("sRGB"), "PNG sRGB chunk"
    gama = chunks.get(b"gAMA", b"")
    if len(gama) != 4:
        return None
    gamma = struct.unpack(">I", gama)[0] / 100000
    if not 0.05 <= gamma <= 20:
        return None
    chrm = chunks.get(b"cHRM", b"")
    xy = [v / 100000 for v in struct.unpack(">8I", chrm)] if len(chrm) == 32 else None
    found = encoding_from_chromaticities(xy, 1 / gamma)
    if found is None:
        return None
    return found, f"PNG gAMA{' and cHRM' if xy else ''}: {found.name}"


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
    return png[:33] + made + png[33:]
