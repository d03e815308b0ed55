"""The pixel kernels: small loops over code values, compiled by numba and kept in its on-disk cache.

For 8-bit pixels a look is applied through a table of all 2^24 colours, of which only the cells (4 x 4 x 4
codes) that the still has are filled, by tetrahedral interpolation in 32-bit integers. That is quicker than
interpolating at every pixel, and the table is scratch: one a thread, whatever the number of looks. Which
colours the still has is found once, for all looks.

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
from numba import int32, uint32, uint64, uintp
from numpy.typing import NDArray

CELLS = 64  # a channel; a cell is four codes wide
FRACTION_BITS = 18  # of a lattice node, in code values
_F = TypeVar("_F", bound=Callable[..., Any])

_HALF = int32(1 << (FRACTION_BITS + 1))
_SHIFT = int32(FRACTION_BITS + 2)
_GREYISH = int32(40 << FRACTION_BITS)  # channels no further apart than this: there the eye is keenest
_BYTE, _LANE = uint32(0xFF), uint64((1 << 21) - 1)


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
def _mark(words, seen):  # type: ignore[no-untyped-def]
    for i in range(words.size // 3):
        a, b, c = words[3 * i], words[3 * i + 1], words[3 * i + 2]
        seen[a & uint32(0xFFFFFF)] = 1
        seen[(a >> uint32(24)) | ((b & uint32(0xFFFF)) << uint32(8))] = 1
        seen[(b >> uint32(16)) | ((c & _BYTE) << uint32(16))] = 1
        seen[c >> uint32(8)] = 1


@_compiled
def _list_cells(seen, cells):  # type: ignore[no-untyped-def]
    """``seen`` as four codes a word, red fastest; a cell is 16 words. Returns how many cells were listed."""
    count = 0
    for blue in range(64):
        for green in range(64):
            start = (blue << 16) | (green << 8)
            for red in range(64):
                found = uint32(0)
                for row in range(16):
                    found |= seen[start + ((row >> 2) << 14) + ((row & 3) << 6) + red]
                if found:
                    cells[count] = (blue << 12) | (green << 6) | red
                    count += 1
    return count


@_compiled
def _list_hard_colours(cells, nodes, seen, tolerance, dark, colours):  # type: ignore[no-untyped-def]
    """Colours seen in dark cells, and where the middles of four diagonals differ by over ``tolerance``."""
    count = 0
    for n in range(cells.size):
        red, green, blue = cells[n] & 63, (cells[n] >> 6) & 63, cells[n] >> 12
        worst = 0
        for c in range(3):
            middle0 = nodes[blue, green, red, c] + nodes[blue + 1, green + 1, red + 1, c]
            middle1 = nodes[blue, green, red + 1, c] + nodes[blue + 1, green + 1, red, c]
            middle2 = nodes[blue, green + 1, red, c] + nodes[blue + 1, green, red + 1, c]
            middle4 = nodes[blue + 1, green, red, c] + nodes[blue, green + 1, red + 1, c]
            highest = max(max(middle0, middle1), max(middle2, middle4))
            lowest = min(min(middle0, middle1), min(middle2, middle4))
            worst = max(worst, highest - lowest)
        first = nodes[blue, green, red]
        spread = max(max(first[0], first[1]), first[2]) - min(min(first[0], first[1]), first[2])
        allowed = tolerance if spread > _GREYISH else tolerance // 4
        if worst > 2 * allowed or max(red, green, blue) < dark:
            start = (blue << 18) | (green << 10) | (red << 2)
            for place in range(64):
                code = start + ((place >> 4) << 16) + (((place >> 2) & 3) << 8) + (place & 3)
                if seen[code]:
                    colours[count] = code
                    count += 1
    return count


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
            colour = uint32(0)
            for c in range(3):
                total = corner[0, c] * w0 + corner[i, c] * w1 + corner[j, c] * w2 + corner[k, c] * w3
                code = min(max((total + _HALF) >> _SHIFT, int32(0)), int32(255))
                colour |= uint32(code) << uint32(8 * c)
            table[start + ((place >> 4) << 16) + (((place >> 2) & 3) << 8) + (place & 3)] = colour


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
def _bend(grid, nodes, tolerance, hard):  # type: ignore[no-untyped-def]
    top = nodes.shape[0] - 2
    for i in range(grid.shape[0]):
        r, g, b = min(int(grid[i, 0]), top), min(int(grid[i, 1]), top), min(int(grid[i, 2]), top)
        worst = np.float32(0)
        for c in range(3):
            middle0 = nodes[b, g, r, c] + nodes[b + 1, g + 1, r + 1, c]
            middle1 = nodes[b, g, r + 1, c] + nodes[b + 1, g + 1, r, c]
            middle2 = nodes[b, g + 1, r, c] + nodes[b + 1, g, r + 1, c]
            middle4 = nodes[b + 1, g, r, c] + nodes[b, g + 1, r + 1, c]
            highest = max(max(middle0, middle1), max(middle2, middle4))
            worst = max(worst, highest - min(min(middle0, middle1), min(middle2, middle4)))
        hard[i] |= worst > 2 * tolerance


@_compiled
def _reduce(rows, red, green, blue, factor, out):  # type: ignore[no-untyped-def]
    width = out.shape[1]
    totals = np.empty(width, dtype=np.uint64)
    for y in range(out.shape[0]):
        totals[:] = 0
        for row in range(y * factor, (y + 1) * factor):
            codes = rows[row]
            at = uintp(0)
            for x in range(width):
                total = totals[x]
                for _ in range(factor):
                    total += red[codes[at]] + green[codes[at + uintp(1)]] + blue[codes[at + uintp(2)]]
                    at += uintp(3)
                totals[x] = total
        for x in range(width):
            out[y, x, 0] = totals[x] & _LANE
            out[y, x, 1] = (totals[x] >> uint64(21)) & _LANE
            out[y, x, 2] = totals[x] >> uint64(42)


@_compiled
def _to_codes(light, edges, out):  # type: ignore[no-untyped-def]
    for y in range(out.shape[0]):
        for x in range(out.shape[1]):
            for c in range(3):
                value = light[y, x, c]
                code = 0
                step = 128
                while step:
                    if value >= edges[c, code + step - 1]:
                        code += step
                    step >>= 1
                out[y, x, c] = code


_scratch = threading.local()


def scratch_table() -> NDArray[np.uint32]:
    """This thread's table of 2^24 packed colours; its content is whatever was left there."""
    if not hasattr(_scratch, "table"):
        _scratch.table = np.empty(1 << 24, dtype=np.uint32)
    return _scratch.table  # type: ignore[no-any-return]


