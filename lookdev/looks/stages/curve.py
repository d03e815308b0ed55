"""Contrast curve: stops in, stops out, around a pivot, the same for each channel.

The slope is ``contrast`` at the pivot. Going down, ``toe`` lets it ease off, so shadows open; going up,
``shoulder`` does, so highlights hold. Far below anything a picture shows (from 8 to 12 stops under the
pivot) the slope returns to one, which makes the curve a plain gain there: it goes through zero in a
straight line and takes negative light without a break. ``black`` lifts the floor in linear light and leaves
the pivot where it is. Every transition is a smoothstep of the stops, so the curve is increasing and C2 in
stops; words are those of sensitometry.
"""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field

from lookdev.compilation import compiled, inlined
from lookdev.looks.elementary import exp2, log2
from lookdev.looks.rendering import MID_GREY, hold_in_gamut
from lookdev.looks.stages.base import Metered, Stage, part_way, within
from lookdev.looks.steps import Step, on_each
from lookdev.text.numbers import signed, times

# Of taste. Spans in stops from the pivot, depths as the share of the slope that is lost at the end.
_TOE_SPAN = 5.0  # down to where a still's shadows end in noise: a shorter toe shows as a knee in faces' shade
_SHOULDER_SPAN = 4.5  # half a stop past display white, so that the slope still eases where highlights end
_TOE_DEPTH = 0.6  # a full toe keeps two fifths of the contrast: shadows open, and don't turn to fog
_SHOULDER_DEPTH = 0.85  # a full shoulder is nearly flat at its end; never quite, so that nothing merges
_LEAST_CONTRAST = 0.25  # to go beyond a look with: under any that can be typed
_FLOOR_FROM = 8.0  # under anything that a display shows as other than black
_FLOOR_SPAN = 4.0  # long enough that no slope from 0.5 to 3 turns to one with a visible bend


class Curve(Stage):
    """``[curve]``: ``contrast`` 0.5 to 3; ``toe`` 0 to 1, opens the shadows; ``shoulder`` 0 to 1, holds the
    highlights; ``black`` 0 to 0.1, lifts the floor; ``pivot`` 0.02 to 1, the light that stays."""

    contrast: Annotated[float, Field(ge=0.5, le=3)] = 1.0
    toe: Annotated[float, Field(ge=0, le=1)] = 0.0
    shoulder: Annotated[float, Field(ge=0, le=1)] = 0.0
    black: Annotated[float, Field(ge=0, le=0.1)] = 0.0
    pivot: Annotated[float, Field(ge=0.02, le=1)] = MID_GREY

    def part_way(self, other: Self, share: float) -> Self:
        """The stops that come out go straight from one curve's to the other's: slopes do, and what toe and
        shoulder take from them; the pivot is that of the curve that acts, or in the logarithm between."""
        contrast = max(part_way(self.contrast, other.contrast, share), _LEAST_CONTRAST)
        toe = part_way(self.contrast * self.toe, other.contrast * other.toe, share) / contrast
        shoulder = part_way(self.contrast * self.shoulder, other.contrast * other.shoulder, share) / contrast
        pivot = self.pivot ** (1 - share) * other.pivot**share
        ends = {0.0: self, 1.0: other}
        if share in ends:
            return ends[share]
        if self.is_identity or other.is_identity:
            pivot = other.pivot if self.is_identity else self.pivot
        found = {"contrast": contrast, "toe": toe, "shoulder": shoulder, "pivot": pivot}
        found["black"] = part_way(self.black, other.black, share)
        fields = type(self).model_fields
        return self.model_copy(update={k: within(v, fields[k].metadata) for k, v in found.items()})

    @property
    def is_identity(self) -> bool:
        return self.contrast == 1.0 and self.toe == self.shoulder == self.black == 0.0

    def words(self) -> list[str]:
        out = []
        if self.contrast != 1.0:
            out.append(f"contrast {times(self.contrast)}")
        if self.toe:
            out.append(f"toe {times(self.toe)} (opens the shadows)")
        if self.shoulder:
            out.append(f"shoulder {times(self.shoulder)} (holds the highlights)")
        if self.black:
            out.append(f"black {signed(self.black, 4)}")
        return out

    def step(self, metered: Metered) -> Step | None:
        """The curve on scene light, channel by channel.

        Of light that no camera has rendered, deep negatives are held within the working gamut first: a
        shoulder holds the other channels back and not the negative one, which turned bright blue lamps black.
        """
        if self.is_identity:
            return None
        toe_loss = self.contrast * _TOE_DEPTH * self.toe
        shoulder_loss = self.contrast * _SHOULDER_DEPTH * self.shoulder
        black = min(self.black, 0.9 * self.pivot)
        numbers = (self.contrast, toe_loss, shoulder_loss, self.pivot, black)
        if metered.source is not None and metered.source.state == "scene":
            return Step(_bend_held, numbers)
        return on_each(_bend, numbers)


@inlined
def _ramp_integral(distance, span):  # type: ignore[no-untyped-def]
    """Integral from 0 to ``distance`` (>= 0) of a smoothstep that rises over ``span``."""
    t = min(distance * (1.0 / span), 1.0)
    return span * (t * t * t * (1.0 - t * 0.5)) + max(distance - span, 0.0)


@inlined
def _curve_stops(stops, contrast, toe_loss, shoulder_loss):  # type: ignore[no-untyped-def]
    """Stops from the pivot out, for stops from the pivot in."""
    down, up = max(-stops, 0.0), max(stops, 0.0)
    out = contrast * stops + toe_loss * _ramp_integral(down, _TOE_SPAN)
    out -= shoulder_loss * _ramp_integral(up, _SHOULDER_SPAN)
    slope_below = contrast - toe_loss
    return out - (1.0 - slope_below) * _ramp_integral(max(down - _FLOOR_FROM, 0.0), _FLOOR_SPAN)


@compiled
def _bend(x, contrast, toe_loss, shoulder_loss, pivot, black):  # type: ignore[no-untyped-def]
    depth = _FLOOR_FROM + _FLOOR_SPAN
    floor, lift, per_pivot = pivot * 2.0**-depth, 1.0 - black / pivot, 1.0 / pivot
    gain = exp2(_curve_stops(-depth, contrast, toe_loss, shoulder_loss) + depth)  # below the floor
    for i in range(x.size):
        v = x[i]
        stops = log2(max(v, floor) * per_pivot)
        high = pivot * exp2(_curve_stops(stops, contrast, toe_loss, shoulder_loss))
        below = min(v, 0.0)
        low = min(v, floor) * gain - below * (gain - 1.0) * (-below / (floor - below))
        x[i] = black + lift * (low if v <= floor else high)


@compiled
def _bend_held(x, y, z, contrast, toe_loss, shoulder_loss, pivot, black):  # type: ignore[no-untyped-def]
    hold_in_gamut(x, y, z)
    _bend(x, contrast, toe_loss, shoulder_loss, pivot, black)
    _bend(y, contrast, toe_loss, shoulder_loss, pivot, black)
    _bend(z, contrast, toe_loss, shoulder_loss, pivot, black)
