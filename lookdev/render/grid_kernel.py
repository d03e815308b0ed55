"""The pixel kernels for 16-bit and float pixels: positions on a grid, and interpolation to codes.

A pixel's position is had by a table of every code (or the inverse hyperbolic sine, for floats); from its
cell's kind and four nodes come the codes of up to four looks at once, which are side by side in a node, so
that the processor works at all of their channels together. No picture of floats is ever in memory.

A cell's kind: 0, not known yet; else bits 0 to 3 say which looks are not to be interpolated in it, bits 4 to
7 which have finer nodes in it, and the rest is 1, or 2 + k in the k-th cell that has some.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled
from lookdev.looks.elementary import log2

float32, int32, uint32, uintp = np.float32, np.int32, np.uint32, np.uintp

uint8, uint16 = np.uint8, np.uint16

FINE_PARTS = 2  # along an edge of a cell that is divided again
LOOKS, LANES = 4, 16
"""Looks that share a lattice, and numbers in a node: three a look, and four of nothing, as a processor takes
sixteen at once."""
TOP = 65535
"""A node's full signal."""
UNKNOWN = 255


@compiled
def _places_of_codes(codes, table, grid):  # type: ignore[no-untyped-def]
    for i in range(codes.size):
        grid[i] = table[codes[i]]


@compiled
def _places_of_light(light, scale, start, steps, grid):  # type: ignore[no-untyped-def]
    """``scale`` 0: light itself, in ``steps`` from ``start``; else its inverse hyperbolic sine."""
    for i in range(light.size):
        v = np.float64(light[i])
        if scale > 0.0:
            m = abs(v) * scale
            v = np.copysign(0.6931471805599453 * log2(m + np.sqrt(m * m + 1.0)), v)
        grid[i] = (v - start) * steps


@lru_cache(maxsize=4)
def _corners(cells: int) -> NDArray[np.uintp]:
    """For each order of a place's three shares: how far off the second and the third of its four nodes are.

    Rows: red >= green, green >= blue, red >= blue as bits 4, 2 and 1; 8 more in a cell that is divided. The
    first step goes along the largest share, the last along the smallest; looked up, as a processor cannot
    guess them.
    """
    rows = np.zeros((16, 2), dtype=np.uintp)
    for divided, side in enumerate((cells + 1, FINE_PARTS + 1)):
        red, green, blue = LANES, LANES * side, LANES * side * side
        for bits in range(8):
            above, below, across = bits & 4, bits & 2, bits & 1
            first = red if above and across else (green if below else blue)
            last = blue if across and below else (green if above else red)
            rows[8 * divided + bits] = first, red + green + blue - last
    return rows


@lru_cache(maxsize=1)
def _lanes() -> NDArray[np.uint8]:
    """Which of a node's numbers belong to the looks of a mask (16, LANES)."""
    looks = np.arange(LANES) // 3
    chosen = (np.arange(1 << LOOKS)[:, None] >> looks) & (looks < LOOKS)
    return np.asarray(chosen & 1, dtype=np.uint8)


