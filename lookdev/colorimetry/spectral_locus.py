"""CIE 15:2018: the spectral locus of the 1931 observer, inside which every light lies."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

XY = tuple[float, float]


def is_possible(xy: XY, slack: float = 0.003) -> bool:
    """Whether a light can have this chromaticity: inside the spectral locus, or outside by a meter's error.

    >>> is_possible((0.3127, 0.3290)), is_possible((0.70, 0.40)), is_possible((0.1, 0.1))
    (True, False, False)
    """
    import numpy as np

    locus = _spectral_locus()
    x_1, y_1 = locus.T
    x_2, y_2 = np.roll(locus, -1, axis=0).T
    x, y = xy
    crosses = (y_1 > y) != (y_2 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x_1 + (y - y_1) * (x_2 - x_1) / (y_2 - y_1)
    if np.count_nonzero(crosses & (x < at)) % 2:
        return True
    dx, dy = x_2 - x_1, y_2 - y_1
    length = np.maximum(dx * dx + dy * dy, 1e-18)
    t = np.clip(((x - x_1) * dx + (y - y_1) * dy) / length, 0.0, 1.0)
    return bool(np.min(np.hypot(x_1 + t * dx - x, y_1 + t * dy - y)) <= slack)


@lru_cache(maxsize=1)
def _spectral_locus() -> Any:
    """x, y (n, 2) of the spectral locus, where the observer sees anything to speak of."""
    from lookdev.colorimetry.temperature import observer_1nm

    _, bars = observer_1nm()
    seen = bars.sum(axis=1) > 1e-4
    return bars[seen, :2] / bars[seen].sum(axis=1, keepdims=True)
