"""The rendering: one invertible curve between scene-referred and output-referred light.

Straight up to mid grey, then a rational shoulder that reaches display white WHITE_STOPS above mid grey;
past white it goes on straight, at the slope it has there, so that it is strictly increasing and invertible
on the whole line. Negatives lie on the straight part. C1 everywhere. Our own design; image states as in ISO
22028-1.

Two ways to take colours along it:

- Pictures that a camera has rendered (output-referred) are lifted and shown channel by channel, as cameras
  render: the sample scout's charts come back best so. What their cameras' curves took of chroma is in them.
- Light that no camera has rendered (raw, float, log) is shown by its lightness in Oklab (:data:`SHOW_LIGHT`),
  its hue held and its chroma kept up to the mid tones: channel by channel, light skin under daylight lost a
  quarter of its chroma. Towards white colours roll off, evenly, so that no lamp snaps to white.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.compilation import Kernel, compiled, inlined
from lookdev.looks.elementary import cbrt, exp2, log2
from lookdev.looks.steps import OKLAB, Step, on_each, run

Array = NDArray[np.float64]

MID_GREY = 0.18
WHITE_STOPS = 4.0  # of taste: a lit window or a lamp's shade, not the filament, reaches display white
SCENE_WHITE = MID_GREY * 2.0**WHITE_STOPS

_RISE, _RUN = 1.0 - MID_GREY, SCENE_WHITE - MID_GREY
BEND = (_RUN / _RISE - 1.0) / _RUN
_SLOPE_AT_WHITE = 1.0 / (1.0 + BEND * _RUN) ** 2
_UNDER = 0.001  # of light: what may be left under a log encoding's code zero
_HELD = 0.98  # of the room over white: past it the curve goes on straight, so that it can be undone
_KNEE, _FARTHEST = 0.995, 3.0
# of taste: what BT.2020 holds stays as it is; the end is a channel as far under zero as twice the top over it

_CHROMA_SHARE = 0.15  # of the fall in lightness that chroma follows: more, and skin in the sun goes grey
_FADE_FROM = 0.6  # of display white: below it skin and paint lie, above it lamps and sky
_FADE_TO = 0.2  # share of chroma left at white, about what the curve itself leaves channel by channel
_EASE = 0.35  # share of the fade, in stops, over which it sets in
_ROLL, _ROLL_RATE = 0.02, 2.18
"""Oklab chroma that has room below white, and how fast it grows with stops: one step of a 64th of a stop
stays under half a CIEDE2000 all round the hues (tests/unit/test_looks_rendering.py)."""


@inlined
def _lifted(y):  # type: ignore[no-untyped-def]
    over = min(max(y - MID_GREY, 0.0), _RISE)
    lifted = MID_GREY + over / (1.0 - BEND * over) + max(y - 1.0, 0.0) / _SLOPE_AT_WHITE
    return y if y <= MID_GREY else lifted


@inlined
def rendered_light(x):  # type: ignore[no-untyped-def]
    over = min(max(x - MID_GREY, 0.0), _RUN)
    shoulder = MID_GREY + over / (1.0 + BEND * over) + max(x - SCENE_WHITE, 0.0) * _SLOPE_AT_WHITE
    return x if x <= MID_GREY else shoulder


@inlined
def _lifted_from(y, room):  # type: ignore[no-untyped-def]
    """As ``_lifted`` for a display with ``room`` over white, in whites."""
    share = max(y - 1.0, 0.0) / room
    held = min(share, _HELD)
    over = room * (held / (1.0 - held) + max(share - _HELD, 0.0) / (1.0 - _HELD) ** 2)
    return _lifted(min(y, 1.0)) + over / _SLOPE_AT_WHITE


@inlined
def _rendered_to(x, room):  # type: ignore[no-untyped-def]
    """As ``rendered_light`` for a display with ``room`` over white, in whites."""
    over = max(x - SCENE_WHITE, 0.0) * _SLOPE_AT_WHITE
    most = room * _HELD / (1.0 - _HELD)
    rolled = min(over, most)
    beyond = max(over - most, 0.0) * (1.0 - _HELD) ** 2
    return rendered_light(min(x, SCENE_WHITE)) + rolled / (1.0 + rolled / room) + beyond


@compiled
def _lift_from(x, room):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        x[i] = _lifted_from(x[i], room)


@compiled
def _render_to(x, room):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        x[i] = _rendered_to(x[i], room)


@compiled
def _show_to(x, y, z, room):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        a, b, c = x[i], y[i], z[i]
        top = max(max(a, b), c)
        x[i] = _rendered_to(_held(a, top), room)
        y[i] = _rendered_to(_held(b, top), room)
        z[i] = _rendered_to(_held(c, top), room)


@compiled
def _lift(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        x[i] = _lifted(x[i])


@compiled
def _render(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        x[i] = rendered_light(x[i])


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
        x[i], y[i], z[i] = (
            rendered_light(_held(a, top)),
            rendered_light(_held(b, top)),
            rendered_light(_held(c, top)),
        )


@compiled
def hold_in_gamut(x, y, z):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        a, b, c = x[i], y[i], z[i]
        top = max(max(a, b), c)
        x[i], y[i], z[i] = _held(a, top), _held(b, top), _held(c, top)


@compiled
def _show_light(x, y, z, peak, fade_from, fade_to, left):  # type: ignore[no-untyped-def]
    """Oklab of scene light to Oklab of output light; ``peak`` in display whites, ``fade_from`` and
    ``fade_to`` log2 of lightness, ``left`` what the fade leaves at its end."""
    for i in range(x.size):
        lightness = x[i]
        light = lightness * lightness * lightness
        over = max(light - SCENE_WHITE, 0.0) * _SLOPE_AT_WHITE
        shown = rendered_light(min(light, SCENE_WHITE)) + (
            over / (1.0 + over / (peak - 1.0)) if peak > 1.0 else over
        )
        out = cbrt(shown)
        stops = log2(max(lightness, 1e-6))
        ratio = exp2(_CHROMA_SHARE * (log2(max(out, 1e-6)) - stops))
        t = min(max((stops - fade_from) / (fade_to - fade_from), 0.0), 1.0)
        ramp = (t * t / (2.0 * _EASE) if t < _EASE else t - 0.5 * _EASE) / (1.0 - 0.5 * _EASE)
        keep = ratio * (1.0 - (1.0 - left) * ramp)
        below = min(max(3.0 * (fade_to - stops), 0.0), 20.0)
        room = _ROLL * (exp2(_ROLL_RATE * 1.4426950408889634 * below) - 1.0)
        chroma = keep * np.sqrt(y[i] * y[i] + z[i] * z[i])
        keep *= room / (room + chroma + 1e-12)
        x[i], y[i], z[i] = out, keep * y[i], keep * z[i]


@compiled
def _hold_above(x, floor):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        under = max(floor - x[i], 0.0)
        x[i] = x[i] if under == 0.0 else floor - under / (1.0 + under / _UNDER)


def holding_above(floor: float) -> Step:
    """Lets no channel fall under ``floor`` by more than a hair, smoothly; what lies over it is not touched.

    For light that goes into a log encoding, whose codes run to many times under zero for a saturated lamp's
    negative channel: ``floor`` is the light of code zero, the hair is about two hundredths of the code range.
    """
    return on_each(_hold_above, (floor,))


LIFT = on_each(_lift)
"""Output-referred light to scene light."""
SHOW = Step(_show, undoes=LIFT)
"""Scene light to output-referred light, its deep negatives held within the working gamut first.

