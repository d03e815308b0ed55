"""Colour: saturation, and the ten Munsell hue families, in Oklab.

Saturation scales chroma at constant lightness. A family's adjustment is strongest at its middle and fades
smoothly into its neighbours; all of it fades out towards grey, which has no hue.
"""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from lookdev.colorimetry.munsell import FAMILIES, family_blend
from lookdev.looks.stages.base import Parameters, signed, times

Array = NDArray[np.float64]

FULL_CHROMA = 0.06  # Oklab chroma from which a family's adjustment applies in full


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
        """(10, 3): shift in degrees, chroma factor, value, in the order of the families."""
        rows = [getattr(self, name) for name in FAMILIES]
        return np.array([[row.shift, row.chroma, row.value] for row in rows])

    def words(self) -> list[str]:
        rows = ((name, getattr(self, name).words()) for name in FAMILIES)
        return [f"{name}: {', '.join(said)}" for name, said in rows if said]


class Colour(Parameters):
    """``[colour]``: ``saturation`` 0 to 3, and ``families``."""

    saturation: Annotated[float, Field(ge=0, le=3)] = 1.0
    families: Families = Families()

    def words(self) -> list[str]:
        out = [f"saturation {times(self.saturation)}"] if self.saturation != 1.0 else []
        return out + self.families.words()


def adjust_families(lab: Array, families: Families) -> Array:
    """Oklab (..., 3) with each hue family shifted, scaled in chroma and moved in value."""
    if families.is_identity:
        return lab
    chroma = np.sqrt(lab[..., 1] ** 2 + lab[..., 2] ** 2)
    hue = np.arctan2(lab[..., 2], lab[..., 1])
    shift, factor, value = np.moveaxis(family_blend(hue, families.table()), -1, 0)
    rise = np.minimum(chroma / FULL_CHROMA, 1.0)
    coloured = rise * rise * (3.0 - 2.0 * rise)
    hue = hue + np.radians(shift) * coloured
    lightness = lab[..., 0] * (1.0 + value * coloured)
    chroma = chroma * (1.0 + (factor - 1.0) * coloured)
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)


def saturate(lab: Array, factor: float) -> Array:
    """Oklab (..., 3) with its chroma times ``factor``.

    >>> saturate(np.array([0.5, 0.1, -0.1]), 0.5).tolist()
    [0.5, 0.05, -0.05]
    """
    return lab if factor == 1.0 else np.asarray(lab * np.array([1.0, factor, factor]))
