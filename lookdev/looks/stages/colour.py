"""Colour: saturation, and the ten Munsell hue families, in Oklab.

Saturation scales chroma at constant lightness. A family's adjustment is strongest at its middle and fades
smoothly into its neighbours; all of it fades out towards grey, which has no hue.
"""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from lookdev.colorimetry.munsell import FAMILIES, FAMILY_HUE_DEGREES
from lookdev.compilation import compiled
from lookdev.looks.elementary import angle, cosine, sine
from lookdev.looks.stages.base import Metered, Parameters, Stage
from lookdev.looks.steps import OKLAB, Step, mixing
from lookdev.text.numbers import signed, times

Array = NDArray[np.float64]

_RADIAN = np.pi / 180.0
FULL_CHROMA = 0.06
"""Oklab chroma from which a family's adjustment applies in full. Of taste: weathered paint has it, and the
noise of a grey wall has not, so that colours move and greys don't."""


class Family(Parameters):
    """One hue family: ``shift`` -60 to 60 degrees, ``chroma`` factor 0 to 2, ``value`` -0.3 to 0.3."""

    shift: Annotated[float, Field(ge=-60, le=60)] = 0.0
    chroma: Annotated[float, Field(ge=0, le=2)] = 1.0
    value: Annotated[float, Field(ge=-0.3, le=0.3)] = 0.0

    def words(self) -> list[str]:
        out = []
        if self.chroma != 1.0:
            out.append(f"chroma × {times(self.chroma)}")
        if self.shift:
            out.append(f"hue {signed(self.shift, 1)}°")
        if self.value:
            out.append(f"value {signed(self.value, 3)}")
        return out


class Families(Parameters):
    """``[colour.families.X]`` for X one of R YR Y GY G BG B PB P RP."""

    R: Family = Family()
    YR: Family = Family()
    Y: Family = Family()
    GY: Family = Family()
    G: Family = Family()
    BG: Family = Family()
    B: Family = Family()
    PB: Family = Family()
    P: Family = Family()
    RP: Family = Family()

    def table(self) -> Array:
        """(11, 4): hue and shift in degrees, chroma factor, value; the first family again at the end."""
        rows = [getattr(self, name) for name in (*FAMILIES, FAMILIES[0])]
        hues = (*FAMILY_HUE_DEGREES, FAMILY_HUE_DEGREES[0] + 360.0)
        return np.array([[h, r.shift, r.chroma, r.value] for h, r in zip(hues, rows, strict=True)])

    def words(self) -> list[str]:
        rows = ((name, getattr(self, name).words()) for name in FAMILIES)
        return [f"{name}: {', '.join(said)}" for name, said in rows if said]


class Colour(Stage):
    """``[colour]``: ``saturation`` 0 to 3, and ``families``."""

    saturation: Annotated[float, Field(ge=0, le=3)] = 1.0
    families: Families = Families()

    def words(self) -> list[str]:
        out = [f"saturation {times(self.saturation)}"] if self.saturation != 1.0 else []
        return out + self.families.words()

    def step(self, metered: Metered) -> Step | None:
        """The families, then saturation, at each colour's own hue and chroma."""
        if self.is_identity:
            return None
        if self.families.is_identity:
            return mixing(np.diag([1.0, self.saturation, self.saturation]), OKLAB)
        return Step(_move_families, (self.families.table(), self.saturation), OKLAB)


@compiled
def _move_families(x, y, z, table, saturation):  # type: ignore[no-untyped-def]
    first = table[0, 0]
    for i in range(x.size):
        a, b = y[i], z[i]
        turned = angle(b, a) / _RADIAN
        turned = turned + 360.0 if turned < first else turned
        h0, s0, c0, v0 = table[0, 0], table[0, 1], table[0, 2], table[0, 3]
        h1, s1, c1, v1 = table[1, 0], table[1, 1], table[1, 2], table[1, 3]
        for k in range(1, 10):  # no looking up at a place: so several colours go at once
            past = turned >= table[k, 0]
            h0, h1 = table[k, 0] if past else h0, table[k + 1, 0] if past else h1
            s0, s1 = table[k, 1] if past else s0, table[k + 1, 1] if past else s1
            c0, c1 = table[k, 2] if past else c0, table[k + 1, 2] if past else c1
            v0, v1 = table[k, 3] if past else v0, table[k + 1, 3] if past else v1
        rising = 0.5 + 0.5 * sine(np.pi * ((turned - h0) / (h1 - h0) - 0.5))
        shift, factor, value = s0 + rising * (s1 - s0), c0 + rising * (c1 - c0), v0 + rising * (v1 - v0)
        rise = min(np.sqrt(a * a + b * b) / FULL_CHROMA, 1.0)
        coloured = rise * rise * (3.0 - 2.0 * rise)
        turn, scale = shift * coloured * _RADIAN, saturation * (1.0 + (factor - 1.0) * coloured)
        c, s = cosine(turn) * scale, sine(turn) * scale
        x[i] *= 1.0 + value * coloured
        y[i], z[i] = a * c - b * s, a * s + b * c
