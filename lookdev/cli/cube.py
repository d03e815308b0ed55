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
        list[int] | None, typer.Option("--size", help="Points along an edge: 17, 33, 65. May be repeated.")
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
        typer.Option("--out", "-o", help="Folder for the .cube files; default: cubes, never in a scout."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="For programs: what was written, as JSON.")] = False,
) -> int:
    """Write .cube files (Cube LUT Specification 1.0) of looks, each with its error against the look.

    `lookdev cube looks/slack_water.toml --encoding-in ACEScct --encoding-out BT.709 --out cubes`

    `lookdev cube SCOUT --looks looks --out cubes` writes every look alone, and with each location's balance.
    """
    from lookdev.cli.common import check_cube_size, check_folder, cube_ends, open_scout, say
    from lookdev.colorimetry.encodings import with_range
    from lookdev.errors import LookdevError, RequestError
    from lookdev.lut.bake import cube_file_name, export_cube
    from lookdev.lut.places import Place, metered_places
    from lookdev.lut.received import open_looks
    from lookdev.outputs import default_folder, inputs_of, refuse_any_scout, refuse_scout, writing
    from lookdev.render.batch import look_slugs, plan_batch

    out = out if out is not None else default_folder("cubes", what if looks else None)
    sizes = list(dict.fromkeys(size or [33]))
    for wanted in sizes:
        check_cube_size(wanted, "--size")
    footage: str | None = None
    places: list[Place] = []
    failed: list[str] = []
    scout = None
    if looks:
        scout = open_scout(what)
        refuse_scout(what, out)
        footage = scout.plan.footage_encoding
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
        refuse_any_scout(out)
        opened = open_looks([what])
    source, target = cube_ends(encoding_in, encoding_out, footage)
    source, target = with_range(source, range_in), with_range(target, range_out)
    check_folder(out)
    jobs = [
        (
            look,
            place,
            points,
            out / cube_file_name(slug, source, target, points, place.name if place else None),
        )
        for look, slug in zip(opened, look_slugs(opened), strict=True)
        for place in (None, *places)
        for points in ([1024] if one_dimensional else sizes)
    ]
    inputs = inputs_of(scout, looks or [what])
    written = []
    with writing(out, inputs, [path for *_, path in jobs]):
        for look, place, points, path in jobs:
            try:
                report = export_cube(
                    look,
                    source,
                    target,
                    path,
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
            written.append({"look": look.title, "place": place.name if place else None} | report.numbers())
            if not as_json:
                typer.echo(f"{report.path}\n  whole cube:      {report.whole.words()}")
                typer.echo(f"  picture colours: {report.picture.words()}")
    if as_json:
        typer.echo(json.dumps({"written": written, "failed": failed}, indent=2, ensure_ascii=False))
    return 1 if failed else 0
