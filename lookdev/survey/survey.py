"""One scout resolved once: every still with its location, its reading and why that one, cast and exposure.

Stills, sheets, LUTs, the handoff and paint are worked out from a survey; nobody asks the log again. There are
no output files and no sizes of pages in it: those belong to the jobs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.errors import LookdevError, RequestError, one_line
from lookdev.meter.join import Join, join_by_ladder
from lookdev.meter.ladder import RUNGS, Step, count_words
from lookdev.meter.log import NOWHERE
from lookdev.meter.naming import names_part
from lookdev.stills.part import Part, View
from lookdev.survey.copies import alike
from lookdev.survey.places import Place, Seen, places_of
from lookdev.survey.resolve import Resolved, needs_pixels, resolve_reading, resolve_still
from lookdev.text.numbers import fixed, unsigned

if TYPE_CHECKING:
    from lookdev.looks.cast import Cast
    from lookdev.meter.log import Reading
    from lookdev.meter.scout import Scout
    from lookdev.stills.reader import Head
    from lookdev.stills.still import Metadata, Still

UNLOGGED = "No reading"
"""What stills that no reading is for are listed under."""


@dataclass(frozen=True)
class SurveyedStill:
    """One still with what is known about it.

    Attributes
    ----------
    path, name : the file, and its path in the scout with forward slashes, by which it is called.
    location : as the log says, else ``NOWHERE`` or ``UNLOGGED``.
    reading, rung, minutes_apart : the reading, why that one, and how far apart the two are in time.
    size : (height, width) in pixels, upright; (0, 0) where the file cannot be read.
    cast : the metered cast in the picture, or None where the balance cannot be corrected.
    road : how neutral was found (see :mod:`lookdev.survey.resolve`): "fixed", "patch", "assumed",
        "estimated"; empty without a cast.
    patch : x, y, w, h of the grey patch that was sampled, in pixels of the upright still.
    part : a view of a panorama, or a moment of a clip; None: the file's own picture.
    copies : names of files with the same content, which are not graded again.
    exposure_stops : stops to the metered exposure, where ``match = "meter"`` in scout.toml; else 0.
    warnings : what was decided with a reservation.
    error : why the still cannot be used, or None.
    """

    path: Path
    name: str
    location: str
    reading: Reading | None = None
    rung: str = ""
    minutes_apart: float | None = None
    metadata: Metadata | None = None
    size: tuple[int, int] = (0, 0)
    cast: Cast | None = None
    exposure_stops: float = 0.0
    warnings: tuple[str, ...] = ()
    error: str | None = None
    road: str = ""
    patch: tuple[int, int, int, int] | None = None
    part: Part | None = None
    copies: tuple[str, ...] = ()

    def read(self, *, max_edge_px: int | None = None) -> Still:
        """The still's pixels, developed for the light that was metered there.

        Raises
        ------
        StillError : it cannot be read.
        """
        from lookdev.stills.reader import read_still

        return read_still(self.path, max_edge_px=max_edge_px, light_xy=self.light_xy, part=self.part)

    @property
    def light_xy(self) -> tuple[float, float] | None:
        """The light that was metered, which a raw file with two matrices is developed for; None without."""
        return _light_xy(self.reading)


@dataclass(frozen=True)
class Survey:
    """A scout, resolved. Made by :func:`survey`.

    Attributes
    ----------
    stills : by location in the order of the log, then by name.
    locations : those chosen, with or without stills, in the order of the log.
    every_location, every_still : of the whole scout, chosen or not; (location, name) for a still. Names of
        files are worked out from these, so that a part of the scout gives the same names as the whole.
    join_words : how many readings and stills did not find each other; empty where all did.
    """

    scout: Scout
    stills: tuple[SurveyedStill, ...]
    locations: tuple[str, ...]
    every_location: tuple[str, ...]
    every_still: tuple[tuple[str, str], ...] = field(repr=False)
    join_words: str = ""

    @cached_property
    def usable(self) -> tuple[SurveyedStill, ...]:
        """The stills without an error."""
        return tuple(still for still in self.stills if still.error is None)

    @cached_property
    def shot_locations(self) -> tuple[str, ...]:
        """The locations that have stills."""
        have = {still.location for still in self.stills}
        return tuple(name for name in self.locations if name in have)

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        """The readings of the chosen locations, in the order of the log."""
        chosen = set(self.locations)
        return tuple(r for r in self.scout.log.readings if (r.location or NOWHERE) in chosen)

    @cached_property
    def errors(self) -> tuple[str, ...]:
        """What could not be used: rows of the log, then stills, a line each."""
        return (
            *(str(error) for error in self.scout.log.errors),
            *(still.error for still in self.stills if still.error is not None),
        )

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """What the log and scout.toml are in doubt about, then the stills: a line a reservation."""
        about: dict[str, list[str]] = {}
        for still in self.stills:
            for warning in still.warnings:
                about.setdefault(warning, []).append(one_line(still.name))
        lines = [str(line) for line in self.scout.log.warnings]
        if self.join_words:
            lines.append(self.join_words)
        for warning, names in about.items():
            rest = f" and {len(names) - 3} more" if len(names) > 4 else ""
            shown = names[:3] if rest else names
            lines.append(f"{', '.join(shown)}{rest}: {warning}")
        return tuple(lines)

    def at(self, location: str) -> tuple[SurveyedStill, ...]:
        """The stills of one location."""
        return tuple(still for still in self.stills if still.location == location)

    def still(self, name: str) -> SurveyedStill:
        """The still of that path in the scout, or the one that it is a copy of.

        Raises
        ------
        RequestError : there is none, with the nearest name.
        """
        import difflib

        own = next((still for still in self.stills if still.name == name), None)
        own = own or next((still for still in self.stills if name in still.copies), None)
        if own is not None:
            return own
        near = difflib.get_close_matches(name, [s.name for s in self.stills], n=1, cutoff=0.5)
        wanted = f"{near[0]} (the nearest)" if near else "a still's path in the scout"
        raise RequestError("no such still in the survey", found=name, wanted=wanted)

    def resolved(self, reading: Reading) -> Resolved:
        """What is known of the cast of a reading: from its first still that tells, else from the reading."""
        mine = [s for s in self.stills if s.reading is reading and s.error is None]
        for still in mine:
            if still.cast is not None:
                return Resolved(still.cast, still.warnings)
        if mine:
            return Resolved(None, mine[0].warnings)
        return resolve_reading(reading, self.scout.plan)

    def places(self) -> list[Place]:
        """A light at a place: each location once for every different cast in its stills.

        Stills whose cast is not known are in none. In a scout without stills, its readings stand for them.
        """
        if self.every_still:
            return places_of(
                Seen(s.location, s.name, s.cast, s.reading.source if s.reading is not None else None)
                for s in self.stills
                if s.cast is not None
            )
        told = ((r, self.resolved(r).cast) for r in self.readings)
        seen = (Seen(r.location or NOWHERE, f"row {r.row}", cast, r.source) for r, cast in told if cast)
        return [replace(place, stills=()) for place in places_of(seen)]

    def select(self, only: Iterable[str]) -> Survey:
        """The part of it at some locations, by name, letter case ignored; all of it without any.

        Raises
        ------
        RequestError : a location that the scout does not have.
        """
        chosen = select_locations(self.locations, only)
        stills = tuple(still for still in self.stills if still.location in chosen)
        return replace(self, stills=stills, locations=chosen)


def select_locations(have: Sequence[str], only: Iterable[str]) -> tuple[str, ...]:
    """Those of ``have`` that ``only`` names, letter case ignored, in their order; all without any.

    Raises
    ------
    RequestError : a name that is not there; says which there are.

    >>> select_locations(["Net loft", "Car deck"], ["car DECK"])
    ('Car deck',)
    """
    by_key = {name.casefold(): name for name in have}
    wanted = {}
    for name in only:
        if name.casefold() not in by_key:
            raise RequestError("no such location", found=name, wanted="one of: " + ", ".join(have))
        wanted[by_key[name.casefold()]] = True
    return tuple(name for name in have if name in wanted) if wanted else tuple(have)


def survey(
    scout: Scout,
    only: Iterable[str] = (),
    *,
    salvage: bool = False,
    max_pixels: int | None = None,
    join: Join = join_by_ladder,
) -> Survey:
    """Resolve a scout; a still that cannot be read stays in, with its error.

    Heads of files are read, pixels only where a reading gives a grey patch.

    Parameters
    ----------
    scout : as :func:`lookdev.meter.scout.load_scout` gives it.
    only : locations to resolve, by name, letter case ignored; all without any.
    salvage : use a truncated JPEG as far as it decodes (for a grey patch).
    max_pixels : refuse stills larger than this; None for the reader's own limit.
    join : which reading is for which still.

    Raises
    ------
    RequestError : a location in ``only`` does not exist.
    """
    found = [FoundStill(still.path, still.name, salvage, max_pixels, still.part) for still in scout.parts]
    joined = dict(zip(found, join(found, scout.log.readings, scout), strict=True))
    found, copies = _once(found, joined)
    joined = {still: joined[still] for still in found}
    at = {still: _location(joined[still].reading) for still in found}
    every = _every_location(scout, set(at.values()))
    order = {name: i for i, name in enumerate(every)}
    found.sort(key=lambda still: (order[at[still]], still.name))
    chosen = select_locations(every, only)
    stills = tuple(
        _resolve(still, joined[still], scout, copies.get(still, ())) for still in found if at[still] in chosen
    )
    names = tuple((at[still], still.name) for still in found)
    words = count_words(list(joined.values()), scout.log.readings) if found else ""
    return Survey(scout, stills, chosen, every, names, words)


def _once(
    found: list[FoundStill], joined: Mapping[FoundStill, Step]
) -> tuple[list[FoundStill], dict[FoundStill, tuple[str, ...]]]:
    """The stills without those whose content another one has, for the same reading; and their names.

    Of copies the one stays that the ladder reached on its highest rung, or the first. Where the log has
    different readings for copies, one stays for each.
    """
    copies: dict[FoundStill, tuple[str, ...]] = {}
    dropped: set[FoundStill] = set()
    for group in alike(found, lambda still: (still.path, still.part)):
        of: dict[int, list[FoundStill]] = {}
        for still in group:
            of.setdefault(id(joined[still].reading), []).append(still)
        bare = of.pop(id(None), [])
        if not of:
            of, bare = {0: bare}, []
        for stills in of.values():
            best, *rest = sorted(stills, key=lambda still: _RUNGS.get(joined[still].rung, len(_RUNGS)))
            rest, bare = [*rest, *bare], []
            dropped |= set(rest)
            others = [still.name for still in group if still is not best]
            copies[best] = tuple(others)
    return [still for still in found if still not in dropped], copies


_RUNGS = {rung: place for place, rung in enumerate(RUNGS)}


@dataclass(frozen=True)
class FoundStill:
    """A still of the scout, read no further than it is asked."""

    path: Path
    name: str
    salvage: bool = False
    max_pixels: int | None = None
    part: Part | None = None

    @property
    def info(self) -> tuple[tuple[int, int], Metadata]:
        """(height, width) and what the still says of itself, without its pixels.

        Raises
        ------
        StillError : it cannot be read.
        """
        return self.head.size, self.head.metadata

    @cached_property
    def head(self) -> Head:
        """What its file says, read once.

        Raises
        ------
        StillError : it cannot be read.
        """
        from lookdev.stills.reader import MAX_PIXELS, read_head

        return read_head(self.path, max_pixels=self.max_pixels or MAX_PIXELS, part=self.part)


def _light_xy(reading: Reading | None) -> tuple[float, float] | None:
    try:
        white = None if reading is None else reading.white_xy
    except LookdevError:  # a spectrum that cannot be read; what is decided about the still says so
        return None
    return None if white is None else (float(white[0]), float(white[1]))


def _location(reading: Reading | None) -> str:
    return (reading.location or NOWHERE) if reading is not None else UNLOGGED


def _every_location(scout: Scout, of_stills: set[str]) -> tuple[str, ...]:
    nowhere = any(r.location is None for r in scout.log.readings)
    last = [name for name, there in ((NOWHERE, nowhere), (UNLOGGED, False)) if there or name in of_stills]
    return tuple(dict.fromkeys((*scout.locations(), *last)))


def _resolve(found: FoundStill, joined: Step, scout: Scout, copies: tuple[str, ...]) -> SurveyedStill:
    reading = joined.reading
    if copies:
        told = f"the same picture, byte for byte, as {', '.join(copies)}: graded once a reading"
        joined = replace(joined, doubts=(*joined.doubts, told))
    still = SurveyedStill(
        found.path,
        found.name,
        _location(reading),
        reading,
        joined.rung,
        joined.minutes_apart,
        part=found.part,
        copies=copies,
    )
    try:
        metadata, resolved, size = _decide(found, reading, scout)
        stops, resolved = _matched(found, metadata, reading, scout, resolved)
    except LookdevError as problem:
        told = str(problem).replace(
            str(found.path), str(found.path.parent / found.name.rsplit("/", 1)[-1]), 1
        )
        return replace(still, warnings=joined.doubts, error=told)
    return replace(
        still,
        metadata=metadata,
        size=size,
        cast=resolved.cast,
        exposure_stops=stops,
        warnings=(*joined.doubts, *resolved.warnings),
        road=resolved.road,
        patch=resolved.patch,
    )


def _decide(
    found: FoundStill, reading: Reading | None, scout: Scout
) -> tuple[Metadata, Resolved, tuple[int, int]]:
    """A still's metadata, the cast in it and its size; looks at pixels only for a patch or an estimate."""
    size, metadata = found.head.size, found.head.under(_light_xy(reading))
    if not needs_pixels(reading, scout.plan, metadata):
        return metadata, resolve_reading(reading, scout.plan, metadata), size
    from lookdev.stills.reader import MAX_PIXELS, read_still

    # a patch that is typed for a panorama lies in the panorama, not in each of its views
    in_file = (
        isinstance(found.part, View)
        and reading is not None
        and reading.grey is not None
        and not any(names_part(found.name, pattern) for pattern in reading.stills)
    )
    still = read_still(
        found.path,
        max_pixels=found.max_pixels or MAX_PIXELS,
        salvage=found.salvage,
        light_xy=_light_xy(reading),
        part=None if in_file else found.part,
    )
    resolved = resolve_still(reading, scout.plan, still)
    if in_file:
        return metadata, replace(resolved, patch=None), size
    return still.metadata, resolved, still.full_size


