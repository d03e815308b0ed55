"""The join table of a survey: which reading is for which still, by which rung, and what it means there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from lookdev.looks.stages.balance import describe_white
from lookdev.meter.join_table import light_of
from lookdev.meter.ladder import GUESSED
from lookdev.names import split_name
from lookdev.text import numbers

if TYPE_CHECKING:
    from lookdev.survey.survey import Survey, SurveyedStill

JOIN_HEAD = (
    "still", "reading", "by", "apart", "in the picture", "neutral by", "stops", "location", "light", "marks",
)  # fmt: skip
NO_CAMERA = "PNG without camera data"


def join_rows(survey: Survey, found: Mapping[str, str] | None = None) -> list[tuple[str, ...]]:
    """A row a still, as words, columns as in ``JOIN_HEAD``; rungs that nobody typed end in ``?``.

    ``found`` : what was looked for and found in a still's picture, by its name ("chart").
    """
    return [_row(still, (found or {}).get(still.name)) for still in survey.stills]


def join_data(survey: Survey, found: Mapping[str, str] | None = None) -> list[dict[str, Any]]:
    """The table for programs, a record a still."""
    return [_record(still, (found or {}).get(still.name)) for still in survey.stills]


def marks_of(still: SurveyedStill) -> tuple[str, ...]:
    """What is to be known of a still that is not as the others: words, none for most."""
    told = still.metadata
    is_png = split_name(still.name)[0].casefold().endswith(".png")
    silent = told is not None and not any((told.camera, told.exposure_time_s, told.f_number, told.iso))
    copies = f"also {', '.join(still.copies)}" if still.copies else ""
    return tuple(words for words in (NO_CAMERA if is_png and silent else "", copies) if words)


def _row(still: SurveyedStill, found: str | None) -> tuple[str, ...]:
    reading = still.reading
    marks = "; ".join((*marks_of(still), *([f"{found} found"] if found else [])))
    if still.error is not None:
        marks = "; ".join(word for word in (marks, "cannot be read") if word)
    if reading is None:
        return still.name, "none", "", "", "", "", "", "", "", marks
    apart = "" if still.minutes_apart is None else f"{numbers.signed(still.minutes_apart, 0)} min"
    return (
        still.name,
        ", ".join(dict.fromkeys((reading.place, reading.name))),
        still.rung + ("?" if still.rung in GUESSED else ""),
        apart,
        describe_white(still.cast.picture_xy) if still.cast is not None else "not known",
        still.road,
        numbers.signed(still.exposure_stops, 1) if still.exposure_stops else "",
        reading.location or "",
        light_of(reading),
        marks,
    )


def _record(still: SurveyedStill, found: str | None) -> dict[str, Any]:
    reading = still.reading
    return {
        "still": still.name,
        "reading": reading.place if reading is not None else None,
        "rung": still.rung or None,
        "guessed": still.rung in GUESSED,
        "minutes_apart": still.minutes_apart,
        "location": reading.location if reading is not None else None,
        "uncertain": list(reading.uncertain) if reading is not None else [],
        "conventions": list(reading.conventions) if reading is not None else [],
        "doubts": list(still.warnings),
        **meaning(still),
        "marks": list(marks_of(still)),
        "found": found,
    }


def meaning(still: SurveyedStill) -> dict[str, Any]:
    """What a still's reading means in it, for programs: the cast, by which road, the stops."""
    cast = still.cast
    return {
        "in_the_picture": describe_white(cast.picture_xy) if cast is not None else None,
        "picture_xy": [round(value, 5) for value in cast.picture_xy] if cast is not None else None,
        "neutral_by": still.road or None,
        "stops": round(still.exposure_stops, 3),
    }
