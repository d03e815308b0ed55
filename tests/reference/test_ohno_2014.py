"""CCT and Duv: Ohno, "Practical use and calculation of CCT and Duv", LEUKOS 10:1 (2014) 47-55."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.temperature import (
    cct_duv_from_xy,
    mired_duv_from_xy,
    uv1960_from_xy,
    uv1976_from_xy,
    xy_from_cct,
    xy_from_mired,
    xy_from_uv1960,
    xy_from_uv1976,
)


# Ohno 2014's examples as colour-science's docstring and tests give them (uv_to_CCT_Ohno2013): D65 first, then
# two far off the locus. colour-science takes its c2 from CODATA (1.43877e-2 m K); we take 1.4388e-2 m K
# (CIE 15:2018), which makes every temperature higher by 1 part in 50,000.
@pytest.mark.parametrize(
    ("uv", "cct", "duv", "kelvin"),
    [
        ((0.1978, 0.3122), 6507.4748, 0.003223346, 0.6),
        ((0.2927, 0.2722), 2444.9718, -0.084370641, 0.6),
        ((0.4328, 0.2883), 1041.6783, -0.067378053, 0.6),
    ],
)
def test_published(uv: tuple, cct: float, duv: float, kelvin: float) -> None:
    got_cct, got_duv = cct_duv_from_xy(xy_from_uv1960(uv))
    assert got_cct == pytest.approx(cct, abs=kelvin)
    assert got_duv == pytest.approx(duv, abs=2e-6)


@pytest.mark.parametrize("cct", [1000, 1667, 2000, 2856, 3200, 5000, 6504, 10000, 20000])
@pytest.mark.parametrize("duv", [-0.02, -0.005, 0.0, 0.005, 0.02])
def test_second_opinion_by_colour_science(cct: float, duv: float) -> None:
    theirs = colour_science().temperature.uv_to_CCT_Ohno2013(uv1960_from_xy(xy_from_cct(cct, duv)))
    assert theirs[0] == pytest.approx(cct, rel=5e-4)
    assert theirs[1] == pytest.approx(duv, abs=5e-6)


# From 1000 K to 25,000 K, both sides of the locus, Duv to the 0.05 at which CIE 15:2018 ends the meaning of
# CCT on the green side; on the pink side the normals of the bend near 25,000 K cross closer to the locus.
@given(st.floats(40, 1000), st.floats(-0.03, 0.05))
def test_there_and_back(mired: float, duv: float) -> None:
    got_mired, got_duv = mired_duv_from_xy(xy_from_mired(mired, duv))
    assert got_mired == pytest.approx(mired, abs=1e-5)
    assert got_duv == pytest.approx(duv, abs=1e-9)


@given(st.floats(0.05, 0.7), st.floats(0.05, 0.7))
def test_nearest_point_is_nearest(x: float, y: float) -> None:
    # By brute force, no formula: no point of the locus lies nearer than |Duv|
    _, duv = mired_duv_from_xy((x, y))
    locus = np.array([uv1960_from_xy(xy_from_mired(m)) for m in np.linspace(0, 1250, 126)])
    nearest = np.hypot(*(locus - uv1960_from_xy((x, y))).T).min()
    assert abs(duv) <= nearest + 1e-12


def test_positive_duv_is_green() -> None:
    # Ohno 2014: above the locus (yellow-green side) Duv is positive
    assert xy_from_cct(4000, 0.01)[1] > xy_from_cct(4000)[1]


@given(st.floats(0.05, 0.7), st.floats(0.05, 0.7))
def test_diagrams_there_and_back(x: float, y: float) -> None:
    assert np.allclose(xy_from_uv1960(uv1960_from_xy((x, y))), (x, y), atol=1e-12)
    assert np.allclose(xy_from_uv1976(uv1976_from_xy((x, y))), (x, y), atol=1e-12)
