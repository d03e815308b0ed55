"""The pixel kernels for 16-bit and float pixels: positions on a grid, and interpolation to codes.

A pixel's position is had by a table of every code (or the inverse hyperbolic sine, for floats); from its
cell's kind and four nodes come the codes of up to four looks at once, which are side by side in a node, so
that the processor works at all of their channels together. No picture of floats is ever in memory.

A band of pixels goes through short loops, one after the other: each is either arithmetic on many pixels at
once or a look-up, and none has a branch that the processor would have to guess.

A cell's kind: 0, not known yet; else bits 0 to 3 say which looks are not to be interpolated in it, bits 4 to
7 which have finer nodes in it, and the rest is 1, or 2 + k in the k-th cell that has some.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled
from lookdev.looks.elementary import log2

float32, int32, uint32, uintp = np.float32, np.int32, np.uint32, np.uintp

uint8, uint16 = np.uint8, np.uint16

FINE_PARTS = 2  # along an edge of a cell that is divided again
LOOKS, LANES, LANES_A_LOOK = 4, 16, 4
"""Looks that share a lattice, and numbers in a node, as many as a processor takes at once: three a look and
one of nothing, so that a pixel's codes by one look are a word."""
TOP = 65535
"""A node's full signal."""
UNKNOWN = 255


