"""Lattices: a look compiled to a dense 3D table, and still pixels graded through it.

For 8-bit pixels the nodes lie at codes 0, 4, 8 ... 252 and 255 (65 a channel), so that a colour's place in
its cell is a number of quarters and the arithmetic is exact in integers. Other pixels go through a shaper to
a regular lattice, 129 a channel: the signal itself for encoded pixels, stops for linear scene light.

A lattice is compiled as far as it is needed: the look function itself, in float64, works out the nodes
around the colours that a still has, once. Where the look bends so much within a cell that interpolation could
be out by a code or two (around grey, at the gamut's edge), and in the deepest shadows, it works out the
colours themselves.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.looks.pipeline import Transform
from lookdev.looks.rendering import MID_GREY
from lookdev.render import kernel
from lookdev.render.reference import to_codes
from lookdev.stills.still import signal_of

Array = NDArray[np.float64]
Codes = NDArray[np.uint8] | NDArray[np.uint16]

NODE_CODES = np.array([*range(0, 256, 4), 255], dtype=np.float64)
SIZE = len(NODE_CODES)
BEND_CODES, DARK_CODES = 0.7, 24
GRID_BEND_CODES = 0.12  # a 16-bit code is finer
_UNIT = 1 << kernel.FRACTION_BITS
_CHUNK = 1 << 16
_STRIP_PIXELS = 1 << 20


class CodeLattice:
    """A look between 8-bit code values.

    ``nodes`` (65, 65, 65, 3), blue slowest, in 2^-18 code values, lie at codes 0, 4, 8 ... 256: those of 255
    are carried on to 256, so that every cell is four codes wide.
    """

    def __init__(self, transform: Transform) -> None:
        self.transform = transform
        self.nodes = np.zeros((SIZE, SIZE, SIZE, 3), dtype=np.int32)
        self._at_255 = np.zeros_like(self.nodes)
        self._compiler = _Compiler(SIZE, self._work_out)

    @property
    def busy(self) -> bool:
        """Whether a thread is working nodes out just now."""
        return self._compiler.busy

    def graded(
        self, colours: NDArray[np.uint32], cells: NDArray[np.uint8] | None = None
    ) -> NDArray[np.uint32]:
        """Packed 8-bit colours (n,) through the look; ``cells`` are theirs, where they are known."""
        if cells is None:
            cells = kernel.cells_of(colours)
        out, hard = kernel.interpolate_codes(colours, self._ready(cells), self.nodes)
        for start in range(0, len(hard), _CHUNK):
            at = hard[start : start + _CHUNK]
            signal = self.transform(kernel.unpacked(colours[at]) / 255.0)
            out[at] = kernel.packed(to_codes(signal, 8).astype(np.uint8))
        return out

    def is_exact(self, colours: NDArray[np.uint32]) -> NDArray[np.bool_]:
        """Which packed colours :meth:`graded` puts through the look itself."""
        flags = self._ready(kernel.cells_of(colours))
        return np.isin(np.arange(len(colours)), kernel.interpolate_codes(colours, flags, self.nodes)[1])

    def _ready(self, cells: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """``cells`` once their nodes are known, with 2 for those that are not to be interpolated."""
        self._compiler.ensure(cells.reshape((SIZE - 1,) * 3).view(np.bool_))
        return kernel.hard_cells(cells, self.nodes, BEND_CODES, DARK_CODES)

    def _work_out(self, at: NDArray[np.intp]) -> None:
        codes = np.clip(self.transform(NODE_CODES[at[:, ::-1]] / 255.0), 0.0, 1.0) * 255.0
        known = np.floor(codes * _UNIT + 0.5).astype(np.int32)
        self._at_255[tuple(at.T)] = self.nodes[tuple(at.T)] = known
        for outer in list(np.ndindex(2, 2, 2))[1:]:  # faces, edges and the corner where channels are 255
            ends = tuple(SIZE - 1 if out else slice(0, SIZE - 1) for out in outer)
            inner = self._at_255[tuple(SIZE - 2 if out else slice(0, SIZE - 1) for out in outer)]
            self.nodes[ends] = inner + ((self._at_255[ends] - inner) * 4) // 3


class _Compiler:
    """Which nodes of a lattice are known, and one thread at a time working out more."""

    def __init__(self, size: int, work_out: Callable[[NDArray[np.intp]], None]) -> None:
        self._known = np.zeros((size, size, size), dtype=np.bool_)
        self._work_out = work_out
        self._lock = threading.Lock()

    @property
    def busy(self) -> bool:
        return self._lock.locked()

    def ensure(self, cells: NDArray[np.bool_]) -> None:
        wanted = np.zeros_like(self._known)
        n = len(cells)
        wanted[:n, :n, :n] = cells
        for axis in range(3):  # a cell's nodes: itself, and one up along each axis
            along = np.moveaxis(wanted, axis, 0)
            along[1:] |= along[:-1].copy()
        with self._lock:
            new = np.flatnonzero(wanted & ~self._known)
            at = np.stack(np.unravel_index(new, wanted.shape), axis=-1)
            for start in range(0, len(at), _CHUNK):
                self._work_out(at[start : start + _CHUNK])
            self._known |= wanted


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

    def _bend(self, signal: NDArray[np.floating]) -> NDArray[np.floating]:
        return np.arcsinh(signal / (2 * _TOE)) if self.stops else signal


_TOE = MID_GREY * 2.0**-7
ENCODED = Shaper(0.0, 1.0)
SCENE_STOPS = Shaper(-_TOE, MID_GREY * 2.0**6, stops=True)
GRID_SIZE = 129


def shaper_for(source: Encoding) -> Shaper:
    """Linear light in stops, encoded pixels as they are."""
    linear = float(source.decode(np.array([0.25]))[0]) == 0.25
    return SCENE_STOPS if linear else ENCODED


class GridLattice:
    """A look over a shaper; ``nodes`` (129, 129, 129, 3) float32 signal, blue slowest."""

    def __init__(self, transform: Transform) -> None:
        self.transform = transform
        self.shaper = shaper_for(transform.source)
        self.nodes = np.zeros((GRID_SIZE, GRID_SIZE, GRID_SIZE, 3), dtype=np.float32)
        self._compiler = _Compiler(GRID_SIZE, self._work_out)

    @property
    def busy(self) -> bool:
        """Whether a thread is working nodes out just now."""
        return self._compiler.busy

    def _work_out(self, at: NDArray[np.intp]) -> None:
        signal = self.shaper.from_grid(at[:, ::-1] / (len(self.nodes) - 1))
        self.nodes[tuple(at.T)] = self.transform(signal)

    def __call__(self, signal: NDArray[np.floating]) -> NDArray[np.float32]:
        """Signal (n, 3) through the look; outside the shaper and where it bends by the look itself."""
        cells = len(self.nodes) - 1
        position = self.shaper.to_grid(signal)
        grid = np.asarray(np.clip(position, 0.0, 1.0) * cells, dtype=np.float32)
        self._compiler.ensure(kernel.used_grid_cells(grid, cells))
        out = kernel.interpolate(grid, self.nodes)
        hard = np.any((position < 0.0) | (position > 1.0), axis=-1)
        kernel.mark_hard(grid, self.nodes, GRID_BEND_CODES / 255.0, hard)
        if hard.any():
            out[hard] = self.transform(np.asarray(signal[hard], dtype=np.float64))
        return out


Lattice = CodeLattice | GridLattice


def lattice_for(transform: Transform, dtype: np.dtype[Any], bits: int) -> Lattice:
    """The kind of lattice that grades pixels of such a type to ``bits`` 8 or 16."""
    return CodeLattice(transform) if dtype == np.uint8 and bits == 8 else GridLattice(transform)


class StillGrader:
    """Grades pictures through any number of lattices; what the lattices share is worked out once.

    Parameters
    ----------
    pictures : code values (h, w, 3), all uint8, uint16 or float: a still, and perhaps its thumbnail.
    threads : how many may share the work; the result does not depend on it.
    reuse : give the first picture back in the same memory each time: use it up before the next call.
    """

    def __init__(self, *pictures: NDArray[np.generic], threads: int = 1, reuse: bool = False) -> None:
        self._pictures = [np.ascontiguousarray(picture) for picture in pictures]
        self._threads, self._reuse = threads, reuse
        self._buffers: dict[np.dtype[Any], Codes] = {}
        self._strips = [
            (i, part)
            for i, picture in enumerate(self._pictures)
            for part in _strips(picture.shape[0] * picture.shape[1], threads)
        ]
        self._numbered: list[_Numbered] | None = None

    def __call__(self, lattice: Lattice, bits: int = 8) -> list[Codes]:
        """Each picture's code values (h, w, 3) through ``lattice``, rounded half up; ``bits`` 8 or 16."""
        dtype = np.dtype(np.uint8 if bits == 8 else np.uint16)
        out: list[Codes] = [np.empty(picture.shape, dtype=dtype) for picture in self._pictures[1:]]
        out.insert(0, self._buffer(dtype))
        if lattice.transform.is_identity and self._pictures[0].dtype == dtype:
            for target, picture in zip(out, self._pictures, strict=True):
                np.copyto(target, picture)
            return out
        if isinstance(lattice, CodeLattice):
            numbered = self._number()
            self._each(lambda n, i, part: numbered[n].grade(lattice, _flat(out[i])[part]))
        else:
            self._each(
                lambda n, i, part: _by_grid(
                    lattice, _flat(self._pictures[i])[part], _flat(out[i])[part], bits
                )
            )
        return out

    def _buffer(self, dtype: np.dtype[Any]) -> Codes:
        if not self._reuse:
            return np.empty(self._pictures[0].shape, dtype=dtype)
        if dtype not in self._buffers:
            self._buffers[dtype] = np.empty(self._pictures[0].shape, dtype=dtype)
        return self._buffers[dtype]

    def _number(self) -> list[_Numbered]:
        if self._numbered is None:
            found: dict[int, _Numbered] = {}
            self._each(lambda n, i, part: found.update({n: _Numbered(_flat(self._pictures[i])[part])}))
            self._numbered = [found[n] for n in range(len(self._strips))]
        return self._numbered

    def _each(self, work: Callable[[int, int, slice], None]) -> None:
        parts = list(enumerate(self._strips))
        if self._threads == 1 or len(parts) == 1:
            for n, (i, part) in parts:
                work(n, i, part)
            return
        with ThreadPoolExecutor(self._threads) as pool:
            list(pool.map(lambda part: work(part[0], *part[1]), parts))


