"""A lattice for small pictures: every second node is worked out, those between are means of two.

That is tetrahedral interpolation over 33 nodes a channel, 8 codes apart (the tetrahedra of a cell fall apart
into those of its eighths). A preview has few pixels, so that a lattice of 65 would cost more than they do. On
the sample frames, with the shipped looks, it is within a mean CIEDE2000 of 0.2, and of 1.2 in the 99th
percentile, of the look itself (``tests/unit/test_render_preview.py``); a graded still never comes from it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lookdev.looks.pipeline import Transform
from lookdev.render import kernel
from lookdev.render.lattice import DARK_CODES, SIZE, CodeLattice

_UNIT = 1 << kernel.FRACTION_BITS
_LAST = SIZE - 1  # stands for code 256; the look is worked out at 255 and carried on
_ANY_BEND = 255.0  # only the darkest colours go through the look itself: there a code is a wide step
_WORDS = np.array([SIZE * SIZE, SIZE, 1])


class CoarseLattice(CodeLattice):
    """As :class:`CodeLattice`, for previews."""

    def __init__(self, transform: Transform) -> None:
        super().__init__(transform)
        self._worked_out = np.zeros(SIZE**3, dtype=np.bool_)

    def _ready(self, cells: NDArray[np.uint8]) -> NDArray[np.uint8]:
        self._compiler.ensure(cells.reshape((SIZE - 1,) * 3).view(np.bool_))
        return kernel.hard_cells(cells, self.nodes, _ANY_BEND, DARK_CODES)

    def _work_out(self, at: NDArray[np.intp]) -> None:
        nodes = self.nodes.reshape(-1, 3)
        low, high = (at & ~1) @ _WORDS, ((at + 1) & ~1) @ _WORDS
        self._work_out_even(np.unique(np.concatenate([low, high])))
        nodes[at @ _WORDS] = (nodes[low] + nodes[high]) >> 1

    def _work_out_even(self, wanted: NDArray[np.intp]) -> None:
        """Numbers of nodes; nodes at the end of an axis are carried on from those before them."""
        place = np.stack(np.unravel_index(wanted, (SIZE,) * 3), axis=-1)
        inner = np.where(place == _LAST, _LAST - 2, place) @ _WORDS
        both = np.union1d(wanted, inner)
        new = both[~self._worked_out[both]]
        codes = np.minimum(4 * np.stack(np.unravel_index(new, (SIZE,) * 3), axis=-1), 255)
        graded = np.clip(self.transform(codes[:, ::-1] / 255.0), 0.0, 1.0) * 255.0
        nodes = self.nodes.reshape(-1, 3)
        nodes[new] = np.floor(graded * _UNIT + 0.5).astype(np.int32)
        carried = (wanted != inner) & ~self._worked_out[wanted]
        end, start = wanted[carried], nodes[inner[carried]]
        nodes[end] = start + ((nodes[end] - start) * 8) // 7
        self._worked_out[new] = True
