"""``lookdev sheet``: comparison sheets alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lookdev.cli.batch import Paper


def sheet(
    scout: Annotated[
        Path, typer.Argument(help="The scout: a folder of stills with meter.csv (and scout.toml).")
    ],
    looks: Annotated[
        list[str] | None,
        typer.Option(
            "--looks",
            "-l",
            help="A look (.toml), a folder of them, or a received FILE.cube@IN:OUT; may be repeated. "
            "Default: SCOUT/looks.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the sheets; default: SCOUT_sheets beside the scout."),
    ] = None,
    only: Annotated[
        list[str] | None, typer.Option("--only", help="Do this location alone; may be repeated.")
    ] = None,
    paper: Annotated[Paper, typer.Option(help="Paper of the sheets.")] = Paper.a4,
    workers: Annotated[int, typer.Option(min=1, max=64, help="Stills in hand at the same time.")] = 2,
    salvage: Annotated[
        bool, typer.Option("--salvage", help="Use a truncated JPEG as far as it decodes.")
    ] = False,
    max_pixels: Annotated[
        int | None, typer.Option(min=1, help="Largest still to open, in pixels; default 160 million.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the list of sheets as JSON.")] = False,
) -> None:
    """Make the comparison sheets alone: stills down, looks across, PDF and PNG, and an overview.

    Stills are decoded at reduced scale, so this is the quick way to try a look.

    Example: `lookdev sheet day1 --looks looks --only "Net loft" --out sheets`.
    """
    from lookdev.cli.common import looks_for, open_scout
    from lookdev.cli.job import BatchRequest, run_sheets

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
    )
    raise typer.Exit(run_sheets(request))
