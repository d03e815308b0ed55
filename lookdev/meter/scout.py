"""A scout: a folder of stills with ``meter.csv``, and ``scout.toml`` with the production's plan.

``scout.toml``, every key optional:

```toml
title = "Low Ferry"
date = 2031-03-04           # or free words
shoot_date = 2031-05-20     # when does this light come again?
latitude = 59.0             # degrees north and east; else the position in the stills
longitude = 3.5
time_zone = "Europe/Oslo"

clock_offset = { "Phone" = "+1:00" }   # what a camera's clock lacks against the log's
join_window_minutes = 20               # how far apart a still and the reading its time joins it to may be

[plan]
exposure_index = 800
frame_rate_fps = 24
shutter_angle_deg = 172.8   # or shutter_s = "1/50"
t_stop = 2.8                # the stop to shoot at
lens_t_stop = 1.4           # the widest that the lens opens
filter_stops = 0.6          # light that filters in front of the lens take
balance_k = 4300            # the production's balance, with balance_duv if it is off the locus
camera_balance_k = 5600     # what the stills camera was set to, where the log does not say
camera_balance = "neutralised"   # or "estimate": of stills on automatic balance without a grey patch
footage_encoding = "ACEScct"
match = "meter"             # bring each still to the exposure that the meter calls for
match_limit_stops = 2       # but by no more than so many stops
match_white_percent = 5     # and with no more than so much of a frame at white
mains_hz = 50
readout_ms = 12             # of a rolling shutter, first row to last
key_to_fill = 4             # the ratio to light to
receptor = "flat"           # of the meter; or "dome"
calibration_constant = 250  # ISO 2720: 240 to 400 flat, 320 to 540 dome

[stills]
leave_out = ["*plan*", "Screenshot*"]   # files that are no stills of the scout

moments = ["clip.mov@00:07"]            # pictures of clips, and [[view]] of panoramas: see scout_parts

[pitch]
frame = "2.39:1"            # the film's; the stills' own shape without it
looks = ["Slack water", "Soot and chalk"]        # in this order
propose = "Slack water"     # for all, or by place
hero = { "Net loft" = "loft_03.jpg" }            # the still that stands for a place
shift = { "loft_03.jpg" = -0.3 }                 # of its crop: -1 up or left, 1 down or right
order = ["Net loft", "Loading dock"]             # as the story runs
words = { "Net loft" = "She waits here." }
surround = "dark"           # or "grey"

[meter]
tolerance_mired = 6
tolerance_duv = 0.003

[[lamps]]                   # ours; see lookdev.meter.lamps, as for [[filters]]
name = "colour-mixing panel"
emitters = [[0.69, 0.31], [0.17, 0.70], [0.14, 0.05]]   # x, y of red, green, blue
```
"""

from __future__ import annotations

import datetime
import difflib
import math
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from lookdev.errors import LookdevError, MeterError, one_line
from lookdev.meter.filters import COMMON_FILTERS
from lookdev.meter.iso_2720 import CONSTANT_RANGES
from lookdev.meter.lamps import FilterEntry, Kit, Lamp, LampEntry, filter_of, kit_of, lamp_of
from lookdev.meter.log import LOG_SUFFIXES, MeterLog, Tolerance, read_meter_log
from lookdev.meter.scout_parts import ScoutStill, ViewEntry, scout_stills
from lookdev.text.frame import frame_ratio
from lookdev.text.toml_in import read_toml
from lookdev.text.validation import first_error

Point = tuple[float, float]

LOG_STEM = "meter"
UNREADABLE = (".numbers", ".pages", ".doc", ".docx", ".odt", ".rtf", ".pdf", ".xlsb")


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _seconds(value: object) -> object:
    """Seconds from a number, or from a fraction in text such as ``"1/50"``."""
    if isinstance(value, str):
        over, _, under = value.strip().lower().removesuffix("s").strip().partition("/")
        try:
            seconds = float(over) / float(under or 1)
            if not math.isfinite(seconds):
                raise ValueError
            return seconds
        except (ValueError, ZeroDivisionError):
            raise ValueError('seconds such as 0.02 or "1/50"') from None
    return value


