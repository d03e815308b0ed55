"""The kernels that make a picture smaller: mean light of each rectangle of its pixels, and that as codes.

A code's light is had from a table; of rows that fall into one row of the small picture, sums are kept a
column each, which wait in the processor's cache. No picture of floats the size of the large one is made.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled

float32, uint32, uintp = np.float32, np.uint32, np.uintp

_GUESSES = 4096
_NUMBERS_AT_ONCE = 1 << 17  # of light, some rows of which wait in the cache to be coded


@compiled
def _add_four_rows(rows, first, last, red, green, blue, totals, fresh):  # type: ignore[no-untyped-def]
    """Adds the light of four rows, the first and the last of which count by a share, to ``totals``."""
    a, b, c, d = rows[0], rows[1], rows[2], rows[3]
    for x in range(uintp(0), uintp(totals.size), uintp(3)):
        y, z = x + uintp(1), x + uintp(2)
        r = (first * red[a[x]] + red[b[x]]) + (red[c[x]] + last * red[d[x]])
        g = (first * green[a[y]] + green[b[y]]) + (green[c[y]] + last * green[d[y]])
        v = (first * blue[a[z]] + blue[b[z]]) + (blue[c[z]] + last * blue[d[z]])
        if fresh:
            totals[x], totals[y], totals[z] = r, g, v
        else:
            totals[x] += r
            totals[y] += g
            totals[z] += v


@compiled
def _add_row(codes, share, red, green, blue, totals):  # type: ignore[no-untyped-def]
    for x in range(uintp(0), uintp(totals.size), uintp(3)):
        y, z = x + uintp(1), x + uintp(2)
        totals[x] += share * red[codes[x]]
        totals[y] += share * green[codes[y]]
        totals[z] += share * blue[codes[z]]


@compiled
def _put_two_rows(rows, first, last, red, green, blue, totals):  # type: ignore[no-untyped-def]
    """Sets ``totals`` to the light of two rows, each of which counts by a share."""
    a, b = rows[0], rows[1]
    for x in range(uintp(0), uintp(totals.size), uintp(3)):
        y, z = x + uintp(1), x + uintp(2)
        totals[x] = first * red[a[x]] + last * red[b[x]]
        totals[y] = first * green[a[y]] + last * green[b[y]]
        totals[z] = first * blue[a[z]] + last * blue[b[z]]


@compiled
def _put_three_rows(rows, first, last, red, green, blue, totals):  # type: ignore[no-untyped-def]
    """The same of three rows, the middle one of which counts whole."""
    a, b, c = rows[0], rows[1], rows[2]
    for x in range(uintp(0), uintp(totals.size), uintp(3)):
        y, z = x + uintp(1), x + uintp(2)
        totals[x] = (first * red[a[x]] + red[b[x]]) + last * red[c[x]]
        totals[y] = (first * green[a[y]] + green[b[y]]) + last * green[c[y]]
        totals[z] = (first * blue[a[z]] + blue[b[z]]) + last * blue[c[z]]


@compiled
def _average(rows, red, green, blue, row_edges, column_edges, totals, out):  # type: ignore[no-untyped-def]
    """``totals`` (numbers of a row) is scratch."""
    for y in range(out.shape[0]):
        top, bottom = row_edges[y], row_edges[y + 1]
        row, end = int(top), int(np.ceil(bottom))
        fresh = True
        while row < end:  # column by column: their sums wait in the cache
            first = float32(min(row + 1.0, bottom) - max(float(row), top))
            if row + 4 <= end:
                last = float32(min(row + 4.0, bottom) - (row + 3.0))
                _add_four_rows(rows[row : row + 4], first, last, red, green, blue, totals, fresh)
                row += 4
            elif fresh and row + 2 == end:
                last = float32(min(row + 2.0, bottom) - (row + 1.0))
                _put_two_rows(rows[row : row + 2], first, last, red, green, blue, totals)
                row += 2
            elif fresh and row + 3 == end:
                last = float32(min(row + 3.0, bottom) - (row + 2.0))
                _put_three_rows(rows[row : row + 3], first, last, red, green, blue, totals)
                row += 3
            else:
                if fresh:
                    totals[:] = 0
                _add_row(rows[row], first, red, green, blue, totals)
                row += 1
            fresh = False
        for x in range(out.shape[1]):
            left, right = column_edges[x], column_edges[x + 1]
            column, end_column = int(left), int(np.ceil(right)) - 1
            share = float32(min(column + 1.0, right) - left)
            at = 3 * column
            r, g, b = share * totals[at], share * totals[at + 1], share * totals[at + 2]
            for at in range(3 * (column + 1), 3 * end_column, 3):
                r += totals[at]
                g += totals[at + 1]
                b += totals[at + 2]
            if end_column > column:
                share, at = float32(right - end_column), 3 * end_column
                r += share * totals[at]
                g += share * totals[at + 1]
                b += share * totals[at + 2]
            area = float32((bottom - top) * (right - left))
            out[y, x, 0], out[y, x, 1], out[y, x, 2] = r / area, g / area, b / area


@compiled
def _to_codes(light, edges, guesses, out):  # type: ignore[no-untyped-def]
    steps = float32(guesses.shape[1] - 1)
    for y in range(out.shape[0]):
        for x in range(out.shape[1]):
            for c in range(3):
                value = light[y, x, c]
                code = uintp(guesses[c, uint32(min(max(value, float32(0)), float32(1)) * steps)])
                code += uintp(value >= edges[c, code])  # where there is one more at most: no branch to guess
                while value >= edges[c, code]:
                    code += uintp(1)
                out[y, x, c] = code


def average_in_light(
    pixels: NDArray[np.uint8] | NDArray[np.uint16], light: NDArray[np.float32], size: tuple[int, int]
) -> NDArray[np.float32]:
    """Mean light (h, w, 3) of the ``size`` (w, h) equal rectangles that ``pixels`` fall into.

    ``light`` (256 or 65536, 3) is that of a code. A pixel that lies in several rectangles counts by its share
    in each.
    """
    columns, rows = _cuts(pixels, size)
    out = np.empty((size[1], size[0], 3), dtype=np.float32)
    red, green, blue = np.ascontiguousarray(light.T, dtype=np.float32)
    flat = pixels.reshape(len(pixels), -1)
    _average(flat, red, green, blue, rows, columns, np.empty(flat.shape[1], dtype=np.float32), out)
    return out


def average_to_codes(
    pixels: NDArray[np.uint8], light: NDArray[np.float32], edges: Edges, size: tuple[int, int]
) -> NDArray[np.uint8]:
    """The codes of :func:`average_in_light`, a few rows at a time, so that their light stays in the cache."""
    columns, rows = _cuts(pixels, size)
    red, green, blue = np.ascontiguousarray(light.T, dtype=np.float32)
    out = np.empty((size[1], size[0], 3), dtype=np.uint8)
    step, flat = max(1, _NUMBERS_AT_ONCE // (3 * size[0])), pixels.reshape(len(pixels), -1)
    some, totals = np.empty((step, size[0], 3), dtype=np.float32), np.empty(flat.shape[1], dtype=np.float32)
    for top in range(0, size[1], step):
        part = out[top : top + step]
        mean = some[: len(part)]
        _average(flat, red, green, blue, rows[top : top + len(part) + 1], columns, totals, mean)
        edges.codes(mean, part)
    return out


def _cuts(pixels: NDArray[Any], size: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where the rectangles begin and end, across and down."""
    columns, rows = (
        np.linspace(0.0, whole, parts + 1) for whole, parts in zip(pixels.shape[1::-1], size, strict=True)
    )
    return columns, rows


class Edges:
    """Where codes of 8 bits begin: a code is how many of its channel's ``edges`` (3, 255) light reaches."""

    def __init__(self, edges: NDArray[np.float32]) -> None:
        # where to start counting: a little below, as the place in the list of guesses is rounded
        starts = (np.arange(_GUESSES + 1, dtype=np.float32) - np.float32(0.01)) / np.float32(_GUESSES)
        guesses = np.stack([np.searchsorted(channel, starts, side="right") for channel in edges])
        self._edges = np.hstack([edges, np.full((3, 1), np.inf, dtype=np.float32)])
        self._guesses = guesses.astype(np.uint8)

    def codes(self, light: NDArray[np.float32], out: NDArray[np.uint8]) -> None:
        """Write the codes of light (h, w, 3) into ``out``."""
        _to_codes(light, self._edges, self._guesses, out)