def _matched(
    found: FoundStill, metadata: Metadata, reading: Reading | None, scout: Scout, resolved: Resolved
) -> tuple[float, Resolved]:
    """Stops from the still's own exposure to the metered one, where scout.toml asks for that."""
    from lookdev.meter.exposure import match_stops

    if scout.plan.match != "meter":
        return 0.0, resolved
    if reading is None or reading.illuminance_lux is None:
        return 0.0, resolved.warned("no illuminance in the log: exposure not matched")
    stops = match_stops(metadata, reading.illuminance_lux, scout.plan)
    if stops is None:
        return 0.0, resolved.warned("no exposure settings in the file: exposure not matched")
    if abs(stops) > scout.plan.match_limit_stops:
        limit = scout.plan.match_limit_stops
        return 0.0, resolved.warned(
            f"the reading calls for {fixed(stops, 1)} stops, more than match_limit_stops = {limit:g}: "
            "held back, exposure not matched"
        )
    if stops > 0:
        white = _white_percent(found, stops)
        most = scout.plan.match_white_percent
        if white > most:
            return 0.0, resolved.warned(
                f"the reading calls for {fixed(stops, 1)} stops, which puts {unsigned(white, 0)}% of the "
                f"frame at white (match_white_percent = {most:g}): held back, exposure not matched"
            )
    return stops, resolved


MEASURED_EDGE_PX = 320


def _white_percent(found: FoundStill, stops: float) -> float:
    """Per cent of a frame that so many stops put at white, which were below it."""
    import numpy as np

    from lookdev.colorimetry.rgb_spaces import WORKING
    from lookdev.looks.rendering import SCENE_WHITE, lift_curve
    from lookdev.stills.reader import MAX_PIXELS, read_still

    still = read_still(
        found.path,
        max_edge_px=MEASURED_EDGE_PX,
        enough_px=MEASURED_EDGE_PX,
        max_pixels=found.max_pixels or MAX_PIXELS,
        salvage=found.salvage,
        part=found.part,
    )
    light = still.encoding.to_working(still.signal())
    scene = lift_curve(light) if still.encoding.state == "output" else light
    luminance = scene @ WORKING.to_xyz[1]
    share = np.mean(luminance * 2.0**stops >= SCENE_WHITE) - np.mean(luminance >= SCENE_WHITE)
    return 100.0 * float(share)
