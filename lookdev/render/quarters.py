"""Cells of a lattice in quarters: where a look bends too much for two parts along an edge, four may do.

They are few, but a picture's shadows and skies often lie in one of them: of a raw still at night one pixel in
five went through the look itself for each look, of a float still one in three; of those that are left after
this, one in thirty.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled
from lookdev.render import grid_kernel
from lookdev.render.grid_kernel import LANES as GRID_LANES
from lookdev.render.nodes import grown

float32, int32, uint8, uintp = np.float32, np.int32, np.uint8, np.uintp

PARTS, LANES = 4, 4
"""Along an edge; and numbers in a node, of one look: three and one of nothing."""
NODES = (PARTS + 1) ** 3
_IN_GRID = GRID_LANES // LANES


@compiled
def _place_in_quarters(grid, cells, cell, parts):  # type: ignore[no-untyped-def]
    """Numbers of the cells that places lie in, -1 outside; and their places there, 0 to PARTS."""
    last, n, width = int32(cells - 1), int32(cells), float32(PARTS)
    for i in range(cell.size):
        x, y, z = grid[0, i], grid[1, i], grid[2, i]
        inside = (min(min(x, y), z) >= float32(0)) & (max(max(x, y), z) <= float32(cells))
        x, y, z = (x if inside else float32(0)), (y if inside else float32(0)), (z if inside else float32(0))
        r, g, b = min(int32(x), last), min(int32(y), last), min(int32(z), last)
        cell[i] = (b * n + g) * n + r if inside else int32(-1)
        parts[0, i] = (x - float32(r)) * width
        parts[1, i] = (y - float32(g)) * width
        parts[2, i] = (z - float32(b)) * width


@compiled
def _blend(  # type: ignore[no-untyped-def]
    nodes, slots, places, look, cell, first, second, third, share0, share1, share2, share3, at, looks, out
):
    """Codes of those pixels whose cells a look has in quarters; its bit is taken from their ``looks``."""
    half, side, bit = float32(0.5), PARTS + 1, uint8(1 << look)
    opposite, size = uintp(LANES * (side * side + side + 1)), uintp(LANES * side * side * side)
    for i in range(cell.size):
        slot = slots[max(cell[i], int32(0))]
        if cell[i] < 0 or slot == 0 or (looks[i] & bit) == 0:
            continue
        place = places[slot - 1, look]
        if place < 0:
            continue
        begin = uintp(place) * size + uintp(first[i] // _IN_GRID)
        one, two = begin + uintp(second[i] // _IN_GRID), begin + uintp(third[i] // _IN_GRID)
        all_, w0, w1, w2, w3 = begin + opposite, share0[i], share1[i], share2[i], share3[i]
        for c in range(3):
            v = float32(nodes[begin + uintp(c)]) * w0 + float32(nodes[one + uintp(c)]) * w1
            v = v + float32(nodes[two + uintp(c)]) * w2 + float32(nodes[all_ + uintp(c)]) * w3
            out[at[i], c] = uint8(int32(v + half))
        looks[i] &= ~bit


class Quarters:
    """The cells of a lattice that some of its looks have in quarters.

    Parameters
    ----------
    cells : along an edge of the lattice.
    """

    def __init__(self, cells: int) -> None:
        self._cells = cells
        self._slots = np.zeros(cells**3, dtype=np.int32)
        self._places = np.zeros((0, grid_kernel.LOOKS), dtype=np.int32)
        self._nodes = np.zeros((0, NODES, LANES), dtype=np.uint16)
        self._count, self._count_nodes = 0, 0

    @property
    def is_empty(self) -> bool:
        """Whether no look has any."""
        return self._count == 0

    @property
    def nbytes(self) -> int:
        """Memory that it takes."""
        return int(self._slots.nbytes + self._nodes[: self._count_nodes].nbytes)

    def add(
        self, cells: NDArray[np.intp], found: Sequence[tuple[NDArray[np.intp], NDArray[np.uint16]]]
    ) -> None:
        """Numbered ``cells`` that are in none yet; ``found``: for each look, which of them, and nodes
        (n, NODES, 3) there. One thread at a time; others may grade pixels in cells that were added before.
        """
        has = np.zeros(len(cells), dtype=np.bool_)
        for which, _ in found:
            has[which] = True
        slots = np.cumsum(has) - 1
        places = np.full((int(has.sum()), grid_kernel.LOOKS), -1, dtype=np.int32)
        more = sum(len(which) for which, _ in found)
        if self._count_nodes + more > len(self._nodes):
            self._nodes = grown(self._nodes, self._count_nodes, more)
        if self._count + len(places) > len(self._places):
            self._places = grown(self._places, self._count, len(places))
        for look, (which, nodes) in enumerate(found):
            end = self._count_nodes + len(which)
            self._nodes[self._count_nodes : end, :, :3] = nodes
            places[slots[which], look] = np.arange(self._count_nodes, end)
            self._count_nodes = end
        self._places[self._count : self._count + len(places)] = places
        self._slots[cells[has]] = 1 + self._count + slots[has]
        self._count += len(places)

    def grade(
        self,
        band: grid_kernel.Band,
        at: NDArray[np.int64],
        looks: NDArray[np.uint8],
        outs: Sequence[NDArray[Any] | None],
    ) -> None:
        """Of the pixels that ``band`` has placed, those that can be: their codes into ``outs`` (m, 3) at the
        rows ``at``, and the looks that are done taken out of ``looks``, a bit each."""
        nodes, places, count = self._nodes.reshape(-1), self._places, band.count
        cell, within, *steps = (np.empty(count, dtype=np.int32) for _ in range(5))
        shares = [np.empty(count, dtype=np.float32) for _ in range(4)]
        parts = np.empty((3, count), dtype=np.float32)
        _place_in_quarters(band.grid, self._cells, cell, parts)
        grid_kernel._find(*parts, count, PARTS, within, *steps, *shares)
        for look, out in enumerate(outs):
            if out is not None:
                _blend(nodes, self._slots, places, look, cell, *steps, *shares, at, looks, out)
