"""Looks of the first edition of the look file, which the oracle was frozen with: read, and done as they were.

The families and the three ranges of toning were other functions than those of today's ``[colour.families]``
and ``[[tone]]``, so what they did to a colour is kept here, on arrays. All else (exposure, balance, curve,
saturation, CDL, conversions, rendering, gamut) is the same maths and comes from the stages that are tested.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.munsell import FAMILIES, FAMILY_HUE_DEGREES, hue_degrees
from lookdev.looks.model import Look
from lookdev.looks.stages.base import Metered
from lookdev.looks.steps import OKLAB, Step, by_array

Array = NDArray[np.float64]

FULL_CHROMA = 0.06
MID_LIGHTNESS = 0.18 ** (1 / 3)
NOTHING = Metered()


@dataclass(frozen=True)
class FirstEdition:
    """A look's data, by the first edition's keys."""

    data: dict[str, Any]

    @property
    def title(self) -> str:
        return str(self.data["title"])

    def steps(self, metered: Metered) -> tuple[Step, ...]:
        """As a look gives them, with the families and the toning of the first edition."""
        given = {k: v for k, v in self.data.items() if k not in ("colour", "toning")}
        colour = self.data.get("colour", {})
        families, toning = colour.get("families"), self.data.get("toning")
        before = Look.model_validate({k: v for k, v in given.items() if k != "cdl"})
        found = list(before.steps(metered))
        saturation = colour.get("saturation", 1.0)
        if families:
            found.append(by_array(lambda lab: moved(lab, families, saturation), OKLAB))
        elif colour:
            only = Look.model_validate({"title": "-", "colour": {"saturation": saturation}})
            found += only.steps(NOTHING)
        if toning:
            found.append(by_array(lambda lab: toned(lab, toning), OKLAB))
        cdl = Look.model_validate({"title": "-", "cdl": given.get("cdl", {})})
        return (*found, *cdl.steps(NOTHING))


def load(path: Path) -> FirstEdition:
    """A look file of the first edition."""
    return FirstEdition(tomllib.loads(path.read_text(encoding="utf-8")))


def moved(lab: Array, families: dict[str, dict[str, float]], saturation: float) -> Array:
    """Families, a raised cosine from middle to middle, whole from FULL_CHROMA on; then saturation."""
    rows = [families.get(name, {}) for name in FAMILIES]
    table = np.array([[r.get("shift", 0.0), r.get("chroma", 1.0), r.get("value", 0.0)] for r in rows])
    edges = np.array([*FAMILY_HUE_DEGREES, FAMILY_HUE_DEGREES[0] + 360.0])
    hue, chroma = np.arctan2(lab[:, 2], lab[:, 1]), np.hypot(lab[:, 1], lab[:, 2])
    turned = (np.degrees(hue) - edges[0]) % 360.0 + edges[0]
    below = np.clip(np.searchsorted(edges, turned, side="right") - 1, 0, 9)
    rising = np.sin(np.pi / 2 * (turned - edges[below]) / np.diff(edges)[below])[:, None] ** 2
    shift, factor, value = (table[below] + rising * (table[(below + 1) % 10] - table[below])).T
    rise = np.minimum(chroma / FULL_CHROMA, 1.0)
    coloured = rise * rise * (3.0 - 2.0 * rise)
    new_hue = hue + np.radians(shift * coloured)
    new_chroma = chroma * saturation * (1.0 + (factor - 1.0) * coloured)
    light = lab[:, 0] * (1.0 + value * coloured)
    return np.stack([light, new_chroma * np.cos(new_hue), new_chroma * np.sin(new_hue)], axis=-1)


def toned(lab: Array, toning: dict[str, dict[str, Any]]) -> Array:
    """Shadows, midtones and highlights pulled towards their hues."""
    light = lab[:, 0]
    weights = {
        "shadows": _ramp(light, 0.0, 0.22) * (1.0 - _ramp(light, 0.22, 0.68)),
        "midtones": _ramp(light, 0.10, MID_LIGHTNESS) * (1.0 - _ramp(light, MID_LIGHTNESS, 1.1)),
        "highlights": _ramp(light, 0.50, 1.00),
    }
    out = lab.copy()
    for name, tone in toning.items():
        hue = np.radians(hue_degrees(tone["hue"]))
        pull = tone["amount"] * np.array([np.cos(hue), np.sin(hue)])
        out[:, 1:] += weights[name][:, None] * pull
    return out


def _ramp(x: Array, start: float, end: float) -> Array:
    t = np.clip((x - start) / (end - start), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))
