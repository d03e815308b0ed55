"""`lookdev log`: what was read in the log, and which reading is for which still."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def log(
    scout: Annotated[Path, typer.Argument(help="The scout: a folder with stills and a log.")],
    write: Annotated[
        Path | None,
        typer.Option("--write", metavar="FILE.csv", help="Write the log again, every join made explicit."),
    ] = None,
    contact: Annotated[
        Path | None,
        typer.Option(
            "--contact",
            metavar="DIR",
            help="Write contact pages: the stills under a grid, to name a grey patch; views of panoramas.",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="For programs.")] = False,
) -> int:
    """Show which reading is for which still, and by which rung of the ladder; look here before a batch.

    A rung that nobody typed (location, time, only reading) is marked with `?`. Put right what is wrong once:
    `--write` writes a meter.csv with the stills of every reading named, outside the scout and never over a
    file; correct it, and let it take the place of the log. `--contact DIR` writes each still under a lettered
    grid: a grey patch is then `grey` F5 or F5-G6, or chart where a chart or a grey card was found. Of each
    panorama it shows eight directions, with the [[view]] text for scout.toml in views.toml.

    Examples: `lookdev log day1`, `lookdev log day1 --write meter.csv`, `lookdev log day1 --contact contact`.
    """
    from lookdev.cli.common import say
    from lookdev.errors import RequestError
    from lookdev.files import write_whole
    from lookdev.jobs.common import open_scout
    from lookdev.meter.join_table import join_table
    from lookdev.outputs import refuse_scout
    from lookdev.survey.join_words import JOIN_HEAD, join_data, join_rows
    from lookdev.survey.survey import survey
    from lookdev.text.table import print_table

    opened = open_scout(scout)
    if write is not None:
        if write.exists():
            wanted = "a new name; nothing is written over"
            raise RequestError("there is a file of that name", file=write, wanted=wanted)
        refuse_scout(scout, write)
    surveyed = survey(opened)
    errors, warnings = list(surveyed.errors), list(surveyed.warnings)
    for line in (*warnings, *errors):
        say(line)
    if write is not None:
        write_whole(write, join_table(opened).as_csv())
    pages: list[Path] = []
    found: dict[str, str] = {}
    if contact is not None:
        from lookdev.cli.common import told
        from lookdev.jobs.contact import run

        with told() as tell:
            made = run(opened, contact, tell, surveyed)
        pages, found = made.files, made.found
        new = [line for line in made.errors if line not in errors]
        for line in new:
            say(line)
        errors += new
    if as_json:
        typer.echo(
            json.dumps(
                {"joins": join_data(surveyed, found), "warnings": warnings, "errors": errors},
                indent=2,
                ensure_ascii=False,
            )
        )
    else:
        print_table(JOIN_HEAD, join_rows(surveyed, found))
        if write is not None:
            typer.echo(f"written: {write}")
        for page in pages:
            typer.echo(f"written: {page}")
    return 1 if errors else 0
