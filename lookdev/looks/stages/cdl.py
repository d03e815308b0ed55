"""ASC CDL: slope, offset, power and saturation, in a stated encoding.

Source: ASC CDL v1.2 (out = (in * slope + offset) ** power, then saturation about BT.709 luma weights).
Applied without clamping, in the style that SMPTE ST 2136-1 calls FwdNoClamp: values at or below zero skip
the power.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, field_validator

from lookdev.colorimetry.encodings import get_encoding
from lookdev.compilation import compiled, inlined
from lookdev.errors import RequestError
from lookdev.looks.elementary import exp2, log2
from lookdev.looks.signal import passing
from lookdev.looks.stages.base import Metered, Stage
from lookdev.looks.steps import WORKING, Space, Step, run
from lookdev.text.numbers import times

Array = NDArray[np.float64]

LUMA = (0.2126, 0.7152, 0.0722)  # BT.709-6 item 3.2, as ASC CDL v1.2 uses them

Slope = Annotated[float, Field(ge=0, le=16)]
Offset = Annotated[float, Field(ge=-4, le=4)]
Power = Annotated[float, Field(gt=0, le=16)]


class CDL(Stage):
    """``[cdl]``: ``slope`` 0 to 16, ``offset`` -4 to 4, ``power`` over 0 to 16, three numbers each;
    ``saturation`` 0 to 4; ``encoding``, the name of the encoding in which they act."""

    slope: Annotated[tuple[Slope, Slope, Slope], Field(strict=False)] = (1.0, 1.0, 1.0)
    offset: Annotated[tuple[Offset, Offset, Offset], Field(strict=False)] = (0.0, 0.0, 0.0)
    power: Annotated[tuple[Power, Power, Power], Field(strict=False)] = (1.0, 1.0, 1.0)
    saturation: Annotated[float, Field(ge=0, le=4)] = 1.0
    encoding: str = "ACEScct"
    factors: ClassVar[frozenset[str]] = frozenset({"slope", "power", "saturation"})

    @field_validator("encoding")
    @classmethod
    def _known(cls, name: str) -> str:
        try:
            return get_encoding(name).name
        except RequestError as error:
            raise ValueError(error.wanted or str(error)) from None

    def part_way(self, other: Self, share: float) -> Self:
        """In the encoding of the one that acts.

        Raises
        ------
        RequestError : both act, in different encodings.
        """
        mine, theirs = self.encoding, other.encoding
        if mine != theirs and not self.is_identity and not other.is_identity:
            raise RequestError("two CDLs in different encodings", found=f"{mine}, {theirs}", wanted="one")
        encoding = theirs if self.is_identity else mine
        return super().part_way(other, share).model_copy(update={"encoding": encoding})

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

    def step(self, metered: Metered) -> Step | None:
        """The ten numbers on the signal of the encoding that they are for."""
        if self.is_identity:
            return None
        here = passing(get_encoding(self.encoding))
        return cdl_step(self.slope, self.offset, self.power, self.saturation, here)


def cdl_signal(
    signal: ArrayLike, slope: ArrayLike, offset: ArrayLike, power: ArrayLike, saturation: float
) -> Array:
    """ASC CDL on code values (..., 3), unclamped.

    >>> cdl_signal([0.5, 0.5, 0.5], [2, 1, 1], [0, 0.25, 0], [1, 1, 2], 1.0).round(12).tolist()
    [1.0, 0.75, 0.25]
    """
    return run([cdl_step(slope, offset, power, saturation)], signal)


def cdl_step(
    slope: ArrayLike, offset: ArrayLike, power: ArrayLike, saturation: float, space: Space = WORKING
) -> Step:
    """The ten numbers on the colours of a space."""
    return Step(_correct, (np.asarray(slope), np.asarray(offset), np.asarray(power), saturation), space)


@inlined
def _powered(v, exponent):  # type: ignore[no-untyped-def]
    high = exp2(exponent * log2(max(v, 1e-300)))
    return v if v <= 0.0 else high


@compiled
def _correct(x, y, z, slope, offset, power, saturation):  # type: ignore[no-untyped-def]
    sx, sy, sz, ox, oy, oz = slope[0], slope[1], slope[2], offset[0], offset[1], offset[2]
    px, py, pz = power[0], power[1], power[2]
    for i in range(x.size):
        x[i], y[i], z[i] = x[i] * sx + ox, y[i] * sy + oy, z[i] * sz + oz
    if px != 1.0 or py != 1.0 or pz != 1.0:
        for i in range(x.size):
            x[i], y[i], z[i] = _powered(x[i], px), _powered(y[i], py), _powered(z[i], pz)
    if saturation != 1.0:
        red, green, blue = LUMA
        for i in range(x.size):
            luma = red * x[i] + green * y[i] + blue * z[i]
            x[i] = luma + saturation * (x[i] - luma)
            y[i] = luma + saturation * (y[i] - luma)
            z[i] = luma + saturation * (z[i] - luma)
