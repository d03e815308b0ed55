"""Correlated colour temperature and Duv, from 800 K to infinite temperature and off the locus.

Planck's law summed over the CIE 1931 2 degree observer at 1 nm (360 nm to 830 nm), so that no fit puts a
floor under low temperatures. Sources: CIE 15:2018 (CCT in the CIE 1960 UCS diagram, c2 = 1.4388e-2 m K);
Ohno, LEUKOS 10:1 (2014) 47-55 (Duv and its sign); CIE 15:2018 4.1.2 (daylight locus).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

C2_M_K = 1.4388e-2
MAX_MIRED = 1250.0  # 800 K
DUV_LIMIT = 0.05  # CIE 15:2018: CCT is not to be given farther from the locus than this


def mired(cct_k: float) -> float:
    """Reciprocal temperature in mired (1e6 / K).

    >>> round(mired(3200) - mired(5500))
    131
    """
    return 1e6 / cct_k


def cct_from_mired(value: float) -> float:
    """Kelvin of a mired value; infinite at zero."""
    return 1e6 / value if value > 0 else float("inf")


def uv1960_from_xy(xy: ArrayLike) -> Array:
    """CIE 1960 u, v (..., 2) of x, y (..., 2)."""
    pair = np.asarray(xy, dtype=np.float64)
    x, y = pair[..., 0], pair[..., 1]
    d = -2 * x + 12 * y + 3
    return np.stack([4 * x / d, 6 * y / d], axis=-1)


def xy_from_uv1960(uv: ArrayLike) -> Array:
    """CIE x, y (..., 2) of CIE 1960 u, v (..., 2)."""
    pair = np.asarray(uv, dtype=np.float64)
    u, v = pair[..., 0], pair[..., 1]
    d = 2 * u - 8 * v + 4
    return np.stack([3 * u / d, 2 * v / d], axis=-1)


def uv1976_from_xy(xy: ArrayLike) -> Array:
    """CIE 1976 u', v' (..., 2) of x, y (..., 2).

    >>> uv1976_from_xy((0.3127, 0.3290)).round(4).tolist()
    [0.1978, 0.4683]
    """
    return np.asarray(uv1960_from_xy(xy) * np.array([1.0, 1.5]))


def xy_from_uv1976(uv: ArrayLike) -> Array:
    """CIE x, y (..., 2) of CIE 1976 u', v' (..., 2)."""
    return xy_from_uv1960(np.asarray(uv, dtype=np.float64) / np.array([1.0, 1.5]))


@lru_cache(maxsize=1)
def observer_1nm() -> tuple[Array, Array]:
    """CIE 1931 2 degree observer (CIE 018:2019 table 6): wavelengths_nm (471,) and x-, y-, z-bar (471, 3).

    Kept as a file here, as every batch needs it and colour-science, which has the same, takes a second to
    load.
    """
    path = Path(__file__).with_name("cie_1931_observer.csv")
    table = np.loadtxt(path, delimiter=",", encoding="utf-8")
    return table[:, 0], table[:, 1:]


def planck_spectrum(cct_k: float, wavelengths_nm: ArrayLike) -> Array:
    """Planck's law, relative to its value at 560 nm; ``cct_k`` may be infinite."""
    lam = np.asarray(wavelengths_nm, dtype=np.float64) * 1e-9
    return np.asarray(_planck(1e6 / cct_k, lam)[0] / _planck(1e6 / cct_k, np.array([560e-9]))[0])


def _planck(m: float, lam: Array) -> tuple[Array, Array]:
    """Relative Planck radiation and its derivative by mired. Scaled by m so that m -> 0 stays finite."""
    k = C2_M_K * 1e-6 / lam
    a = k * m
    if m < 1e-6:
        return lam**-5 / k, -(lam**-5) * 0.5
    e = np.expm1(a)
    radiation = lam**-5 * m / e
    return radiation, lam**-5 * (1 / e - m * k * (e + 1) / e**2)


def _locus(m: float) -> tuple[Array, Array]:
    """u, v of the Planckian locus at mired ``m``, and the unit normal on the green side."""
    wavelengths, bars = observer_1nm()
    s, ds = _planck(m, wavelengths * 1e-9)
    xyz, dxyz = s @ bars, ds @ bars
    den = xyz @ np.array([1.0, 15.0, 3.0])
    dden = dxyz @ np.array([1.0, 15.0, 3.0])
    uv = np.array([4 * xyz[0], 6 * xyz[1]]) / den
    tangent = (np.array([4 * dxyz[0], 6 * dxyz[1]]) - uv * dden) / den
    return np.asarray(uv), np.asarray(tangent)


def _normal(tangent: Array) -> Array:
    return np.asarray(np.array([-tangent[1], tangent[0]]) / np.hypot(*tangent))


@lru_cache(maxsize=1)
def _locus_grid() -> tuple[Array, Array]:
    m = np.arange(0.0, MAX_MIRED + 1, 5.0)
    return m, np.stack([_locus(float(v))[0] for v in m])


