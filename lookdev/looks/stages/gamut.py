"""Gamut: colours outside the display come in along constant hue and lightness, in Oklab.

How far the look pushes colours out is measured once, over the whole input cube, so that the same colour is
treated alike in every frame. Where nothing is pushed out, nothing is touched. Else the chroma between a
knee and that limit is laid between the knee and the display's edge, smoothly and without reversal.

Known limit: close to the hue of blue, the straight way from grey leaves BT.709 by 0.0007 of linear light and
comes back (BT.2020: 0.0004). The edge is where it leaves first, so at one hue there it steps by up to 0.035
of chroma, and blue itself counts as past it once a look pushes anything out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.oklab import (
    LAB_TO_LMS,
    LMS_TO_WORKING,
    oklab_from_working,
    working_from_oklab,
)
from lookdev.colorimetry.rgb_spaces import WORKING, RGBSpace, matrix_between

Array = NDArray[np.float64]

TOLERANCE = 1e-6
MAX_LIMIT = 4.0
_LOWEST_KNEE = 0.75


_DISTANCE_KNEE, _DISTANCE_LIMIT = DISTANCES = 0.995, 3.0


def inside_working(scene: Array) -> Array:
    """Scene light (..., 3) without deep negatives, which wide camera gamuts give to bright saturated lights.

    The rendering is straight below mid grey, so a bright light's negative channel would outweigh the
    channels that the shoulder holds back, and turn it black. Each channel's distance from the largest, as a
    share of it, is laid from [0.995, 3] into [0.995, 1]; what lies inside BT.2020 by that much is not
    touched.
    """
    red, green, blue = scene[..., 0], scene[..., 1], scene[..., 2]  # a reduction over three is slow
    top = np.maximum(np.maximum(red, green), blue)
    low = np.minimum(np.minimum(red, green), blue)
    safe = np.maximum(top, 1e-6)
    if not np.any((top - low) / safe > _DISTANCE_KNEE):
        return scene
    top, safe = top[..., None], safe[..., None]
    distance = (top - scene) / safe
    span = (_DISTANCE_LIMIT - _DISTANCE_KNEE) / (1.0 - _DISTANCE_KNEE)
    d = np.clip((distance - _DISTANCE_KNEE) / (1.0 - _DISTANCE_KNEE), 0.0, span)
    squeezed = _DISTANCE_KNEE + (1.0 - _DISTANCE_KNEE) * d / (1.0 + d * (1.0 - 1.0 / span))
    return np.asarray(np.where((distance > _DISTANCE_KNEE) & (top > 1e-6), top - squeezed * safe, scene))


def knee_for(limit: float) -> float:
    """Where compression starts, as a share of the way to the edge: near 1 for a small overshoot."""
    return max(_LOWEST_KNEE, 1.0 - 0.5 * (limit - 1.0))


def chroma_ratio(rgb: Array, space: RGBSpace, at_least: float = 0.0) -> Array:
    """How far colours (n, 3), linear BT.2020, lie on the way from grey to the edge of ``space`` (1 = edge).

    Ratios below ``at_least`` may come back as 0. Colours lighter than white or darker than black count as 0:
    they go to white or black whatever their chroma.
    """
    return _ratio(oklab_from_working(rgb), space, at_least)


def _ratio(lab: Array, space: RGBSpace, at_least: float) -> Array:
    ratio = np.zeros(len(lab))
    between = (lab[:, 0] > 0) & (lab[:, 0] < 1)
    if at_least > 0:
        stretched = lab * np.array([1.0, 1.0 / at_least, 1.0 / at_least])
        todo = np.flatnonzero(_outside(stretched, space) & between)
    else:
        todo = np.flatnonzero((np.hypot(lab[:, 1], lab[:, 2]) > 1e-9) & between)
    if todo.size == 0:
        return ratio
    # along the way each display primary is a cubic in the share s: the cube of a line, mixed by a matrix
    start = lab[todo] * np.array([1.0, 0.0, 0.0]) @ LAB_TO_LMS.T
    way = lab[todo] * np.array([0.0, 1.0, 1.0]) @ LAB_TO_LMS.T
    mix = lms_to(space).T
    terms = (start**2 * start, 3 * start**2 * way, 3 * start * way**2, way**2 * way)
    c0, c1, c2, c3 = (np.ascontiguousarray((term @ mix).T) for term in terms)
    low, high = np.zeros(todo.size), np.full(todo.size, 1.0 / at_least if at_least > 0 else 1e3)
    for _ in range(30 if at_least > 0 else 40):  # to a part in a thousand million
        s = (low + high) / 2
        display = ((c3 * s + c2) * s + c1) * s + c0
        out = _beyond(display)
        low, high = np.where(out, low, s), np.where(out, s, high)
    ratio[todo] = 1.0 / np.maximum(low, 1e-6)
    return ratio


def gamut_limit(rgb: Array, space: RGBSpace) -> float:
    """Largest chroma ratio among colours (n, 3): 1.0 when all of them lie inside ``space``."""
    outside = _beyond(matrix_between(WORKING, space) @ rgb.T)
    if not outside.any():
        return 1.0
    return limit_from(float(chroma_ratio(rgb[outside], space, 0.5).max(initial=1.0)))


def limit_from(largest_ratio: float) -> float:
    """The limit where colours lie outside, the farthest at ``largest_ratio`` of the way to the edge."""
    return float(np.clip(largest_ratio, 1.0 + 1e-3, MAX_LIMIT))


def bring_inside(rgb: Array, space: RGBSpace, limit: float) -> Array:
    """Linear BT.2020 (..., 3) brought into ``space``; untouched where ``limit`` is 1."""
    if limit <= 1.0:
        return rgb
    flat = rgb.reshape(-1, 3)
    knee = knee_for(limit)
    lab = oklab_from_working(flat)
    ratio = _ratio(lab, space, knee)
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


def lms_to(space: RGBSpace) -> Array:
    """Matrix from the cubes of Oklab's cone responses to linear light of ``space``."""
    return np.asarray(matrix_between(WORKING, space) @ LMS_TO_WORKING)


def _outside(lab: Array, space: RGBSpace) -> NDArray[np.bool_]:
    lms = LAB_TO_LMS @ lab.T
    return _beyond(lms_to(space) @ (lms * lms * lms))


def _beyond(display: Array) -> NDArray[np.bool_]:
    """Which colours of ``display`` (3, n) lie outside [0, 1] in any channel."""
    red, green, blue = display
    low, high = np.minimum(np.minimum(red, green), blue), np.maximum(np.maximum(red, green), blue)
    return np.asarray((low < -TOLERANCE) | (high > 1 + TOLERANCE))
