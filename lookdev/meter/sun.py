"""Where the sun stood for a still or a reading, and when that light comes again on the day of the shoot.

Positions by NREL's solar position algorithm (Reda and Andreas 2003, within 0.0003 degrees), from pvlib.
Azimuth is from north by east; altitude is the apparent one, with refraction for 1013 hPa and 12 degrees C.
Sunrise and sunset are the sun's upper edge on a flat horizon: its centre 0.833 degrees under it. Clouds,
buildings and terrain are not known.
"""

from __future__ import annotations

import datetime as dt
import importlib
import importlib.util
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.text.numbers import MINUS

Array = NDArray[np.float64]

HORIZON_DEG = -0.8333
GOLDEN_DEG = (-4.0, 6.0)
BLUE_DEG = (-6.0, -4.0)
"""Altitudes of the sun's centre. Golden and blue: common practice."""

SAME_DEG = 3.0
"""The light counts as the same while altitude and azimuth stay within this (issue, common practice)."""

DARK_DEG = -6.0
"""Under this (civil dusk) the sun makes no light to come back for."""

STEP_S = 30

UNKNOWN = "Clouds, buildings and terrain are not known: look again on the day."


@dataclass(frozen=True)
class Spot:
    """Where on Earth: degrees north and east; the time zone of its clocks. Never written out."""

    latitude_deg: float
    longitude_deg: float
    zone: dt.tzinfo


@dataclass(frozen=True)
class Sun:
    """The sun's place: azimuth from north by east, apparent altitude, both in degrees."""

    azimuth_deg: float
    altitude_deg: float


@lru_cache(maxsize=1)
def _algorithm() -> Any:
    """pvlib's solar position algorithm alone, as the whole package takes seconds to load."""
    package = importlib.util.find_spec("pvlib")
    for folder in (package.submodule_search_locations or []) if package is not None else []:
        spec = importlib.util.spec_from_file_location("lookdev_pvlib_spa", Path(folder) / "spa.py")
        if spec is not None and spec.loader is not None and spec.origin and Path(spec.origin).is_file():
            module = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(module)
            return module
    return importlib.import_module("pvlib.spa")


def sun_path(spot: Spot, unix_s: Array) -> tuple[Array, Array, Array]:
    """Azimuth, apparent altitude and true altitude in degrees at Unix times (n,).

    The worked example of Reda and Andreas 2003 (17 October 2003, 12:30:30 by UTC-7 at 39.742476 N, 105.1786
    W) has azimuth 194.34 and zenith 50.11 (there 1830 m up, at 820 hPa and 11 degrees C):

    >>> golden = Spot(39.742476, -105.1786, dt.timezone(dt.timedelta(hours=-7)))
    >>> when = dt.datetime(2003, 10, 17, 12, 30, 30, tzinfo=golden.zone)
    >>> azimuth, altitude, _ = sun_path(golden, np.array([when.timestamp()]))
    >>> round(float(azimuth[0]), 2), round(90 - float(altitude[0]), 1)
    (194.34, 50.1)
    """
    spa = _algorithm()
    first = dt.datetime.fromtimestamp(float(unix_s[0]), dt.UTC)
    delta_t = float(spa.calculate_deltat(first.year, first.month))
    found = spa.solar_position(
        np.asarray(unix_s, dtype=np.float64), spot.latitude_deg, spot.longitude_deg, 0.0, 1013.25, 12.0,
        delta_t, 0.5667,
    )  # fmt: skip
    return np.asarray(found[4]) % 360.0, np.asarray(found[2]), np.asarray(found[3])


def sun_at(spot: Spot, moment: dt.datetime) -> Sun:
    """The sun at a moment with a zone."""
    azimuth, altitude, _ = sun_path(spot, np.array([moment.timestamp()]))
    return Sun(float(azimuth[0]), float(altitude[0]))


@dataclass(frozen=True)
class SunDay:
    """The sun on one day of the place's own clocks.

    Attributes
    ----------
    sunrise, sunset : None where there is none that day; ``is_up_all_day`` or ``is_down_all_day`` then.
    golden, blue : (from, to) of the quarter hours, in order of the clock.
    noon : when the sun stands highest. highest_deg : how high.
    unix_s, azimuth_deg, altitude_deg : the path (n,), every half minute from midnight to midnight;
        ``true_deg`` : the altitude without refraction.
    """

    date: dt.date
    sunrise: dt.datetime | None
    sunset: dt.datetime | None
    is_up_all_day: bool
    is_down_all_day: bool
    golden: tuple[tuple[dt.datetime, dt.datetime], ...]
    blue: tuple[tuple[dt.datetime, dt.datetime], ...]
    noon: dt.datetime
    highest_deg: float
    unix_s: Array
    azimuth_deg: Array
    altitude_deg: Array
    true_deg: Array


