"""Exposure: scene light times a power of two. One stop doubles it."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from lookdev.looks.stages.base import Parameters, signed

Array = NDArray[np.float64]


class Exposure(Parameters):
    """``[exposure]``: ``stops``, -10 to 10."""

    stops: Annotated[float, Field(ge=-10, le=10)] = 0.0

    def words(self) -> list[str]:
        if self.is_identity:
            return []
        plural = "" if abs(self.stops) <= 1 else "s"
        return [f"{signed(self.stops, 2)} stop{plural}"]


def expose(scene: Array, stops: float) -> Array:
    """Scene light (..., 3), ``stops`` brighter.

    >>> expose(np.array([0.18]), 1.0).tolist()
    [0.36]
    """
    return np.asarray(scene * 2.0**stops)