def _known_zone(name: str) -> str:
    """A time zone of the IANA database."""
    import zoneinfo

    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        near = difflib.get_close_matches(name, sorted(zoneinfo.available_timezones()), n=1, cutoff=0.5)
        hint = f"; nearest is {near[0]}" if near else ""
        raise ValueError(f"a time zone such as Europe/Oslo{hint}") from None
    return name


class Plan(_Part):
    """``[plan]``: how the production means to shoot. Numbers that are not given stay None.

    ``match`` is "meter" (each still is brought to the exposure that its incident reading calls for) or
    "none"; more than ``match_limit_stops``, or what puts more than ``match_white_percent`` of a frame at
    white, is held back as a likely slip. ``camera_balance`` is what is taken of stills on automatic balance
    without a grey patch: "neutralised" (the camera took all of the cast out) or "estimate".
    ``calibration_constant`` C of ISO 2720 goes with the ``receptor``; common practice without it.
    """

    exposure_index: Annotated[float, Field(ge=1, le=1_000_000)] | None = None
    frame_rate_fps: Annotated[float, Field(gt=0, le=10_000)] | None = None
    shutter_angle_deg: Annotated[float, Field(gt=0, le=360)] | None = None
    shutter_s: Annotated[float, Field(gt=0, le=60), BeforeValidator(_seconds)] | None = None
    t_stop: Annotated[float, Field(ge=0.5, le=128)] | None = None
    lens_t_stop: Annotated[float, Field(ge=0.5, le=128)] | None = None
    filter_stops: Annotated[float, Field(ge=0, le=20)] = 0.0
    balance_k: Annotated[float, Field(ge=1000, le=25000)] | None = None
    balance_duv: Annotated[float, Field(ge=-0.05, le=0.05)] | None = None
    camera_balance_k: Annotated[float, Field(ge=1000, le=25000)] | None = None
    camera_balance: Literal["neutralised", "estimate"] | None = None
    footage_encoding: str | None = None
    match: Literal["meter", "none"] = "none"
    match_limit_stops: Annotated[float, Field(ge=0, le=20)] = 2.0
    match_white_percent: Annotated[float, Field(ge=0, le=100)] = 5.0
    mains_hz: Literal[50, 60] | None = None
    receptor: Literal["flat", "dome"] = "flat"
    calibration_constant: float | None = None
    readout_ms: Annotated[float, Field(gt=0, le=200)] | None = None
    key_to_fill: Annotated[float, Field(ge=1, le=1000)] | None = None
    fixture: Fixture | None = None

    @model_validator(mode="after")
    def _one_shutter(self) -> Self:
        if self.shutter_angle_deg is not None and self.shutter_s is not None:
            raise ValueError("shutter_angle_deg or shutter_s, not both")
        fps = self.frame_rate_fps
        if self.shutter_s is not None and fps is not None and self.shutter_s > 1.0001 / fps:
            raise ValueError(f"a shutter_s within one frame (1/{fps:g} s)")
        if self.t_stop is not None and self.lens_t_stop is not None and self.t_stop < self.lens_t_stop - 1e-9:
            raise ValueError(f"a t_stop that the lens reaches (lens_t_stop = {self.lens_t_stop:g})")
        if self.balance_duv is not None and self.balance_k is None:
            raise ValueError("balance_k together with balance_duv")
        return self

    @model_validator(mode="after")
    def _constant_in_the_standard(self) -> Self:
        low, high = CONSTANT_RANGES[self.receptor]
        if self.calibration_constant is not None and not low <= self.calibration_constant <= high:
            raise ValueError(f"a constant from {low:g} to {high:g} for a {self.receptor} receptor (ISO 2720)")
        return self

    @property
    def balance_xy(self) -> Point | None:
        """Chromaticity of the production's balance.

        ``balance_duv`` off the Planckian locus if that is given; else CIE daylight from 4000 K and the
        Planckian locus below, as the written white points of cameras are read.
        """
        from lookdev.colorimetry.temperature import balance_white_xy, xy_from_cct

        if self.balance_k is None:
            return None
        white = (
            balance_white_xy(self.balance_k)
            if self.balance_duv is None
            else xy_from_cct(self.balance_k, self.balance_duv)
        )
        return float(white[0]), float(white[1])


