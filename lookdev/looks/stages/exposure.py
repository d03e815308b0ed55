"""Exposure: scene light times a power of two. One stop doubles it."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from lookdev.looks.stages.base import Metered, Stage
from lookdev.looks.steps import Step, mixing
from lookdev.text.numbers import signed


class Exposure(Stage):
    """``[exposure]``: ``stops``, -10 to 10."""

    stops: Annotated[float, Field(ge=-10, le=10)] = 0.0

    def words(self) -> list[str]:
        if self.is_identity:
            return []
        plural = "" if abs(self.stops) <= 1 else "s"
        return [f"{signed(self.stops, 2)} stop{plural}"]

    def step(self, metered: Metered) -> Step | None:
        """A gain: these stops, and those that bring the still to the metered exposure."""
        stops = metered.exposure_stops + self.stops
        return mixing(np.eye(3) * 2.0**stops) if stops else None
