"""The pixel kernels for 16-bit and float pixels: positions on a grid, and interpolation to codes.

A pixel is looked at once a look: its position by a table of every code (or the inverse hyperbolic sine, for
floats), its cell's kind, four nodes, and the code goes out. No picture of floats is ever in memory.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled
from lookdev.looks.elementary import log2

float32, int32, uint32, uintp = np.float32, np.int32, np.uint32, np.uintp

FINE_PARTS = 3  # along an edge of a cell that is divided again


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
        red, green, blue = 3, 3 * side, 3 * side * side
        for bits in range(8):
            above, below, across = bits & 4, bits & 2, bits & 1
            first = red if above and across else (green if below else blue)
            last = blue if across and below else (green if above else red)
            rows[8 * divided + bits] = first, red + green + blue - last
    return rows


@compiled
def _grade_grid(grid, kinds, nodes, divided, corners, top_code, out, left):  # type: ignore[no-untyped-def]
    """Codes of pixels in cells that are interpolated; the places of all others go to ``left``; returns how
    many, and how many of them lie in cells of kind 0, or of a kind that ``divided`` does not hold yet."""
    count, unknown = 0, 0
    cells, held = uintp(kinds.shape[0]), divided.shape[0]
    flags, wide, fine = kinds.reshape(-1), nodes.reshape(-1), divided.reshape(-1)
    most, last_cell, last_part = float32(cells), int32(kinds.shape[0] - 1), int32(FINE_PARTS - 1)
    parts, side = uintp(FINE_PARTS), cells + uintp(1)
    for i in range(grid.shape[0]):
        x, y, z = grid[i, 0], grid[i, 1], grid[i, 2]
        if not (min(min(x, y), z) >= float32(0) and max(max(x, y), z) <= most):
            left[count] = i
            count += 1
            continue
        # by way of int32: one instruction, where there is none for unsigned numbers
        r, g, b = min(int32(x), last_cell), min(int32(y), last_cell), min(int32(z), last_cell)
        kind = flags[(uintp(b) * cells + uintp(g)) * cells + uintp(r)]
        if kind == 0 or kind == 2 or kind - 3 >= held:
            unknown += kind != 2
            left[count] = i
            count += 1
            continue
        x, y, z = x - float32(r), y - float32(g), z - float32(b)
        oy, at = uintp(3) * side, uintp(0)
        oz = oy * side
        if kind > 2:
            x, y, z = x * float32(parts), y * float32(parts), z * float32(parts)
            r, g, b = min(int32(x), last_part), min(int32(y), last_part), min(int32(z), last_part)
            x, y, z = x - float32(r), y - float32(g), z - float32(b)
            oy = uintp(3) * (parts + uintp(1))
            oz = oy * (parts + uintp(1))
            at = uintp(kind - 3) * oz * (parts + uintp(1))
        order = (
            uintp(kind > 2) * uintp(8) + uintp(x >= y) * uintp(4) + uintp(y >= z) * uintp(2) + uintp(x >= z)
        )
        high, low = max(max(x, y), z), min(min(x, y), z)
        middle = max(min(x, y), min(max(x, y), z))
        at += uintp(3) * uintp(r) + oy * uintp(g) + oz * uintp(b)
        w0, w1, w2 = float32(1) - high, high - middle, middle - low
        one, two, all_ = at + corners[order, 0], at + corners[order, 1], at + uintp(3) + oy + oz
        source = fine if kind > 2 else wide
        for c in range(uintp(3)):
            value = source[at + c] * w0 + source[one + c] * w1 + source[two + c] * w2 + source[all_ + c] * low
            out[i, c] = int32(min(max(value, float32(0)), float32(1)) * top_code + float32(0.5))
    return count, unknown


@compiled
def _bends(cells, nodes, worst):  # type: ignore[no-untyped-def]
    """How far apart the middles of the four diagonals of each of ``cells`` are, in the worst channel."""
    count = uint32(nodes.shape[0] - 1)
    for i in range(cells.size):
        cell = cells[i]
        r, g, b = cell % count, (cell // count) % count, cell // (count * count)
        most = float32(0)
        for c in range(3):
            middle0 = nodes[b, g, r, c] + nodes[b + 1, g + 1, r + 1, c]
            middle1 = nodes[b, g, r + 1, c] + nodes[b + 1, g + 1, r, c]
            middle2 = nodes[b, g + 1, r, c] + nodes[b + 1, g, r + 1, c]
            middle4 = nodes[b + 1, g, r, c] + nodes[b, g + 1, r + 1, c]
            highest = max(max(middle0, middle1), max(middle2, middle4))
            most = max(most, highest - min(min(middle0, middle1), min(middle2, middle4)))
        worst[i] = most * float32(0.5)


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
    nodes: NDArray[np.float32],
    divided: NDArray[np.float32],
    out: NDArray[np.uint8] | NDArray[np.uint16],
) -> tuple[NDArray[np.int64], int]:
    """Tetrahedral interpolation at ``grid`` positions (n, 3), in cells, rounded into codes ``out`` (n, 3).

    ``kinds`` (c, c, c) says of each cell, blue slowest: 0 not known, 1 between its ``nodes`` (c + 1, c + 1,
    c + 1, 3), 2 not to be interpolated, 3 + k between those of the k-th cell that is ``divided`` again
    (m, (FINE_PARTS + 1)^3, 3). The places of pixels that were not done come back (kinds 0 and 2, those that
    ``divided`` does not hold, and outside the grid), and how many of them may be done another time.
    """
    left = np.empty(len(grid), dtype=np.int64)
    top = np.float32(np.iinfo(out.dtype).max)
    corners = _corners(len(kinds))
    count, unknown = _grade_grid(grid, kinds, nodes, divided, corners, top, out, left)
    return left[:count], int(unknown)


def bends(cells: NDArray[np.integer], nodes: NDArray[np.float32]) -> NDArray[np.float32]:
    """How far apart the middles of the four diagonals of numbered ``cells`` of ``nodes`` (n, n, n, 3) are."""
    worst = np.empty(len(cells), dtype=np.float32)
    _bends(cells.astype(np.uint32, copy=False), nodes, worst)
    return worst