Wide camera gamuts give deep negatives to bright saturated lights. The rendering is straight below mid grey,
so a bright light's negative channel would outweigh the channels that the shoulder holds back, and turn it
black. Each channel's distance from the largest, as a share of it, is laid from [0.995, 3] into [0.995, 1];
what lies inside BT.2020 by that much is not touched.
"""


def showing_light(peak: float = 1.0) -> tuple[Step, ...]:
    """The steps that show light which no camera has rendered, linear BT.2020 in and out.

    ``peak`` : the brightest light of the display, in diffuse whites (1: it ends at white). Up to white the
    curve is the same for every peak; beyond it light goes on at the slope it has there and rolls into the
    peak. Hue is held in Oklab; chroma falls by the share :data:`_CHROMA_SHARE` of what lightness falls, and
    from 60% of white on fades, until at the end nothing is left of it.
    """
    end = SCENE_WHITE + (peak - 1.0) / _SLOPE_AT_WHITE  # where the straight way on would meet the peak
    fade_from = float(np.log2(np.cbrt(lift_curve(_FADE_FROM))))
    fade_to = float(np.log2(np.cbrt(end)))
    left = _FADE_TO / float((1.0 / np.cbrt(SCENE_WHITE)) ** _CHROMA_SHARE)
    show = Step(_show_light, (peak, fade_from, fade_to, left), OKLAB)
    return (Step(hold_in_gamut), *OKLAB.from_working, show, *OKLAB.to_working)


def show_light(scene: ArrayLike, peak: float = 1.0) -> Array:
    """Output-referred light (..., 3) of scene light that no camera has rendered, both linear BT.2020.

    >>> show_light([0.18, 0.18, 0.18]).round(9).tolist()
    [0.18, 0.18, 0.18]
    >>> show_light([2.88, 2.88, 2.88]).round(9).tolist()
    [1.0, 1.0, 1.0]
    """
    return run(showing_light(peak), scene)


@lru_cache(maxsize=32)
def lift_from(peak: float) -> Step:
    """LIFT for light of a display that reaches ``peak``, in diffuse whites; 1 : LIFT itself."""
    return LIFT if peak <= 1.0 else on_each(_lift_from, (peak - 1.0,))


@lru_cache(maxsize=32)
def show_to(peak: float) -> Step:
    """SHOW for a display that reaches ``peak``, in diffuse whites; 1 : SHOW itself.

    Up to white the picture is the same, channel by channel; above it light goes on at the slope it has there
    and rolls into the peak.
    """
    return SHOW if peak <= 1.0 else Step(_show_to, (peak - 1.0,), undoes=lift_from(peak))


def lifting(peak: float = 1.0) -> Step:
    """As LIFT, where no SHOW cancels with it: after a stage that may leave colours outside a display's."""
    return on_each(_lift) if peak <= 1.0 else on_each(_lift_from, (peak - 1.0,))


