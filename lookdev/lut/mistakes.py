"""The usual mistakes in loading a LUT, and what the check frame's tell-tale patches read after each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import ACESCCT, BT709, NARROW_BLACK, NARROW_WHITE, Encoding
from lookdev.looks.model import Look
from lookdev.looks.rendering import MID_GREY, lift_curve, render_curve
from lookdev.lut.check_frame import Patch, code, read_trilinear
from lookdev.lut.cube import CubeLut

Array = NDArray[np.float64]

_TELL_STOPS = (-4.0, 0.0, 2.0)
_TELL_CHART = (("dark skin", "light skin", "orange"), ("blue sky", "purplish blue"))
_APART = 0.02  # of the axis: nearer than that, a colour at a point has become a grey


@dataclass(frozen=True)
class WrongAnswer:
    """A usual mistake, what it means, and the 10-bit codes that the tell-tale patches then read."""

    sign: str
    meaning: str
    codes: tuple[tuple[int, int, int], ...]


def tell_tales(patches: Sequence[Patch], source: Encoding) -> list[Patch]:
    """Five patches that tell mistakes apart, all at points of the LUT, so that every reader gives the same.

    The grey steps nearest to mid grey, 4 stops under it and 2 stops over it, and two colours of the chart.
    """
    ramp = [p for p in patches if p.group == "grey ramp"]
    light = np.repeat(MID_GREY * 2.0 ** np.array(_TELL_STOPS)[:, None], 3, axis=1)
    codes = source.from_working(render_curve(light) if source.state == "output" else light)[:, 0]
    greys = [min(ramp, key=lambda p: abs(float(p.signal[0]) - float(c))) for c in codes]
    by_name = {
        p.name.removesuffix(", at a point"): p for p in patches if p.group == "chart colours at points"
    }
    chart = []
    for names in _TELL_CHART:
        coloured = [by_name[n] for n in names if np.ptp(by_name[n].signal) > _APART]
        chart.append(coloured[0] if coloured else by_name[names[-1]])
    return list(dict.fromkeys([*greys, *chart]))


def wrong_answers(
    patches: Sequence[Patch], lut: CubeLut, source: Encoding, target: Encoding
) -> tuple[list[Patch], WrongAnswer, list[WrongAnswer]]:
    """The tell-tale patches, what they must read, and what they read after each usual mistake."""
    tells = tell_tales(patches, source)
    x = np.stack([p.signal for p in tells])
    right = _answer("as it must be", "loaded right", lut(x))
    trilinear = _answer("as it must be", "loaded right, by a trilinear reader", read_trilinear(lut, x))
    others = [trilinear] if trilinear.codes != right.codes else []
    return tells, right, [*others, *_mistakes(x, lut, source, target)]


def _answer(sign: str, meaning: str, out: Array) -> WrongAnswer:
    rows = [tuple(code(float(v), 10) for v in row) for row in out]
    return WrongAnswer(sign, meaning, tuple((r[0], r[1], r[2]) for r in rows))


def _mistakes(x: Array, lut: CubeLut, source: Encoding, target: Encoding) -> Iterator[WrongAnswer]:
    yield _answer("unchanged", "the LUT is not on", x)
    span = NARROW_WHITE - NARROW_BLACK
    if not source.is_linear:
        stretched, squeezed = lut((x - NARROW_BLACK) / span), lut(NARROW_BLACK + x * span)
        yield _answer("too contrasty", "range in: 64-940 stretched to full before the LUT", stretched)
        yield _answer("too flat", "range in: squeezed to 64-940 before the LUT", squeezed)
    if not target.is_linear:
        lifted = NARROW_BLACK + lut(x) * span
        yield _answer("lifted blacks", "range out: squeezed to 64-940 after the LUT", lifted)
    other = BT709 if source.state == "scene" else ACESCCT
    light = source.to_working(x)
    light = render_curve(light) if source.state == "scene" else lift_curve(light, source.peak)
    converted = np.clip(other.from_working(light), 0.0, 1.0)
    yield _answer(
        "wrong colour and contrast", f"order or encoding: made {other.name} before the LUT", lut(converted)
    )
    if source.state == "scene" and target.state == "output":
        shown = Look(title="plain").transform(source, target)(np.clip(lut(x), 0.0, 1.0))
        yield _answer("far too contrasty", f"order: shown as {target.name} once more after the LUT", shown)
    yield _answer("the look twice", "order: the LUT is on twice", lut(np.clip(lut(x), 0.0, 1.0)))
    swapped = x[:, ::-1]
    yield _answer(
        "wrong hues", "channels: red and blue swapped before the LUT, or its table so", lut(swapped)
    )
    yield _answer("red is blue", "channels: red and blue swapped after the LUT", lut(x)[:, ::-1])
    if lut.shaper is not None:
        bare = replace(lut, shaper=None)
        yield _answer("dark and harsh", "the LUT's shaper (its 1D table) is left out", bare(np.clip(x, 0, 1)))
