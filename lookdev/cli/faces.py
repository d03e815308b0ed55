"""`lookdev faces`: what happens to skin under each lamp, through each look."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from lookdev.cli.options import Looks, Only, Paper, PaperChoice, ScoutFolder


def faces(
    scout: ScoutFolder,
    looks: Looks = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the pages and faces.json; without it all is printed."),
    ] = None,
    only: Only = None,
    balance: Annotated[
        float | None,
        typer.Option(
            "--balance", min=1000, max=25000, help="Camera balance in kelvin, in place of the scout's own."
        ),
    ] = None,
    encoding_in: Annotated[
        str | None,
        typer.Option(
            "--encoding-in",
            help="What holds the picture before the look: the footage planned in scout.toml, unless given.",
            show_default=False,
        ),
    ] = None,
    as_still: Annotated[
        bool,
        typer.Option(
            "--as-still",
            help="As the scout's stills show faces, with the stills camera's balance, not the footage.",
        ),
    ] = False,
    paper: PaperChoice = Paper.a4,
    as_json: Annotated[bool, typer.Option("--json", help="Print faces.json instead of the table.")] = False,
) -> None:
    """What happens to faces: six complexions under each lamp, in this camera, through each look.

    Each against itself in daylight: lightness, hue, share of colour kept, how alike the complexions are
    treated, and how much of that the lamp, the rendering and the look did. Over 8 and over 15 degrees of hue
    it is said in words. Skin is six model spectra; a test with the actors, made up, under the lamp decides.
    OUT then holds `faces.pdf` (a page a place), `faces.png` and `faces.json`.

    Examples: `lookdev faces day1 --looks looks`, `lookdev faces day1 --only "Net loft" --out faces`.
    """
    from lookdev.cli.common import told
    from lookdev.jobs.common import looks_for, open_scout
    from lookdev.jobs.faces import FacesRequest, run
    from lookdev.lut.look_files import files_of_looks

    opened = open_scout(scout)
    request = FacesRequest(
        opened,
        looks_for(opened, looks),
        out,
        tuple(only or ()),
        balance,
        encoding_in,
        as_still,
        paper.value,
        files_of_looks(looks),
    )
    with told(quiet=as_json) as tell:
        result = run(request, tell)
    if as_json:
        print(json.dumps(result.data, indent=2, ensure_ascii=False))
    else:
        _print(result.places)
        for line in result.seams:
            print(line)
        if out is None:
            print("Nothing written: the pages go where --out says.")
        else:
            print(f"{len(result.written)} files in {out}")
    raise typer.Exit(1 if result.errors else 0)


def _print(places: list) -> None:  # type: ignore[type-arg]
    from lookdev.text.numbers import fixed
    from lookdev.text.table import print_table

    head = ["place", "light", "look", "hue", "the lamp", "the rendering", "the look", "colour kept", "spread"]
    rows = []
    for row in places:
        for seen in row:
            hue = seen.hue_deg
            turns = [hue.whole, hue.lamp, hue.rendering, hue.look]
            said = ["" if v is None else f"{fixed(v, 0)}°" for v in turns]
            kept = f"{seen.chroma_kept.whole:.2f}"
            rows.append([seen.place, seen.light, seen.look, *said, kept, f"{seen.spread.whole:.2f}"])
    print_table(head, rows)
    for row in places:
        for seen in row:
            for words in seen.words:
                print(f"{seen.place}, {seen.look}: {words}")
