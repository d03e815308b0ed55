"""Light notes from the meter log: a page a location, a table, and the same as data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import LookdevError, RequestError
from lookdev.files import write_json, write_whole
from lookdev.jobs.common import Line, Tell, check_folder, counter, unheard, writing
from lookdev.meter.log import readings_at
from lookdev.meter.notes import location_notes
from lookdev.meter.notes_data import location_data
from lookdev.names import location_names
from lookdev.outputs import inputs_of, refuse_scout, without_places
from lookdev.survey.survey import survey

if TYPE_CHECKING:
    from lookdev.meter.again import PlaceAgain
    from lookdev.meter.notes import LocationNotes
    from lookdev.meter.scout import Plan, Scout


PICK_STEM = "gel_and_lamps"


@dataclass(frozen=True)
class LightRequest:
    """What was asked for.

    Attributes
    ----------
    scout, out : the scout, and the folder for pages and tables; without one nothing is written.
    only : locations, by name, letter case ignored; all without any.
    paper : "a4" or "letter".
    pages : write the PDF and PNG pages, or the tables alone.
    """

    scout: Scout
    out: Path | None = None
    only: tuple[str, ...] = ()
    paper: str = "a4"
    pages: bool = True


@dataclass(frozen=True)
class LightResult:
    """What the log says.

    Attributes
    ----------
    notes, again : of each location, and when its light comes again, by location.
    plan : that they were made under.
    pages : files written. data : as in light.json. errors : a line each.
    """

    notes: tuple[LocationNotes, ...]
    again: Mapping[str, PlaceAgain]
    plan: Plan
    pages: list[Path]
    data: dict[str, Any]
    errors: list[str]


def run(request: LightRequest, tell: Tell = unheard) -> LightResult:
    """Make the notes, and write them where the request says a folder.

    Raises
    ------
    RequestError : the request is wrong, or the log has no readings; nothing has been written.
    """
    from lookdev.meter.again import place_again

    scout = request.scout
    if request.out is not None:
        refuse_scout(scout.folder, request.out)
    errors = [str(error) for error in scout.log.errors]
    for line in (*scout.log.warnings, *errors):
        tell(Line(line))
    if not scout.log.readings:
        raise RequestError(
            "no reading to make notes of", file=scout.folder, wanted="meter.csv with a row or more"
        )
    surveyed = survey(scout, request.only)
    metered = {name: readings_at(name, scout.log.readings) for name in surveyed.locations}
    notes = tuple(
        location_notes(name, found, scout.plan, scout.kit) for name, found in metered.items() if found
    )
    stills = {n.location: list(dict.fromkeys(still.path for still in surveyed.at(n.location))) for n in notes}
    again = {name: place_again(scout, name, paths) for name, paths in stills.items()}
    written: list[Path] = []
    if request.out is None:
        return LightResult(notes, again, scout.plan, written, _data(scout, notes, again, (), errors), errors)
    out, paper = request.out, request.paper
    check_folder(out)
    step, stems = counter(tell), location_names(surveyed.every_location, taken=[PICK_STEM])
    first = [*(stems[n.location] for n in notes), PICK_STEM] if request.pages else []
    pages = [out / f"{stem}{end}" for stem in first for end in (".pdf", ".png")]
    with writing(
        out, inputs_of(scout), [out / "light.json", out / "light.csv"], pages, verb="light", tell=tell
    ):
        for count, note in enumerate(notes if request.pages else (), 1):
            at, stem = note.location, out / stems[note.location]
            try:
                written += _write_pages(scout, note, again[at], stills[at], stem, paper)
            except LookdevError as error:
                errors.append(str(error))
                tell(Line(str(error)))
            step(count, len(notes), at)
        if request.pages:
            written += _write_pick_list(scout, notes, out, paper)
        data = dict(without_places(_data(scout, notes, again, written, errors), scout.folder, out))
        write_json(out / "light.json", data)
        write_whole(out / "light.csv", csv_table(notes, scout.plan))
    return LightResult(notes, again, scout.plan, written, data, errors)


def _data(
    scout: Scout,
    notes: tuple[LocationNotes, ...],
    again: Mapping[str, PlaceAgain],
    written: Sequence[Path],
    errors: Sequence[str],
) -> dict[str, Any]:
    """light.json."""
    from lookdev.meter.again import again_data
    from lookdev.meter.pick_list import pick_data, pick_list

    return {
        "title": scout.title,
        "date": scout.date,
        "plan": scout.plan.model_dump(mode="json", exclude_none=True),
        "locations": [
            {**location_data(note), "light_again": again_data(again[note.location])} for note in notes
        ],
        "to_pack": [pick_data(line) for line in pick_list(notes)],
        "pages": [path.name for path in written],
        "warnings": list(scout.log.warnings),
        "errors": list(errors),
    }


def _write_pages(
    scout: Scout, note: LocationNotes, again: PlaceAgain, stills: Sequence[Path], stem: Path, paper: str
) -> list[Path]:
    from lookdev.pages.light_page import Extra, light_document
    from lookdev.pages.place_picture import place_picture

    extra = Extra(place_picture(stills), again)
    document = light_document(scout.title, note, scout.plan, date=scout.date, paper=paper, extra=extra)
    return document.save(stem.with_name(f"{stem.name}.pdf"), stem.with_name(f"{stem.name}.png"))


def _write_pick_list(scout: Scout, notes: tuple[LocationNotes, ...], target: Path, paper: str) -> list[Path]:
    from lookdev.meter.pick_list import pick_list
    from lookdev.pages.light_page import pick_document

    lines = pick_list(notes)
    document = pick_document(scout.title, lines, scout.kit, len(notes), date=scout.date, paper=paper)
    return document.save(target / f"{PICK_STEM}.pdf", target / f"{PICK_STEM}.png")


CSV_COLUMNS = (
    "location", "row", "source", "role", "time", "x", "y", "u_1976", "v_1976", "cct_k", "duv", "white_from",
    "nearest_cie_illuminant", "distance_uv", "lux", "fc", "t_stop", "stops_over", "missing_lux", "missing_fc",
    "lowest_exposure_index", "smallest_shutter_angle_deg", "mired_to_balance", "duv_to_balance",
    "filters_to_balance", "left_mired", "left_duv", "cannot_be_moved", "fixture_reaches_it", "ra", "r9",
    "cie_rf", "tm30_rf", "tm30_rg", "ssi",
)  # fmt: skip


def table_rows(notes: tuple[LocationNotes, ...], plan: Plan) -> list[dict[str, Any]]:
    """A row a reading, keys as in ``CSV_COLUMNS``; None where there is nothing to say."""
    from lookdev.meter.notes_data import notes_data

    rows = []
    for location in notes:
        for note in location.readings:
            data = notes_data(note)
            exposure, rendition = data["exposure"] or {}, data["rendition"] or {}
            match, dial = data["to_balance"] or {}, data["dial"] or {}
            hint = data["nearest_cie_illuminants"][0] if data["nearest_cie_illuminants"] else {}
            xy, uv = data["xy"] or (None, None), data["uv_1976"] or (None, None)
            values = (
                location.location, note.reading.row, data["source"], data["role"], data["time"], *xy, *uv,
                data["cct_k"], data["duv"], data["white_from"], hint.get("name"), hint.get("distance_uv"),
                data["illuminance_lux"], data["illuminance_fc"], exposure.get("t_stop"),
                exposure.get("stops_over"), exposure.get("missing_lux"), exposure.get("missing_fc"),
                exposure.get("lowest_exposure_index"), exposure.get("smallest_shutter_angle_deg"),
                match.get("mired"), match.get("duv"), " + ".join(match.get("filters", ())) or None,
                match.get("left_mired"), match.get("left_duv"), match.get("cannot_be_moved"),
                dial.get("fixture_reaches_it"),
                *(rendition.get(k) for k in ("ra", "r9", "cie_rf", "tm30_rf", "tm30_rg", "ssi")),
            )  # fmt: skip
            rows.append(dict(zip(CSV_COLUMNS, values, strict=True)))
    return rows


def csv_table(notes: tuple[LocationNotes, ...], plan: Plan) -> str:
    """The table as CSV."""
    from lookdev.text.csv_out import csv_text

    return csv_text(CSV_COLUMNS, [list(row.values()) for row in table_rows(notes, plan)])
