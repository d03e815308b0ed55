"""A look over a regular grid, for 16-bit and float pixels: through a shaper, into codes of 8 bits."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.looks.pipeline import Transform
from lookdev.looks.rendering import MID_GREY
from lookdev.render import grid_kernel
from lookdev.render.nodes import CHUNK, NodeCompiler, places
from lookdev.render.reference import to_codes
from lookdev.stills.still import signal_of

Array = NDArray[np.float64]
Codes = NDArray[np.uint8]

GRID_BEND_CODES, PART_BEND_CODES = 0.12, 0.25
"""How far the look may bend within a cell that is interpolated, and within a part of a divided one. At 0.35
photographs are still within one code of the look, and a look is worked out in half the time; but of colours
at random over ten stops of log footage three in a thousand are up to seven codes off, at the gamut's edge."""
DIVIDING_PIXELS = 2_000_000
"""Smaller pictures have too few pixels in a cell to make up for dividing it."""
DIVIDED_BEND_CODES = 1.5  # beyond it four parts along an edge are seldom enough
_DIVIDED_AT_ONCE = 512


@dataclass(frozen=True)
class Shaper:
    """Signal to position along a lattice axis, 0 to 1, one increasing curve for the three channels.

    ``to_grid`` and ``from_grid`` undo each other between ``low`` and ``high``, the signal values at the ends.
    """

    low: float
    high: float
    stops: bool = False

    def to_grid(self, signal: NDArray[np.floating]) -> NDArray[np.floating]:
        """Position 0 to 1 of ``signal``; outside [low, high] it lies outside [0, 1]."""
        start, end = self._bend(np.asarray(self.low)), self._bend(np.asarray(self.high))
        return (self._bend(signal) - start) / (end - start)

    def from_grid(self, position: Array) -> Array:
        """Inverse of :meth:`to_grid`."""
        start, end = self._bend(np.asarray(self.low)), self._bend(np.asarray(self.high))
        bent = start + position * (end - start)
        return np.asarray(2 * _TOE * np.sinh(bent) if self.stops else bent)

    def as_numbers(self) -> tuple[float, float, float]:
        """(scale, start, steps): (asinh(scale signal) - start) steps; scale 0: (signal - start) steps."""
        start, end = (float(self._bend(np.asarray(v))) for v in (self.low, self.high))
        return (1.0 / (2 * _TOE) if self.stops else 0.0), start, 1.0 / (end - start)

    def _bend(self, signal: NDArray[np.floating]) -> NDArray[np.floating]:
        return np.arcsinh(signal / (2 * _TOE)) if self.stops else signal


_TOE = MID_GREY * 2.0**-7
ENCODED = Shaper(0.0, 1.0)
SCENE_STOPS = Shaper(-_TOE, MID_GREY * 2.0**6, stops=True)
GRID_SIZE = 129


def shaper_for(source: Encoding) -> Shaper:
    """Linear light in stops, encoded pixels as they are."""
    return SCENE_STOPS if source.is_linear else ENCODED


