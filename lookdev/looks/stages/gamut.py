"""Gamut: colours outside the display come in along constant hue and lightness, in Oklab.

How far the look pushes colours out is measured once, over the whole input cube, so that the same colour is
treated alike in every frame. Where nothing is pushed out, nothing is touched. Else the chroma between a
knee and that limit is laid between the knee and the display's edge, smoothly and without reversal.

Close to the hue of blue, the straight way from grey leaves BT.709 by 0.0007 of linear light and comes back
(BT.2020: 0.0004). Where it leaves first the edge steps at one hue by 0.06 of chroma over lightness, and blue
itself lay past it: a blue lamp took a leap of 3 CIEDE2000 in a sixty-fourth of a stop. Round that hue the
edge is the mean of several that let out a little more each, whose steps lie side by side; what is let out is
cut at the end, by at most 0.009 of linear light (half a CIEDE2000).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.oklab import LAB_TO_LMS, LMS_TO_LAB, LMS_TO_WORKING, WORKING_TO_LMS
from lookdev.colorimetry.rgb_spaces import WORKING as WORKING_RGB
from lookdev.colorimetry.rgb_spaces import RGBSpace, matrix_between
from lookdev.compilation import compiled
from lookdev.looks.steps import OKLAB, Step, cube, cube_root, join, mix, run

Array = NDArray[np.float64]

TOLERANCE = 1e-6
MAX_LIMIT = 4.0  # of taste: to make room for what lies farther out would dull all the rest
_LOWEST_KNEE = 0.75  # of taste: three quarters of the way out all stays as the look made it
_LET_OUT = tuple(np.linspace(0.012, 0.1, 20).tolist())  # of linear light, by a grey's of the same lightness
_FOLD_WHOLE, _FOLD_END = 2.5, 6.0  # degrees of hue either way
_HALVINGS = 30  # of the way to the gamut's edge: to a part in a thousand million


def knee_for(limit: float) -> float:
    """Where compression starts, as a share of the way to the edge: near 1 for a small overshoot."""
    return max(_LOWEST_KNEE, 1.0 - 0.5 * (limit - 1.0))  # of taste: half of the overshoot, taken from inside


def limiting(space: RGBSpace, limit: float) -> tuple[Step, ...]:
    """The step that brings working light into ``space``; none where ``limit`` is 1: nothing lies outside."""
    if limit <= 1.0:
        return ()
    ways = [np.asarray(m) for m in (_lms_to(space), WORKING_TO_LMS, LMS_TO_LAB, LAB_TO_LMS, LMS_TO_WORKING)]
    ways.append(_fold(space))
    return (Step(_bring_inside, (limit, knee_for(limit), *ways)),)


def bring_inside(rgb: ArrayLike, space: RGBSpace, limit: float) -> Array:
    """Linear BT.2020 (..., 3) brought into ``space``; untouched where ``limit`` is 1."""
    return run(limiting(space, limit), rgb)


def chroma_ratio(rgb: ArrayLike, space: RGBSpace) -> Array:
    """How far colours (n, 3), linear BT.2020, lie on the way from grey to the edge of ``space`` (1 = edge).

    To a part in a million. Colours lighter than white or darker than black count as 0: they go to white or
    black whatever their chroma.
    """
    lab = _oklab(rgb)
    share = _edge(1024.0, lab, _lms_to(space), LAB_TO_LMS, _fold(space))
    return np.where((lab[0] > 0) & (lab[0] < 1), 1.0 / np.maximum(share, 1e-6), 0.0)


def gamut_limit(rgb: ArrayLike, space: RGBSpace) -> float:
    """Largest chroma ratio among colours (n, 3): 1.0 when all of them lie inside ``space``."""
    lab, ways = _oklab(rgb), (_lms_to(space), LAB_TO_LMS)
    out = _outside(1.0, lab, *ways)
    if not out.any():
        return 1.0
    share = _edge(2.0, lab.compress(out & (lab[0] > 0) & (lab[0] < 1), axis=1), *ways, _fold(space))
    return float(np.clip(1.0 / max(share.min(initial=1.0), 1e-6), 1.0 + 1e-3, MAX_LIMIT))


def _oklab(rgb: ArrayLike) -> Array:
    """Oklab, (3, n), of linear BT.2020 (n, 3)."""
    return np.ascontiguousarray(run(join([], end=OKLAB), rgb).T)


def _lms_to(space: RGBSpace) -> Array:
    """Matrix from the cubes of Oklab's cone responses to linear light of ``space``."""
    return np.ascontiguousarray(matrix_between(WORKING_RGB, space) @ LMS_TO_WORKING)


