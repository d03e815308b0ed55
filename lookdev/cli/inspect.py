"""`lookdev inspect`: what a LUT does, whoever made it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def inspect(
    file: Annotated[Path, typer.Argument(metavar="FILE.cube", help="The LUT.")],
    look: Annotated[
        str | None, typer.Option("--look", help="A look to hold it against (needs both encodings).")
    ] = None,
    encoding_in: Annotated[
        str | None, typer.Option("--encoding-in", help="What the LUT takes; see `lookdev encodings`.")
    ] = None,
    encoding_out: Annotated[str | None, typer.Option("--encoding-out", help="What it gives.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="For programs.")] = False,
) -> int:
    """Examine a .cube: grey, banding, clipping, reversals, hue, and what it seems to expect.

    `lookdev inspect theirs.cube --look looks/slack_water.toml --encoding-in ACEScct --encoding-out BT.709`
    """
    from lookdev.errors import RequestError
    from lookdev.lut.cube import read_cube
    from lookdev.lut.examine import examine
    from lookdev.lut.inspection import against, guess
    from lookdev.lut.received import open_look, parse_encodings, split_request

    path, tail = split_request(str(file))
    if (encoding_in is None) != (encoding_out is None):
        raise RequestError("one encoding without the other", wanted="--encoding-in and --encoding-out")
    if encoding_in is not None and encoding_out is not None:
        tail = f"{encoding_in}:{encoding_out}"
    ends = parse_encodings(tail, path) if tail is not None else None
    if look is not None and ends is None:
        raise RequestError(
            "a look needs to know the LUT's encodings", wanted="--encoding-in NAME --encoding-out NAME"
        )
    lut = read_cube(path)
    found = examine(lut, *ends) if ends is not None else examine(lut)
    seems = guess(lut)
    answer: dict[str, object] = {
        "file": path.name,
        "title": lut.title,
        "kind": lut.kind,
        "size": lut.size,
        "shaper_points": len(lut.shaper.table) if lut.shaper else 0,
        "domain_min": list(lut.input_min),
        "domain_max": list(lut.input_max),
        "encodings": [e.name for e in ends] if ends else None,
        **found.numbers(),
        "seems_to_expect": seems.numbers(),
    }
    if look is not None and ends is not None:
        transform = open_look(look).transform(*ends)
        whole, picture = against(lut, transform)
        answer["against"] = {
            "look": open_look(look).title,
            "whole_cube": whole.numbers(),
            "picture_colours": picture.numbers(),
        }
    if as_json:
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False))
        return 0
    from lookdev.lut.report import examination_lines

    shaper = f", behind a 1D shaper of {len(lut.shaper.table)}" if lut.shaper else ""
    typer.echo(
        f"{path.name}: {lut.kind} LUT, {lut.size} points{shaper}" + (f", {lut.title!r}" if lut.title else "")
    )
    for name, text in examination_lines(found):
        typer.echo(f"  {name:9} {text}")
    typer.echo(f"  {'expects':9} {seems.words()}; range in {seems.range_in}, out {seems.range_out}")
    for reason in seems.reasons:
        typer.echo(f"  {'':9} {reason}")
    if look is not None and ends is not None:
        typer.echo(f"  {'the look':9} CIEDE2000, whole cube: {whole.words()}")
        typer.echo(f"  {'':9} CIEDE2000, picture colours: {picture.words()}")
    return 0
