"""Light notes: what a reading, and a location's readings together, say to the gaffer and the schedule.

The one place where it is put together; the page, the table, the comparison sheet's strip and summary.json all
take it from here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from lookdev.meter.budget import BudgetLine, budget
from lookdev.meter.exposure import Exposure, contrast_ratio, expose, shutter_of, stop_words
from lookdev.meter.filters import Match, match
from lookdev.meter.fixture import Dial, dial
from lookdev.meter.flicker import MAINS_HZ, READOUT_MS, SAFE_SHARE, SafeShutter, safe_shutter
from lookdev.meter.hints import Hint, flickers, nearest_illuminants
from lookdev.meter.lamps import Kit, Lamp, OnOurs, kit_of, on_ours
from lookdev.meter.light import LightSpectrum, light_spectrum, stand_in
from lookdev.meter.log import NOWHERE, Reading
from lookdev.meter.reading_notes import ReadingNotes
from lookdev.meter.scout import Plan, Scout
from lookdev.meter.spectrum import STANDARDS, Rendition
from lookdev.meter.timeline import SHORTEST_MINUTES, TimeLine, time_lines
from lookdev.text.numbers import cct_duv, kelvin

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
        _contrasts(readings),
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


def _contrasts(readings: Sequence[Reading]) -> tuple[Contrast, ...]:
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


# in words --------------------------------------------------------------------------------------------------


def colour_words(note: ReadingNotes) -> str:
    """CCT and Duv, or why there is no CCT."""
    if note.xy is None:
        return "colour not metered"
    assert note.duv is not None
    if note.cct_k is None:
        from lookdev.colorimetry.temperature import DUV_LIMIT, MAX_MIRED, mired_duv_from_xy

        if abs(note.duv) > DUV_LIMIT or 0 < mired_duv_from_xy(note.xy)[0] < MAX_MIRED:
            return f"no CCT: {abs(note.duv):.3f} off the locus"
        return "no CCT: past the end of the locus"
    return cct_duv(note.cct_k, note.duv)


FASTEST_STOP = 0.7
"""No lens opens wider (common practice): a light that calls for more is said in words."""


def exposure_words(exposure: Exposure) -> str:
    """The stop, and stops over or under."""
    text = stop_words(exposure.stop) if exposure.stop >= FASTEST_STOP else f"under T{FASTEST_STOP:g}"
    if exposure.over_stops is None or exposure.wanted_stop is None:
        return text
    if abs(exposure.over_stops) < 0.05:
        return f"{text}: what T{exposure.wanted_stop:g} needs"
    side = "over" if exposure.over_stops > 0 else "under"
    plan = f"T{exposure.wanted_stop:g}"
    return f"{text}: {abs(exposure.over_stops):.1f} stops {side}" + (f" {plan}" if plan != text else "")


def shutter_words(shutter: SafeShutter) -> str:
    """The safe angles in a line, and how the planned one does from frame to frame and from row to row."""
    angles = ", ".join(f"{a:g}°" for a in shutter.angles_deg[-4:])
    start = f"{shutter.mains_hz:g} Hz: " + (
        f"safe {angles}" if angles else "no safe angle at this frame rate"
    )
    planned = f"{shutter.planned_deg:g}°"
    if shutter.is_planned_safe:
        return f"{start}; {planned} is safe, within 1%"
    if shutter.swing > SAFE_SHARE:
        frames = f"can flicker by ±{100 * shutter.swing:.0f}% from frame to frame"
    else:
        frames = "no flicker between frames"
    return f"{start}; {planned}: {frames}, {band_words(shutter)}"


def band_words(shutter: SafeShutter) -> str:
    """The depth of the bands that rows see, for the common readout and for the plan's own."""
    text = f"bands of up to ±{_percent(shutter.common_band_depth)} possible in a readout of {READOUT_MS:g} ms"
    if abs(shutter.readout_ms - READOUT_MS) > 1e-9:
        text += f", ±{_percent(shutter.band_depth)} in the plan's {shutter.readout_ms:g} ms"
    return text


def _percent(share: float) -> str:
    return f"{100 * share:.0f}%" if share >= 0.2 else f"{100 * share:.1f}%"


def short_note(reading: Reading, plan: Plan, kit: Kit | None = None) -> str:
    """One line for a comparison sheet's strip: the stop, filters to the balance, the shutter; "" for none."""
    note = reading_notes(reading, plan, kit, spectral=False)
    parts = []
    if note.exposure is not None:
        parts.append(exposure_words(note.exposure))
    if note.to_balance is not None and (note.to_balance.is_unmovable or not note.to_balance.reason):
        parts.append(f"to {kelvin(plan.balance_k)}: {note.to_balance.short_words}")
    if note.flicker in ("discharge", "LED"):
        bad = [s for s in planned_shutters(plan) if not s.is_planned_safe]
        if bad:
            kind = "may flicker" if any(s.swing > SAFE_SHARE for s in bad) else "bands possible"
            parts.append(f"{kind}: set " + ", ".join(f"{_closest(s)} at {s.mains_hz:g} Hz" for s in bad))
    return f"{reading.name}: " + "; ".join(parts) if parts else ""


