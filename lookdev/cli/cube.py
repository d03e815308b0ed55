"""`lookdev cube`: looks as .cube files, alone and with each location's balance."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def cube(
    what: Annotated[
        Path,
        typer.Argument(
            metavar="LOOK|SCOUT",
            help="A look, or a folder of looks. With --looks: a scout, for a .cube of each location too.",
        ),
    ],
    looks: Annotated[
        list[Path] | None, typer.Option("--looks", help="Looks (files or folders) for the scout's locations.")
    ] = None,
    encoding_in: Annotated[
        str, typer.Option("--encoding-in", help="What the footage or still is; see `lookdev encodings`.")
    ] = "sRGB",
    encoding_out: Annotated[
        str, typer.Option("--encoding-out", help="What the LUT must give, usually the display's.")
    ] = "sRGB",
    range_in: Annotated[str, typer.Option("--range-in", help="Code range in: full or narrow.")] = "full",
    range_out: Annotated[str, typer.Option("--range-out", help="Code range out: full or narrow.")] = "full",
    size: Annotated[
        list[int] | None, typer.Option("--size", help="Points along an edge: 17, 33, 65. May be repeated.")
    ] = None,
    one_dimensional: Annotated[
        bool, typer.Option("--1d", help="A 1D LUT of 1024 points, for a look that treats each channel alone.")
    ] = False,
    domain: Annotated[
        tuple[float, float], typer.Option("--domain", help="Code values in at the table's two ends.")
    ] = (0.0, 1.0),
    only: Annotated[list[str] | None, typer.Option("--only", help="Only this location. May repeat.")] = None,
    out: Annotated[Path, typer.Option("--out", help="Folder for the .cube files.")] = Path("cubes"),
    as_json: Annotated[bool, typer.Option("--json", help="For programs: what was written, as JSON.")] = False,
) -> int:
    """Write .cube files (Cube LUT Specification 1.0) of looks, each with its error against the look.

    `lookdev cube looks/slack_water.toml --encoding-in ACEScct --encoding-out BT.709 --out cubes`

    `lookdev cube SCOUT --looks looks --out cubes` writes every look alone, and with each location's balance.
    """
    from lookdev.cli.common import open_scout, say
    from lookdev.colorimetry.encodings import get_encoding, with_range
    from lookdev.errors import LookdevError, RequestError
    from lookdev.lut.bake import SIZES, cube_file_name, export_cube
    from lookdev.lut.places import Place, metered_places
    from lookdev.lut.received import open_looks
    from lookdev.render.batch import look_slugs, plan_batch, refuse_output_among_stills

    source = with_range(get_encoding(encoding_in), range_in)
    target = with_range(get_encoding(encoding_out), range_out)
    sizes = list(dict.fromkeys(size or [33]))
    for wanted in sizes:
        if not 2 <= wanted <= 256:
            raise RequestError(
                "cube size out of range",
                key="--size",
                found=wanted,
                wanted=f"one of {', '.join(map(str, SIZES))}",
            )
    if out.exists() and not out.is_dir():
        raise RequestError("the output folder is a file", file=out, wanted="a folder (--out DIR)")
    places: list[Place] = []
    failed: list[str] = []
    if looks:
        scout = open_scout(what)
        refuse_output_among_stills(what, out)
        opened = open_looks(looks)
        plan = plan_batch(scout, opened, out, only=tuple(only or ()))
        places = metered_places(plan.stills)
        failed = [*map(str, scout.log.errors), *plan.errors]
        for problem in failed:
            say(problem)
    else:
        if only:
            raise RequestError(
                "--only needs a scout", wanted="lookdev cube SCOUT --looks LOOKS --only LOCATION"
            )
        if what.is_dir() and (what / "meter.csv").exists():
            raise RequestError("is a scout: which looks?", file=what, wanted="--looks FOLDER or --looks FILE")
        opened = open_looks([what])
    written = []
    for look, slug in zip(opened, look_slugs(opened), strict=True):
        for place in (None, *places):
            for points in [1024] if one_dimensional else sizes:
                name = cube_file_name(slug, source, target, points, place.name if place else None)
                try:
                    report = export_cube(
                        look,
                        source,
                        target,
                        out / name,
                        size=points,
                        cast=place.cast if place else None,
                        place=place.name if place else None,
                        one_dimensional=one_dimensional,
                        domain=domain,
                    )
                except RequestError:
                    raise
                except LookdevError as error:
                    failed.append(str(error))
                    say(str(error))
                    continue
                written.append(
                    {"look": look.title, "place": place.name if place else None} | report.numbers()
                )
                if not as_json:
                    typer.echo(f"{report.path}\n  whole cube:      {report.whole.words()}")
                    typer.echo(f"  picture colours: {report.picture.words()}")
    if as_json:
        typer.echo(json.dumps({"written": written, "failed": failed}, indent=2, ensure_ascii=False))
    return 1 if failed else 0
