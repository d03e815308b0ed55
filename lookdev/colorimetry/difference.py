"""CIELAB and the CIEDE2000 colour difference.

Sources: CIE 15:2018 8.2.1 (CIELAB); CIE 142:2001 and Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.adaptation import xyz_from_xy
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING

Array = NDArray[np.float64]

_DELTA = 6 / 29


def lab_from_xyz(xyz: ArrayLike, white_xy: Sequence[float] = D65_XY) -> Array:
    """CIELAB (..., 3), L* 0 to 100, of XYZ (..., 3) relative to a white at Y = 1. Negatives pass.

    >>> [round(v, 2) + 0.0 for v in lab_from_xyz([0.95046 * 0.18, 0.18, 1.08906 * 0.18]).tolist()]
    [49.5, 0.0, 0.0]
    """
    t = np.asarray(xyz, dtype=np.float64) / xyz_from_xy(white_xy)
    f = np.where(t > _DELTA**3, np.cbrt(np.maximum(t, _DELTA**3)), t / (3 * _DELTA**2) + 4 / 29)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1
    )


def xyz_from_lab(lab: ArrayLike, white_xy: Sequence[float] = D65_XY) -> Array:
    """Inverse of :func:`lab_from_xyz`."""
    values = np.asarray(lab, dtype=np.float64)
    fy = (values[..., 0] + 16) / 116
    f = np.stack([fy + values[..., 1] / 500, fy, fy - values[..., 2] / 200], axis=-1)
    t = np.where(f > _DELTA, f**3, 3 * _DELTA**2 * (f - 4 / 29))
    return np.asarray(t * xyz_from_xy(white_xy))


def lab_from_working(rgb: ArrayLike) -> Array:
    """CIELAB (D65) of linear BT.2020 (..., 3)."""
    return lab_from_xyz(np.asarray(rgb, dtype=np.float64) @ WORKING.to_xyz.T)


def working_from_lab(lab: ArrayLike) -> Array:
    """Linear BT.2020 of CIELAB (D65) (..., 3)."""
    return np.asarray(xyz_from_lab(lab) @ WORKING.from_xyz.T)


def ciede2000(lab_1: ArrayLike, lab_2: ArrayLike) -> Array:
    """CIEDE2000 difference (...) of two CIELAB arrays (..., 3), kL = kC = kH = 1.

    Examples
    --------
    Sharma, Wu, Dalal 2005, table 1, pair 1:

    >>> round(float(ciede2000([50, 2.6772, -79.7751], [50, 0, -82.7485])), 4)
    2.0425
    """
    one, two = np.asarray(lab_1, dtype=np.float64), np.asarray(lab_2, dtype=np.float64)
    l1, a1, b1 = one[..., 0], one[..., 1], one[..., 2]
    l2, a2, b2 = two[..., 0], two[..., 1], two[..., 2]
    bb1, bb2 = b1 * b1, b2 * b2
    g = 0.5 * (1 - _share_of_25((np.sqrt(a1 * a1 + bb1) + np.sqrt(a2 * a2 + bb2)) / 2))
    a1p, a2p = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.sqrt(a1p * a1p + bb1), np.sqrt(a2p * a2p + bb2)
    h1, h2 = np.degrees(np.arctan2(b1, a1p)), np.degrees(np.arctan2(b2, a2p))
    h1, h2 = np.where(h1 < 0, h1 + 360, h1), np.where(h2 < 0, h2 + 360, h2)
    grey = c1 * c2 == 0
    dh = h2 - h1
    dh = np.where(grey, 0.0, np.where(dh > 180, dh - 360, np.where(dh < -180, dh + 360, dh)))
    d_l, d_c = l2 - l1, c2 - c1
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh) / 2)
    l_mean, c_mean = (l1 + l2) / 2, (c1 + c2) / 2
    total = h1 + h2
    h_mean = np.where(
        grey,
        total,
        np.where(
            np.abs(h1 - h2) <= 180, total / 2, np.where(total < 360, (total + 360) / 2, (total - 360) / 2)
        ),
    )
    t = (
        1
        - 0.17 * np.cos(np.radians(h_mean - 30))
        + 0.24 * np.cos(np.radians(2 * h_mean))
        + 0.32 * np.cos(np.radians(3 * h_mean + 6))
        - 0.20 * np.cos(np.radians(4 * h_mean - 63))
    )
    theta = 30 * np.exp(-(((h_mean - 275) / 25) ** 2))
    r_c = 2 * _share_of_25(c_mean)
    off = (l_mean - 50) ** 2
    s_l = 1 + 0.015 * off / np.sqrt(20 + off)
    s_c, s_h = 1 + 0.045 * c_mean, 1 + 0.015 * c_mean * t
    r_t = -np.sin(np.radians(2 * theta)) * r_c
    u, v, w = d_l / s_l, d_c / s_c, d_h / s_h
    square = u * u + v * v + w * w + r_t * v * w
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _share_of_25(chroma: Array) -> Array:
    """sqrt(C^7 / (C^7 + 25^7)), without the C library's power."""
    square = chroma * chroma
    seventh = square * square * square * chroma
    return np.asarray(np.sqrt(seventh / (seventh + 25.0**7)))
