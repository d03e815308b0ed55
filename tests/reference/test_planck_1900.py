"""The Planckian locus, against Planck's law computed here from the constants of nature (SI, by scipy)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import constants

from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.temperature import C2_M_K, cct_duv_from_xy, planck_spectrum, xy_from_cct


def _radiance(kelvin: float, wavelengths_nm: np.ndarray) -> np.ndarray:
    lam = wavelengths_nm * 1e-9
    h, c, k = constants.h, constants.c, constants.k
    return 2 * h * c**2 / lam**5 / np.expm1(h * c / (lam * k * kelvin))


def test_second_radiation_constant() -> None:
    # CIE 15:2018 uses c2 = 1.4388e-2 m K (ITS-90); the SI of 2019 gives 1.438777e-2
    assert pytest.approx(constants.h * constants.c / constants.k, rel=2e-5) == C2_M_K


@pytest.mark.parametrize("kelvin", [800, 1000, 1300, 1600, 1667, 1960, 2856, 5000, 6504, 12000, 25000])
def test_locus(kelvin: float) -> None:
    colour = colour_science()
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]  # 1 nm, CIE 15:2018 table 6
    same = kelvin * (constants.h * constants.c / constants.k) / C2_M_K  # one radiation, two values of c2
    xyz = _radiance(same, np.asarray(cmfs.wavelengths)) @ np.asarray(cmfs.values)
    expected = xyz[:2] / xyz.sum()
    assert np.abs(xy_from_cct(kelvin) - expected).max() < 2e-7
    cct, duv = cct_duv_from_xy(expected)
    assert cct == pytest.approx(kelvin, rel=2e-5)
    assert abs(duv) < 1e-7


def test_spectrum() -> None:
    nm = np.arange(380.0, 781.0, 5.0)
    expected = _radiance(3200, nm) / _radiance(3200, np.array([560.0]))
    assert np.abs(planck_spectrum(3200, nm) / expected - 1).max() < 2e-4


def test_infinite_temperature() -> None:
    # Rayleigh-Jeans limit: radiance goes as the wavelength to the minus fourth
    nm = np.array([400.0, 560.0, 700.0])
    assert np.allclose(planck_spectrum(float("inf"), nm), (560.0 / nm) ** 4)
    assert np.abs(xy_from_cct(1e12) - (0.2399, 0.2342)).max() < 2e-4  # CIE 1931 x, y of infinite temperature
