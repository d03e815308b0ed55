"""What `batch` and `sheet` do once the request is understood: run, tell, write, count."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.cli.common import (
    Steps,
    check_cube_size,
    check_folder,
    compile_on_first_use,
    cube_ends,
    progress,
    say,
)
from lookdev.colorimetry.encodings import get_encoding
from lookdev.errors import LookdevError, RequestError, one_line
from lookdev.files import write_json

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import LookLike
    from lookdev.lut.places import Place
    from lookdev.meter.scout import Scout
    from lookdev.render.batch import BatchPlan, PlannedStill
    from lookdev.render.executor import Event
    from lookdev.render.preview import Preview
    from lookdev.render.tasks import TaskResult

SUFFIXES = {"jpeg": (".jpg", 8), "png": (".png", 8), "png16": (".png", 16), "tiff16": (".tif", 16)}
STILL_ENCODINGS = ("sRGB", "Display P3", "BT.709")


@dataclass(frozen=True)
class BatchRequest:
    """What was asked for; see ``lookdev batch --help``. ``reads`` : the files of the looks."""

    scout: Scout
    looks: tuple[LookLike, ...]
    out: Path
    only: tuple[str, ...] = ()
    still_format: str = "jpeg"
    still_encoding: str | None = None
    quality: int = 92
    subsampling: str = "4:4:4"
    cube_in: str | None = None
    cube_out: str | None = None
    cube_size: int = 33
    paper: str = "a4"
    exact: bool = False
    resume: bool = False
    workers: int = 2
    cluster: str | None = None
    salvage: bool = False
    keep_private: bool = False
    max_pixels: int | None = None
    as_json: bool = False
    reads: tuple[Path, ...] = ()


def run_batch(request: BatchRequest) -> int:
    """Do the batch; returns the exit status."""
    from lookdev.outputs import inputs_of, refuse_scout, writing
    from lookdev.render.batch import StillOptions, plan_batch
    from lookdev.render.executor import check_cluster, run_tasks
    from lookdev.render.summary import batch_summary
    from lookdev.sheets.from_batch import build_sheets, preview_of, sheet_files

    out = request.out
    refuse_scout(request.scout.folder, out)
    check_cube_size(request.cube_size, "--cube-size")
    ends = cube_ends(request.cube_in, request.cube_out, request.scout.plan.footage_encoding)
    suffix, bits = SUFFIXES[request.still_format]
    options = StillOptions(
        suffix,
        bits,
        request.quality,
        request.subsampling,
        _still_target(request.still_encoding),
        request.exact,
        salvage=request.salvage,
        keep_private=request.keep_private,
        max_pixels=request.max_pixels,
    )
    plan = plan_batch(
        request.scout,
        request.looks,
        out,
        only=request.only,
        options=options,
        thumbnails=out / ".lookdev" / "thumbnails",
    )
    if request.cluster is not None:
        check_cluster(request.cluster)
    errors = _log_errors(request.scout)
    errors += list(plan.errors)
    state = out / ".lookdev"
    files = [output.path for task in plan.tasks for output in task.outputs]
    files += [out / "cubes" / name for _, _, _, name in cube_jobs(plan, ends, request.cube_size)]
    files += [out / "summary.json", state / "journal.jsonl", state / "thumbnails" / "x"]
    inputs = inputs_of(request.scout, more=request.reads)
    with writing(out, inputs, files, sheet_files(plan, out / "sheets")), progress() as step:
        for line in (*request.scout.log.warnings, *_still_warnings(plan), *errors):
            say(str(line))

        def tell(event: Event) -> None:
            if event.result is not None:
                name = one_line(event.result.still.name)
                for line in event.result.errors:
                    say(line)
                for line in event.result.warnings:
                    say(f"{name}: {line}")
                step(event.done, event.total, name)
            elif event.text:
                say(event.text)

        results = run_tasks(
            plan.tasks,
            state=state,
            workers=request.workers,
            resume=request.resume,
            cluster=request.cluster,
            on_event=tell,
        )
        by_still = {result.still: result for result in results}
        errors += [line for result in results for line in result.errors]
        sheets = build_sheets(
            plan,
            lambda stills: {p.path: preview_of(by_still[p.path]) for p in stills},
            out / "sheets",
            request.paper,
            step,
        )
        cubes, cube_errors = write_cubes(plan, out / "cubes", ends, request.cube_size, request.workers, step)
        for line in (*sheets.errors, *cube_errors):
            say(line)
        errors += [*sheets.errors, *cube_errors]
        summary = batch_summary(
            plan,
            by_still,
            out,
            answers=sheets.answers,
            cubes=cubes,
            sheets=sheets.written,
            errors=errors,
        )
        write_json(out / "summary.json", summary)
    if request.as_json:
        print(json.dumps(summary, indent=2, ensure_ascii=False))
    else:
        pages = sum(path.suffix == ".pdf" for path in sheets.written)
        _table(plan, by_still, out, len(cubes), pages, errors)
    return 1 if errors else 0


def run_sheets(request: BatchRequest) -> int:
    """Do the sheets alone, from stills decoded at reduced scale; returns the exit status."""
    from lookdev.outputs import inputs_of, refuse_scout, writing
    from lookdev.render.batch import StillOptions, plan_batch
    from lookdev.render.preview import do_preview
    from lookdev.sheets.from_batch import build_sheets, sheet_files

    refuse_scout(request.scout.folder, request.out)
    options = StillOptions(salvage=request.salvage, max_pixels=request.max_pixels)
    plan = plan_batch(request.scout, request.looks, request.out, only=request.only, options=options)
    check_folder(request.out)
    errors = _log_errors(request.scout) + list(plan.errors)
    total, seen = len(plan.tasks), 0
    inputs = inputs_of(request.scout, more=request.reads)
    with (
        writing(request.out, inputs, [], sheet_files(plan, request.out)),
        progress() as step,
        ThreadPoolExecutor(request.workers) as pool,
    ):
        compile_on_first_use()

        def load(stills: list[PlannedStill]) -> dict[Path, Preview]:
            nonlocal seen
            previews: dict[Path, Preview] = {}
            for still, preview in zip(stills, pool.map(do_preview, [p.task for p in stills]), strict=True):
                previews[still.path] = preview
                errors.extend([preview.error] if preview.error else [])
                seen += 1
                step(seen, total, one_line(still.path.name))
            return previews

        sheets = build_sheets(plan, load, request.out, request.paper, step)
    errors += sheets.errors
    for line in (*request.scout.log.warnings, *_still_warnings(plan), *errors):
        say(str(line))
    if request.as_json:
        print(
            json.dumps(
                {"sheets": [str(path) for path in sheets.written], "errors": errors}, ensure_ascii=False
            )
        )
    else:
        for path in sheets.written:
            print(path)
    return 1 if errors else 0


def _still_target(name: str | None) -> Encoding | None:
    if name is None:
        return None
    encoding = get_encoding(name)
    if encoding.name not in STILL_ENCODINGS:
        raise RequestError(
            "stills are not written in this encoding",
            key="--encoding",
            found=name,
            wanted=", ".join(STILL_ENCODINGS),
        )
    return encoding


def _log_errors(scout: Scout) -> list[str]:
    return [str(error) for error in scout.log.errors]


def _still_warnings(plan: BatchPlan) -> list[str]:
    """What was decided with a reservation: one line a reservation, with the stills that it is about."""
    about: dict[str, list[str]] = {}
    for planned in plan.stills:
        for warning in planned.resolved.warnings:
            about.setdefault(warning, []).append(one_line(planned.path.name))
    lines = []
    for warning, names in about.items():
        rest = f" and {len(names) - 3} more" if len(names) > 4 else ""
        shown = names[:3] if rest else names
        lines.append(f"{', '.join(shown)}{rest}: {warning}")
    return lines


def cube_jobs(
    plan: BatchPlan, ends: tuple[Encoding, Encoding], size: int
) -> list[tuple[LookLike, str, Place | None, str]]:
    """Look, its slug, place and file name of every .cube of a batch."""
    from lookdev.lut.bake import cube_file_name
    from lookdev.lut.places import metered_places
    from lookdev.render.batch import look_slugs

    places = metered_places(plan.stills)
    return [
        (look, slug, place, cube_file_name(slug, *ends, size, place.name if place else None))
        for look, slug in zip(plan.looks, look_slugs(plan.looks), strict=True)
        for place in (None, *places)
    ]


def write_cubes(
    plan: BatchPlan, folder: Path, ends: tuple[Encoding, Encoding], size: int, workers: int, step: Steps
) -> tuple[list[Mapping[str, object]], list[str]]:
    """Each look alone, and with the balance of each metered place; returns what was written, and errors."""
    from lookdev.lut.bake import export_cube

    source, target = ends
    jobs = cube_jobs(plan, ends, size)

    def one(job: tuple[LookLike, str, Place | None, str]) -> dict[str, object] | str:
        look, _, place, name = job
        try:
            report = export_cube(
                look,
                source,
                target,
                folder / name,
                size=size,
                cast=place.cast if place else None,
                place=place.name if place else None,
            )
        except LookdevError as error:
            return str(error)
        return {"look": look.title, "balance": place.name if place else None, **report.numbers()}

    written: list[Mapping[str, object]] = []
    errors: list[str] = []
    with ThreadPoolExecutor(workers) as pool:
        for count, made in enumerate(pool.map(one, jobs), 1):
            if isinstance(made, str):
                errors.append(made)
            else:
                written.append(made)
            look, _, place, _ = jobs[count - 1]
            step(count, len(jobs), f"cube {look.title}" + (f", {place.name}" if place else ""))
    return written, errors


def _table(
    plan: BatchPlan,
    results: Mapping[Path, TaskResult],
    out: Path,
    cubes: int,
    sheets: int,
    errors: Sequence[str],
) -> None:
    from lookdev.text.table import print_table

    rows = []
    for planned in plan.stills:
        result = results.get(planned.path)
        done = sum(1 for o in result.outputs if o.error is None) if result is not None else 0
        source = planned.reading.source if planned.reading is not None else None
        rows.append(
            [
                planned.location,
                one_line(planned.path.name),
                source or "",
                (result.encoding or "") if result is not None else "",
                "metered" if planned.resolved.cast is not None else "as it stood",
                f"{done} of {len(plan.looks)}",
            ]
        )
    print_table(["location", "still", "source", "encoding", "balance", "looks"], rows)
    failed = f", {len(errors)} failed (named above)" if errors else ""
    print(
        f"{len(plan.stills)} stills, {len(plan.looks)} looks, {sheets} sheets, {cubes} cubes in {out}{failed}"
    )
