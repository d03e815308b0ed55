"""Tones: light of one level pulled towards a hue, in Oklab, at constant lightness.

A tone stands somewhere on a scale of stops about mid grey, reaches so many stops to either side, and fades
smoothly to nothing there. Tones that stand as far apart as they reach add up to a whole between them. Every
pull fades out towards black, which stays black, and leaves negative light alone. Nor does it move a pure
lamp's light: pushed out of the gamut and let back as the tone fades, its least channel passed through
nothing, and took four times a log encoding's own step there.
"""

from __future__ import annotations

from typing import Annotated, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, field_validator

from lookdev.colorimetry.munsell import hue_degrees, parse_hue
from lookdev.colorimetry.oklab import LAB_TO_LMS, LMS_TO_WORKING
from lookdev.compilation import compiled
from lookdev.errors import RequestError
from lookdev.looks.elementary import log2
from lookdev.looks.rendering import MID_GREY
from lookdev.looks.stages.base import Metered, Parameters, Stage, part_way, within
from lookdev.looks.steps import OKLAB, Step
from lookdev.text.numbers import signed, times

Array = NDArray[np.float64]

_BLACK_FROM = 0.22  # Oklab lightness four stops under mid grey: the deepest in which a hue can still be told
_FAINTEST = 1e-4  # Oklab lightness under which no stops are counted: 37 of them under mid grey
_PURE = 0.08  # least channel by largest, linear BT.2020: nearly all paint is less pure, few lamps are
_NO_LIGHT = 1e-9
_LOG2_MID_GREY = float(np.log2(MID_GREY))
MOST_TONES = 12


class Tone(Parameters):
    """``[[tone]]``: ``at_stops`` -8 to 8 about mid grey (display white is 4), ``reach_stops`` 1 to 12 to
    either side, ``towards`` a Munsell hue (``5B``, ``7.5YR``), ``chroma`` 0 to 0.15, in Oklab."""

    at_stops: Annotated[float, Field(ge=-8, le=8)]
    reach_stops: Annotated[float, Field(ge=1, le=12)] = 2.0
    towards: str
    chroma: Annotated[float, Field(ge=0, le=0.15)]

    @field_validator("towards")
    @classmethod
    def _munsell(cls, text: str) -> str:
        try:
            parse_hue(text)
        except ValueError:
            raise ValueError("a Munsell hue such as 5B or 7.5YR") from None
        return text

    @property
    def is_identity(self) -> bool:
        return self.chroma == 0.0

    @property
    def where(self) -> str:
        """Where it stands, in words: ``3 stops under mid grey``."""
        if not self.at_stops:
            return "mid grey"
        plural = "" if abs(self.at_stops) <= 1 else "s"
        side = "under" if self.at_stops < 0 else "over"
        return f"{times(abs(self.at_stops))} stop{plural} {side} mid grey"

    def words(self) -> list[str]:
        if self.is_identity:
            return []
        return [f"{self.where}, ±{times(self.reach_stops)}: {self.towards} {signed(self.chroma, 3)}"]

    def row(self) -> tuple[float, float, float, float]:
        """Stop it stands at, stops it reaches, and what is added to Oklab a, b at full weight."""
        turned = np.radians(hue_degrees(self.towards))
        pull = self.chroma * np.array([np.cos(turned), np.sin(turned)])
        return (self.at_stops, self.reach_stops, float(pull[0]), float(pull[1]))


class Tones(Stage):
    """All tones of a look: their pulls add, each with its weight at a colour's lightness."""

    tones: tuple[Tone, ...] = ()

    @property
    def is_identity(self) -> bool:
        return all(tone.is_identity for tone in self.tones)

    def words(self) -> list[str]:
        return [phrase for tone in self.tones for phrase in tone.words()]

    def part_way(self, other: Self, share: float) -> Self:
        """Tones that stand at the same place and pull the same way become one; others come and go.

        Raises
        ------
        RequestError : there are too many together.
        """
        pulls: dict[tuple[float, float, str], list[float]] = {}
        for which, tones in enumerate((self.tones, other.tones)):
            for tone in tones:
                place = (tone.at_stops, tone.reach_stops, tone.towards)
                pulls.setdefault(place, [0.0, 0.0])[which] += tone.chroma
        limits, found = Tone.model_fields["chroma"].metadata, []
        for (at, reach, towards), (one, two) in pulls.items():
            chroma = within(part_way(one, two, share), limits)
            if chroma:
                found.append(Tone(at_stops=at, reach_stops=reach, towards=towards, chroma=chroma))
        if len(found) > MOST_TONES:
            raise RequestError("too many tones together", found=len(found), wanted=f"at most {MOST_TONES}")
        return self.model_copy(update={"tones": tuple(found)})

    def step(self, metered: Metered) -> Step | None:
        """One kernel over the tones that pull."""
        rows = [tone.row() for tone in self.tones if not tone.is_identity]
        ways = (np.asarray(LAB_TO_LMS), np.asarray(LMS_TO_WORKING))
        return Step(_pull, (np.array(rows), *ways), OKLAB) if rows else None


@compiled
def _pull(x, y, z, rows, m, d):  # type: ignore[no-untyped-def]
    m00, m01, m02, m10, m11, m12 = m[0, 0], m[0, 1], m[0, 2], m[1, 0], m[1, 1], m[1, 2]
    m20, m21, m22 = m[2, 0], m[2, 1], m[2, 2]
    d00, d01, d02, d10, d11, d12 = d[0, 0], d[0, 1], d[0, 2], d[1, 0], d[1, 1], d[1, 2]
    d20, d21, d22 = d[2, 0], d[2, 1], d[2, 2]
    takes = np.empty(x.size)
    for i in range(x.size):
        u = m00 * x[i] + m01 * y[i] + m02 * z[i]
        v = m10 * x[i] + m11 * y[i] + m12 * z[i]
        w = m20 * x[i] + m21 * y[i] + m22 * z[i]
        u, v, w = u * u * u, v * v * v, w * w * w
        red, green = d00 * u + d01 * v + d02 * w, d10 * u + d11 * v + d12 * w
        blue = d20 * u + d21 * v + d22 * w
        low, high = min(min(red, green), blue), max(max(red, green), blue)
        t = min(max(low / (_PURE * max(high, _NO_LIGHT)), 0.0), 1.0)
        takes[i] = t * t * (3.0 - 2.0 * t)
    for k in range(rows.shape[0]):
        at, reach, a, b = rows[k, 0], rows[k, 1], rows[k, 2], rows[k, 3]
        for i in range(x.size):
            stops = 3.0 * log2(max(x[i], _FAINTEST)) - _LOG2_MID_GREY
            off = min(abs(stops - at) / reach, 1.0)
            rise = min(max(x[i] / _BLACK_FROM, 0.0), 1.0)
            weight = (1.0 - off * off * (3.0 - 2.0 * off)) * (rise * rise * (3.0 - 2.0 * rise)) * takes[i]
            y[i] += weight * a
            z[i] += weight * b
