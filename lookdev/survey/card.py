"""A lone grey card in a still: a plain, even, neutral rectangle of middle reflectance, an edge all round.

Nothing on a grey card says that it is one, so that much has to be asked of it, and one that is found among
several is none: rather no card than a tile, a door or a sheet of paper. The bounds are set wide around the
sample scout's cards (figures beside each), and hold off everything in its stills that is none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.rgb_spaces import WORKING
from lookdev.survey.chart import FoundGrey, find_grey

if TYPE_CHECKING:
    from lookdev.stills.still import Still

Array = NDArray[np.float64]

EDGE_PX = 1200
FLAT = (0.03, 0.05, 0.08)  # stops a pixel: what counts as even, tried in this order
SHARES = (0.0006, 0.06)  # of the frame
LONGEST = 1.6  # side to side: cards are 4 to 5, 2 to 3 or A4
SKEW = 1.12  # a side to the one across it: 1.00 to 1.10
CORNERS_DEG = (78.0, 102.0)
SPREAD_UV = 0.004  # of parts of it in u', v' (1976 UCS): 0.001 to 0.002
GRAIN = (0.002, 0.02)  # stops about an even slope: 0.007 to 0.018; what is clipped has none
SLOPE = 0.6  # stops from end to end: 0.04 to 0.42
OFF_UV = 0.06  # from the light that the picture is guessed to be in: 0.005 to 0.045
LEVELS = (0.02, 0.4)  # of the bright parts of the picture: 0.05 to 0.13
RIM = 1.4  # stops to what lies around, on its worst side: 1.8 to 2.6
_INSIDE = 0.6  # of its width and height: what is sampled


@dataclass(frozen=True)
class _Shape:
    """Something even with four corners (4, 2); ``inside`` where it is, from ``left``, ``top``."""

    corners: Array
    inside: NDArray[np.bool_]
    left: int
    top: int


def find_neutral(still: Still) -> FoundGrey | None:
    """The 24-patch chart in a still, else a lone grey card; None where neither is found."""
    return find_grey(still) or find_card(still)


def find_card(still: Still) -> FoundGrey | None:
    """The grey card in a still; None where there is none, or more than one thing that could be one."""
    from lookdev.looks.rendering import lift_curve
    from lookdev.stills.reader import reduced
    from lookdev.stills.still import signal_of
    from lookdev.survey.estimate import FULL, grey_edge, shades_of_grey

    height, width = still.pixels.shape[:2]
    scale = min(1.0, EDGE_PX / max(height, width))
    pixels = still.pixels
    if scale < 1.0:
        pixels = reduced(pixels, still.encoding, (round(height * scale), round(width * scale)))
    signal, light = signal_of(pixels), still.encoding.to_working(signal_of(pixels))
    output = still.encoding.state == "output"
    light = np.ascontiguousarray(lift_curve(light) if output else light, dtype=np.float64)
    use = np.all(light > 0, axis=-1)
    if output:
        use &= np.all(signal < FULL, axis=-1)
    if np.count_nonzero(use) < 0.05 * use.size:
        return None
    guesses = np.maximum([shades_of_grey(light[use]), grey_edge(light, use)], 1e-6)
    lamp_uv = _uv(np.exp(np.mean(np.log(guesses), axis=0))[None])[0]
    bright = float(np.percentile(light @ WORKING.to_xyz[1], 98))
    stops = np.log2(np.maximum(light, 1e-4)).astype(np.float32)
    cards: list[tuple[float, _Shape]] = []
    for shape in _shapes(stops):
        rim = _rim(shape, stops)
        if rim >= RIM and _is_card(shape, light, stops, lamp_uv, bright):
            cards.append((rim, shape))
    if not cards:
        return None
    best = max(cards, key=lambda card: card[0])[1]
    middle, reach = best.corners.mean(axis=0), np.ptp(best.corners, axis=0) / 2
    if any(np.any(np.abs(card.corners.mean(axis=0) - middle) > reach) for _, card in cards):
        return None
    full = still.full_size[1] / light.shape[1]
    corners = tuple((float(x), float(y)) for x, y in best.corners * full)
    half = np.sort(np.abs(best.corners - middle), axis=0)[0]  # of an upright rectangle within, nearly
    w, h = (max(2, round(float(side) * full * 2 * _INSIDE)) for side in half)
    x, y = (float(v) * full for v in middle)
    return FoundGrey("grey card", corners, (round(x - w / 2), round(y - h / 2), w, h), 0.0)


def _shapes(stops: NDArray[np.float32]) -> list[_Shape]:
    """Even areas with four corners that lie wholly in the picture."""
    import cv2

    height, width = stops.shape[:2]
    smooth = cv2.GaussianBlur(cv2.medianBlur(stops, 5), (0, 0), 1.0)
    across, down = (cv2.Sobel(smooth, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1)))
    steep = np.hypot(across, down)
    found = []
    for level in FLAT:
        flat = (steep.max(axis=-1) < level).astype(np.uint8)
        count, labels, numbers, _ = cv2.connectedComponentsWithStats(flat, connectivity=4)
        for label in range(1, count):
            x, y, w, h, area = (int(v) for v in numbers[label])
            if not SHARES[0] * height * width < area < SHARES[1] * height * width or min(w, h) < 16:
                continue
            if x <= 1 or y <= 1 or x + w >= width - 1 or y + h >= height - 1:
                continue
            mask = np.pad((labels[y : y + h, x : x + w] == label).astype(np.uint8), 3)
            closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))[3:-3, 3:-3]
            mask = closed.astype(np.uint8)
            corners = _four_corners(mask)
            if corners is not None:
                inside = cv2.erode(mask, np.ones((5, 5), np.uint8), borderValue=0).astype(bool)
                found.append(_Shape(corners + np.array([x, y]), inside, x, y))
    return found


def _four_corners(mask: NDArray[np.uint8]) -> Array | None:
    """Corners (4, 2) of a filled, convex quadrilateral; None for any other shape."""
    import cv2

    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    hull = cv2.convexHull(max(outlines, key=cv2.contourArea))
    area = cv2.contourArea(hull)
    if area <= 0 or mask.sum() < 0.93 * area:
        return None
    for share in (0.02, 0.03, 0.05, 0.07):
        corners = cv2.approxPolyDP(hull, share * cv2.arcLength(hull, True), True)
        if len(corners) == 4:
            return np.asarray(corners[:, 0], np.float64) if cv2.contourArea(corners) > 0.9 * area else None
    return None


def _rim(shape: _Shape, stops: NDArray[np.float32]) -> float:
    """Stops from within a shape to what lies around it, in the channel that tells most, on its worst side."""
    middle, worst = shape.corners.mean(axis=0), np.inf
    for one, other in zip(shape.corners, np.roll(shape.corners, -1, axis=0), strict=True):
        along = other - one
        out = np.array([-along[1], along[0]]) / max(float(np.linalg.norm(along)), 1e-9)
        out = out if out @ ((one + other) / 2 - middle) > 0 else -out
        at = one + np.linspace(0.15, 0.85, 15)[:, None] * along
        beyond, within = (np.round(at + out * px).astype(int) for px in (6, -5))
        size = np.array(stops.shape[1::-1])
        if np.any(beyond < 0) or np.any(beyond >= size) or np.any(within < 0) or np.any(within >= size):
            return 0.0
        apart = np.abs(stops[beyond[:, 1], beyond[:, 0]] - stops[within[:, 1], within[:, 0]]).max(axis=-1)
        worst = min(worst, float(np.percentile(apart, 25)))
    return float(worst)


def _is_card(shape: _Shape, light: Array, stops: NDArray[np.float32], lamp_uv: Array, bright: float) -> bool:
    """Whether a shape has a card's form, evenness, neutrality and level."""
    edges = np.roll(shape.corners, -1, axis=0) - shape.corners
    sides = np.linalg.norm(edges, axis=1)
    across = max(max(a, b) / min(a, b) for a, b in (sides[::2], sides[1::2]))
    turns = np.sum(edges * np.roll(edges, -1, axis=0), axis=1) / (sides * np.roll(sides, -1))
    angles = np.degrees(np.arccos(np.clip(turns, -1, 1)))
    if sides.max() > LONGEST * sides.min() or across > SKEW:
        return False
    if angles.min() < CORNERS_DEG[0] or angles.max() > CORNERS_DEG[1] or np.count_nonzero(shape.inside) < 60:
        return False
    height, width = shape.inside.shape
    part = np.s_[shape.top : shape.top + height, shape.left : shape.left + width]
    y, x = np.nonzero(shape.inside)
    level = stops[part][shape.inside].mean(axis=-1).astype(np.float64)
    plane = np.stack([x / width, y / height, np.ones(len(x))], axis=1)
    slope, *_ = np.linalg.lstsq(plane, level, rcond=None)
    grain = float(np.std(level - plane @ slope))
    if not GRAIN[0] < grain < GRAIN[1] or np.hypot(slope[0], slope[1]) > SLOPE:
        return False
    colours = light[part]
    rows, columns = (np.array_split(np.arange(n), 6) for n in (height, width))
    blocks = [np.ix_(r, c) for r in rows for c in columns]
    means = [colours[b][shape.inside[b]].mean(axis=0) for b in blocks if shape.inside[b].mean() > 0.5]
    if len(means) < 9 or np.hypot(*np.std(_uv(np.array(means)), axis=0)) > SPREAD_UV:
        return False
    mean = colours[shape.inside].mean(axis=0)
    off = float(np.hypot(*(_uv(mean[None])[0] - lamp_uv)))
    return off < OFF_UV and LEVELS[0] < float(mean @ WORKING.to_xyz[1]) / max(bright, 1e-9) < LEVELS[1]


def _uv(light: Array) -> Array:
    """u', v' (n, 2) of the 1976 UCS diagram (CIE 15:2018, 8.1) of linear BT.2020 (n, 3)."""
    x, y, z = (np.maximum(light, 1e-6) @ WORKING.to_xyz.T).T
    below = np.maximum(x + 15 * y + 3 * z, 1e-9)
    return np.stack([4 * x / below, 9 * y / below], axis=-1)