def midnight(date: dt.date, zone: dt.tzinfo) -> float:
    """The first moment of a day by the clocks of a zone, in Unix time."""
    return dt.datetime.combine(date, dt.time(), zone).timestamp()


def sun_day(spot: Spot, date: dt.date) -> SunDay:
    """The sun through one day of local clocks, which has 23 or 25 hours where they change."""
    start, end = midnight(date, spot.zone), midnight(date + dt.timedelta(days=1), spot.zone)
    times = np.append(np.arange(start, end, STEP_S), end)
    azimuth, altitude, true = sun_path(spot, times)

    def local(unix: float) -> dt.datetime:
        return dt.datetime.fromtimestamp(unix, spot.zone)

    falls, rises = _crossings(times, true, HORIZON_DEG)
    top = int(np.argmax(altitude))
    return SunDay(
        date,
        local(rises[0]) if rises else None,
        local(falls[-1]) if falls else None,
        bool(true.min() > HORIZON_DEG),
        bool(true.max() < HORIZON_DEG),
        tuple((local(a), local(b)) for a, b in _spans(times, true, GOLDEN_DEG)),
        tuple((local(a), local(b)) for a, b in _spans(times, true, BLUE_DEG)),
        local(float(times[top])),
        float(altitude[top]),
        times,
        azimuth,
        altitude,
        true,
    )


def _crossings(times: Array, values: Array, level: float) -> tuple[list[float], list[float]]:
    """Times at which the values fall through a level, and rise through it."""
    off = values - level
    with np.errstate(invalid="ignore", divide="ignore"):
        at = times[:-1] + off[:-1] / (off[:-1] - off[1:]) * np.diff(times)
    falling = (off[:-1] > 0) & (off[1:] <= 0)
    rising = (off[:-1] < 0) & (off[1:] >= 0)
    return [float(t) for t in at[falling]], [float(t) for t in at[rising]]


def _spans(times: Array, values: Array, between: tuple[float, float]) -> list[tuple[float, float]]:
    """Stretches of time with the values in a range, of a minute or more."""
    inside = (values >= between[0]) & (values <= between[1])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], inside.astype(np.int8), [0]])))
    return [
        (float(times[a]), float(times[b - 1]))
        for a, b in zip(edges[::2], edges[1::2], strict=True)
        if times[b - 1] - times[a] >= 60
    ]


@dataclass(frozen=True)
class LightAgain:
    """The light of a moment, and when it comes again.

    Attributes
    ----------
    name : of the still or the reading. moment : when it was. sun : where the sun stood.
    on_day, shoot_day : the sun on both days.
    same_altitude : the sun as high again, on the same side of noon; None where it never is.
    azimuth_off_deg : where it stands then, against where it stood (+ by east to south to west).
    lasts_min : for how long altitude and azimuth stay within 3 degrees of that.
    same_azimuth : the sun in the same direction again: the same window. altitude_off_deg : + higher.
    apart_min : from ``same_azimuth`` to ``same_altitude``, in minutes.
    both_min : for how long it is within 3 degrees of where it stood, in both; 0 where it does not come back.
    """

    name: str
    moment: dt.datetime
    sun: Sun
    on_day: SunDay
    shoot_day: SunDay
    same_altitude: dt.datetime | None
    azimuth_off_deg: float | None
    lasts_min: float | None
    same_azimuth: dt.datetime | None
    altitude_off_deg: float | None
    apart_min: float | None
    both_min: float

    @property
    def is_dark(self) -> bool:
        """Whether the sun was so far down that this was not its light."""
        return self.sun.altitude_deg < DARK_DEG


def turn(azimuth: Array | float, start: float) -> Array:
    """Azimuths against one, from -180 to 180 degrees."""
    return np.asarray((np.asarray(azimuth) - start + 180.0) % 360.0 - 180.0)


