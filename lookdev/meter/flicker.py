"""Shutters that a lamp on mains current does not flicker in.

Such a lamp brightens twice a cycle, at 100 Hz on 50 Hz mains and 120 Hz on 60 Hz. Every frame gets the same
light when the exposure lasts a whole number of those pulses, or when the pulses fit a whole number of times
into the frame. Common practice; it holds for magnetic ballasts. Electronic ballasts and dimmed LED pulse at
rates of their own: only a test at the planned frame rate tells.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

MAINS_HZ = (50.0, 60.0)


@dataclass(frozen=True)
class SafeShutter:
    """``angles_deg`` (and the same ``times_s``) are safe; with ``any_angle`` every angle is.

    ``swing`` is how much the planned shutter changes from frame to frame at worst, as a share of the exposure
    either way, under a light that goes fully dark between pulses; 0 where it is safe.
    """

    mains_hz: float
    angles_deg: tuple[float, ...]
    times_s: tuple[float, ...]
    any_angle: bool
    planned_deg: float
    swing: float

    @property
    def is_planned_safe(self) -> bool:
        """Whether the planned shutter is within 1% of exposure."""
        return self.swing <= 0.01


def safe_angles(frame_rate_fps: float, mains_hz: float) -> tuple[float, ...]:
    """Shutter angles up to 360 degrees that expose a whole number of light pulses, smallest first.

    24 fps under 50 Hz: 172.8 degrees; under 60 Hz: 144 degrees (common practice, 1/50 s and 1/60 s).

    >>> safe_angles(24, 50)
    (86.4, 172.8, 259.2, 345.6)
    >>> safe_angles(24, 60)
    (72.0, 144.0, 216.0, 288.0, 360.0)
    """
    pulse = 360.0 * frame_rate_fps / (2.0 * mains_hz)
    return tuple(round(pulse * n, 3) for n in range(1, int(360.0 / pulse + 1e-9) + 1))


def swing(time_s: float, frame_rate_fps: float, mains_hz: float) -> float:
    """Largest change of exposure, either way, as a share; light of 1 + cos(2 pi 2f t).

    The exposure of such a light over ``time_s`` swings by sin(pi 2f t) / (pi 2f t) about its mean; not at all
    if the frame rate divides 2f, for every frame then meets the same phase.
    """
    pulses = 2.0 * mains_hz * time_s
    per_frame = 2.0 * mains_hz / frame_rate_fps
    if abs(per_frame - round(per_frame)) < 1e-6 * per_frame:
        return 0.0
    value = abs(math.sin(math.pi * pulses) / (math.pi * pulses))
    return value if value > 1e-9 else 0.0


def safe_shutter(frame_rate_fps: float, planned_deg: float, mains_hz: float) -> SafeShutter:
    """The safe shutters at one mains frequency, and how the planned one does."""
    angles = safe_angles(frame_rate_fps, mains_hz)
    times = tuple(n / (2.0 * mains_hz) for n in range(1, len(angles) + 1))
    per_frame = 2.0 * mains_hz / frame_rate_fps
    any_angle = abs(per_frame - round(per_frame)) < 1e-6 * per_frame
    planned_s = planned_deg / 360.0 / frame_rate_fps
    return SafeShutter(
        mains_hz, angles, times, any_angle, planned_deg, swing(planned_s, frame_rate_fps, mains_hz)
    )


CAUTION = (
    "Flicker: safe shutters hold for lamps on magnetic ballasts. Electronic ballasts, dimmers and LED "
    "drivers pulse at rates of their own; shoot a test at the planned frame rate. "
    "The mains frequency is that of the local supply."
)
LAW = (
    "Rigging, electrical work and supply follow local codes and are for licensed practitioners; nothing here "
    "is advice on either."
)
