"""From a survey to tasks: which still, through which looks, into which files, with which small pictures.

Everything here is decided before the first pixel is graded, so that a wrong request stops before anything is
written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.colorimetry.encodings import Encoding
from lookdev.names import location_names, look_names, still_stems
from lookdev.pages.comparison import ENOUGH, ENOUGH_TO_FIND, picture_edge_px
from lookdev.pages.from_batch import is_as_it_stood
from lookdev.render.grader import Output
from lookdev.render.tasks import Task

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lookdev.looks.pipeline import LookLike
    from lookdev.survey.survey import Survey, SurveyedStill

LARGEST_THUMBNAIL_PX = 1800


@dataclass(frozen=True)
class StillOptions:
    """How stills are read and graded stills are written.

    ``suffix`` .jpg, .png or .tif; ``bits`` 8 or 16; ``target`` None keeps the still's own encoding.
    """

    suffix: str = ".jpg"
    bits: int = 8
    quality: int = 92
    subsampling: str = "4:4:4"
    target: Encoding | None = None
    exact: bool = False
    salvage: bool = False
    keep_private: bool = False
    max_pixels: int | None = None


def plan_tasks(
    survey: Survey,
    looks: tuple[LookLike, ...],
    out: Path,
    options: StillOptions | None = None,
    thumbnails: Path | None = None,
) -> dict[str, Task]:
    """A task for each still that can be used, by the still's name, in the order of the survey.

    Parameters
    ----------
    survey, looks : what to do, with what.
    out : output folder; graded stills go to ``out/graded/LOCATION/STILL__LOOK.jpg``.
    thumbnails : folder for small pictures for the sheets, or None.
    """
    options = options or StillOptions()
    files = graded_files(survey, looks, out, options.suffix)
    edges = _edges(survey, sum(not is_as_it_stood(look) for look in looks))
    tasks: dict[str, Task] = {}
    for still in survey.usable:
        outputs = tuple(
            _output(still, look, path, options) for look, path in zip(looks, files[still.name], strict=True)
        )
        tasks[still.name] = _task(still, outputs, options, thumbnails, edges[still.name])
    return tasks


def graded_files(survey: Survey, looks: Sequence[LookLike], out: Path, suffix: str) -> dict[str, list[Path]]:
    """By the still's name, its graded stills, one a look; of those too that cannot be read."""
    slugs = look_names(look.title for look in looks)
    folders = location_names(survey.every_location)
    stems = still_stems([name for _, name in survey.every_still])
    return {
        still.name: [
            out / "graded" / folders[still.location] / f"{stems[still.name]}__{slug}{suffix}"
            for slug in slugs
        ]
        for still in survey.stills
    }


def preview_task(
    still: SurveyedStill,
    looks: Sequence[LookLike],
    box: tuple[int, int],
    options: StillOptions | None = None,
) -> Task:
    """A task for :func:`lookdev.render.preview.do_preview`: a still at reduced scale, to fit ``box`` (width,
    height), and through each look; nothing is written."""
    options = options or StillOptions()
    outputs = tuple(_output(still, look, Path(f"{i}.jpg"), options) for i, look in enumerate(looks))
    return replace(_task(still, outputs, options, None, 1), thumbnail_box=box)


def _output(still: SurveyedStill, look: LookLike, path: Path, options: StillOptions) -> Output:
    return Output(
        look,
        path,
        still.cast,
        still.exposure_stops,
        options.target,
        options.bits,
        options.quality,
        options.subsampling,
    )


def _task(
    still: SurveyedStill,
    outputs: tuple[Output, ...],
    options: StillOptions,
    thumbnails: Path | None,
    edge: int,
) -> Task:
    return Task(
        still.path,
        outputs,
        thumbnails,
        (edge, edge),
        exact=options.exact,
        salvage=options.salvage,
        keep_private=options.keep_private,
        max_pixels=options.max_pixels,
        light_xy=still.light_xy,
        part=still.part,
    )


def grade(
    still: SurveyedStill, look: LookLike, options: StillOptions | None = None
) -> tuple[NDArray[Any], Encoding]:
    """Code values (h, w, 3) of a still through a look, and their encoding: the very pixels of a batch.

    Balance and exposure are the survey's. ``options`` : bits, target, exact and how to read, as in a batch.

    Raises
    ------
    StillError : it cannot be read.
    """
    from lookdev.render.grader import target_of
    from lookdev.render.lattice import grade_fast
    from lookdev.render.reference import grade_reference

    options = options or StillOptions()
    task = _task(still, (), options, None, 1)
    read = task.read()
    output = _output(still, look, Path(), options)
    target = target_of(output, read)
    transform = look.transform(read.encoding, target, still.cast, still.exposure_stops)
    graded = grade_reference if options.exact else grade_fast
    return graded(read.pixels, transform, bits=options.bits), target


def thumbnail_edge_px(size: tuple[int, int], stills: int, columns: int) -> int:
    """Long edge of a small picture of a still (height, width), one of ``stills`` like it, in ``columns``."""
    return _edge([size[1] / size[0]] * stills, columns - 1, 1)


def _edge(aspects: Sequence[float], looks: int, repeated: int, enough: float = ENOUGH) -> int:
    return min(LARGEST_THUMBNAIL_PX, max(360, picture_edge_px(aspects, looks, repeated, enough)))


def _edges(survey: Survey, looks: int) -> dict[str, int]:
    """By the still's name, the long edge of its small pictures: what its place on the sheets can show."""
    groups: dict[str, list[SurveyedStill]] = {}
    for still in survey.usable:
        groups.setdefault(still.location, []).append(still)
    edges: dict[str, int] = {}
    for group in groups.values():
        repeated = 1 + any(still.exposure_stops for still in group)
        edge = _edge([still.size[1] / still.size[0] for still in group], looks, repeated)
        edges |= {still.name: edge for still in group}
    first = [group[0] for group in groups.values()]
    if first:
        overview = _edge([still.size[1] / still.size[0] for still in first], looks, 1, ENOUGH_TO_FIND)
        edges |= {still.name: max(edges[still.name], overview) for still in first}
    return edges
