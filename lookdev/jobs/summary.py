"""summary.json: everything that was done, in numbers; no dates, no absolute paths."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev import __version__
from lookdev.looks.stages.balance import resolve_balance
from lookdev.meter.join_table import light_of
from lookdev.meter.ladder import GUESSED
from lookdev.outputs import without_places
from lookdev.survey.join_words import marks_of, meaning

if TYPE_CHECKING:
    from lookdev.jobs.choices import Settled
    from lookdev.jobs.pitch import PitchMade
    from lookdev.looks.pipeline import LookLike
    from lookdev.render.tasks import TaskResult
    from lookdev.survey.survey import Survey, SurveyedStill


def batch_summary(
    survey: Survey,
    looks: Sequence[LookLike],
    results: Mapping[str, TaskResult],
    out: Path,
    *,
    answers: Mapping[str, Mapping[int, str]],
    cubes: Sequence[Mapping[str, object]],
    sheets: Sequence[Path],
    pitch: PitchMade,
    choices: Settled,
    errors: Sequence[str],
) -> dict[str, Any]:
    """The whole batch as plain data; paths are relative to ``out`` or to the scout.

    ``results`` by the still's name; ``answers`` likewise: how far each received LUT is from the look that it
    answers, in words.
    """
    from lookdev.meter.log import readings_at
    from lookdev.meter.notes_data import location_summary

    scout, readings = survey.scout, survey.scout.log.readings
    summary = {
        "lookdev": __version__,
        "title": scout.title,
        "looks": [_look(look) for look in looks],
        "locations": [
            {
                "name": name,
                "light": location_summary(name, readings_at(name, readings), scout.plan, scout.kit),
                "stills": [
                    _still(still, looks, results.get(still.name), out, answers.get(still.name, {}))
                    for still in survey.at(name)
                ],
            }
            for name in survey.shot_locations
        ],
        "cubes": [dict(cube) for cube in cubes],
        "sheets": [_relative(path, out) for path in sheets],
        "pitch": {
            "pages": [_relative(path, out) for path in pitch.written],
            "places": pitch.places,
            "warnings": list(pitch.warnings),
        },
        "choices": choices.lines(),
        "warnings": [
            line for line in (*map(str, scout.log.warnings), survey.join_words, *choices.warnings) if line
        ],
        "errors": list(errors),
    }
    cleaned: dict[str, Any] = without_places(summary, scout.folder, out)
    return cleaned


def _look(look: LookLike) -> dict[str, Any]:
    from lookdev.looks.keys import parameters
    from lookdev.looks.model import Look

    return {
        "title": look.title,
        "note": look.note,
        "in_words": look.describe(),
        "fingerprint": look.fingerprint(),
        "parameters": parameters(look) if isinstance(look, Look) else None,
    }


def _still(
    still: SurveyedStill,
    looks: Sequence[LookLike],
    result: TaskResult | None,
    out: Path,
    answers: Mapping[int, str],
) -> dict[str, Any]:
    reading = still.reading
    entry: dict[str, Any] = {
        "file": still.name,
        "copies": list(still.copies),
        "marks": list(marks_of(still)),
        "meter_row": reading.row if reading is not None else None,
        "source": reading.source if reading is not None else None,
        "join": {
            "reading": reading.place,
            "rung": still.rung,
            "guessed": still.rung in GUESSED,
            "minutes_apart": still.minutes_apart,
            "uncertain": list(reading.uncertain),
            "conventions": list(reading.conventions),
            "light": light_of(reading),
            **meaning(still),
        }
        if reading is not None
        else None,
        "balance_from": still.cast.origin if still.cast is not None else None,
        "neutral_by": still.road or None,
        "grey_patch": list(still.patch) if still.patch is not None else None,
        "exposure_stops": round(still.exposure_stops, 3),
        "encoding": result.encoding if result else None,
        "encoding_from": result.encoding_origin if result else None,
        "sha256": result.still_sha256 if result else None,
        "warnings": [*still.warnings, *(result.warnings if result else ())],
        "notes": list(result.notes) if result else [],
        "error": still.error or (result.error if result else None),
        "graded": [],
    }
    if result is None:
        return entry
    for place, (look, output) in enumerate(zip(looks, result.outputs, strict=False)):
        asked = look.acting.balance
        balance = resolve_balance(asked, still.cast) if asked is not None else None
        entry["graded"].append(
            {
                "look": look.title,
                "file": _relative(output.path, out),
                "sha256": output.sha256,
                "balance": balance.summary() if balance is not None else None,
                "against_the_look_it_answers": answers.get(place),
                "error": output.error,
            }
        )
    return entry


def _relative(path: Path, out: Path) -> str:
    return path.relative_to(out).as_posix() if path.is_relative_to(out) else path.name