@compiled
def _grade_grid(grid, kinds, cells, wide, fine, corners, lanes, codes, left, looks):  # type: ignore[no-untyped-def]
    """Codes of pixels; the places of those that are not done, or not for all looks, go to ``left``, and for
    which they are not to ``looks``; returns how many."""
    count, parts, side = 0, uintp(FINE_PARTS), uintp(cells) + uintp(1)
    most, last_cell, last_part = float32(cells), int32(cells - 1), int32(FINE_PARTS - 1)
    oy, py = uintp(LANES) * side, uintp(LANES) * (parts + uintp(1))
    oz, pz = oy * side, py * (parts + uintp(1))
    size = pz * (parts + uintp(1))
    held, to_code, half = fine.size // size, float32(255.0 / TOP), float32(0.5)
    for i in range(grid.shape[0]):
        x, y, z = grid[i, 0], grid[i, 1], grid[i, 2]
        if not (min(min(x, y), z) >= float32(0) and max(max(x, y), z) <= most):
            left[count] = i
            looks[count] = (1 << LOOKS) - 1
            count += 1
            continue
        # by way of int32: one instruction, where there is none for unsigned numbers
        r, g, b = min(int32(x), last_cell), min(int32(y), last_cell), min(int32(z), last_cell)
        kind = kinds[(uintp(b) * uintp(cells) + uintp(g)) * uintp(cells) + uintp(r)]
        if kind == 0 or (kind >> 8) - 2 >= held:
            left[count] = i
            looks[count] = UNKNOWN
            count += 1
            continue
        if kind & 15:
            left[count] = i
            looks[count] = kind & 15
            count += 1
        x, y, z = x - float32(r), y - float32(g), z - float32(b)
        order = uintp(x >= y) * uintp(4) + uintp(y >= z) * uintp(2) + uintp(x >= z)
        high, low = max(max(x, y), z), min(min(x, y), z)
        middle = max(min(x, y), min(max(x, y), z))
        at = uintp(LANES) * uintp(r) + oy * uintp(g) + oz * uintp(b)
        one, two, all_ = at + corners[order, 0], at + corners[order, 1], at + uintp(LANES) + oy + oz
        w0, w1 = (float32(1) - high) * to_code, (high - middle) * to_code
        w2, w3 = (middle - low) * to_code, low * to_code
        for c in range(uintp(LANES)):
            v = float32(wide[at + c]) * w0 + float32(wide[one + c]) * w1
            v = v + float32(wide[two + c]) * w2 + float32(wide[all_ + c]) * w3
            codes[i, c] = uint8(int32(v + half))
        if kind < 512:
            continue
        x, y, z = x * float32(parts), y * float32(parts), z * float32(parts)
        r, g, b = min(int32(x), last_part), min(int32(y), last_part), min(int32(z), last_part)
        x, y, z = x - float32(r), y - float32(g), z - float32(b)
        order = uintp(8) + uintp(x >= y) * uintp(4) + uintp(y >= z) * uintp(2) + uintp(x >= z)
        high, low = max(max(x, y), z), min(min(x, y), z)
        middle = max(min(x, y), min(max(x, y), z))
        at = uintp((kind >> 8) - 2) * size + uintp(LANES) * uintp(r) + py * uintp(g) + pz * uintp(b)
        one, two, all_ = at + corners[order, 0], at + corners[order, 1], at + uintp(LANES) + py + pz
        w0, w1 = (float32(1) - high) * to_code, (high - middle) * to_code
        w2, w3 = (middle - low) * to_code, low * to_code
        finer = (kind >> 4) & 15
        for c in range(uintp(LANES)):
            v = float32(fine[at + c]) * w0 + float32(fine[one + c]) * w1
            v = v + float32(fine[two + c]) * w2 + float32(fine[all_ + c]) * w3
            code = uint8(int32(v + half))
            codes[i, c] = code if lanes[finer, c] else codes[i, c]
    return count


@compiled
def _one_look(codes, first, out):  # type: ignore[no-untyped-def]
    for i in range(out.shape[0]):
        out[i, 0], out[i, 1], out[i, 2] = codes[i, first], codes[i, first + 1], codes[i, first + 2]


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


def grid_of_codes(codes: NDArray[np.integer], table: NDArray[np.float32]) -> NDArray[np.float32]:
    """Positions (n, 3) of integer codes (n, 3), contiguous, by a ``table`` of every code's."""
    grid = np.empty(codes.shape, dtype=np.float32)
    _places_of_codes(codes.reshape(-1), table, grid.reshape(-1))
    return grid


def grid_of_light(
    light: NDArray[np.float32], scale: float, start: float, steps: float
) -> NDArray[np.float32]:
    """Positions (n, 3) of floats: (asinh(scale light) - start) steps; scale 0: (light - start) steps."""
    grid = np.empty(light.shape, dtype=np.float32)
    _places_of_light(light.reshape(-1), scale, start, steps, grid.reshape(-1))
    return grid


def grade_grid(
    grid: NDArray[np.float32],
    kinds: NDArray[np.int32],
    nodes: NDArray[np.uint16],
    divided: NDArray[np.uint16],
    codes: NDArray[np.uint8],
) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
    """Tetrahedral interpolation at ``grid`` positions (n, 3), in cells, rounded into ``codes`` (n, LANES).

    ``kinds`` (c, c, c) are those of the cells, blue slowest; ``nodes`` (c + 1, c + 1, c + 1, LANES) and, of
    cells that are ``divided`` again, (m, (FINE_PARTS + 1)^3, LANES). The places of pixels come back that are
    not done, or not for all looks, and for which: a bit each, or UNKNOWN where the cell's kind is not known.
    """
    left, looks = np.empty(len(grid), dtype=np.int64), np.empty(len(grid), dtype=np.uint8)
    cells = len(kinds)
    flat = kinds.reshape(-1), cells, nodes.reshape(-1), divided.reshape(-1)
    count = _grade_grid(grid, *flat, _corners(cells), _lanes(), codes, left, looks)
    return left[:count], looks[:count]


def one_look(codes: NDArray[np.uint8], number: int, out: NDArray[np.uint8]) -> None:
    """Write the codes of one of the looks in ``codes`` (n, LANES) into ``out`` (n, 3)."""
    _one_look(codes, 3 * number, out)


def bends(cells: NDArray[np.integer], nodes: NDArray[np.uint16], number: int) -> NDArray[np.float32]:
    """How far apart the middles of the four diagonals of numbered ``cells`` of ``nodes`` are, as signal, by
    one of the looks."""
    worst = np.empty(len(cells), dtype=np.float32)
    _bends(cells.astype(np.uint32, copy=False), nodes, 3 * number, worst)
    return worst
