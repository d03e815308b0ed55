"""The rendering: one invertible curve between scene-referred and output-referred light.

Straight up to mid grey, then a rational shoulder that reaches display white WHITE_STOPS above mid grey;
past white it goes on straight, at the slope it has there, so that it is strictly increasing and invertible
on the whole line. Negatives lie on the straight part. C1 everywhere. Our own design; image states as in ISO
22028-1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.compilation import Kernel, compiled, inlined
from lookdev.looks.steps import Step, on_each

Array = NDArray[np.float64]

MID_GREY = 0.18
WHITE_STOPS = 4.0  # of taste: a lit window or a lamp's shade, not the filament, reaches display white
SCENE_WHITE = MID_GREY * 2.0**WHITE_STOPS

_RISE, _RUN = 1.0 - MID_GREY, SCENE_WHITE - MID_GREY
_BEND = (_RUN / _RISE - 1.0) / _RUN
_SLOPE_AT_WHITE = 1.0 / (1.0 + _BEND * _RUN) ** 2
_KNEE, _FARTHEST = 0.995, 3.0
# of taste: what BT.2020 holds stays as it is; the end is a channel as far under zero as twice the top over it


@inlined
def _lifted(y):  # type: ignore[no-untyped-def]
    over = min(max(y - MID_GREY, 0.0), _RISE)
    lifted = MID_GREY + over / (1.0 - _BEND * over) + max(y - 1.0, 0.0) / _SLOPE_AT_WHITE
    return y if y <= MID_GREY else lifted


@inlined
def _rendered(x):  # type: ignore[no-untyped-def]
    over = min(max(x - MID_GREY, 0.0), _RUN)
    shoulder = MID_GREY + over / (1.0 + _BEND * over) + max(x - SCENE_WHITE, 0.0) * _SLOPE_AT_WHITE
    return x if x <= MID_GREY else shoulder


@compiled
def _lift(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        x[i] = _lifted(x[i])


@compiled
def _render(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        x[i] = _rendered(x[i])


@inlined
def _held(v, top):  # type: ignore[no-untyped-def]
    """A channel brought towards the largest one, ``top``, where it lies too far below it."""
    safe = max(top, 1e-6)
    distance = (top - v) / safe
    span = (_FARTHEST - _KNEE) / (1.0 - _KNEE)
    d = min(max((distance - _KNEE) / (1.0 - _KNEE), 0.0), span)
    held = top - (_KNEE + (1.0 - _KNEE) * d / (1.0 + d * (1.0 - 1.0 / span))) * safe
    return held if (distance > _KNEE) & (top > 1e-6) else v


@compiled
def _show(x, y, z):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        a, b, c = x[i], y[i], z[i]
        top = max(max(a, b), c)
        x[i], y[i], z[i] = _rendered(_held(a, top)), _rendered(_held(b, top)), _rendered(_held(c, top))


LIFT = on_each(_lift)
"""Output-referred light to scene light."""
SHOW = Step(_show, undoes=LIFT)
"""Scene light to output-referred light, its deep negatives held within the working gamut first.

Wide camera gamuts give deep negatives to bright saturated lights. The rendering is straight below mid grey,
so a bright light's negative channel would outweigh the channels that the shoulder holds back, and turn it
black. Each channel's distance from the largest, as a share of it, is laid from [0.995, 3] into [0.995, 1];
what lies inside BT.2020 by that much is not touched.
"""


def lifting() -> Step:
    """As LIFT, where no SHOW cancels with it: after a stage that may leave colours outside a display's."""
    return on_each(_lift)


def rendering() -> Step:
    """The bare curve, for signals on the way that need no limiter."""
    return on_each(_render)


def _elementwise(values: ArrayLike, kernel: Kernel) -> Array:
    out = np.array(values, dtype=np.float64, order="C")
    kernel(out.reshape(-1))
    return out


def render_curve(scene: ArrayLike) -> Array:
    """Output-referred linear light of scene-referred linear light, element by element.

    >>> render_curve([0.0, 0.18, 2.88]).round(12).tolist()
    [0.0, 0.18, 1.0]
    """
    return _elementwise(scene, _render)


def lift_curve(output: ArrayLike) -> Array:
    """Inverse of :func:`render_curve`: lifts output-referred light to scene-referred light.

    >>> lift_curve([0.0, 0.18, 1.0]).round(12).tolist()
    [0.0, 0.18, 2.88]
    """
    return _elementwise(output, _lift)