def short_location_note(location: str, readings: Sequence[Reading], plan: Plan) -> str:
    """One line on a location's readings together: contrast and the hours of enough light; "" for none."""
    parts = [f"{c.key} to {c.fill} {c.ratio:.1f} : 1" for c in _contrasts(readings)]
    for line in time_lines(readings, plan):
        parts += [f"{line.source}: enough light until {t}" for t in line.enough_until]
        parts += [f"{line.source}: enough light from {t}" for t in line.enough_from]
        parts += [f"{line.source}: passes {kelvin(plan.balance_k)} at {t}" for t in line.balance_at]
    return "; ".join(parts)


def _closest(shutter: SafeShutter) -> str:
    if not shutter.angles_deg:
        return "no safe shutter"
    return f"{min(shutter.angles_deg, key=lambda a: abs(a - shutter.planned_deg)):g}°"


# as data ---------------------------------------------------------------------------------------------------


def summary(reading: Reading, plan: Plan) -> dict[str, Any]:
    """The notes of a reading as JSON-ready data; no NaN, no infinity."""
    return notes_data(reading_notes(reading, plan))


def notes_data(note: ReadingNotes) -> dict[str, Any]:
    """As :func:`summary`, of notes already made."""
    reading = note.reading
    return {
        "location": reading.location,
        "source": reading.source,
        "time": reading.time,
        "role": reading.role,
        "note": reading.note,
        "white_from": reading.white_origin or None,
        "xy": _rounded(note.xy, 5),
        "uv_1976": _rounded(note.uv, 5),
        "cct_k": _number(note.cct_k, 1),
        "duv": _number(note.duv, 5),
        "cct_means_something": note.cct_k is not None,
        "nearest_cie_illuminants": [
            {"name": h.illuminant, "lamp": h.kind, "distance_uv": round(h.distance_uv, 5)} for h in note.hints
        ],
        "illuminance_lux": _number(reading.illuminance_lux, 3),
        "illuminance_fc": _number(reading.illuminance_fc, 3),
        "camera_balance_k": "auto" if reading.camera_balance_auto else reading.camera_balance_k,
        "camera_balance_from": reading.camera_balance_origin,
        "mixture": [{"part": p.name, "share": round(p.share, 4)} for p in reading.mixture],
        "spectrum_from": note.light.origin if note.light is not None else None,
        "to_balance": match_data(note.to_balance),
        "dial": dial_data(note.dial),
        "exposure": exposure_data(note.exposure),
        "rendition": rendition_data(note.rendition, note.rendition_of),
        "flicker": note.flicker,
    }


def location_data(notes: LocationNotes) -> dict[str, Any]:
    """A location's notes as JSON-ready data."""
    return {
        "location": notes.location,
        "readings": [{"row": n.reading.row, **notes_data(n)} for n in notes.readings],
        "our_lamps": [
            {
                "lamp": ours.lamp,
                "to_balance": ours_data(ours),
                "to_lights": [ours_data(n.on_ours[i]) for n in notes.lights],
            }
            for i, ours in enumerate(notes.ours_to_balance or notes.lights[0].on_ours)
        ]
        if notes.lights
        else [],
        "light_to_add": [
            {
                "light": line.name,
                "role": line.role or None,
                "have_lux": _number(line.have_lux, 3),
                "wanted_lux": _number(line.wanted_lux, 3),
                "stops_over": _number(line.over_stops, 3),
                "add_lux": _number(line.add_lux, 3),
                "from_our_lamps": [
                    {
                        "lamp": n.lamp,
                        "gel_takes_stops": _number(n.lost_stops, 2),
                        "lux_before_gel": _number(n.before_gel_lux, 2),
                        "matches_it": n.is_reachable,
                    }
                    for n in line.lamps
                ],
            }
            for line in notes.budget
        ],
        "contrast": [
            {"key": c.key, "fill": c.fill, "ratio": round(c.ratio, 3), "stops": round(c.stops, 3)}
            for c in notes.contrasts
        ],
        "time_lines": [_line_data(line) for line in notes.lines],
        "safe_shutters": [
            {
                "mains_hz": s.mains_hz,
                "angles_deg": list(s.angles_deg),
                "even_between_frames": s.is_even_between_frames,
                "planned_deg": round(s.planned_deg, 3),
                "planned_is_safe": s.is_planned_safe,
                "planned_swing": round(s.swing, 5),
                "planned_band_depth": round(s.band_depth, 5),
                "readout_ms": s.readout_ms,
                "planned_band_depth_15_ms": round(s.common_band_depth, 5),
            }
            for s in notes.shutters
        ],
        "balance_dial": dial_data(notes.balance_dial),
    }


