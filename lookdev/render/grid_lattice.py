"""Looks over a regular grid, for 16-bit and float pixels: through a shaper, into codes of 8 bits."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.looks.pipeline import Transform
from lookdev.looks.rendering import MID_GREY
from lookdev.render import distinct, grid_kernel, quarters
from lookdev.render.nodes import CHUNK, NodeCompiler, grown, places
from lookdev.stills.still import code_values, signal_of

Array = NDArray[np.float64]
Codes = NDArray[np.uint8] | NDArray[np.uint16]

GRID_BEND_CODES, PART_BEND_CODES = 0.12, 0.25
"""How far the look may bend within a cell that is interpolated, and within a part of a divided one. At 0.35
photographs are still within one code of the look, and a look is worked out in half the time; but of colours
at random over ten stops of log footage three in a thousand are up to seven codes off, at the gamut's edge."""
DIVIDING_PIXELS = 2_000_000
"""Smaller pictures have too few pixels in a cell to make up for dividing it."""
DIVIDED_BEND_CODES = 1.5  # beyond it four parts along an edge are seldom enough
QUARTERED_BEND_CODES, QUARTERED_AT_ONCE = 0.75, 2.5
"""How far it may bend within the worst of two parts along an edge, for four to be tried; and within a whole
cell for which two are not."""
_DIVIDED_AT_ONCE = 1024
MANY = 10_000
"""So many pixels of a stretch go through the look itself that it is asked whether their colours are few."""
STRETCH, BAND = 1 << 21, 1 << 14
"""Pixels whose new cells are judged together, so that the look is given many colours at a time; and those
whose codes stay in the processor's second cache."""


@dataclass(frozen=True)
class Shaper:
    """Signal to position along a lattice axis, 0 to 1, one increasing curve for the three channels.

    ``to_grid`` and ``from_grid`` undo each other between ``low`` and ``high``, the signal values at the ends.
    ``stops``: it goes by the logarithm of the signal above some ``toe``, and by the signal itself below.
    """

    low: float
    high: float
    stops: bool = False
    toe: float = MID_GREY * 2.0**-7

    def to_grid(self, signal: NDArray[np.floating]) -> NDArray[np.floating]:
        """Position 0 to 1 of ``signal``; outside [low, high] it lies outside [0, 1]."""
        start, end = self._bend(np.asarray(self.low)), self._bend(np.asarray(self.high))
        return (self._bend(signal) - start) / (end - start)

    def from_grid(self, position: Array) -> Array:
        """Inverse of :meth:`to_grid`."""
        start, end = self._bend(np.asarray(self.low)), self._bend(np.asarray(self.high))
        bent = start + position * (end - start)
        return np.asarray(2 * self.toe * np.sinh(bent) if self.stops else bent)

    def as_numbers(self) -> tuple[float, float, float]:
        """(scale, start, steps): (asinh(scale signal) - start) steps; scale 0: (signal - start) steps."""
        start, end = (float(self._bend(np.asarray(v))) for v in (self.low, self.high))
        return (1.0 / (2 * self.toe) if self.stops else 0.0), start, 1.0 / (end - start)

    def _bend(self, signal: NDArray[np.floating]) -> NDArray[np.floating]:
        return np.arcsinh(signal / (2 * self.toe)) if self.stops else signal


ENCODED = Shaper(0.0, 1.0)
SCENE_STOPS = Shaper(-Shaper.toe, MID_GREY * 2.0**6, stops=True)
SENSOR_LIGHT = Shaper(0.0, 1.0, stops=True, toe=0.01)
"""Codes that light goes straight into: cells two to four codes of the result wide from black to white."""
GRID_SIZE = 129


def shaper_for(source: Encoding) -> Shaper:
    """Linear light in stops, as a raw file's codes are but for their unit; encoded pixels as they are."""
    if source.is_linear:
        return SCENE_STOPS
    light = source.decode(np.array([0.125, 0.25, 0.5, 1.0]))
    return SENSOR_LIGHT if np.allclose(light * [8, 4, 2, 1], light[3], rtol=1e-9) else ENCODED


