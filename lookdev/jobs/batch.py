"""The whole job: graded stills, the pitch, comparison sheets, .cube files, summary.json."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import RequestError, one_line
from lookdev.files import write_json
from lookdev.jobs.common import (
    Aside,
    Line,
    Progress,
    Tell,
    check_cube_size,
    cube_ends,
    need_stills,
    unheard,
    writing,
)
from lookdev.outputs import inputs_of, refuse_scout
from lookdev.render.executor import CLUSTER_WAIT_SECONDS
from lookdev.render.in_flight import worker_count
from lookdev.survey.join_words import JOIN_HEAD, join_rows
from lookdev.survey.survey import Survey, survey
from lookdev.text.table import table_text

if TYPE_CHECKING:
    from lookdev.jobs.graded import StillOptions
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout
    from lookdev.render.executor import Event
    from lookdev.render.tasks import Task, TaskResult
    from lookdev.stills.part import Part
    from lookdev.stills.still import Still

SUFFIXES = {
    "jpeg": (".jpg", 8),
    "png": (".png", 8),
    "png16": (".png", 16),
    "tiff16": (".tif", 16),
    "avif": (".avif", 16),
    "heic": (".heic", 16),
}
HDR_FORMATS = ("avif", "heic")
STILL_ENCODINGS = ("sRGB", "Display P3", "BT.709")
HDR_ENCODINGS = ("BT.2100 PQ", "BT.2100 PQ 600 to BT.2100 PQ 4000", "BT.2100 HLG")


@dataclass(frozen=True)
class BatchRequest:
    """What was asked for.

    Attributes
    ----------
    scout, looks, out : what to do, with what, and the folder for all that is made.
    only : locations, by name, letter case ignored; all without any.
    still_format : "jpeg" or "png" (8 bits), "png16" or "tiff16" (16 bits), "avif" or "heic" (HDR, 10 bits).
    still_encoding : of graded stills: sRGB, Display P3 or BT.709; None for the still's own (sRGB for raw and
        float). Of HDR formats: BT.2100 PQ (None), BT.2100 PQ 600 to 4000 for another peak, or BT.2100 HLG.
    quality, subsampling : JPEG, AVIF and HEIC quality 1 to 100; "4:4:4", "4:2:2" or "4:2:0".
    cube_in, cube_out, cube_size : encodings and points a side of the .cube files; without ``cube_in`` the
        footage encoding of scout.toml, else sRGB; without ``cube_out`` BT.709, or sRGB from sRGB.
    paper : "a4" or "letter".
    exact : grade every pixel in float64.
    resume : skip what an earlier batch made from the same content.
    tidy : remove what earlier batches left in ``out`` that is not of this one, and was not changed since.
    workers : stills in hand at the same time, as far as memory allows; as many as there are cores.
    cluster : address of a Dask scheduler, or None for this machine.
    cluster_wait_s : how long a cluster may be without any worker before the batch ends.
    salvage : use a truncated JPEG as far as it decodes.
    keep_private : write position, owner and serial numbers into graded stills too.
    max_pixels : refuse larger stills; None for the reader's own limit.
    choices : the director's, as text: each place's chosen look leads.
    reads : files that the looks were read from; nothing is written over them.
    """

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
    tidy: bool = False
    workers: int | None = None
    cluster: str | None = None
    cluster_wait_s: float = CLUSTER_WAIT_SECONDS
    salvage: bool = False
    keep_private: bool = False
    max_pixels: int | None = None
    choices: str | None = None
    reads: tuple[Path, ...] = ()

    def still_options(self) -> StillOptions:
        """How stills are read and written.

        Raises
        ------
        RequestError : no such format, or an encoding that stills are not written in.
        """
        from lookdev.colorimetry.encodings import get_encoding
        from lookdev.jobs.graded import StillOptions
        from lookdev.stills.hdr_writer import is_hdr

        if self.still_format not in SUFFIXES:
            raise RequestError(
                "no such format of stills",
                key="--format",
                found=self.still_format,
                wanted=", ".join(SUFFIXES),
            )
        hdr = self.still_format in HDR_FORMATS
        name = self.still_encoding or (HDR_ENCODINGS[0] if hdr else None)
        target = None if name is None else get_encoding(name)
        if target is not None and not (is_hdr(target) if hdr else target.name in STILL_ENCODINGS):
            other = "--format avif or heic" if is_hdr(target) else ""
            raise RequestError(
                f"stills are not written in this encoding with --format {self.still_format}",
                key="--encoding",
                found=self.still_encoding,
                wanted=other or ", ".join(HDR_ENCODINGS if hdr else STILL_ENCODINGS),
            )
        suffix, bits = SUFFIXES[self.still_format]
        return StillOptions(
            suffix,
            bits,
            self.quality,
            self.subsampling,
            target,
            self.exact,
            salvage=self.salvage,
            keep_private=self.keep_private,
            max_pixels=self.max_pixels,
        )


@dataclass(frozen=True)
class BatchResult:
    """What was made.

    Attributes
    ----------
    survey : the scout as it was resolved.
    stills : what became of each, by the still's name; those that could not be read are not in it.
    sheets : files of the sheets. pitch : files of the pitch. cubes : numbers of each .cube.
    summary : the content of summary.json.
    errors : one line for each thing that could not be done.
    left : files of earlier batches in ``out`` that are not of this one, and are still there.
    """

    survey: Survey
    stills: Mapping[str, TaskResult]
    sheets: Sequence[Path]
    pitch: Sequence[Path]
    cubes: Sequence[Mapping[str, object]]
    summary: dict[str, Any]
    errors: Sequence[str]
    left: Sequence[Path] = ()


def run(request: BatchRequest, tell: Tell = unheard) -> BatchResult:
    """Do the batch.

    Raises
    ------
    RequestError : the request is wrong; nothing has been written.
    """
    from lookdev.jobs.beside import BesideWork
    from lookdev.jobs.choices import settle
    from lookdev.jobs.cubes import cube_jobs
    from lookdev.jobs.graded import graded_files, plan_tasks
    from lookdev.jobs.leftovers import Made, settle_leftovers
    from lookdev.jobs.pitch import frame_files, pitch_files
    from lookdev.jobs.summary import batch_summary
    from lookdev.pages.from_batch import sheet_files
    from lookdev.render.executor import check_cluster, open_run

    out, looks, scout = request.out, request.looks, request.scout
    refuse_scout(scout.folder, out)
    if request.tidy and request.only:
        raise RequestError(
            "a part of the scout does not know what else is of it",
            key="--tidy",
            wanted="a run without --only",
        )
    check_cube_size(request.cube_size, "--cube-size")
    ends = cube_ends(request.cube_in, request.cube_out, scout.plan.footage_encoding)
    options = request.still_options()
    surveyed = survey(scout, request.only, salvage=request.salvage, max_pixels=request.max_pixels)
    need_stills(surveyed)
    settled = settle(surveyed, looks, request.choices)
    tasks = plan_tasks(surveyed, looks, out, options, out / ".lookdev" / "thumbnails")
    if request.cluster is not None:
        check_cluster(request.cluster)
    errors = list(surveyed.errors)
    state = out / ".lookdev"
    names = {(task.still, task.part): name for name, task in tasks.items()}
    cube_work = cube_jobs(surveyed, looks, out / "cubes", ends, (request.cube_size,))
    files = [output.path for task in tasks.values() for output in task.outputs]
    files += [job.path for job in cube_work]
    files += [*pitch_files(out / "pitch"), *frame_files(surveyed, out / "pitch").values()]
    files += [out / "summary.json", state / "journal.jsonl", state / "thumbnails" / "x"]
    inputs = inputs_of(scout, more=request.reads)
    pages = sheet_files(surveyed, out / "sheets")
    with writing(out, inputs, files, pages, verb="batch", tell=tell):
        tell(Aside(table_text(JOIN_HEAD, join_rows(surveyed))))
        for line in (*surveyed.warnings, *settled.warnings, *errors):
            tell(Line(line))
        workers = worker_count(request.workers)
        with open_run(state, workers=workers, resume=request.resume, cluster=request.cluster) as running:
            work = BesideWork(
                running, surveyed, looks, settled, out, request.paper, options, workers, cube_work, ends
            )
            work.warn(tell)
            if request.cluster is None:
                work.begin(workers - len(tasks))

            def heard(event: Event) -> None:
                _tell_event(event, names, tell)
                if event.result is not None:
                    work.still_done(names[event.result.still, event.result.part], event.result)

            def see(task: Task, still: Still) -> None:
                work.see(names[task.still, task.part], still)

            done = running.stills(list(tasks.values()), heard, request.cluster_wait_s, see)
            results = dict(zip(tasks, done, strict=True))
            errors += [line for result in done for line in result.errors]
            beside = work.finish(_but_not(errors, tell))
        errors += [line for line in beside.errors if line not in errors]
        summary = batch_summary(
            surveyed,
            looks,
            results,
            out,
            answers=beside.answers,
            cubes=beside.cubes,
            sheets=beside.sheets,
            pitch=beside.pitch,
            choices=settled,
            errors=errors,
        )
        write_json(out / "summary.json", summary)
        kept = [
            path for paths in graded_files(surveyed, looks, out, options.suffix).values() for path in paths
        ]
        luts = [out / "cubes" / str(cube["file"]) for cube in beside.cubes]
        written = [*beside.sheets, *beside.pitch.written, *beside.pitch.frames, *luts]
        made = Made((*files, *kept), pages, written, [path for r in done for path in r.thumbnails])
        left: Sequence[Path] = ()
        if not request.only:
            left = settle_leftovers(out, made, inputs, tidy=request.tidy, failed=len(errors), tell=tell)
    return BatchResult(
        surveyed, results, beside.sheets, beside.pitch.written, beside.cubes, summary, errors, left
    )


def _but_not(errors: Sequence[str], tell: Tell) -> Tell:
    """``tell`` without the lines of ``errors``: pages meet a bad still again that has been named."""
    told = frozenset(errors)
    return lambda said: None if isinstance(said, Line) and said.text in told else tell(said)


def _tell_event(event: Event, names: Mapping[tuple[Path, Part | None], str], tell: Tell) -> None:
    if event.result is not None:
        name = one_line(names[event.result.still, event.result.part])
        for line in event.result.errors:
            tell(Line(line))
        for line in event.result.warnings:
            tell(Line(f"{name}: {line}"))
        tell(Progress(event.done, event.total, name))
    elif event.text:
        tell(Line(event.text))
