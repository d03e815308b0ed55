"""The join table of a survey: which reading is for which still, by which rung, and what it means there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lookdev.looks.stages.balance import describe_white
from lookdev.meter.ladder import GUESSED
from lookdev.text import numbers

if TYPE_CHECKING:
    from lookdev.survey.survey import Survey, SurveyedStill

JOIN_HEAD = ("still", "reading", "by", "apart", "in the picture", "neutral by", "stops")


def join_rows(survey: Survey) -> list[tuple[str, ...]]:
    """A row a still, as words, columns as in ``JOIN_HEAD``; rungs that nobody typed end in ``?``."""
    return [_row(still) for still in survey.stills]


def _row(still: SurveyedStill) -> tuple[str, ...]:
    reading = still.reading
    if reading is None:
        return still.name, "none", "", "", "", "", ""
    apart = "" if still.minutes_apart is None else f"{numbers.signed(still.minutes_apart, 0)} min"
    return (
        still.name,
        f"{reading.place}, {reading.name}",
        still.rung + ("?" if still.rung in GUESSED else ""),
        apart,
        describe_white(still.cast.picture_xy) if still.cast is not None else "not known",
        still.road,
        numbers.signed(still.exposure_stops, 1) if still.exposure_stops else "",
    )
