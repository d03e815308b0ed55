"""The pixel kernels: small loops over code values, compiled by numba and kept in its on-disk cache.

For 8-bit pixels a look is applied through a table of all 2^24 colours, of which only the cells (4 x 4 x 4
codes) that the still has are filled, by tetrahedral interpolation in 32-bit integers. That is quicker than
interpolating at every pixel, and the table is scratch: one a thread, whatever the number of looks.

Every kernel releases the GIL and works on a range of pixels of its own, so that threads can share a still;
the result is the same, bit for bit, for any number of them.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numba
import numpy as np
from numba import int32, uint32
from numpy.typing import NDArray

CELLS = 64  # a channel; a cell is four codes wide
FRACTION_BITS = 18  # of a lattice node, in code values
_F = TypeVar("_F", bound=Callable[..., Any])

_HALF = int32(1 << (FRACTION_BITS + 1))
_SHIFT = int32(FRACTION_BITS + 2)
_BYTE, _SIX = uint32(0xFF), uint32(0x3F)


def _compiled(function: _F) -> Any:
    """``function`` compiled without the GIL; cached on disk where any place for that can be written."""
    try:
        return numba.njit(nogil=True, cache=True)(function)
    except RuntimeError:  # numba: "cannot cache function: no locator available"
        return numba.njit(nogil=True)(function)


def _tetrahedra() -> NDArray[np.int32]:
    """For each of the 64 places in a cell: four corners (bits red, green, blue), their weights in quarters.

    Of the six tetrahedra around the cell's grey diagonal it is the one on the way from corner to corner in
    the order of the channels' fractions, the largest first.
    """
    rows = np.zeros((64, 8), dtype=np.int32)
    for place in range(64):
        fraction = (place & 3, place >> 2 & 3, place >> 4)
        order = sorted(range(3), key=lambda channel: -fraction[channel])
        high, middle, low = (fraction[channel] for channel in order)
        first, second = 1 << order[0], (1 << order[0]) | (1 << order[1])
        rows[place] = (0, first, second, 7, 4 - high, high - middle, middle - low, low)
    return rows


TETRAHEDRA = _tetrahedra()


@_compiled
def _cell(code):  # type: ignore[no-untyped-def]
    """Number of the cell of a colour packed red lowest; what lies above 24 bits is left out."""
    return (
        ((code >> uint32(2)) & _SIX)
        | ((code >> uint32(4)) & (_SIX << uint32(6)))
        | ((code >> uint32(6)) & (_SIX << uint32(12)))
    )


@_compiled
def _mark(words, flags):  # type: ignore[no-untyped-def]
    for i in range(words.size // 3):
        a, b, c = words[3 * i], words[3 * i + 1], words[3 * i + 2]
        flags[_cell(a)] = 1
        flags[_cell((a >> uint32(24)) | (b << uint32(8)))] = 1
        flags[_cell((b >> uint32(16)) | (c << uint32(16)))] = 1
        flags[_cell(c >> uint32(8))] = 1


@_compiled
def _fill(cells, nodes, tetrahedra, table):  # type: ignore[no-untyped-def]
    corner = np.empty((8, 3), dtype=np.int32)
    for n in range(cells.size):
        red, green, blue = cells[n] & 63, (cells[n] >> 6) & 63, cells[n] >> 12
        for k in range(8):
            for c in range(3):
                corner[k, c] = nodes[blue + (k >> 2), green + ((k >> 1) & 1), red + (k & 1), c]
        # The last cell ends at code 255, three codes up: its outer corners are moved out to the fourth.
        last = int32(red == 63) | (int32(green == 63) << 1) | (int32(blue == 63) << 2)
        if last != 0:
            for k in range(7, 0, -1):
                if k & last:
                    for c in range(3):
                        inner = corner[k & ~last, c]
                        corner[k, c] = inner + ((corner[k, c] - inner) * 4) // 3
        start = (blue << 18) | (green << 10) | (red << 2)
        for place in range(64):
            i, j, k = tetrahedra[place, 1], tetrahedra[place, 2], tetrahedra[place, 3]
            w0, w1, w2, w3 = (
                tetrahedra[place, 4],
                tetrahedra[place, 5],
                tetrahedra[place, 6],
                tetrahedra[place, 7],
            )
            packed = uint32(0)
            for c in range(3):
                total = corner[0, c] * w0 + corner[i, c] * w1 + corner[j, c] * w2 + corner[k, c] * w3
                code = min(max((total + _HALF) >> _SHIFT, int32(0)), int32(255))
                packed |= uint32(code) << uint32(8 * c)
            table[start + ((place >> 4) << 16) + (((place >> 2) & 3) << 8) + (place & 3)] = packed


@_compiled
def _apply(words, table, out):  # type: ignore[no-untyped-def]
    for i in range(words.size // 3):
        a, b, c = words[3 * i], words[3 * i + 1], words[3 * i + 2]
        p = table[a & uint32(0xFFFFFF)]
        q = table[(a >> uint32(24)) | ((b & uint32(0xFFFF)) << uint32(8))]
        r = table[(b >> uint32(16)) | ((c & _BYTE) << uint32(16))]
        s = table[c >> uint32(8)]
        out[3 * i] = p | (q << uint32(24))
        out[3 * i + 1] = (q >> uint32(8)) | (r << uint32(16))
        out[3 * i + 2] = (r >> uint32(16)) | (s << uint32(8))


@_compiled
def _mark_grid(grid, flags):  # type: ignore[no-untyped-def]
    top = flags.shape[0] - 1
    for i in range(grid.shape[0]):
        r, g, b = int(grid[i, 0]), int(grid[i, 1]), int(grid[i, 2])
        flags[min(b, top), min(g, top), min(r, top)] = 1


@_compiled
def _interpolate(grid, nodes, out):  # type: ignore[no-untyped-def]
    top = nodes.shape[0] - 2
    for i in range(grid.shape[0]):
        r, g, b = min(int(grid[i, 0]), top), min(int(grid[i, 1]), top), min(int(grid[i, 2]), top)
        x, y, z = grid[i, 0] - r, grid[i, 1] - g, grid[i, 2] - b
        if x >= y:
            if y >= z:
                first, second, high, middle, low = 1, 3, x, y, z
            elif x >= z:
                first, second, high, middle, low = 1, 5, x, z, y
            else:
                first, second, high, middle, low = 4, 5, z, x, y
        elif x >= z:
            first, second, high, middle, low = 2, 3, y, x, z
        elif y >= z:
            first, second, high, middle, low = 2, 6, y, z, x
        else:
            first, second, high, middle, low = 4, 6, z, y, x
        for c in range(3):
            out[i, c] = (
                nodes[b, g, r, c] * (1 - high)
                + nodes[b + (first >> 2), g + ((first >> 1) & 1), r + (first & 1), c] * (high - middle)
                + nodes[b + (second >> 2), g + ((second >> 1) & 1), r + (second & 1), c] * (middle - low)
                + nodes[b + 1, g + 1, r + 1, c] * low
            )


@_compiled
def _reduce(pixels, light, factor, out):  # type: ignore[no-untyped-def]
    height, width = out.shape[0], out.shape[1]
    share = np.float32(1.0 / (factor * factor))
    for y in range(height):
        out[y] = 0
        for row in range(y * factor, (y + 1) * factor):
            for x in range(width):
                r = np.float32(0)
                g = np.float32(0)
                b = np.float32(0)
                for column in range(x * factor, (x + 1) * factor):
                    r += light[pixels[row, column, 0]]
                    g += light[pixels[row, column, 1]]
                    b += light[pixels[row, column, 2]]
                out[y, x, 0] += r
                out[y, x, 1] += g
                out[y, x, 2] += b
        out[y] *= share


_scratch = threading.local()


def scratch_table() -> NDArray[np.uint32]:
    """This thread's table of 2^24 packed colours; its content is whatever was left there."""
    if not hasattr(_scratch, "table"):
        _scratch.table = np.empty(1 << 24, dtype=np.uint32)
    return _scratch.table  # type: ignore[no-any-return]


