"""`lookdev handoff`: the colourist's folder, and its check."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from lookdev.cli.options import Choices, Only, Paper, PaperChoice, RangeIn, RangeOut


def handoff(
    scout: Annotated[
        Path | None, typer.Argument(metavar="SCOUT", help="The scout: stills, meter.csv, scout.toml.")
    ] = None,
    look: Annotated[
        str | None, typer.Option("--look", help="The look: a .toml, FILE.cube@IN:OUT, or a CDL file.")
    ] = None,
    encoding: Annotated[
        str | None,
        typer.Option("--encoding", help="What the colourist's footage is; see `lookdev encodings`."),
    ] = None,
    encoding_out: Annotated[
        str, typer.Option("--encoding-out", help="What the LUT must give, usually the display's.")
    ] = "BT.709",
    range_in: RangeIn = None,
    range_out: RangeOut = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="The folder to make; its zip goes beside it.")
    ] = None,
    size: Annotated[
        list[int] | None,
        typer.Option(
            "--size",
            help="Points of the .cube, the first for each location too; without a word 65, 33 and 17.",
        ),
    ] = None,
    only: Only = None,
    paper: PaperChoice = Paper.a4,
    choices: Choices = None,
    still_edge: Annotated[
        int, typer.Option("--still-edge", min=64, help="Long edge of the reference stills, in pixels.")
    ] = 360,
    verify: Annotated[
        Path | None,
        typer.Option("--verify", metavar="DIR", help="Check a handoff's folder or zip; make nothing."),
    ] = None,
    sha256: Annotated[
        str | None,
        typer.Option("--sha256", help="With --verify: SHA-256 of manifest.json, as it was printed."),
    ] = None,
    rebuild: Annotated[
        bool, typer.Option("--rebuild", help="With --verify: bake the LUTs again from the look in it.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="For programs.")] = False,
) -> int:
    """Make one folder (and a zip) with all that a colourist needs of a look.

    `lookdev handoff SCOUT --look looks/slack_water.toml --encoding ACEScct --out slack_water_handoff`

    `lookdev handoff --verify slack_water_handoff` checks every file against the manifest: status 0 if all is
    as it was, 1 if a file is changed, missing or a stranger; each is named. `--sha256 DIGEST`, which was
    printed when the package was made, also shows that the manifest is that one. `--rebuild` bakes
    every LUT again from the look inside and says which is another.
    """
    from lookdev.errors import RequestError

    if verify is not None:
        if scout is not None or look is not None or out is not None:
            raise RequestError("--verify stands alone", wanted="lookdev handoff --verify DIR")
        return _verify(verify, sha256, rebuild, as_json)
    if rebuild:
        raise RequestError("--rebuild needs --verify", wanted="lookdev handoff --verify DIR --rebuild")
    if sha256 is not None:
        raise RequestError("--sha256 needs --verify", wanted="lookdev handoff --verify DIR --sha256 DIGEST")
    for value, name, example in (
        (scout, "SCOUT", "a scout folder"),
        (look, "--look", "--look looks/NAME.toml"),
        (encoding, "--encoding", "--encoding ACEScct, or another that `lookdev encodings` lists"),
        (out, "--out", "--out FOLDER"),
    ):
        if value is None:
            raise RequestError(f"{name} is missing", wanted=example)
    assert scout is not None and look is not None and encoding is not None and out is not None
    from lookdev.cli.common import told
    from lookdev.colorimetry.encodings import get_encoding, with_range
    from lookdev.jobs.choices import choices_from
    from lookdev.jobs.common import open_scout
    from lookdev.jobs.handoff import run
    from lookdev.jobs.handoff_parts import HandoffRequest
    from lookdev.lut.look_files import files_of_looks
    from lookdev.lut.received import open_look

    request = HandoffRequest(
        open_scout(scout),
        open_look(look),
        with_range(get_encoding(encoding), range_in),
        with_range(get_encoding(encoding_out), range_out),
        out,
        tuple(dict.fromkeys(size or (65, 33, 17))),
        tuple(only or ()),
        paper.value,
        still_edge,
        choices_from(choices),
        files_of_looks([look]),
    )
    with told(quiet=as_json) as tell:
        made = run(request, tell)
    if as_json:
        answer = {
            "folder": str(made.folder),
            "zip": str(made.archive),
            "manifest_sha256": made.manifest_sha256,
            "cubes": [report.numbers() for report in made.cubes],
            "cdls": [fit.numbers() for _, fit in made.cdls],
            "stills": [{"still": s.name, "cube": s.cube} | s.apart.numbers() for s in made.stills],
            "kept": made.kept,
            "failed": made.errors,
        }
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False))
    else:
        typer.echo(
            f"{made.folder} and {made.archive}: {len(made.cubes)} LUTs, {len(made.cdls)} CDLs, "
            f"{len(made.stills)} reference stills"
        )
        typer.echo(f"LUT against look, picture colours: {made.cubes[0].picture.words()}")
        typer.echo(f"CDL against look: {made.cdls[0][1].words()}")
        typer.echo(f"SHA-256 of manifest.json, to tell apart from the package: {made.manifest_sha256}")
    return 1 if made.errors else 0


def _verify(package: Path, sha256: str | None, again: bool, as_json: bool) -> int:
    from lookdev.lut.verify import verify as check

    problems, same = check(package, sha256), None
    if again:
        from lookdev.lut.rebuild import rebuild

        done = rebuild(package)
        problems, same = [*problems, *done.problems], done.same
    if as_json:
        answer = {"ok": not problems, "problems": problems, "baked_again": same}
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False))
    elif problems:
        for line in problems:
            typer.echo(line)
    else:
        typer.echo(f"{package}: every file is as it was")
        if same is not None:
            typer.echo(f"{len(same)} LUTs are what the look in it gives")
    return 1 if problems else 0
