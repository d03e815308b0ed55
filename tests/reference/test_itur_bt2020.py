"""ITU-R BT.2020-2 (10/2015) and BT.2087-0 (10/2015)."""

from __future__ import annotations

import numpy as np

from lookdev.colorimetry.rgb_spaces import ACES_AP1, BT709, BT2020, DISPLAY_P3, PROPHOTO, matrix_between


def test_primaries_and_luma_weights() -> None:
    # BT.2020-2 table 3 (colorimetry) and table 4 (luma 0.2627, 0.6780, 0.0593)
    assert BT2020.primaries_xy == ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
    assert np.round(BT2020.to_xyz[1], 4).tolist() == [0.2627, 0.6780, 0.0593]


def test_bt2087_matrix() -> None:
    # BT.2087-0 annex 1, M2: linear BT.709 to linear BT.2020
    printed = [[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]
    assert np.abs(matrix_between(BT709, BT2020) - printed).max() < 0.6e-4


def test_what_lies_outside_the_working_space() -> None:
    # design.md section 3: P3 leaves it by about 0.001, ProPhoto by 0.14, AP1 by 0.03
    least = {s.name: matrix_between(s, BT2020).min() for s in (BT709, DISPLAY_P3, PROPHOTO, ACES_AP1)}
    assert least["BT.709"] > 0
    assert -0.002 < least["P3-D65"] < 0
    assert -0.15 < least["ProPhoto"] < -0.12
    assert -0.035 < least["ACES AP1"] < -0.02


def test_white_stays_white_and_matrices_invert() -> None:
    for space in (BT709, DISPLAY_P3, PROPHOTO, ACES_AP1):
        there, back = matrix_between(space, BT2020), matrix_between(BT2020, space)
        assert np.abs(there.sum(axis=1) - 1).max() < 1e-12
        assert np.abs(there @ back - np.eye(3)).max() < 1e-12
