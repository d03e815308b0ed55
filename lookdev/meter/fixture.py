"""A lamp that mixes its colour from three or more emitters: what it reaches, and what it cannot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

XY = tuple[float, float]
Array = NDArray[np.float64]


def outline(emitters: Sequence[XY]) -> list[XY]:
    """The corners of what the emitters reach, counter-clockwise: their convex hull in x, y.

    >>> outline([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06), (0.33, 0.33)])
    [(0.15, 0.06), (0.64, 0.33), (0.3, 0.6)]
    """
    points = sorted({(float(x), float(y)) for x, y in emitters})
    if len(points) < 3:
        return points

    def half(ordered: Sequence[XY]) -> list[XY]:
        chain: list[XY] = []
        for point in ordered:
            while len(chain) >= 2 and _turn(chain[-2], chain[-1], point) <= 1e-12:
                chain.pop()
            chain.append(point)
        return chain[:-1]

    return half(points) + half(points[::-1])


def _turn(a: XY, b: XY, c: XY) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def span(emitters: Sequence[XY]) -> float:
    """Area of what the emitters reach in CIE 1931 x, y.

    >>> round(span([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)]), 3)
    0.112
    """
    corners = outline(emitters)
    pairs = zip(corners, corners[1:] + corners[:1], strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2 if len(corners) > 2 else 0.0


def shares(emitters: Sequence[XY], target: XY) -> tuple[float, float, float]:
    """Luminous share of each of three emitters that mixes to ``target``, sum 1; a negative one is out of
    reach.

    BT.709's primaries make D65 with 0.2126, 0.7152, 0.0722 (ITU-R BT.709-6, 3.2):

    >>> [round(s, 4) for s in shares([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)], (0.3127, 0.3290))]
    [0.2126, 0.7152, 0.0722]
    """
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in emitters]).T
    x, y = target
    luminous = np.linalg.solve(columns, [x / y, 1.0, (1 - x - y) / y])
    return float(luminous[0]), float(luminous[1]), float(luminous[2])


def reaches(emitters: Sequence[XY], target: XY) -> bool:
    """Whether the lamp can make ``target``.

    Mixtures of two lights lie on a straight line in x, y (Grassmann's laws), those of many inside their
    outline.

    >>> reaches([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)], (0.3127, 0.3290))
    True
    """
    corners = outline(emitters)
    if len(corners) < 3:
        return False
    pairs = zip(corners, corners[1:] + corners[:1], strict=True)
    return all(_turn(a, b, target) >= -1e-9 for a, b in pairs)


def nearest_reachable(emitters: Sequence[XY], target: XY) -> XY:
    """The chromaticity that the lamp makes nearest to ``target``, measured in CIE 1976 u', v'."""
    from lookdev.colorimetry.temperature import uv1976_from_xy, xy_from_uv1976

    if reaches(emitters, target):
        return target
    corners, wanted = uv1976_from_xy(np.array(outline(emitters))), uv1976_from_xy(target)
    best: tuple[float, Array] | None = None
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


@dataclass(frozen=True)
class Dial:
    """What to dial on a colour-mixing lamp to get a chromaticity.

    ``cct_k`` and ``duv`` are None where CCT has no meaning. ``reachable`` is None without emitters; where
    it is False, ``nearest_xy`` is the nearest colour that the lamp makes, ``short_uv`` away in u', v'
    (1976).
    """

    name: str
    xy: XY
    cct_k: float | None
    duv: float | None
    reachable: bool | None = None
    nearest_xy: XY | None = None
    short_uv: float | None = None


def dial(name: str, xy: XY, emitters: Sequence[XY] | None = None) -> Dial:
    """The setting for ``xy``, and whether a lamp with these ``emitters`` reaches it."""
    from lookdev.colorimetry.temperature import cct_duv_from_xy, is_cct_meaningful, uv1976_from_xy

    cct, duv = cct_duv_from_xy(xy) if is_cct_meaningful(xy) else (None, None)
    if emitters is None:
        return Dial(name, xy, cct, duv)
    if reaches(emitters, xy):
        return Dial(name, xy, cct, duv, True)
    near = nearest_reachable(emitters, xy)
    short = float(np.hypot(*(uv1976_from_xy(near) - uv1976_from_xy(xy))))
    return Dial(name, xy, cct, duv, False, near, short)
