"""Seeded damage to files: the same seed gives the same bytes on every machine."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable, Iterator

HUGE = (0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0xFFFFFFF0)


def _place(rng: random.Random, size: int) -> int:
    """A position, more often than not near the front, where headers are."""
    if size <= 1:
        return 0
    return rng.randrange(min(size, 1024)) if rng.random() < 0.65 else rng.randrange(size)


def truncate(data: bytearray, rng: random.Random) -> bytearray:
    """Cut short anywhere."""
    return data[: rng.randrange(len(data) + 1)]


def flip_bits(data: bytearray, rng: random.Random) -> bytearray:
    """One to thirty bits turned."""
    for _ in range(rng.choice((1, 1, 2, 5, 30))):
        data[_place(rng, len(data))] ^= 1 << rng.randrange(8)
    return data


def set_field(data: bytearray, rng: random.Random) -> bytearray:
    """A 2- or 4-byte number, either byte order, made huge, zero or odd: lengths, counts, offsets, sizes."""
    for _ in range(rng.choice((1, 1, 3))):
        code = rng.choice((">H", "<H", ">I", "<I"))
        size = struct.calcsize(code)
        at = _place(rng, max(1, len(data) - size))
        value = rng.choice(HUGE) & (256**size - 1)
        data[at : at + size] = struct.pack(code, value)
    return data


def fill(data: bytearray, rng: random.Random) -> bytearray:
    """A run of zeros, ones or noise."""
    at, length = _place(rng, len(data)), rng.choice((4, 16, 64, 400))
    run = {0: b"\0" * length, 1: b"\xff" * length, 2: rng.randbytes(length)}[rng.randrange(3)]
    data[at : at + length] = run[: max(0, len(data) - at)]
    return data


def remove(data: bytearray, rng: random.Random) -> bytearray:
    """A piece taken out."""
    at = _place(rng, len(data))
    del data[at : at + rng.choice((1, 2, 7, 100))]
    return data


def repeat(data: bytearray, rng: random.Random) -> bytearray:
    """A piece written twice."""
    at = _place(rng, len(data))
    piece = data[at : at + rng.choice((2, 12, 60, 300))]
    data[at:at] = piece
    return data


def insert(data: bytearray, rng: random.Random) -> bytearray:
    """Noise put in."""
    at = _place(rng, len(data))
    data[at:at] = rng.randbytes(rng.choice((1, 2, 8, 50)))
    return data


KINDS: tuple[Callable[[bytearray, random.Random], bytearray], ...] = (
    truncate,
    flip_bits,
    set_field,
    set_field,
    fill,
    remove,
    repeat,
    insert,
)


def mutations(data: bytes, count: int, seed: str) -> Iterator[bytes]:
    """``count`` damaged copies of ``data``; each kind of damage in turn, sometimes two at once."""
    for i in range(count):
        rng = random.Random(f"{seed}/{i}")
        out = KINDS[i % len(KINDS)](bytearray(data), rng)
        if rng.random() < 0.2 and out:
            out = rng.choice(KINDS)(out, rng)
        yield bytes(out)


TEXT_BITS = [
    *[
        "",
        ",,,,",
        ";",
        '"',
        "'''",
        "\0",
        "\ufeff",
        "\r",
        "\t",
        "NaN",
        "inf",
        "-1",
        "1e400",
        "0x10",
        "9" * 400,
    ],
    *[
        "[",
        "]",
        "=",
        "{}",
        "#",
        "../../etc/passwd",
        "a\u202eb",
        "١٢٣",
        "½",
        "5,5,5",
        "*",
        "[!",
        "true",
        "1_0",
    ],
    *["x" * 20000, "[[a]]", "a.b.c=1", "=cmd()", "\\", "%s", "\u0000\u0001", "\ud7ff"],
]


def text_mutations(text: str, count: int, seed: str) -> Iterator[bytes]:
    """Damaged copies of a text file: bytes as above, and cells, lines and keys made strange."""
    for i in range(count):
        rng = random.Random(f"{seed}/text/{i}")
        if i % 3 == 0:
            yield next(iter(mutations(text.encode(), 1, f"{seed}/bytes/{i}")))
            continue
        lines = text.split("\n")
        for _ in range(rng.choice((1, 1, 2, 6))):
            at = rng.randrange(len(lines))
            line, bit = lines[at], rng.choice(TEXT_BITS)
            cut = rng.randrange(len(line) + 1)
            end = rng.randrange(cut, len(line) + 1)
            lines[at] = line[:cut] + bit + line[end:]
        if rng.random() < 0.15:
            lines = lines * rng.choice((2, 50))
        encoding = rng.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1"))
        yield "\n".join(lines).encode(encoding, "replace")