def _bring_inside(
    x: Array,
    y: Array,
    z: Array,
    limit: float,
    knee: float,
    lms_to_display: Array,
    to_lms: Array,
    to_lab: Array,
    from_lab: Array,
    from_lms: Array,
    fold: Array,
) -> None:
    """In steps of their own: compiled as one, each part would be compiled three times over."""
    lab = np.stack((x, y, z))
    mix(*lab, to_lms)
    cube_root(lab.reshape(-1))
    mix(*lab, to_lab)
    near = np.empty(x.size, dtype=np.bool_)
    _mark_near(*lab, 1.0 / knee, lms_to_display, from_lab, near)
    places = np.flatnonzero(near)
    if places.size:
        lab = lab.take(places, axis=1)  # four times as quick as lab[:, places]
        share = _edge(1.0 / knee, lab, lms_to_display, from_lab, fold)
        _squeeze(*lab, share, limit, knee)
        mix(*lab, from_lab)
        cube(lab.reshape(-1))
        mix(*lab, from_lms)
        x[places], y[places], z[places] = lab


def _outside(share: float, lab: Array, lms_to_display: Array, from_lab: Array) -> NDArray[np.bool_]:
    """Which Oklab colours (3, n) lie outside with their chroma times ``share``."""
    light = lab * np.array([[1.0], [share], [share]])
    mix(*light, from_lab)
    cube(light.reshape(-1))
    mix(*light, lms_to_display)
    return np.asarray((light.min(axis=0) < -TOLERANCE) | (light.max(axis=0) > 1.0 + TOLERANCE))


def _edge(most: float, lab: Array, lms_to_display: Array, from_lab: Array, fold: Array) -> Array:
    """The share of their chroma at which Oklab colours (3, n) lie on the edge; at most ``most``."""
    share, cubics = np.zeros(lab.shape[1]), np.empty((12, lab.shape[1]))
    x, y, z = lab
    for channel in range(3):
        _cubic(x, y, z, lms_to_display[channel], from_lab, cubics[4 * channel : 4 * channel + 4])
    _find_edge(most, cubics, np.full(lab.shape[1], -TOLERANCE), share)
    if not fold.any():
        return share
    weight = _near_fold(y, z, fold)
    places = np.flatnonzero(weight)
    if places.size:
        there, dark = np.ascontiguousarray(cubics[:, places]), -(x[places] ** 3)
        mean = np.zeros(places.size)
        for let_out in _LET_OUT:
            one = np.zeros(places.size)
            _find_edge(most, there, dark * let_out, one)
            mean += one / len(_LET_OUT)
        share[places] += weight[places] * (mean - share[places])
    return share


def lets_out(space: RGBSpace) -> bool:
    """Whether a little is let out of ``space`` at the hue of blue, for others to cut."""
    return bool(_fold(space).any())


@lru_cache(maxsize=32)
def _fold(space: RGBSpace) -> Array:
    """Cosine and sine of blue's hue where the way to it leaves the space on the way; else noughts."""
    to_display = _lms_to(space)
    blue = LMS_TO_LAB @ np.cbrt(np.linalg.inv(to_display) @ np.array([0.0, 0.0, 1.0]))
    way = np.linspace(0.0, 0.99, 100)[:, None] * np.array([0.0, blue[1], blue[2]]) + [blue[0], 0.0, 0.0]
    leaves = ((way @ LAB_TO_LMS.T) ** 3 @ to_display.T).min() < -10 * TOLERANCE
    return np.asarray(blue[1:] / np.hypot(*blue[1:]) if leaves else np.zeros(2))


