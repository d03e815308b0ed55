"""Flicker, row by row: a rolling shutter simulated in front of a lamp on mains current.

The light is 1 + cos(2 pi 2f t) (fully dark between pulses). Row r of a frame opens at
frame / fps + r * readout; what it gets is integrated by numbers, not by the closed form that the tool uses.
"""

from __future__ import annotations

import numpy as np
import pytest

from lookdev.meter.flicker import safe_shutter


def rows(fps: float, angle: float, mains_hz: float, readout_ms: float, phase: float) -> np.ndarray:
    """(frames, rows) of exposure, mean 1."""
    time_s = angle / 360 / fps
    opens = np.arange(4)[:, None, None] / fps + np.linspace(0, readout_ms / 1e3, 100)[None, :, None]
    t = opens + (np.arange(100) + 0.5) / 100 * time_s
    return np.mean(1 + np.cos(2 * np.pi * (2 * mains_hz * t + phase)), axis=2)


def bands(fps: float, angle: float, mains_hz: float, readout_ms: float) -> float:
    """Half of the largest span from row to row within a frame, over all phases of the mains."""
    found = [rows(fps, angle, mains_hz, readout_ms, p) for p in np.linspace(0, 1, 21)]
    return max(float(np.ptp(f, axis=1).max()) / 2 for f in found)


def between_frames(fps: float, angle: float, mains_hz: float) -> float:
    found = [rows(fps, angle, mains_hz, 0.001, p)[:, 0] for p in np.linspace(0, 1, 41)]
    return max(float(np.ptp(f)) / 2 for f in found)


CASES = [
    (24, 180, 60, 15.0), (25, 45, 50, 15.0), (25, 180, 50, 15.0), (24, 172.8, 50, 15.0), (24, 180, 50, 15.0),
    (24, 144, 60, 15.0), (30, 90, 60, 8.0), (25, 90, 50, 2.5), (24, 180, 60, 3.0), (48, 180, 50, 20.0),
]  # fmt: skip


@pytest.mark.parametrize(("fps", "angle", "mains", "readout"), CASES)
def test_band_depth_is_what_the_rows_get(fps: float, angle: float, mains: float, readout: float) -> None:
    found = safe_shutter(fps, angle, mains, readout)
    assert found.band_depth == pytest.approx(bands(fps, angle, mains, readout), abs=0.003)


def test_the_two_of_the_issue() -> None:
    """24 fps, 180 degrees, 60 Hz: ±12.7%; 25 fps, 45 degrees, 50 Hz: ±64%. Both even from frame to frame."""
    for case, depth in (((24, 180, 60), 0.127), ((25, 45, 50), 0.637)):
        found = safe_shutter(*case)
        assert found.band_depth == pytest.approx(depth, abs=0.001)
        assert between_frames(*case) < 1e-6
        assert not found.is_planned_safe and found.is_even_between_frames


@pytest.mark.parametrize("fps", [23.976, 24, 25, 29.97, 30, 48, 50, 60])
@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_every_angle_that_is_called_safe_shows_no_bands(fps: float, mains: float) -> None:
    for angle in safe_shutter(fps, 180, mains).angles_deg:
        assert bands(fps, angle, mains, 15.0) < 0.004
        assert safe_shutter(fps, angle, mains).is_planned_safe


@pytest.mark.parametrize("angle", [30.0, 45.0, 100.0, 150.0, 172.8, 180.0, 200.0])
@pytest.mark.parametrize(("fps", "mains"), [(24, 60.0), (25, 50.0), (30, 60.0), (24, 50.0)])
def test_what_bands_is_never_called_safe(fps: float, mains: float, angle: float) -> None:
    found = safe_shutter(fps, angle, mains)
    if bands(fps, angle, mains, 15.0) > 0.02:
        assert not found.is_planned_safe
