"""ITU-R BT.709-6 (06/2015)."""

from __future__ import annotations

import numpy as np
import pytest

from lookdev.colorimetry.rgb_spaces import BT709
from lookdev.colorimetry.transfer_functions import (
    bt709_oetf,
    bt709_oetf_inverse,
    bt1886_decode,
    bt1886_encode,
)


def test_primaries_and_white() -> None:
    # Items 1.3 and 1.4
    assert BT709.primaries_xy == ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
    assert BT709.white_xy == (0.3127, 0.3290)


def test_luma_weights() -> None:
    # Item 3.2: E'Y = 0.2126 E'R + 0.7152 E'G + 0.0722 E'B
    assert np.round(BT709.to_xyz[1], 4).tolist() == [0.2126, 0.7152, 0.0722]


# Item 1.2: V = 1.099 L^0.45 - 0.099 for 1 >= L >= 0.018, V = 4.5 L below, with the constants as printed.
@pytest.mark.parametrize("light", [0.0, 0.001, 0.01, 0.017, 0.019, 0.05, 0.18, 0.5, 0.9, 1.0])
def test_transfer_function_as_printed(light: float) -> None:
    printed = 4.5 * light if light < 0.018 else 1.099 * light**0.45 - 0.099
    # the printed constants are rounded; 0.0003 is the most that rounding 1.09930 to 1.099 moves a signal
    assert float(bt709_oetf(light)) == pytest.approx(printed, abs=3e-4)


def test_the_two_parts_meet() -> None:
    # BT.2020-2 table 4, note: alpha and beta solve for a curve that is continuous with its slope
    beta = 0.018053968510807
    below, above = bt709_oetf([beta * (1 - 1e-9), beta * (1 + 1e-9)])
    assert above - below == pytest.approx(0, abs=1e-9)
    slope = np.diff(bt709_oetf([beta, beta * (1 + 1e-6)])) / (beta * 1e-6)
    assert float(slope[0]) == pytest.approx(4.5, rel=1e-4)


def test_inverse() -> None:
    x = np.linspace(-1, 4, 4001)
    assert np.abs(bt709_oetf_inverse(bt709_oetf(x)) - x).max() < 1e-14


def test_bt1886_zero_black() -> None:
    # ITU-R BT.1886 (03/2011) annex 1: L = a max(V + b, 0)^2.4 with a = 1, b = 0 when LB = 0 and LW = 1
    assert float(bt1886_decode(0.5)) == pytest.approx(0.5**2.4, rel=1e-15)
    x = np.linspace(-0.5, 2, 501)
    assert np.abs(bt1886_encode(bt1886_decode(x)) - x).max() < 1e-14
