"""A still held in memory at the size of the page: decoded once, graded as often as a look changes."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import LookdevError
from lookdev.render.grid_lattice import Shaper, shaper_for
from lookdev.render.lattice import COARSE, CodeLattice, LatticeStore, StillGrader, lattice_for
from lookdev.render.tasks import Task
from lookdev.render.thumbnail import as_srgb, reduced_to_box
from lookdev.stills.still import signal_of

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import LookLike, Transform
    from lookdev.render.lattice import Lattice
    from lookdev.survey.survey import SurveyedStill

Picture = NDArray[np.uint8]

EDGE_PX = 1600
QUICK_EDGE_PX = 800
"""Long edge of the picture that stands in while a slow still is worked out."""


@dataclass(frozen=True, eq=False)
class LiveStill:
    """One still of the page. Made by :func:`open_still`; safe between threads.

    Attributes
    ----------
    surveyed : what the survey knows of it.
    encoding, pixels : what the code values mean; (h, w, 3) in the still's own type, fitted to the page.
    """

    surveyed: SurveyedStill
    encoding: Encoding
    pixels: NDArray[np.generic] = field(repr=False)
    _whole: StillGrader = field(repr=False)
    _quick: StillGrader = field(repr=False)
    _shaper: Shaper = field(repr=False)
    _through: dict[str, Transform] = field(default_factory=dict, repr=False)
    _store: LatticeStore = field(default_factory=lambda: LatticeStore(30_000_000), repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    @property
    def is_slow(self) -> bool:
        """Whether it has more than 8 bits, which a look is worked out for colour by colour."""
        return self.pixels.dtype != np.uint8

    def as_it_stood(self) -> Picture:
        """The still ungraded, sRGB code values (h, w, 3)."""
        return as_srgb(self.pixels, self.encoding)

    def graded(self, look: LookLike, quick: bool = False) -> Picture:
        """Through a look, sRGB code values (h, w, 3): those of the graded preview of the same size.

        ``quick`` : one that stands in for a moment and takes less time, a code or two off here and there; of
        a slow still smaller, and from 8-bit codes.
        """
        grader = self._quick if quick and self.is_slow else self._whole
        with self._lock:
            lattice = self._store.get((look.fingerprint(), quick), lambda: self._lattice(look, quick))
            return grader(lattice, 8)  # type: ignore[return-value]

    def _lattice(self, look: LookLike, quick: bool) -> Lattice:
        through = self._transform(look)
        if quick:
            return CodeLattice(
                _OfCodes(through, self._shaper) if self.is_slow else through, COARSE, rough=True
            )
        return lattice_for(through, self.pixels.dtype, 8, coarse=True)

    def _transform(self, look: LookLike) -> Transform:
        """The look on this still: the last one is kept, as the whole picture follows the quick one."""
        name = look.fingerprint()
        if name not in self._through:
            made = look.transform(self.encoding, SRGB, self.surveyed.cast, self.surveyed.exposure_stops)
            self._through.clear()
            self._through[name] = made
        return self._through[name]


def shown_at(picture: Picture, size: tuple[int, int]) -> Picture:
    """A picture as a screen shows it at ``size`` (width, height): averaged down to it, never made larger.

    Halved as often as it goes, then interpolated between neighbours, as browsers do.

    >>> shown_at(np.full((8, 12, 3), 7, np.uint8), (3, 2)).shape
    (2, 3, 3)
    >>> shown_at(np.full((8, 12, 3), 7, np.uint8), (100, 80)).shape
    (8, 12, 3)
    """
    import cv2

    height, width = picture.shape[:2]
    size = (max(1, min(size[0], width)), max(1, min(size[1], height)))
    while width // 2 >= size[0] or height // 2 >= size[1]:
        width = width // 2 if width // 2 >= size[0] else width
        height = height // 2 if height // 2 >= size[1] else height
        picture = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    if (width, height) == size:
        return picture
    return cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR)  # type: ignore[return-value]


@dataclass(frozen=True, eq=False)
class _OfCodes:
    """A look for 8-bit codes that stand for a slow still's signal, spread as its lattice's shaper does."""

    through: Transform
    shaper: Shaper

    is_identity = False

    @property
    def source(self) -> Encoding:
        return self.through.source

    @property
    def target(self) -> Encoding:
        return self.through.target

    def __call__(self, signal: ArrayLike) -> NDArray[np.float64]:
        return self.through(self.shaper.from_grid(np.asarray(signal, dtype=np.float64)))


def open_still(still: SurveyedStill, edge_px: int = EDGE_PX) -> LiveStill:
    """Decode a still to fit ``edge_px`` pixels.

    Raises
    ------
    StillError : it cannot be read.
    """
    if still.error is not None:
        raise LookdevError(still.error)
    box = (edge_px, edge_px)
    task = Task(still.path, thumbnail_box=box, light_xy=still.light_xy, part=still.part)
    read = task.read(reduced=True)
    pixels = np.ascontiguousarray(reduced_to_box(read.pixels, read.encoding, task.thumbnail_box))
    shaper = shaper_for(read.encoding)
    quick = reduced_to_box(pixels, read.encoding, (QUICK_EDGE_PX, QUICK_EDGE_PX))
    if quick.dtype != np.uint8:
        place = np.clip(shaper.to_grid(signal_of(quick)), 0.0, 1.0)
        quick = np.asarray(place * 255 + 0.5, dtype=np.uint8)
    return LiveStill(still, read.encoding, pixels, StillGrader(pixels), StillGrader(quick), shaper)
