"""Toning: pull shadows, midtones or highlights towards a hue, in Oklab, at constant lightness.

The pull fades to nothing at black, so that black stays black, and each range cross-fades into the next.
"""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, field_validator

from lookdev.colorimetry.munsell import hue_degrees, parse_hue
from lookdev.looks.stages.base import Parameters, signed

Array = NDArray[np.float64]

_MID_LIGHTNESS = 0.18 ** (1 / 3)
_SHADOW_PEAK, _SHADOW_END = 0.22, 0.68
_HIGHLIGHT_START, _HIGHLIGHT_PEAK = 0.50, 1.00
RANGES = (
    ((0.0, _SHADOW_PEAK), (_SHADOW_PEAK, _SHADOW_END)),
    ((0.10, _MID_LIGHTNESS), (_MID_LIGHTNESS, 1.1)),
    ((_HIGHLIGHT_START, _HIGHLIGHT_PEAK), None),
)
"""Lightness between which shadows, midtones and highlights rise, and between which they fall again."""


class Tone(Parameters):
    """``hue`` in Munsell terms (``5B``, ``7.5YR``), ``amount`` 0 to 0.15 of Oklab chroma."""

    hue: str = "5YR"
    amount: Annotated[float, Field(ge=0, le=0.15)] = 0.0

    @field_validator("hue")
    @classmethod
    def _munsell(cls, text: str) -> str:
        try:
            parse_hue(text)
        except ValueError:
            raise ValueError("a Munsell hue such as 5B or 7.5YR") from None
        return text

    @property
    def is_identity(self) -> bool:
        return self.amount == 0.0

    def words(self) -> list[str]:
        return [] if self.is_identity else [f"{self.hue} {signed(self.amount, 3)}"]


class Toning(Parameters):
    """``[toning.shadows]``, ``[toning.midtones]``, ``[toning.highlights]``."""

    shadows: Tone = Tone()
    midtones: Tone = Tone()
    highlights: Tone = Tone()

    @property
    def is_identity(self) -> bool:
        return self.shadows.is_identity and self.midtones.is_identity and self.highlights.is_identity

    def words(self) -> list[str]:
        rows = (("shadows", self.shadows), ("midtones", self.midtones), ("highlights", self.highlights))
        return [f"{name} towards {tone.words()[0]}" for name, tone in rows if not tone.is_identity]


def _smoothstep(x: Array, start: float, end: float) -> Array:
    t = np.clip((x - start) / (end - start), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def toning_weights(lightness: Array) -> Array:
    """Weights (..., 3) of shadows, midtones and highlights at Oklab lightness (...).

    >>> toning_weights(np.array([0.0])).tolist()
    [[0.0, 0.0, 0.0]]
    """
    weights = []
    for rising, falling in RANGES:
        weight = _smoothstep(lightness, *rising)
        weights.append(weight if falling is None else weight * (1.0 - _smoothstep(lightness, *falling)))
    return np.stack(weights, axis=-1)


def pulls(toning: Toning) -> Array:
    """What is added to Oklab at full weight, (3, 3): a row each for shadows, midtones and highlights."""
    tones = (toning.shadows, toning.midtones, toning.highlights)
    angles = np.radians([hue_degrees(t.hue) for t in tones])
    amounts = np.array([t.amount for t in tones])
    return np.stack([np.zeros(3), amounts * np.cos(angles), amounts * np.sin(angles)], axis=-1)


def tone(lab: Array, toning: Toning) -> Array:
    """Oklab (..., 3) toned."""
    if toning.is_identity:
        return lab
    return np.asarray(lab + toning_weights(lab[..., 0]) @ pulls(toning))
