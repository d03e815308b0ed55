"""Reflectance recovery against colour-science: Jakob and Hanika 2019, Otsu et al. 2018, Meng et al. 2015."""

import warnings

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.library import colour_science
from lookdev.paint.chip import munsell_coefficients
from lookdev.paint.make_munsell_reflectances import FILE, reflectances_csv
from lookdev.paint.recovery import otsu, sigmoid_coefficients, sigmoid_reflectance, smoothest
from lookdev.paint.spectra import GRID_NM, illuminant_weights, on_grid, white_xy

# the XYZ that colour-science documents its recoveries with
DOCUMENTED = np.array([0.20654008, 0.12197225, 0.05136952])

pytestmark = pytest.mark.filterwarnings("ignore::colour.utilities.ColourRuntimeWarning")


@pytest.fixture(scope="module")
def conditions():
    colour = colour_science()
    shape = colour.SpectralShape(360, 780, 5)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    return colour, cmfs, colour.SDS_ILLUMINANTS["D65"].copy().align(shape)


def test_file_is_what_the_maker_writes():
    theirs = reflectances_csv().splitlines()
    ours = FILE.read_text("utf-8").splitlines()
    assert [line.split(",")[0] for line in ours] == [line.split(",")[0] for line in theirs]
    a = np.array([[float(v) for v in line.split(",")[1:]] for line in ours[1:]])
    b = np.array([[float(v) for v in line.split(",")[1:]] for line in theirs[1:]])
    close = np.abs(sigmoid_reflectance(a[:, :3]) - sigmoid_reflectance(b[:, :3])).max(axis=1) < 1e-3
    assert close[b[:, 3] < 0.01].all()


def test_sigmoids_as_colour_science_finds_them(conditions):
    colour, cmfs, light = conditions
    weights = illuminant_weights("D65")
    colours = [
        DOCUMENTED,
        np.array([0.30, 0.31, 0.12]),
        np.array([0.12, 0.14, 0.28]),
        np.array([0.45, 0.47, 0.50]),
    ]
    coefficients, left = sigmoid_coefficients(np.stack(colours), weights)
    assert left.max() < 1e-5
    for xyz, c in zip(colours, coefficients, strict=True):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            sd = colour.recovery.XYZ_to_sd_Jakob2019(xyz, cmfs, light)
        assert np.abs(on_grid(sd.wavelengths, sd.values) - sigmoid_reflectance(c)).max() < 0.02


def test_otsu_as_colour_science_finds_it(conditions):
    colour, _, _ = conditions
    from colour.recovery.otsu2018 import SPECTRAL_SHAPE_OTSU2018

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SPECTRAL_SHAPE_OTSU2018)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(cmfs.shape)
    theirs = colour.recovery.XYZ_to_sd_Otsu2018(DOCUMENTED, cmfs, light)
    xy = DOCUMENTED[:2] / DOCUMENTED.sum()
    ours = otsu(DOCUMENTED, illuminant_weights("D65"), xy)[0]
    nm = np.asarray(theirs.wavelengths)
    inside = np.isin(GRID_NM, nm)
    assert np.abs(ours[inside] - np.asarray(theirs.values)).max() < 0.02


def test_smoothest_is_smoother_than_any_other_of_that_colour():
    weights = illuminant_weights("D65")
    xyz = np.array([[0.30, 0.31, 0.22], [0.40, 0.45, 0.40]])
    ours = smoothest(xyz, weights)
    assert np.abs(ours @ weights - xyz).max() < 1e-12
    other = sigmoid_reflectance(sigmoid_coefficients(xyz, weights)[0])
    assert (np.square(np.diff(ours)).sum(axis=1) <= np.square(np.diff(other)).sum(axis=1) + 1e-12).all()


def test_built_in_chips_have_their_colours():
    # 2734 renotation colours and 19 neutrals; 11 strong ones lie outside the object-colour solid for C
    names, coefficients, left = munsell_coefficients()
    assert len(names) == 2753 and len(set(names)) == 2753
    assert (left > 0.1).sum() == 11 and np.median(left) < 0.001
    weights = illuminant_weights("C")
    from lookdev.colorimetry.munsell_notation import parse_notation, xyz_from_munsell

    rows = np.arange(0, 2734, 53)
    goal = np.stack([xyz_from_munsell(parse_notation(names[r])) for r in rows])
    seen = sigmoid_reflectance(coefficients[rows]) @ weights
    off = ciede2000(lab_from_xyz(seen, white_xy(weights)), lab_from_xyz(goal, white_xy(weights)))
    assert off[left[rows] < 0.1].max() < 0.1


def test_recovered_reflectances_can_be():
    _, coefficients, _ = munsell_coefficients()
    spectra = sigmoid_reflectance(coefficients)
    assert spectra.min() >= 0 and spectra.max() <= 1
