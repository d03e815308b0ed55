"""A balance that knows where the still stops: clipped light has no colour.

Where a channel of the still is full, what it would have been is not known. A balance that scales it all the
same turns clipped orange brick lemon-green and the core of a street lamp lavender. Here, where the lamp's
cast is out and a grey card is neutral, a full channel is raised to what those that are not full suggest: of a
surface, red is to green about as green is to blue (reflectances of things are smooth), so that neutral stays
neutral and brick stays brick; where two are full, both go at least as far as the third; where all three are,
it is white. Then what stays of the cast goes back on, and the look's own shift, which fades where all is
full.

A channel counts as full from FULL_FROM of the code range on, smoothly. Where none is, the balance is the
plain matrix. Only light that a camera has rendered ends at a known code: raw light ends neutral as it is
decoded (``stills.raw``), log and float end nowhere near.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.rgb_spaces import WORKING as WORKING_RGB
from lookdev.colorimetry.rgb_spaces import matrix_between
from lookdev.compilation import compiled, inlined
from lookdev.looks.elementary import exp2, log2
from lookdev.looks.rendering import SCENE_WHITE, rendered_light
from lookdev.looks.stages.base import Metered
from lookdev.looks.steps import Step, mixing

Array = NDArray[np.float64]

FULL_FROM = 0.86  # of the code range: noise, chroma at half size and a lattice of 65 ask for some room
_STEEPER = 1.6  # red to green of warm surfaces in stops, against green to blue: brick 1.5, wood 1.1, skin 1.9
_RATIO_STOPS = 1.8  # and at most about this: a red farther from green is a lamp's, no paint's
_TOWARDS_WHITE = 0.3  # share of colour that goes where two channels are full: its hue is not known any more
_SOFT = 0.1  # share of green within which two guesses are mixed, so that no edge shows
_RAISED_BELOW = 0.75  # keep up to which a full channel is raised wholly; at 1 the picture is as it stood


def balancing(whole: Array, kept: Array, neutral: Array, keep: float, metered: Metered) -> Step:
    """The step of a balance, linear BT.2020.

    ``whole`` (3, 3) is all of it, which a still gets of which nothing is known where it ends; ``kept`` leaves
    what is to stay of the cast (``keep``), without the look's own shift; ``neutral`` leaves nothing of it.
    """
    source, levels = metered.source, metered.clip_levels
    if source is None or levels is None:
        return mixing(whole)
    to_source = matrix_between(WORKING_RGB, source.space)
    full_from = float(np.max(source.decode(np.full((1, 3), FULL_FROM))))
    raised = float(np.clip((1.0 - keep) / (1.0 - _RAISED_BELOW), 0.0, 1.0))
    numbers = (
        np.asarray(to_source),
        to_source @ neutral,
        kept @ np.linalg.inv(to_source @ neutral),
        whole @ np.linalg.inv(to_source @ neutral),
        SCENE_WHITE / max(levels),
        full_from,
        raised,
    )
    return Step(_balance, numbers)


@inlined
def _fullness(v, full_from):  # type: ignore[no-untyped-def]
    t = min(max((v - full_from) / (1.0 - full_from), 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@inlined
def _ratio(a, b):  # type: ignore[no-untyped-def]
    """What the next channel is to ``a``, from what ``a`` is to ``b``."""
    q = (log2(max(a, 1e-4)) - log2(max(b, 1e-4))) * (_STEEPER / _RATIO_STOPS)
    return exp2(_RATIO_STOPS * q / np.sqrt(1.0 + q * q))


@inlined
def _at_least(a, b, soft):  # type: ignore[no-untyped-def]
    """The larger of two, C1, mixed where they lie within ``soft``."""
    h = max(soft - abs(a - b), 0.0)
    return max(a, b) + h * h / (4.0 * soft)


@compiled
def _balance(x, y, z, to_source, to_neutral, from_neutral, shifted, gain, full_from, raised):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        a, b, c = x[i], y[i], z[i]
        p, q, s = rendered_light(a * gain), rendered_light(b * gain), rendered_light(c * gain)
        full_r = _fullness(to_source[0, 0] * p + to_source[0, 1] * q + to_source[0, 2] * s, full_from)
        full_g = _fullness(to_source[1, 0] * p + to_source[1, 1] * q + to_source[1, 2] * s, full_from)
        full_b = _fullness(to_source[2, 0] * p + to_source[2, 1] * q + to_source[2, 2] * s, full_from)
        red = to_neutral[0, 0] * a + to_neutral[0, 1] * b + to_neutral[0, 2] * c
        green = to_neutral[1, 0] * a + to_neutral[1, 1] * b + to_neutral[1, 2] * c
        blue = to_neutral[2, 0] * a + to_neutral[2, 1] * b + to_neutral[2, 2] * c
        soft = _SOFT * max(green, 1e-3)
        free_r, free_b = 1.001 - full_r, 1.001 - full_b
        guess = (free_r * red + free_b * blue) / (free_r + free_b)
        new_green = green + raised * full_g * (_at_least(green, guess, soft) - green)
        guess = new_green * (full_g + (1.0 - full_g) * _ratio(new_green, blue))
        new_red = red + raised * full_r * (_at_least(red, guess, soft) - red)
        guess = new_green * (full_g + (1.0 - full_g) * _ratio(new_green, red))
        new_blue = blue + raised * full_b * (_at_least(blue, guess, soft) - blue)
        white = full_r * full_g * full_b
        two = full_r * full_g + full_g * full_b + full_b * full_r - 2.0 * white
        towards = raised * (white + (1.0 - white) * _TOWARDS_WHITE * two)
        top = _at_least(_at_least(new_red, new_green, soft), new_blue, soft)  # C1
        new_red += towards * (top - new_red)
        new_green += towards * (top - new_green)
        new_blue += towards * (top - new_blue)
        for_white = 1.0 - white
        u0 = from_neutral[0, 0] * white + shifted[0, 0] * for_white
        u1 = from_neutral[0, 1] * white + shifted[0, 1] * for_white
        u2 = from_neutral[0, 2] * white + shifted[0, 2] * for_white
        x[i] = u0 * new_red + u1 * new_green + u2 * new_blue
        u0 = from_neutral[1, 0] * white + shifted[1, 0] * for_white
        u1 = from_neutral[1, 1] * white + shifted[1, 1] * for_white
        u2 = from_neutral[1, 2] * white + shifted[1, 2] * for_white
        y[i] = u0 * new_red + u1 * new_green + u2 * new_blue
        u0 = from_neutral[2, 0] * white + shifted[2, 0] * for_white
        u1 = from_neutral[2, 1] * white + shifted[2, 1] * for_white
        u2 = from_neutral[2, 2] * white + shifted[2, 2] * for_white
        z[i] = u0 * new_red + u1 * new_green + u2 * new_blue
