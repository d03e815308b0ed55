"""Looks over a regular grid for results of 16 bits: continuous, so that no code shows where cells meet.

Between the nodes of a grid tetrahedral interpolation has no steps. They come where a cell is treated
otherwise than the one beside it; so here none is. Where a look bends, more nodes are put in, in the middles
of a cell's edges, of its faces and of itself, and whether one is put in is decided for all cells that meet
there at once: where the look bends in one of them. A cell in which it does not, next to one in which it does,
has some of them on its rim, and in place of the others what it would have without.

Where a look bends sharply (it clips, or reaches the gamut's edge) it grades the pixels itself: in cells like
that altogether, and in those around them by a share that falls to nothing at the other side. Shares are a
matter of nodes, so that they too go over from cell to cell. The ends of a grid are nodes of that kind where
pixels may lie beyond.
"""

from __future__ import annotations

from functools import cached_property
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.looks.pipeline import Transform
from lookdev.render import deep_kernel, grid_kernel
from lookdev.render.grid_lattice import GRID_SIZE, GridLattice
from lookdev.render.nodes import CHUNK, places
from lookdev.stills.still import code_values, signal_of

Array = NDArray[np.float64]

DEEP_BEND_CODES = 0.25
"""How far the look may bend within a cell, or lie in its middle from where the nodes say, in codes of 8 bits,
before more nodes are put in."""
SHARP_CODES = 1.0
"""How far the look may lie at a new node from where the cell says, before it grades pixels itself."""
DEEP_PIXELS = 2_000_000
"""Smaller pictures go through the look itself, which takes no longer than a lattice's nodes do."""

_CELLS, _SIDE = GRID_SIZE - 1, GRID_SIZE + 1  # cells along an edge, and with one more at each end
_PARTS = grid_kernel.FINE_PARTS
_AT_ONCE = 8192
_STEPS = np.array(list(product(range(_PARTS + 1), repeat=3)))
"""Blue, green and red place of the nodes in a cell, red fastest."""
_MIDDLES = (_STEPS % _PARTS != 0).any(axis=1)
_AROUND = np.array(list(product((-1, 0, 1), repeat=3))) @ np.array([_SIDE * _SIDE, _SIDE, 1])
"""How far off, in a padded grid, the cells around a cell are, and itself."""
_SEEN = 1 << grid_kernel.LOOKS


def is_deep(dtype: np.dtype[Any], pixels: int) -> bool:
    """Whether a picture of so many ``pixels`` goes to 16 bits by such a lattice, or by the look itself."""
    return dtype != np.uint8 and pixels >= DEEP_PIXELS


