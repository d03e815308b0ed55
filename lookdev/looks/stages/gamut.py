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
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.oklab import LAB_TO_LMS, LMS_TO_LAB, LMS_TO_WORKING, WORKING_TO_LMS
from lookdev.colorimetry.rgb_spaces import WORKING as WORKING_RGB
from lookdev.colorimetry.rgb_spaces import RGBSpace, matrix_between
from lookdev.compilation import compiled
from lookdev.looks.steps import OKLAB, Step, cube, cube_root, join, mix, run

Array = NDArray[np.float64]

TOLERANCE = 1e-6
MAX_LIMIT = 4.0
_LOWEST_KNEE = 0.75
_HALVINGS = 30  # of the way to the gamut's edge: to a part in a thousand million


def knee_for(limit: float) -> float:
    """Where compression starts, as a share of the way to the edge: near 1 for a small overshoot."""
    return max(_LOWEST_KNEE, 1.0 - 0.5 * (limit - 1.0))


def limiting(space: RGBSpace, limit: float) -> tuple[Step, ...]:
    """The step that brings working light into ``space``; none where ``limit`` is 1: nothing lies outside."""
    if limit <= 1.0:
        return ()
    ways = [np.asarray(m) for m in (_lms_to(space), WORKING_TO_LMS, LMS_TO_LAB, LAB_TO_LMS, LMS_TO_WORKING)]
    return (Step(_bring_inside, (limit, knee_for(limit), *ways)),)


def bring_inside(rgb: ArrayLike, space: RGBSpace, limit: float) -> Array:
    """Linear BT.2020 (..., 3) brought into ``space``; untouched where ``limit`` is 1."""
    return run(limiting(space, limit), rgb)


def chroma_ratio(rgb: ArrayLike, space: RGBSpace) -> Array:
    """How far colours (n, 3), linear BT.2020, lie on the way from grey to the edge of ``space`` (1 = edge).

    To a part in a million. Colours lighter than white or darker than black count as 0: they go to white or
    black whatever their chroma.
    """
    x, y, z = _channels(rgb)
    share = np.empty(x.size)
    _find_edge(1024.0, _lms_to(space), LAB_TO_LMS, x, y, z, share)
    return np.where((x > 0) & (x < 1), 1.0 / np.maximum(share, 1e-6), 0.0)


def gamut_limit(rgb: ArrayLike, space: RGBSpace) -> float:
    """Largest chroma ratio among colours (n, 3): 1.0 when all of them lie inside ``space``."""
    ratio = float(_largest_ratio(*_channels(rgb), _lms_to(space), LAB_TO_LMS))
    return float(np.clip(ratio, 1.0 + 1e-3, MAX_LIMIT)) if ratio else 1.0


def _channels(rgb: ArrayLike) -> tuple[Array, Array, Array]:
    """Oklab of linear BT.2020 (n, 3), as three arrays."""
    x, y, z = np.ascontiguousarray(run(join([], end=OKLAB), rgb).T)
    return x, y, z


def _lms_to(space: RGBSpace) -> Array:
    """Matrix from the cubes of Oklab's cone responses to linear light of ``space``."""
    return np.ascontiguousarray(matrix_between(WORKING_RGB, space) @ LMS_TO_WORKING)


@compiled
def _mark_outside(share, lms_to_display, from_lab, x, y, z, marks):  # type: ignore[no-untyped-def]
    """Marks the Oklab colours that lie outside with their chroma times ``share``."""
    red, green, blue = x.copy(), share * y, share * z
    mix(red, green, blue, from_lab)
    cube(red)
    cube(green)
    cube(blue)
    mix(red, green, blue, lms_to_display)
    for i in range(x.size):
        low, high = min(min(red[i], green[i]), blue[i]), max(max(red[i], green[i]), blue[i])
        marks[i] = (low < -TOLERANCE) | (high > 1.0 + TOLERANCE)


