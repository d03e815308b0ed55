"""Colours before and after a grade, and how far a look's answer lies from what is wanted, near CIEDE2000."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.difference import ciede2000, lab_from_working, lab_from_xyz
from lookdev.colorimetry.encodings import Encoding, linear
from lookdev.looks.learn.many import run_many
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline
from lookdev.looks.stages.base import Metered
from lookdev.looks.steps import CLIP, Step, run

Array = NDArray[np.float64]


FULL, EMPTY = 254.4 / 255, 0.6 / 255
"""Code values from which a channel may have been cut."""


@dataclass(frozen=True, eq=False)
class Colours:
    """What became of the colours of one frame.

    Attributes
    ----------
    source, target : encodings of what went in and of what came out, which is output-referred.
    before, after : signal (n, 3) in them.
    weight : (n,) how much each counts; their sum is 1.
    guesses : how many of them, the last ones, are not of the frame but guessed (``rest.beyond``).
    beyond : what they were guessed by: offsets (n, n, n, 3) of ``before``, or None.
    """

    source: Encoding
    target: Encoding
    before: Array
    after: Array
    weight: Array
    guesses: int = 0
    beyond: Array | None = None

    @cached_property
    def wanted(self) -> Array:
        """CIELAB (n, 3) of what came out."""
        return lab(self.after, self.target)

    @cached_property
    def in_light(self) -> Colours:
        """The same, to light of the target's display instead of its code values."""
        name = f"{self.target.name}, light"
        return replace(self, target=replace(self.target, name=name, decode=linear, encode=linear))

    @cached_property
    def light(self) -> Array:
        """Light (n, 3) of what came out, linear, in the target's primaries."""
        return np.asarray(self.target.decode(self.after))

    @cached_property
    def is_full(self) -> NDArray[np.bool_]:
        """Channels (n, 3) that may have been cut at their fullest."""
        return np.asarray(self.after >= FULL)

    @cached_property
    def is_empty(self) -> NDArray[np.bool_]:
        """Channels (n, 3) that may have been cut at nothing."""
        return np.asarray(self.after <= EMPTY)

    @cached_property
    def metered(self) -> Metered:
        """What a look is told of the frame."""
        return Pipeline(Look(title="as it stood"), self.source, self.target).metered

    @cached_property
    def metric(self) -> Array:
        """(n, 3, 3): CIELAB differences to differences of about CIEDE2000, by the wanted colours."""
        return near_ciede2000(self.wanted)


def lab(signal: ArrayLike, encoding: Encoding) -> Array:
    """CIELAB (..., 3) of code values of an output-referred encoding."""
    return lab_from_working(encoding.to_working(signal))


def near_ciede2000(colours: Array) -> Array:
    """Matrices (n, 3, 3) that make of a small CIELAB difference from ``colours`` (n, 3) one of CIEDE2000.

    Source of the weighting functions: CIE 142:2001, as in ``colorimetry.difference``; their values at the
    colour itself make of it a quadratic form.

    >>> step = np.array([0.5, 0.3, -0.2])
    >>> one = np.array([[55.0, 20.0, 14.0]])
    >>> near = np.linalg.norm(near_ciede2000(one)[0] @ step)
    >>> bool(abs(near - ciede2000(one[0], one[0] + step)) < 0.01)
    True
    """
    lightness, a, b = colours[:, 0], colours[:, 1], colours[:, 2]
    chroma_7 = np.hypot(a, b) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(chroma_7 / (chroma_7 + 25.0**7))
    a = a * stretch
    chroma = np.hypot(a, b)
    safe = np.maximum(chroma, 1e-9)
    cos, sin = np.where(chroma > 1e-6, a / safe, 1.0), np.where(chroma > 1e-6, b / safe, 0.0)
    hue = np.degrees(np.arctan2(b, a)) % 360
    t = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    turn = -np.sin(np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2))))
    both = turn * 2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    out = np.zeros((len(colours), 3, 3))
    out[:, 0, 0] = 1 / s_l
    row_c = np.stack([cos * stretch / s_c, sin / s_c], axis=1)
    row_h = np.stack([-sin * stretch / s_h, cos / s_h], axis=1)
    half = np.clip(both / 2, -0.999, 0.999)[:, None]
    out[:, 1, 1:] = row_c + half * row_h
    out[:, 2, 1:] = np.sqrt(1 - half**2) * row_h
    return out


def thinned(colours: Colours, every: int) -> Colours:
    """Every so manieth colour, guesses with the others."""
    some = slice(None, None, every)
    weight = colours.weight[some]
    return replace(
        colours, before=colours.before[some], after=colours.after[some], weight=weight / weight.sum()
    )


def joined(several: Sequence[Colours]) -> list[Colours]:
    """Frames of the same encodings as one; each frame counts alike."""
    found: list[Colours] = []
    for each in several:
        at = next(
            (k for k, one in enumerate(found) if (one.source, one.target) == (each.source, each.target)), None
        )
        if at is None:
            found.append(each)
            continue
        one = found[at]
        found[at] = Colours(
            one.source,
            one.target,
            np.concatenate([one.before, each.before]),
            np.concatenate([one.after, each.after]),
            np.concatenate([one.weight, each.weight]),
        )
    return found


def lights_graded(looks: Sequence[Look], colours: Colours, limit: float) -> Array:
    """As :func:`graded`, by several looks, but light of the target's display, linear (looks, n, 3): for the
    many calls of a fit.

    A channel that is full in ``colours.after`` may have been meant brighter, one that is empty darker: what
    goes beyond is no fault there.
    """
    found = run_many([_steps(look, colours.in_light, limit) for look in looks], colours.before)
    found = np.where(colours.is_full, np.minimum(found, colours.light), found)
    return np.where(colours.is_empty, np.maximum(found, colours.light), found)


def lab_of_light(light: Array, encoding: Encoding) -> Array:
    """CIELAB (n, 3) of linear light of an encoding's primaries."""
    return lab_from_xyz(light @ encoding.space.to_xyz.T)


def graded(look: Look, colours: Colours, limit: float | None = None) -> Array:
    """What the look makes of ``colours.before``: signal (n, 3), not clipped.

    ``limit`` : the gamut limit to take instead of measuring it over the whole input cube, which takes longer
    than all the rest.
    """
    return run(_steps(look, colours, limit), colours.before)


def _steps(look: Look, colours: Colours, limit: float | None) -> tuple[Step, ...]:
    through = Pipeline(look, colours.source, colours.target)
    vars(through)["metered"] = colours.metered
    if limit is not None:
        vars(through)["limit"] = limit
    steps = through.steps
    return steps[:-1] if steps and steps[-1] is CLIP else steps


def gamut_limit(look: Look, colours: Colours) -> float:
    """How far the look pushes colours past the edge of the frame's encoding."""
    return Pipeline(look, colours.source, colours.target).limit


def differences(signal: Array, colours: Colours) -> Array:
    """CIEDE2000 (n,) of an answer, clipped as a picture is, to what was wanted."""
    return ciede2000(lab(np.clip(signal, 0.0, 1.0), colours.target), colours.wanted)


def mean_difference(look: Look, several: Sequence[Colours]) -> float:
    """Weighted mean CIEDE2000 over all frames, each counting alike."""
    found = [float(each.weight @ differences(graded(look, each, None), each)) for each in several]
    return float(np.mean(found))