class GridLattice:
    """Up to four looks over a shaper; ``nodes`` (129, 129, 129, LANES) uint16 signal, blue slowest.

    Where a look bends within a cell, the look itself works out the colours, or the cell is divided into
    parts, where that does: a look over a raw file bends a little in four cells of ten. What a look makes of a
    picture does not depend on those beside it.

    Parameters
    ----------
    transforms : the looks between two encodings, from one and the same.
    divides : whether cells are divided; for a small picture it takes longer than it saves.
    """

    busy = False  # no thread waits for another's work: cells are judged by whoever meets them
    band_type = grid_kernel.Band

    def __init__(self, *transforms: Transform, divides: bool = False) -> None:
        self.transforms = transforms
        self.shaper = shaper_for(transforms[0].source)
        self.divides = divides
        self.nodes = np.zeros((GRID_SIZE,) * 3 + (grid_kernel.LANES,), dtype=np.uint16)
        self._divided = np.zeros((0, (grid_kernel.FINE_PARTS + 1) ** 3, grid_kernel.LANES), dtype=np.uint16)
        self._count_divided = 0
        self._kinds = np.zeros((GRID_SIZE - 1,) * 3, dtype=np.int32)
        self._quarters = quarters.Quarters(GRID_SIZE - 1)
        self._compiler = NodeCompiler(GRID_SIZE - 1)
        self._judging = threading.Lock()
        self._tables: dict[int, NDArray[np.float32]] = {}

    @property
    def transform(self) -> Transform:
        """The first of the looks, where there is but one."""
        return self.transforms[0]

    @property
    def nbytes(self) -> int:
        """Memory that it takes."""
        divided = self._divided[: self._count_divided].nbytes + self._quarters.nbytes
        return int(self.nodes.nbytes + self._kinds.nbytes + divided)

    @cached_property
    def _quarter_ramp(self) -> Array:
        """Signal at the nodes along an axis, those of quarters of cells too."""
        count = (GRID_SIZE - 1) * quarters.PARTS
        return self.shaper.from_grid(np.arange(count + 1) / count)

    @property
    def _ramp(self) -> Array:
        """The same, those of the parts of cells too."""
        return self._quarter_ramp[:: quarters.PARTS // grid_kernel.FINE_PARTS]

    def _work_out(self, new: NDArray[np.uint32]) -> None:
        signal = self._ramp[places(new, GRID_SIZE) * grid_kernel.FINE_PARTS]
        nodes, at = self.nodes.reshape(-1, grid_kernel.LANES), new.astype(np.int64)
        for k, transform in enumerate(self.transforms):
            grid_kernel.round_at(transform(signal), at, nodes, grid_kernel.LANES_A_LOOK * k)

    def grade(self, pixels: NDArray[Any], out: Codes) -> None:
        """Code values (n, 3) of any type through the first look into codes ``out`` (n, 3)."""
        self.grade_all(pixels, (out,))

    def grade_all(self, pixels: NDArray[Any], outs: Sequence[Codes | None]) -> None:
        """Code values (n, 3) of any type through each look into its codes (n, 3), a stretch at a time.

        Of looks that have None in place of codes nothing is wanted.
        """
        for start in range(0, len(pixels), STRETCH):
            part = slice(start, start + STRETCH)
            self._grade(pixels[part], [None if out is None else out[part] for out in outs])

    def _grade(self, pixels: NDArray[Any], outs: Sequence[Codes | None]) -> None:
        left, looks, new = self._interpolated(pixels, outs)
        while len(new):
            self._judge(new)
            known = looks != grid_kernel.UNKNOWN
            again = left[~known]
            if 4 * len(again) > len(pixels):
                left, looks, new = self._interpolated(pixels, outs)
                continue
            at, theirs, new = self._interpolated(pixels, outs, again)
            left, looks = np.concatenate([left[known], at]), np.concatenate([looks[known], theirs])
        self._by_quarters(pixels, outs, left, looks)
        left, looks = left[looks > 0], looks[looks > 0]
        colours, number = self._once_each(pixels, left)
        for k, out in enumerate(outs):
            if out is None:
                continue
            mine = np.flatnonzero(looks >> k & 1)
            if number is None:
                for start in range(0, len(mine), CHUNK):
                    self._by_look(k, pixels, left[mine[start : start + CHUNK]], out)
                continue
            used = np.zeros(len(colours), dtype=np.bool_)
            used[number[mine]] = True
            todo, graded = np.flatnonzero(used), np.empty(colours.shape, dtype=out.dtype)
            for start in range(0, len(todo), CHUNK):
                self._by_look(k, colours, todo[start : start + CHUNK], graded)
            distinct.put(graded, number[mine], left[mine], out)

    def _once_each(
        self, pixels: NDArray[Any], left: NDArray[np.int64]
    ) -> tuple[NDArray[Any], NDArray[np.int32] | None]:
        """The colours of pixels ``left`` and which is whose, where many have the same; else nothing."""
        if pixels.dtype == np.uint16 and len(left) >= MANY:
            colours, number = distinct.distinct(pixels, left)
            if 2 * len(colours) < len(left):
                return colours, number
        return pixels[:0], None

    def _by_look(self, k: int, pixels: NDArray[Any], at: NDArray[np.int64], out: Codes) -> None:
        """Pixels at some places through the look itself."""
        grid_kernel.round_at(self.transforms[k](signal_of(pixels[at])), at, out)

    def _by_quarters(
        self,
        pixels: NDArray[Any],
        outs: Sequence[Codes | None],
        left: NDArray[np.int64],
        looks: NDArray[np.uint8],
    ) -> None:
        """Of pixels ``left``, those that lie in a cell that a look has in quarters; the looks that are done
        are taken out of ``looks``."""
        if self._quarters.is_empty or not len(left):
            return
        band = grid_kernel.Band(min(BAND, len(left)))
        for start in range(0, len(left), BAND):
            part = slice(start, start + BAND)
            self._place(pixels, band, left[part])
            self._quarters.grade(band, left[part], looks[part], outs)

    def _interpolated(
        self, pixels: NDArray[Any], outs: Sequence[Codes | None], some: NDArray[np.int64] | None = None
    ) -> tuple[NDArray[np.int64], NDArray[np.uint8], NDArray[np.intp]]:
        """Pixels, or those at ``some`` places, into ``outs``; which were not done and for which looks, see
        the kernel; and the cells that are not known."""
        left, looks = [], []
        count = len(pixels if some is None else some)
        band, seen = self.band_type(min(BAND, count)), None
        for start in range(0, count, BAND):
            part = slice(start, start + BAND)
            self._place(
                pixels if some is not None else pixels[part], band, None if some is None else some[part]
            )
            at, theirs = band.grade(self._kinds, self.nodes, self._divided)
            for k, out in enumerate(outs):
                if out is None:
                    continue
                if some is None:
                    band.put(k, out[part])
                else:
                    band.put_at(k, some[part], out)
            unknown = theirs == grid_kernel.UNKNOWN
            if unknown.any():
                seen = np.zeros(self._kinds.size, dtype=np.bool_) if seen is None else seen
                seen[band.cells[at[unknown]]] = True
            left.append(start + at if some is None else some[part][at])
            looks.append(theirs.copy())
        new = np.zeros(0, dtype=np.intp) if seen is None else np.flatnonzero(seen)
        return np.concatenate(left), np.concatenate(looks), new

    def _judge(self, cells: NDArray[np.intp]) -> None:
        """Find out how the pixels in numbered cells are to be graded."""
        kinds = self._kinds.reshape(-1)
        cells = cells[kinds[cells] == 0]
        self._compiler.ensure(cells, self._work_out)
        exact, finer = (np.zeros(len(cells), dtype=np.int32) for _ in range(2))
        parts: list[tuple[NDArray[np.intp], NDArray[np.uint16]]] = []
        quartered: list[tuple[NDArray[np.intp], NDArray[np.uint16]]] = []
        for k in range(len(self.transforms)):
            bends = grid_kernel.bends(cells, self.nodes, k) * 255.0
            smooth = bends <= GRID_BEND_CODES
            exact |= np.where(smooth, 0, 1 << k).astype(np.int32)
            may = np.flatnonzero(~smooth & (bends <= DIVIDED_BEND_CODES) & self.divides)
            done, theirs, worst = self._divide(k, cells[may], grid_kernel.FINE_PARTS)
            exact[may[done]] ^= 1 << k
            finer[may[done]] |= 1 << k
            parts.append((may[done], theirs))
            may = may[(worst > PART_BEND_CODES) & (worst <= QUARTERED_BEND_CODES)]
            if self.divides:
                wide = np.flatnonzero((bends > DIVIDED_BEND_CODES) & (bends <= QUARTERED_AT_ONCE))
                may = np.concatenate([may, wide])
            done, theirs, _ = self._divide(k, cells[may], quarters.PARTS)
            quartered.append((may[done], theirs))
        self._set_kinds(cells, exact, finer, parts, quartered)

    def _set_kinds(
        self,
        cells: NDArray[np.intp],
        exact: NDArray[np.int32],
        finer: NDArray[np.int32],
        parts: Sequence[tuple[NDArray[np.intp], NDArray[np.uint16]]],
        quartered: Sequence[tuple[NDArray[np.intp], NDArray[np.uint16]]] = (),
    ) -> None:
        """Have it known which looks are ``exact`` in ``cells``, and which have ``finer`` nodes, a bit each.

        ``parts``: of each look, which of the cells it divides, and its nodes (n, 27, 3) there; ``quartered``:
        the same of those exact ones that it has in quarters.
        """
        kinds = self._kinds.reshape(-1)
        with self._judging:
            new = kinds[cells] == 0  # another thread may have met some of them too
            divided = np.flatnonzero(new & (finer > 0))
            place = np.full(len(cells), -1)
            self._make_room(len(divided))
            place[divided] = self._count_divided + np.arange(len(divided))
            for k, (at, theirs) in enumerate(parts):
                mine = place[at] >= 0
                self._divided[place[at[mine]], :, _lanes_of(k)] = theirs[mine]
            self._count_divided += len(divided)
            self._quarters.add(*_only_new(cells, new, quartered))
            found = (place + 2 << 8) | (finer << 4) | exact
            kinds[cells[new]] = found[new]  # from here on other threads use them

    def _make_room(self, more: int) -> None:
        """Have room for so many ``more`` divided cells, none of which has a place in memory now in use.

        A thread that has that in hand sees the new cells' kinds, but not what is written elsewhere: what is
        left of it stays empty.
        """
        if self._count_divided + more > len(self._divided):
            self._count_divided = len(self._divided)
            self._divided = grown(self._divided, self._count_divided, more)

    def _divide(
        self, k: int, cells: NDArray[np.intp], parts: int
    ) -> tuple[NDArray[np.intp], NDArray[np.uint16], NDArray[np.float64]]:
        """Which of ``cells`` look ``k`` is smooth in, in each of so many ``parts`` along an edge; its nodes
        (n, (parts + 1)^3, 3) there; and how far it bends, in codes, in the worst part of all cells."""
        count = (parts + 1) ** 3
        done, nodes = [np.zeros(0, dtype=np.intp)], [np.zeros((0, count, 3), dtype=np.uint16)]
        bends = np.empty(len(cells))
        at_once = _DIVIDED_AT_ONCE * 27 // count
        for start in range(0, len(cells), at_once):
            inner = self._in_parts(k, cells[start : start + at_once], parts)
            worst = _bend_of_parts(inner, parts) * (255.0 / grid_kernel.TOP)
            smooth = np.flatnonzero(worst <= PART_BEND_CODES)
            bends[start : start + at_once] = worst
            done.append(start + smooth)
            nodes.append(inner[smooth])
        return np.concatenate(done), np.concatenate(nodes), bends

    def _in_parts(self, k: int, cells: NDArray[np.intp], parts: int) -> NDArray[np.uint16]:
        """Nodes (n, (parts + 1)^3, 3) of parts of cells by a look, blue slowest; the corners are known."""
        side, step = GRID_SIZE - 1, quarters.PARTS // parts
        corner = np.stack([cells % side, cells // side % side, cells // side**2], axis=-1)
        steps = np.arange(parts + 1)
        blue, green, red = np.meshgrid(steps, steps, steps, indexing="ij")
        inside = np.stack([red, green, blue], axis=-1).reshape(-1, 3)
        at_corner = (inside % parts == 0).all(axis=1)
        out = np.empty((len(cells), len(inside), 3), dtype=np.uint16)
        red, green, blue = np.moveaxis(corner[:, None] + inside[at_corner] // parts, -1, 0)
        out[:, at_corner] = self.nodes[blue, green, red, _lanes_of(k)]
        between = corner[:, None] * parts + inside[~at_corner]
        out[:, ~at_corner] = code_values(self.transforms[k](self._quarter_ramp[between * step]), np.uint16)
        return out

    def _place(
        self, pixels: NDArray[Any], band: grid_kernel.Band, some: NDArray[np.int64] | None = None
    ) -> None:
        """Have ``band`` take pixels (n, 3), or those at ``some`` places."""
        cells = GRID_SIZE - 1
        if pixels.dtype.kind == "f":
            scale, start, steps = self.shaper.as_numbers()
            light = np.ascontiguousarray(pixels if some is None else pixels[some], dtype=np.float32)
            band.place_light(light, scale, start, steps * cells)
            return
        levels = int(np.iinfo(pixels.dtype).max) + 1
        if levels not in self._tables:
            ramp = np.arange(levels) / (levels - 1.0)
            self._tables[levels] = np.asarray(self.shaper.to_grid(ramp) * cells, dtype=np.float32)
        codes = np.ascontiguousarray(pixels)
        if some is None:
            band.place_codes(codes, self._tables[levels])
        else:
            band.place_some_codes(codes, some, self._tables[levels])


def _lanes_of(number: int) -> slice:
    """Where the channels of a look are in a node."""
    first = grid_kernel.LANES_A_LOOK * number
    return slice(first, first + 3)


def _only_new(
    cells: NDArray[np.intp],
    new: NDArray[np.bool_],
    found: Sequence[tuple[NDArray[np.intp], NDArray[np.uint16]]],
) -> tuple[NDArray[np.intp], list[tuple[NDArray[np.intp], NDArray[np.uint16]]]]:
    """Those of ``cells`` that are ``new``, and what was ``found`` at some of them, at their places there."""
    place = np.cumsum(new) - 1
    mine = [new[at] for at, _ in found]
    return cells[new], [(place[at[m]], nodes[m]) for (at, nodes), m in zip(found, mine, strict=True)]


def _bend_of_parts(inner: NDArray[np.uint16], parts: int) -> Array:
    """As :func:`grid_kernel.bends`, of the worst part of each divided cell (n, (parts + 1)^3, 3), in node
    values."""
    side = parts + 1
    nodes = inner.astype(np.int32).reshape(-1, side, side, side, 3)

    def corner(blue: int, green: int, red: int) -> NDArray[np.int32]:
        return nodes[:, blue : side - 1 + blue, green : side - 1 + green, red : side - 1 + red]

    middles = [
        corner(0, 0, 0) + corner(1, 1, 1),
        corner(0, 0, 1) + corner(1, 1, 0),
        corner(0, 1, 0) + corner(1, 0, 1),
        corner(1, 0, 0) + corner(0, 1, 1),
    ]
    high, low = np.maximum.reduce(middles), np.minimum.reduce(middles)
    return np.asarray((high - low).max(axis=(1, 2, 3, 4)) / 2)
