"""A still held in memory at the size of the page: decoded once, graded as often as a look changes."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import LookdevError
from lookdev.render.lattice import LatticeStore, StillGrader, lattice_for
from lookdev.render.tasks import Task
from lookdev.render.thumbnail import as_srgb, reduced_to_box

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import LookLike
    from lookdev.survey.survey import SurveyedStill

Picture = NDArray[np.uint8]

EDGE_PX = 1600
QUICK_EDGE_PX, QUICK_EDGE_SLOW_PX = 800, 480
"""Long edge of the picture that stands in while a number is held, and of that of a slow still."""


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

        ``quick`` : a smaller picture, which takes less time.
        """
        grader = self._quick if quick else self._whole
        cast, stops = self.surveyed.cast, self.surveyed.exposure_stops
        dtype = self.pixels.dtype
        with self._lock:
            lattice = self._store.get(
                look.fingerprint(),
                lambda: lattice_for(
                    look.transform(self.encoding, SRGB, cast, stops), dtype, 8, coarse=dtype == np.uint8
                ),
            )
            return grader(lattice, 8)  # type: ignore[return-value]


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
    edge = QUICK_EDGE_PX if pixels.dtype == np.uint8 else QUICK_EDGE_SLOW_PX
    quick = StillGrader(reduced_to_box(pixels, read.encoding, (edge, edge)))
    return LiveStill(still, read.encoding, pixels, StillGrader(pixels), quick)