def light_again(spot: Spot, name: str, moment: dt.datetime, shoot_date: dt.date) -> LightAgain:
    """When the sun of ``moment`` stands as high, and in the same direction, on ``shoot_date``."""
    sun = sun_at(spot, moment)
    then = sun_day(spot, moment.astimezone(spot.zone).date())
    day = sun_day(spot, shoot_date)
    soon, late = (sun_at(spot, moment + dt.timedelta(minutes=m)) for m in (-4, 4))
    rising = late.altitude_deg > soon.altitude_deg
    falls, rises = _crossings(day.unix_s, day.altitude_deg, sun.altitude_deg)
    same = _nearest_by(day, rises if rising else falls, sun) or _nearest_by(day, falls + rises, sun)
    east = turn(day.azimuth_deg, sun.azimuth_deg)
    near = np.abs(east) < 90.0
    left, right = _crossings(day.unix_s, np.where(near, east, np.nan), 0.0)
    window = min(
        left + right,
        key=lambda t: abs(float(np.interp(t, day.unix_s, day.altitude_deg)) - sun.altitude_deg),
        default=None,
    )
    azimuth_off = lasts = altitude_off = apart = None
    if same is not None:
        there = sun_at(spot, _local(spot, same))
        azimuth_off = float(turn(there.azimuth_deg, sun.azimuth_deg))
        lasts = _within(day, there, same)
    if window is not None:
        altitude_off = sun_at(spot, _local(spot, window)).altitude_deg - sun.altitude_deg
    if same is not None and window is not None:
        apart = (same - window) / 60.0
    return LightAgain(
        name, moment.astimezone(spot.zone), sun, then, day,
        None if same is None else _local(spot, same), azimuth_off, lasts,
        None if window is None else _local(spot, window), altitude_off, apart, _within(day, sun, None),
    )  # fmt: skip