@compiled
def _find_edge(most, lms_to_display, from_lab, x, y, z, low):  # type: ignore[no-untyped-def]
    """Halves the way from grey to ``most`` times a colour's chroma until the edge is found: its share."""
    n = x.size
    c = np.empty((12, n))  # a cubic each: the cube of a line, mixed by a matrix
    m, d = from_lab, lms_to_display
    c[:] = 0.0
    for cone in range(3):
        grey, red_green, yellow_blue = m[cone, 0], m[cone, 1], m[cone, 2]
        for channel in range(3):
            share = d[channel, cone]
            c0, c1, c2, c3 = c[4 * channel : 4 * channel + 4]
            for i in range(n):
                start, way = grey * x[i], red_green * y[i] + yellow_blue * z[i]
                c0[i] += start * start * start * share
                c1[i] += 3.0 * (start * start) * way * share
                c2[i] += 3.0 * start * (way * way) * share
                c3[i] += way * way * way * share
    low[:] = 0.0
    step = most
    least, greatest = -TOLERANCE, 1.0 + TOLERANCE
    r0, r1, r2, r3, g0, g1, g2, g3, b0, b1, b2, b3 = c
    for _ in range(_HALVINGS):
        step *= 0.5
        for i in range(n):
            s = low[i] + step
            red = ((r3[i] * s + r2[i]) * s + r1[i]) * s + r0[i]
            green = ((g3[i] * s + g2[i]) * s + g1[i]) * s + g0[i]
            blue = ((b3[i] * s + b2[i]) * s + b1[i]) * s + b0[i]
            inside = (min(min(red, green), blue) >= least) & (max(max(red, green), blue) <= greatest)
            low[i] = s if inside else low[i]


@compiled
def _bring_inside(x, y, z, limit, knee, lms_to_display, to_lms, to_lab, from_lab, from_lms):  # type: ignore[no-untyped-def]
    lightness, a, b = x.copy(), y.copy(), z.copy()
    mix(lightness, a, b, to_lms)
    cube_root(lightness)
    cube_root(a)
    cube_root(b)
    mix(lightness, a, b, to_lab)
    near, out = np.empty(x.size, np.bool_), np.empty(x.size, np.bool_)
    _mark_outside(1.0 / knee, lms_to_display, from_lab, lightness, a, b, near)
    _mark_outside(1.0, lms_to_display, from_lab, lightness, a, b, out)
    places, count = np.empty(x.size, np.intp), 0
    for i in range(x.size):
        if near[i] if 0.0 < lightness[i] < 1.0 else out[i]:
            places[count] = i
            count += 1
    if count == 0:
        return
    places = places[:count]
    lightness, a, b, share = lightness[places], a[places], b[places], np.empty(count)
    _find_edge(1.0 / knee, lms_to_display, from_lab, lightness, a, b, share)
    span = (limit - knee) / (1.0 - knee)
    for i in range(count):
        ratio = 1.0 / max(share[i], 1e-6)
        d = min(max((ratio - knee) / (1.0 - knee), 0.0), span)
        factor = (knee + (1.0 - knee) * d / (1.0 + d * (1.0 - 1.0 / span))) / ratio
        factor = factor if (lightness[i] > 0.0) & (lightness[i] < 1.0) else 0.0
        lightness[i], a[i], b[i] = min(max(lightness[i], 0.0), 1.0), a[i] * factor, b[i] * factor
    mix(lightness, a, b, from_lab)
    cube(lightness)
    cube(a)
    cube(b)
    mix(lightness, a, b, from_lms)
    for i in range(count):
        x[places[i]], y[places[i]], z[places[i]] = lightness[i], a[i], b[i]


@compiled
def _largest_ratio(x, y, z, lms_to_display, from_lab):  # type: ignore[no-untyped-def]
    """The largest chroma ratio of Oklab colours that lie outside; 0 where none does."""
    out = np.empty(x.size, np.bool_)
    _mark_outside(1.0, lms_to_display, from_lab, x, y, z, out)
    worst = 1.0 if np.any(out) else 0.0
    out &= (x > 0.0) & (x < 1.0)
    places = np.flatnonzero(out)
    share = np.empty(places.size)
    _find_edge(2.0, lms_to_display, from_lab, x[places], y[places], z[places], share)
    for s in share:
        worst = max(worst, 1.0 / max(s, 1e-6))
    return worst
