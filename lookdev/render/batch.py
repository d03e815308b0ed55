"""The whole scout as a list of tasks: which still, which reading, which looks, which files.

Everything here is decided before the first pixel is graded, so that a wrong request stops before anything is
written.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.colorimetry.encodings import Encoding
from lookdev.errors import LookdevError, RequestError
from lookdev.files import safe_name
from lookdev.render.resolve import Resolved, resolve_reading, resolve_still
from lookdev.render.tasks import Output, Task

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.log import Reading
    from lookdev.meter.scout import Scout
    from lookdev.stills.still import Metadata

UNLOGGED = "No reading"
"""What stills that no row of the log names are listed under."""
LARGEST_THUMBNAIL_PX = 1100
SHEET_WIDTH_PX = 2300  # A4 landscape at 200 dpi, margins off, and a little more
WIDE_ASPECT = 1.9
MOST_ACROSS = 7  # pictures in a line of a comparison sheet that can still be judged


@dataclass(frozen=True)
class StillOptions:
    """How graded stills are written: ``suffix`` .jpg, .png or .tif; ``bits`` 8 or 16; JPEG settings."""

    suffix: str = ".jpg"
    bits: int = 8
    quality: int = 92
    subsampling: str = "4:4:4"
    target: Encoding | None = None
    exact: bool = False
    salvage: bool = False
    keep_private: bool = False
    max_pixels: int | None = None


@dataclass(frozen=True)
class PlannedStill:
    """One still with what was decided about it."""

    path: Path
    name: str
    location: str
    reading: Reading | None
    resolved: Resolved
    exposure_stops: float
    task: Task
    metadata: Metadata | None = None
    error: str | None = None


@dataclass(frozen=True)
class BatchPlan:
    """``stills`` in the order of the sheets; ``locations`` in the order of the meter log."""

    scout: Scout
    looks: tuple[LookLike, ...]
    stills: tuple[PlannedStill, ...]
    locations: tuple[str, ...]
    errors: tuple[str, ...] = ()

    @property
    def tasks(self) -> list[Task]:
        """The work, a still each."""
        return [planned.task for planned in self.stills if planned.error is None]


def look_slugs(looks: tuple[LookLike, ...]) -> list[str]:
    """A file-name-safe name for each look, unique, from its title."""
    return _unique([safe_name(look.title).lower() for look in looks])


def _unique(names: list[str]) -> list[str]:
    seen: dict[str, int] = {}
    out = []
    for name in names:
        key = name.casefold()
        seen[key] = seen.get(key, 0) + 1
        out.append(name if seen[key] == 1 else f"{name}_{seen[key]}")
    return out


def plan_batch(
    scout: Scout,
    looks: tuple[LookLike, ...],
    out: Path,
    *,
    only: tuple[str, ...] = (),
    options: StillOptions | None = None,
    thumbnails: Path | None = None,
) -> BatchPlan:
    """Decide everything about a batch.

    Parameters
    ----------
    scout, looks : what to do, with what.
    out : output folder; graded stills go to ``out/graded/LOCATION/STILL__LOOK.jpg``.
    only : locations to do, by name, case ignored; empty for all.
    thumbnails : folder for small pictures for the sheets, or None.

    Raises
    ------
    RequestError : a location in ``only`` does not exist, or there is no still at all.
    """
    from lookdev.meter.log import reading_for

    options = options or StillOptions()
    if not scout.stills:
        raise RequestError("no stills in this folder", file=scout.folder, wanted="pictures, and meter.csv")
    readings = scout.log.readings
    by_still = {path: reading_for(_relative(path, scout), readings) for path in scout.stills}
    wanted = _wanted_locations(scout, by_still, only)
    slugs = look_slugs(looks)
    paths = [p for p in scout.stills if _location(by_still[p]) in wanted]
    paths.sort(key=lambda p: (wanted.index(_location(by_still[p])), _relative(p, scout)))
    names = _unique_stems([_relative(p, scout) for p in paths])
    errors: list[str] = []
    planned: list[PlannedStill] = []
    crowd = Counter(_location(by_still[path]) for path in paths)
    for path, name in zip(paths, names, strict=True):
        reading = by_still[path]
        location = _location(reading)
        error = None
        resolved, stops, metadata = Resolved(), 0.0, None
        task = Task(
            path,
            thumbnails=thumbnails,
            exact=options.exact,
            salvage=options.salvage,
            keep_private=options.keep_private,
            max_pixels=options.max_pixels,
            light_xy=_light_xy(reading),
        )
        try:
            metadata, resolved, size = _decide(task, reading, scout)
            fills_overview = len(crowd) == 1 and not planned
            edge = thumbnail_edge_px(size, 1 if fills_overview else crowd[location], len(looks) + 1)
            task = replace(task, thumbnail_box=(edge, edge))
            stops, resolved = _matched(metadata, reading, scout, resolved)
        except LookdevError as problem:
            error = str(problem)
            errors.append(error)
        outputs = tuple(
            Output(
                look,
                out / "graded" / safe_name(location) / f"{name}__{slug}{options.suffix}",
                resolved.cast,
                stops,
                options.target,
                options.bits,
                options.quality,
                options.subsampling,
            )
            for look, slug in zip(looks, slugs, strict=True)
        )
        task = replace(task, outputs=outputs)
        planned.append(PlannedStill(path, name, location, reading, resolved, stops, task, metadata, error))
    locations = tuple(name for name in wanted if any(p.location == name for p in planned))
    return BatchPlan(scout, looks, tuple(planned), locations, tuple(errors))


def _light_xy(reading: Reading | None) -> tuple[float, float] | None:
    try:
        white = None if reading is None else reading.white_xy
    except LookdevError:  # a spectrum that cannot be read; what is decided about the still says so
        return None
    return None if white is None else (float(white[0]), float(white[1]))


def thumbnail_edge_px(size: tuple[int, int], stills: int, columns: int) -> int:
    """Long edge of a still's small pictures: what its place on the sheet can show, no more.

    A location's only still, or a panorama, fills a page; else ``columns`` share the width of one, in two
    lines where they are many. Among its like, a portrait may be as wide as a landscape still.
    """
    if stills == 1 or size[1] >= WIDE_ASPECT * size[0]:
        return LARGEST_THUMBNAIL_PX
    across = columns if columns <= MOST_ACROSS else -(-columns // 2)
    edge = SHEET_WIDTH_PX / across * max(1.0, size[0] / size[1])
    return min(LARGEST_THUMBNAIL_PX, max(360, int(edge)))


def _decide(task: Task, reading: Reading | None, scout: Scout) -> tuple[Metadata, Resolved, tuple[int, int]]:
    """A still's metadata, the cast in it and its size; looks at pixels only for a grey patch."""
    if reading is not None and reading.grey is not None:
        still = task.read()
        return still.metadata, resolve_still(reading, scout.plan, still), still.full_size
    size, metadata = task.read_info()
    return metadata, resolve_reading(reading, scout.plan, metadata), size