class Fixture(_Part):
    """``[fixture]``: one colour-mixing lamp, by the x, y of its emitters; short for one of ``[[lamps]]``."""

    name: str = "the fixture"
    primaries: Annotated[tuple[Point, ...], Field(min_length=3, max_length=16)]

    @model_validator(mode="after")
    def _spans_an_area(self) -> Self:
        from lookdev.meter.lamps import checked_emitters

        checked_emitters(self.primaries)
        return self


class Meter(_Part):
    """``[meter]``: by how much two ways of saying one reading may differ."""

    tolerance_mired: Annotated[float, Field(ge=0, le=500)] = 6.0
    tolerance_duv: Annotated[float, Field(ge=0, le=0.1)] = 0.003
    tolerance_illuminance_percent: Annotated[float, Field(ge=0, le=100)] = 3.0


def _minutes(value: object) -> object:
    """Minutes from a number, or from hours and minutes in text such as ``"+1:00"`` or ``"-0h30"``."""
    if isinstance(value, str):
        found = _OFFSET.fullmatch(value.strip().replace("\N{MINUS SIGN}", "-"))
        if found is None:
            raise ValueError('minutes, or hours and minutes such as "+1:00" or "-0:30"')
        whole = int(found["h"] or 0) * 60 + int(found["m"] or 0)
        return -whole if found["sign"] == "-" else whole
    return value


_OFFSET = re.compile(r"(?P<sign>[+-]?)(?:(?P<h>\d{1,3})[:h])?(?P<m>\d{1,3})?\s*(?:min)?")


def _per_camera(value: object) -> object:
    return value if isinstance(value, dict) else {"": value}


def _for_all(value: object) -> object:
    return {"": value} if isinstance(value, str) else value


Minutes = Annotated[float, Field(ge=-100_000, le=100_000), BeforeValidator(_minutes)]


class Stills(_Part):
    """``[stills]``: which files in the folder are none of the scout's, by name, pattern or folder; which
    moments of clips are stills of it."""

    leave_out: tuple[str, ...] = ()
    moments: tuple[str, ...] = ()


class PitchPlan(_Part):
    """``[pitch]``: what the pages that sell a look show. Places by name, stills as the log names them.

    ``frame`` is the film's, width to height; the stills' own shape without one. ``crop = false`` draws the
    frame over the whole picture instead of cropping to it. ``shift`` moves the crop of a still, -1 (up, left)
    to 1 (down, right). ``hero`` is the still that stands for a place, ``propose`` a look for all or by place,
    ``looks`` those that are pitched, in order, ``order`` the places as the story runs, ``words`` the
    cinematographer's own, by place.
    """

    frame: Annotated[float, BeforeValidator(frame_ratio)] | None = None
    crop: bool = True
    shift: dict[str, Annotated[float, Field(ge=-1, le=1)]] = Field(default_factory=dict)
    hero: dict[str, str] = Field(default_factory=dict)
    looks: tuple[str, ...] = ()
    propose: Annotated[dict[str, str], BeforeValidator(_for_all)] = Field(default_factory=dict)
    order: tuple[str, ...] = ()
    surround: Literal["dark", "grey"] = "dark"
    words: dict[str, str] = Field(default_factory=dict)


