"""`lookdev cube`: looks as .cube files, alone and with each location's balance."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from lookdev.cli.options import EncodingIn, EncodingOut, Looks, Only, RangeIn, RangeOut


def cube(
    what: Annotated[
        Path,
        typer.Argument(
            metavar="LOOK|SCOUT",
            help="A look, or a folder of looks. With --looks: a scout, for a .cube of each location too.",
        ),
    ],
    looks: Looks = None,
    encoding_in: EncodingIn = None,
    encoding_out: EncodingOut = None,
    range_in: RangeIn = None,
    range_out: RangeOut = None,
    size: Annotated[
        list[int] | None,
        typer.Option("--size", help="Points along an edge: 17, 33, 65; without a word 65. May be repeated."),
    ] = None,
    one_dimensional: Annotated[
        bool, typer.Option("--1d", help="A 1D LUT of 1024 points, for a look that treats each channel alone.")
    ] = False,
    domain: Annotated[
        tuple[float, float], typer.Option("--domain", help="Code values in at the table's two ends.")
    ] = (0.0, 1.0),
    only: Only = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            help="Folder for the .cube files, or NAME.cube for one look in one size; default: cubes, never "
            "in a scout.",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="For programs: what was written, as JSON.")] = False,
) -> int:
    """Write .cube files (Cube LUT Specification 1.0) of looks, each with its error against the look.

    `lookdev cube looks/slack_water.toml --encoding-in ACEScct --encoding-out BT.709 --out cubes`

    `lookdev cube looks/slack_water.toml --out slack_water.cube`

    `lookdev cube SCOUT --looks looks --out cubes` writes every look alone, and with each location's balance.
    """
    from lookdev.cli.common import told
    from lookdev.errors import RequestError
    from lookdev.jobs.common import open_scout
    from lookdev.jobs.cubes import CubesRequest, run
    from lookdev.lut.look_files import files_of_looks
    from lookdev.lut.received import open_looks
    from lookdev.meter.scout import find_meter_log
    from lookdev.outputs import default_folder

    if not looks and what.is_dir() and find_meter_log(what) is not None:
        raise RequestError("is a scout: which looks?", file=what, wanted="--looks FOLDER or --looks FILE")
    request = CubesRequest(
        open_looks(looks or [what]),
        out if out is not None else default_folder("cubes", what if looks else None),
        open_scout(what) if looks else None,
        encoding_in,
        encoding_out,
        range_in,
        range_out,
        tuple(size or (65,)),
        one_dimensional,
        domain,
        tuple(only or ()),
        files_of_looks(looks or [what]),
    )
    with told(quiet=as_json) as tell:
        result = run(request, tell)
    if as_json:
        answer = {"written": [cube.numbers("place") for cube in result.written], "failed": result.errors}
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False))
    else:
        for written in result.written:
            typer.echo(f"{written.report.path}\n  whole cube:      {written.report.whole.words()}")
            typer.echo(f"  picture colours: {written.report.picture.words()}")
    return 1 if result.errors else 0
