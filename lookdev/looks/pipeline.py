"""The one look function: code values in, code values out.

Graded stills, sheets, LUTs, CDL fits and paint predictions all call :class:`Pipeline`, which takes colours
through the steps of a look between two encodings, so that no two of them can disagree.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.encodings import Encoding
from lookdev.colorimetry.rgb_spaces import WORKING as WORKING_RGB
from lookdev.colorimetry.rgb_spaces import matrix_between
from lookdev.looks.cast import Cast
from lookdev.looks.rendering import lift_curve, lift_from, show_to, showing_light
from lookdev.looks.signal import brightest, signal
from lookdev.looks.stages.balance import Balance
from lookdev.looks.stages.base import Metered
from lookdev.looks.stages.gamut import gamut_limit
from lookdev.looks.steps import Space, Step, clipping, join, run

Array = NDArray[np.float64]


@runtime_checkable
class Transform(Protocol):
    """Signal (..., 3) in ``source`` to signal (..., 3) in ``target``."""

    @property
    def source(self) -> Encoding: ...

    @property
    def target(self) -> Encoding: ...

    @property
    def is_identity(self) -> bool: ...

    def __call__(self, signal: ArrayLike) -> Array: ...


class Acts(Protocol):
    """What has steps."""

    def steps(self, metered: Metered) -> tuple[Step, ...]: ...


class LookLike(Protocol):
    """What can be put on a still: a look of ours, or a received LUT that stands in for one.

    ``balance`` is what becomes of a metered cast; None where the look says nothing about it. ``acting`` is
    what it comes to where it has a strength of its own.
    """

    @property
    def title(self) -> str: ...

    @property
    def note(self) -> str: ...

    @property
    def balance(self) -> Balance | None: ...

    @property
    def acting(self) -> LookLike: ...

    def key_parameters(self) -> list[str]: ...

    def describe(self) -> str: ...

    def fingerprint(self) -> str: ...

    def transform(
        self, source: Encoding, target: Encoding, cast: Cast | None = None, exposure_stops: float = 0.0
    ) -> Transform: ...


@dataclass(eq=False)
class Pipeline:
    """A look between two encodings, with what was metered: the look function.

    Output-referred input is lifted to scene light first, output-referred results are rendered; where both
    ends have the same encoding and nothing acts, the very same values come back (of PQ, up to its peak).

    Parameters
    ----------
    look : what gives the steps; it is asked once.
    source, target : encodings of the signal in and out.
    cast : the metered cast in the picture, or None where nothing was metered.
    exposure_stops : stops added before the look, to bring a still to the metered exposure.

    >>> from lookdev.colorimetry.encodings import SRGB
    >>> from lookdev.looks.model import Look
    >>> Pipeline(Look(title="as it stood"), SRGB, SRGB)([0.1, 0.5, 0.9]).tolist()
    [0.1, 0.5, 0.9]
    """

    look: Acts
    source: Encoding
    target: Encoding
    cast: Cast | None = None
    exposure_stops: float = 0.0

    def __getstate__(self) -> dict[str, Any]:
        """The parameters: steps are made again where they are wanted."""
        return {name: self.__dict__[name] for name in self.__dataclass_fields__}

    @property
    def is_identity(self) -> bool:
        """Whether code values come back unchanged, to the bit."""
        return self._is_still and brightest(self.target) == 1.0

    @cached_property
    def _is_still(self) -> bool:
        """Whether nothing acts but the peak of the target, over which PQ has codes."""
        return not self.grade and self.source == self.target

    @cached_property
    def rendered(self) -> bool:
        """Whether a camera, or a received LUT, has rendered the picture: it is shown by channels then."""
        return self.source.state == "output" or any(s.leaves and s.leaves.bounded for s in self.grade)

    @cached_property
    def is_guarded(self) -> bool:
        """Whether what is pushed out of a log encoding is held above its code zero: where a look acts."""
        return bool(self.grade)

    @cached_property
    def metered(self) -> Metered:
        """What the look is told of the still."""
        levels = None
        if self.source.state == "output" and self.source.peak <= 1.0:  # where HDR ended is not known
            red, green, blue = lift_curve(self.source.to_working(np.ones(3))).tolist()
            levels = (red, green, blue)
        return Metered(self.cast, float(self.exposure_stops), self.source, self.target, levels)

    @cached_property
    def grade(self) -> tuple[Step, ...]:
        """The look's own steps, scene light to scene light."""
        return self.look.steps(self.metered)

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """All of them, signal to signal; none if nothing acts."""
        if self._is_still:
            return () if self.is_identity else (clipping(brightest(self.target)),)
        end = signal(self.target, self.limit, rendered=self.rendered, graded=self.is_guarded)
        clipped = (clipping(brightest(self.target)),) if end.bounded else ()
        return (*join(self.grade, signal(self.source), end), *clipped)

    @cached_property
    def limit(self) -> float:
        """How far the look pushes colours past the edge, over the whole input cube (1: not at all)."""
        if self.target.state != "output" or self._is_still:
            return 1.0
        peak = self.target.peak
        shown = (show_to(peak),) if self.rendered else showing_light(peak)
        lifted = lift_from(self.source.peak if self.source.state == "output" else peak)
        start = Space("output-referred light", "in", to_working=(lifted,))
        end = Space("output-referred light", "out", from_working=shown)
        pushed = run(join(self.grade, start, end), self.input_cube()) / peak
        return max(gamut_limit(pushed, self.target.space), self.least_limit)

    @property
    def least_limit(self) -> float:
        """What colours that can lie anywhere need at least: those of scene-referred input."""
        bounded = self.source.state == "output" or any(s.leaves and s.leaves.bounded for s in self.grade)
        return 1.0 if bounded else 1.001

    def input_cube(self) -> Array:
        """Output-referred light (n, 3), linear BT.2020, all over what can come in.

        Scene-referred input has no cube of its own that a picture fills: the display's own colours stand in,
        so that the same look treats log footage, raw files and stills alike.
        """
        edge = np.linspace(0.0, 1.0, 21)
        cube = np.stack(np.meshgrid(edge, edge, edge, indexing="ij"), axis=-1).reshape(-1, 3)
        if self.source.state == "output":
            light = self.source.to_working(cube)
            return light if self.source.peak <= 1.0 else np.minimum(light, self.source.peak)
        return np.asarray(
            tf.srgb_decode(cube) @ matrix_between(self.target.space, WORKING_RGB).T * self.target.peak
        )

    def __call__(self, signal: ArrayLike) -> Array:
        """Code values (..., 3) through the look; output-referred results lie in [0, 1]."""
        return run(self.steps, signal)

    def scene(self, signal: ArrayLike) -> Array:
        """Scene light (..., 3) of code values, before the grade."""
        rgb = self.source.to_working(signal)
        return lift_curve(rgb, self.source.peak) if self.source.state == "output" else rgb


_KEPT = 128
_kept: OrderedDict[Hashable, Transform] = OrderedDict()
_kept_lock = threading.Lock()


def shared_transform(
    look: LookLike, source: Encoding, target: Encoding, cast: Cast | None = None, exposure_stops: float = 0.0
) -> Transform:
    """As ``look.transform``; who asked for the same before gets the same object, with what that worked out.

    Of a still's lattice, its place's pages and its .cube each takes some 4 ms to find out about.
    """
    key = (look.title, look.fingerprint(), source, target, cast, exposure_stops)
    with _kept_lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    made = look.transform(source, target, cast, exposure_stops)
    with _kept_lock:
        kept = _kept.setdefault(key, made)
        while len(_kept) > _KEPT:
            _kept.popitem(last=False)
    return kept