def location_summary(
    location: str, readings: Sequence[Reading], plan: Plan, kit: Kit | None = None
) -> dict[str, Any]:
    """Everything about one location for summary.json: readings, our lamps, contrast, time lines, shutters."""
    return location_data(location_notes(location, readings, plan, kit))


def ours_data(found: OnOurs) -> dict[str, Any]:
    """What one of our lamps takes, as JSON-ready data."""
    return {"filters_on_it": match_data(found.match), "dial_on_it": dial_data(found.dial)}


def match_data(found: Match | None) -> dict[str, Any] | None:
    """A match as JSON-ready data."""
    if found is None:
        return None
    return {
        "from": found.source,
        "to": found.target,
        "target_xy": _rounded(found.target_xy, 5),
        "mired": _number(found.mired_shift, 1),
        "duv": _number(found.duv_shift, 5),
        "filters": list(found.filters),
        "filters_by": "spectrum, ideal filters" if found.spectrum_of else "common practice, nominal",
        "filters_take_stops": round(found.lost_stops, 2),
        "left_mired": _number(found.left_mired, 1),
        "left_duv": _number(found.left_duv, 5),
        "left_uv_1976": _number(found.left_uv, 5),
        "through": found.spectrum_of or None,
        "cannot_be_moved": found.is_unmovable,
        "reason": found.reason or None,
    }


def dial_data(setting: Dial | None) -> dict[str, Any] | None:
    """A fixture setting as JSON-ready data."""
    if setting is None:
        return None
    return {
        "xy": _rounded(setting.xy, 5),
        "cct_k": _number(setting.cct_k, 1),
        "duv": _number(setting.duv, 5),
        "fixture_reaches_it": setting.reachable,
        "nearest_xy": _rounded(setting.nearest_xy, 5),
        "short_by_uv_1976": _number(setting.short_uv, 5),
    }


def exposure_data(found: Exposure | None) -> dict[str, Any] | None:
    """An exposure as JSON-ready data."""
    if found is None:
        return None
    from lookdev.meter.cells import LUX_PER_FC

    missing = found.missing_lux
    return {
        "by": "ISO 2720:1974",
        "receptor": found.receptor,
        "calibration_constant": found.constant,
        "exposure_index": found.exposure_index,
        "frame_rate_fps": found.frame_rate_fps,
        "shutter_angle_deg": round(found.shutter_angle_deg, 3),
        "shutter_s": round(found.time_s, 6),
        "filter_stops": found.filter_stops,
        "assumed": list(found.assumed),
        "t_stop": round(found.stop, 3),
        "wanted_t_stop": found.wanted_stop,
        "stops_over": _number(found.over_stops, 3),
        "needed_lux": _number(found.needed_lux, 2),
        "missing_lux": _number(missing, 2),
        "missing_fc": None if missing is None else round(missing / LUX_PER_FC, 3),
        "lowest_exposure_index": _number(found.lowest_index, 1),
        "shortest_shutter_s": _number(found.shortest_s, 6),
        "smallest_shutter_angle_deg": _number(found.smallest_angle_deg, 2),
        "lens_t_stop": found.lens_t_stop,
        "stops_over_wide_open": _number(found.lens_over_stops, 3),
    }


def rendition_data(found: Rendition | None, origin: str | None) -> dict[str, Any] | None:
    """Spectral metrics with the standards they follow, as JSON-ready data."""
    if found is None:
        return None
    values = {name: _number(getattr(found, name), 1) for name in STANDARDS}
    return {
        "of": origin,
        **values,
        "ssi_reference": found.ssi_reference,
        "standards": dict(STANDARDS),
        "notes": list(found.notes),
    }


def _line_data(line: TimeLine) -> dict[str, Any]:
    from lookdev.meter.timeline import clock_text, words

    return {
        "source": line.source,
        "times": [clock_text(m) for m in line.minutes],
        "cct_k": [None if m is None else _number(1e6 / m, 1) for m in line.mired],
        "illuminance_lux": [_number(v, 3) for v in line.lux],
        "stops_per_hour": _number(line.stops_per_hour, 3),
        "enough_until": list(line.enough_until),
        "enough_from": list(line.enough_from),
        "passes_balance_at": list(line.balance_at),
        "in_words": words(line),
    }


def _number(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits) + 0.0


def _rounded(xy: XY | None, digits: int) -> list[float] | None:
    return None if xy is None else [round(v, digits) for v in xy]
