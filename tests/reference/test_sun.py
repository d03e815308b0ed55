"""The sun against the published worked example, almanac values, and a library of another method.

- Reda and Andreas 2003 (NREL/TP-560-34302), table A5.1: the worked example.
- astral: the equations of the NOAA solar calculator (Meeus), an independent method; sunrise within a minute
or two.
- Values marked "from memory" are typed from memory of published almanacs, to the minute or two.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import astral
import astral.sun
import numpy as np
import pytest

from lookdev.meter.sun import (
    Spot,
    again_line,
    clock_of,
    day_line,
    light_again,
    sun_at,
    sun_day,
    sun_path,
    window_line,
    zone_words,
)

OSLO, QUITO, SYDNEY = (
    Spot(59.91, 10.75, ZoneInfo("Europe/Oslo")),
    Spot(-0.18, -78.47, ZoneInfo("America/Guayaquil")),
    Spot(-33.87, 151.21, ZoneInfo("Australia/Sydney")),
)
TROMSO = Spot(69.65, 18.96, ZoneInfo("Europe/Oslo"))


def test_reda_and_andreas_worked_example() -> None:
    """Topocentric zenith 50.11162 and azimuth 194.34024 at 1830.14 m, 820 hPa, 11 C; here at sea level."""
    from pvlib import spa

    when = dt.datetime(2003, 10, 17, 19, 30, 30, tzinfo=dt.UTC).timestamp()
    found = spa.solar_position(np.array([when]), 39.742476, -105.1786, 1830.14, 820, 11, 67, 0.5667)
    assert found[0, 0] == pytest.approx(50.11162, abs=1e-5)
    assert found[4, 0] == pytest.approx(194.34024, abs=1e-5)
    azimuth, altitude, _ = sun_path(Spot(39.742476, -105.1786, dt.UTC), np.array([when]))
    assert azimuth[0] == pytest.approx(194.34024, abs=0.001)
    assert altitude[0] == pytest.approx(90 - 50.11162, abs=0.01)  # the air differs, not the sun


def test_noon_of_the_solstice_is_the_obliquity() -> None:
    """Declination 23.44 degrees at the June solstice (IAU): 90 - |latitude - 23.44| at noon."""
    for spot in (OSLO, QUITO, SYDNEY):
        highest = sun_day(spot, dt.date(2031, 6, 21)).highest_deg
        assert highest == pytest.approx(90 - abs(spot.latitude_deg - 23.44), abs=0.05)


@pytest.mark.parametrize("spot", [OSLO, QUITO, SYDNEY])
@pytest.mark.parametrize("date", [dt.date(2031, 3, 4), dt.date(2031, 5, 20), dt.date(2031, 12, 21)])
def test_sunrise_and_sunset_by_another_method(spot: Spot, date: dt.date) -> None:
    observer = astral.Observer(spot.latitude_deg, spot.longitude_deg)
    day = sun_day(spot, date)
    for mine, theirs in ((day.sunrise, astral.sun.sunrise), (day.sunset, astral.sun.sunset)):
        assert mine is not None
        assert abs((mine - theirs(observer, date, tzinfo=spot.zone)).total_seconds()) < 120


def test_positions_by_another_method() -> None:
    rng = np.random.default_rng(5)
    for _ in range(60):
        spot = Spot(float(rng.uniform(-75, 75)), float(rng.uniform(-180, 180)), dt.UTC)
        when = dt.datetime(2031, 1, 1, tzinfo=dt.UTC) + dt.timedelta(minutes=int(rng.integers(0, 525600)))
        observer, mine = astral.Observer(spot.latitude_deg, spot.longitude_deg), sun_at(spot, when)
        altitude = astral.sun.elevation(observer, when)
        if mine.altitude_deg > 2:
            assert mine.altitude_deg == pytest.approx(altitude, abs=0.1)
        if abs(mine.altitude_deg) < 80:
            off = (mine.azimuth_deg - astral.sun.azimuth(observer, when) + 180) % 360 - 180
            assert abs(off) < 0.15


# From memory of almanacs: Oslo about 03:54 to 22:44 on 21 June, Sydney about 05:41 to 20:05 on 21 December.
@pytest.mark.parametrize(
    ("spot", "date", "rise", "fall"),
    [(OSLO, dt.date(2031, 6, 21), "03:54", "22:44"), (SYDNEY, dt.date(2031, 12, 21), "05:41", "20:05")],
)
def test_almanac(spot: Spot, date: dt.date, rise: str, fall: str) -> None:
    day = sun_day(spot, date)
    assert day.sunrise is not None and day.sunset is not None
    for moment, text in ((day.sunrise, rise), (day.sunset, fall)):
        want = moment.replace(hour=int(text[:2]), minute=int(text[3:]), second=0)
        assert abs((moment - want).total_seconds()) < 180


def test_polar_day_and_polar_night() -> None:
    summer, winter = sun_day(TROMSO, dt.date(2031, 6, 21)), sun_day(TROMSO, dt.date(2031, 12, 21))
    assert summer.is_up_all_day and summer.sunrise is None and summer.sunset is None
    assert winter.is_down_all_day and winter.sunrise is None
    assert "does not set" in day_line(summer) and "does not rise" in day_line(winter)
    march = dt.datetime(2031, 3, 20, 12, 0, tzinfo=TROMSO.zone)
    found = light_again(TROMSO, "still", march, dt.date(2031, 12, 21))
    assert found.same_altitude is None
    assert again_line(found) == "On 21 December this light does not come: the sun does not rise."
    june = light_again(
        TROMSO, "still", dt.datetime(2031, 3, 20, 17, 0, tzinfo=TROMSO.zone), dt.date(2031, 6, 21)
    )
    assert june.same_altitude is not None or "stays above" in again_line(june)


def test_the_light_of_march_in_may() -> None:
    """By symmetry about the June solstice, 24 April and 18 August have one declination, and one sun."""
    moment = dt.datetime(2031, 4, 24, 17, 30, tzinfo=OSLO.zone)
    found = light_again(OSLO, "still", moment, dt.date(2031, 8, 19))
    assert found.same_altitude is not None and found.azimuth_off_deg is not None
    assert abs(found.azimuth_off_deg) < 1.0
    assert abs(found.altitude_off_deg or 9) < 0.6
    assert 18 < (found.lasts_min or 0) < 40
    assert found.both_min == pytest.approx(found.lasts_min, abs=6)
    march = light_again(
        OSLO, "still", dt.datetime(2031, 3, 4, 16, 30, tzinfo=OSLO.zone), dt.date(2031, 5, 20)
    )
    assert march.same_altitude is not None
    there = sun_at(OSLO, march.same_altitude)
    assert there.altitude_deg == pytest.approx(march.sun.altitude_deg, abs=0.02)
    assert march.same_azimuth is not None
    assert sun_at(OSLO, march.same_azimuth).azimuth_deg == pytest.approx(march.sun.azimuth_deg, abs=0.02)
    line = again_line(march)
    assert line.startswith("On 20 May this light comes at ") and "further north" in line
    assert clock_of(march.same_azimuth) in window_line(march)


def test_lasts_is_counted_by_the_minute() -> None:
    """Minute by minute with the sun's position alone."""
    found = light_again(OSLO, "still", dt.datetime(2031, 3, 4, 15, 0, tzinfo=OSLO.zone), dt.date(2031, 5, 20))
    assert found.same_altitude is not None and found.lasts_min is not None
    there = sun_at(OSLO, found.same_altitude)
    count = 0
    for minute in range(-90, 91):
        sun = sun_at(OSLO, found.same_altitude + dt.timedelta(minutes=minute))
        near = abs(sun.altitude_deg - there.altitude_deg) <= 3
        count += near and abs(sun.azimuth_deg - there.azimuth_deg) <= 3
    assert found.lasts_min == pytest.approx(count, abs=2)


