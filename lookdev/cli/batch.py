"""``lookdev batch``: the whole job."""

from __future__ import annotations

import enum
import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lookdev.cli.options import (
    Choices,
    Looks,
    MaxPixels,
    Only,
    Paper,
    PaperChoice,
    Salvage,
    ScoutFolder,
    Workers,
)

if TYPE_CHECKING:
    from lookdev.jobs.batch import BatchResult


class StillFormat(enum.StrEnum):
    """How graded stills are written."""

    jpeg = "jpeg"
    png = "png"
    png16 = "png16"
    tiff16 = "tiff16"
    avif = "avif"
    heic = "heic"


class Chroma(enum.StrEnum):
    """Chroma subsampling of JPEG, AVIF and HEIC."""

    full = "4:4:4"
    half = "4:2:2"
    quarter = "4:2:0"


def batch(
    scout: ScoutFolder,
    looks: Looks = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Output folder; default: SCOUT_lookdev beside the scout."),
    ] = None,
    only: Only = None,
    still_format: Annotated[
        StillFormat,
        typer.Option(
            "--format",
            help="Graded stills: 8-bit jpeg or png, 16-bit png16 or tiff16, 10-bit HDR avif or heic (heic is "
            "slower).",
        ),
    ] = StillFormat.jpeg,
    still_encoding: Annotated[
        str | None,
        typer.Option(
            "--encoding",
            help="Encoding of the graded stills: sRGB, Display P3 or BT.709; default: the still's own "
            '(sRGB for raw and float). Of avif and heic: PQ (default; to a peak of 1000 cd/m2, "PQ 4000" to '
            "another of 600 to 4000) or HLG.",
        ),
    ] = None,
    quality: Annotated[int, typer.Option(min=1, max=100, help="Quality of jpeg, avif and heic.")] = 92,
    subsampling: Annotated[
        Chroma, typer.Option(help="Chroma subsampling of jpeg, avif and heic.")
    ] = Chroma.full,
    cube_in: Annotated[
        str | None,
        typer.Option(
            help="Encoding that the .cube files take, as `lookdev encodings` names it; default: "
            "footage_encoding of scout.toml, else sRGB."
        ),
    ] = None,
    cube_out: Annotated[
        str | None,
        typer.Option(help="Encoding that the .cube files give; default: BT.709, or sRGB from sRGB."),
    ] = None,
    cube_size: Annotated[int, typer.Option(help="Points a side of the .cube: 17, 33 or 65.")] = 33,
    paper: PaperChoice = Paper.a4,
    exact: Annotated[
        bool, typer.Option("--exact", help="Grade every pixel in float64: slow, the reference.")
    ] = False,
    resume: Annotated[
        bool,
        typer.Option("--resume", help="Go on with an interrupted batch; skip what is done and unchanged."),
    ] = False,
    tidy: Annotated[
        bool,
        typer.Option(
            "--tidy",
            help="Remove what earlier batches left in OUT that is not of this one: only files that a batch "
            "wrote there and nobody changed since. Without it they are named.",
        ),
    ] = False,
    workers: Workers = None,
    cluster: Annotated[
        str | None,
        typer.Option(help="Address of a Dask scheduler that sees the same folders (lookdev[cluster])."),
    ] = None,
    cluster_wait_s: Annotated[
        float,
        typer.Option(
            "--cluster-wait",
            metavar="SECONDS",
            min=0,
            help="End where the cluster has had no worker so long.",
        ),
    ] = 600,
    choices: Choices = None,
    salvage: Salvage = False,
    keep_private: Annotated[
        bool,
        typer.Option(
            "--keep-private",
            help="Write position, owner and serial numbers into graded stills too; else they are dropped.",
        ),
    ] = False,
    max_pixels: MaxPixels = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print summary.json instead of the table.")] = False,
) -> None:
    """Do the whole job: graded stills, the pitch, comparison sheets, .cube files, summary.json.

    OUT then holds `graded/LOCATION/STILL__LOOK.jpg`, `pitch/pitch.pdf` and `pitch.html` (see `lookdev pitch
    --help`), `sheets/LOCATION.pdf` and `.png`, `sheets/overview.pdf` and `.png`, `cubes/` (each look alone,
    and with the balance of each location) and `summary.json`.

    Examples: `lookdev batch day1 --looks looks --out pitch`, `lookdev batch day1 -l slack_water.toml --only
    "Net loft" --cube-in ACEScct`.
    """
    from lookdev.jobs.common import looks_for, open_scout
    from lookdev.render.in_flight import worker_count
    from lookdev.stills.ahead import begin

    opened, workers = open_scout(scout), worker_count(workers)
    if not (resume or only or cluster):  # else these may be others than come first, or none
        begin(opened.stills[:workers])

    from lookdev.cli.common import told
    from lookdev.jobs.batch import BatchRequest, run
    from lookdev.jobs.choices import choices_from
    from lookdev.lut.look_files import files_of_looks

    request = BatchRequest(
        opened,
        looks_for(opened, looks),
        out or scout.resolve().with_name(scout.resolve().name + "_lookdev"),
        only=tuple(only or ()),
        still_format=still_format.value,
        still_encoding=still_encoding,
        quality=quality,
        subsampling=subsampling.value,
        cube_in=cube_in,
        cube_out=cube_out,
        cube_size=cube_size,
        paper=paper.value,
        exact=exact,
        resume=resume,
        tidy=tidy,
        workers=workers,
        cluster=cluster,
        cluster_wait_s=cluster_wait_s,
        salvage=salvage,
        keep_private=keep_private,
        max_pixels=max_pixels,
        choices=choices_from(choices),
        reads=files_of_looks(looks),
    )
    with told() as tell:
        result = run(request, tell)
    if as_json:
        print(json.dumps(result.summary, indent=2, ensure_ascii=False))
    else:
        _print_table(result, len(request.looks), request.out)
    raise typer.Exit(1 if result.errors else 0)


def _print_table(result: BatchResult, looks: int, out: Path) -> None:
    from lookdev.errors import one_line
    from lookdev.text.table import print_table

    rows = []
    for still in result.survey.stills:
        made = result.stills.get(still.name)
        done = sum(1 for o in made.outputs if o.error is None) if made is not None else 0
        source = still.reading.source if still.reading is not None else None
        rows.append(
            [
                still.location,
                one_line(still.name),
                source or "",
                (made.encoding or "") if made is not None else "",
                "metered" if still.cast is not None else "as it stood",
                f"{done} of {looks}",
            ]
        )
    print_table(["location", "still", "source", "encoding", "balance", "looks"], rows)
    pages = sum(path.suffix == ".pdf" for path in result.sheets)
    failed = f", {len(result.errors)} failed (named above)" if result.errors else ""
    print(
        f"{len(result.survey.stills)} stills, {looks} looks, {pages} sheets, {len(result.cubes)} cubes in "
        f"{out}{failed}"
    )
