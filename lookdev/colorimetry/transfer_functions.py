"""Transfer functions: signal to linear light and back.

All take and return float arrays of any shape; they are odd or linear below zero, so that negatives pass
without a NaN, and they do not clamp above one. Sources are named at each function.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def _odd_power(x: ArrayLike, exponent: float) -> Array:
    values = np.asarray(x, dtype=np.float64)
    return np.asarray(np.copysign(np.abs(values) ** exponent, values))


def gamma_decode(signal: ArrayLike, exponent: float) -> Array:
    """Pure power, ``linear = signal ** exponent``, odd below zero."""
    return _odd_power(signal, exponent)


def gamma_encode(linear: ArrayLike, exponent: float) -> Array:
    """Pure power, ``signal = linear ** (1 / exponent)``, odd below zero."""
    return _odd_power(linear, 1.0 / exponent)


def srgb_decode(signal: ArrayLike) -> Array:
    """IEC 61966-2-1:1999, 5.2: sRGB signal to linear light.

    >>> round(float(srgb_decode(0.5)), 6)
    0.214041
    """
    v = np.asarray(signal, dtype=np.float64)
    mag = np.abs(v)
    return np.asarray(
        np.where(
            mag <= 0.04045, v / 12.92, np.copysign(((np.maximum(mag, 0.04045) + 0.055) / 1.055) ** 2.4, v)
        )
    )


def srgb_encode(linear: ArrayLike) -> Array:
    """IEC 61966-2-1:1999, 5.3: linear light to sRGB signal.

    >>> round(float(srgb_encode(0.18)), 6)
    0.461356
    """
    v = np.asarray(linear, dtype=np.float64)
    mag = np.abs(v)
    cut = 0.04045 / 12.92
    return np.asarray(
        np.where(mag <= cut, v * 12.92, np.copysign(1.055 * np.maximum(mag, cut) ** (1 / 2.4) - 0.055, v))
    )


_BT2020_ALPHA, _BT2020_BETA = 1.09929682680944, 0.018053968510807  # BT.2020-2 table 4, at full precision


def bt709_oetf(linear: ArrayLike) -> Array:
    """ITU-R BT.709-6 item 1.2 and BT.2020-2 table 4: scene light to camera signal.

    The constants are those that make the two parts meet (BT.2020-2 note): 1.0993 and 0.01805; BT.709
    prints them rounded to 1.099 and 0.018.

    >>> round(float(bt709_oetf(0.18)), 3)
    0.409
    """
    v = np.asarray(linear, dtype=np.float64)
    mag = np.abs(v)
    a, b = _BT2020_ALPHA, _BT2020_BETA
    return np.asarray(np.where(mag < b, 4.5 * v, np.copysign(a * np.maximum(mag, b) ** 0.45 - (a - 1), v)))


def bt709_oetf_inverse(signal: ArrayLike) -> Array:
    """Inverse of :func:`bt709_oetf`."""
    v = np.asarray(signal, dtype=np.float64)
    mag = np.abs(v)
    a, b = _BT2020_ALPHA, _BT2020_BETA
    top = np.copysign(((np.maximum(mag, 4.5 * b) + (a - 1)) / a) ** (1 / 0.45), v)
    return np.asarray(np.where(mag < 4.5 * b, v / 4.5, top))


def bt1886_decode(signal: ArrayLike) -> Array:
    """ITU-R BT.1886 annex 1 with black at zero and white at one: power 2.4."""
    return _odd_power(signal, 2.4)


def bt1886_encode(linear: ArrayLike) -> Array:
    """Inverse of :func:`bt1886_decode`."""
    return _odd_power(linear, 1 / 2.4)


_PQ_M1, _PQ_M2 = 2610 / 16384, 2523 / 4096 * 128
_PQ_C1, _PQ_C2, _PQ_C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32


def pq_decode_cd_m2(signal: ArrayLike) -> Array:
    """SMPTE ST 2084 / ITU-R BT.2100-2 table 4: PQ signal to luminance in cd/m2, odd below zero.

    >>> round(float(pq_decode_cd_m2(1.0)))
    10000
    """
    v = np.asarray(signal, dtype=np.float64)
    p = np.abs(v) ** (1 / _PQ_M2)
    denominator = np.maximum(_PQ_C2 - _PQ_C3 * p, 1e-6)
    return np.asarray(np.copysign(10000.0 * (np.maximum(p - _PQ_C1, 0.0) / denominator) ** (1 / _PQ_M1), v))


def pq_encode_cd_m2(luminance: ArrayLike) -> Array:
    """SMPTE ST 2084 / ITU-R BT.2100-2 table 4: luminance in cd/m2 to PQ signal, odd below zero.

    >>> round(float(pq_encode_cd_m2(100.0)), 4)
    0.5081
    """
    v = np.asarray(luminance, dtype=np.float64)
    y = (np.abs(v) / 10000.0) ** _PQ_M1
    signal = ((_PQ_C1 + _PQ_C2 * y) / (1 + _PQ_C3 * y)) ** _PQ_M2
    black = _PQ_C1**_PQ_M2
    return np.asarray(np.where(v == 0, black, np.copysign(signal, v)))


_HLG_A = 0.17883277
_HLG_B, _HLG_C = 1 - 4 * _HLG_A, 0.5 - _HLG_A * np.log(4 * _HLG_A)


def hlg_oetf(linear: ArrayLike) -> Array:
    """ITU-R BT.2100-2 table 5: scene light in [0, 1] to HLG signal, odd below zero.

    >>> round(float(hlg_oetf(1 / 12)), 4)
    0.5
    """
    v = np.asarray(linear, dtype=np.float64)
    e = np.abs(v)
    low = np.sqrt(3 * e)
    high = _HLG_A * np.log(np.maximum(12 * e - _HLG_B, 1e-9)) + _HLG_C
    return np.asarray(np.copysign(np.where(e <= 1 / 12, low, high), v))


def hlg_oetf_inverse(signal: ArrayLike) -> Array:
    """Inverse of :func:`hlg_oetf`."""
    v = np.asarray(signal, dtype=np.float64)
    s = np.abs(v)
    high = (np.exp((s - _HLG_C) / _HLG_A) + _HLG_B) / 12
    return np.asarray(np.copysign(np.where(s <= 0.5, s * s / 3, high), v))


_CCT_CUT = 0.0078125
_CCT_SLOPE, _CCT_OFFSET = 10.5402377416545, 0.0729055341958355


def acescct_encode(linear: ArrayLike) -> Array:
    """Academy S-2016-001: ACES AP1 linear to ACEScct; straight below 0.0078125, negatives included.

    >>> round(float(acescct_encode(0.18)), 6)
    0.413588
    """
    v = np.asarray(linear, dtype=np.float64)
    high = (np.log2(np.maximum(v, _CCT_CUT)) + 9.72) / 17.52
    return np.asarray(np.where(v <= _CCT_CUT, _CCT_SLOPE * v + _CCT_OFFSET, high))


def acescct_decode(signal: ArrayLike) -> Array:
    """Inverse of :func:`acescct_encode`, without the half-float ceiling of the standard's text."""
    v = np.asarray(signal, dtype=np.float64)
    cut = (np.log2(_CCT_CUT) + 9.72) / 17.52
    high = 2.0 ** (np.clip(v, cut, 16.0) * 17.52 - 9.72)
    return np.asarray(np.where(v <= cut, (v - _CCT_OFFSET) / _CCT_SLOPE, high))
