"""The light of a place in one plain sentence, for people who read no meter."""

from __future__ import annotations

import datetime as dt
import re

from lookdev.meter.exposure import Exposure, expose
from lookdev.meter.hints import kind_of
from lookdev.meter.reading import Reading
from lookdev.meter.scout import Plan
from lookdev.meter.sun import LightAgain
from lookdev.text.numbers import rough

ENOUGH_STOPS = 0.25
"""Under the plan's stop by less than this is as planned (taste: a quarter of a stop is a trim)."""

TO_SPARE_STOPS = 1.0
FAST_LENS_STOPS = 2.0
"""What a fast lens gives over the planned stop where the plan names no lens: T1.4 for T2.8 (taste)."""

HORIZON_DEG, TWILIGHT_DEG, LOW_DEG = -0.833, -12.0, 6.0
"""The sun's upper edge at the horizon, refraction counted; the end of nautical twilight; a low sun (common
use)."""

DAYLIGHT_K = 4800.0
"""Over this a light that nobody named is taken for daylight (common practice: between HMI and low sun)."""

_SHORT = {
    "high-pressure sodium": "sodium",
    "colour-enhanced sodium": "sodium",
    "fluorescent": "fluorescent tubes",
    "broad-band fluorescent": "fluorescent tubes",
    "three-band fluorescent": "fluorescent tubes",
    "multi-band fluorescent": "fluorescent tubes",
    "filtered tungsten, as sunlight": "tungsten",
    "filtered tungsten, as daylight": "daylight",
    "daylight through glass": "daylight",
    "equal energy": "light",
}


def light_sentence(reading: Reading | None, plan: Plan, sun: LightAgain | None = None) -> str:
    """What light it is, when, how much, and what that asks of the shoot; "" without a reading.

    ``sun`` : of the moment of the still, where it is known; else the reading's own time tells.

    >>> reading = Reading(row=2, location="Dock", source="HP1", illuminant="HP1", time="22:40",
    ...                   illuminance_lux=42.0)
    >>> light_sentence(reading, Plan(exposure_index=800, t_stop=2.8))
    'Sodium at night, 42 lux: a fast lens or more light.'
    """
    if reading is None:
        return ""
    parts = [source_words(reading), _when(reading, sun)]
    text = " ".join(part for part in parts if part)
    lux = reading.illuminance_lux
    if lux is not None and lux > 0:
        text += f", {rough(lux)} lux"
        need = need_words(expose(lux, plan))
        text += f": {need}" if need else ""
    return f"{text[:1].upper()}{text[1:]}."


def source_words(reading: Reading) -> str:
    """What kind of light it is, in words: as it was typed, or what a CIE illuminant stands for."""
    if reading.mixture:
        return " with ".join(dict.fromkeys(source_words(part.reading) for part in reading.mixture))
    if reading.illuminant is not None:
        return _kind(reading.illuminant)
    typed = " ".join((reading.source or "").split())
    if typed:
        return typed
    if reading.is_cct_meaningful and reading.cct_duv is not None:
        cct = reading.cct_duv[0]
        return "warm light" if cct < 3600 else "light between warm and cool" if cct < 5000 else "cool light"
    return "coloured light" if reading.white_xy is not None else "light"


_SKY_WORDS = re.compile(
    r"day|sun|sky|window|cloud|overcast|tageslicht|sonne|fenster|jour|soleil|luz natural|sole"
)


def is_daylight(reading: Reading) -> bool:
    """Whether the sun or the sky has a part in it: by its illuminant, its words, or, without any, its colour.

    >>> is_daylight(Reading(source="HP1", illuminant="HP1")), is_daylight(Reading(source="north window"))
    (False, True)
    """
    if reading.mixture:
        return any(is_daylight(part.reading) for part in reading.mixture)
    if reading.illuminant is not None:
        return "daylight" in kind_of(reading.illuminant)
    if reading.source:
        return _SKY_WORDS.search(reading.source.casefold()) is not None
    return reading.is_cct_meaningful and reading.cct_duv is not None and reading.cct_duv[0] > DAYLIGHT_K


def _kind(illuminant: str) -> str:
    kind = kind_of(illuminant)
    return "LED" if "LED" in kind else _SHORT.get(kind, kind)


def _when(reading: Reading, sun: LightAgain | None) -> str:
    if sun is not None:
        return sun_words(sun.sun.altitude_deg, sun.moment.hour < 12)
    if reading.time is None:
        return ""
    hour = dt.time.fromisoformat(reading.time).hour
    return (
        "in the morning" if 5 <= hour < 9 else "by day" if 9 <= hour < 17 else
        "in the evening" if 17 <= hour < 21 else "at night"
    )  # fmt: skip


def sun_words(altitude_deg: float, before_noon: bool) -> str:
    """The time of day by the sun.

    >>> sun_words(-4.0, False), sun_words(40.0, True)
    ('at dusk', 'by day')
    """
    if altitude_deg < TWILIGHT_DEG:
        return "at night"
    if altitude_deg < HORIZON_DEG:
        return "at dawn" if before_noon else "at dusk"
    if altitude_deg < LOW_DEG:
        return "just after sunrise" if before_noon else "just before sunset"
    return "by day"


def need_words(exposure: Exposure | None) -> str:
    """What the light asks for, against the plan; "" where the plan does not say what it is shot at."""
    if exposure is None or exposure.over_stops is None:
        return ""
    over, lens = exposure.over_stops, exposure.lens_over_stops
    if over >= TO_SPARE_STOPS:
        return "light to spare"
    if over >= -ENOUGH_STOPS:
        return "enough light, as planned"
    wide_open = lens if lens is not None else over + FAST_LENS_STOPS
    if wide_open >= -ENOUGH_STOPS:
        return "a fast lens or more light"
    return "a fast lens and more light"
