"""Skin: a share of what a look does to the hue and chroma of skin is held back.

One smooth region, wider than a family, around the skins of ``colorimetry.skins`` under daylight: by hue, by
chroma against lightness (so that exposure does not move it), and by lightness, widely. It is looked up at the
colour as it is balanced, the lamp's cast out, before the look's own shift: skin is found where it is, however
cold the look. Inside it hue and chroma lie between what the look makes of them and what its exposure, its
curve and the cast it keeps make of them alone; lightness stays the look's.

A still that a camera has rendered is rendered again channel by channel, and that bleaches light colours: a
look that brightens pales light faces and not dark ones, by no key of its own. What of that is the look's
doing is held back as well. What the camera did to faces stays; the still as it stood has it too.

``daylight`` turns hues in the same region towards the line on which daylight leaves skin: what a lamp's
spectrum does to skin no balance takes out. What lies near the line stays there.

The region cannot tell skin from a thing of the same colour. How much brick, wood and sand it catches is in
``tests/unit/test_looks_skin.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field

from lookdev.compilation import compiled, inlined
from lookdev.looks.elementary import angle, cosine, sine
from lookdev.looks.rendering import BEND, MID_GREY, SCENE_WHITE
from lookdev.looks.stages.base import Metered, Stage
from lookdev.looks.steps import OKLAB, WORKING, Step, in_common, join, run

Array = NDArray[np.float64]

_DEGREE = np.pi / 180.0

# Skins under daylight in Oklab: chroma 0.058 to 0.137 of lightness, hue 40 to 56 degrees, on a line: the
# paler, the pinker (the six, CES15, CES18 and TCS15: tests/unit/test_looks_skin.py).
_LINE_HUE, _LINE_BEND, _LINE_EASE = 56.4, 0.089, 0.002
"""The line: hue in degrees = 56.4 - 0.089 / (ratio^2 + 0.002), by chroma over lightness."""
_OFF_LOW, _OFF_HIGH = 9.0, 7.0  # degrees from the line, within which all is held
_FADE_LOW, _FADE_HIGH = 46.0, 42.0  # degrees to nothing: shorter, and a sweep of hue takes a leap
# (towards yellow wood and sand lie, towards red lips)
_CHROMA_NONE, _CHROMA_LOW = 0.0, 0.066  # of lightness: greys have no blood
_CHROMA_HIGH, _CHROMA_END = 0.14, 0.30
_LIGHT_NONE, _LIGHT_LOW = 0.10, 0.24  # Oklab lightness of scene light: from 3.7 stops under mid grey
_LIGHT_HIGH, _LIGHT_END = 1.05, 1.45  # up to scene white: what shines is light, not skin
_NEAR = 3.0  # degrees from the line within which a hue stays much as it is: people differ by as much
_FAR = 30.0  # and from which on it is turned little more: it may be no skin
_EASE = 0.25
_SOFT = 0.05  # of chroma, within which bleaching and its contrary run into each other


class Skin(Stage):
    """``[skin]``: ``hold`` 0 to 1, the share held back of what the look does to skin's hue and chroma;
    ``daylight`` 0 to 1, how far skin is turned back from the hue the lamp gave it."""

    hold: Annotated[float, Field(ge=0, le=1)] = 0.0
    daylight: Annotated[float, Field(ge=0, le=1)] = 0.0

    def words(self) -> list[str]:
        out = [f"skin held {100 * self.hold:.0f}%"] if self.hold else []
        return [*out, f"skin {100 * self.daylight:.0f}% to daylight"] if self.daylight else out

    def step(self, metered: Metered) -> Step | None:
        """None: it acts on what the others do, see :meth:`around`."""
        return None

    def around(
        self,
        graded: Sequence[Step],
        plain: Sequence[Step],
        balanced: Sequence[Step],
        brighter: float | None = None,
    ) -> tuple[Step, ...]:
        """``graded``, with skin held.

        ``graded`` is all that the look does, ``plain`` its exposure, the cast it keeps and its curve,
        ``balanced`` its exposure and the whole balance; scene light to scene light each. ``brighter`` is the
        factor of the look's exposure if the picture is shown channel by channel, and the look has an exposure
        or a curve; else None.
        """
        held = self.hold if brighter is not None or not _same(graded, plain) else 0.0
        if not held and not self.daylight:
            return tuple(graded)
        around = _around(join(graded, end=OKLAB), join(plain, end=OKLAB), join(balanced, end=OKLAB))
        before, by_channel = (1.0, 0.0) if brighter is None else (brighter ** (-1 / 3), 1.0)
        return (Step(around, (held, self.daylight, before, by_channel), WORKING, OKLAB),)


def skin_weight(scene: ArrayLike) -> Array:
    """How much of the hold a colour gets, 0 to 1 (...), of balanced scene light (..., 3), linear BT.2020.

    >>> from lookdev.looks.stages.skin import skin_weight
    >>> skin_weight([0.18, 0.18, 0.18]).item()
    0.0
    """
    lab = run(OKLAB.from_working, scene)
    channels = tuple(np.ascontiguousarray(lab[..., k]).reshape(-1) for k in range(3))
    return run([Step(_weigh)], np.stack(channels, axis=-1))[..., 0].reshape(lab.shape[:-1])


def _same(one: Sequence[Step], other: Sequence[Step]) -> bool:
    return len(one) == len(other) == in_common(one, other)


def _around(graded: tuple[Step, ...], plain: tuple[Step, ...], balanced: tuple[Step, ...]) -> _Around:
    both = in_common(graded, plain)
    return _Around(graded[:both], graded[both:], plain[both:], balanced)


@dataclass(frozen=True)
class _Around:
    """The kernel of it: lists, each on the block or on a copy, and a mix.

    A look without a shift of its own begins as what it is held to does, up to its curve: that is done once.
    """

    both: tuple[Step, ...]
    graded: tuple[Step, ...]
    plain: tuple[Step, ...]
    balanced: tuple[Step, ...]

    def __call__(
        self, x: Array, y: Array, z: Array, hold: float, daylight: float, before: float, by_channel: float
    ) -> None:
        mixer: Callable[..., object] = _mix
        skin = _through(self.balanced, x, y, z)
        for step in self.both:
            step.kernel(x, y, z, *step.numbers)
        plain = _through(self.plain, x, y, z)
        for step in self.graded:
            step.kernel(x, y, z, *step.numbers)
        mixer(x, y, z, *plain, *skin, hold, daylight, before, by_channel)


def _through(steps: Sequence[Step], x: Array, y: Array, z: Array) -> tuple[Array, Array, Array]:
    copies = (x.copy(), y.copy(), z.copy())
    for step in steps:
        step.kernel(*copies, *step.numbers)
    return copies


@inlined
def _ramp(v, start, end):  # type: ignore[no-untyped-def]
    """0 to 1, straight but for its ends: of all C1 ramps between two places one of the least steep."""
    t = min(max((v - start) * (1.0 / (end - start)), 0.0), 1.0)
    into, out = min(t, _EASE), max(t - (1.0 - _EASE), 0.0)
    bent = (into * into - out * out) * (1.0 / (2.0 * _EASE))
    return (bent + (t - into)) * (1.0 / (1.0 - _EASE))


@inlined
def _off_line(ratio, a, b):  # type: ignore[no-untyped-def]
    """Degrees of hue from the line of skins, -180 to 180 about."""
    return angle(b, a) * (1.0 / _DEGREE) - (_LINE_HUE - _LINE_BEND / (ratio * ratio + _LINE_EASE))


@inlined
def _weight(lightness, ratio, off):  # type: ignore[no-untyped-def]
    """Of balanced light: Oklab lightness, chroma by lightness, degrees from the line."""
    w = _ramp(off, -_OFF_LOW - _FADE_LOW, -_OFF_LOW) * (1.0 - _ramp(off, _OFF_HIGH, _OFF_HIGH + _FADE_HIGH))
    w *= _ramp(ratio, _CHROMA_NONE, _CHROMA_LOW) * (1.0 - _ramp(ratio, _CHROMA_HIGH, _CHROMA_END))
    shade = _ramp(lightness, _LIGHT_NONE, _LIGHT_LOW)
    return w * shade * (1.0 - _ramp(lightness, _LIGHT_HIGH, _LIGHT_END))


@compiled
def _weigh(x, y, z):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        ratio = np.sqrt(y[i] * y[i] + z[i] * z[i]) / max(x[i], 1e-6)
        x[i] = _weight(x[i], ratio, _off_line(ratio, y[i], z[i]))


@inlined
def _shown_share(lightness):  # type: ignore[no-untyped-def]
    """What rendering by channels leaves of a weak colour's chroma over lightness, at an Oklab lightness of
    scene light: the slope of the curve in stops per stop."""
    light = min(lightness * lightness * lightness, SCENE_WHITE)
    over = max(light - MID_GREY, 0.0)
    bent = 1.0 + BEND * over
    return light / (bent * (MID_GREY * bent + over)) if light > MID_GREY else 1.0


@compiled
def _mix(x, y, z, px, py, pz, bx, by, bz, hold, daylight, before, by_channel):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        lightness = max(bx[i], 1e-6)
        ratio = np.sqrt(by[i] * by[i] + bz[i] * bz[i]) / lightness
        off = _off_line(ratio, by[i], bz[i])
        weight = _weight(lightness, ratio, off)
        scale = max(x[i], 0.0) / max(px[i], 1e-6)  # chroma goes with lightness, as under any exposure
        more = _shown_share(bx[i] * before) / _shown_share(x[i]) - 1.0
        bleached = 0.5 * (more + np.sqrt(more * more + _SOFT * _SOFT) - _SOFT)  # not its contrary
        scale *= 1.0 + by_channel * bleached
        share = hold * weight
        a = y[i] + share * (py[i] * scale - y[i])
        b = z[i] + share * (pz[i] * scale - z[i])
        outside = off - _NEAR * off / np.sqrt(off * off + _NEAR * _NEAR)
        outside /= np.sqrt(1.0 + off * off / (_FAR * _FAR))
        turn = -daylight * weight * outside * _DEGREE
        c, s = cosine(turn), sine(turn)
        y[i], z[i] = a * c - b * s, a * s + b * c
