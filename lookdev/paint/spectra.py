"""Tristimulus sums: reflectance times lamp times observer.

Source: CIE 15:2018 7.1 (tristimulus values of object colours, k chosen so that the perfect reflecting
diffuser has Y = 1), ASTM E308 for what is done outside a spectrum's range (the end value is held). Lamp and
observer are multiplied at 1 nm, so that the lines of discharge lamps land where the observer sees them;
reflectances, which are smooth, are kept every 5 nm and go linearly between.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.temperature import observer_1nm

Array = NDArray[np.float64]

GRID_NM = np.arange(360.0, 781.0, 5.0)
"""Wavelengths (85,) at which reflectances are kept."""

FINE_NM = np.arange(360.0, 781.0, 1.0)
"""Wavelengths (421,) at which lamp and observer are multiplied."""


def on_grid(wavelengths_nm: ArrayLike, values: ArrayLike, grid_nm: Array = GRID_NM) -> Array:
    """A smooth spectrum (..., n) carried to ``grid_nm`` by a shape-keeping cubic; the ends are held.

    >>> on_grid([400, 500, 600, 700], [0.2, 0.2, 0.2, 0.2]).round(3)[[0, 42, 84]].tolist()
    [0.2, 0.2, 0.2]
    """
    w, v = np.asarray(wavelengths_nm, dtype=np.float64), np.asarray(values, dtype=np.float64)
    wanted = np.clip(grid_nm, w[0], w[-1])
    at = np.minimum(np.searchsorted(w, wanted), len(w) - 1)
    if np.array_equal(w[at], wanted) and (np.diff(w) > 0).all():  # nothing to interpolate, nor to import
        return np.ascontiguousarray(v[..., at])
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(w, v, axis=-1)(wanted))


def lamp_at_1nm(wavelengths_nm: ArrayLike, power: ArrayLike) -> Array:
    """A lamp's spectral power (421,) on FINE_NM, linear between its points (CIE 15:2018 7.2), 0 outside."""
    w, v = np.asarray(wavelengths_nm, dtype=np.float64), np.asarray(power, dtype=np.float64)
    return np.asarray(np.interp(FINE_NM, w, v, left=0.0, right=0.0))


@lru_cache(maxsize=1)
def _fine_from_grid() -> Array:
    return np.stack([np.interp(FINE_NM, GRID_NM, row) for row in np.eye(len(GRID_NM))])


@lru_cache(maxsize=2)
def _observer(degrees: int) -> Array:
    if degrees == 2:
        wavelengths, bars = observer_1nm()
        return np.asarray(bars[(wavelengths >= FINE_NM[0]) & (wavelengths <= FINE_NM[-1])])
    from lookdev.colorimetry.library import colour_science

    bars_10 = colour_science().MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    nm = np.asarray(bars_10.wavelengths, dtype=np.float64)
    return np.stack([np.interp(FINE_NM, nm, bars_10.values[:, i]) for i in range(3)], axis=1)


def lamp_weights(wavelengths_nm: ArrayLike, power: ArrayLike, observer_degrees: int = 2) -> Array:
    """Weights (85, 3): ``reflectance @ weights`` is XYZ under the lamp, perfect white at Y = 1.

    Parameters
    ----------
    wavelengths_nm : increasing, nm (n,).
    power : relative spectral power (n,), not negative, any unit.
    observer_degrees : 2 (CIE 1931) or 10 (CIE 1964).

    Raises
    ------
    ValueError : no light between 360 and 780 nm.

    Examples
    --------
    CIE standard illuminant D65 has X 95.04, Y 100, Z 108.88 (CIE 15:2018 table T.3, 2 degree observer):

    >>> from lookdev.colorimetry.illuminants import illuminant_spectrum
    >>> (100 * lamp_weights(*illuminant_spectrum("D65")).sum(axis=0)).round(1).tolist()
    [95.0, 100.0, 108.9]
    """
    stimulus = lamp_at_1nm(wavelengths_nm, power)[:, None] * _observer(observer_degrees)
    luminance = stimulus[:, 1].sum()
    if not luminance > 0:
        raise ValueError("no light between 360 and 780 nm")
    return np.asarray(_fine_from_grid() @ (stimulus / luminance))


@lru_cache(maxsize=64)
def illuminant_weights(name: str, observer_degrees: int = 2) -> Array:
    """:func:`lamp_weights` of a CIE illuminant, by its proper name."""
    from lookdev.colorimetry.illuminants import illuminant_spectrum

    weights = lamp_weights(*illuminant_spectrum(name), observer_degrees)
    weights.setflags(write=False)
    return weights


def white_xy(weights: Array) -> tuple[float, float]:
    """Chromaticity of the lamp that ``weights`` (85, 3) belong to."""
    total = weights.sum(axis=0)
    return float(total[0] / total.sum()), float(total[1] / total.sum())
