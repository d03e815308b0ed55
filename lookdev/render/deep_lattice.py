"""Looks over a regular grid for results of 16 bits: continuous, so that no code shows where cells meet.

Between the nodes of a grid tetrahedral interpolation has no steps. They come where a cell is treated
otherwise than the one beside it; so here none is. Where a look bends, more nodes are put in, in the middles
of a cell's edges, of its faces and of itself, and whether one is put in is decided for all cells that meet
there at once: where the look bends in one of them. A cell in which it does not, next to one in which it does,
has some of them on its rim, and in place of the others what it would have without.
"""

from __future__ import annotations

from functools import cached_property
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.looks.pipeline import Transform
from lookdev.render import deep_kernel, grid_kernel
from lookdev.render.grid_lattice import GRID_SIZE, SENSOR_LIGHT, GridLattice, shaper_for
from lookdev.render.nodes import CHUNK
from lookdev.stills.still import code_values, signal_of

Array = NDArray[np.float64]

DEEP_BEND_CODES = 0.25
"""How far the look may bend within a cell, in codes of 8 bits, before more nodes are put in."""
DEEP_PIXELS = 2_000_000
"""Smaller pictures go through the look itself, which takes no longer than a lattice's nodes do."""

_CELLS, _SIDE = GRID_SIZE - 1, GRID_SIZE + 1  # cells along an edge, and with one more at each end
_PARTS = grid_kernel.FINE_PARTS
_AT_ONCE = 8192
_STEPS = np.array(list(product(range(_PARTS + 1), repeat=3)))  # blue, green, red place in a cell, red fastest
_AT_CORNER = (_STEPS % _PARTS == 0).all(axis=1)
_TOUCHING = np.array([s for s in product((-1, 0, 1), repeat=3) if 0 in s]) @ [_SIDE * _SIDE, _SIDE, 1]
"""How far off, in a padded grid, the cells are that a cell shares an edge or a face with, and itself."""
_ALL_AROUND = np.array(list(product((-1, 0, 1), repeat=3))) @ [_SIDE * _SIDE, _SIDE, 1]
_SEEN = 1 << grid_kernel.LOOKS


def is_deep(source: Encoding, dtype: np.dtype[Any], pixels: int) -> bool:
    """Whether a picture of so many ``pixels`` goes to 16 bits by such a lattice, or by the look itself.

    Scene light in stops and in log goes by the look: where its colours are far outside of what a display
    shows, a cell is wide, and steps would be up to 20 codes wider than the look's own.
    """
    suits = source.state == "output" or shaper_for(source) == SENSOR_LIGHT
    return suits and dtype != np.uint8 and pixels >= DEEP_PIXELS


