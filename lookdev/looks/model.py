"""The look: one file of parameters, from which everything else follows."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any, Self

from pydantic import Field, field_validator

from lookdev.errors import RequestError, one_line
from lookdev.looks.cast import Cast
from lookdev.looks.stages.balance import Balance, part_cast
from lookdev.looks.stages.base import Metered, Parameters, Stage
from lookdev.looks.stages.cdl import CDL
from lookdev.looks.stages.colour import Colour
from lookdev.looks.stages.curve import Curve
from lookdev.looks.stages.exposure import Exposure
from lookdev.looks.stages.skin import Skin
from lookdev.looks.stages.tone import MOST_TONES, Tone, Tones
from lookdev.looks.steps import Step
from lookdev.text.numbers import times

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import Transform


MOST_STRENGTH = 1.5
"""The largest: beyond it a look is another one, not more of the same."""


MOST_TITLE = 120
"""Letters of a title."""


class Look(Parameters):
    """A look, its stages in the order in which they act. At its defaults it changes nothing.

    >>> Look(title="as it stood").is_identity
    True
    """

    title: Annotated[str, Field(min_length=1, max_length=MOST_TITLE)]
    note: str = ""
    strength: Annotated[float, Field(ge=0, le=MOST_STRENGTH)] = 1.0
    exposure: Exposure = Exposure()
    balance: Balance = Balance()
    curve: Curve = Curve()
    colour: Colour = Colour()
    tone: Annotated[tuple[Tone, ...], Field(strict=False, max_length=MOST_TONES)] = ()
    cdl: CDL = CDL()
    skin: Skin = Skin()

    @field_validator("title")
    @classmethod
    def _one_line(cls, text: str) -> str:
        if not _is_a_line(text):
            raise ValueError("one line of text")
        return text.strip()

    @property
    def named_stages(self) -> dict[str, Stage]:
        """The stages at their whole strength by their names in a file, in the order in which they act."""
        values = {name: getattr(self, name) for name in type(self).model_fields}
        found = {name: Tones(tones=v) if isinstance(v, tuple) else v for name, v in values.items()}
        return {name: stage for name, stage in found.items() if isinstance(stage, Stage)}

    @property
    def stages(self) -> tuple[Stage, ...]:
        """The stages at their whole strength, in the order in which they act: that of the fields."""
        return tuple(self.named_stages.values())

    def steps(self, metered: Metered) -> tuple[Step, ...]:
        """What the look does to a colour of such a still, scene light to scene light."""
        if self.strength != 1.0:
            return self.acting.steps(
                replace(metered, cast=part_cast(self.balance, metered.cast, self.strength))
            )
        acting = _steps(self.stages, metered)
        if self.skin.is_identity:
            return acting
        kept = self.balance.model_copy(update={"mired": 0.0, "duv": 0.0})
        whole = kept.model_copy(update={"keep": 0.0})
        plain = _steps((self.exposure, kept, self.curve), metered)
        rendered = metered.source is not None and metered.source.state == "output"
        moves = rendered and not (self.exposure.is_identity and self.curve.is_identity)
        brighter = 2.0**self.exposure.stops if moves else None
        return self.skin.around(acting, plain, _steps((self.exposure, whole), metered), brighter)

    @property
    def is_identity(self) -> bool:
        """Whether the look, whatever was metered, changes nothing."""
        return self.strength == 0.0 or all(stage.is_identity for stage in self.stages)

    @property
    def acting(self) -> Self:
        """What the look comes to at its strength, as a look at strength 1."""
        if self.strength == 1.0:
            return self
        whole = self.model_copy(update={"strength": 1.0})
        return type(self)(title=self.title, note=self.note).part_way(whole, self.strength)

    def part_way(self, other: Self, share: float) -> Self:
        """The look a share of the way to another, stage by stage, each at its strength; at 0 and 1 the one or
        the other to the bit. Where one of them does nothing, the other says how much of skin is held.

        Raises
        ------
        RequestError : both have a CDL in different encodings, or too many tones together.
        """
        one, two = self.acting, other.acting
        if share in (0, 1):
            return one if share == 0 else two
        if one.is_identity != two.is_identity:
            held = {"hold": (two if one.is_identity else one).skin.hold}
            both = (one, two)
            one, two = (k.model_copy(update={"skin": k.skin.model_copy(update=held)}) for k in both)
        found: dict[str, Any] = {}
        for name in type(self).model_fields:
            mine, theirs = getattr(one, name), getattr(two, name)
            if isinstance(mine, Stage):
                found[name] = mine.part_way(theirs, share)
            elif isinstance(mine, tuple):
                found[name] = Tones(tones=mine).part_way(Tones(tones=theirs), share).tones
        return two.model_copy(update=found)

    def key_parameters(self) -> list[str]:
        """Short phrases for a column head, in the order in which the stages act."""
        found = [phrase for stage in self.acting.stages for phrase in stage.words()]
        if self.strength != 1.0:
            found.append(f"strength {times(self.strength)}, counted in")
        return found or ["nothing changed"]

    def describe(self) -> str:
        """The look in plain words, one sentence."""
        return "; ".join(self.key_parameters())

    def fingerprint(self) -> str:
        """SHA-256 over the parameters that act: two looks with the same one give the same pictures."""
        acting = self.model_dump_json(exclude={"title", "note"})
        if self.balance.keep == 1.0 and self.balance.names_keep:
            acting += "whole cast"
        return hashlib.sha256(acting.encode()).hexdigest()

    def transform(
        self, source: Encoding, target: Encoding, cast: Cast | None = None, exposure_stops: float = 0.0
    ) -> Transform:
        """The look function between two encodings."""
        from lookdev.looks.pipeline import Pipeline

        return Pipeline(self, source, target, cast, exposure_stops)


def _steps(stages: tuple[Stage, ...], metered: Metered) -> tuple[Step, ...]:
    found: list[Step] = []
    for stage in stages:
        step = stage.step(metered)
        if step is not None:
            found.append(step)
            metered = metered.after(step)
    return tuple(found)


def checked_title(title: str) -> str:
    """A look's title that was typed by itself, without blanks around it.

    Raises
    ------
    RequestError : it is no line of 1 to 120 letters.

    >>> checked_title(" Slack water ")
    'Slack water'
    """
    if not (1 <= len(title) <= MOST_TITLE and _is_a_line(title)):
        raise RequestError(
            "not a title",
            key="--title",
            found=one_line(title[:80]),
            wanted=f"one line of 1 to {MOST_TITLE} letters",
        )
    return title.strip()


def _is_a_line(text: str) -> bool:
    return bool(text.strip()) and text.isprintable()
