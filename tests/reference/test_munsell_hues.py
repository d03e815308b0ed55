"""The ten Munsell families as Oklab hues, from the renotation data of ASTM D1535 (in colour-science)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.munsell import (
    FAMILIES,
    FAMILY_HUE_DEGREES,
    family_weights,
    hue_degrees,
    parse_hue,
)
from lookdev.colorimetry.oklab import oklab_from_xyz
from lookdev.colorimetry.rgb_spaces import D65_XY


@pytest.mark.parametrize("family", FAMILIES)
def test_angle_is_that_of_the_renotation(family: str) -> None:
    colour = colour_science()
    c_xy = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]
    to_d65 = adaptation_matrix(c_xy, D65_XY)
    angles = []
    for (hue, value, chroma), (x, y, big_y) in colour.MUNSELL_COLOURS["Munsell Colours Real"]:
        if hue == f"5{family}" and 4 <= value <= 7 and 4 <= chroma <= 8:
            xyz = np.array([x / y, 1.0, (1 - x - y) / y]) * big_y / 100
            lab = oklab_from_xyz(to_d65 @ xyz)
            angles.append(np.arctan2(lab[2], lab[1]))
    assert len(angles) >= 8
    mean = np.degrees(np.angle(np.mean(np.exp(1j * np.array(angles))))) % 360
    assert mean == pytest.approx(FAMILY_HUE_DEGREES[FAMILIES.index(family)], abs=0.1)
    spread = (np.degrees(angles) - mean + 180) % 360 - 180
    assert np.abs(spread).max() < 4.5


@given(st.floats(-20, 20))
def test_weights_are_a_partition_of_one(hue: float) -> None:
    weights = family_weights(np.array(hue))
    assert weights.shape == (10,)
    assert weights.min() >= 0
    assert weights.sum() == pytest.approx(1, abs=1e-12)
    assert np.count_nonzero(weights > 1e-12) <= 2
    assert np.abs(family_weights(np.array(hue + 2 * np.pi)) - weights).max() < 1e-9


def test_weight_is_one_at_each_middle_and_smooth() -> None:
    at = family_weights(np.radians(np.array(FAMILY_HUE_DEGREES)))
    assert np.abs(at - np.eye(10)).max() < 1e-12
    hue = np.radians(np.linspace(0, 360, 36_001))
    slope = np.diff(family_weights(hue), axis=0) / (hue[1] - hue[0])
    assert np.abs(np.diff(slope, axis=0)).max() < 0.02  # no kink: a step of the slope would be near 2


@pytest.mark.parametrize(("text", "step"), [("5R", 5), ("R", 5), (" 10rp ", 100), ("2.5 YR", 12.5)])
def test_parse(text: str, step: float) -> None:
    assert parse_hue(text) == step


@pytest.mark.parametrize("text", ["", "5", "11R", "5Q", "-5R", "5RR", "nan", "5R 4/6", "٥R\u0000"])
def test_parse_refuses(text: str) -> None:
    with pytest.raises(ValueError, match="Munsell hue"):
        parse_hue(text)


def test_hue_degrees_goes_round_without_a_jump() -> None:
    names = [f"{step}{family}" for family in FAMILIES for step in (2.5, 5, 7.5, 10)]
    around = np.unwrap(np.radians([hue_degrees(n) for n in names]))
    assert np.all(np.diff(around) > 0)
    assert around[-1] - around[0] < 2 * np.pi
    assert hue_degrees("10RP") == pytest.approx(hue_degrees("0R"))
