"""How a light moves with the hour: colour and level of one source at one place through the day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lookdev.meter.log import Reading, in_time_order
from lookdev.text import numbers
from lookdev.text.numbers import kelvin

if TYPE_CHECKING:
    from lookdev.meter.scout import Plan


SHORTEST_MINUTES = 30
"""Readings nearer together than this are one visit, not a course of the day."""


@dataclass(frozen=True)
class TimeLine:
    """Readings of one source in the order of the clock.

    Attributes
    ----------
    minutes : since midnight (n,); over 1440 past the next midnight.
    mired : (n,), None where CCT has no meaning or no colour was metered.
    lux : (n,), None where not metered.
    stops_per_hour : mean change of the level over the whole line.
    enough_until, enough_from : times at which the level crosses what the plan needs, falling and rising.
    balance_at : when the colour passes the production's balance.
    """

    source: str
    minutes: tuple[int, ...]
    mired: tuple[float | None, ...]
    lux: tuple[float | None, ...]
    stops_per_hour: float | None
    needed_lux: float | None
    enough_until: tuple[str, ...]
    enough_from: tuple[str, ...]
    balance_at: tuple[str, ...]


def clock_text(minutes: float) -> str:
    """``HH:MM`` of minutes since midnight, rounded.

    >>> clock_text(1480)
    '00:40'
    """
    whole = round(minutes) % 1440
    return f"{whole // 60:02d}:{whole % 60:02d}"


def crossings(
    minutes: Sequence[float], values: Sequence[float], level: float
) -> tuple[list[float], list[float]]:
    """Times at which a line of straight pieces falls through ``level``, and rises through it.

    >>> crossings([0, 60], [10.0, 8.0], 9.0)
    ([30.0], [])
    """
    falling: list[float] = []
    rising: list[float] = []
    for m_1, m_2, v_1, v_2 in zip(minutes, minutes[1:], values, values[1:], strict=False):
        if v_1 > level >= v_2:
            falling.append(m_1 + (level - v_1) / (v_2 - v_1) * (m_2 - m_1))
        elif v_1 < level <= v_2:
            rising.append(m_1 + (level - v_1) / (v_2 - v_1) * (m_2 - m_1))
    return falling, rising


def time_lines(readings: Sequence[Reading], plan: Plan) -> tuple[TimeLine, ...]:
    """A line for each source of a location with readings half an hour or more apart."""
    groups: dict[str, list[Reading]] = {}
    for reading in readings:
        if reading.time is not None:
            groups.setdefault((reading.source or "").casefold(), []).append(reading)
    lines = []
    for group in groups.values():
        timed = in_time_order(group)
        if timed[-1][0] - timed[0][0] >= SHORTEST_MINUTES:
            lines.append(_line(timed, plan))
    return tuple(lines)


def _line(timed: list[tuple[int, Reading]], plan: Plan) -> TimeLine:
    from lookdev.colorimetry.temperature import mired_duv_from_xy
    from lookdev.meter.exposure import expose

    minutes = tuple(m for m, _ in timed)
    mired = tuple(
        1e6 / r.cct_duv[0] if r.cct_duv is not None and r.is_cct_meaningful else None for _, r in timed
    )
    lux = tuple(r.illuminance_lux for _, r in timed)
    lit = [(m, math.log2(e)) for m, e in zip(minutes, lux, strict=True) if e is not None]
    per_hour = None
    if len(lit) >= 2 and lit[-1][0] > lit[0][0]:
        per_hour = (lit[-1][1] - lit[0][1]) / ((lit[-1][0] - lit[0][0]) / 60)
    exposure = expose(1000.0, plan)
    needed = exposure.needed_lux if exposure is not None else None
    until: list[float] = []
    since: list[float] = []
    if needed is not None and len(lit) >= 2:
        until, since = crossings([m for m, _ in lit], [v for _, v in lit], math.log2(needed))
    passes: list[float] = []
    if plan.balance_xy is not None:
        wanted = mired_duv_from_xy(plan.balance_xy)[0]
        coloured = [(m, v) for m, v in zip(minutes, mired, strict=True) if v is not None]
        fall, rise = crossings([m for m, _ in coloured], [v for _, v in coloured], wanted)
        passes = sorted(fall + rise)
    return TimeLine(
        timed[0][1].source or "light",
        minutes,
        mired,
        lux,
        per_hour,
        needed,
        tuple(clock_text(m) for m in until),
        tuple(clock_text(m) for m in since),
        tuple(clock_text(m) for m in passes),
    )


def _turns(points: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """The lowest and the highest of the points, in order of time, where they lie beyond both ends."""
    values = [v for _, v in points]
    ends = (values[0], values[-1])
    beyond = {v for v in (min(values), max(values)) if v not in ends}
    return [points[i] for i in sorted(values.index(v) for v in beyond)]


def _by_way_of(turns: list[str]) -> str:
    return f", by way of {' and '.join(turns)}" if turns else ""


def words(line: TimeLine) -> list[str]:
    """The line in sentences: what it does, and when it is right."""
    out = []
    coloured = [(m, v) for m, v in zip(line.minutes, line.mired, strict=True) if v is not None]
    lit = [(m, v) for m, v in zip(line.minutes, line.lux, strict=True) if v is not None]
    if len(coloured) >= 2:
        (m_1, v_1), (m_2, v_2) = coloured[0], coloured[-1]
        text = f"{clock_text(m_1)} to {clock_text(m_2)}: {kelvin(1e6 / v_1)} to {kelvin(1e6 / v_2)}"
        out.append(text + _by_way_of([f"{kelvin(1e6 / v)} at {clock_text(m)}" for m, v in _turns(coloured)]))
    if len(lit) >= 2:
        (m_1, v_1), (m_2, v_2) = lit[0], lit[-1]
        change = round(math.log2(v_2 / v_1), 1)
        text = f"{clock_text(m_1)} to {clock_text(m_2)}: {numbers.plain(v_1)} lx to {numbers.plain(v_2)} lx"
        text += _by_way_of([f"{numbers.plain(v)} lx at {clock_text(m)}" for m, v in _turns(lit)])
        if change == 0 or line.stops_per_hour is None:
            out.append(f"{text}, the ends no more than a tenth of a stop apart")
        else:
            rate = numbers.fixed(line.stops_per_hour, 1)
            out.append(f"{text}, {numbers.fixed(change, 1)} stops, {rate} stops an hour on average")
    if line.needed_lux is not None and len(lit) >= 2:
        if not line.enough_until and not line.enough_from:
            enough = (
                "enough light for the plan at every reading"
                if min(v for _, v in lit) >= line.needed_lux
                else ""
            )
            out.append(enough or "under the plan's stop at every reading")
        out += [f"enough light for the plan until {t}" for t in line.enough_until]
        out += [f"enough light for the plan from {t}" for t in line.enough_from]
    out += [f"passes the production's balance at {t}" for t in line.balance_at]
    return out