def _words(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.uint32], NDArray[np.uint8]]:
    """Contiguous pixels as 32-bit words, three to four pixels, and up to three pixels left over as (n, 3)."""
    flat = pixels.reshape(-1)
    whole = flat.size // 12 * 12
    return flat[:whole].view(np.uint32), flat[whole:].reshape(-1, 3)


def packed(pixels: NDArray[np.uint8]) -> NDArray[np.uint32]:
    """Colours (n, 3) as numbers blue << 16 | green << 8 | red."""
    codes = pixels.astype(np.uint32)
    return np.asarray(codes[:, 0] | codes[:, 1] << 8 | codes[:, 2] << 16)


def unpacked(colours: NDArray[np.uint32]) -> NDArray[np.uint8]:
    """Inverse of :func:`packed`."""
    return np.stack([colours & 255, colours >> 8 & 255, colours >> 16 & 255], axis=-1).astype(np.uint8)


def mark_seen(pixels: NDArray[np.uint8], seen: NDArray[np.uint8]) -> None:
    """Set ``seen`` (2^24,) to 1 at the packed colour of each of ``pixels`` (..., 3)."""
    words, rest = _words(pixels)
    _mark(words, seen)
    seen[packed(rest)] = 1


def seen_cells(seen: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Sorted numbers (blue << 12 | green << 6 | red) of the cells that have seen colours."""
    cells = np.empty(CELLS**3, dtype=np.int32)
    return cells[: _list_cells(seen.view(np.uint32), cells)].copy()


def hard_colours(
    cells: NDArray[np.int32],
    nodes: NDArray[np.int32],
    seen: NDArray[np.uint8],
    tolerance_codes: float,
    dark_codes: int,
) -> NDArray[np.uint32]:
    """Packed colours seen in those of ``cells`` where a look bends too much to be interpolated.

    A cell counts as such where the middles of its four diagonals differ by more than ``tolerance_codes`` (a
    quarter of that where the look gives greyish colours), or where all channels are below ``dark_codes``:
    there a code is a wide step in lightness.
    """
    colours = np.empty(len(cells) * 64, dtype=np.uint32)
    tolerance = round(tolerance_codes * (1 << FRACTION_BITS))
    return colours[: _list_hard_colours(cells, nodes, seen, tolerance, dark_codes // 4, colours)].copy()


def fill_table(cells: NDArray[np.int32], nodes: NDArray[np.int32], table: NDArray[np.uint32]) -> None:
    """Write the colours of ``cells`` into ``table``, from ``nodes`` (65, 65, 65, 3) in 2^-18 code values."""
    _fill(cells, nodes, TETRAHEDRA, table)


def apply_table(pixels: NDArray[np.uint8], table: NDArray[np.uint32], out: NDArray[np.uint8]) -> None:
    """Look each pixel (..., 3) up in ``table`` and write what is there into ``out``, of the same shape."""
    words, rest = _words(pixels)
    words_out, rest_out = _words(out)
    _apply(words, table, words_out)
    rest_out[:] = unpacked(table[packed(rest)])


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


def mark_hard(
    grid: NDArray[np.float32], nodes: NDArray[np.float32], tolerance: float, hard: NDArray[np.bool_]
) -> None:
    """Set ``hard`` (n,) where the diagonals of a position's cell disagree by more than ``tolerance``."""
    _bend(grid, nodes, np.float32(tolerance), hard)


def reduce_in_light(
    pixels: NDArray[np.uint8], light: NDArray[np.float32], factor: int
) -> NDArray[np.float32]:
    """Mean light of ``factor`` x ``factor`` blocks of pixels (h, w, 3); ``light`` (256, 3) of a code, 0 to 1.

    ``factor`` is at most 4: the three channels add up in one 64-bit word, 21 bits each, which leaves 17 bits
    or more to a pixel. An incomplete last row or column of blocks is left out.
    """
    scale = ((1 << 21) - 1) // factor**2
    lanes = np.floor(np.clip(light, 0.0, 1.0).astype(np.float64) * scale + 0.5).astype(np.uint64)
    red, green, blue = lanes[:, 0], lanes[:, 1] << np.uint64(21), lanes[:, 2] << np.uint64(42)
    out = np.empty((pixels.shape[0] // factor, pixels.shape[1] // factor, 3), dtype=np.float32)
    _reduce(pixels.reshape(len(pixels), -1), np.ascontiguousarray(red), green, blue, factor, out)
    out *= np.float32(1.0 / (scale * factor**2))
    return out


def codes_of_light(light: NDArray[np.float32], edges: NDArray[np.float32]) -> NDArray[np.uint8]:
    """8-bit codes of light (h, w, 3): how many of a channel's ``edges`` (3, 255), increasing, it reaches."""
    out = np.empty(light.shape, dtype=np.uint8)
    _to_codes(light, edges, out)
    return out


def _cache_folder() -> Path | None:
    folder = _apply.stats.cache_path
    return Path(folder) if folder else None


def warm_up(tell: Callable[[str], None] | None = None) -> None:
    """Load the kernels, or compile them if this is the first use on this machine; ``tell`` hears of that."""
    folder = _cache_folder()
    if tell is not None and not (folder and any(folder.glob("kernel._apply-*.nbi"))):
        tell("compiling the pixel kernels, once; later runs load them")
    pixels = np.zeros((4, 4, 3), dtype=np.uint8)
    nodes, seen = np.zeros((65, 65, 65, 3), dtype=np.int32), np.zeros(1 << 24, dtype=np.uint8)
    mark_seen(pixels, seen)
    hard_colours(seen_cells(seen), nodes, seen, 1.0, 0)
    fill_table(seen_cells(seen), nodes, scratch_table())
    apply_table(pixels, scratch_table(), np.empty_like(pixels))
    codes_of_light(
        reduce_in_light(pixels, np.zeros((256, 3), dtype=np.float32), 2), np.zeros((3, 255), dtype=np.float32)
    )
