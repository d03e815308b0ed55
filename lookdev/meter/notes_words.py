"""Light notes in words: a colour, an exposure, a shutter, and the one-line notes of sheet and terminal."""

from __future__ import annotations

from collections.abc import Sequence

from lookdev.meter.exposure import Exposure, stop_words
from lookdev.meter.flicker import READOUT_MS, SAFE_SHARE, SafeShutter
from lookdev.meter.lamps import Kit
from lookdev.meter.log import Reading
from lookdev.meter.notes import contrasts_of, planned_shutters, reading_notes
from lookdev.meter.reading_notes import ReadingNotes
from lookdev.meter.scout import Plan
from lookdev.meter.timeline import time_lines
from lookdev.text.numbers import cct_duv, kelvin


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
    parts = [f"{c.key} to {c.fill} {c.ratio:.1f} : 1" for c in contrasts_of(readings)]
    for line in time_lines(readings, plan):
        parts += [f"{line.source}: enough light until {t}" for t in line.enough_until]
        parts += [f"{line.source}: enough light from {t}" for t in line.enough_from]
        parts += [f"{line.source}: passes {kelvin(plan.balance_k)} at {t}" for t in line.balance_at]
    return "; ".join(parts)


def _closest(shutter: SafeShutter) -> str:
    if not shutter.angles_deg:
        return "no safe shutter"
    return f"{min(shutter.angles_deg, key=lambda a: abs(a - shutter.planned_deg)):g}°"
