"""Linear chromatic adaptation.

Sources: ICC.1:2010 annex E (linear Bradford); CIE 159:2004 (CAT02); CIE 248:2022, after Li et al. 2017
(CAT16).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

CONE_MATRICES: dict[str, Array] = {
    "Bradford": np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]),
    "CAT02": np.array([[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]]),
    "CAT16": np.array(
        [[0.401288, 0.650173, -0.051461], [-0.250268, 1.204414, 0.045854], [-0.002079, 0.048952, 0.953127]]
    ),
}


def xyz_from_xy(xy: ArrayLike) -> Array:
    """CIE XYZ (..., 3) at Y = 1 of a chromaticity (..., 2).

    >>> xyz_from_xy((0.3127, 0.3290)).round(5).tolist()
    [0.95046, 1.0, 1.08906]
    """
    pair = np.asarray(xy, dtype=np.float64)
    x, y = pair[..., 0], pair[..., 1]
    return np.stack([x / y, np.ones_like(x), (1.0 - x - y) / y], axis=-1)


def xy_from_xyz(xyz: ArrayLike) -> Array:
    """Chromaticity (..., 2) of CIE XYZ (..., 3)."""
    values = np.asarray(xyz, dtype=np.float64)
    return np.asarray(values[..., :2] / values.sum(axis=-1, keepdims=True))


def cone_response(xy: ArrayLike, method: str = "Bradford") -> Array:
    """Sharpened cone response (..., 3) of a chromaticity at Y = 1. It can be negative for pure colours."""
    return np.asarray(xyz_from_xy(xy) @ CONE_MATRICES[method].T)


def adaptation_matrix(
    source_white_xy: Sequence[float] | Array,
    target_white_xy: Sequence[float] | Array,
    method: str = "Bradford",
) -> Array:
    """(3, 3) matrix on XYZ that carries ``source_white_xy`` to ``target_white_xy``, Y of the white kept.

    Parameters
    ----------
    source_white_xy, target_white_xy : chromaticities x, y with positive cone responses.
    method : "Bradford", "CAT02" or "CAT16".

    Raises
    ------
    ValueError : a white has no positive cone response (a spectral colour), so no adaptation exists.

    Examples
    --------
    ICC.1:2010 annex E, D65 to D50, first row 1.0479, 0.0229, -0.0502:

    >>> adaptation_matrix((0.3127, 0.3290), (0.3457, 0.3585))[0].round(3).tolist()
    [1.048, 0.023, -0.05]
    """
    cone = CONE_MATRICES[method]
    source, target = cone_response(source_white_xy, method), cone_response(target_white_xy, method)
    if min(source.min(), target.min()) <= 0:
        raise ValueError("a white without positive cone responses cannot be adapted")
    return np.asarray(np.linalg.inv(cone) @ np.diag(target / source) @ cone)