def _matched(
    metadata: Metadata, reading: Reading | None, scout: Scout, resolved: Resolved
) -> tuple[float, Resolved]:
    """Stops from the still's own exposure to the metered one, where scout.toml asks for that."""
    from lookdev.meter.exposure import match_stops

    if scout.plan.match != "meter":
        return 0.0, resolved
    if reading is None or reading.illuminance_lux is None:
        return 0.0, resolved.warned("no illuminance in meter.csv: exposure not matched")
    stops = match_stops(metadata, reading.illuminance_lux, scout.plan)
    if stops is None:
        return 0.0, resolved.warned("no exposure settings in the file: exposure not matched")
    return stops, resolved


def _relative(path: Path, scout: Scout) -> str:
    return path.relative_to(scout.folder).as_posix()


def _location(reading: Reading | None) -> str:
    from lookdev.meter.log import NOWHERE

    return (reading.location or NOWHERE) if reading is not None else UNLOGGED


def _wanted_locations(scout: Scout, by_still: dict[Path, Reading | None], only: tuple[str, ...]) -> list[str]:
    from lookdev.meter.log import NOWHERE

    have = {_location(reading) for reading in by_still.values()}
    every = [name for name in scout.locations() if name in have]
    every += [name for name in (NOWHERE, UNLOGGED) if name in have and name not in every]
    if not only:
        return every
    by_key = {name.casefold(): name for name in every}
    missing = [name for name in only if name.casefold() not in by_key]
    if missing:
        raise RequestError("no such location", found=missing[0], wanted="one of: " + ", ".join(every))
    chosen = {by_key[name.casefold()] for name in only}
    return [name for name in every if name in chosen]


def _unique_stems(names: list[str]) -> list[str]:
    """Output stems for stills: the stem alone, or stem and suffix where two stems would meet."""
    stems = [safe_name(name.rsplit(".", 1)[0]) for name in names]
    keys = [stem.casefold() for stem in stems]
    clear = [
        stem if keys.count(key) == 1 else safe_name(name.replace(".", "_"))
        for stem, key, name in zip(stems, keys, names, strict=True)
    ]
    return _unique(clear)
