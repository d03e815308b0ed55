"""Contrast curve: stops in, stops out, around a pivot, the same for each channel.

The slope is ``contrast`` at the pivot. Going down, ``toe`` lets it ease off, so shadows open; going up,
``shoulder`` does, so highlights hold. Far below anything a picture shows (from 8 to 12 stops under the
pivot) the slope returns to one, which makes the curve a plain gain there: it goes through zero in a
straight line and takes negative light without a break. ``black`` lifts the floor in linear light and leaves
the pivot where it is. Every transition is a smoothstep of the stops, so the curve is increasing and C2 in
stops; words are those of sensitometry.
"""

from __future__ import annotations

from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from lookdev.looks.rendering import MID_GREY
from lookdev.looks.stages.base import Parameters, signed, times

Array = NDArray[np.float64]

_TOE_SPAN, _SHOULDER_SPAN = 5.0, 4.5
_TOE_DEPTH, _SHOULDER_DEPTH = 0.6, 0.85
_FLOOR_FROM, _FLOOR_SPAN = 8.0, 4.0


class Curve(Parameters):
    """``[curve]``: ``contrast`` 0.5 to 3; ``toe`` and ``shoulder`` 0 to 1;
    ``black`` 0 to 0.1; ``pivot`` 0.02 to 1."""

    contrast: Annotated[float, Field(ge=0.5, le=3)] = 1.0
    toe: Annotated[float, Field(ge=0, le=1)] = 0.0
    shoulder: Annotated[float, Field(ge=0, le=1)] = 0.0
    black: Annotated[float, Field(ge=0, le=0.1)] = 0.0
    pivot: Annotated[float, Field(ge=0.02, le=1)] = MID_GREY

    @property
    def is_identity(self) -> bool:
        return self.contrast == 1.0 and self.toe == self.shoulder == self.black == 0.0

    def words(self) -> list[str]:
        out = []
        if self.contrast != 1.0:
            out.append(f"contrast {times(self.contrast)}")
        if self.toe:
            out.append(f"toe {times(self.toe)}")
        if self.shoulder:
            out.append(f"shoulder {times(self.shoulder)}")
        if self.black:
            out.append(f"black {signed(self.black, 4)}")
        return out


class CurveShape(NamedTuple):
    """A curve's numbers: below ``floor`` it is a gain of ``floor_gain``; ``spans`` are those of its ramps, in
    stops: toe, shoulder, start of the floor, floor."""

    contrast: float
    toe_loss: float
    shoulder_loss: float
    pivot: float
    floor: float
    floor_gain: float
    black: float
    spans: tuple[float, float, float, float] = (_TOE_SPAN, _SHOULDER_SPAN, _FLOOR_FROM, _FLOOR_SPAN)


def _losses(parameters: Curve) -> tuple[float, float]:
    """By how much the slope is less at the ends of the toe and of the shoulder."""
    c = parameters.contrast
    return c * _TOE_DEPTH * parameters.toe, c * _SHOULDER_DEPTH * parameters.shoulder


def shape_of(parameters: Curve) -> CurveShape:
    """The numbers that :func:`apply_curve` works with."""
    pivot, (toe_loss, shoulder_loss) = parameters.pivot, _losses(parameters)
    floor = pivot * 2.0 ** -(_FLOOR_FROM + _FLOOR_SPAN)
    return CurveShape(
        contrast=parameters.contrast,
        toe_loss=toe_loss,
        shoulder_loss=shoulder_loss,
        pivot=pivot,
        floor=floor,
        floor_gain=2.0 ** float(curve_stops(np.array(np.log2(floor / pivot)), parameters)) * pivot / floor,
        black=min(parameters.black, 0.9 * pivot),
    )


def _ramp_integral(distance: Array, span: float) -> Array:
    """Integral from 0 to ``distance`` (>= 0) of a smoothstep that rises over ``span``."""
    t = np.clip(distance / span, 0.0, 1.0)
    return np.asarray(span * (t * t * t * (1.0 - t / 2)) + np.maximum(distance - span, 0.0))


def curve_stops(stops: Array, parameters: Curve) -> Array:
    """Stops from the pivot out, for stops from the pivot in; any shape.

    >>> curve_stops(np.array([-1.0, 0.0, 1.0]), Curve(contrast=1.5)).tolist()
    [-1.5, 0.0, 1.5]
    """
    c = parameters.contrast
    down, up = np.maximum(-stops, 0.0), np.maximum(stops, 0.0)
    toe_loss, shoulder_loss = _losses(parameters)
    out = c * stops
    if toe_loss:
        out = out + toe_loss * _ramp_integral(down, _TOE_SPAN)
    if shoulder_loss:
        out = out - shoulder_loss * _ramp_integral(up, _SHOULDER_SPAN)
    slope_below = c - toe_loss
    if down.max(initial=0.0) > _FLOOR_FROM:
        out = out - (1.0 - slope_below) * _ramp_integral(np.maximum(down - _FLOOR_FROM, 0.0), _FLOOR_SPAN)
    return np.asarray(out)


def apply_curve(scene: Array, parameters: Curve) -> Array:
    """Scene light (...,) through the curve; negatives pass on its straight part.

    >>> apply_curve(np.array([0.0, 0.18]), Curve(contrast=1.3)).round(6).tolist()
    [0.0, 0.18]
    """
    if parameters.is_identity:
        return scene
    shape = shape_of(parameters)
    pivot, floor, gain, black = shape.pivot, shape.floor, shape.floor_gain, shape.black
    high = pivot * np.exp2(curve_stops(np.log2(np.maximum(scene, floor) / pivot), parameters))
    below = np.minimum(scene, 0.0)
    low = np.minimum(scene, floor) * gain - below * (gain - 1.0) * (-below / (floor - below))
    out = np.where(scene <= floor, low, high)
    return np.asarray(black + out * (1.0 - black / pivot)) if black else np.asarray(out)
