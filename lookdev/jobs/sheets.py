"""Comparison sheets alone, from stills decoded at reduced scale: the quick way to try a look."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.errors import one_line
from lookdev.jobs.common import (
    Line,
    Tell,
    check_folder,
    compile_on_first_use,
    counter,
    need_stills,
    unheard,
    writing,
)
from lookdev.outputs import inputs_of, refuse_scout
from lookdev.render.in_flight import worker_count
from lookdev.survey.survey import Survey, SurveyedStill, survey

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout
    from lookdev.render.preview import Preview


@dataclass(frozen=True)
class SheetsRequest:
    """What was asked for; each name as in :class:`lookdev.jobs.batch.BatchRequest`."""

    scout: Scout
    looks: tuple[LookLike, ...]
    out: Path
    only: tuple[str, ...] = ()
    paper: str = "a4"
    workers: int | None = None
    salvage: bool = False
    max_pixels: int | None = None
    reads: tuple[Path, ...] = ()
    choices: str | None = None


@dataclass(frozen=True)
class SheetsResult:
    """``written`` : the overview, then a sheet a location, each as PDF and PNG. ``errors`` : a line each."""

    survey: Survey
    written: list[Path]
    errors: list[str]


def run(request: SheetsRequest, tell: Tell = unheard) -> SheetsResult:
    """Draw the sheets.

    Raises
    ------
    RequestError : the request is wrong; nothing has been written.
    """
    from lookdev.jobs.choices import settle
    from lookdev.jobs.graded import StillOptions, plan_tasks
    from lookdev.pages.from_batch import build_sheets, sheet_files
    from lookdev.render.preview import do_preview

    refuse_scout(request.scout.folder, request.out)
    options = StillOptions(salvage=request.salvage, max_pixels=request.max_pixels)
    surveyed = survey(request.scout, request.only, salvage=request.salvage, max_pixels=request.max_pixels)
    need_stills(surveyed)
    settled = settle(surveyed, request.looks, request.choices)
    tasks = plan_tasks(surveyed, request.looks, request.out, options)
    check_folder(request.out)
    errors = list(surveyed.errors)
    step, seen = counter(tell), 0
    inputs = inputs_of(request.scout, more=request.reads)
    pages = sheet_files(surveyed, request.out)
    with (
        writing(request.out, inputs, [], pages, verb="sheet", tell=tell),
        ThreadPoolExecutor(worker_count(request.workers)) as pool,
    ):
        compile_on_first_use(tell)

        def load(stills: list[SurveyedStill]) -> dict[str, Preview]:
            nonlocal seen
            previews: dict[str, Preview] = {}
            wanted = [tasks[still.name] for still in stills]
            for still, preview in zip(stills, pool.map(do_preview, wanted), strict=True):
                previews[still.name] = preview
                errors.extend([preview.error] if preview.error else [])
                seen += 1
                step(seen, len(tasks), one_line(still.name))
            return previews

        sheets = build_sheets(
            surveyed, request.looks, load, request.out, request.paper, step, settled.by_location
        )
    errors += sheets.errors
    for line in (*surveyed.warnings, *settled.warnings, *errors):
        tell(Line(line))
    return SheetsResult(surveyed, sheets.written, errors)
