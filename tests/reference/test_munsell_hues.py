"""The ten Munsell families as Oklab hues, from the renotation data of ASTM D1535 (in colour-science)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.munsell import (
    FAMILIES,
    FAMILY_HUE_DEGREES,
    family_curves,
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


def between(table: np.ndarray, count: int = 201) -> np.ndarray:
    """What rows of a table are from each middle to the next: (10, n, count)."""
    share = np.linspace(0.0, 1.0, count)
    return family_curves(table) @ share ** np.arange(3, -1, -1)[:, None]


@given(st.integers(0, 2**32 - 1))
def test_families_are_whole_at_their_middles_and_never_beyond_the_two_between(seed: int) -> None:
    """Monotone between two middles, and without a kink at them: Fritsch and Carlson 1980."""
    table = np.random.default_rng(seed).uniform(-1, 1, (10, 3))
    values = between(table)
    assert np.abs(values[:, :, 0] - table).max() < 1e-12
    assert np.abs(values[:, :, -1] - np.roll(table, -1, axis=0)).max() < 1e-12
    steps = np.diff(values, axis=-1) * np.sign(np.roll(table, -1, axis=0) - table)[:, :, None]
    assert steps.min() > -1e-12
    widths = np.diff([*FAMILY_HUE_DEGREES, FAMILY_HUE_DEGREES[0] + 360.0])[:, None]
    c3, c2, c1, _ = np.moveaxis(family_curves(table), -1, 0)
    assert np.allclose((3 * c3 + 2 * c2 + c1) / widths, np.roll(c1 / widths, -1, axis=0))


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.5, 1.0]))
def test_families_go_as_scipy_has_it(seed: int, flat: float) -> None:
    """Bit for bit scipy's PchipInterpolator, also where neighbours are alike; a graded still hangs on it."""
    rng = np.random.default_rng(seed)
    table = np.where(rng.random((10, 3)) < flat, 1.0, rng.normal(1.0, 0.3, (10, 3)))
    around = np.arange(-2, 13)
    hues = np.array(FAMILY_HUE_DEGREES)[around % 10] + 360.0 * (around // 10)
    powers = np.diff(hues)[2:-2] ** np.arange(3, -1, -1)[:, None]
    cubics = PchipInterpolator(hues, table[around % 10]).c[:, 2:-2] * powers[:, :, None]
    assert family_curves(table).tobytes() == np.ascontiguousarray(np.moveaxis(cubics, 0, -1)).tobytes()


def test_families_that_rise_evenly_do_so_without_a_stair() -> None:
    table = np.interp(np.arange(10), [0, 5, 9], [0.0, 1.0, 0.0])[:, None]
    share = np.diff(between(table)[1:4, 0, :], axis=-1)
    assert share.min() > 0.5 * share.max()  # a stair would stand still at each middle


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