def xy_from_mired(value: float, duv: float = 0.0) -> Array:
    """Chromaticity (2,) at ``value`` mired (0 to 1250) on the Planckian locus, ``duv`` off it."""
    uv, tangent = _locus(min(max(float(value), 0.0), MAX_MIRED))
    return xy_from_uv1960(uv + duv * _normal(tangent))


def xy_from_cct(cct_k: float, duv: float = 0.0) -> Array:
    """Chromaticity x, y (2,) of a correlated colour temperature and a distance from the locus.

    Parameters
    ----------
    cct_k : kelvin, 800 upwards.
    duv : distance in CIE 1960 u, v; positive is the green side.

    Examples
    --------
    CIE standard illuminant A (2855.5 K with c2 = 1.4388e-2) is x 0.4476, y 0.4074 (CIE 15:2018 table 1):

    >>> xy_from_cct(2855.54).round(4).tolist()
    [0.4476, 0.4074]
    """
    return xy_from_mired(1e6 / float(cct_k), duv)


def mired_duv_from_xy(xy: ArrayLike) -> tuple[float, float]:
    """Mired of the nearest point on the Planckian locus in CIE 1960 u, v, and Duv (green side positive).

    At the ends of the locus (infinite temperature, 800 K) the nearest point is the end itself, and Duv is the
    whole distance.
    """
    x, y = np.asarray(xy, dtype=np.float64).tolist()
    return _nearest(x, y)


@lru_cache(maxsize=4096)
def _nearest(x: float, y: float) -> tuple[float, float]:
    uv = uv1960_from_xy((x, y))
    grid, points = _locus_grid()
    m = float(grid[int(np.argmin(np.sum((points - uv) ** 2, axis=1)))])
    low, high = max(m - 5, 0.0), min(m + 5, MAX_MIRED)
    for _ in range(60):
        at, tangent = _locus(m)
        slope = float((uv - at) @ tangent)
        if slope > 0:
            low = m
        else:
            high = m
        step = m + slope / float(tangent @ tangent)
        new = step if low < step < high else (low + high) / 2
        if abs(new - m) < 1e-10:
            break
        m = new
    at, tangent = _locus(m)
    side = float((uv - at) @ _normal(tangent))
    return m, float(np.copysign(np.hypot(*(uv - at)), side))


def cct_duv_from_xy(xy: ArrayLike) -> tuple[float, float]:
    """CCT in kelvin and Duv of a chromaticity x, y; CCT is infinite past the blue end of the locus.

    Examples
    --------
    D65 reads near 6504 K, Duv +0.0032 (CIE 15:2018):

    >>> cct, duv = cct_duv_from_xy((0.31272, 0.32903))
    >>> round(cct), round(duv, 4)
    (6503, 0.0032)
    """
    m, duv = mired_duv_from_xy(xy)
    return cct_from_mired(m), duv


def daylight_xy(cct_k: float) -> Array:
    """CIE daylight locus (CIE 15:2018 4.1.2), 4000 K to 25,000 K.

    >>> daylight_xy(6503.6).round(4).tolist()
    [0.3127, 0.3291]
    """
    t = 1e3 / float(cct_k)
    if cct_k <= 7000:
        x = -4.6070 * t**3 + 2.9678 * t**2 + 0.09911 * t + 0.244063
    else:
        x = -2.0064 * t**3 + 1.9018 * t**2 + 0.24748 * t + 0.237040
    return np.array([x, -3.0 * x * x + 2.870 * x - 0.275])


def balance_white_xy(balance_k: float) -> Array:
    """White of a camera set to ``balance_k``: CIE daylight locus from 4000 K, Planckian below (our rule).

    Cameras and raw converters do not publish their own; this is common practice, and the difference between
    the two loci at 4000 K is a Duv of about 0.002.
    """
    return daylight_xy(balance_k) if 4000 <= balance_k <= 25000 else xy_from_cct(balance_k)


def is_cct_meaningful(xy: Sequence[float] | Array) -> bool:
    """Whether the chromaticity is near enough to the locus for a CCT (CIE 15:2018: |Duv| up to 0.05)."""
    m, duv = mired_duv_from_xy(xy)
    return abs(duv) <= DUV_LIMIT and 0.0 < m < MAX_MIRED


def mixed_xy(parts: Sequence[tuple[float, tuple[float, float]]]) -> tuple[float, float]:
    """Chromaticity of lights mixed by shares of illuminance (Grassmann's laws).

    BT.709's primaries at 0.2126, 0.7152, 0.0722 are its white, D65 (ITU-R BT.709-6, 3.2):

    >>> red, green, blue = (0.64, 0.33), (0.30, 0.60), (0.15, 0.06)
    >>> [round(v, 4) for v in mixed_xy([(0.2126, red), (0.7152, green), (0.0722, blue)])]
    [0.3127, 0.329]
    """
    big = np.array([share * np.array([x / y, 1.0, (1 - x - y) / y]) for share, (x, y) in parts]).sum(axis=0)
    return float(big[0] / big.sum()), float(big[1] / big.sum())