class _Numbered:
    """8-bit pixels (n, 3) as numbers of their colours."""

    def __init__(self, pixels: NDArray[np.uint8]) -> None:
        self.numbers, self.colours = kernel.number_colours(pixels)
        self.cells = kernel.cells_of(self.colours)

    def grade(self, lattice: CodeLattice, out: NDArray[np.uint8]) -> None:
        """Write the pixels through ``lattice`` into ``out`` (n, 3)."""
        kernel.put_colours(self.numbers, lattice.graded(self.colours, self.cells), out)


def grade_fast(
    pixels: NDArray[np.generic], transform: Transform, *, bits: int = 8, threads: int = 1
) -> Codes:
    """As ``grade_reference``, through a lattice of ``transform``: code values (h, w, 3) in and out."""
    return StillGrader(pixels, threads=threads)(lattice_for(transform, pixels.dtype, bits), bits)[0]


def _flat(picture: NDArray[Any]) -> NDArray[Any]:
    return picture.reshape(-1, 3)


def _by_grid(lattice: GridLattice, flat: NDArray[Any], out: NDArray[Any], bits: int) -> None:
    for start in range(0, len(flat), _STRIP_PIXELS):
        part = slice(start, start + _STRIP_PIXELS)
        out[part] = to_codes(lattice(signal_of(flat[part])).astype(np.float64), bits)


class LatticeStore:
    """The lattices last used, by key, so that the stills of one reading share them; safe between threads."""

    def __init__(self, limit_bytes: int = 100_000_000) -> None:
        self._limit = limit_bytes
        self._kept: OrderedDict[str, Lattice] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: str, make: Callable[[], Lattice]) -> Lattice:
        """The lattice called ``key``, made by ``make`` if it is not kept."""
        with self._lock:
            if key not in self._kept:
                self._kept[key] = make()
                while len(self._kept) > 1 and self._size() > self._limit:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
            return self._kept[key]

    def _size(self) -> int:
        return sum(lattice.nodes.nbytes for lattice in self._kept.values())


def _strips(count: int, threads: int) -> list[slice]:
    """``count`` things in ``threads`` runs whose lengths, but the last, are multiples of four."""
    step = -(-count // (4 * threads)) * 4 if count else 1
    return [slice(start, min(start + step, count)) for start in range(0, max(count, 1), step)]


STORE = LatticeStore()