class DeepLattice(GridLattice):
    """Up to four looks over a shaper, into codes of 16 bits; as :class:`GridLattice` otherwise.

    Light beyond the shaper's ends goes through the look itself, and the outermost cells go over into that.

    Parameters
    ----------
    transforms : the looks between two encodings, from one and the same.
    bounded : the pixels are codes, none of which lies beyond the ends.
    """

    band_type = deep_kernel.DeepBand

    def __init__(self, *transforms: Transform, bounded: bool = True) -> None:
        super().__init__(*transforms, divides=True)
        self._bounded = bounded
        self._bent = np.zeros(_SIDE**3, dtype=np.uint8)

    @property
    def nbytes(self) -> int:
        """Memory that it takes."""
        return super().nbytes + self._bent.nbytes

    def _judge(self, cells: NDArray[np.intp]) -> None:
        """Put more nodes into numbered cells where these, or one that they touch, bend."""
        cells = cells[self._kinds.reshape(-1)[cells] == 0]
        padded = _padded(cells)
        self._find_bent(padded)
        finer, parts = np.zeros(len(cells), dtype=np.int32), []
        bent = self._bent_there(padded)
        for start in range(0, len(cells), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            finer[part] = np.bitwise_or.reduce(bent[part][:, ~_AT_CORNER], axis=1)
        divided = np.flatnonzero(finer)
        nodes = self._with_more(cells[divided], bent[divided])
        for k in range(len(self.transforms)):
            mine = np.flatnonzero(finer[divided] >> k & 1)
            parts.append((divided[mine], nodes[mine][:, :, k]))
        exact = np.zeros(len(cells), dtype=np.int32)
        if not self._bounded:
            place = _places(cells)
            exact[((place == 0) | (place == _CELLS - 1)).any(axis=1)] = (1 << grid_kernel.LOOKS) - 1
        self._set_kinds(cells, exact, finer, parts)

    def _find_bent(self, padded: NDArray[np.intp]) -> None:
        """Have it known of cells, and of those that they touch, which looks bend in them."""
        near = np.zeros(_SIDE**3, dtype=np.bool_)
        for step in _TOUCHING:
            near[padded + step] = True
        near &= self._inside & (self._bent == 0)
        new = np.flatnonzero(near)
        place = np.stack([new % _SIDE, new // _SIDE % _SIDE, new // _SIDE**2], axis=-1) - 1
        cells = place @ np.array([1, _CELLS, _CELLS**2])
        self._compiler.ensure(cells, self._work_out)
        found = np.full(len(new), _SEEN, dtype=np.uint8)
        for k in range(len(self.transforms)):
            bends = grid_kernel.bends(cells, self.nodes, k) * 255.0
            found |= (bends > DEEP_BEND_CODES).astype(np.uint8) << np.uint8(k)
        self._bent[new] = found  # whoever else finds them out finds the same

    @cached_property
    def _inside(self) -> NDArray[np.bool_]:
        """Which of the padded cells there are."""
        inside = np.zeros((_SIDE,) * 3, dtype=np.bool_)
        inside[1:-1, 1:-1, 1:-1] = True
        return inside.reshape(-1)

    def _bent_there(self, padded: NDArray[np.intp]) -> NDArray[np.uint8]:
        """Of the 27 nodes in cells (n, 27), which looks bend in one of the cells that meet there, a bit each.

        Those of corners are of no meaning.
        """
        out = np.empty((len(padded), 3, 3, 3), dtype=np.uint8)
        for start in range(0, len(padded), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            around = self._bent[padded[part, None] + _ALL_AROUND].reshape(-1, 3, 3, 3) & (_SEEN - 1)
            for axis in (1, 2, 3):
                around = np.moveaxis(around, axis, 0)
                around = np.moveaxis(
                    np.stack([around[0] | around[1], around[1], around[1] | around[2]]), 0, axis
                )
            out[part] = around
        return out.reshape(-1, 27)

    def _with_more(self, cells: NDArray[np.intp], bent: NDArray[np.uint8]) -> NDArray[np.uint16]:
        """Nodes (n, 27, looks, 3) of cells: the looks' own where they bend, else between the corners."""
        looks, corner = len(self.transforms), _places(cells)[:, ::-1]
        out = np.empty((len(cells), len(_STEPS), looks, 3), dtype=np.uint16)
        nodes = self.nodes.reshape(*self.nodes.shape[:3], grid_kernel.LOOKS, -1)[..., :looks, :3]
        for start in range(0, len(cells), _AT_ONCE):
            here = corner[start : start + _AT_ONCE, None]
            low, high = (nodes[tuple(np.moveaxis(here + (_STEPS + up) // _PARTS, -1, 0))] for up in (0, 1))
            out[start : start + _AT_ONCE] = (low.astype(np.uint32) + high + 1) >> 1
        wanted = (bent > 0) & ~_AT_CORNER
        side = _CELLS * _PARTS + 1
        at = (corner[:, None] * _PARTS + _STEPS)[wanted] @ [side * side, side, 1]
        fine, which = np.unique(at, return_inverse=True)
        for k, transform in enumerate(self.transforms):
            theirs = np.flatnonzero(wanted.reshape(-1) & (bent.reshape(-1) >> k & 1 == 1))
            mine = which[(bent[wanted] >> k & 1) == 1]
            used = np.zeros(len(fine), dtype=np.bool_)
            used[mine] = True
            signal = np.zeros((len(fine), 3), dtype=np.uint16)
            todo = np.flatnonzero(used)
            for start in range(0, len(todo), CHUNK):
                some = todo[start : start + CHUNK]
                place = np.stack([fine[some] % side, fine[some] // side % side, fine[some] // side**2], -1)
                signal[some] = code_values(transform(self._ramp[place]), np.uint16)
            out.reshape(-1, looks, 3)[theirs, k] = signal[mine]
        return out

    def _by_look(self, k: int, pixels: NDArray[Any], at: NDArray[np.int64], out: NDArray[Any]) -> None:
        """Pixels beyond the ends, and those in the outermost cells by so much as they are near them."""
        signal = signal_of(pixels[at])
        place = np.asarray(self.shaper.to_grid(signal)) * _CELLS
        shares = np.maximum(1.0 - place, place - (_CELLS - 1)).max(axis=1)
        shares = np.where(shares < 1.0, np.maximum(shares, 0.0), 1.0)
        deep_kernel.let_go_over(self.transforms[k](signal), shares, at, out)


def _places(cells: NDArray[np.intp]) -> NDArray[np.intp]:
    """Red, green and blue place (n, 3) of numbered cells."""
    return np.stack([cells % _CELLS, cells // _CELLS % _CELLS, cells // _CELLS**2], axis=-1)


def _padded(cells: NDArray[np.intp]) -> NDArray[np.intp]:
    """Numbers of cells in a grid that has one more at each end."""
    return np.asarray((_places(cells) + 1) @ [1, _SIDE, _SIDE * _SIDE])
