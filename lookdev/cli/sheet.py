"""``lookdev sheet``: comparison sheets alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from lookdev.cli.options import (
    Choices,
    Looks,
    MaxPixels,
    Only,
    Paper,
    PaperChoice,
    Salvage,
    ScoutFolder,
    Workers,
)


def sheet(
    scout: ScoutFolder,
    looks: Looks = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the sheets; default: SCOUT_sheets beside the scout."),
    ] = None,
    only: Only = None,
    paper: PaperChoice = Paper.a4,
    choices: Choices = None,
    workers: Workers = None,
    salvage: Salvage = False,
    max_pixels: MaxPixels = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the list of sheets as JSON.")] = False,
) -> None:
    """Make the comparison sheets alone: stills down, looks across, PDF and PNG, and an overview.

    Stills are decoded at reduced scale, so this is the quick way to try a look.

    Example: `lookdev sheet day1 --looks looks --only "Net loft" --out sheets`.
    """
    from lookdev.cli.common import told
    from lookdev.jobs.choices import choices_from
    from lookdev.jobs.common import looks_for, open_scout
    from lookdev.jobs.sheets import SheetsRequest, run
    from lookdev.lut.look_files import files_of_looks

    opened = open_scout(scout)
    request = SheetsRequest(
        opened,
        looks_for(opened, looks),
        out or scout.resolve().with_name(scout.resolve().name + "_sheets"),
        tuple(only or ()),
        paper.value,
        workers,
        salvage,
        max_pixels,
        files_of_looks(looks),
        choices_from(choices),
    )
    with told() as tell:
        result = run(request, tell)
    if as_json:
        answer = {"sheets": [str(path) for path in result.written], "errors": result.errors}
        print(json.dumps(answer, ensure_ascii=False))
    else:
        for path in result.written:
            print(path)
    raise typer.Exit(1 if result.errors else 0)
