"""Toning: pull shadows, midtones or highlights towards a hue, in Oklab, at constant lightness.

The pull fades to nothing at black, so that black stays black, and each range cross-fades into the next.
"""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, field_validator

from lookdev.colorimetry.munsell import hue_degrees, parse_hue
from lookdev.compilation import compiled, inlined
from lookdev.looks.stages.base import Metered, Parameters, Stage
from lookdev.looks.steps import OKLAB, Step
from lookdev.text.numbers import signed

Array = NDArray[np.float64]

_MID_LIGHTNESS = 0.18 ** (1 / 3)  # of mid grey
# Of taste:
_SHADOW_PEAK = 0.22  # four stops under mid grey: the deepest in which a hue can still be told
_SHADOW_END = 0.68  # 0.8 of a stop over mid grey: a trace of it stays in mid grey, none in lit skin
_HIGHLIGHT_START = 0.50  # half a stop under it: the two overlap, so that no band between is left untouched
_HIGHLIGHT_PEAK = 1.00  # display white and beyond: lamps and sky carry all of it
_MID_START, _MID_END = 0.10, 1.1  # from black to past white: the widest, so that it shows no edge
"""Oklab lightness between which shadows, midtones and highlights rise, and between which they fall again."""


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


class Toning(Stage):
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

    def pulls(self) -> Array:
        """What is added to Oklab a, b at full weight, (3, 2): rows shadows, midtones, highlights."""
        tones = (self.shadows, self.midtones, self.highlights)
        angles = np.radians([hue_degrees(t.hue) for t in tones])
        amounts = np.array([t.amount for t in tones])
        return np.stack([amounts * np.cos(angles), amounts * np.sin(angles)], axis=-1)

    def step(self, metered: Metered) -> Step | None:
        """The three pulls, each with its weight at a colour's lightness."""
        return None if self.is_identity else Step(_tone, (self.pulls(),), OKLAB)


@inlined
def _ramp(x, start, end):  # type: ignore[no-untyped-def]
    t = min(max((x - start) / (end - start), 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@inlined
def _weights(lightness):  # type: ignore[no-untyped-def]
    """Of shadows, midtones and highlights."""
    shadows = _ramp(lightness, 0.0, _SHADOW_PEAK) * (1.0 - _ramp(lightness, _SHADOW_PEAK, _SHADOW_END))
    middle = _ramp(lightness, _MID_START, _MID_LIGHTNESS) * (1.0 - _ramp(lightness, _MID_LIGHTNESS, _MID_END))
    return shadows, middle, _ramp(lightness, _HIGHLIGHT_START, _HIGHLIGHT_PEAK)


@compiled
def _tone(x, y, z, pulls):  # type: ignore[no-untyped-def]
    a0, b0, a1, b1, a2, b2 = pulls[0, 0], pulls[0, 1], pulls[1, 0], pulls[1, 1], pulls[2, 0], pulls[2, 1]
    for i in range(x.size):
        shadows, middle, high = _weights(x[i])
        y[i] += shadows * a0 + middle * a1 + high * a2
        z[i] += shadows * b0 + middle * b1 + high * b2
