"""Matrices of RGB spaces as their documents print them."""

from __future__ import annotations

import numpy as np
import pytest

from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.rgb_spaces import (
    ACES_AP0,
    ACES_AP1,
    ADOBE_RGB,
    BT709,
    BT2020,
    DISPLAY_P3,
    PROPHOTO,
    RGBSpace,
)


def test_adobe_rgb() -> None:
    # Adobe RGB (1998) Color Image Encoding, 4.3.5.3: RGB to XYZ, as printed
    printed = [[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]]
    assert np.abs(ADOBE_RGB.to_xyz - printed).max() < 2e-5


def test_aces_ap0() -> None:
    # SMPTE ST 2065-1:2012, 4.1.2 / Academy S-2008-001: ACES to XYZ, as printed
    printed = [
        [0.9525523959, 0.0000000000, 0.0000936786],
        [0.3439664498, 0.7281660966, -0.0721325464],
        [0.0000000000, 0.0000000000, 1.0088251844],
    ]
    assert np.abs(ACES_AP0.to_xyz - printed).max() < 1e-10


def test_aces_ap1() -> None:
    # Academy S-2014-004 annex A: ACEScg to XYZ, as printed
    printed = [
        [0.6624541811, 0.1340042065, 0.1561876870],
        [0.2722287168, 0.6740817658, 0.0536895174],
        [-0.0055746495, 0.0040607335, 1.0103391003],
    ]
    assert np.abs(ACES_AP1.to_xyz - printed).max() < 1e-10


SECOND = {
    "ITU-R BT.709": BT709,
    "ITU-R BT.2020": BT2020,
    "Display P3": DISPLAY_P3,
    "Adobe RGB (1998)": ADOBE_RGB,
    "ProPhoto RGB": PROPHOTO,
    "ACEScg": ACES_AP1,
}


@pytest.mark.parametrize("name", SECOND)
def test_second_opinion_by_colour_science(name: str) -> None:
    space: RGBSpace = SECOND[name]
    theirs = colour_science().RGB_COLOURSPACES[name]
    assert np.array_equal(np.asarray(theirs.primaries), np.asarray(space.primaries_xy))
    # some documents round their matrix; theirs is computed from the same chromaticities
    derived = colour_science().models.normalised_primary_matrix(theirs.primaries, theirs.whitepoint)
    assert np.abs(derived - space.to_xyz).max() < 1e-12
