"""Light notes: what a reading, and a location's readings together, say to the gaffer and the schedule.

The one place where it is put together; the page, the table, the comparison sheet's strip and summary.json all
take it from here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from lookdev.meter.budget import BudgetLine, budget
from lookdev.meter.exposure import contrast_ratio, expose, shutter_of
from lookdev.meter.filters import match
from lookdev.meter.fixture import Dial, dial
from lookdev.meter.flicker import MAINS_HZ, SafeShutter, safe_shutter
from lookdev.meter.hints import Hint, flickers, nearest_illuminants
from lookdev.meter.lamps import Kit, Lamp, OnOurs, kit_of, on_ours
from lookdev.meter.light import LightSpectrum, light_spectrum, stand_in
from lookdev.meter.log import NOWHERE, Reading
from lookdev.meter.reading_notes import ReadingNotes
from lookdev.meter.scout import Plan, Scout
from lookdev.meter.spectrum import Rendition
from lookdev.meter.timeline import SHORTEST_MINUTES, TimeLine, time_lines

XY = tuple[float, float]
BALANCE = "production balance"


@dataclass(frozen=True)
class Contrast:
    """Key against fill."""

    key: str
    fill: str
    ratio: float
    stops: float


@dataclass(frozen=True)
class LocationNotes:
    """The notes of one location.

    ``lights`` : the different ones among the readings. ``ours_to_balance`` : what each of our lamps takes
    to be
    right for the production's balance. ``shutters`` : one a mains frequency,
    empty where nothing flickers. ``balance_dial`` : the production's balance on the fixture.
    """

    location: str
    readings: tuple[ReadingNotes, ...]
    lights: tuple[ReadingNotes, ...]
    contrasts: tuple[Contrast, ...]
    lines: tuple[TimeLine, ...]
    shutters: tuple[SafeShutter, ...]
    balance_dial: Dial | None
    ours_to_balance: tuple[OnOurs, ...] = ()
    budget: tuple[BudgetLine, ...] = ()
    kit: Kit = field(default_factory=lambda: kit_of(()))


def kit_of_plan(plan: Plan) -> Kit:
    """Our lamps as far as a plan alone tells of them: its colour-mixing one, or the common two."""
    return kit_of((Lamp(plan.fixture.name, emitters=plan.fixture.primaries),) if plan.fixture else ())


def reading_notes(
    reading: Reading, plan: Plan, kit: Kit | None = None, *, spectral: bool = True
) -> ReadingNotes:
    """The notes of one reading under a plan; without the spectral metrics (the slow part) if so asked."""
    from lookdev.colorimetry.temperature import uv1976_from_xy

    kit = kit or kit_of_plan(plan)
    xy = reading.white_xy
    uv = cct = duv = to_balance = setting = None
    hints: tuple[Hint, ...] = ()
    ours: tuple[OnOurs, ...] = ()
    light = light_spectrum(reading)
    rendition = _rendition(light, plan) if light is not None and spectral else None
    origin = light.origin if rendition is not None and light is not None else None
    if xy is not None:
        pair = uv1976_from_xy(xy)
        uv = float(pair[0]), float(pair[1])
        assert reading.cct_duv is not None
        cct = reading.cct_duv[0] if reading.is_cct_meaningful else None
        duv = reading.cct_duv[1]
        hints = nearest_illuminants(xy)
        light = light or stand_in(reading, hints)
        if plan.balance_xy is not None:
            to_balance = match(reading.name, xy, BALANCE, plan.balance_xy, kit.filters, light)
        setting = dial(reading.name, xy, kit.mixing.emitters if kit.mixing else None)
        ours = tuple(on_ours(lamp, reading.name, xy, kit.filters) for lamp in kit.lamps)
    exposure = expose(reading.illuminance_lux, plan) if reading.illuminance_lux is not None else None
    return ReadingNotes(
        reading, xy, uv, cct, duv, hints, to_balance, setting, exposure, rendition, origin,
        _flicker(reading, hints), light, ours,
    )  # fmt: skip


def _flicker(reading: Reading, hints: tuple[Hint, ...]) -> str:
    """The worst of a mixture's parts, else what the source's own words and colour say."""
    kinds = [flickers(p.reading.source, p.reading.illuminant) for p in reading.mixture]
    kinds.append(flickers(reading.source, reading.illuminant, () if reading.mixture else hints))
    return next(kind for kind in ("discharge", "LED", "maybe", "no") if kind in kinds)


def _rendition(light: LightSpectrum, plan: Plan) -> Rendition:
    from lookdev.meter.spectrum import reference_at, rendition

    reference = reference_at(plan.balance_k) if plan.balance_k is not None else None
    return rendition(light.spectrum, reference)


def location_notes(
    location: str, readings: Sequence[Reading], plan: Plan, kit: Kit | None = None
) -> LocationNotes:
    """The notes of one location's readings together."""
    kit = kit or kit_of_plan(plan)
    notes = tuple(reading_notes(r, plan, kit) for r in readings)
    shutters = planned_shutters(plan) if any(n.flicker != "no" for n in notes) else ()
    emitters = kit.mixing.emitters if kit.mixing else None
    return LocationNotes(
        location,
        notes,
        lights_of(notes),
        contrasts_of(readings),
        time_lines(readings, plan),
        shutters,
        dial(BALANCE, plan.balance_xy, emitters) if plan.balance_xy is not None else None,
        _ours_to_balance(plan, kit),
        budget(notes, plan),
        kit,
    )


