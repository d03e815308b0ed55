"""A colour-mixing fixture as three primaries: what it reaches, and what it cannot."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

XY = tuple[float, float]


def area(primaries: Sequence[XY]) -> float:
    """Area of the triangle of three chromaticities in CIE 1931 x, y.

    >>> round(area([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)]), 4)
    0.112
    """
    (x_1, y_1), (x_2, y_2), (x_3, y_3) = primaries
    return abs((x_2 - x_1) * (y_3 - y_1) - (x_3 - x_1) * (y_2 - y_1)) / 2


def shares(primaries: Sequence[XY], target: XY) -> tuple[float, float, float]:
    """Luminous share of each primary that mixes to ``target``, sum 1; a negative share is out of reach.

    BT.709's primaries make D65 with 0.2126, 0.7152, 0.0722 (ITU-R BT.709-6, 3.2):

    >>> [round(s, 4) for s in shares([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)], (0.3127, 0.3290))]
    [0.2126, 0.7152, 0.0722]
    """
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    x, y = target
    luminous = np.linalg.solve(columns, [x / y, 1.0, (1 - x - y) / y])
    return float(luminous[0]), float(luminous[1]), float(luminous[2])


def reaches(primaries: Sequence[XY], target: XY) -> bool:
    """Whether the fixture can make ``target``."""
    return min(shares(primaries, target)) >= -1e-9


def nearest_reachable(primaries: Sequence[XY], target: XY) -> XY:
    """The chromaticity of the fixture's gamut nearest to ``target``, measured in CIE 1976 u', v'."""
    from lookdev.colorimetry.temperature import uv1976_from_xy, xy_from_uv1976

    if reaches(primaries, target):
        return target
    corners, wanted = uv1976_from_xy(np.array(primaries)), uv1976_from_xy(target)
    best: tuple[float, np.ndarray] | None = None
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = end - start
        t = float(np.clip((wanted - start) @ along / (along @ along), 0.0, 1.0))
        point = start + t * along
        distance = float(np.hypot(*(wanted - point)))
        if best is None or distance < best[0]:
            best = (distance, point)
    assert best is not None
    xy = xy_from_uv1976(best[1])
    return float(xy[0]), float(xy[1])
