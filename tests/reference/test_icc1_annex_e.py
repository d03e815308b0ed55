"""Chromatic adaptation: ICC.1:2010 annex E (linear Bradford), CIE 159:2004 (CAT02), CIE 248:2022 (CAT16)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.adaptation import (
    CONE_MATRICES,
    adaptation_matrix,
    cone_response,
    xy_from_xyz,
    xyz_from_xy,
)
from lookdev.colorimetry.library import colour_science

D65, D50 = (0.3127, 0.3290), (0.3457, 0.3585)


def test_bradford_matrix() -> None:
    # ICC.1:2010 annex E, equation E.2
    printed = [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    assert CONE_MATRICES["Bradford"].tolist() == printed


def test_d65_to_d50() -> None:
    # ICC profiles of sRGB carry this `chad` (D65 to the D50 of the profile connection space); also
    # ICC.1:2010 annex E as commonly reprinted. Whites there: XYZ 0.9642, 1, 0.8249 and 0.9505, 1, 1.0891.
    printed = [[1.0479, 0.0229, -0.0502], [0.0296, 0.9904, -0.0171], [-0.0092, 0.0151, 0.7517]]
    whites = [xy_from_xyz(v) for v in ([0.9505, 1.0, 1.0891], [0.9642, 1.0, 0.8249])]
    assert np.abs(adaptation_matrix(*whites) - printed).max() < 1.5e-4


@pytest.mark.parametrize("method", ["Bradford", "CAT02", "CAT16"])
def test_second_opinion_by_colour_science(method: str) -> None:
    expected = colour_science().adaptation.matrix_chromatic_adaptation_VonKries(
        xyz_from_xy((0.4476, 0.4074)), xyz_from_xy(D65), method
    )
    assert np.abs(adaptation_matrix((0.4476, 0.4074), D65, method) - expected).max() < 1e-12


WHITE = st.tuples(st.floats(0.22, 0.55), st.floats(0.25, 0.42)).filter(
    lambda xy: min(cone_response(xy, m).min() for m in CONE_MATRICES) > 1e-3
)


@given(WHITE, WHITE, st.sampled_from(sorted(CONE_MATRICES)))
def test_there_and_back(one: tuple, two: tuple, method: str) -> None:
    there, back = adaptation_matrix(one, two, method), adaptation_matrix(two, one, method)
    assert np.abs(there @ xyz_from_xy(one) - xyz_from_xy(two)).max() < 1e-11 * np.abs(there).max()
    assert np.abs(back @ there - np.eye(3)).max() < 1e-10 * np.abs(back).max() * np.abs(there).max()


def test_a_white_that_cannot_be_adapted_is_refused() -> None:
    with pytest.raises(ValueError, match="positive cone"):
        adaptation_matrix((0.5736, 0.4262), D65)  # low-pressure sodium, 589 nm: no blue response at all
