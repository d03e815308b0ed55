"""``lookdev wedge``: a look at several values of a key, or from one look to another."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from lookdev.cli.options import Paper, PaperChoice, ScoutFolder, Workers


def wedge(
    scout: ScoutFolder,
    look: Annotated[Path | None, typer.Argument(help="The look: a .toml file.")] = None,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            help='A key and its values: "balance.keep = 0, .25, .5" or "curve.contrast = 1 to 1.4 in 5". '
            "Twice for a ring-around: the first across, the second down.",
        ),
    ] = None,
    ends: Annotated[
        tuple[Path, Path] | None,
        typer.Option(
            "--between", help="Two looks: from the one to the other, in place of a look and --vary."
        ),
    ] = None,
    steps: Annotated[int, typer.Option("--steps", help="Cells from one look to the other.")] = 5,
    stills: Annotated[
        list[str] | None,
        typer.Option(
            "--stills",
            help="A still, by its name or a part of it; may be repeated. Default: the best of three places.",
        ),
    ] = None,
    take: Annotated[
        str | None, typer.Option("--take", help="Write this cell (3, or B2) as a look of its own.")
    ] = None,
    take_to: Annotated[
        Path | None, typer.Option("--take-to", help="Where to; default: OUT/LOOK_CELL.toml.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the pages; default: SCOUT_wedge beside the scout."),
    ] = None,
    paper: PaperChoice = Paper.a4,
    workers: Workers = None,
    as_json: Annotated[bool, typer.Option("--json", help="For programs: pages and steps as JSON.")] = False,
) -> None:
    """Show a look at several values of one key, or of two, on a few stills: a page a still, PDF and JPEG.

    `lookdev wedge day1 mine.toml --vary "balance.keep = 0, .2, .4, .6"`

    `lookdev wedge day1 mine.toml --vary "balance.mired = -30, 0" --vary "exposure.stops = -1, 0" --take B2`

    writes that cell as a look as well, the file's comments and order kept.

    Keys are the look file's, dotted: exposure.stops, balance.keep, balance.mired, curve.contrast, curve.toe
    (opens the shadows), curve.shoulder (holds the highlights), colour.saturation, colour.families.YR.chroma,
    tone.1.chroma, skin.hold, strength.

    `lookdev wedge day1 --between cold.toml warm.toml --steps 5`
    """
    from lookdev.cli.common import told
    from lookdev.errors import RequestError
    from lookdev.jobs.common import open_scout
    from lookdev.jobs.wedge import WedgeRequest, run

    if (look is None) == (ends is None):
        raise RequestError("which look?", wanted="a look and --vary, or --between A.toml B.toml")
    if look is not None and not vary:
        raise RequestError("what is varied?", wanted='--vary "balance.keep = 0, .25, .5"')
    first, second = (look, None) if ends is None else ends
    assert first is not None
    request = WedgeRequest(
        open_scout(scout),
        first,
        out or scout.resolve().with_name(scout.resolve().name + "_wedge"),
        tuple(vary or ()),
        second,
        steps,
        tuple(stills or ()),
        take,
        take_to,
        paper.value,
        workers,
    )
    with told(quiet=as_json) as tell:
        result = run(request, tell)
    if as_json:
        apart = [
            {"still": s.still, "from": s.one, "to": s.two, "mean_de00": round(s.mean, 3)}
            for s in result.steps
        ]
        cells = [
            {"cell": c.sign, "values": dict(c.values), "is_the_look": c.itself, "title": c.look.title}
            for c in result.wedge.cells
        ]
        answer = {
            "written": [str(p) for p in result.written],
            "cells": cells,
            "steps": apart,
            "errors": result.errors,
        }
        print(json.dumps(answer, indent=2, ensure_ascii=False))
    else:
        for path in result.written:
            print(path)
    raise typer.Exit(1 if result.errors else 0)
