"""Tristimulus sums against CIE 15:2018 (table T.3) and colour-science's ASTM E308; CIELAB, CIEDE2000 against
coloraide."""

from itertools import pairwise

import numpy as np
import pytest
from coloraide import Color

from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.library import colour_science
from lookdev.paint.chip import munsell_set
from lookdev.paint.metamerism import special_metamerism_index
from lookdev.paint.spectra import GRID_NM, illuminant_weights, on_grid, white_xy

pytestmark = pytest.mark.filterwarnings("ignore::colour.utilities.ColourRuntimeWarning")


@pytest.mark.parametrize(
    ("name", "xyz"),
    # CIE 15:2018 table T.3, 2 degree observer
    [
        ("A", (109.85, 100, 35.58)),
        ("C", (98.07, 100, 118.22)),
        ("D50", (96.42, 100, 82.51)),
        ("D65", (95.04, 100, 108.88)),
    ],
)
def test_white_of_illuminants(name, xyz):
    assert 100 * illuminant_weights(name).sum(axis=0) == pytest.approx(xyz, abs=0.06)


@pytest.mark.parametrize(("name", "xyz"), [("D65", (94.81, 100, 107.32)), ("A", (111.14, 100, 35.20))])
def test_white_for_the_10_degree_observer(name, xyz):
    assert 100 * illuminant_weights(name, 10).sum(axis=0) == pytest.approx(xyz, abs=0.06)


@pytest.mark.parametrize("name", ["D65", "A", "D50"])
def test_chart_patches_against_astm_e308(name):
    colour = colour_science()
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS[name]
    weights = illuminant_weights(name)
    for sd in colour.SDS_COLOURCHECKERS["BabelColor Average"].values():
        ours = on_grid(sd.wavelengths, sd.values) @ weights
        theirs = np.asarray(colour.sd_to_XYZ(sd, cmfs, light, method="ASTM E308")) / 100
        assert (
            float(ciede2000(lab_from_xyz(ours, white_xy(weights)), lab_from_xyz(theirs, white_xy(weights))))
            < 0.15
        )


def test_lines_of_a_discharge_lamp_are_not_lost():
    # an emission line between two 5 nm points still has its own chromaticity
    from lookdev.paint.spectra import lamp_weights

    nm = np.arange(380.0, 781.0, 1.0)
    line = np.where(nm == 546.0, 1.0, 0.0)
    assert white_xy(lamp_weights(nm, line)) == pytest.approx((0.2735, 0.7174), abs=2e-3)


def test_cielab_and_ciede2000_against_coloraide():
    lab = munsell_set().lab("D65")[::97]
    for one, two in pairwise(lab):
        theirs = Color("lab-d65", one.tolist()).delta_e(
            Color("lab-d65", two.tolist()), method="2000", space="lab-d65"
        )
        assert float(ciede2000(one, two)) == pytest.approx(theirs, abs=1e-6)


def test_metamerism_index_is_the_difference_under_the_test_lamp():
    # CIE 15:2018 9.2: specimens that match under the reference: the plain difference under the other
    d65, a = illuminant_weights("D65"), illuminant_weights("A")
    base = np.full(len(GRID_NM), 0.4)
    _, _, rows = np.linalg.svd(d65.T)
    unseen = rows[-1] / np.abs(rows[-1]).max() * 0.2
    unseen -= d65 @ np.linalg.solve(d65.T @ d65, d65.T @ unseen)
    other = base + unseen
    assert np.abs(other @ d65 - base @ d65).max() < 1e-12
    plain = ciede2000(lab_from_xyz(base @ a, white_xy(a)), lab_from_xyz(other @ a, white_xy(a)))
    assert float(special_metamerism_index(base, other, a)) == pytest.approx(float(plain), abs=1e-9)
    assert float(special_metamerism_index(base, other, d65)) < 1e-9


def test_metamerism_correction_is_multiplicative():
    # CIE 15:2018 9.2.2.3: a sample that is the standard, scaled, has no metamerism
    a = illuminant_weights("A")
    base = munsell_set().reflectances[::300]
    assert special_metamerism_index(base, base * 0.9, a).max() < 1e-6
