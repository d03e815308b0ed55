"""``lookdev sheet``: comparison sheets alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lookdev.cli.options import Looks, MaxPixels, Only, Paper, PaperChoice, Salvage, ScoutFolder, Workers


def sheet(
    scout: ScoutFolder,
    looks: Looks = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the sheets; default: SCOUT_sheets beside the scout."),
    ] = None,
    only: Only = None,
    paper: PaperChoice = Paper.a4,
    workers: Workers = 2,
    salvage: Salvage = False,
    max_pixels: MaxPixels = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the list of sheets as JSON.")] = False,
) -> None:
    """Make the comparison sheets alone: stills down, looks across, PDF and PNG, and an overview.

    Stills are decoded at reduced scale, so this is the quick way to try a look.

    Example: `lookdev sheet day1 --looks looks --only "Net loft" --out sheets`.
    """
    from lookdev.cli.common import looks_for, open_scout
    from lookdev.cli.job import BatchRequest, run_sheets
    from lookdev.outputs import look_files

    opened = open_scout(scout)
    request = BatchRequest(
        scout=opened,
        looks=looks_for(opened, looks),
        out=out or scout.resolve().with_name(scout.resolve().name + "_sheets"),
        only=tuple(only or ()),
        paper=paper.value,
        workers=workers,
        salvage=salvage,
        max_pixels=max_pixels,
        as_json=as_json,
        reads=tuple(file for look in looks or () for file in look_files(look)),
    )
    raise typer.Exit(run_sheets(request))
