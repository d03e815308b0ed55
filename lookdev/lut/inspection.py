"""What a LUT that came in seems to expect, and how far it is from a look.

A .cube names neither its encodings nor its code range. They are guessed from what it does to grey: each known
transfer function, followed by the plain rendering to a display with some exposure and contrast, predicts a
curve, and the nearest one wins. It stays a guess, and says how near it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import (
    NARROW_BLACK,
    NARROW_WHITE,
    Encoding,
    encoding_names,
    get_encoding,
)
from lookdev.colorimetry.log_encodings import pairs
from lookdev.colorimetry.transfer_functions import bt1886_encode
from lookdev.looks.pipeline import Transform
from lookdev.looks.rendering import MID_GREY, lift_curve, render_curve
from lookdev.lut.cube import CubeLut
from lookdev.lut.error import Difference, appearance, difference, picture_inputs, trial_inputs
from lookdev.lut.examine import GreyAxis, grey_axis, grey_inputs

Array = NDArray[np.float64]

_STOPS = np.arange(-2.0, 2.01, 0.25)
_CONTRASTS = np.arange(0.7, 1.61, 0.1)
_LUMA = np.array([0.2126, 0.7152, 0.0722])
NEAR = 0.03
"""Root mean square, of a full scale of 1, under which a guess is worth acting on."""


@dataclass(frozen=True)
class Likeness:
    """An encoding that the LUT may take, the rms from its prediction, and the exposure and contrast in it."""

    names: tuple[str, ...]
    rms: float
    stops: float
    contrast: float

    @property
    def curve(self) -> str:
        """The transfer function alone: grey says nothing of primaries."""
        return transfer_name(self.names[0])


def transfer_name(name: str) -> str:
    """The transfer function's own name in that of an encoding.

    >>> transfer_name("S-Log3 S-Gamut3.Cine")
    'S-Log3'
    """
    return pairs()[name][0] if name in pairs() else name


@dataclass(frozen=True)
class Guess:
    """What the LUT seems to expect: ``likenesses`` nearest first; ranges are full or narrow."""

    likenesses: tuple[Likeness, ...]
    range_in: str
    range_out: str
    reasons: tuple[str, ...]

    def words(self) -> str:
        """One line."""
        best = self.likenesses[0]
        if best.rms > NEAR:
            return "no known encoding predicts this LUT's grey: ask who made it"
        near = [like for like in self.likenesses[1:] if like.rms < 1.5 * best.rms + 0.003]
        also = f"; nearly as near: {', '.join(like.curve for like in near)}" if near else ""
        return f"its grey is most like {best.curve} (rms {best.rms:.3f}){also}"

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        return {
            "input_most_like": [
                {
                    "names": list(like.names),
                    "rms": round(like.rms, 4),
                    "stops": round(like.stops, 2),
                    "contrast": round(like.contrast, 2),
                }
                for like in self.likenesses
            ],
            "range_in": self.range_in,
            "range_out": self.range_out,
            "reasons": list(self.reasons),
        }


def guess(lut: CubeLut) -> Guess:
    """What ``lut`` seems to expect, from its grey axis."""
    grey = grey_axis(lut, grey_inputs(lut))
    reasons = []
    range_in, range_out = _ranges(grey)
    for mark in lut.flags:
        reasons.append(f"the file says {mark}")
        range_in = "narrow" if mark == "LUT_IN_VIDEO_RANGE" else range_in
        range_out = "narrow" if mark == "LUT_OUT_VIDEO_RANGE" else range_out
    if range_in == "narrow" and not lut.flags:
        reasons.append("grey stands still below code 64 and above 940 of 1023")
    if range_out == "narrow" and not lut.flags:
        reasons.append("output runs from code 64 to 940 of 1023")
    if max(lut.input_max) > 1.5:
        reasons.append(f"takes values up to {max(lut.input_max):g}, so its input is scene-linear light")
    x, luma = grey.inputs, grey.outputs @ _LUMA
    span = NARROW_WHITE - NARROW_BLACK
    if range_in == "narrow":
        x = (x - NARROW_BLACK) / span
    if range_out == "narrow":
        luma = (luma - NARROW_BLACK) / span
    inside = (x >= 0) & (x <= 1)
    shown = np.clip(luma, 0.0, 1.0)  # points under black are there for the lines between points
    likenesses = _likenesses(x[inside][::8], shown[inside][::8])
    return Guess(tuple(likenesses[:6]), range_in, range_out, tuple(reasons))


def _ranges(grey: GreyAxis) -> tuple[str, str]:
    low, high = float(grey.outputs.min()), float(grey.outputs.max())
    close = 3.0 / 1023
    black = low if low >= NARROW_BLACK - close or abs(low) < close else NARROW_BLACK  # points under black
    narrow_out = abs(black - NARROW_BLACK) < close and abs(high - NARROW_WHITE) < close
    narrow_in = (
        abs(grey.black_up_to - NARROW_BLACK) < 2 * close and abs(grey.white_from - NARROW_WHITE) < 2 * close
    )
    return ("narrow" if narrow_in else "full"), ("narrow" if narrow_out else "full")


def _likenesses(x: Array, luma: Array) -> list[Likeness]:
    by_curve: dict[object, list[str]] = {}
    for name in encoding_names():
        encoding = get_encoding(name)
        by_curve.setdefault(encoding.decode, []).append(name)
    found = []
    for names in by_curve.values():
        encoding = get_encoding(names[0])
        if encoding.name.startswith("Linear") or encoding.name in ("ACEScg", "ACES2065-1", "Gamma 2.6"):
            continue
        light = encoding.decode(np.repeat(x[:, None], 3, axis=1))[:, 1]
        scene = lift_curve(light) if encoding.state == "output" else light
        rms, stops, contrast = _nearest(scene, luma)
        found.append(Likeness(tuple(names), rms, stops, contrast))
    return sorted(found, key=lambda like: (round(like.rms, 5), like.names))


def _nearest(scene: Array, luma: Array) -> tuple[float, float, float]:
    """Least rms, with a little against unusual exposure and contrast so that plain answers win."""
    best = (np.inf, 0.0, 1.0)
    above = np.maximum(scene, 0.0) / MID_GREY
    for stops in _STOPS:
        for contrast in _CONTRASTS:
            shown = render_curve(MID_GREY * (above * 2.0**stops) ** contrast)
            rms = float(np.sqrt(np.mean((bt1886_encode(np.clip(shown, 0, 1)) - luma) ** 2)))
            rms += 0.004 * abs(float(stops)) + 0.02 * abs(float(contrast) - 1.0)
            best = min(best, (rms, float(stops), float(contrast)))
    return best


def against(lut: CubeLut, transform: Transform) -> tuple[Difference, Difference]:
    """CIEDE2000 of a LUT against a look between the same encodings: whole cube, and picture colours."""
    whole = trial_inputs(lut.size if lut.kind == "3D" else 17, lut.input_min, lut.input_max)
    out = []
    for inputs in (whole, picture_inputs(transform.source)):
        deltas = ciede2000(
            appearance(transform(inputs), transform.target),
            appearance(
                np.clip(lut(inputs), 0.0, 1.0) if _shown(transform.target) else lut(inputs), transform.target
            ),
        )
        out.append(difference(inputs, deltas))
    return out[0], out[1]


def _shown(target: Encoding) -> bool:
    return target.state == "output"