def rendering(peak: float = 1.0) -> Step:
    """The bare curve, for signals on the way that need no limiter."""
    return on_each(_render) if peak <= 1.0 else on_each(_render_to, (peak - 1.0,))


def _elementwise(values: ArrayLike, kernel: Kernel, *numbers: float) -> Array:
    out = np.array(values, dtype=np.float64, order="C")
    kernel(out.reshape(-1), *numbers)
    return out


def render_curve(scene: ArrayLike, peak: float = 1.0) -> Array:
    """Output-referred linear light of scene-referred linear light, element by element.

    ``peak`` : the brightest light of the display, in diffuse whites.

    >>> render_curve([0.0, 0.18, 2.88]).round(12).tolist()
    [0.0, 0.18, 1.0]
    """
    return _elementwise(scene, _render) if peak <= 1.0 else _elementwise(scene, _render_to, peak - 1.0)


def lift_curve(output: ArrayLike, peak: float = 1.0) -> Array:
    """Inverse of :func:`render_curve`: lifts output-referred light to scene-referred light.

    >>> lift_curve([0.0, 0.18, 1.0]).round(12).tolist()
    [0.0, 0.18, 2.88]
    """
    return _elementwise(output, _lift) if peak <= 1.0 else _elementwise(output, _lift_from, peak - 1.0)
