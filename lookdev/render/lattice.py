"""Lattices: a look compiled to a dense 3D table, and still pixels graded through it.

For 8-bit pixels the nodes lie at codes 0, 4, 8 ... 252 and 255 (65 a channel; 33 for small pictures), so that
a colour's place in its cell is a number of quarters and the arithmetic is exact in integers. Other pixels go
through a shaper to a regular lattice, 129 a channel: the signal itself for encoded pixels, stops for linear
scene light. Results of 16 bits come from a lattice without steps (:mod:`lookdev.render.deep_lattice`), or, of
small and of 8-bit pictures, from the look itself (:mod:`lookdev.render.every_pixel`).

A lattice is compiled as far as it is needed: the look function itself, in float64, works out the nodes
around the colours that a still has, once. Where the look bends so much within a cell that interpolation could
be out by a code or two (around grey, at the gamut's edge), and in the deepest shadows, it works out the
colours themselves.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.encodings import ACESCG, BT709, SRGB
from lookdev.colorimetry.rgb_spaces import D65_XY
from lookdev.compilation import (
    are_compiled,
    compile_beside,
    faults,
    mark_complete,
    trial,
    try_alone,
    without_collecting,
)
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Transform
from lookdev.looks.rendering import render_curve
from lookdev.render import averages, kernel
from lookdev.render.buffers import BUFFERS
from lookdev.render.deep_lattice import DeepLattice, is_deep
from lookdev.render.every_pixel import EveryPixel, put_codes
from lookdev.render.grid_lattice import DIVIDING_PIXELS, GridLattice
from lookdev.render.nodes import CHUNK, NodeCompiler, places
from lookdev.render.reference import to_codes

Array = NDArray[np.float64]
Codes = NDArray[np.uint8] | NDArray[np.uint16]

FINE, COARSE = 2, 3
"""Bits of a code within a cell of 4, and of 8, codes."""
BEND_CODES, DARK_CODES = 0.7, 40
COARSE_BEND_CODES = 3.0  # a look that holds skin back bends more within a wide cell than one that does not
ROUGH_BEND_CODES = 8.0
_UNIT = 1 << kernel.FRACTION_BITS


class CodeLattice:
    """A look between 8-bit code values.

    ``nodes`` (n, n, n, 3), blue slowest, in 2^-18 code values, lie at every fourth code from 0 to 256, or at
    every eighth: those of 255 are carried on to 256, so that all cells are of one width.

    Parameters
    ----------
    transform : the look between two encodings.
    cell_bits : FINE, or COARSE for small pictures, which have few pixels: nodes 8 codes apart, and only the
        darkest colours, and those where it bends most, go through the look itself. On the sample frames, with
        the shipped looks, a coarse one is within a mean CIEDE2000 of 0.2, and of 1.2 in the 99th percentile,
        of the look (``tests/unit/test_render_preview.py``); a graded still never comes from it.
    rough : for pictures that stand in for a moment: few colours go through the look itself. Against the same
        lattice without it, the sample frames in the shipped looks are 0.13 of a code off in the mean, 2 in
        the 99th percentile, and 9 at most.
    """

    def __init__(self, transform: Transform, cell_bits: int = FINE, *, rough: bool = False) -> None:
        self.transform, self.cell_bits = transform, cell_bits
        self._cells_a_channel = 256 >> cell_bits
        self._bend_codes = BEND_CODES if cell_bits == FINE else COARSE_BEND_CODES
        self._dark_codes = DARK_CODES
        if rough:
            self._bend_codes, self._dark_codes = ROUGH_BEND_CODES, 0
        side = self._cells_a_channel + 1
        self.nodes = np.zeros((side, side, side, 3), dtype=np.int32)
        self._compiler = NodeCompiler(self._cells_a_channel)

    @property
    def busy(self) -> bool:
        """Whether a thread is working nodes out just now."""
        return self._compiler.busy

    @property
    def nbytes(self) -> int:
        """Memory that it takes."""
        return int(self.nodes.nbytes)

    def graded(self, colours: NDArray[np.uint32], cells: kernel.Cells | None = None) -> NDArray[np.uint32]:
        """Packed 8-bit colours (n,) through the look; ``cells`` are theirs, where they are known."""
        out, hard = self._interpolated(colours, cells)
        for start in range(0, len(hard), CHUNK):
            at = hard[start : start + CHUNK]
            signal = self.transform(kernel.unpacked(colours[at]) / 255.0)
            out[at] = kernel.packed(to_codes(signal, 8).astype(np.uint8))
        return out

    def is_exact(self, colours: NDArray[np.uint32]) -> NDArray[np.bool_]:
        """Which packed colours :meth:`graded` puts through the look itself."""
        return np.isin(np.arange(len(colours)), self._interpolated(colours)[1])

    def _interpolated(
        self, colours: NDArray[np.uint32], cells: kernel.Cells | None = None
    ) -> tuple[NDArray[np.uint32], NDArray[np.int64]]:
        """Colours, and the places of those that are not to be interpolated and are left undone."""
        if cells is None:
            cells = kernel.Cells(colours, self.cell_bits)
        self._compiler.ensure(cells.numbers, self._work_out)
        hard = cells.hard(self.nodes, self._bend_codes, self._dark_codes)
        return kernel.interpolate_codes(colours, self.cell_bits, hard, self.nodes)

    def _work_out(self, new: NDArray[np.uint32]) -> None:
        last, width = self._cells_a_channel, 1 << self.cell_bits
        nodes, side = self.nodes.reshape(-1, 3), last + 1
        place = places(new, side)
        graded = np.clip(self.transform(np.minimum(place * width, 255) / 255.0), 0.0, 1.0) * (255.0 * _UNIT)
        nodes[new] = np.floor(graded + 0.5).astype(np.int32)
        at_end = np.any(place == last, axis=1)
        end, inner = new[at_end], np.minimum(place[at_end], last - 1) @ np.array([1, side, side * side])
        nodes[end] = nodes[inner] + ((nodes[end] - nodes[inner]) * width) // (width - 1)


Lattice = CodeLattice | GridLattice | EveryPixel


def lattice_for(
    transform: Transform, dtype: np.dtype[Any], bits: int, *, coarse: bool = False, pixels: int = 0
) -> Lattice:
    """What grades a picture of so many ``pixels`` of such a type to ``bits`` 8 or 16.

    ``coarse``: for small pictures, where there is such a lattice.
    """
    if dtype == np.uint8 and bits == 8:
        return CodeLattice(transform, COARSE if coarse else FINE)
    if bits == 16:
        if is_deep(dtype, pixels):
            return DeepLattice(transform, bounded=dtype.kind != "f")
        return EveryPixel(transform)
    return GridLattice(transform, divides=pixels >= DIVIDING_PIXELS)


class StillGrader:
    """Grades a picture through any number of lattices; what these share is worked out once.

    Parameters
    ----------
    picture : code values (h, w, 3), uint8, uint16 or float.
    threads : how many may share the work; the result does not depend on it.
    consume : use the picture's own memory up, and give results back in the same memory each time: the one
        before is to be used up before the next call. Call :meth:`close` at the end.
    """

    def __init__(self, picture: NDArray[np.generic], *, threads: int = 1, consume: bool = False) -> None:
        self._shape = picture.shape
        self._flat = np.ascontiguousarray(picture).reshape(-1, 3)
        self._threads, self._consume = threads, consume
        self._own = (consume and self._flat.flags.writeable) or not np.may_share_memory(self._flat, picture)
        self._buffers: dict[tuple[np.dtype[Any], int], NDArray[np.uint8]] = {}
        self._strips = _strips(len(self._flat), threads)
        self._colours: list[_Colours] = []

    def __call__(self, lattice: Lattice, bits: int = 8, *, last: bool = False) -> Codes:
        """Code values (h, w, 3) through ``lattice``, rounded half up; ``bits`` 8 or 16.

        ``last``: no other call follows, so that the picture's own memory may hold the result.
        """
        dtype = np.dtype(np.uint8 if bits == 8 else np.uint16)
        in_place = last and self._consume and self._flat.dtype == dtype == np.uint8
        if in_place:
            self._number()  # which sees to it that the memory is ours
        out = self._flat if in_place else self._buffer(dtype)
        same = lattice.transform.is_identity and self._flat.dtype == dtype
        if same and not self._colours:
            np.copyto(out, self._flat)
        elif same or isinstance(lattice, CodeLattice) or self._may_number(lattice):
            self._number()
            self._each(lambda n, part: self._colours[n].put(self._flat[part], lattice, out[part]))
        else:
            pixels = self._pixels()
            self._each(lambda n, part: lattice.grade(pixels[part], out[part]))  # type: ignore[arg-type]
        return out.reshape(self._shape)

    def several(self, lattice: GridLattice, looks: Sequence[int] | None = None) -> list[Codes]:
        """As a call for each look of ``lattice``, or those of some numbers, in their order, all at once."""
        dtype = np.dtype(lattice.band_type.code_type)
        chosen = range(len(lattice.transforms)) if looks is None else looks
        outs = {k: self._buffer(dtype, place) for place, k in enumerate(chosen)}
        same = {k for k in chosen if lattice.transforms[k].is_identity and self._flat.dtype == dtype}
        for k in same:
            np.copyto(outs[k], self._flat)
        wanted = [None if k in same else outs.get(k) for k in range(len(lattice.transforms))]
        pixels = self._pixels()

        def work(n: int, part: slice) -> None:
            lattice.grade_all(pixels[part], [None if out is None else out[part] for out in wanted])

        if len(same) < len(outs):
            self._each(work)
        return [out.reshape(self._shape) for out in outs.values()]

    def close(self) -> None:
        """Give the memory of the results back for the next still."""
        for buffer in self._buffers.values():
            BUFFERS.give(buffer)
        self._buffers = {}

    def _buffer(self, dtype: np.dtype[Any], which: int = 0) -> Codes:
        if not self._consume:
            return np.empty(self._flat.shape, dtype=dtype)
        key = (dtype, which)
        if key not in self._buffers:
            self._buffers[key] = BUFFERS.take(self._flat.size * dtype.itemsize)
        return self._buffers[key].view(dtype).reshape(-1, 3)

    def _may_number(self, lattice: Lattice) -> bool:
        """Whether fewer colours than pixels need go through the look itself."""
        return isinstance(lattice, EveryPixel) and self._flat.dtype == np.uint8

    def _number(self) -> None:
        if self._colours:
            return
        if not self._own:
            self._flat, self._own = self._flat.copy(), True
        found: dict[int, _Colours] = {}
        self._each(lambda n, part: found.update({n: _Colours(kernel.number_colours(self._flat[part]))}))
        self._colours = [found[n] for n in range(len(self._strips))]

    def _pixels(self) -> NDArray[Any]:
        """The picture itself, from its numbers if there are but these."""
        if not self._colours:
            return self._flat
        out = np.empty_like(self._flat)
        self._each(lambda n, part: self._colours[n].put(self._flat[part], None, out[part]))
        return out

    def _each(self, work: Callable[[int, slice], None]) -> None:
        if len(self._strips) == 1:
            work(0, self._strips[0])
            return
        with ThreadPoolExecutor(self._threads) as pool:
            list(pool.map(work, range(len(self._strips)), self._strips))


class _Colours:
    """The colours (n,), packed, of numbered pixels."""

    def __init__(self, colours: NDArray[np.uint32]) -> None:
        self.colours = colours
        self._cells: dict[int, kernel.Cells] = {}

    def put(self, numbers: NDArray[np.uint8], lattice: Lattice | None, out: NDArray[Any]) -> None:
        """Write the pixels that ``numbers`` stand for into ``out``, through ``lattice``, or as they were."""
        if isinstance(lattice, EveryPixel):
            put_codes(numbers, lattice.codes_of(self.colours), out)
            return
        graded = self._graded(lattice) if isinstance(lattice, CodeLattice) else self.colours
        kernel.put_colours(numbers, graded, out)

    def _graded(self, lattice: CodeLattice) -> NDArray[np.uint32]:
        bits = lattice.cell_bits
        if bits not in self._cells:
            self._cells[bits] = kernel.Cells(self.colours, bits)
        return lattice.graded(self.colours, self._cells[bits])


def grade_fast(
    pixels: NDArray[np.generic], transform: Transform, *, bits: int = 8, threads: int = 1
) -> Codes:
    """As ``grade_reference``, through a lattice of ``transform``: code values (h, w, 3) in and out."""
    lattice = lattice_for(transform, pixels.dtype, bits, pixels=pixels.size // 3)
    return StillGrader(pixels, threads=threads)(lattice, bits)


class LatticeStore:
    """The lattices last used, by key, so that the stills of one reading share them; safe between threads."""

    def __init__(self, limit_bytes: int = 100_000_000) -> None:
        self._limit = limit_bytes
        self._kept: OrderedDict[Hashable, Lattice] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], Lattice]) -> Lattice:
        """The lattice called ``key``, made by ``make`` if it is not kept."""
        with self._lock:
            if key not in self._kept:
                self._kept[key] = make()
                while len(self._kept) > 1 and self._size() > self._limit:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
            return self._kept[key]

    def _size(self) -> int:
        return sum(lattice.nbytes for lattice in self._kept.values())


def _strips(count: int, threads: int) -> list[slice]:
    """``count`` things in ``threads`` runs whose lengths, but the last, are multiples of four."""
    step = -(-count // (4 * threads)) * 4 if count else 1
    return [slice(start, min(start + step, count)) for start in range(0, max(count, 1), step)]


def warm_up(tell: Callable[[str], None] | None = None) -> None:
    """Compile the kernels if this is the first use on this machine; ``tell`` hears of that.

    Else there is nothing to do: each one is loaded when it is called, in less than a millisecond.
    """
    if not are_compiled():
        if tell is not None:
            often = "on every run" if faults() else "once"
            later = "" if faults() else "; later runs load them"
            tell(f"compiling the pixel kernels, {often}, some six seconds of work{later}")
        with compile_beside("from lookdev.render.lattice import use_half; use_half()"), without_collecting():
            _use_pixels(_Unchanged())
            _use_looks(_usual(_FIRST))
            _use_codes()
            render_curve([0.0])
        if not try_alone("from lookdev.render.lattice import try_kept; raise SystemExit(try_kept())"):
            _use_all()
        mark_complete()
    if tell is not None:
        for line in faults():
            tell(line)


def try_kept() -> int:
    """Use the kernels as they are kept, in a process that may end by it; how many could not be."""
    return trial(_use_all)


def use_half() -> None:
    """Half of what is to be compiled: some stages, in light alone, and small pictures."""
    with without_collecting():
        _use_looks([_look(_SECOND).transform(ACESCG, ACESCG)])
        _use_averages()


def _use_all() -> None:
    _use_pixels(*_usual({**_FIRST, **_SECOND}))
    _use_averages()
    _use_codes()
    render_curve([0.0])


class _Unchanged:
    """A look that leaves all as it is, and does not know it: to use what calls looks without one."""

    source, target, is_identity = SRGB, BT709, False

    def __call__(self, signal: ArrayLike) -> Array:
        return np.array(signal, dtype=np.float64)


def _use_pixels(*transforms: Transform) -> None:
    """Pixels through the lattices of some looks."""
    pixels = np.zeros((4, 4, 3), dtype=np.uint8)
    for transform in transforms:
        StillGrader(pixels)(CodeLattice(transform))


def _use_averages() -> None:
    light = np.zeros((256, 3), dtype=np.float32)
    averages.average_in_light(np.zeros((4, 4, 3), dtype=np.uint8), light, (2, 2))


def _use_codes() -> None:
    edges = averages.Edges(np.ones((3, 255), dtype=np.float32))
    edges.codes(np.zeros((2, 2, 3), dtype=np.float32), np.empty((2, 2, 3), dtype=np.uint8))


def _use_looks(transforms: Iterable[Transform]) -> None:
    """Colours through some looks, among them one outside of what a display shows."""
    for transform in transforms:
        transform([[0.5, 0.5, 0.5], [0.0, 0.0, 1.0]])


def _usual(stages: dict[str, Any]) -> list[Transform]:
    return [_look(stages).transform(SRGB, target, _CAST) for target in (SRGB, BT709)]


def _look(stages: dict[str, Any]) -> Look:
    return Look.model_validate({"title": "what most looks do", **stages})


_FIRST: dict[str, Any] = {
    "balance": {"keep": 0.5},
    "curve": {"contrast": 1.2},
}
_SECOND: dict[str, Any] = {
    "colour": {"saturation": 1.1, "families": {"R": {"chroma": 0.9}}},
    "tone": [{"at_stops": -3.0, "towards": "5B", "chroma": 0.01}],
    "skin": {"hold": 0.5},
}
"""Of what most looks do, what two processes compile at first use: as much work for each, with what else is
theirs."""
_CAST = Cast((0.4476, 0.4074), D65_XY)  # CIE 15, illuminant A


STORE = LatticeStore()
GRID_STORE = LatticeStore(400_000_000)
"""Of :class:`GridLattice`, which are larger: four looks in three places, and what to work them out takes is
two seconds for a raw file. Much of what it counts is memory that is never touched."""
