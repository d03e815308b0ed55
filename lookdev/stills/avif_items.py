"""Camera settings and XMP put into an AVIF that was encoded without them.

ISO/IEC 23008-12 (HEIF) annex A for the items "Exif" and "mime", ISO/IEC 14496-12 8.11 for the boxes of a
``meta`` that say where items lie (iloc), what they are (iinf) and what they describe (iref). Both from
memory; three readers take what comes out in ``tests/reference/test_hdr_stills.py``.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

from lookdev.errors import StillError


def with_items(avif: bytes, exif: bytes | None, xmp: bytes | None = None) -> bytes:
    """``avif`` (one picture) with camera settings and XMP behind it.

    ``exif`` : an EXIF block, with or without the "Exif" and two zeros that a JPEG has before it.

    Raises
    ------
    StillError : the file has a form in which nothing can be put: none that our encoder writes.
    """
    items: list[tuple[bytes, bytes, bytes]] = []  # type, what follows the item's name, content
    if exif is not None:
        items.append((b"Exif", b"", bytes(4) + exif.removeprefix(b"Exif\0\0")))
    if xmp is not None:
        items.append((b"mime", b"application/rdf+xml\0", xmp))
    if not items:
        return avif
    try:
        return _with_items(avif, items)
    except (KeyError, struct.error, ValueError) as error:
        raise StillError("the encoded AVIF has no place for camera settings") from error


def _with_items(avif: bytes, items: list[tuple[bytes, bytes, bytes]]) -> bytes:
    top = {kind: (at, end) for kind, at, end in _boxes(avif, 0, len(avif))}
    at, end = top[b"meta"]
    inner = {kind: avif[start:stop] for kind, start, stop in _boxes(avif, at + 12, end)}
    (primary,) = struct.unpack_from(">H", inner[b"pitm"], 12)
    places, infos = inner[b"iloc"][8:], inner[b"iinf"][8:]
    one_picture = infos[:6] == b"\0\0\0\0\0\1" and places[4:8] == b"\x44\0\0\1"
    if not one_picture or b"iref" in inner or top[b"mdat"][1] != len(avif):
        raise ValueError
    number, _, extents, place, length = struct.unpack_from(">HHHLL", places, 8)
    if extents != 1 or number != primary:
        raise ValueError

    numbers = range(primary + 1, primary + 1 + len(items))
    infes = [
        _box(b"infe", struct.pack(">BxxxHH4sx", 2, n, 0, kind) + more)
        for n, (kind, more, _) in zip(numbers, items, strict=True)
    ]
    describes = [_box(b"cdsc", struct.pack(">HHH", n, 1, primary)) for n in numbers]
    inner[b"iinf"] = _box(b"iinf", struct.pack(">xxxxH", 1 + len(items)) + infos[6:] + b"".join(infes))
    inner[b"iref"] = _box(b"iref", bytes(4) + b"".join(describes))
    entry = 14  # bytes of a place with one extent and no base
    grown = sum(map(len, inner.values())) + entry * len(items) - (end - at - 12)
    where = [(primary, place + grown, length)]
    start = len(avif) + grown + 8
    for n, (_, _, content) in zip(numbers, items, strict=True):
        where.append((n, start, len(content)))
        start += len(content)
    entries = b"".join(struct.pack(">HHHLL", n, 0, 1, begin, size) for n, begin, size in where)
    inner[b"iloc"] = _box(b"iloc", b"\0\0\0\0\x44\0" + struct.pack(">H", len(where)) + entries)
    meta = _box(b"meta", bytes(4) + b"".join(inner.values()))
    return avif[:at] + meta + avif[end:] + _box(b"mdat", b"".join(content for _, _, content in items))


def _boxes(data: bytes, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """(type, start, end) of the boxes that stand side by side."""
    while at < end:
        size, kind = struct.unpack_from(">L4s", data, at)
        if size < 8 or at + size > end:
            raise ValueError
        yield kind, at, at + size
        at += size


def _box(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">L4s", 8 + len(content), kind) + content
