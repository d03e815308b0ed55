"""``lookdev light``: light notes from the meter log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lookdev.cli.options import Only, Paper, PaperChoice

if TYPE_CHECKING:
    from lookdev.meter.notes import LocationNotes
    from lookdev.meter.scout import Plan


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
    import json

    from lookdev.cli.common import told
    from lookdev.jobs.common import open_scout
    from lookdev.jobs.light import LightRequest, run
    from lookdev.meter.sun import again_line

    with told(quiet=as_json) as tell:
        result = run(LightRequest(open_scout(scout), out, tuple(only or ()), paper.value, pages), tell)
    if as_json:
        print(json.dumps(result.data, indent=2, ensure_ascii=False))
    else:
        _print_table(result.notes, result.plan)
        for place, again in result.again.items():
            if again.best is not None and not again.best.is_dark:
                print(f"{place}: {again_line(again.best)}")
        if out is not None:
            pages_drawn = sum(page.suffix == ".png" for page in result.pages)
            print(f"{pages_drawn} pages, light.csv and light.json in {out}")
        else:
            print("Nothing written: the pages and tables go where --out says.")
    raise typer.Exit(1 if result.errors else 0)


def _print_table(notes: tuple[LocationNotes, ...], plan: Plan) -> None:
    from lookdev.meter.notes_words import colour_words, exposure_words
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
                    numbers.lux(note.reading.illuminance_lux),
                    near,
                    exposure_words(note.exposure) if note.exposure else "",
                    note.to_balance.short_words if note.to_balance else "",
                ]
            )
    print_table(head, rows)