class ScoutFile(_Part):
    """The whole of ``scout.toml``.

    ``clock_offset`` is what must be added to the time in a camera's files to get the time in the log, by a
    part of the camera's name, in minutes or as "+1:00"; one value alone is for every camera.
    ``join_window_minutes`` is how far apart a still and a reading may be where only the time joins them.
    """

    title: str | None = None
    date: str | None = None
    latitude: Annotated[float, Field(ge=-90, le=90)] | None = None
    longitude: Annotated[float, Field(ge=-180, le=180)] | None = None
    time_zone: Annotated[str, AfterValidator(_known_zone)] | None = None
    shoot_date: datetime.date | None = None
    plan: Plan = Plan()
    meter: Meter = Meter()
    stills: Stills = Stills()
    pitch: PitchPlan = PitchPlan()
    clock_offset: Annotated[dict[str, Minutes], BeforeValidator(_per_camera)] = Field(default_factory=dict)
    join_window_minutes: Annotated[float, Field(ge=0, le=1440)] = 20.0
    fixture: Fixture | None = None
    lamps: Annotated[tuple[LampEntry, ...], Field(max_length=12)] = ()
    filters: Annotated[tuple[FilterEntry, ...], Field(max_length=60)] = ()
    view: Annotated[tuple[ViewEntry, ...], Field(max_length=500)] = ()

    @model_validator(mode="after")
    def _whole_position(self) -> Self:
        if (self.latitude is None) != (self.longitude is None):
            raise ValueError("both latitude and longitude, in degrees north and east")
        return self

    @model_validator(mode="after")
    def _names_once(self) -> Self:
        for what, entries in (("lamps", self.lamps), ("filters", self.filters)):
            names = [entry.name.casefold() for entry in entries]
            again = next((n for n in names if names.count(n) > 1), None)
            if again is not None:
                raise ValueError(f"{what} of different names, not '{again}' twice")
        return self


Plan.model_rebuild()
ScoutFile.model_rebuild()


@dataclass(frozen=True)
class Scout:
    """A folder of stills, what was metered there, and the plan.

    ``stills`` are the files; ``parts`` every still by its name: files, views of panoramas, moments of clips.
    """

    folder: Path
    title: str
    plan: Plan = field(default_factory=Plan)
    stills: tuple[Path, ...] = ()
    log: MeterLog = field(default_factory=MeterLog)
    date: str | None = None
    kit: Kit = field(default_factory=lambda: kit_of(()))
    position: Point | None = None
    time_zone: str | None = None
    shoot_date: datetime.date | None = None
    clock_offset_min: Mapping[str, float] = field(default_factory=dict)
    join_window_min: float = 20.0
    pitch: PitchPlan = field(default_factory=PitchPlan)
    parts: tuple[ScoutStill, ...] = ()

    @cached_property
    def _locations(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(r.location for r in self.log.readings if r.location is not None))

    def locations(self) -> tuple[str, ...]:
        """The locations in the order of the meter log."""
        return self._locations


def load_scout(folder: Path) -> Scout:
    """Read a scout.

    Without ``meter.csv`` the log is empty and says so in its warnings. Rows that cannot be read are in
    ``log.errors``.

    Raises
    ------
    MeterError : ``scout.toml`` is wrong somewhere (file, key, found, wanted), or ``meter.csv`` is no table.
    """
    from lookdev.stills.find import find_stills

    folder = Path(folder)
    settings = read_scout_file(folder)
    tolerance = Tolerance(
        settings.meter.tolerance_mired,
        settings.meter.tolerance_duv,
        settings.meter.tolerance_illuminance_percent / 100,
    )
    path = find_meter_log(folder)
    if path is None:
        words = "no log in this folder (meter.txt, .csv, .xlsx or .ods): nothing is balanced from a reading"
        log = MeterLog(warnings=(words + _another_name(folder),))
    else:
        log = read_meter_log(path, tolerance)
    plan = settings.plan.model_copy(update={"fixture": settings.fixture or settings.plan.fixture})
    title = settings.title or folder.resolve().name.replace("_", " ").strip() or "Scout"
    missing: list[LookdevError] = []
    found = find_stills(folder, missing.append)
    stills, left_out = _without(found, settings.stills.leave_out, folder)
    log = replace(log, errors=(*log.errors, *missing))
    if left_out:
        shown = f"{left_out} file{'s' * (left_out != 1)} left out as [stills] leave_out says"
        log = replace(log, warnings=(*log.warnings, f"scout.toml: {shown}"))
    parts, absent = scout_stills(stills, folder, settings.view, settings.stills.moments, log.readings)
    log = replace(log, errors=(*log.errors, *absent))
    log = _with_unused_patterns(log, [still.name for still in parts])
    lamps = [lamp_of(entry, folder) for entry in settings.lamps]
    if plan.fixture is not None:
        lamps.append(Lamp(plan.fixture.name, emitters=plan.fixture.primaries))
    own = tuple(filter_of(entry, folder) for entry in settings.filters)
    common = tuple(f for f in COMMON_FILTERS if f.name not in {o.name for o in own})
    position = None
    if settings.latitude is not None and settings.longitude is not None:
        position = (settings.latitude, settings.longitude)
    return Scout(
        folder, title, plan, stills, log, settings.date, kit_of(lamps, (*own, *common)), position,
        settings.time_zone, settings.shoot_date,
        settings.clock_offset, settings.join_window_minutes, settings.pitch, parts,
    )  # fmt: skip


