"""What a plan makes of an incident reading, by ISO 2720 (:mod:`lookdev.meter.iso_2720`)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lookdev.meter.iso_2720 import COMMON_CONSTANTS, exposure_time_s, incident_stop, needed_lux

if TYPE_CHECKING:
    from lookdev.meter.scout import Plan
    from lookdev.stills.still import Metadata

DEFAULT_FPS = 24.0
DEFAULT_ANGLE_DEG = 180.0


def constant_of(plan: Plan) -> float:
    """The calibration constant that the plan asks for, else the common one of its receptor."""
    return plan.calibration_constant or COMMON_CONSTANTS[plan.receptor]


def match_stops(metadata: Metadata, illuminance_lux: float, plan: Plan | None = None) -> float | None:
    """Stops to add to a still so that it stands as the incident reading calls for; None without settings.

    Positive: the camera gave less light than the meter asked for. ISO 2720: the camera's log2(N^2 / (t S))
    against the meter's log2(E / C), so it does not depend on the plan's own exposure index.

    Parameters
    ----------
    metadata : ``exposure_time_s``, ``f_number`` and ``iso`` of the still.
    illuminance_lux : incident reading at the subject.
    plan : gives the receptor and the calibration constant; the defaults without one.
    """
    time_s, stop, speed = metadata.exposure_time_s, metadata.f_number, metadata.iso
    if not time_s or not stop or not speed or illuminance_lux <= 0:
        return None
    constant = constant_of(plan) if plan is not None else COMMON_CONSTANTS["flat"]
    return math.log2(stop**2 / (time_s * speed)) - math.log2(illuminance_lux / constant)


@dataclass(frozen=True)
class Exposure:
    """What the plan makes of an illuminance.

    Attributes
    ----------
    stop : T-stop that the light gives, filters allowed for.
    time_s, shutter_angle_deg, frame_rate_fps, exposure_index, filter_stops : what it was worked out with.
    assumed : what the plan did not say and was assumed, in words.
    wanted_stop : the plan's T-stop, else the lens's widest; None without either.
    over_stops : light over (+) or under (-) what ``wanted_stop`` needs.
    needed_lux : illuminance that ``wanted_stop`` needs.
    missing_lux : light missing, 0 when there is enough.
    lowest_index : the lowest exposure index that works at ``wanted_stop``.
    shortest_s, smallest_angle_deg : the shortest shutter that works at ``wanted_stop`` and the plan's index;
        ``smallest_angle_deg`` is None where not even an open shutter (360 degrees) works.
    lens_over_stops : light over (+) or under (-) with the lens wide open; None without ``lens_t_stop``.
    """

    illuminance_lux: float
    constant: float
    receptor: str
    exposure_index: float
    frame_rate_fps: float
    shutter_angle_deg: float
    time_s: float
    filter_stops: float
    assumed: tuple[str, ...]
    stop: float
    wanted_stop: float | None
    over_stops: float | None
    needed_lux: float | None
    missing_lux: float | None
    lowest_index: float | None
    shortest_s: float | None
    smallest_angle_deg: float | None
    lens_t_stop: float | None
    lens_over_stops: float | None


def shutter_of(plan: Plan) -> tuple[float, float, float, tuple[str, ...]]:
    """Frame rate, shutter angle in degrees, exposure time in s, and what had to be assumed."""
    assumed = []
    fps = plan.frame_rate_fps
    if fps is None:
        fps = DEFAULT_FPS
        assumed.append("24 fps")
    if plan.shutter_s is not None:
        return fps, plan.shutter_s * fps * 360.0, plan.shutter_s, tuple(assumed)
    angle = plan.shutter_angle_deg
    if angle is None:
        angle = DEFAULT_ANGLE_DEG
        assumed.append("180° shutter")
    return fps, angle, exposure_time_s(fps, angle), tuple(assumed)


def expose(illuminance_lux: float, plan: Plan) -> Exposure | None:
    """The exposure that an illuminance gives under a plan; None without ``exposure_index``."""
    index = plan.exposure_index
    if index is None or illuminance_lux <= 0:
        return None
    fps, angle, time_s, assumed = shutter_of(plan)
    constant = constant_of(plan)
    through = illuminance_lux * 2.0**-plan.filter_stops
    stop = incident_stop(through, index, time_s, constant)
    wanted = plan.t_stop if plan.t_stop is not None else plan.lens_t_stop
    over = need = missing = lowest = shortest = smallest = None
    if wanted is not None:
        over = 2 * math.log2(stop / wanted)
        need = needed_lux(wanted, index, time_s, constant) * 2.0**plan.filter_stops
        missing = max(0.0, need - illuminance_lux)
        lowest = index * 2.0**-over
        shortest = time_s * 2.0**-over
        smallest = angle * 2.0**-over if angle * 2.0**-over <= 360.0 else None
    lens_over = None if plan.lens_t_stop is None else 2 * math.log2(stop / plan.lens_t_stop)
    return Exposure(
        illuminance_lux,
        constant,
        plan.receptor,
        index,
        fps,
        angle,
        time_s,
        plan.filter_stops,
        assumed,
        stop,
        wanted,
        over,
        need,
        missing,
        lowest,
        shortest,
        smallest,
        plan.lens_t_stop,
        lens_over,
    )


def contrast_ratio(key_lux: float, fill_lux: float) -> tuple[float, float]:
    """Key to fill as a ratio and in stops. Each is the illuminance that its own reading says.

    >>> contrast_ratio(800, 200)
    (4.0, 2.0)
    """
    ratio = key_lux / fill_lux
    return ratio, math.log2(ratio)


def stop_words(stop: float, letter: str = "T") -> str:
    """A stop as the marks on a lens: the whole stop under it and thirds.

    >>> stop_words(2.83), stop_words(3.5), stop_words(1.03)
    ('T2.8', 'T2.8 + 2/3', 'T1')
    """
    thirds = round(2 * math.log2(stop) * 3)
    whole, part = divmod(thirds, 3)
    marks = {
        -2: "0.5",
        -1: "0.7",
        0: "1",
        1: "1.4",
        2: "2",
        3: "2.8",
        4: "4",
        5: "5.6",
        6: "8",
        7: "11",
        8: "16",
        9: "22",
        10: "32",
    }
    mark = marks.get(whole) or f"{2 ** (whole / 2):.2g}"
    return f"{letter}{mark}" + (f" + {part}/3" if part else "")
