"""The examination of a LUT: what it does to grey, where it clips, turns back or bands, how hues drift.

One examination serves the proof of a LUT that goes out and the inspection of one that comes in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.colorimetry.oklab import oklab_from_working, working_from_oklab
from lookdev.colorimetry.rgb_spaces import BT709, WORKING, matrix_between
from lookdev.looks.rendering import lift_curve, render_curve
from lookdev.lut.cube import CubeLut
from lookdev.lut.error import picture_inputs

Array = NDArray[np.float64]
SignalFunction = Callable[[Array], Array]

GREY_CODES = 1024
_TURN = 1e-5
_EDGE = 0.5 / 1023
_HUES = {"red": 29.2, "yellow": 109.8, "green": 142.5, "cyan": 194.8, "blue": 264.1, "magenta": 328.4}
"""Oklab hue angles of the BT.709 primaries and secondaries (CSS Color 4, sRGB to Oklab)."""


@dataclass(frozen=True)
class GreyAxis:
    """What happens to equal red, green and blue, code by 10-bit code.

    ``inputs`` (n,), ``outputs`` (n, 3). ``largest_step`` in output codes of 1023 between neighbouring input
    codes, at input ``step_at``. ``turns`` are (start, end, channel, fall) where an output falls as the input
    rises. ``tint`` is the largest spread between the channels, at ``tint_at``. ``black_up_to`` and
    ``white_from`` are the inputs between which codes stay apart.
    """

    inputs: Array
    outputs: Array
    largest_step: float
    step_at: float
    turns: tuple[tuple[float, float, str, float], ...]
    tint: float
    tint_at: float
    black_up_to: float
    white_from: float

    @property
    def is_monotonic(self) -> bool:
        """Whether no channel ever falls."""
        return not self.turns


@dataclass(frozen=True)
class Clipping:
    """Shares of the table with a channel at or beyond 1 and 0, the output's extremes, and the same shares of
    picture colours where the input encoding is known."""

    at_white: float
    at_black: float
    lowest: float
    highest: float
    outside: bool
    pictures_at_white: float | None = None
    pictures_at_black: float | None = None


@dataclass(frozen=True)
class HueDrift:
    """How far a ramp from dark to light of one hue swings in Oklab hue on its way through, in degrees."""

    ramp: str
    swing_degrees: float
    turn_degrees: float


@dataclass(frozen=True)
class Examination:
    """All that was found. ``axis_falls`` counts lattice steps along which a channel's own output falls."""

    grey: GreyAxis
    clipping: Clipping
    hues: tuple[HueDrift, ...]
    axis_falls: float
    deepest_fall: float

    def numbers(self) -> dict[str, object]:
        """For proof.json and ``inspect --json``."""
        g, c = self.grey, self.clipping
        return {
            "grey": {
                "monotonic": g.is_monotonic,
                "turns_back": [
                    {"from": round(a, 4), "to": round(b, 4), "channel": ch, "fall": round(f, 6)}
                    for a, b, ch, f in g.turns
                ],
                "largest_step_10bit": round(g.largest_step, 3),
                "largest_step_at": round(g.step_at, 4),
                "largest_channel_spread": round(g.tint, 5),
                "spread_at": round(g.tint_at, 4),
                "black_up_to": round(g.black_up_to, 4),
                "white_from": round(g.white_from, 4),
                "at_0": [round(float(v), 6) for v in g.outputs[0]],
                "at_half": [round(float(v), 6) for v in g.outputs[len(g.outputs) // 2]],
                "at_1": [round(float(v), 6) for v in g.outputs[-1]],
            },
            "clipping": {
                "share_at_white": round(c.at_white, 5),
                "share_at_black": round(c.at_black, 5),
                "lowest_output": round(c.lowest, 6),
                "highest_output": round(c.highest, 6),
                "beyond_0_to_1": c.outside,
                "share_of_pictures_at_white": _rounded(c.pictures_at_white),
                "share_of_pictures_at_black": _rounded(c.pictures_at_black),
            },
            "channel_falls_share": round(self.axis_falls, 6),
            "deepest_channel_fall": round(self.deepest_fall, 6),
            "hue_drift": [
                {
                    "ramp": h.ramp,
                    "swing_degrees": round(h.swing_degrees, 2),
                    "turn_degrees": round(h.turn_degrees, 2),
                }
                for h in self.hues
            ],
        }


def _rounded(share: float | None) -> float | None:
    return None if share is None else round(share, 5)


def examine(lut: CubeLut, source: Encoding | None = None, target: Encoding | None = None) -> Examination:
    """Examine ``lut``; with its encodings, hue drift too."""
    hues = hue_drifts(lut, source, target) if source is not None and target is not None else ()
    falls, deepest = channel_falls(lut)
    return Examination(grey_axis(lut, grey_inputs(lut)), clipping(lut, source), hues, falls, deepest)


def grey_inputs(lut: CubeLut) -> Array:
    """GREY_CODES grey inputs over what the LUT takes; behind a shaper, evenly spaced by the shaper."""
    even = np.linspace(min(lut.input_min), max(lut.input_max), GREY_CODES)
    if lut.shaper is None:
        return even
    shape = lut.shaper.table[:, 1]
    if np.any(np.diff(shape) < 0):
        return even
    ends = np.linspace(lut.shaper.domain_min[1], lut.shaper.domain_max[1], len(shape))
    return np.asarray(np.interp(np.linspace(shape[0], shape[-1], GREY_CODES), shape, ends))


def grey_axis(function: SignalFunction, inputs: Array | None = None) -> GreyAxis:
    """The grey axis of a LUT or look at ``inputs`` (n,), else in GREY_CODES steps from 0 to 1."""
    x = np.linspace(0.0, 1.0, GREY_CODES) if inputs is None else inputs
    out = np.asarray(function(np.repeat(x[:, None], 3, axis=1)))
    steps = np.abs(np.diff(out, axis=0)).max(axis=1)
    at = int(np.argmax(steps))
    spread = np.ptp(out, axis=1)
    tint_at = int(np.argmax(spread))
    moving = np.flatnonzero(steps > 0.02 / 1023)
    first, last = (int(moving[0]), int(moving[-1]) + 1) if moving.size else (0, 0)
    return GreyAxis(
        x,
        out,
        float(steps[at] * 1023),
        float(x[at]),
        _turns(x, out),
        float(spread[tint_at]),
        float(x[tint_at]),
        float(x[first]),
        float(x[last]),
    )


def _turns(x: Array, out: Array) -> tuple[tuple[float, float, str, float], ...]:
    found = []
    for c, name in enumerate(("red", "green", "blue")):
        falls = np.flatnonzero(np.diff(out[:, c]) < -_TURN)
        if not falls.size:
            continue
        for run in np.split(falls, np.flatnonzero(np.diff(falls) > 1) + 1):
            start, end = int(run[0]), int(run[-1]) + 1
            found.append((float(x[start]), float(x[end]), name, float(out[start, c] - out[end, c])))
    return tuple(found)


def clipping(lut: CubeLut, source: Encoding | None = None) -> Clipping:
    """Where outputs sit at or beyond the ends of [0, 1], over the table, and over pictures in ``source``."""
    rows = lut.table.reshape(-1, 3)
    low, high = float(rows.min()), float(rows.max())
    pictures = (None, None) if source is None else _clipped(lut(picture_inputs(source)))
    return Clipping(*_clipped(rows), low, high, bool(low < -1e-6 or high > 1 + 1e-6), *pictures)


def _clipped(rows: Array) -> tuple[float, float]:
    white, black = (rows >= 1 - 1e-6).any(axis=1), (rows <= 1e-6).any(axis=1)
    return float(white.mean()), float(black.mean())


def channel_falls(lut: CubeLut) -> tuple[float, float]:
    """Share of lattice steps where a channel falls as its own input rises, and the deepest fall."""
    if lut.kind == "1D":
        steps = np.diff(lut.table, axis=0)
        return float(np.mean(steps < -_TURN)), float(max(0.0, -steps.min()))
    per_channel = [np.diff(lut.table[..., c], axis=c).ravel() for c in range(3)]
    steps = np.concatenate(per_channel)
    return float(np.mean(steps < -_TURN)), float(max(0.0, -steps.min()))


def hue_drifts(function: SignalFunction, source: Encoding, target: Encoding) -> tuple[HueDrift, ...]:
    """Six ramps from dark to light at constant Oklab hue and moderate chroma, and where their hue goes."""
    lightness = np.linspace(0.25, 0.85, 49)
    out = []
    for name, degrees in _HUES.items():
        angle = np.radians(degrees)
        chroma = 0.09
        lab = np.stack(
            [lightness, np.full(49, chroma * np.cos(angle)), np.full(49, chroma * np.sin(angle))], axis=-1
        )
        light = working_from_oklab(lab)
        signal = source.from_working(light if source.state == "output" else lift_curve(light))
        result = target.to_working(np.asarray(function(np.clip(signal, 0.0, None))))
        graded = oklab_from_working(result if target.state == "output" else render_curve(result))
        shown = light @ matrix_between(WORKING, BT709).T
        real = (shown.min(axis=1) >= 0) & (shown.max(axis=1) <= 1)
        seen = real & (np.hypot(graded[:, 1], graded[:, 2]) > 0.012)
        if seen.sum() < 5:
            continue
        turned = (np.degrees(np.arctan2(graded[seen, 2], graded[seen, 1])) - degrees + 180) % 360 - 180
        middle = float(np.median(turned))
        swing = (turned - middle + 180) % 360 - 180
        out.append(HueDrift(name, float(np.ptp(swing)), middle))
    return tuple(out)