def _near_fold(a: Array, b: Array, fold: Array) -> Array:
    """1 within _FOLD_WHOLE degrees of the hue of the fold, 0 beyond _FOLD_END, smoothly between."""
    across, along = fold[0] * b - fold[1] * a, fold[0] * a + fold[1] * b
    off = np.abs(np.degrees(np.arctan2(across, along)))
    t = np.clip((_FOLD_END - off) / (_FOLD_END - _FOLD_WHOLE), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


@compiled
def _mark_near(x, y, z, most, d, m, marks):  # type: ignore[no-untyped-def]
    """Marks colours that lie outside with ``most`` times their chroma; black and white, as they are."""
    m00, m01, m02, m10, m11, m12 = m[0, 0], m[0, 1], m[0, 2], m[1, 0], m[1, 1], m[1, 2]
    m20, m21, m22 = m[2, 0], m[2, 1], m[2, 2]
    d00, d01, d02, d10, d11, d12 = d[0, 0], d[0, 1], d[0, 2], d[1, 0], d[1, 1], d[1, 2]
    d20, d21, d22 = d[2, 0], d[2, 1], d[2, 2]
    for i in range(x.size):
        lightness = x[i]
        share = most if (lightness > 0.0) & (lightness < 1.0) else 1.0
        a, b = share * y[i], share * z[i]
        u = m00 * lightness + m01 * a + m02 * b
        v = m10 * lightness + m11 * a + m12 * b
        w = m20 * lightness + m21 * a + m22 * b
        u, v, w = u * u * u, v * v * v, w * w * w
        red, green = d00 * u + d01 * v + d02 * w, d10 * u + d11 * v + d12 * w
        blue = d20 * u + d21 * v + d22 * w
        low, high = min(min(red, green), blue), max(max(red, green), blue)
        marks[i] = (low < -TOLERANCE) | (high > 1.0 + TOLERANCE)


@compiled
def _cubic(x, y, z, d, m, c):  # type: ignore[no-untyped-def]
    """A primary along the way from grey through a colour: the cubes of three lines, mixed."""
    for k in range(4):
        c[k, :] = 0.0
    for cone in range(3):
        grey, red_green, yellow_blue, share = m[cone, 0], m[cone, 1], m[cone, 2], d[cone]
        for i in range(x.size):
            start, way = grey * x[i], red_green * y[i] + yellow_blue * z[i]
            c[0, i] += start * start * start * share
            c[1, i] += 3.0 * (start * start) * way * share
            c[2, i] += 3.0 * start * (way * way) * share
            c[3, i] += way * way * way * share


@compiled
def _find_edge(most, c, least, low):  # type: ignore[no-untyped-def]
    """Halves the way from grey to ``most`` times a colour's chroma until the edge is found, where a channel
    falls under ``least`` or rises above 1: its share."""
    step = most
    greatest = 1.0 + TOLERANCE
    for _ in range(_HALVINGS):
        step *= 0.5
        for i in range(low.size):
            s = low[i] + step
            red = ((c[3, i] * s + c[2, i]) * s + c[1, i]) * s + c[0, i]
            green = ((c[7, i] * s + c[6, i]) * s + c[5, i]) * s + c[4, i]
            blue = ((c[11, i] * s + c[10, i]) * s + c[9, i]) * s + c[8, i]
            inside = (min(min(red, green), blue) >= least[i]) & (max(max(red, green), blue) <= greatest)
            low[i] = s if inside else low[i]


@compiled
def _squeeze(x, y, z, share, limit, knee):  # type: ignore[no-untyped-def]
    """Lays chroma between the knee and the limit between the knee and the edge."""
    span = (limit - knee) / (1.0 - knee)
    for i in range(x.size):
        ratio = 1.0 / max(share[i], 1e-6)
        d = min(max((ratio - knee) / (1.0 - knee), 0.0), span)
        factor = (knee + (1.0 - knee) * d / (1.0 + d * (1.0 - 1.0 / span))) / ratio
        factor = factor if (x[i] > 0.0) & (x[i] < 1.0) else 0.0
        x[i], y[i], z[i] = min(max(x[i], 0.0), 1.0), y[i] * factor, z[i] * factor
