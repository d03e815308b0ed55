"""sRGB: IEC 61966-2-1:1999 (with its amendment 1 of 2003 for values outside 0 to 1)."""

from __future__ import annotations

import numpy as np
import pytest
from coloraide import Color

from lookdev.colorimetry.encodings import DISPLAY_P3, SRGB
from lookdev.colorimetry.rgb_spaces import BT709
from lookdev.colorimetry.transfer_functions import srgb_decode, srgb_encode


def test_matrix() -> None:
    # Clause 5.2, equation for linear sRGB to XYZ, four decimals as printed
    printed = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    assert np.abs(BT709.to_xyz - printed).max() < 0.6e-4


def test_inverse_matrix() -> None:
    # Clause 5.3, XYZ to linear sRGB, as printed (the inverse of the rounded matrix above, so its
    # last digit is not ours: 0.0006 is the largest difference)
    printed = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    assert np.abs(BT709.from_xyz - printed).max() < 6e-4


# Clause 5.2: straight up to 0.04045 by 12.92, then ((V + 0.055) / 1.055)^2.4. Codes of 8 bits.
@pytest.mark.parametrize("code", [0, 1, 10, 11, 64, 118, 128, 188, 255])
def test_decoding(code: int) -> None:
    v = code / 255
    expected = v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4
    assert float(srgb_decode(v)) == pytest.approx(expected, rel=1e-15, abs=0)


def test_every_16_bit_code_comes_back() -> None:
    v = np.arange(65536) / 65535
    back = srgb_encode(srgb_decode(v))
    assert np.abs(back - v).max() < 1e-15 * 4
    assert np.array_equal(np.round(back * 65535), np.arange(65536))


def test_increasing_through_the_joint_and_odd_below_zero() -> None:
    x = np.linspace(-1.5, 3, 200_001)
    for curve in (srgb_decode, srgb_encode):
        assert np.all(np.diff(curve(x)) > 0)
        assert np.array_equal(curve(-x), -curve(x))


@pytest.mark.parametrize(("ours", "theirs"), [(SRGB, "srgb"), (DISPLAY_P3, "display-p3")])
def test_second_opinion_by_coloraide(ours: object, theirs: str) -> None:
    for rgb in np.random.default_rng(3).uniform(-0.2, 1.3, (50, 3)):
        expected = Color(theirs, list(rgb)).convert("rec2020-linear").coords()
        # coloraide's matrices are those of CSS, at the same chromaticities
        assert np.abs(ours.to_working(rgb) - expected).max() < 1e-9  # type: ignore[attr-defined]
