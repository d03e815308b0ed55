"""Incident exposure by ISO 2720:1974: N^2 / t = E S / C.

E: illuminance in lux; S: exposure index; t: exposure time in s; N: aperture; C: calibration constant of an
incident meter, 240 to 400 for a flat (cosine) receptor, 320 to 540 for a dome.
"""

from __future__ import annotations

import math

CONSTANT_RANGES = {"flat": (240.0, 400.0), "dome": (320.0, 540.0)}
"""ISO 2720:1974, 7.2: recommended ranges of C for E in lux."""

COMMON_CONSTANTS = {"flat": 280.0, "dome": 330.0}
"""Common practice. 280 puts 100 foot-candles at EI 100, 24 fps, 180 degrees on f/2.8; meters with a dome are
commonly built to 330 or 340. Both lie inside the standard's ranges."""

STANDARD_INDICES = (
    3, 4, 5, 6, 8, 10, 12, 16, 20, 25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800,
    1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600,
)  # fmt: skip
"""Exposure indices by third stops, as ISO 2720 and meters and cameras number them; on beyond by doubling."""


def exposure_time_s(frame_rate_fps: float, shutter_angle_deg: float) -> float:
    """Exposure time in seconds of a shutter angle.

    >>> 1 / exposure_time_s(24, 180)
    48.0
    """
    return shutter_angle_deg / 360.0 / frame_rate_fps


def incident_stop(illuminance_lux: float, exposure_index: float, time_s: float, constant: float) -> float:
    """Aperture N that an incident reading calls for.

    Examples
    --------
    100 foot-candles at EI 100, 24 fps, 180 degrees: about f/2.8 (common practice).

    >>> round(incident_stop(1076.4, 100, 1 / 48, 280.0), 1)
    2.8
    """
    return math.sqrt(illuminance_lux * exposure_index * time_s / constant)


def needed_lux(stop: float, exposure_index: float, time_s: float, constant: float) -> float:
    """Illuminance in lux that a stop needs; the inverse of :func:`incident_stop`."""
    return constant * stop**2 / (exposure_index * time_s)


def standard_index(least: float) -> int:
    """The lowest standard exposure index that is not under ``least``: never a light too little.

    >>> standard_index(1054), standard_index(2500), standard_index(2509), standard_index(26000)
    (1250, 2500, 3200, 32000)
    """
    least *= 1 - 1e-6  # of an index worked out from itself, floats leave a hair
    doublings = max(0, math.ceil(math.log2(max(least, 1.0) / STANDARD_INDICES[-1])))
    return next(index << doublings for index in STANDARD_INDICES if index << doublings >= least)
