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
from lookdev.compilation import compiled, inlined
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
        """(14, 10), a column a family: hue in degrees, one over the degrees to the next family, and the
        coefficients of the cubics that turn, chroma factor and lightness are from there to it, the highest
        power first."""
        rows = [getattr(self, name) for name in FAMILIES]
        curves = family_curves(np.array([[r.hue_deg, r.chroma, r.lightness] for r in rows]))
        widths = np.diff([*FAMILY_HUE_DEGREES, FAMILY_HUE_DEGREES[0] + 360.0])
        return np.vstack([FAMILY_HUE_DEGREES, 1.0 / widths, curves.reshape(10, 12).T])

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


_U = np.uint64


@inlined
def _ten(row):  # type: ignore[no-untyped-def]
    """A row as plain numbers, which a loop need not read again after it has written."""
    return (row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], row[8], row[9])


@inlined
def _past(turned, start):  # type: ignore[no-untyped-def]
    return _U(0) - _U(turned >= start)


@inlined
def _passed(turned, s):  # type: ignore[no-untyped-def]
    """All bits set for each family but the first that a hue lies past, none for the others."""
    low = (_past(turned, s[1]), _past(turned, s[2]), _past(turned, s[3]), _past(turned, s[4]))
    high = (_past(turned, s[5]), _past(turned, s[6]), _past(turned, s[7]), _past(turned, s[8]))
    return (*low, *high, _past(turned, s[9]))


@inlined
def _of_last(v, p):  # type: ignore[no-untyped-def]
    """A number of the last family that was passed, from the bits in which each differs from the last.

    Without a branch or a place to look up, so that several colours go at once.
    """
    low = v[0] ^ (p[0] & v[1]) ^ (p[1] & v[2]) ^ (p[2] & v[3]) ^ (p[3] & v[4])
    high = (p[4] & v[5]) ^ (p[5] & v[6]) ^ (p[6] & v[7]) ^ (p[7] & v[8]) ^ (p[8] & v[9])
    return _U(low ^ high).view(np.float64)


@inlined
def _cubic_of_last(u, v3, v2, v1, v0, p):  # type: ignore[no-untyped-def]
    return _of_last(v0, p) + u * (_of_last(v1, p) + u * (_of_last(v2, p) + u * _of_last(v3, p)))


@compiled
def _move_families(x, y, z, table, saturation):  # type: ignore[no-untyped-def]
    bits = np.empty(table.shape, dtype=np.uint64)
    for j in range(14):
        for k in range(10):
            bits[j, k] = np.float64(table[j, k]).view(np.uint64)
        for k in range(9, 0, -1):
            bits[j, k] ^= bits[j, k - 1]
    starts, from_hue, per_degree = _ten(table[0]), _ten(bits[0]), _ten(bits[1])
    t3, t2, t1, t0 = _ten(bits[2]), _ten(bits[3]), _ten(bits[4]), _ten(bits[5])
    c3, c2, c1, c0 = _ten(bits[6]), _ten(bits[7]), _ten(bits[8]), _ten(bits[9])
    v3, v2, v1, v0 = _ten(bits[10]), _ten(bits[11]), _ten(bits[12]), _ten(bits[13])
    for i in range(x.size):
        a, b = y[i], z[i]
        turned = angle(b, a) / _RADIAN
        turned = turned + 360.0 if turned < starts[0] else turned
        p = _passed(turned, starts)
        u = (turned - _of_last(from_hue, p)) * _of_last(per_degree, p)
        turn, factor = _cubic_of_last(u, t3, t2, t1, t0, p), _cubic_of_last(u, c3, c2, c1, c0, p)
        lightness = _cubic_of_last(u, v3, v2, v1, v0, p)
        square = a * a + b * b
        coloured = square / (square + HALF_CHROMA * HALF_CHROMA)
        turn, scale = turn * coloured * _RADIAN, saturation * (1.0 + (factor - 1.0) * coloured)
        c, s = cosine(turn) * scale, sine(turn) * scale
        x[i] *= 1.0 + lightness * coloured
        y[i], z[i] = a * c - b * s, a * s + b * c
