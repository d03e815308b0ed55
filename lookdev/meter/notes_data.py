"""Light notes as plain data for JSON and CSV; no NaN, no infinity."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from lookdev.meter.exposure import Exposure
from lookdev.meter.filters import Match
from lookdev.meter.fixture import Dial
from lookdev.meter.lamps import Kit, OnOurs
from lookdev.meter.log import Reading
from lookdev.meter.notes import XY, LocationNotes, location_notes, reading_notes
from lookdev.meter.reading_notes import ReadingNotes
from lookdev.meter.scout import Plan
from lookdev.meter.spectrum import STANDARDS, Rendition
from lookdev.meter.timeline import TimeLine


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
    from lookdev.text.numbers import LUX_PER_FC

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
