"""What a stage of the look is. One file a stage: its parameters, its words, its kernel, its step.

A stage is a field of :class:`lookdev.looks.model.Look`; the order of the fields is the order in which they
act, and all else (identity, phrases, the steps themselves) follows from the fields.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from lookdev.looks.steps import WORKING, Step

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.cast import Cast

Levels = tuple[float, float, float]


@dataclass(frozen=True)
class Metered:
    """What is known of a still when the look meets it.

    Attributes
    ----------
    cast : what was metered against what the camera was set to, or None.
    exposure_stops : stops added before the look, to bring the still to the metered exposure.
    source, target : the encodings of the still and of the result, where they are known.
    clip_levels : scene light, linear BT.2020, that a stage finds where the still's three channels are at
        their fullest, exposure and balance counted as far as they act before it; None where the still is
        scene-referred or not known.
    """

    cast: Cast | None = None
    exposure_stops: float = 0.0
    source: Encoding | None = None
    target: Encoding | None = None
    clip_levels: Levels | None = None

    def after(self, step: Step) -> Metered:
        """The same for the stages behind ``step``."""
        matrix = step.matrix
        if self.clip_levels is None or matrix is None or step.space != WORKING:
            return self
        red, green, blue = (float(v) for v in matrix @ self.clip_levels)
        return replace(self, clip_levels=(red, green, blue))


class Parameters(BaseModel):
    """Validated, frozen, unknown keys refused, no silent conversion of text to numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    @property
    def is_identity(self) -> bool:
        """Whether the stage, so set, changes nothing."""
        return self == type(self)()

    def words(self) -> list[str]:
        """What the stage does, for a person; empty at its defaults."""
        return []


class Stage(Parameters):
    """The parameters of a stage, and what they come to. ``is_identity`` and ``words`` are of the parameters
    alone; a stage that changes nothing by itself may still act on what was metered."""

    def step(self, metered: Metered) -> Step | None:
        """What the stage does to a colour of such a still; None if nothing."""
        raise NotImplementedError