def _local(spot: Spot, unix: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(unix, spot.zone)


def _nearest_by(day: SunDay, times: Sequence[float], sun: Sun) -> float | None:
    """The time at which the sun stands nearest in direction."""
    directions = np.unwrap(day.azimuth_deg, period=360.0)
    return min(
        times,
        key=lambda t: abs(float(turn(float(np.interp(t, day.unix_s, directions)), sun.azimuth_deg))),
        default=None,
    )


def _within(day: SunDay, sun: Sun, about: float | None) -> float:
    """Minutes with altitude and azimuth within 3 degrees of a place: the stretch about a time, or the
    longest."""
    high = np.abs(day.altitude_deg - sun.altitude_deg) <= SAME_DEG
    inside = high & (np.abs(turn(day.azimuth_deg, sun.azimuth_deg)) <= SAME_DEG)
    spans = _spans(day.unix_s, inside.astype(np.float64), (0.5, 1.5))
    if about is not None:
        spans = [s for s in spans if s[0] - STEP_S <= about <= s[1] + STEP_S]
    return max(((b - a) / 60.0 for a, b in spans), default=0.0)


# in words --------------------------------------------------------------------------------------------------


def day_words(date: dt.date) -> str:
    """A date as it is said.

    >>> day_words(dt.date(2031, 5, 20))
    '20 May'
    """
    months = (
        "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
        "November", "December",
    )  # fmt: skip
    return f"{date.day} {months[date.month - 1]}"


def clock_of(moment: dt.datetime) -> str:
    """HH:MM, to the nearest minute."""
    return (moment + dt.timedelta(seconds=30)).strftime("%H:%M")


def minutes_words(minutes: float) -> str:
    """A length of time: minutes up to two hours, then hours.

    >>> minutes_words(24.6), minutes_words(1), minutes_words(200)
    ('25 minutes', '1 minute', '3 h 20')
    """
    whole = round(minutes)
    if whole >= 120:
        return f"{whole // 60} h {whole % 60:02d}"
    return f"{whole} minute{'' if whole == 1 else 's'}"


def further_words(here_deg: float, off_deg: float) -> str:
    """Which way the sun has gone, by the compass.

    >>> further_words(251.0, 9.0), further_words(180.0, -5.0), further_words(100.0, 0.3)
    ('9° further north', '5° further east', 'in the same direction')
    """
    if abs(off_deg) < 0.5:
        return "in the same direction"
    a, b = math.radians(here_deg), math.radians(here_deg + off_deg)
    north, east = math.cos(b) - math.cos(a), math.sin(b) - math.sin(a)
    up, side = ("north" if north > 0 else "south"), ("east" if east > 0 else "west")
    way = up if abs(north) >= abs(east) else side
    return f"{abs(off_deg):.0f}° further {way}"


def again_line(found: LightAgain) -> str:
    """The one plain line: when this light comes on the day of the shoot, for how long, and from where."""
    day = day_words(found.shoot_day.date)
    if found.is_dark:
        return f"The sun was down ({_degrees(found.sun.altitude_deg)}): this is not its light."
    if found.same_altitude is None or found.azimuth_off_deg is None or found.lasts_min is None:
        return f"On {day} this light does not come: {_never(found)}."
    where = further_words(found.sun.azimuth_deg, found.azimuth_off_deg)
    lasts = minutes_words(max(1.0, found.lasts_min))
    return (
        f"On {day} this light comes at {clock_of(found.same_altitude)} and lasts {lasts}; the sun is {where}."
    )


def _never(found: LightAgain) -> str:
    day = found.shoot_day
    if day.is_down_all_day:
        return "the sun does not rise"
    if day.highest_deg < found.sun.altitude_deg:
        return f"the sun climbs to {day.highest_deg:.0f}° at most, at {clock_of(day.noon)}"
    return f"the sun stays above {float(day.altitude_deg.min()):.0f}° all day"


def _degrees(value: float) -> str:
    side = "over" if value >= 0 else "under"
    return f"{abs(value):.0f}° {side} the horizon"


def then_line(found: LightAgain) -> str:
    """Where the sun stood at the moment itself."""
    where = f"azimuth {found.sun.azimuth_deg:.0f}°, {_degrees(found.sun.altitude_deg)}"
    return f"It stood at {where}, at {clock_of(found.moment)}."


def window_line(found: LightAgain) -> str:
    """The same window: when the sun stands in the same direction, and how high; "" where it was dark."""
    if found.is_dark:
        return ""
    if found.same_azimuth is None or found.altitude_off_deg is None:
        return "Through the same window the sun does not come that day."
    off = round(found.altitude_off_deg)
    high = "as high" if off == 0 else f"{abs(off)}° {'higher' if off > 0 else 'lower'}"
    altitude = found.sun.altitude_deg + found.altitude_off_deg
    if altitude < HORIZON_DEG:
        return f"In the same direction it is down: {abs(altitude):.0f}° under the horizon."
    where = f"azimuth {found.sun.azimuth_deg:.0f}°"
    text = f"Through the same window ({where}): {clock_of(found.same_azimuth)}, {high}"
    if found.apart_min is not None:
        apart = abs(found.apart_min)
        text += f", {minutes_words(apart)} {'before' if found.apart_min > 0 else 'after'} that"
    return text + "."


def both_line(found: LightAgain) -> str:
    """For how long both, height and direction, are as they were."""
    if found.is_dark:
        return ""
    if found.both_min <= 0:
        return "Height and direction together never come within 3° that day."
    return f"Height and direction are both within 3° for {minutes_words(found.both_min)}."


def day_line(day: SunDay, zone_note: str = "") -> str:
    """Sunrise, sunset, and the golden and blue quarter hours of a day."""
    parts = []
    if day.is_up_all_day:
        parts.append("the sun does not set")
    elif day.is_down_all_day:
        parts.append("the sun does not rise")
    if day.sunrise is not None:
        parts.append(f"sunrise {clock_of(day.sunrise)}")
    if day.sunset is not None:
        parts.append(f"sunset {clock_of(day.sunset)}")
    for name, spans in (("golden", day.golden), ("blue", day.blue)):
        if spans:
            parts.append(f"{name} " + " and ".join(f"{clock_of(a)} to {clock_of(b)}" for a, b in spans))
    text = f"{day_words(day.date)}: " + ", ".join(parts)
    return text + (f" ({zone_note})" if zone_note else "")


def zone_words(found: LightAgain) -> str:
    """How the clocks stand on both days, where that differs; "" where it does not."""
    one, other = found.moment.utcoffset(), found.shoot_day.noon.utcoffset()
    if one == other or one is None or other is None:
        return ""
    return f"clocks at {_offset(one)} on the scout, {_offset(other)} on the shoot"


def _offset(value: dt.timedelta) -> str:
    minutes = round(value.total_seconds() / 60)
    sign = "+" if minutes >= 0 else MINUS
    return f"UTC{sign}{abs(minutes) // 60}" + (f":{abs(minutes) % 60:02d}" if minutes % 60 else "")
