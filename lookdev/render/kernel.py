"""The pixel kernels: small loops over code values, compiled (``lookdev.compilation``) and kept on disk.

The colours of an 8-bit still are numbered once, for all looks, in the order in which they are met, and its
pixels replaced by the numbers. A look then grades the colours, each once, by tetrahedral interpolation in
32-bit integers, and puts what comes out in place of the numbers. A photograph of 24 megapixels has some
hundred thousand colours, and neighbouring pixels have neighbouring numbers: the list of graded colours stays
in the processor's cache, which interpolating at every pixel between nodes, or a table of all 2^24 colours a
look, does not (both were measured; they take two and three times as long).

Every kernel releases the GIL and works on a range of pixels of its own, so that threads can share a still;
the result is the same, bit for bit, for any number of them.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled

float32, int32, uint32, uintp = np.float32, np.int32, np.uint32, np.uintp

FRACTION_BITS = 18  # of a lattice node, in code values

_GREYISH = int32(40 << FRACTION_BITS)  # channels no further apart than this: there the eye is keenest
_BYTE = uint32(0xFF)


@lru_cache(maxsize=4)
def _tetrahedra(cell_bits: int) -> NDArray[np.int32]:
    """For each place in a cell: how far off four nodes are, and their weights, in codes.

    Of the six tetrahedra around the cell's grey diagonal it is the one on the way from corner to corner in
    the order of the channels' fractions, the largest first.
    """
    width, side = 1 << cell_bits, (256 >> cell_bits) + 1
    rows = np.zeros((width**3, 8), dtype=np.int32)
    for place in range(width**3):
        fraction = (place & (width - 1), place >> cell_bits & (width - 1), place >> 2 * cell_bits)
        order = sorted(range(3), key=lambda channel: -fraction[channel])
        high, middle, low = (fraction[channel] for channel in order)
        first, second = 1 << order[0], (1 << order[0]) | (1 << order[1])
        rows[place] = (
            *(
                ((corner >> 2) * side + (corner >> 1 & 1)) * side + (corner & 1)
                for corner in (0, first, second, 7)
            ),
            *(width - high, high - middle, middle - low, low),
        )
    return rows


@compiled
def _cell(colour, cell_bits):  # type: ignore[no-untyped-def]
    """Number of the cell of a packed colour: red, green, blue, each in 8 - cell_bits bits, red lowest."""
    kept = uint32(8) - cell_bits
    mask = (uint32(1) << kept) - uint32(1)
    red, green = (colour >> cell_bits) & mask, (colour >> (uint32(8) + cell_bits)) & mask
    return red | (green << kept) | ((colour >> (uint32(16) + cell_bits)) << (kept + kept))


@compiled
def _number(words, table, colours):  # type: ignore[no-untyped-def]
    """Replaces colours by numbers, in place; returns how many colours there are.

    ``table`` holds 1 + the number of each colour met, 0 of the others.
    """
    count = 0
    for i in range(words.size // 3):
        a, b, c = words[3 * i], words[3 * i + 1], words[3 * i + 2]
        p = a & uint32(0xFFFFFF)
        q = (a >> uint32(24)) | ((b & uint32(0xFFFF)) << uint32(8))
        r = (b >> uint32(16)) | ((c & _BYTE) << uint32(16))
        s = c >> uint32(8)
        n1, n2, n3, n4 = table[p], table[q], table[r], table[s]
        if n1 == 0 or n2 == 0 or n3 == 0 or n4 == 0:
            for colour in (p, q, r, s):
                if table[colour] == 0:
                    colours[count] = colour
                    count += 1
                    table[colour] = count
            n1, n2, n3, n4 = table[p], table[q], table[r], table[s]
        n1, n2, n3, n4 = n1 - uint32(1), n2 - uint32(1), n3 - uint32(1), n4 - uint32(1)
        words[3 * i] = n1 | (n2 << uint32(24))
        words[3 * i + 1] = (n2 >> uint32(8)) | (n3 << uint32(16))
        words[3 * i + 2] = (n3 >> uint32(16)) | (n4 << uint32(8))
    return count


@compiled
def _forget(colours, table):  # type: ignore[no-untyped-def]
    for i in range(colours.size):
        table[colours[i]] = 0


@compiled
def _list_cells(colours, cell_bits, flags, cells):  # type: ignore[no-untyped-def]
    """Writes the numbers of the cells of ``colours``, each once, into ``cells``; returns how many."""
    count = 0
    for i in range(colours.size):
        cell = _cell(colours[i], cell_bits)
        if flags[cell] == 0:
            flags[cell] = 1
            cells[count] = cell
            count += 1
    return count


@compiled
def _list_nodes(cells, cells_a_channel, known, nodes):  # type: ignore[no-untyped-def]
    """Writes the numbers of the nodes of ``cells`` that are not ``known`` yet, and marks them."""
    side, count = cells_a_channel + 1, 0
    for cell in cells:
        red, rest = cell % cells_a_channel, cell // cells_a_channel
        first = ((rest // cells_a_channel) * side + rest % cells_a_channel) * side + red
        for corner in range(8):
            node = first + ((corner >> 2) * side + (corner >> 1 & 1)) * side + (corner & 1)
            if not known[node]:
                known[node] = True
                nodes[count] = node
                count += 1
    return count


@compiled
def _mark_hard_cells(cells, cell_bits, nodes, tolerance, dark, flags):  # type: ignore[no-untyped-def]
    """Sets 1 for those of ``cells`` where the look bends, and for dark ones, and 0 for the others."""
    kept = uint32(8) - cell_bits
    mask = (uint32(1) << kept) - uint32(1)
    for cell in cells:
        red, green, blue = cell & mask, (cell >> kept) & mask, cell >> (kept + kept)
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
        allowed = tolerance if spread > _GREYISH else tolerance // 2
        flags[cell] = worst > 2 * allowed or max(max(red, green), blue) < dark


@compiled
def _interpolate_codes(colours, cell_bits, flags, nodes, tetrahedra, graded, hard):  # type: ignore[no-untyped-def]
    """Returns how many colours lie in hard cells; their places go to ``hard``."""
    count = 0
    flat, side = nodes.reshape(-1), uintp((256 >> cell_bits) + 1)
    mask = (uint32(1) << cell_bits) - uint32(1)
    shift = int32(FRACTION_BITS) + int32(cell_bits)
    half = int32(1) << (shift - int32(1))
    for n in range(colours.size):
        colour = colours[n]
        if flags[_cell(colour, cell_bits)]:
            hard[count] = n
            count += 1
            continue
        red, green, blue = colour & _BYTE, (colour >> uint32(8)) & _BYTE, colour >> uint32(16)
        place = ((((blue & mask) << cell_bits) | (green & mask)) << cell_bits) | (red & mask)
        row = tetrahedra[place]
        at = (uintp(blue >> cell_bits) * side + uintp(green >> cell_bits)) * side + uintp(red >> cell_bits)
        k0, k1, k2, k3 = (
            uintp(3 * at),
            uintp(3 * (at + row[1])),
            uintp(3 * (at + row[2])),
            uintp(3 * (at + row[3])),
        )
        packed_colour = uint32(0)
        for c in range(uintp(3)):
            total = (
                flat[k0 + c] * row[4] + flat[k1 + c] * row[5] + flat[k2 + c] * row[6] + flat[k3 + c] * row[7]
            )
            code = (total + half) >> shift
            code = int32(0) if code < 0 else int32(255) if code > 255 else code
            packed_colour |= uint32(code) << uint32(8 * c)
        graded[n] = packed_colour
    return count


@compiled
def _apply(numbers, graded, out):  # type: ignore[no-untyped-def]
    for i in range(numbers.size // 3):
        a, b, c = numbers[3 * i], numbers[3 * i + 1], numbers[3 * i + 2]
        p = graded[a & uint32(0xFFFFFF)]
        q = graded[(a >> uint32(24)) | ((b & uint32(0xFFFF)) << uint32(8))]
        r = graded[(b >> uint32(16)) | ((c & _BYTE) << uint32(16))]
        s = graded[c >> uint32(8)]
        out[3 * i] = p | (q << uint32(24))
        out[3 * i + 1] = (q >> uint32(8)) | (r << uint32(16))
        out[3 * i + 2] = (r >> uint32(16)) | (s << uint32(8))


@compiled
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


_table: list[NDArray[np.uint32]] = []
_table_lock = threading.Lock()


@contextmanager
def _scratch_table() -> Iterator[NDArray[np.uint32]]:
    """The one table of 2^24 zeros, to be given back as zeros.

    Threads take turns: the time that it is in use is a twentieth of a still's, and to touch 64 MB of new
    memory for each thread takes longer than to wait.
    """
    with _table_lock:
        table = _table.pop() if _table else np.zeros(1 << 24, dtype=np.uint32)
        yield table  # after a failure it is not put back: it may hold anything
        _table.append(table)


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


def number_colours(pixels: NDArray[np.uint8]) -> NDArray[np.uint32]:
    """The packed colours of ``pixels`` (n, 3), each once, in the order in which they are met.

    Each pixel becomes its colour's place in that list, in three bytes, in the memory of ``pixels``, which
    must be contiguous.
    """
    words, rest = _words(pixels)
    colours = np.empty(min(len(pixels), 1 << 24), dtype=np.uint32)
    with _scratch_table() as table:
        count = int(_number(words, table, colours))
        for i, colour in enumerate(packed(rest)):
            if not table[colour]:
                colours[count] = colour
                count += 1
                table[colour] = count
            rest[i] = unpacked(table[colour] - np.uint32(1))
        _forget(colours[:count], table)
    return colours[:count].copy()


class Cells:
    """``numbers`` of the cells, 2^``cell_bits`` codes wide, that packed ``colours`` (n,) lie in."""

    def __init__(self, colours: NDArray[np.uint32], cell_bits: int) -> None:
        self.cell_bits = np.uint32(cell_bits)
        self._flags = np.zeros(1 << 3 * (8 - cell_bits), dtype=np.uint8)
        numbers = np.empty(min(len(colours), len(self._flags)), dtype=np.uint32)
        self.numbers = numbers[: _list_cells(colours, self.cell_bits, self._flags, numbers)]

    def hard(self, nodes: NDArray[np.int32], tolerance_codes: float, dark_codes: int) -> NDArray[np.uint8]:
        """1 at the numbers of those cells where a look bends too much to be interpolated, 0 at the others'.

        A cell counts as such where the middles of its four diagonals differ by more than ``tolerance_codes``
        (a half of that where the look gives greyish colours), or where all channels are below
        ``dark_codes``: there a code is a wide step in lightness. The array is the same one at every call.
        """
        tolerance, dark = round(tolerance_codes * (1 << FRACTION_BITS)), dark_codes >> self.cell_bits
        _mark_hard_cells(self.numbers, self.cell_bits, nodes, tolerance, dark, self._flags)
        return self._flags


def interpolate_codes(
    colours: NDArray[np.uint32], cell_bits: int, hard: NDArray[np.uint8], nodes: NDArray[np.int32]
) -> tuple[NDArray[np.uint32], NDArray[np.int64]]:
    """Packed ``colours`` graded between ``nodes`` in 2^-18 code values, 2^``cell_bits`` codes apart.

    Those in cells marked ``hard`` are left undone; their places in the list come second.
    """
    graded, places = np.empty_like(colours), np.empty(len(colours), dtype=np.int64)
    tetrahedra = _tetrahedra(int(cell_bits))
    count = _interpolate_codes(colours, np.uint32(cell_bits), hard, nodes, tetrahedra, graded, places)
    return graded, places[:count]


def new_nodes(
    cells: NDArray[np.integer], cells_a_channel: int, known: NDArray[np.bool_]
) -> NDArray[np.uint32]:
    """Numbers of the nodes around ``cells`` that are not ``known`` (one flag a node) yet; then they are.

    Cells and nodes are numbered with red fastest, blue slowest.
    """
    nodes = np.empty(8 * len(cells), dtype=np.uint32)
    count = _list_nodes(cells.astype(np.uint32, copy=False), np.uint32(cells_a_channel), known, nodes)
    return nodes[:count]


def put_colours(numbers: NDArray[np.uint8], graded: NDArray[np.uint32], out: NDArray[np.uint8]) -> None:
    """Write into ``out`` (n, 3) the packed colours whose ``numbers`` are given, as from number_colours."""
    words, rest = _words(numbers)
    words_out, rest_out = _words(out)
    _apply(words, graded, words_out)
    rest_out[:] = unpacked(graded[packed(rest)])


def interpolate(grid: NDArray[np.float32], nodes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Tetrahedral interpolation between ``nodes`` (size, size, size, 3) at ``grid`` positions (n, 3)."""
    out = np.empty_like(grid)
    _interpolate(grid, nodes, out)
    return out
