"""The 24-patch chart in a still, and a grey patch of it.

OpenCV's detector says about where; its corners are then fitted until the 24 patches are, but for a gain a
channel, what the chart's published averages are (BabelColor Average, as colour-science has them), and a find
that does not become that is none. For a lone grey card see :mod:`lookdev.survey.card`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import SRGB
from lookdev.stills.still import code_values, signal_of

if TYPE_CHECKING:
    from lookdev.stills.still import Still

Array = NDArray[np.float64]
Box = tuple[int, int, int, int]

SIZES_PX = (1600, 2400, 3200)
MOST_OFF = 0.35
"""RMS of the patches' natural logarithms from the chart's, the mean of the two channels that fit best: the
sample scout's charts have 0.04 to 0.21 under every lamp, half a chart or none 0.7 and more."""
NEUTRAL_5 = 21
_SPREAD = 0.3  # of a patch's side: how far from its middle it must still be itself
_INSIDE = 0.4  # of a patch's side: what is sampled


@dataclass(frozen=True)
class FoundGrey:
    """A chart or card. ``corners`` (4, 2): x, y of its upright corners, first patch's first, clockwise;
    ``grey_box`` x, y, w, h within its neutral 5; ``off`` how far it is from a chart (see MOST_OFF)."""

    name: str
    corners: tuple[tuple[float, float], ...]
    grey_box: Box
    off: float


@lru_cache(maxsize=1)
def _chart_logs() -> Array:
    """Natural logarithms of the 24 patches, linear BT.2020 (24, 3)."""
    from lookdev.colorimetry.adaptation import adaptation_matrix
    from lookdev.colorimetry.library import colour_science
    from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING

    colour = colour_science()
    chart = colour.CCS_COLOURCHECKERS["BabelColor Average"]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    to_d65 = adaptation_matrix(tuple(chart.illuminant), D65_XY)
    return np.asarray(np.log(np.maximum(xyz @ to_d65.T @ WORKING.from_xyz.T, 1e-3)))


def find_grey(still: Still) -> FoundGrey | None:
    """The chart in a still; None where there is none."""
    from lookdev.looks.rendering import lift_curve, render_curve
    from lookdev.stills.reader import reduced

    height, width = still.pixels.shape[:2]
    for edge in SIZES_PX:
        scale = edge / max(height, width)
        pixels = still.pixels
        if scale < 1.0:
            pixels = reduced(pixels, still.encoding, (round(width * scale), round(height * scale)))
        light = still.encoding.to_working(signal_of(pixels))
        output = still.encoding.state == "output"
        seen = SRGB.from_working(light if output else render_curve(np.maximum(light, 0.0)))
        shown = np.ascontiguousarray(code_values(seen, np.uint8)[..., ::-1])
        light = lift_curve(light) if output else light
        found = _detect(shown, scale, light)
        if found is not None:
            corners, off = found
            full = still.full_size[1] / light.shape[1]
            return FoundGrey("24-patch chart", _points(corners * full), _grey_box(corners * full), off)
    return None


def _detect(shown: NDArray[np.uint8], scale: float, light: Array) -> tuple[Array, float] | None:
    import cv2

    enlarge = scale if 1.0 < scale <= 2.0 else 1.0
    picture = cv2.resize(shown, None, fx=enlarge, fy=enlarge, interpolation=cv2.INTER_CUBIC)
    detector = cv2.mcc.CCheckerDetector.create()
    detector.setColorChartType(cv2.mcc.MCC24)
    if not detector.process(picture, 3):
        return None
    best: tuple[Array, float] | None = None
    for checker in detector.getListColorChecker():
        box = np.asarray(checker.getBox(), dtype=np.float64) / enlarge
        fitted = _fit(box, light)
        if fitted is not None and (best is None or fitted[1] < best[1]):
            best = fitted
    return best if best is not None and best[1] < MOST_OFF else None


def _fit(box: Array, light: Array) -> tuple[Array, float] | None:
    """Corners (4, 2) at which the patches are most like the chart's, turned each way, and how far off."""
    import cv2
    from scipy.optimize import minimize

    side = np.linalg.norm(np.roll(box, -1, axis=0) - box, axis=1)
    left, top = np.floor(box.min(axis=0) - side.max() * 0.5).astype(int)
    right, bottom = np.ceil(box.max(axis=0) + side.max() * 0.5).astype(int)
    left, top = max(left, 0), max(top, 0)
    part = light[top:bottom, left:right]
    if min(part.shape[:2], default=0) < 12 or side.min() < 8:
        return None
    blur = max(1, round(side.min() / 4 * 0.25))
    logs = np.log(np.maximum(cv2.blur(np.ascontiguousarray(part), (blur, blur)), 1e-4))
    origin, size = np.array([left, top], dtype=np.float64), float(side.mean())

    def off(moved: Array, start: Array) -> float:
        return _off(start + moved.reshape(4, 2) * size - origin, logs)

    found: list[tuple[Array, float]] = []
    for turn in range(4):
        start = np.roll(box, turn, axis=0)
        simplex = np.vstack([np.zeros(8), np.eye(8) * 0.06])
        fit = minimize(off, np.zeros(8), (start,), method="Nelder-Mead",
                       options={"initial_simplex": simplex, "maxfev": 500, "fatol": 1e-3})  # fmt: skip
        found.append((start + fit.x.reshape(4, 2) * size, float(fit.fun)))
    return min(found, key=lambda one: one[1])


def _places(corners: Array, spread: float = 0.0) -> Array:
    """x, y (24, 5, 2) of each patch's middle and of four points towards its corners."""
    import cv2

    across, down = np.meshgrid(np.arange(6) + 0.5, np.arange(4) + 0.5)
    shifts = spread * np.array([[0, 0], [1, 1], [1, -1], [-1, 1], [-1, -1]])
    points = np.stack([across.ravel(), down.ravel()], axis=-1)[:, None] + shifts
    square = np.array([[0, 0], [6, 0], [6, 4], [0, 4]], np.float32)
    matrix = cv2.getPerspectiveTransform(square, corners.astype(np.float32))
    placed = cv2.perspectiveTransform(points.reshape(1, -1, 2).astype(np.float32), matrix)
    return np.asarray(placed, dtype=np.float64).reshape(24, 5, 2)


def _off(corners: Array, logs: Array) -> float:
    """How far the patches under ``corners`` are from the chart's, a gain a channel apart."""
    x, y = np.moveaxis(np.round(_places(corners, _SPREAD)).astype(int), -1, 0)
    if x.min() < 0 or y.min() < 0 or x.max() >= logs.shape[1] or y.max() >= logs.shape[0]:
        return 9.0
    apart = logs[y, x] - _chart_logs()[:, None]
    rms = np.sort(np.std(apart, axis=(0, 1)))
    return float(np.mean(rms[:2]))


def _grey_box(corners: Array) -> Box:
    x, y = _places(corners)[NEUTRAL_5, 0]
    wide = np.linalg.norm(corners[1] - corners[0]) / 6 * _INSIDE
    high = np.linalg.norm(corners[3] - corners[0]) / 4 * _INSIDE
    w, h = max(2, round(wide)), max(2, round(high))
    return round(x - w / 2), round(y - h / 2), w, h


def _points(corners: Array) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in corners)
