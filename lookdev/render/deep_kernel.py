"""The pixel kernels for 16-bit results: those of :mod:`lookdev.render.grid_kernel`, into codes of 16 bits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled
from lookdev.render.grid_kernel import FINE_PARTS, LANES, LOOKS, Band

float32, int32, uint64, uintp = np.float32, np.int32, np.uint64, np.uintp

uint16 = np.uint16

TIMES = 257
"""Codes of 16 bits in one of 8, which the shares of nodes are in."""


@compiled
def _blend(  # type: ignore[no-untyped-def]
    nodes, cells, first, second, third, share0, share1, share2, share3, count, codes
):
    half, times, side = float32(0.5), float32(TIMES), cells + 1
    opposite = uintp(LANES * (side * side + side + 1))
    for i in range(count):
        at = uintp(first[i])
        one, two, all_ = at + uintp(second[i]), at + uintp(third[i]), at + opposite
        w0, w1, w2, w3 = share0[i] * times, share1[i] * times, share2[i] * times, share3[i] * times
        for c in range(uintp(LANES)):
            v = float32(nodes[at + c]) * w0 + float32(nodes[one + c]) * w1
            v = v + float32(nodes[two + c]) * w2 + float32(nodes[all_ + c]) * w3
            codes[i, c] = uint16(int32(v + half))


@compiled
def _blend_finer(  # type: ignore[no-untyped-def]
    nodes, finer, first, second, third, share0, share1, share2, share3, count, lanes, codes
):
    half, times, side = float32(0.5), float32(TIMES), FINE_PARTS + 1
    opposite, size = uintp(LANES * (side * side + side + 1)), uintp(LANES * side * side * side)
    for j in range(count):
        i, kind = finer[0, j], finer[1, j]
        at = uintp((kind >> 8) - 2) * size + uintp(first[j])
        one, two, all_ = at + uintp(second[j]), at + uintp(third[j]), at + opposite
        w0, w1, w2, w3 = share0[j] * times, share1[j] * times, share2[j] * times, share3[j] * times
        which = (kind >> 4) & 15
        for c in range(uintp(LANES)):
            v = float32(nodes[at + c]) * w0 + float32(nodes[one + c]) * w1
            v = v + float32(nodes[two + c]) * w2 + float32(nodes[all_ + c]) * w3
            mine = lanes[which, c]
            codes[i, c] = (uint16(int32(v + half)) & mine) | (codes[i, c] & ~mine)


@compiled
def _one_look(words, number, out):  # type: ignore[no-untyped-def]
    """Of each four pixels the words of one look, into three words of ``out``."""
    three, two, one = uint64(0xFFFFFFFFFFFF), uint64(0xFFFFFFFF), uint64(0xFFFF)
    for i in range(out.size // 3):
        at = 4 * LOOKS * i + number
        a, b, c, d = words[at], words[at + LOOKS], words[at + 2 * LOOKS], words[at + 3 * LOOKS]
        out[3 * i] = (a & three) | (b << uint64(48))
        out[3 * i + 1] = ((b >> uint64(16)) & two) | (c << uint64(32))
        out[3 * i + 2] = ((c >> uint64(32)) & one) | (d << uint64(16))


@compiled
def _go_over(signal, shares, at, out):  # type: ignore[no-untyped-def]
    """Let codes ``out`` at numbered rows go over into those of a signal (n, 3), by ``shares`` (n,) 0 to 1."""
    for i in range(at.size):
        j, share = at[i], shares[i]
        for c in range(3):
            exact = min(max(signal[i, c], 0.0), 1.0) * 65535.0
            out[j, c] = int32(exact * share + np.float64(out[j, c]) * (1.0 - share) + 0.5)


@compiled
def _shares(places, weights, side, number, shares):  # type: ignore[no-untyped-def]
    """Of each place (n, 3), red first, between ``weights`` of the nodes: one of their bits, evenly."""
    last, unit = side - 2, 1.0
    for i in range(places.shape[0]):
        x, y, z = places[i, 0], places[i, 1], places[i, 2]
        if not (min(min(x, y), z) >= 0.0 and max(max(x, y), z) <= last + unit):
            shares[i] = unit
            continue
        r, g, b = min(int32(x), last), min(int32(y), last), min(int32(z), last)
        x, y, z = x - r, y - g, z - b
        first = (b * side + g) * side + r
        total = 0.0
        for blue in range(2):
            for green in range(2):
                at = first + (blue * side + green) * side
                row = (z if blue else unit - z) * (y if green else unit - y)
                total += row * (unit - x) * ((weights[at] >> number) & 1)
                total += row * x * ((weights[at + 1] >> number) & 1)
        shares[i] = min(total, unit)


class DeepBand(Band):
    """As :class:`Band`, with codes of 16 bits."""

    code_type, word_type = np.uint16, np.uint64
    blend, blend_finer, one_look = _blend, _blend_finer, _one_look


def let_go_over(
    signal: NDArray[np.float64], shares: NDArray[np.float64], at: NDArray[np.int64], out: NDArray[np.uint16]
) -> None:
    """Have codes ``out`` (m, 3), at rows of numbers ``at`` (n,), go over into those of a ``signal`` (n, 3).

    ``shares`` (n,): of the signal, 0 to 1; rounded half up.
    """
    _go_over(signal, shares, at, out)


def shares_at(places: NDArray[np.float64], weights: NDArray[np.uint8], number: int) -> NDArray[np.float64]:
    """Share (n,) of one look at places (n, 3) in cells, red first, between ``weights`` (side, side, side) of
    nodes, which have a bit for each look; 1 outside."""
    shares = np.empty(len(places), dtype=np.float64)
    _shares(places, weights.reshape(-1), len(weights), number, shares)
    return shares