def _ours_to_balance(plan: Plan, kit: Kit) -> tuple[OnOurs, ...]:
    if plan.balance_xy is None:
        return ()
    return tuple(on_ours(lamp, BALANCE, plan.balance_xy, kit.filters) for lamp in kit.lamps)


def planned_shutters(plan: Plan) -> tuple[SafeShutter, ...]:
    """How the planned shutter does under the plan's mains, or under both where it names none."""
    fps, angle, _, _ = shutter_of(plan)
    mains = (float(plan.mains_hz),) if plan.mains_hz is not None else MAINS_HZ
    return tuple(safe_shutter(fps, angle, hz, plan.readout_ms) for hz in mains)


def lights_of(notes: Sequence[ReadingNotes]) -> tuple[ReadingNotes, ...]:
    """The different lights of a place: of one metered at several hours, the first that has a colour."""
    lights: list[ReadingNotes] = []
    for note in notes:
        if note.xy is not None and not any(_is_same_light(note, light) for light in lights):
            lights.append(note)
    return tuple(lights)


SAME_UV = 0.0005
"""Two readings nearer than this in u', v' are one light, and need no match."""


OTHER_UV = 0.005
"""Readings under one source's name that differ by this, taken on one visit, are two lights."""


def _distance_uv(one: ReadingNotes, other: ReadingNotes) -> float:
    assert one.uv is not None and other.uv is not None
    return math.hypot(one.uv[0] - other.uv[0], one.uv[1] - other.uv[1])


def _is_same_light(one: ReadingNotes, other: ReadingNotes) -> bool:
    """Whether two readings are of one source: of one name, and of one colour or at another hour."""
    names = [(n.reading.source or n.reading.name).casefold() for n in (one, other)]
    if names[0] != names[1]:
        return False
    at_once = _apart(one.reading, other.reading) < SHORTEST_MINUTES
    return not (at_once and _distance_uv(one, other) > OTHER_UV)


MOST_MINUTES_APART = 60
"""Key and fill metered farther apart than this are two lights at two hours, and no contrast ratio."""


def contrasts_of(readings: Sequence[Reading]) -> tuple[Contrast, ...]:
    """Every key against the fill nearest to it, by the clock and then in the log."""
    lit = [r for r in readings if r.illuminance_lux is not None]
    fills = [r for r in lit if r.role == "fill"]
    found = []
    for key in (r for r in lit if r.role == "key"):
        if not fills:
            break
        fill = min(fills, key=lambda f: (_apart(key, f), abs(f.row - key.row), f.row))
        if _apart(key, fill) > MOST_MINUTES_APART:
            continue
        assert key.illuminance_lux is not None and fill.illuminance_lux is not None
        found.append(
            Contrast(key.name, fill.name, *contrast_ratio(key.illuminance_lux, fill.illuminance_lux))
        )
    return tuple(found)


def _apart(key: Reading, fill: Reading) -> int:
    """Minutes between two readings; 0 where one has no time."""
    if key.time is None or fill.time is None:
        return 0
    one, other = (int(t[:2]) * 60 + int(t[3:]) for t in (key.time, fill.time))
    return min((one - other) % 1440, (other - one) % 1440)


def scout_notes(scout: Scout, only: Sequence[str] = ()) -> tuple[LocationNotes, ...]:
    """Notes for each location, in the order of the meter log; readings without a location come last.

    Raises
    ------
    RequestError : a location in ``only`` is not in the log, or the log has no readings.
    """
    from lookdev.errors import RequestError

    groups: dict[str, list[Reading]] = {}
    for reading in scout.log.readings:
        groups.setdefault(reading.location or "", []).append(reading)
    if not groups:
        raise RequestError(
            "no reading to make notes of", file=scout.folder, wanted="meter.csv with a row or more"
        )
    by_name = {(name or NOWHERE).casefold(): name for name in groups}
    for name in only:
        if name.casefold() not in by_name:
            wanted = "one of: " + ", ".join(n or NOWHERE for n in groups)
            raise RequestError("no such location", found=name, wanted=wanted)
    chosen = {by_name[name.casefold()] for name in only} if only else set(groups)
    ordered = [n for n in groups if n] + [n for n in groups if not n]
    return tuple(
        location_notes(n or NOWHERE, groups[n], scout.plan, scout.kit) for n in ordered if n in chosen
    )
