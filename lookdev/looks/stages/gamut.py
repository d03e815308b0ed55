"""Gamut: colours outside the display come in along constant hue and lightness, in Oklab.

How far the look pushes colours out is measured once, over the whole input cube, so that the same colour is
treated alike in every frame. Where nothing is pushed out, nothing is touched. Else the chroma between a
knee and that limit is laid between the knee and the display's edge, smoothly and without reversal.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.oklab import oklab_from_working, working_from_oklab
from lookdev.colorimetry.rgb_spaces import WORKING, RGBSpace, matrix_between

Array = NDArray[np.float64]

TOLERANCE = 1e-6
MAX_LIMIT = 4.0
_LOWEST_KNEE = 0.75


def knee_for(limit: float) -> float:
    """Where compression starts, as a share of the way to the edge: near 1 for a small overshoot."""
    return max(_LOWEST_KNEE, 1.0 - 0.5 * (limit - 1.0))


def chroma_ratio(rgb: Array, space: RGBSpace, at_least: float = 0.0) -> Array:
    """How far colours (n, 3), linear BT.2020, lie on the way from grey to the edge of ``space`` (1 = edge).

    Ratios below ``at_least`` may come back as 0. Colours lighter than white or darker than black count as 0:
    they go to white or black whatever their chroma.
    """
    lab = oklab_from_working(rgb)
    ratio = np.zeros(len(lab))
    if at_least > 0:
        stretched = lab * np.array([1.0, 1.0 / at_least, 1.0 / at_least])
        todo = np.flatnonzero(_outside(stretched, space) & (lab[:, 0] > 0) & (lab[:, 0] < 1))
    else:
        todo = np.flatnonzero((lab[:, 0] > 0) & (lab[:, 0] < 1) & (np.hypot(lab[:, 1], lab[:, 2]) > 1e-9))
    if todo.size == 0:
        return ratio
    part = lab[todo]
    low, high = np.zeros(todo.size), np.full(todo.size, 1.0 / at_least if at_least > 0 else 1e3)
    for _ in range(36):
        middle = (low + high) / 2
        scaled = np.stack([part[:, 0], part[:, 1] * middle, part[:, 2] * middle], axis=-1)
        out = _outside(scaled, space)
        low, high = np.where(out, low, middle), np.where(out, middle, high)
    ratio[todo] = 1.0 / np.maximum(low, 1e-6)
    return ratio


def gamut_limit(rgb: Array, space: RGBSpace) -> float:
    """Largest chroma ratio among colours (n, 3): 1.0 when all of them lie inside ``space``."""
    display = rgb @ matrix_between(WORKING, space).T
    outside = np.any((display < -TOLERANCE) | (display > 1 + TOLERANCE), axis=-1)
    if not outside.any():
        return 1.0
    limit = float(chroma_ratio(rgb[outside], space, 0.5).max(initial=1.0))
    return float(np.clip(limit, 1.0 + 1e-3, MAX_LIMIT))


def bring_inside(rgb: Array, space: RGBSpace, limit: float) -> Array:
    """Linear BT.2020 (..., 3) brought into ``space``; untouched where ``limit`` is 1."""
    if limit <= 1.0:
        return rgb
    flat = rgb.reshape(-1, 3)
    knee = knee_for(limit)
    ratio = chroma_ratio(flat, space, knee)
    lab = oklab_from_working(flat)
    outer = (lab[:, 0] <= 0) | (lab[:, 0] >= 1)
    todo = np.flatnonzero((ratio > knee) | (outer & _outside(lab, space)))
    if todo.size == 0:
        return rgb
    part, r = lab[todo], ratio[todo]
    span = (limit - knee) / (1.0 - knee)
    d = np.minimum((r - knee) / (1.0 - knee), span)
    squeezed = knee + (1.0 - knee) * d / (1.0 + d * (1.0 - 1.0 / span))
    factor = np.where(outer[todo], 0.0, squeezed / np.maximum(r, knee))
    mapped = np.stack([np.clip(part[:, 0], 0, 1), part[:, 1] * factor, part[:, 2] * factor], axis=-1)
    out = flat.copy()
    out[todo] = working_from_oklab(mapped)
    return out.reshape(rgb.shape)


def _outside(lab: Array, space: RGBSpace) -> NDArray[np.bool_]:
    display = working_from_oklab(lab) @ matrix_between(WORKING, space).T
    return np.asarray(np.any((display < -TOLERANCE) | (display > 1 + TOLERANCE), axis=-1))