class GridLattice:
    """A look over a shaper; ``nodes`` (129, 129, 129, 3) float32 signal, blue slowest.

    Where it bends within a cell, the look itself works out the colours, or the cell is divided into parts,
    where that does: a look over a raw file bends a little in four cells of ten.

    Parameters
    ----------
    transform : the look between two encodings.
    divides : whether cells are divided; for a small picture it takes longer than it saves.
    """

    def __init__(self, transform: Transform, *, divides: bool = False) -> None:
        self.transform = transform
        self.shaper = shaper_for(transform.source)
        self.divides = divides
        self.nodes = np.zeros((GRID_SIZE, GRID_SIZE, GRID_SIZE, 3), dtype=np.float32)
        self._divided = np.zeros((0, (grid_kernel.FINE_PARTS + 1) ** 3, 3), dtype=np.float32)
        self._count_divided = 0
        self._kinds = np.zeros((GRID_SIZE - 1,) * 3, dtype=np.int32)
        self._compiler = NodeCompiler(GRID_SIZE - 1, self._work_out)
        self._judging = threading.Lock()
        self._tables: dict[int, NDArray[np.float32]] = {}

    @property
    def busy(self) -> bool:
        """Whether a thread is working nodes out just now."""
        return self._compiler.busy

    @property
    def nbytes(self) -> int:
        """Memory that it takes."""
        return int(self.nodes.nbytes + self._kinds.nbytes + self._divided[: self._count_divided].nbytes)

    def _work_out(self, new: NDArray[np.uint32]) -> None:
        signal = self.shaper.from_grid(places(new, GRID_SIZE) / (GRID_SIZE - 1))
        self.nodes.reshape(-1, 3)[new] = self.transform(signal)

    def grade(self, pixels: NDArray[Any], out: Codes) -> None:
        """Code values (n, 3) of any type through the look into codes ``out`` (n, 3), a block at a time."""
        for start in range(0, len(pixels), CHUNK):
            part = slice(start, start + CHUNK)
            self._grade(pixels[part], out[part])

    def _grade(self, pixels: NDArray[Any], out: Codes) -> None:
        grid = self._positions(pixels)
        left, unknown = self._interpolated(grid, out)
        if unknown:
            cells = _cells_of(grid[left])
            cells = np.unique(cells[cells >= 0])
            self._judge(cells[self._kinds.reshape(-1)[cells] == 0])
            some = np.empty((len(left), 3), dtype=out.dtype)
            still_left, _ = self._interpolated(grid[left], some)
            out[left] = some
            left = left[still_left]
        if not len(left):
            return
        signal = self.transform(signal_of(pixels[left]))
        out[left] = to_codes(signal, 8)

    def _interpolated(self, grid: NDArray[np.float32], out: Codes) -> tuple[NDArray[np.int64], int]:
        return grid_kernel.grade_grid(grid, self._kinds, self.nodes, self._divided, out)

    def _judge(self, cells: NDArray[np.int64]) -> None:
        """Find out how the pixels in numbered cells are to be graded."""
        self._compiler.ensure(cells)
        with self._judging:
            kinds = self._kinds.reshape(-1)
            cells = cells[kinds[cells] == 0]
            bends = grid_kernel.bends(cells, self.nodes) * 255.0
            smooth = bends <= GRID_BEND_CODES
            found = np.where(smooth, 1, 2)
            if self.divides:
                may = np.flatnonzero(~smooth & (bends <= DIVIDED_BEND_CODES))
                for start in range(0, len(may), _DIVIDED_AT_ONCE):
                    some = may[start : start + _DIVIDED_AT_ONCE]
                    found[some] = self._divide(cells[some])
            kinds[cells] = found  # from here on other threads use them

    def _divide(self, cells: NDArray[np.int64]) -> NDArray[np.int64]:
        """The kinds of numbered cells: divided where all parts are smooth then, else 2."""
        parts = self._parts(cells)
        smooth = _bend_of_parts(parts) * 255.0 <= PART_BEND_CODES
        first, count = self._count_divided, int(smooth.sum())
        if first + count > len(self._divided):
            room = np.zeros((2 * (first + count), *self._divided.shape[1:]), dtype=np.float32)
            room[:first] = self._divided[:first]
            self._divided = room
        self._divided[first : first + count] = parts[smooth]
        self._count_divided += count
        kinds = np.full(len(cells), 2)
        kinds[smooth] = 3 + first + np.arange(count)
        return kinds

    def _parts(self, cells: NDArray[np.int64]) -> NDArray[np.float64]:
        """Signal (n, 64, 3) at the nodes of cells that are divided, blue slowest."""
        side, parts = GRID_SIZE - 1, grid_kernel.FINE_PARTS
        corner = np.stack([cells % side, cells // side % side, cells // side**2], axis=-1)
        steps = np.arange(parts + 1) / parts
        blue, green, red = np.meshgrid(steps, steps, steps, indexing="ij")
        inside = np.stack([red, green, blue], axis=-1).reshape(-1, 3)
        return self.transform(self.shaper.from_grid((corner[:, None] + inside) / side))

    def _positions(self, pixels: NDArray[Any]) -> NDArray[np.float32]:
        """Where pixels (n, 3) lie, in cells; below 0 or above the last where they lie outside."""
        cells = GRID_SIZE - 1
        if pixels.dtype.kind == "f":
            scale, start, steps = self.shaper.as_numbers()
            light = np.ascontiguousarray(pixels, dtype=np.float32)
            return grid_kernel.grid_of_light(light, scale, start, steps * cells)
        levels = int(np.iinfo(pixels.dtype).max) + 1
        if levels not in self._tables:
            ramp = np.arange(levels) / (levels - 1.0)
            self._tables[levels] = np.asarray(self.shaper.to_grid(ramp) * cells, dtype=np.float32)
        return grid_kernel.grid_of_codes(np.ascontiguousarray(pixels), self._tables[levels])


def _bend_of_parts(parts: Array) -> Array:
    """As :func:`grid_kernel.bends`, the worst of all parts of each divided cell (n, 64, 3)."""
    side = grid_kernel.FINE_PARTS + 1
    nodes = parts.reshape(-1, side, side, side, 3)

    def corner(blue: int, green: int, red: int) -> Array:
        return nodes[:, blue : side - 1 + blue, green : side - 1 + green, red : side - 1 + red]

    middles = [
        corner(0, 0, 0) + corner(1, 1, 1),
        corner(0, 0, 1) + corner(1, 1, 0),
        corner(0, 1, 0) + corner(1, 0, 1),
        corner(1, 0, 0) + corner(0, 1, 1),
    ]
    high, low = np.maximum.reduce(middles), np.minimum.reduce(middles)
    return np.asarray((high - low).max(axis=(1, 2, 3, 4)) / 2)


def _cells_of(grid: NDArray[np.float32]) -> NDArray[np.int64]:
    """Numbers of the cells of positions (n, 3), red fastest; -1 outside."""
    side = GRID_SIZE - 1
    inside = np.asarray(((grid >= 0) & (grid <= side)).all(axis=1))
    r, g, b = np.minimum(np.where(inside[:, None], grid, 0).astype(np.int64), side - 1).T
    return np.where(inside, (b * side + g) * side + r, -1)
