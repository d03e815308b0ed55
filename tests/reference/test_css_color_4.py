"""Oklab: W3C CSS Color Module Level 4, 9.2, and the pairs that Ottosson published in 2020."""

from __future__ import annotations

import numpy as np
import pytest
from coloraide import Color
from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.oklab import (
    oklab_from_working,
    oklab_from_xyz,
    working_from_oklab,
    xyz_from_oklab,
)


# B. Ottosson, "A perceptual color space for image processing", 2020: table of XYZ and Oklab, three decimals.
@pytest.mark.parametrize(
    ("xyz", "lab"),
    [
        ([0.950, 1.000, 1.089], [1.000, 0.000, 0.000]),
        ([1.000, 0.000, 0.000], [0.450, 1.236, -0.019]),
        ([0.000, 1.000, 0.000], [0.922, -0.671, 0.263]),
        ([0.000, 0.000, 1.000], [0.153, -1.415, -0.449]),
    ],
)
def test_ottosson(xyz: list, lab: list) -> None:
    assert np.abs(oklab_from_xyz(xyz) - lab).max() < 0.6e-3


# CSS Color 4, 9.2 examples and section 4.3 colours, as web-platform tests give them (from memory, checked
# against coloraide below): sRGB red, lime, blue in Oklab.
@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ([1, 0, 0], [0.62796, 0.22486, 0.12585]),
        ([0, 1, 0], [0.86644, -0.23389, 0.17950]),
        ([0, 0, 1], [0.45201, -0.03246, -0.31153]),
        ([1, 1, 1], [1.0, 0.0, 0.0]),
    ],
)
def test_css_primaries(rgb: list, lab: list) -> None:
    assert np.abs(oklab_from_working(SRGB.to_working(rgb)) - lab).max() < 1e-5
    assert np.abs(np.array(Color("srgb", rgb).convert("oklab").coords()) - lab).max() < 1e-5


def test_second_opinion_by_coloraide() -> None:
    for rgb in np.random.default_rng(4).uniform(-0.1, 2.0, (100, 3)):
        expected = Color("rec2020-linear", list(rgb)).convert("oklab").coords()
        assert np.abs(oklab_from_working(rgb) - expected).max() < 1e-6


@given(st.lists(st.floats(-10, 100), min_size=3, max_size=3))
def test_there_and_back(values: list) -> None:
    scale = 1 + np.abs(values).max()
    assert np.abs(working_from_oklab(oklab_from_working(values)) - values).max() < 1e-12 * scale
    assert np.abs(xyz_from_oklab(oklab_from_xyz(values)) - values).max() < 1e-12 * scale


def test_no_chroma_is_exactly_neutral() -> None:
    lightness = np.linspace(-0.5, 2, 101)
    rgb = working_from_oklab(np.stack([lightness, 0 * lightness, 0 * lightness], axis=-1))
    assert np.ptp(rgb, axis=-1).max() < 1e-6
    assert np.allclose(rgb[..., 1], lightness**3, atol=1e-6)
