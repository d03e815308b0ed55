"""Oklab, relative to the linear BT.2020 working space.

Source: W3C CSS Color Module Level 4, 9.2 and sample code "OKLab and OKLCH" (matrices at the precision given
there); after B. Ottosson, "A perceptual color space for image processing", 2020.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.rgb_spaces import WORKING

Array = NDArray[np.float64]

XYZ_TO_LMS = np.array(
    [
        [0.8190224379967030, 0.3619062600528904, -0.1288737815209879],
        [0.0329836539323885, 0.9292868615863434, 0.0361446663506424],
        [0.0481771893596242, 0.2642395317527308, 0.6335478284694309],
    ]
)
LMS_TO_LAB = np.array(
    [
        [0.2104542683093140, 0.7936177747023054, -0.0040720430116193],
        [1.9779985324311684, -2.4285922420485799, 0.4505937096174110],
        [0.0259040424655478, 0.7827717124575296, -0.8086757549230774],
    ]
)
LAB_TO_LMS = np.linalg.inv(LMS_TO_LAB)
WORKING_TO_LMS = XYZ_TO_LMS @ WORKING.to_xyz
LMS_TO_WORKING = np.linalg.inv(WORKING_TO_LMS)


def oklab_from_xyz(xyz: ArrayLike) -> Array:
    """Oklab (..., 3) of CIE XYZ (..., 3) relative to D65 at Y = 1.

    Ottosson's published pair: XYZ 0.950, 1.000, 1.089 is L 1.000, a 0.000, b 0.000.

    >>> [round(v, 3) + 0.0 for v in oklab_from_xyz([0.950, 1.0, 1.089]).tolist()]
    [1.0, 0.0, 0.0]
    """
    return np.asarray(np.cbrt(np.asarray(xyz, dtype=np.float64) @ XYZ_TO_LMS.T) @ LMS_TO_LAB.T)


def xyz_from_oklab(lab: ArrayLike) -> Array:
    """Inverse of :func:`oklab_from_xyz`."""
    return np.asarray(_cube(np.asarray(lab, dtype=np.float64) @ LAB_TO_LMS.T) @ np.linalg.inv(XYZ_TO_LMS).T)


def oklab_from_working(rgb: ArrayLike) -> Array:
    """Oklab (..., 3) of linear BT.2020 (..., 3), unbounded; negatives pass (the cube root is odd)."""
    return np.asarray(np.cbrt(np.asarray(rgb, dtype=np.float64) @ WORKING_TO_LMS.T) @ LMS_TO_LAB.T)


def working_from_oklab(lab: ArrayLike) -> Array:
    """Inverse of :func:`oklab_from_working`."""
    return np.asarray(_cube(np.asarray(lab, dtype=np.float64) @ LAB_TO_LMS.T) @ LMS_TO_WORKING.T)


def _cube(values: Array) -> Array:
    return values * values * values  # values ** 3 goes through pow and takes ten times as long
