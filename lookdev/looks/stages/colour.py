"""Colour: saturation, and the ten Munsell hue families, in Oklab.

Saturation scales chroma at constant lightness. A family's adjustment is the family's own at its middle and
runs smoothly, without a step or a turn back, into that of its neighbours. All of it sets in gently from grey,
which has no hue: nowhere does a colour's chroma grow much faster than the factor says.
"""

from __future__ import annotations

from typing import Annotated, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from lookdev.colorimetry.munsell import FAMILIES, FAMILY_HUE_DEGREES, family_curves
from lookdev.compilation import compiled
from lookdev.looks.elementary import angle, cosine, sine
from lookdev.looks.stages.base import Metered, Parameters, Stage
from lookdev.looks.steps import OKLAB, Step, mixing
from lookdev.text.numbers import signed, times

Array = NDArray[np.float64]

_RADIAN = np.pi / 180.0
HALF_CHROMA = 0.08
"""Oklab chroma at which half of a family's adjustment applies: brick's; three quarters apply at 0.14, a
quarter at skin's 0.05. Gentler than taste alone asks for: a lattice of 33 points has cells half a stop wide.
With 0.03 it was 0.62 CIEDE2000 off on the sample scout on the mean and 1.86 at 95%, with this 0.38 and 1.15
(Slack water of that day, ACEScct to BT.709)."""


class Family(Parameters):
    """One hue family: ``hue_deg``, its turn, -60 to 60 degrees; ``chroma``, a factor, 0 to 4; ``lightness``,
    a share, -0.3 to 0.3 (0.1: a tenth lighter)."""

    hue_deg: Annotated[float, Field(ge=-60, le=60)] = 0.0
    chroma: Annotated[float, Field(ge=0, le=4)] = 1.0
    lightness: Annotated[float, Field(ge=-0.3, le=0.3)] = 0.0
    factors: ClassVar[frozenset[str]] = frozenset({"chroma"})

    def words(self) -> list[str]:
        out = []
        if self.chroma != 1.0:
            out.append(f"chroma × {times(self.chroma)}")
        if self.hue_deg:
            out.append(f"hue {signed(self.hue_deg, 1)}°")
        if self.lightness:
            out.append(f"lightness {signed(self.lightness, 3)}")
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
        """(10, 14): hue in degrees, one over the degrees to the next family, and the coefficients of the
        cubics that turn, chroma factor and lightness are from there to it, the highest power first."""
        rows = [getattr(self, name) for name in FAMILIES]
        curves = family_curves(np.array([[r.hue_deg, r.chroma, r.lightness] for r in rows]))
        widths = np.diff([*FAMILY_HUE_DEGREES, FAMILY_HUE_DEGREES[0] + 360.0])
        return np.column_stack([FAMILY_HUE_DEGREES, 1.0 / widths, curves.reshape(10, 12)])

    def words(self) -> list[str]:
        rows = ((name, getattr(self, name).words()) for name in FAMILIES)
        return [f"{name}: {', '.join(said)}" for name, said in rows if said]


class Colour(Stage):
    """``[colour]``: ``saturation`` 0 to 3, and ``families``."""

    saturation: Annotated[float, Field(ge=0, le=3)] = 1.0
    families: Families = Families()
    factors: ClassVar[frozenset[str]] = frozenset({"saturation"})

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
        from_hue, per_degree = table[0, 0], table[0, 1]
        t3, t2, t1, t0 = table[0, 2], table[0, 3], table[0, 4], table[0, 5]
        c3, c2, c1, c0 = table[0, 6], table[0, 7], table[0, 8], table[0, 9]
        v3, v2, v1, v0 = table[0, 10], table[0, 11], table[0, 12], table[0, 13]
        for k in range(1, 10):  # no looking up at a place: so several colours go at once
            past = turned >= table[k, 0]
            from_hue, per_degree = table[k, 0] if past else from_hue, table[k, 1] if past else per_degree
            t3, t2 = table[k, 2] if past else t3, table[k, 3] if past else t2
            t1, t0 = table[k, 4] if past else t1, table[k, 5] if past else t0
            c3, c2 = table[k, 6] if past else c3, table[k, 7] if past else c2
            c1, c0 = table[k, 8] if past else c1, table[k, 9] if past else c0
            v3, v2 = table[k, 10] if past else v3, table[k, 11] if past else v2
            v1, v0 = table[k, 12] if past else v1, table[k, 13] if past else v0
        u = (turned - from_hue) * per_degree
        turn, factor = t0 + u * (t1 + u * (t2 + u * t3)), c0 + u * (c1 + u * (c2 + u * c3))
        lightness = v0 + u * (v1 + u * (v2 + u * v3))
        square = a * a + b * b
        coloured = square / (square + HALF_CHROMA * HALF_CHROMA)
        turn, scale = turn * coloured * _RADIAN, saturation * (1.0 + (factor - 1.0) * coloured)
        c, s = cosine(turn) * scale, sine(turn) * scale
        x[i] *= 1.0 + lightness * coloured
        y[i], z[i] = a * c - b * s, a * s + b * c
