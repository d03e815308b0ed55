"""The moments of a place, by its stills and readings, and when their light comes again on the shoot date."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from lookdev.errors import StillError
from lookdev.meter.log import Reading, readings_at
from lookdev.meter.scout import Scout
from lookdev.meter.sun import LightAgain, Spot, again_line, light_again

MOST_MOMENTS = 8
"""Of one place on its page; more than these are the same light."""

NEAR_MINUTES = 10
"""A reading this near to a still's moment says nothing new."""


@dataclass(frozen=True)
class PlaceAgain:
    """The light of a place again: ``moments`` in order of time, ``doubts`` why one is missing, in words."""

    moments: tuple[LightAgain, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def best(self) -> LightAgain | None:
        """The first moment with the sun's light; None where all are after dark."""
        return next((m for m in self.moments if not m.is_dark), None)


@dataclass(frozen=True)
class Stamp:
    """What a still's EXIF says of when and where: ``local`` without a zone, ``utc`` and ``position`` by
    GPS."""

    local: dt.datetime | None = None
    utc: dt.datetime | None = None
    position: tuple[float, float] | None = None


def stamp_of(path: Path) -> Stamp:
    """When and where a still was taken, by its EXIF (CIPA DC-008-2023, GPS tags 1 to 7 and 29).

    The position is used for the sun and never written out.
    """
    from lookdev.stills.exif import load_exif
    from lookdev.stills.reader import read_info

    try:
        _, metadata = read_info(path)
    except StillError:
        return Stamp()
    local = dt.datetime.fromisoformat(metadata.date) if _is_date(metadata.date) and metadata.date else None
    if metadata.is_utc:
        return Stamp(None, local)
    exif = load_exif(metadata.private) if metadata.private else None
    gps = dict(exif.get_ifd(0x8825)) if exif is not None else {}
    return Stamp(local, _gps_time(gps), _gps_position(gps))


def _is_date(text: str | None) -> bool:
    try:
        return text is not None and bool(dt.datetime.fromisoformat(text))
    except ValueError:
        return False


def _gps_position(gps: dict[int, object]) -> tuple[float, float] | None:
    latitude, longitude = _angle(gps.get(2)), _angle(gps.get(4))
    if latitude is None or longitude is None or abs(latitude) > 90 or abs(longitude) > 180:
        return None
    if latitude == 0 and longitude == 0:
        return None  # what cameras without a fix write
    south, west = (str(gps.get(tag, "")).strip().upper()[:1] for tag in (1, 3))
    return (-latitude if south == "S" else latitude), (-longitude if west == "W" else longitude)


def _angle(value: object) -> float | None:
    try:
        parts = [float(v) for v in value]  # type: ignore[attr-defined]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    if not parts or not all(math.isfinite(v) for v in parts):
        return None
    return float(sum(v / 60.0**n for n, v in enumerate(parts[:3])))


def _gps_time(gps: dict[int, object]) -> dt.datetime | None:
    try:
        year, month, day = (int(v) for v in str(gps[29]).strip("\0 ").replace("-", ":").split(":"))
        hour, minute, second = (float(v) for v in gps[7])  # type: ignore[attr-defined]
        start = dt.datetime(year, month, day, tzinfo=dt.UTC)
    except (KeyError, TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    seconds = hour * 3600 + minute * 60 + second
    return start + dt.timedelta(seconds=seconds) if 0 <= seconds < 86401 else None


def place_again(scout: Scout, location: str, stills: Iterable[Path]) -> PlaceAgain:
    """When the light of each still and reading of a place comes again; nothing without a ``shoot_date``.

    Position: ``latitude`` and ``longitude`` of scout.toml, else the stills' own. Clocks: ``time_zone``,
    else what a still's own clock is from its GPS time. Date: the still's, else ``date`` as year-month-day.
    """
    if scout.shoot_date is None:
        return PlaceAgain()
    stamps = [(_named(path, scout.folder), stamp_of(path)) for path in stills]
    position = scout.position or next((s.position for _, s in stamps if s.position is not None), None)
    if position is None:
        return PlaceAgain((), ("no position: latitude and longitude in scout.toml, or stills with GPS",))
    zone = _zone(scout, [stamp for _, stamp in stamps])
    if zone is None:
        return PlaceAgain((), ("no time_zone in scout.toml: the hours of the sun cannot be told",))
    spot = Spot(position[0], position[1], zone)
    times = [(name, _moment(stamp, zone)) for name, stamp in stamps]
    moments = [(name, moment) for name, moment in times if moment is not None]
    date = _date_of(scout, [moment for _, moment in moments])
    doubts = []
    for reading in readings_at(location, scout.log.readings):
        if reading.time is None:
            continue
        if date is None:
            doubts = ["no date for the readings: date = year-month-day in scout.toml"]
            continue
        moment = _reading_moment(reading, date, zone)
        if not any(abs((moment - m).total_seconds()) < 60 * NEAR_MINUTES for _, m in moments):
            moments.append((reading.name, moment))
    moments.sort(key=lambda pair: pair[1])
    shown = moments[:: max(1, math.ceil(len(moments) / MOST_MOMENTS))]
    found = tuple(light_again(spot, name, moment, scout.shoot_date) for name, moment in shown)
    return PlaceAgain(found, tuple(doubts))


def _named(path: Path, folder: Path) -> str:
    """A still's path in the scout."""
    return path.relative_to(folder).as_posix() if path.is_relative_to(folder) else path.name


def _zone(scout: Scout, stamps: list[Stamp]) -> dt.tzinfo | None:
    if scout.time_zone is not None:
        return ZoneInfo(scout.time_zone)
    for stamp in stamps:
        if stamp.local is not None and stamp.utc is not None:
            ahead = (stamp.local.replace(tzinfo=dt.UTC) - stamp.utc).total_seconds() / 900
            if abs(ahead) <= 14 * 4:
                return dt.timezone(dt.timedelta(minutes=15 * round(ahead)))
    return None


def _moment(stamp: Stamp, zone: dt.tzinfo) -> dt.datetime | None:
    """By GPS where the still has its time, which no camera clock sets wrong; else by the camera's clock."""
    if stamp.utc is not None:
        return stamp.utc.astimezone(zone)
    return stamp.local.replace(tzinfo=zone) if stamp.local is not None else None


def _date_of(scout: Scout, moments: list[dt.datetime]) -> dt.date | None:
    if moments:
        return min(moments).date()
    try:
        return dt.date.fromisoformat((scout.date or "")[:10])
    except ValueError:
        return None


def _reading_moment(reading: Reading, date: dt.date, zone: dt.tzinfo) -> dt.datetime:
    assert reading.time is not None
    return dt.datetime.combine(date, dt.time(int(reading.time[:2]), int(reading.time[3:])), zone)


def again_data(again: PlaceAgain) -> dict[str, Any]:
    """The light of a place again as JSON-ready data; never the position."""
    return {"moments": [_moment_data(m) for m in again.moments], "doubts": list(again.doubts)}


def _moment_data(found: LightAgain) -> dict[str, Any]:
    def clock(moment: dt.datetime | None) -> str | None:
        return None if moment is None else moment.isoformat(timespec="minutes")

    def number(value: float | None) -> float | None:
        return None if value is None else round(value, 1) + 0.0

    return {
        "of": found.name,
        "moment": clock(found.moment),
        "azimuth_deg": number(found.sun.azimuth_deg),
        "altitude_deg": number(found.sun.altitude_deg),
        "sunrise": clock(found.shoot_day.sunrise),
        "sunset": clock(found.shoot_day.sunset),
        "golden": [[clock(a), clock(b)] for a, b in found.shoot_day.golden],
        "blue": [[clock(a), clock(b)] for a, b in found.shoot_day.blue],
        "same_altitude_at": clock(found.same_altitude),
        "azimuth_off_deg": number(found.azimuth_off_deg),
        "lasts_minutes": number(found.lasts_min),
        "same_azimuth_at": clock(found.same_azimuth),
        "altitude_off_deg": number(found.altitude_off_deg),
        "minutes_apart": number(found.apart_min),
        "minutes_within_3_deg_of_both": number(found.both_min),
        "in_words": again_line(found),
    }