def release_scratch() -> None:
    """Give this thread's table back."""
    if hasattr(_scratch, "table"):
        del _scratch.table


def _words(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.uint32], NDArray[np.uint8]]:
    """Contiguous pixels as 32-bit words, three to four pixels, and up to three pixels left over as (n, 3)."""
    flat = pixels.reshape(-1)
    whole = flat.size // 12 * 12
    return flat[:whole].view(np.uint32), flat[whole:].reshape(-1, 3)


def used_cells(pixels: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Sorted numbers (blue << 12 | green << 6 | red) of the cells that ``pixels`` (..., 3) fall into."""
    flags = np.zeros(CELLS**3, dtype=np.uint8)
    words, rest = _words(pixels)
    _mark(words, flags)
    for red, green, blue in rest >> 2:
        flags[int(blue) << 12 | int(green) << 6 | int(red)] = 1
    return np.flatnonzero(flags).astype(np.int32)


def fill_table(cells: NDArray[np.int32], nodes: NDArray[np.int32], table: NDArray[np.uint32]) -> None:
    """Write the colours of ``cells`` into ``table``, from ``nodes`` (65, 65, 65, 3) in 2^-18 code values."""
    _fill(cells, nodes, TETRAHEDRA, table)


def apply_table(pixels: NDArray[np.uint8], table: NDArray[np.uint32], out: NDArray[np.uint8]) -> None:
    """Look each pixel (..., 3) up in ``table`` and write what is there into ``out``, of the same shape."""
    words, rest = _words(pixels)
    words_out, rest_out = _words(out)
    _apply(words, table, words_out)
    codes = rest.astype(np.uint32)
    packed = table[codes[:, 0] | codes[:, 1] << 8 | codes[:, 2] << 16]
    rest_out[:] = np.stack([packed & 255, packed >> 8 & 255, packed >> 16 & 255], axis=-1)


def used_grid_cells(grid: NDArray[np.float32], cells: int) -> NDArray[np.bool_]:
    """Which of ``cells``^3 cells (blue, green, red) the grid positions (n, 3) in [0, cells] fall into."""
    flags = np.zeros((cells, cells, cells), dtype=np.uint8)
    _mark_grid(grid, flags)
    return flags.view(np.bool_)


def interpolate(grid: NDArray[np.float32], nodes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Tetrahedral interpolation between ``nodes`` (size, size, size, 3) at ``grid`` positions (n, 3)."""
    out = np.empty_like(grid)
    _interpolate(grid, nodes, out)
    return out


def reduce_in_light(
    pixels: NDArray[np.uint8], light: NDArray[np.float32], factor: int
) -> NDArray[np.float32]:
    """Mean light of ``factor`` x ``factor`` blocks of pixels (h, w, 3); ``light`` (256,): light of a code."""
    height, width = pixels.shape[0] // factor, pixels.shape[1] // factor
    out = np.empty((height, width, 3), dtype=np.float32)
    _reduce(pixels, light, factor, out)
    return out


def warm_up(tell: Callable[[str], None] | None = None) -> None:
    """Load the kernels, or compile them if this is the first use on this machine; ``tell`` hears of that."""
    folder = Path(_apply.stats.cache_path) if _apply.stats.cache_path else None
    if tell is not None and not (folder and any(folder.glob("kernel._apply-*.nbi"))):
        tell("compiling the pixel kernels, once; later runs load them")
    pixels = np.zeros((4, 4, 3), dtype=np.uint8)
    nodes = np.zeros((65, 65, 65, 3), dtype=np.int32)
    table = np.zeros(1 << 24, dtype=np.uint32)
    fill_table(used_cells(pixels), nodes, table)
    apply_table(pixels, table, np.empty_like(pixels))
    reduce_in_light(pixels, np.zeros(256, dtype=np.float32), 2)