class DeepLattice(GridLattice):
    """Up to four looks over a shaper, into codes of 16 bits; as :class:`GridLattice` otherwise.

    Parameters
    ----------
    transforms : the looks between two encodings, from one and the same.
    bounded : the pixels are codes, none of which lies beyond the ends.
    """

    band_type = deep_kernel.DeepBand

    def __init__(self, *transforms: Transform, bounded: bool = True) -> None:
        super().__init__(*transforms, divides=True)
        self._bent, self._sharp = (np.zeros(_SIDE**3, dtype=np.uint8) for _ in range(2))
        self._weights = np.zeros((GRID_SIZE,) * 3, dtype=np.uint8)
        self._ends = 0 if bounded else (1 << grid_kernel.LOOKS) - 1

    @property
    def nbytes(self) -> int:
        """Memory that it takes."""
        return super().nbytes + self._bent.nbytes + self._sharp.nbytes + self._weights.nbytes

    def _judge(self, cells: NDArray[np.intp]) -> None:
        """Find out which numbered cells have more nodes, and where the look itself comes in."""
        cells = cells[self._kinds.reshape(-1)[cells] == 0]
        padded = _padded(cells)
        self._find_bent(padded)
        self._find_sharp(padded)
        bent = self._met(self._bent, padded)[:, _MIDDLES]
        finer = np.bitwise_or.reduce(bent, axis=1).astype(np.int32)
        exact = self._weigh(cells, self._met(self._sharp, padded)[:, ~_MIDDLES])
        divided, parts = np.flatnonzero(finer), []
        nodes = self._with_more(cells[divided], bent[divided])
        for k in range(len(self.transforms)):
            mine = np.flatnonzero(finer[divided] >> k & 1)
            parts.append((divided[mine], nodes[mine][:, :, k]))
        self._set_kinds(cells, exact, finer, parts)

    def _weigh(self, cells: NDArray[np.intp], sharp: NDArray[np.uint8]) -> NDArray[np.int32]:
        """Set the weights of cells' corners (n, 8), a bit for each look; which looks have some in a cell."""
        corners = places(cells, _CELLS)[:, None, ::-1] + _STEPS[~_MIDDLES] // _PARTS
        at_end = ((corners == 0) | (corners == _CELLS)).any(axis=-1)
        weights = sharp | np.where(at_end, self._ends, 0).astype(np.uint8)
        self._weights[tuple(np.moveaxis(corners, -1, 0))] = weights  # the same, whoever finds them out
        return np.asarray(np.bitwise_or.reduce(weights, axis=1), dtype=np.int32)

    def _near(self, padded: NDArray[np.intp], known: NDArray[np.uint8]) -> NDArray[np.intp]:
        """Those of cells and of the cells around them that are not known yet."""
        near = np.zeros(_SIDE**3, dtype=np.bool_)
        for step in _AROUND:
            near[padded + step] = True
        return np.flatnonzero(near & self._inside & (known == 0))

    def _find_bent(self, padded: NDArray[np.intp]) -> None:
        """Have it known of cells, and of those around them, which looks bend in them."""
        new = self._near(padded, self._bent)
        cells = _unpadded(new)
        self._compiler.ensure(cells, self._work_out)
        found = np.full(len(new), _SEEN, dtype=np.uint8)
        for k in range(len(self.transforms)):
            bends = grid_kernel.bends(cells, self.nodes, k) * 255.0
            bent = (bends > DEEP_BEND_CODES) | (self._off_in_the_middle(k, cells) > DEEP_BEND_CODES * 257)
            found |= bent.astype(np.uint8) << np.uint8(k)
        self._bent[new] = found

    def _off_in_the_middle(self, k: int, cells: NDArray[np.intp]) -> NDArray[np.int32]:
        """How far a look is, in the middle of cells, from the nodes around: in codes of 16 bits (n,)."""
        out = np.empty(len(cells), dtype=np.int32)
        for start in range(0, len(cells), CHUNK):
            place = places(cells[start : start + CHUNK], _CELLS)
            own = code_values(self.transforms[k](self._ramp[place * _PARTS + _PARTS // 2]), np.uint16)
            red, green, blue = place.T
            lanes = slice(grid_kernel.LANES_A_LOOK * k, grid_kernel.LANES_A_LOOK * k + 3)
            ends = (self.nodes[blue + up, green + up, red + up, lanes].astype(np.int32) for up in (0, 1))
            out[start : start + CHUNK] = np.abs(2 * own.astype(np.int32) - sum(ends)).max(axis=1) // 2
        return out

    def _find_sharp(self, padded: NDArray[np.intp]) -> None:
        """The same, which looks bend in them so sharply that more nodes do not do."""
        new = self._near(padded, self._sharp)
        bent = self._bent[new] & (_SEEN - 1)
        found, some = np.full(len(new), _SEEN, dtype=np.uint8), np.flatnonzero(bent)
        cells = _unpadded(new[some])
        for start in range(0, len(cells), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            theirs = np.repeat(bent[some[part], None], _MIDDLES.sum(), axis=1)
            off = self._with_more(cells[part], theirs).astype(np.int32)
            off = np.abs(off - self._with_more(cells[part], np.zeros_like(theirs))).max(axis=(1, 3))
            which = (off > SHARP_CODES * 257) << np.arange(len(self.transforms))
            found[some[part]] |= np.bitwise_or.reduce(which, axis=1).astype(np.uint8)
        self._sharp[new] = found

    @cached_property
    def _inside(self) -> NDArray[np.bool_]:
        """Which of the padded cells there are."""
        inside = np.zeros((_SIDE,) * 3, dtype=np.bool_)
        inside[1:-1, 1:-1, 1:-1] = True
        return inside.reshape(-1)

    def _met(self, which: NDArray[np.uint8], padded: NDArray[np.intp]) -> NDArray[np.uint8]:
        """Of the 27 nodes in cells (n, 27), the bits that any of the cells that meet there has."""
        out = np.empty((len(padded), 3, 3, 3), dtype=np.uint8)
        for start in range(0, len(padded), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            around = which[padded[part, None] + _AROUND].reshape(-1, 3, 3, 3) & np.uint8(_SEEN - 1)
            for axis in (1, 2, 3):
                low, own, high = np.moveaxis(around, axis, 0)
                around = np.stack([low | own, own, own | high], axis=axis)
            out[part] = around
        return out.reshape(-1, 27)

    def _with_more(self, cells: NDArray[np.intp], bent: NDArray[np.uint8]) -> NDArray[np.uint16]:
        """Nodes (n, 27, looks, 3) of cells: of the 19 between the corners, the looks' own where they bend
        (n, 19), a bit each, else those between their neighbours."""
        looks, corner = len(self.transforms), places(cells, _CELLS)[:, ::-1]
        out = np.empty((len(cells), len(_STEPS), looks, 3), dtype=np.uint16)
        nodes = self.nodes.reshape(*self.nodes.shape[:3], grid_kernel.LOOKS, -1)[..., :looks, :3]
        for start in range(0, len(cells), _AT_ONCE):
            here = corner[start : start + _AT_ONCE, None]
            low, high = (nodes[tuple(np.moveaxis(here + (_STEPS + up) // _PARTS, -1, 0))] for up in (0, 1))
            out[start : start + _AT_ONCE] = (low.astype(np.uint32) + high + 1) >> 1
        cell, middle = np.nonzero(bent)
        side, inside = _CELLS * _PARTS + 1, np.flatnonzero(_MIDDLES)[middle]
        at = (corner[cell] * _PARTS + _STEPS[inside]) @ np.array([side * side, side, 1])
        fine, which = np.unique(at, return_inverse=True)
        for k, transform in enumerate(self.transforms):
            mine = np.flatnonzero(bent[cell, middle] >> k & 1)
            used = np.unique(which[mine])
            signal = np.empty((len(fine), 3), dtype=np.uint16)
            for start in range(0, len(used), CHUNK):
                some = used[start : start + CHUNK]
                signal[some] = code_values(transform(self._ramp[places(fine[some], side)]), np.uint16)
            out[cell[mine], inside[mine], k] = signal[which[mine]]
        return out

    def _once_each(
        self, pixels: NDArray[Any], left: NDArray[np.int64]
    ) -> tuple[NDArray[Any], NDArray[np.int32] | None]:
        """Nothing: what the look makes of a colour goes over into what is there of it already."""
        return pixels[:0], None

    def _by_look(self, k: int, pixels: NDArray[Any], at: NDArray[np.int64], out: NDArray[Any]) -> None:
        """Have pixels go over into what the look itself makes of them, by the weights of the nodes around."""
        signal = signal_of(pixels[at])
        place = np.asarray(self.shaper.to_grid(signal)) * _CELLS
        shares = deep_kernel.shares_at(place, self._weights, k)
        some = np.flatnonzero(shares)
        deep_kernel.let_go_over(self.transforms[k](signal[some]), shares[some], at[some], out)


def _padded(cells: NDArray[np.intp]) -> NDArray[np.intp]:
    """Numbers of cells in a grid that has one more at each end."""
    return np.asarray((places(cells, _CELLS) + 1) @ np.array([1, _SIDE, _SIDE * _SIDE]))


def _unpadded(padded: NDArray[np.intp]) -> NDArray[np.intp]:
    """The same back."""
    return np.asarray((places(padded, _SIDE) - 1) @ np.array([1, _CELLS, _CELLS**2]))
