"""The proof of an exported LUT: all the numbers that the page and proof.json carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.colorimetry.rgb_spaces import WORKING
from lookdev.looks.pipeline import LookLike
from lookdev.looks.rendering import MID_GREY, render_curve
from lookdev.lut.bake import CubeReport
from lookdev.lut.cdl import CdlFit
from lookdev.lut.check_frame import (
    CheckValues,
    Patch,
    chart_signals,
    check_patches,
    check_values,
    draw_frame,
    frame_signal,
)
from lookdev.lut.cube import CubeLut
from lookdev.lut.error import Difference, appearance
from lookdev.lut.examine import Examination, examine, hue_drifts
from lookdev.lut.mistakes import WrongAnswer, wrong_answers
from lookdev.lut.words import colour_words

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Proof:
    """One look's LUT, examined.

    Attributes
    ----------
    curve_stops, curve_look, curve_lut : (n,), (n, 3), (n, 3): grey in stops from mid grey, signal out.
    chart_before_xy, chart_after_xy : (24, 2): the chart's chromaticities, shown plainly and through the look.
    frame_after : (270, 480, 3), the check frame's signal after the LUT, small.
    worst_words : the colour on which the LUT is farthest from the look, in words.
    """

    title: str
    words: str
    source: Encoding
    target: Encoding
    cube: str
    size: int
    whole: Difference
    picture: Difference
    examination: Examination
    patches: tuple[Patch, ...]
    values: CheckValues
    frame_after: NDArray[np.float64]
    tells: tuple[Patch, ...]
    right: WrongAnswer
    wrong: tuple[WrongAnswer, ...]
    cdl: CdlFit
    others: tuple[CubeReport, ...]
    curve_stops: Array
    curve_look: Array
    curve_lut: Array
    chart_before_xy: Array
    chart_after_xy: Array
    worst_words: str

    def numbers(self) -> dict[str, object]:
        """proof.json."""
        return {
            "look": self.title,
            "does": self.words,
            "encoding_in": self.source.name,
            "encoding_out": self.target.name,
            "cube": self.cube,
            "size": self.size,
            "error_unit": "CIEDE2000 against the look in float64, tetrahedral interpolation",
            "error_whole_cube": self.whole.numbers(),
            "error_picture_colours": self.picture.numbers(),
            "largest_on": self.worst_words,
            **self.examination.numbers(),
            "trilinear_differs_by_10bit_codes": round(self.values.trilinear_codes, 2),
            "cdl": self.cdl.numbers(),
            "other_cubes": [report.numbers() for report in self.others],
            "tell_tale_patches": {
                "patches": [p.name for p in self.tells],
                self.right.sign: [list(c) for c in self.right.codes],
                **{w.meaning: [list(c) for c in w.codes] for w in self.wrong},
            },
        }


def curve_top_stops(target: Encoding) -> float:
    """How far over mid grey the curve goes: a little past white, or as far as log encodings go."""
    return 10.5 if target.peak > 1.0 else 4.5


def prove(
    look: LookLike,
    source: Encoding,
    target: Encoding,
    report: CubeReport,
    cdl: CdlFit,
    others: Sequence[CubeReport] = (),
) -> Proof:
    """Examine the LUT of ``report`` against ``look``."""
    transform = look.transform(source, target)
    lut = report.lut
    patches = check_patches(source)
    tells, right, wrong = wrong_answers(patches, lut, source, target)
    found = replace(examine(lut, source, target), hues=hue_drifts(transform, source, target))
    top = curve_top_stops(target)
    stops = np.linspace(-9.0, top, round(20 * (top + 9)) + 1)
    grey = np.repeat((MID_GREY * 2.0**stops)[:, None], 3, axis=1)
    signal = source.from_working(render_curve(grey) if source.state == "output" else grey)
    inside = (signal.min(axis=1) >= min(lut.input_min) - 1e-9) & (
        signal.max(axis=1) <= max(lut.input_max) + 1e-9
    )
    stops, signal = stops[inside], signal[inside]
    chart = np.stack([value for _, value in chart_signals(source)])
    worst = np.array(report.whole.worst_input)
    return Proof(
        look.title,
        look.describe(),
        source,
        target,
        report.path.name,
        lut.size,
        report.whole,
        report.picture,
        found,
        tuple(patches),
        check_values(patches, lut, transform),
        _frame_after(patches, lut, source),
        tuple(tells),
        right,
        tuple(wrong),
        cdl,
        tuple(others),
        stops,
        np.asarray(transform(signal)),
        np.asarray(lut(signal)),
        _shown_xy(chart, source),
        _shown_xy(np.asarray(transform(np.clip(chart, 0, None))), target),
        colour_words(appearance(worst, source)),
    )


def _frame_after(patches: Sequence[Patch], lut: CubeLut, source: Encoding) -> Array:
    """The check frame through the LUT at a quarter of its size: signal (270, 480, 3)."""
    return np.clip(lut(frame_signal(draw_frame(patches, source)[2::4, 2::4])), 0.0, 1.0)


def _shown_xy(signal: Array, encoding: Encoding) -> Array:
    light = encoding.to_working(signal)
    if encoding.state == "scene":
        light = render_curve(light)
    xyz = np.maximum(light @ WORKING.to_xyz.T, 1e-9)
    return np.asarray(xyz[:, :2] / xyz.sum(axis=1, keepdims=True))
