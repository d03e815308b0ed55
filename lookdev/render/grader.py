"""Grades a still: each output's look after the other, or several at once."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.colorimetry.encodings import SRGB, Encoding
from lookdev.errors import LookdevError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lookdev.looks.cast import Cast
    from lookdev.looks.pipeline import LookLike
    from lookdev.render.grid_lattice import GridLattice
    from lookdev.render.lattice import Lattice, StillGrader
    from lookdev.stills.still import Still


_AT_ONCE = {8: 4, 16: 2}
"""Looks that a picture goes through at once, by bits: 300 MB of a still of 24 megapixels."""


@dataclass(frozen=True)
class Output:
    """One graded still to write.

    Attributes
    ----------
    look : a look, or a received LUT that stands in for one.
    path : where it goes; the suffix picks JPEG, PNG, TIFF, AVIF or HEIC.
    cast, exposure_stops : what was metered for this still, as ``look.transform`` takes it.
    target : encoding to write; None keeps the still's own (sRGB for scene-referred stills).
    bits : 8 or 16 (16 in PNG and TIFF; in AVIF and HEIC, which round them to 10).
    quality, subsampling : JPEG, AVIF and HEIC quality 1 to 100; "4:4:4", "4:2:2" or "4:2:0".
    """

    look: LookLike
    path: Path
    cast: Cast | None = None
    exposure_stops: float = 0.0
    target: Encoding | None = None
    bits: int = 8
    quality: int = 92
    subsampling: str = "4:4:4"


def target_of(output: Output, still: Still) -> Encoding:
    """The encoding that an output is written in."""
    if output.target is not None:
        return output.target
    return still.encoding if still.encoding.state == "output" else SRGB


class Grader:
    """Grades a still and its thumbnail through one output's look after another; uses the still up.

    A still of 16 bits or floats goes through several looks of its ``outputs`` at once: up to four to 8 bits,
    and two to 16, whose pictures are twice as large; four share a lattice all the same.
    """

    def __init__(
        self,
        still: Still,
        small: NDArray[Any] | None,
        outputs: Sequence[Output],
        exact: bool,
        *,
        coarse: bool = False,
    ) -> None:
        self.still, self.small, self.exact, self.coarse = still, small, exact, coarse
        self._outputs = list(outputs)
        self._graders: dict[int, StillGrader] = {}
        self._digests: dict[int, str] = {}
        self._sharing: dict[tuple[bool, int], tuple[list[Output], GridLattice]] = {}
        self._together: dict[tuple[bool, int], list[tuple[Output, NDArray[Any]]]] = {}

    def close(self) -> None:
        """Give the memory of the big pictures back."""
        for grader in self._graders.values():
            grader.close()

    def __call__(
        self, output: Output, full: bool, last: bool = False
    ) -> tuple[NDArray[Any] | None, NDArray[np.uint8] | None]:
        """Pixels of the output, unless not ``full``, and of its sRGB thumbnail, where there is to be one.

        ``last``: there is no other output to come.
        """
        return (
            self._graded(output, self.still.pixels, last=last) if full else None,
            self._graded(output, self.small, as_thumbnail=True) if self.small is not None else None,
        )

    def _graded(
        self, output: Output, picture: NDArray[Any], *, as_thumbnail: bool = False, last: bool = False
    ) -> NDArray[Any]:
        from lookdev.looks.pipeline import shared_transform
        from lookdev.render.lattice import StillGrader
        from lookdev.render.reference import grade_reference

        target, bits = self._wanted(output, as_thumbnail)
        if self.exact:
            transform = shared_transform(
                output.look, self.still.encoding, target, output.cast, output.exposure_stops
            )
            return grade_reference(picture, transform, bits=bits)
        key = id(picture)
        if key not in self._graders:
            self._graders[key] = StillGrader(picture, consume=picture is not self.small)
        if picture.dtype != "uint8" and (bits == 8 or self._is_deep()):
            return self._one_of_several(self._graders[key], output, as_thumbnail)
        return self._graders[key](self._lattice(output, target, bits), bits, last=last)

    def _wanted(self, output: Output, as_thumbnail: bool) -> tuple[Encoding, int]:
        """Encoding and bits of what is made; a small still may be its own thumbnail."""
        return (SRGB, 8) if as_thumbnail else (target_of(output, self.still), output.bits)

    def _is_deep(self) -> bool:
        """Whether the still goes to 16 bits by a lattice."""
        from lookdev.render.deep_lattice import is_deep

        return is_deep(self.still.pixels.dtype, self.still.pixels.size // 3)

    def _one_of_several(self, grader: StillGrader, output: Output, as_thumbnail: bool) -> NDArray[Any]:
        """A picture through an output's look, and through those of others that come after it."""
        kind = (as_thumbnail, self._wanted(output, as_thumbnail)[1])
        if not any(output is one for one, _ in self._together.get(kind, [])):
            outputs, lattice = self._shared(output, kind)
            first = next(i for i, one in enumerate(outputs) if one is output)
            looks = range(first, min(first + _AT_ONCE[kind[1]], len(outputs)))
            graded = grader.several(lattice, looks)
            self._together[kind] = [(outputs[i], made) for i, made in zip(looks, graded, strict=True)]
        return next(made for one, made in self._together[kind] if one is output)

    def _shared(self, output: Output, kind: tuple[bool, int]) -> tuple[list[Output], GridLattice]:
        """The lattice of an output's look, and the outputs whose looks are in it."""
        from lookdev.render.grid_kernel import LOOKS

        outputs, lattice = self._sharing.get(kind, ([], None))
        if lattice is None or not any(output is one for one in outputs):
            like = [one for one in self._outputs if self._wanted(one, kind[0])[1] == kind[1]]
            at = next((i for i, one in enumerate(like) if one is output), len(like))
            outputs = like[at : at + LOOKS] or [output]
            try:
                lattice = self._grid(outputs, *kind)
            except LookdevError:  # one of them cannot be had, which is for that one to tell
                outputs = [output]
                lattice = self._grid(outputs, *kind)
            self._sharing[kind] = (outputs, lattice)
        return outputs, lattice

    def _grid(self, outputs: Sequence[Output], as_thumbnail: bool, bits: int) -> GridLattice:
        from lookdev.looks.pipeline import shared_transform
        from lookdev.render.deep_lattice import DeepLattice
        from lookdev.render.grid_lattice import DIVIDING_PIXELS, GridLattice
        from lookdev.render.lattice import GRID_STORE

        divides = self.still.pixels.size // 3 >= DIVIDING_PIXELS
        bounded = self.still.pixels.dtype.kind != "f"
        targets = [self._wanted(output, as_thumbnail)[0] for output in outputs]

        def make() -> Lattice:
            source = self.still.encoding
            transforms = [
                shared_transform(one.look, source, target, one.cast, one.exposure_stops)
                for one, target in zip(outputs, targets, strict=True)
            ]
            if bits == 16:
                return DeepLattice(*transforms, bounded=bounded)
            return GridLattice(*transforms, divides=divides)

        looks = tuple(self._key(one, target) for one, target in zip(outputs, targets, strict=True))
        kept = GRID_STORE.get((looks, (bits, bounded) if bits == 16 else divides), make)
        assert isinstance(kept, GridLattice)
        return kept

    def _lattice(self, output: Output, target: Encoding, bits: int) -> Lattice:
        from lookdev.looks.pipeline import shared_transform
        from lookdev.render.lattice import GRID_STORE, STORE, lattice_for

        source, dtype = self.still.encoding, self.still.pixels.dtype
        coarse = self.coarse and dtype == "uint8"

        def make() -> Lattice:
            transform = shared_transform(output.look, source, target, output.cast, output.exposure_stops)
            return lattice_for(transform, dtype, bits, coarse=coarse)  # of 16 bits, a small still's

        store = STORE if dtype == "uint8" and bits == 8 else GRID_STORE
        return store.get((*self._key(output, target), dtype.str, bits, coarse), make)

    def _key(self, output: Output, target: Encoding) -> tuple[Hashable, ...]:
        """What decides what a look does to a colour of the still."""
        act = (output.look.fingerprint(), output.cast, output.exposure_stops)
        return (*act, self._digest(self.still.encoding), self._digest(target))

    def _digest(self, encoding: Encoding) -> str:
        if id(encoding) not in self._digests:
            self._digests[id(encoding)] = hashlib.sha256(pickle.dumps(encoding)).hexdigest()
        return self._digests[id(encoding)]

    def first_idle(self, outputs: list[tuple[int, Output]]) -> int:
        """Number of the first output whose lattice no other thread is working at, or of the first."""
        if not self.exact and self.still.pixels.dtype == "uint8":
            for i, output in outputs:
                if not self._lattice(output, target_of(output, self.still), output.bits).busy:
                    return i
        return outputs[0][0]
