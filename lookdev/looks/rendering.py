"""The rendering: one invertible curve between scene-referred and output-referred light.

Straight up to mid grey, then a rational shoulder that reaches display white WHITE_STOPS above mid grey;
past white it goes on straight, at the slope it has there, so that it is strictly increasing and invertible
on the whole line. Negatives lie on the straight part. C1 everywhere. Our own design; image states as in ISO
22028-1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

MID_GREY = 0.18
WHITE_STOPS = 4.0
SCENE_WHITE = MID_GREY * 2.0**WHITE_STOPS

_RISE, _RUN = 1.0 - MID_GREY, SCENE_WHITE - MID_GREY
_BEND = (_RUN / _RISE - 1.0) / _RUN
_SLOPE_AT_WHITE = 1.0 / (1.0 + _BEND * _RUN) ** 2
BENDS = (MID_GREY, SCENE_WHITE, _RUN, _RISE, _BEND, _SLOPE_AT_WHITE)


def render_curve(scene: ArrayLike) -> Array:
    """Output-referred linear light of scene-referred linear light, element by element.

    >>> render_curve([0.0, 0.18, 2.88]).round(12).tolist()
    [0.0, 0.18, 1.0]
    """
    x = np.asarray(scene, dtype=np.float64)
    over = np.clip(x - MID_GREY, 0.0, _RUN)
    shoulder = MID_GREY + over / (1.0 + _BEND * over)
    beyond = np.maximum(x - SCENE_WHITE, 0.0) * _SLOPE_AT_WHITE
    return np.asarray(np.where(x <= MID_GREY, x, shoulder + beyond))


def lift_curve(output: ArrayLike) -> Array:
    """Inverse of :func:`render_curve`: lifts output-referred light to scene-referred light.

    >>> lift_curve([0.0, 0.18, 1.0]).round(12).tolist()
    [0.0, 0.18, 2.88]
    """
    y = np.asarray(output, dtype=np.float64)
    over = np.clip(y - MID_GREY, 0.0, _RISE)
    lifted = MID_GREY + over / (1.0 - _BEND * over)
    beyond = np.maximum(y - 1.0, 0.0) / _SLOPE_AT_WHITE
    return np.asarray(np.where(y <= MID_GREY, y, lifted + beyond))
