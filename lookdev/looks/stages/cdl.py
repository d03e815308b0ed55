"""ASC CDL: slope, offset, power and saturation, in a stated encoding.

Source: ASC CDL v1.2 (out = (in * slope + offset) ** power, then saturation about BT.709 luma weights).
Applied without clamping, in the style that SMPTE ST 2136-1 calls FwdNoClamp: values at or below zero skip
the power.
"""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, field_validator

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import RequestError
from lookdev.looks.rendering import lift_curve, render_curve
from lookdev.looks.stages.base import Parameters, times

Array = NDArray[np.float64]

LUMA = np.array([0.2126, 0.7152, 0.0722])  # BT.709-6 item 3.2, as ASC CDL v1.2 uses them

Slope = Annotated[float, Field(ge=0, le=16)]
Offset = Annotated[float, Field(ge=-4, le=4)]
Power = Annotated[float, Field(gt=0, le=16)]


class CDL(Parameters):
    """``[cdl]``: ``slope`` 0 to 16, ``offset`` -4 to 4, ``power`` over 0 to 16, three numbers each;
    ``saturation`` 0 to 4; ``encoding``, the name of the encoding in which they act."""

    slope: Annotated[tuple[Slope, Slope, Slope], Field(strict=False)] = (1.0, 1.0, 1.0)
    offset: Annotated[tuple[Offset, Offset, Offset], Field(strict=False)] = (0.0, 0.0, 0.0)
    power: Annotated[tuple[Power, Power, Power], Field(strict=False)] = (1.0, 1.0, 1.0)
    saturation: Annotated[float, Field(ge=0, le=4)] = 1.0
    encoding: str = "ACEScct"

    @field_validator("encoding")
    @classmethod
    def _known(cls, name: str) -> str:
        try:
            return get_encoding(name).name
        except RequestError as error:
            raise ValueError(error.wanted or str(error)) from None

    @property
    def is_identity(self) -> bool:
        neutral = self.slope == (1, 1, 1) and self.offset == (0, 0, 0) and self.power == (1, 1, 1)
        return neutral and self.saturation == 1.0

    def words(self) -> list[str]:
        if self.is_identity:
            return []
        parts = []
        for name, values, rest in (
            ("slope", self.slope, 1),
            ("offset", self.offset, 0),
            ("power", self.power, 1),
        ):
            if any(v != rest for v in values):
                parts.append(f"{name} " + " ".join(times(v) for v in values))
        if self.saturation != 1.0:
            parts.append(f"saturation {times(self.saturation)}")
        return [f"CDL in {self.encoding}: " + ", ".join(parts)]


def cdl_signal(
    signal: ArrayLike, slope: ArrayLike, offset: ArrayLike, power: ArrayLike, saturation: float
) -> Array:
    """ASC CDL on code values (..., 3), unclamped.

    >>> cdl_signal([0.5, 0.5, 0.5], [2, 1, 1], [0, 0.25, 0], [1, 1, 2], 1.0).tolist()
    [1.0, 0.75, 0.25]
    """
    v = np.asarray(signal, dtype=np.float64) * np.asarray(slope, dtype=np.float64) + np.asarray(offset)
    positive = np.maximum(v, 0.0) ** np.asarray(power, dtype=np.float64)
    v = np.where(v > 0, positive, v)
    if saturation != 1.0:
        luma = v @ LUMA
        v = luma[..., None] + saturation * (v - luma[..., None])
    return np.asarray(v)


def apply_cdl(scene: Array, parameters: CDL) -> Array:
    """Scene light (..., 3) through the CDL in its own encoding."""
    if parameters.is_identity:
        return scene
    encoding: Encoding = get_encoding(parameters.encoding)
    rendered = encoding.state == "output"
    signal = encoding.from_working(render_curve(scene) if rendered else scene)
    out = cdl_signal(signal, parameters.slope, parameters.offset, parameters.power, parameters.saturation)
    linear = encoding.to_working(out)
    return lift_curve(linear) if rendered else linear