def test_a_day_on_which_the_clocks_change_has_its_own_length() -> None:
    spring, autumn = sun_day(OSLO, dt.date(2031, 3, 30)), sun_day(OSLO, dt.date(2031, 10, 26))
    assert spring.unix_s[-1] - spring.unix_s[0] == 23 * 3600
    assert autumn.unix_s[-1] - autumn.unix_s[0] == 25 * 3600
    found = light_again(OSLO, "still", dt.datetime(2031, 3, 4, 15, 0, tzinfo=OSLO.zone), dt.date(2031, 5, 20))
    assert zone_words(found) == "clocks at UTC+1 on the scout, UTC+2 on the shoot"
    # the sun's own hour hardly moves: the clock's does
    before, after = sun_day(OSLO, dt.date(2031, 3, 29)).noon, spring.noon
    assert 59 < (after.replace(tzinfo=None) - before.replace(tzinfo=None)).total_seconds() / 60 - 24 * 60 < 61


def test_the_date_line() -> None:
    """Two shores of the line, a day apart by the calendar and one sun: Apia (UTC+13) and Pago Pago
    (UTC-11)."""
    apia = Spot(-13.83, -171.77, ZoneInfo("Pacific/Apia"))
    pago = Spot(-13.83, -171.77, ZoneInfo("Pacific/Pago_Pago"))
    one, other = sun_day(apia, dt.date(2031, 5, 20)), sun_day(pago, dt.date(2031, 5, 19))
    assert one.sunrise is not None and other.sunrise is not None
    assert abs((one.sunrise - other.sunrise).total_seconds()) < 1
    east, west = (
        Spot(0.0, 180.0, dt.timezone(dt.timedelta(hours=12))),
        Spot(0.0, -180.0, dt.timezone(dt.timedelta(hours=12))),
    )
    when = dt.datetime(2031, 5, 20, 9, 0, tzinfo=east.zone)
    assert sun_at(east, when).azimuth_deg == pytest.approx(sun_at(west, when).azimuth_deg, abs=1e-6)


def test_a_still_at_night_is_not_the_suns() -> None:
    found = light_again(OSLO, "still", dt.datetime(2031, 3, 4, 23, 0, tzinfo=OSLO.zone), dt.date(2031, 5, 20))
    assert found.is_dark and "not its light" in again_line(found) and window_line(found) == ""


def test_golden_and_blue_by_altitude() -> None:
    day = sun_day(OSLO, dt.date(2031, 5, 20))
    for (first, last), (low, high) in ((day.golden[-1], (6.0, -4.0)), (day.blue[-1], (-4.0, -6.0))):
        for moment, altitude in ((first, low), (last, high)):
            _, _, true = sun_path(OSLO, np.array([moment.timestamp()]))
            assert true[0] == pytest.approx(altitude, abs=0.1)
