"""Shutters that a lamp on mains current neither flickers nor bands in.

Such a lamp brightens twice a cycle, at 100 Hz on 50 Hz mains and 120 Hz on 60 Hz. Safe is an exposure of a
whole number of those pulses: then every row of every frame gets the same light. Where only the frame rate
divides the pulses, frame is like frame, but a shutter that reads row by row shows bands that stand still.
Common practice; it holds for magnetic ballasts. Electronic ballasts and dimmed LED pulse at rates of their
own: only a test at the planned frame rate tells.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

MAINS_HZ = (50.0, 60.0)

READOUT_MS = 15.0
"""From the first row to the last, where the plan has no ``readout_ms`` (common practice; cameras have 3 to
30)."""

SAFE_SHARE = 0.01
"""A swing of the exposure of up to 1% either way is not seen (common practice)."""


@dataclass(frozen=True)
class SafeShutter:
    """The shutters of whole pulses at one mains frequency, and how the planned one does.

    Attributes
    ----------
    angles_deg, times_s : exposures of a whole number of light pulses: no flicker and no bands.
    is_even_between_frames : every frame meets the same phase of the mains, whatever the angle.
    swing : change of the exposure from frame to frame at worst, as a share either way, under a light that
        goes fully dark between pulses.
    band_depth : change of the exposure from row to row within a frame at worst, as a share either way, for
        the readout ``readout_ms``; ``common_band_depth`` for one of :data:`READOUT_MS`.
    bands : how many pulses the readout runs through.
    """

    mains_hz: float
    angles_deg: tuple[float, ...]
    times_s: tuple[float, ...]
    is_even_between_frames: bool
    planned_deg: float
    swing: float
    band_depth: float
    common_band_depth: float
    readout_ms: float
    bands: float

    @property
    def is_planned_safe(self) -> bool:
        """Whether the planned shutter is within 1% of exposure, from frame to frame and from row to row.

        Of any readout: a shutter that is safe by its whole pulses is safe in every camera.
        """
        return max(self.swing, self.common_band_depth, self.band_depth) <= SAFE_SHARE


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


def row_swing(time_s: float, mains_hz: float) -> float:
    """Largest change of a row's exposure, either way, as a share; light of 1 + cos(2 pi 2f t).

    The exposure of such a light over ``time_s`` swings by sin(pi 2f t) / (pi 2f t) about its mean.

    >>> round(row_swing(1 / 48, 60), 3), round(row_swing(1 / 200, 50), 3), row_swing(1 / 60, 60)
    (0.127, 0.637, 0.0)
    """
    pulses = 2.0 * mains_hz * time_s
    value = abs(math.sin(math.pi * pulses) / (math.pi * pulses))
    return value if value > 1e-9 else 0.0


def is_even_between_frames(frame_rate_fps: float, mains_hz: float) -> bool:
    """Whether the frame rate divides the pulses: every frame then meets the same phase."""
    per_frame = 2.0 * mains_hz / frame_rate_fps
    return abs(per_frame - round(per_frame)) < 1e-6 * per_frame


def swing(time_s: float, frame_rate_fps: float, mains_hz: float) -> float:
    """Largest change of the exposure from frame to frame, either way, as a share."""
    return 0.0 if is_even_between_frames(frame_rate_fps, mains_hz) else row_swing(time_s, mains_hz)


def band_depth(time_s: float, mains_hz: float, readout_ms: float) -> float:
    """Largest change of the exposure from row to row of one frame, either way, as a share.

    Rows that open over half a pulse or more meet the brightest and the darkest; over less of it, the steepest
    part.
    """
    seen = 2.0 * mains_hz * readout_ms / 1e3
    return row_swing(time_s, mains_hz) * (math.sin(math.pi * seen) if seen < 0.5 else 1.0)


def safe_shutter(
    frame_rate_fps: float, planned_deg: float, mains_hz: float, readout_ms: float | None = None
) -> SafeShutter:
    """The safe shutters at one mains frequency, and how the planned one does with a row-by-row readout."""
    angles = safe_angles(frame_rate_fps, mains_hz)
    planned_s = planned_deg / 360.0 / frame_rate_fps
    readout = READOUT_MS if readout_ms is None else readout_ms
    return SafeShutter(
        mains_hz,
        angles,
        tuple(n / (2.0 * mains_hz) for n in range(1, len(angles) + 1)),
        is_even_between_frames(frame_rate_fps, mains_hz),
        planned_deg,
        swing(planned_s, frame_rate_fps, mains_hz),
        band_depth(planned_s, mains_hz, readout),
        band_depth(planned_s, mains_hz, READOUT_MS),
        readout,
        2.0 * mains_hz * readout / 1e3,
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
