"""What a stage of the look is. One file a stage: its parameters, its words, its kernel, its step.

A stage is a field of :class:`lookdev.looks.model.Look`; the order of the fields is the order in which they
act, and all else (identity, phrases, the steps themselves) follows from the fields.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar, Self, get_args

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

    factors: ClassVar[frozenset[str]] = frozenset()
    """The fields that are factors: they go from one to another in the logarithm."""

    def part_way(self, other: Self, share: float) -> Self:
        """The parameters a share of the way to ``other``'s, each in the way natural to it and kept in its
        range: 0 gives these, 1 the other's; beyond 1 it goes on."""
        found: dict[str, Any] = {}
        for name, field in type(self).model_fields.items():
            one, two = getattr(self, name), getattr(other, name)
            along = factor_part_way if name in self.factors else part_way
            if isinstance(one, Parameters):
                found[name] = one.part_way(two, share)
            elif isinstance(one, tuple):
                limits = get_args(get_args(field.annotation)[0])[1:]
                found[name] = tuple(within(along(p, q, share), limits) for p, q in zip(one, two, strict=True))
            elif isinstance(one, float | int):
                found[name] = within(along(one, two, share), field.metadata)
            else:
                found[name] = one if share < 0.5 else two
        return self.model_copy(update=found)


def part_way(one: float, two: float, share: float) -> float:
    """A share of the way from one number to another, exact at both ends."""
    return one if share == 0 else two if share == 1 else one + share * (two - one)


_NEXT_TO_NOTHING = 1 / 64


def factor_part_way(one: float, two: float, share: float) -> float:
    """The same in the logarithm, for factors; a sixty-fourth is added to both, so that nought can be reached.

    >>> round(factor_part_way(1.0, 4.0, 0.5), 2), factor_part_way(1.0, 0.0, 1.0)
    (2.0, 0.0)
    """
    if share in (0, 1) or one == two:
        return part_way(one, two, share)
    low, high = one + _NEXT_TO_NOTHING, two + _NEXT_TO_NOTHING
    return max(float(low ** (1 - share) * high**share) - _NEXT_TO_NOTHING, 0.0)


def within(value: float, limits: Iterable[Any]) -> float:
    """A number kept within the limits that a field's metadata give."""
    for limit in limits:
        for each in getattr(limit, "metadata", [limit]):
            low, high = getattr(each, "ge", None), getattr(each, "le", None)
            value = max(value, low) if low is not None else value
            value = min(value, high) if high is not None else value
    return float(value)


class Stage(Parameters):
    """The parameters of a stage, and what they come to. ``is_identity`` and ``words`` are of the parameters
    alone; a stage that changes nothing by itself may still act on what was metered."""

    def step(self, metered: Metered) -> Step | None:
        """What the stage does to a colour of such a still; None if nothing."""
        raise NotImplementedError
