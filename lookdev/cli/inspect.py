"""`lookdev inspect`: what a LUT, a process list or a CDL file does, whoever made it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding


def inspect(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A .cube, .clf, .cc, .ccc or .cdl; FILE.ccc#ID for one.")
    ],
    look: Annotated[
        str | None, typer.Option("--look", help="A look to hold it against (needs both encodings).")
    ] = None,
    encoding_in: Annotated[
        str | None, typer.Option("--encoding-in", help="What it takes; see `lookdev encodings`.")
    ] = None,
    encoding_out: Annotated[str | None, typer.Option("--encoding-out", help="What it gives.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="For programs.")] = False,
) -> int:
    """Examine what came in: what it says of itself, what stands out in it, grey, banding, clipping, hue, and
    what it seems to take and to give.

    `lookdev inspect theirs.cube --look looks/slack_water.toml --encoding-in ACEScct --encoding-out BT.709`

    A guess is a guess: where two encodings are as likely, it says so. Ask who made the file.
    """
    from lookdev.errors import RequestError
    from lookdev.lut.received import CDL_SUFFIXES, parse_encodings, split_request

    path, tail = split_request(str(file))
    if (encoding_in is None) != (encoding_out is None):
        raise RequestError("one encoding without the other", wanted="--encoding-in and --encoding-out")
    ends = None
    if encoding_in is not None and encoding_out is not None:
        ends = parse_encodings(f"{encoding_in}:{encoding_out}", path)
    if path.suffix.lower() in CDL_SUFFIXES:
        return _inspect_cdl(path, tail, ends, look, as_json)
    if ends is None and tail is not None:
        ends = parse_encodings(tail, path)
    from lookdev.lut.inspection import inspect_lut

    found = inspect_lut(path, ends)
    ends = found.encodings
    if look is not None and ends is None:
        raise RequestError(
            "a look needs to know the LUT's encodings", wanted="--encoding-in NAME --encoding-out NAME"
        )
    answer = found.numbers()
    lines = found.lines()
    if look is not None and ends is not None:
        whole, picture, title = _against(f"{path}@{ends[0].name}:{ends[1].name}", look, ends)
        answer["against"] = {
            "look": title,
            "whole_cube": whole.numbers(),
            "picture_colours": picture.numbers(),
        }
        lines.append(("the look", f"CIEDE2000, whole cube: {whole.words()}"))
        lines.append(("", f"CIEDE2000, picture colours: {picture.words()}"))
    if as_json:
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False))
        return 0
    typer.echo(found.head)
    for name, text in lines:
        typer.echo(f"  {name:9} {text}")
    return 0


def _against(file: str, look: str, ends: tuple[Encoding, Encoding]):  # type: ignore[no-untyped-def]
    from lookdev.lut.inspection import against
    from lookdev.lut.received import ReceivedLut, open_look

    theirs, ours = open_look(file), open_look(look)
    function = theirs.lut if isinstance(theirs, ReceivedLut) else theirs.transform(*ends)
    whole, picture = against(function, ours.transform(*ends))
    return whole, picture, ours.title


def _inspect_cdl(
    path: Path, tail: str | None, ends: tuple[Encoding, Encoding] | None, look: str | None, as_json: bool
) -> int:
    """Each correction, or the one that was asked for by ``#ID``."""
    from lookdev.errors import RequestError
    from lookdev.lut.cdl_inspection import inspect_cdl
    from lookdev.lut.received import one_correction

    if look is not None and ends is None:
        raise RequestError(
            "a look needs to know the encodings", wanted="--encoding-in NAME --encoding-out NAME"
        )
    wanted, encoding = one_correction(path, tail)
    found = [each for each in inspect_cdl(path, encoding) if wanted is None or each.identifier == wanted]
    answer = []
    for each in found:
        numbers, lines = each.numbers(), each.words()
        if look is not None and ends is not None:
            tried = f"{path}#{each.identifier}" + (f"@{encoding}" if encoding is not None else "")
            whole, picture, title = _against(tried, look, ends)
            numbers["against"] = {
                "look": title,
                "whole_cube": whole.numbers(),
                "picture_colours": picture.numbers(),
            }
            lines.append(f"with the plain rendering against {title}, picture colours: {picture.words()}")
        answer.append(numbers)
        if not as_json:
            typer.echo(f"{path.name}#{each.identifier}")
            for line in (*each.notes, *lines):
                typer.echo(f"  {line}")
    if as_json:
        typer.echo(json.dumps({"file": path.name, "corrections": answer}, indent=2, ensure_ascii=False))
    return 0