def _without(
    stills: Iterable[Path], leave_out: tuple[str, ...], folder: Path
) -> tuple[tuple[Path, ...], int]:
    """The stills that no pattern leaves out, and how many it does."""
    from lookdev.meter.log import match_rank

    found = list(stills)
    kept = tuple(
        p for p in found if not any(match_rank(p.relative_to(folder).as_posix(), out) for out in leave_out)
    )
    return kept, len(found) - len(kept)


def _with_unused_patterns(log: MeterLog, names: list[str]) -> MeterLog:
    """The log with a warning for each pattern that names no still, with the nearest name."""
    from lookdev.meter.log import match_rank

    notes = []
    for reading in log.readings:
        for pattern in reading.stills:
            if names and not any(match_rank(name, pattern) for name in names):
                near = difflib.get_close_matches(pattern, names, n=1, cutoff=0.6)
                hint = f"; nearest is {near[0]}" if near else ""
                notes.append(f"{reading.file}, {reading.place}: no still is called '{pattern}'{hint}")
    return replace(log, warnings=(*log.warnings, *notes)) if notes else log


def _another_name(folder: Path) -> str:
    """Words on files that may be the log under another name; none where there is none."""
    with suppress(OSError):
        names = sorted(one_line(p.name) for p in folder.iterdir() if p.suffix.lower() in LOG_SUFFIXES)
        if 0 < len(names) <= 3:
            return f"; if {' or '.join(names)} is the log, call it meter{Path(names[0]).suffix.lower()}"
    return ""


def find_meter_log(folder: Path) -> Path | None:
    """The log of a scout: ``meter`` in any letter case, a note, a workbook or a table; None if there is none.

    Raises
    ------
    MeterError : there are two, or one in a format that cannot be read.
    """
    try:
        here = sorted(p for p in folder.iterdir() if p.is_file() and p.stem.casefold() == LOG_STEM)
    except OSError as error:
        raise MeterError(f"cannot be read: {error.strerror or error}", file=folder) from error
    found = [p for p in here if p.suffix.casefold() in LOG_SUFFIXES]
    if len(found) > 1:
        names = ", ".join(p.name for p in found)
        raise MeterError("more than one log", file=folder.name, found=names, wanted="one of them")
    for path in here:
        if not found and path.suffix.casefold() in UNREADABLE:
            wanted = "the same saved as meter.txt, meter.csv, meter.xlsx or meter.ods"
            raise MeterError("is a log that cannot be read", file=path.name, wanted=wanted)
    return found[0] if found else None


def read_scout_file(folder: Path) -> ScoutFile:
    """``scout.toml`` of a folder; all defaults if there is none.

    Raises
    ------
    MeterError : names the key, what was found, what is wanted, and the nearest known key.
    """
    path = folder / "scout.toml"
    if not path.exists():
        return ScoutFile()
    data = read_toml(path, MeterError, "scout.toml", path.name)
    if isinstance(data.get("date"), datetime.date | datetime.datetime | datetime.time):
        data["date"] = data["date"].isoformat()
    try:
        return ScoutFile.model_validate(data)
    except ValidationError as error:
        raise first_error(error, ScoutFile, MeterError, path.name) from None
