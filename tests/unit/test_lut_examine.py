"""Examination and inspection: faults that are put into a LUT are found, and sound LUTs have none."""

from __future__ import annotations

import numpy as np
import pytest

from lookdev.colorimetry.encodings import ACESCCT, SRGB
from lookdev.looks.model import Look
from lookdev.lut.bake import bake_cube
from lookdev.lut.cube import CubeLut, identity_cube
from lookdev.lut.examine import examine
from lookdev.lut.guess import guesses
from lookdev.lut.inspection import against, inspection
from lookdev.lut.report import examination_lines
from lookdev.lut.words import colour_words, plain_words, share_words

PLAIN = Look(title="plain")


def test_the_identity_has_no_fault() -> None:
    found = examine(identity_cube(33), SRGB, SRGB)
    assert found.grey.is_monotonic and found.grey.tint == 0
    assert found.grey.largest_step == pytest.approx(1.0, abs=1e-6)
    assert (found.grey.black_up_to, found.grey.white_from) == (0.0, 1.0)
    assert found.axis_falls == 0 and not found.clipping.outside
    assert max(h.swing_degrees for h in found.hues) < 1.0


def test_a_reversal_is_found_where_it_is() -> None:
    table = identity_cube(33).table.copy()
    table[20, 20, 20, 1] -= 0.1
    found = examine(CubeLut(table))
    (turn,) = found.grey.turns
    assert turn[2] == "green" and turn[0] < 20 / 32 and turn[1] == pytest.approx(20 / 32, abs=0.002)
    assert found.axis_falls > 0 and found.deepest_fall == pytest.approx(0.1 - 1 / 32)
    assert "turns back once, most in green" in dict(examination_lines(found))["turns"]


def test_clipping_and_values_beyond() -> None:
    found = examine(CubeLut(identity_cube(17).table * 1.5 - 0.2))
    assert found.clipping.outside and found.clipping.lowest == pytest.approx(-0.2)
    assert found.clipping.highest == pytest.approx(1.3) and found.clipping.at_white > 0.4
    table = np.clip(identity_cube(65).table * 1.5 - 0.25, 0, 1)
    grey = examine(CubeLut(table)).grey
    assert grey.black_up_to == pytest.approx(1 / 6, abs=0.02) and grey.white_from == pytest.approx(
        5 / 6, abs=0.02
    )


def test_banding_and_tint() -> None:
    table = np.round(identity_cube(33).table * 8) / 8
    table[..., 2] += 0.03
    grey = examine(CubeLut(table)).grey
    assert grey.largest_step > 3.9 and grey.tint == pytest.approx(0.03, abs=1e-9)


def test_marks_of_the_file_say_the_range() -> None:
    marked = inspection(CubeLut(identity_cube(9).table, flags=("LUT_IN_VIDEO_RANGE",)))
    assert marked.range_in == "narrow" and "LUT_IN_VIDEO_RANGE" in marked.range_reasons[0]


def test_a_lut_against_its_look_and_another() -> None:
    grade = Look.model_validate({"title": "g", "colour": {"saturation": 0.5}})
    lut = bake_cube(grade.transform(SRGB, SRGB), 33)
    assert against(lut, grade.transform(SRGB, SRGB))[1].p95 < 0.3
    assert against(lut, PLAIN.transform(SRGB, SRGB))[1].mean > 3


def test_inverted_lut_is_no_known_encoding() -> None:
    assert "no known encoding" in guesses(CubeLut(1.0 - identity_cube(17).table)).words()


@pytest.mark.parametrize(
    ("lab", "words"),
    [
        ((50, 0, 0), "mid grey"),
        ((99, 0, 0), "near-white"),
        ((2, 0, 1), "near-black"),
        ((53, 80, 67), "mid vivid red"),
        ((88, -86, 83), "light vivid green"),
        ((97, -22, 94), "light vivid yellow"),
        ((60, 10, 20), "mid orange"),
    ],
)
def test_colours_in_words(lab: tuple[float, float, float], words: str) -> None:
    assert colour_words(lab) == words


def test_looks_in_plain_words() -> None:
    look = Look.model_validate(
        {
            "title": "t",
            "exposure": {"stops": -0.4},
            "balance": {"keep": 0.35, "mired": -12.0},
            "colour": {"saturation": 0.52, "families": {"YR": {"chroma": 0.85, "hue_deg": -4.0}}},
        }
    )
    assert plain_words(look) == [
        "0.4 stop under",
        "about a third of the metered cast kept",
        "then 12 mired cooler",
        "about half of the colour left",
        "oranges down 15%, turned 4° back in hue",
    ]
    assert plain_words(Look(title="n")) == ["nothing changed"]
    assert (share_words(0.02), share_words(0.98), share_words(0.5)) == ("hardly any", "nearly all", "half")


def test_acescct_hue_is_examined_through_the_look() -> None:
    found = examine(bake_cube(PLAIN.transform(ACESCCT, SRGB), 33), ACESCCT, SRGB)
    assert {h.ramp for h in found.hues} == {"red", "yellow", "green", "cyan", "blue", "magenta"}
    assert found.clipping.pictures_at_white is not None