@compiled
def _place_codes(codes, table, grid):  # type: ignore[no-untyped-def]
    for i in range(codes.size // 3):
        grid[0, i] = table[codes[3 * i]]
        grid[1, i] = table[codes[3 * i + 1]]
        grid[2, i] = table[codes[3 * i + 2]]


@compiled
def _place_some_codes(codes, at, table, grid):  # type: ignore[no-untyped-def]
    for i in range(at.size):
        j = at[i]
        grid[0, i] = table[codes[3 * j]]
        grid[1, i] = table[codes[3 * j + 1]]
        grid[2, i] = table[codes[3 * j + 2]]


@compiled
def _place_light(light, scale, start, steps, grid):  # type: ignore[no-untyped-def]
    """``scale`` 0: light itself, in ``steps`` from ``start``; else its inverse hyperbolic sine."""
    for c in range(3):
        for i in range(light.size // 3):
            v = np.float64(light[3 * i + c])
            if scale > 0.0:
                m = abs(v) * scale
                v = np.copysign(0.6931471805599453 * log2(m + np.sqrt(m * m + 1.0)), v)
            grid[c, i] = (v - start) * steps


@compiled
def _find(  # type: ignore[no-untyped-def]
    xs, ys, zs, count, cells, cell, first, second, third, share0, share1, share2, share3
):
    """Of each place: its cell, or -1 outside; its first node, and how far off the second and the third are;
    and the shares of the four. The first step goes along the largest part of the place in its cell, the last
    along the smallest."""
    most, last, n = float32(cells), int32(cells - 1), int32(cells)
    red, green, blue = int32(LANES), int32(LANES * (cells + 1)), int32(LANES * (cells + 1) * (cells + 1))
    whole, to_code, zero, unit = red + green + blue, float32(255.0 / TOP), float32(0), float32(1)
    for i in range(count):
        x, y, z = xs[i], ys[i], zs[i]
        inside = (min(min(x, y), z) >= zero) & (max(max(x, y), z) <= most)
        x, y, z = (x if inside else zero), (y if inside else zero), (z if inside else zero)
        # by way of int32: one instruction, where there is none for unsigned numbers
        r, g, b = min(int32(x), last), min(int32(y), last), min(int32(z), last)
        cell[i] = (b * n + g) * n + r if inside else int32(-1)
        first[i] = red * r + green * g + blue * b
        x, y, z = x - float32(r), y - float32(g), z - float32(b)
        high, low = max(max(x, y), z), min(min(x, y), z)
        middle = max(min(x, y), min(max(x, y), z))
        above, below, across = x >= y, y >= z, x >= z
        second[i] = red if above & across else (green if below else blue)
        third[i] = whole - (blue if across & below else (green if above else red))
        share0[i], share1[i] = (unit - high) * to_code, (high - middle) * to_code
        share2[i], share3[i] = (middle - low) * to_code, low * to_code


@compiled
def _sort(cells, count, kinds, held, left, looks, finer, counts):  # type: ignore[no-untyped-def]
    """Which pixels are not done, or not for all looks, and for which; and which lie in divided cells, with
    their kinds. ``counts``: how many of both."""
    undone, many = 0, 0
    for i in range(count):
        cell = cells[i]
        kind = kinds[max(cell, int32(0))]
        outside, unknown = cell < 0, (kind == 0) | ((kind >> 8) - 2 >= held)
        mask = (1 << LOOKS) - 1 if outside else (UNKNOWN if unknown else kind & 15)
        left[undone], looks[undone] = i, mask
        undone += int(mask != 0)
        finer[0, many], finer[1, many] = i, kind
        many += int((kind >= 512) & (not outside) & (not unknown))
    counts[0], counts[1] = undone, many


@compiled
def _blend(  # type: ignore[no-untyped-def]
    nodes, cells, first, second, third, share0, share1, share2, share3, count, codes
):
    half, side = float32(0.5), cells + 1
    opposite = uintp(LANES * (side * side + side + 1))
    for i in range(count):
        at = uintp(first[i])
        one, two, all_ = at + uintp(second[i]), at + uintp(third[i]), at + opposite
        w0, w1, w2, w3 = share0[i], share1[i], share2[i], share3[i]
        for c in range(uintp(LANES)):
            v = float32(nodes[at + c]) * w0 + float32(nodes[one + c]) * w1
            v = v + float32(nodes[two + c]) * w2 + float32(nodes[all_ + c]) * w3
            codes[i, c] = uint8(int32(v + half))


@compiled
def _place_in_cells(grid, finer, count, cells, parts):  # type: ignore[no-untyped-def]
    """Places of ``finer`` pixels, in the parts of the cells that they lie in."""
    last, width = int32(cells - 1), float32(FINE_PARTS)
    for c in range(3):
        for j in range(count):
            x = grid[c, finer[0, j]]
            parts[c, j] = (x - float32(min(int32(x), last))) * width


@compiled
def _blend_finer(  # type: ignore[no-untyped-def]
    nodes, finer, first, second, third, share0, share1, share2, share3, count, lanes, codes
):
    half, side = float32(0.5), FINE_PARTS + 1
    opposite, size = uintp(LANES * (side * side + side + 1)), uintp(LANES * side * side * side)
    for j in range(count):
        i, kind = finer[0, j], finer[1, j]
        at = uintp((kind >> 8) - 2) * size + uintp(first[j])
        one, two, all_ = at + uintp(second[j]), at + uintp(third[j]), at + opposite
        w0, w1, w2, w3 = share0[j], share1[j], share2[j], share3[j]
        which = (kind >> 4) & 15
        for c in range(uintp(LANES)):
            v = float32(nodes[at + c]) * w0 + float32(nodes[one + c]) * w1
            v = v + float32(nodes[two + c]) * w2 + float32(nodes[all_ + c]) * w3
            mine = lanes[which, c]
            codes[i, c] = (uint8(int32(v + half)) & mine) | (codes[i, c] & ~mine)


@compiled
def _one_look(words, number, out):  # type: ignore[no-untyped-def]
    """Of each four pixels the words of one look, into three words of ``out``."""
    for i in range(out.size // 3):
        at = 4 * LOOKS * i + number
        a, b, c, d = words[at], words[at + LOOKS], words[at + 2 * LOOKS], words[at + 3 * LOOKS]
        out[3 * i] = (a & uint32(0xFFFFFF)) | (b << uint32(24))
        out[3 * i + 1] = ((b >> uint32(8)) & uint32(0xFFFF)) | (c << uint32(16))
        out[3 * i + 2] = ((c >> uint32(16)) & uint32(0xFF)) | (d << uint32(8))


@compiled
def _one_look_at(codes, first, at, out):  # type: ignore[no-untyped-def]
    for i in range(at.size):
        j = at[i]
        out[j, 0], out[j, 1], out[j, 2] = codes[i, first], codes[i, first + 1], codes[i, first + 2]


@compiled
def _round_at(signal, top_code, first, at, out):  # type: ignore[no-untyped-def]
    for i in range(at.size):
        j = at[i]
        for c in range(3):
            out[j, first + c] = int32(min(max(signal[i, c], 0.0), 1.0) * top_code + 0.5)


@compiled
def _bends(cells, nodes, first, worst):  # type: ignore[no-untyped-def]
    """How far apart the middles of the four diagonals of each of ``cells`` are, in the worst channel of the
    three from ``first`` on."""
    count = uint32(nodes.shape[0] - 1)
    for i in range(cells.size):
        cell = cells[i]
        r, g, b = cell % count, (cell // count) % count, cell // (count * count)
        most = int32(0)
        for c in range(first, first + 3):
            middle0 = int32(nodes[b, g, r, c]) + int32(nodes[b + 1, g + 1, r + 1, c])
            middle1 = int32(nodes[b, g, r + 1, c]) + int32(nodes[b + 1, g + 1, r, c])
            middle2 = int32(nodes[b, g + 1, r, c]) + int32(nodes[b + 1, g, r + 1, c])
            middle4 = int32(nodes[b + 1, g, r, c]) + int32(nodes[b, g + 1, r + 1, c])
            highest = max(max(middle0, middle1), max(middle2, middle4))
            most = max(most, highest - min(min(middle0, middle1), min(middle2, middle4)))
        worst[i] = float32(most) * float32(0.5 / TOP)


@lru_cache(maxsize=2)
def _lanes(bits: int) -> NDArray[Any]:
    """All bits of a node's numbers that belong to the looks of a mask (16, LANES)."""
    looks = np.arange(LANES) // LANES_A_LOOK
    chosen = np.arange(1 << LOOKS)[:, None] >> looks & 1
    return np.asarray(chosen * ((1 << bits) - 1), dtype=f"uint{bits}")


class Band:
    """Up to ``most`` pixels: where they lie in a lattice, and their codes (most, LANES) by its looks."""

    code_type: type[np.uint8] | type[np.uint16] = np.uint8
    word_type: type[np.uint32] | type[np.uint64] = np.uint32
    blend, blend_finer, one_look = _blend, _blend_finer, _one_look
    """The loops that depend on the type of a code; a word holds a pixel's codes by one look."""

    def __init__(self, most: int) -> None:
        self.count = 0
        self.codes: NDArray[Any] = np.empty((most, LANES), dtype=self.code_type)
        self._grid, self._parts = (np.empty((3, most), dtype=np.float32) for _ in range(2))
        # arrays of their own: of rows of one the compiler does not see that they are apart
        self._cells, self._in_parts = (np.empty(most, dtype=np.int32) for _ in range(2))
        self._nodes = tuple(np.empty(most, dtype=np.int32) for _ in range(3))
        self._shares = tuple(np.empty(most, dtype=np.float32) for _ in range(4))
        self._left, self._looks = np.empty(most, dtype=np.int64), np.empty(most, dtype=np.uint8)
        self._finer, self._counts = np.empty((2, most), np.int32), np.empty(2, np.int64)

    @property
    def grid(self) -> NDArray[np.float32]:
        """Positions (3, n), in cells; below 0 or above the last where they lie outside."""
        return self._grid[:, : self.count]

    def place_codes(self, codes: NDArray[np.integer], table: NDArray[np.float32]) -> None:
        """Take integer codes (n, 3), contiguous, whose positions are in a ``table`` of every code's."""
        self.count = len(codes)
        _place_codes(codes.reshape(-1), table, self._grid)

    def place_some_codes(
        self, codes: NDArray[np.integer], at: NDArray[np.int64], table: NDArray[np.float32]
    ) -> None:
        """As :meth:`place_codes` with those at some places."""
        self.count = len(at)
        _place_some_codes(codes.reshape(-1), at, table, self._grid)

    def place_light(self, light: NDArray[np.float32], scale: float, start: float, steps: float) -> None:
        """Take floats (n, 3): (asinh(scale light) - start) steps; scale 0: (light - start) steps."""
        self.count = len(light)
        _place_light(light.reshape(-1), scale, start, steps, self._grid)

    @property
    def cells(self) -> NDArray[np.int32]:
        """Numbers of their cells, red fastest, after :meth:`grade`; -1 outside."""
        return self._cells[: self.count]

    def grade(
        self, kinds: NDArray[np.int32], nodes: NDArray[np.uint16], divided: NDArray[np.uint16]
    ) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
        """Tetrahedral interpolation, rounded into ``codes``.

        ``kinds`` (c, c, c) are those of the cells, blue slowest; ``nodes`` (c + 1, c + 1, c + 1, LANES) and,
        of cells that are ``divided`` again, (m, (FINE_PARTS + 1)^3, LANES). The places of pixels come back
        that are not done, or not for all looks, and for which: a bit each, or UNKNOWN where the cell's kind
        is not known. They are overwritten by the next call.
        """
        cells, found = len(kinds), (*self._nodes, *self._shares)
        _find(*self._grid, self.count, cells, self._cells, *found)
        undone = self._left, self._looks, self._finer, self._counts
        _sort(self._cells, self.count, kinds.reshape(-1), len(divided), *undone)
        self.blend(nodes.reshape(-1), cells, *found, self.count, self.codes)
        left, finer = self._counts.tolist()
        if finer:
            _place_in_cells(self._grid, self._finer, finer, cells, self._parts)
            _find(*self._parts, finer, FINE_PARTS, self._in_parts, *found)
            lanes = _lanes(8 * self.codes.itemsize)
            self.blend_finer(divided.reshape(-1), self._finer, *found, finer, lanes, self.codes)
        return self._left[:left], self._looks[:left]

    def put(self, number: int, out: NDArray[Any]) -> None:
        """Write the codes by one of the looks into ``out`` (n, 3)."""
        whole = self.count // 4 * 4
        words = self.codes.reshape(-1).view(self.word_type)
        self.one_look(words, number, out[:whole].reshape(-1).view(self.word_type))
        first = LANES_A_LOOK * number
        out[whole:] = self.codes[whole : self.count, first : first + 3]

    def put_at(self, number: int, at: NDArray[np.int64], out: NDArray[Any]) -> None:
        """The same, to some places of ``out``."""
        _one_look_at(self.codes, LANES_A_LOOK * number, at, out)


def round_at(
    signal: NDArray[np.float64],
    at: NDArray[np.int64],
    out: NDArray[np.uint8] | NDArray[np.uint16],
    first: int = 0,
) -> None:
    """Codes of a signal (n, 3), rounded half up, into three columns of ``out`` from ``first`` on, to the rows
    of numbers ``at``."""
    _round_at(signal, float(np.iinfo(out.dtype).max), first, at, out)


def bends(cells: NDArray[np.integer], nodes: NDArray[np.uint16], number: int) -> NDArray[np.float32]:
    """How far apart the middles of the four diagonals of numbered ``cells`` of ``nodes`` are, as signal, by
    one of the looks."""
    worst = np.empty(len(cells), dtype=np.float32)
    _bends(cells.astype(np.uint32, copy=False), nodes, LANES_A_LOOK * number, worst)
    return worst
