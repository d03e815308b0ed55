"""``lookdev light``: light notes from the meter log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from lookdev.cli.options import Only, Paper, PaperChoice

if TYPE_CHECKING:
    from lookdev.meter.again import PlaceAgain
    from lookdev.meter.notes import LocationNotes
    from lookdev.meter.scout import Plan, Scout


def light(
    scout: Annotated[Path, typer.Argument(help="The scout: a folder with meter.csv (and scout.toml).")],
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for pages and tables; without it the table is printed."),
    ] = None,
    only: Only = None,
    paper: PaperChoice = Paper.a4,
    pages: Annotated[
        bool, typer.Option("--pages/--no-pages", help="Write the PDF and PNG pages, or the tables alone.")
    ] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Print light.json instead of the table.")] = False,
) -> None:
    """Light notes: what to put on which lamp, what light to add, and when this light comes again.

    OUT then holds a page a location (`LOCATION.pdf`, `LOCATION.png`), what to pack (`gel_and_lamps.pdf`),
    `light.csv` and `light.json`. Without --out nothing is written. What the production means to shoot with
    stands under `[plan]` in scout.toml: `exposure_index`, `frame_rate_fps`, `shutter_angle_deg` or
    `shutter_s`, `readout_ms`, `t_stop`, `lens_t_stop`, `filter_stops`, `key_to_fill`, `balance_k`,
    `mains_hz`; our own lamps under `[[lamps]]`: `name` and one of `cct_k`, `x` and `y`, `spectrum`,
    `emitters`; our swatch book under `[[filters]]`: `name`, `mired`, `duv`, `stops` or `transmittance`. With
    `shoot_date`, `time_zone` and `latitude`, `longitude` (or the stills' own position) the pages say when
    this light comes again.

    Examples: `lookdev light day1`, `lookdev light day1 --only "Net loft" --out notes`.
    """
    raise typer.Exit(run_light(scout, out, tuple(only or ()), paper.value, pages, as_json))


def run_light(
    folder: Path, out: Path | None, only: tuple[str, ...], paper: str, pages: bool, as_json: bool
) -> int:
    """Make the notes; returns the exit status."""
    import json

    from lookdev.cli.common import open_scout, say
    from lookdev.meter.again import place_again, stills_of
    from lookdev.meter.notes import scout_notes
    from lookdev.meter.sun import again_line
    from lookdev.outputs import refuse_scout

    scout = open_scout(folder)
    if out is not None:
        refuse_scout(folder, out)
    errors = [str(error) for error in scout.log.errors]
    for line in (*scout.log.warnings, *errors):
        say(line)
    notes = scout_notes(scout, only)
    again = {n.location: place_again(scout, n.location, stills_of(scout, n.location)) for n in notes}
    if out is not None:
        data = _write_all(scout, notes, again, out, paper, pages, errors, quiet=as_json)
    else:
        data = _data(scout, notes, again, (), errors)
    if as_json:
        print(json.dumps(data, indent=2, ensure_ascii=False))
    else:
        _print_table(notes, scout.plan)
        for note in notes:
            best = again[note.location].best
            if best is not None and not best.is_dark:
                print(f"{note.location}: {again_line(best)}")
        if out is not None:
            print(f"{len(data['pages'])} pages, light.csv and light.json in {out}")
        else:
            print("Nothing written: the pages and tables go where --out says.")
    return 1 if errors else 0


def _data(
    scout: Scout,
    notes: tuple[LocationNotes, ...],
    again: Mapping[str, PlaceAgain],
    written: Sequence[Path],
    errors: Sequence[str],
) -> dict[str, Any]:
    """light.json."""
    from lookdev.meter.again import again_data
    from lookdev.meter.notes import location_data
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


def _write_all(
    scout: Scout,
    notes: tuple[LocationNotes, ...],
    again: Mapping[str, PlaceAgain],
    out: Path,
    paper: str,
    pages: bool,
    errors: list[str],
    *,
    quiet: bool,
) -> dict[str, Any]:
    """Pages and tables into ``out``; what failed goes to ``errors``. Returns what stands in light.json."""
    from lookdev.cli.common import check_folder, progress, say
    from lookdev.errors import LookdevError
    from lookdev.files import write_json, write_whole
    from lookdev.outputs import inputs_of, without_places, writing

    check_folder(out)
    stems = _stems(notes)
    written: list[Path] = []
    first = [out / f"{stem}{end}" for stem in (*stems, PICK_STEM) for end in (".pdf", ".png") if pages]
    with writing(out, inputs_of(scout), [out / "light.json", out / "light.csv"], first):
        if pages:
            with progress(quiet=quiet) as step:
                for count, (note, stem) in enumerate(zip(notes, stems, strict=True), 1):
                    try:
                        written += _write_pages(scout, note, again[note.location], out, stem, paper)
                    except LookdevError as error:
                        errors.append(str(error))
                        say(str(error))
                    step(count, len(notes), note.location)
            written += _write_pick_list(scout, notes, out, paper)
        data = _data(scout, notes, again, written, errors)
        data = dict(without_places(data, scout.folder, out))
        write_json(out / "light.json", data)
        write_whole(out / "light.csv", csv_table(notes, scout.plan))
    return data


PICK_STEM = "gel_and_lamps"


def _stems(notes: tuple[LocationNotes, ...]) -> list[str]:
    from lookdev.files import safe_name

    taken: dict[str, int] = {}
    stems = []
    for note in notes:
        stem = safe_name(note.location)
        stem = f"{stem}_place" if stem.casefold() == PICK_STEM else stem
        count = taken[stem.casefold()] = taken.get(stem.casefold(), 0) + 1
        stems.append(stem if count == 1 else f"{stem}_{count}")
    return stems


def _write_pages(
    scout: Scout, note: LocationNotes, again: PlaceAgain, target: Path, stem: str, paper: str
) -> list[Path]:
    from lookdev.meter.again import stills_of
    from lookdev.sheets.light_page import Extra, light_document
    from lookdev.sheets.place_picture import place_picture

    extra = Extra(place_picture(stills_of(scout, note.location)), again)
    document = light_document(scout.title, note, scout.plan, date=scout.date, paper=paper, extra=extra)
    return document.save(target / f"{stem}.pdf", target / f"{stem}.png")


def _write_pick_list(scout: Scout, notes: tuple[LocationNotes, ...], target: Path, paper: str) -> list[Path]:
    from lookdev.meter.pick_list import pick_list
    from lookdev.sheets.light_page import pick_document

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
    from lookdev.meter.notes import notes_data

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


def _print_table(notes: tuple[LocationNotes, ...], plan: Plan) -> None:
    from lookdev.meter.notes import colour_words, exposure_words
    from lookdev.meter.wording import light_words
    from lookdev.text import numbers
    from lookdev.text.table import print_table

    head = ["location", "source", "x, y", "u', v'", "CCT, Duv", "light", "CIE near to it", "stop"]
    head.append("" if plan.balance_k is None else f"to {numbers.kelvin(plan.balance_k)}")
    rows = []
    for location in notes:
        for note in location.readings:
            near = ", ".join(h.illuminant for h in note.hints if h.distance_uv <= 0.02)
            rows.append(
                [
                    location.location,
                    note.reading.name,
                    numbers.pair(*note.xy) if note.xy else "",
                    numbers.pair(*note.uv) if note.uv else "",
                    colour_words(note),
                    light_words(note.reading.illuminance_lux),
                    near,
                    exposure_words(note.exposure) if note.exposure else "",
                    note.to_balance.short_words if note.to_balance else "",
                ]
            )
    print_table(head, rows)
