"""Pixels of one colour among many of 16 bits: night has few codes, and a look need see each once."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled

uint64 = np.uint64
_MIX = uint64(0x9E3779B97F4A7C15)  # 2^64 over the golden ratio: neighbours end up far apart


@compiled
def _number(codes, at, shift, keys, numbers, first, number):  # type: ignore[no-untyped-def]
    """How many colours there are; ``keys`` and ``numbers`` are a table, zeros where nothing is."""
    count, last = 0, uint64(keys.size - 1)
    for i in range(at.size):
        j = at[i]
        key = uint64(codes[3 * j]) | (uint64(codes[3 * j + 1]) << uint64(16))
        key = (key | (uint64(codes[3 * j + 2]) << uint64(32))) + uint64(1)
        place = (key * _MIX) >> uint64(shift)
        while keys[place] != key and keys[place] != uint64(0):
            place = (place + uint64(1)) & last
        if keys[place] == uint64(0):
            keys[place], numbers[place], first[count] = key, count, j
            count += 1
        number[i] = numbers[place]
    return count


@compiled
def _put(colours, number, at, out):  # type: ignore[no-untyped-def]
    for i in range(at.size):
        j, k = at[i], number[i]
        out[j, 0], out[j, 1], out[j, 2] = colours[k, 0], colours[k, 1], colours[k, 2]


def distinct(
    codes: NDArray[np.integer[Any]], at: NDArray[np.int64]
) -> tuple[NDArray[Any], NDArray[np.int32]]:
    """The colours (m, 3) among ``codes`` (n, 3), at most 16 bits, at the rows ``at``, in the order that they
    are met in; and which of them is at each.

    >>> codes = np.array([[7, 0, 0], [0, 0, 9], [7, 0, 0], [1, 1, 1]], np.uint16)
    >>> colours, number = distinct(codes, np.array([2, 0, 1]))
    >>> colours.tolist(), number.tolist()
    ([[7, 0, 0], [0, 0, 9]], [0, 0, 1])
    """
    bits = max(4, (2 * max(1, len(at)) - 1).bit_length())
    keys, numbers = np.zeros(1 << bits, dtype=np.uint64), np.empty(1 << bits, dtype=np.int32)
    first, number = np.empty(len(at), dtype=np.int64), np.empty(len(at), dtype=np.int32)
    count = _number(np.ascontiguousarray(codes).reshape(-1), at, 64 - bits, keys, numbers, first, number)
    return codes[first[:count]], number


def put(colours: NDArray[Any], number: NDArray[np.int32], at: NDArray[np.int64], out: NDArray[Any]) -> None:
    """Write numbered ``colours`` (m, 3) to the rows ``at`` of ``out``."""
    _put(colours, number, at, out)
