"""Tone curves of ICC profiles as small picklable functions with exact inverses.

ICC.1:2022 10.6 (curveType) and 10.18 (parametricCurveType, function types 0 to 4).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_LEAST_SLOPE = 1e-9
_END_SLOPE = 0.05


@dataclass(frozen=True)
class ParametricCurve:
    """ICC.1:2022 table 68, type 4 in general: ``(a x + b) ** g + e`` from ``d`` up, ``c x + f`` below.

    Types 0 to 3 are written in the same seven parameters. Below zero a pure power is odd and the other kinds
    run on along their lower part. A part that is flat is given a slope of 1e-9, so that it has an inverse.

    >>> round(float(ParametricCurve(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)(0.5)), 6)
    0.214041
    """

    g: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    @property
    def is_power(self) -> bool:
        """Whether this is ``x ** g`` and nothing else."""
        return (self.a, self.b, self.d, self.e) == (1.0, 0.0, 0.0, 0.0)

    def _low_slope(self) -> float:
        return self.c if self.c > _LEAST_SLOPE else _LEAST_SLOPE

    def _high(self, x: Array) -> Array:
        return np.asarray(np.maximum(self.a * x + self.b, 0.0) ** self.g + self.e)

    def __call__(self, values: ArrayLike) -> Array:
        """Linear light of a signal, any shape."""
        x = np.asarray(values, dtype=np.float64)
        if self.is_power:
            return np.asarray(np.copysign(np.abs(x) ** self.g, x))
        low = self._low_slope() * x + self.f
        return np.asarray(np.where(x >= self.d, self._high(x) + _LEAST_SLOPE * x, low))

    def inverse(self, values: ArrayLike) -> Array:
        """Signal of linear light, any shape."""
        y = np.asarray(values, dtype=np.float64)
        if self.is_power:
            return np.asarray(np.copysign(np.abs(y) ** (1 / self.g), y))
        edge = max(self._low_slope() * self.d + self.f, self.f)
        start = max(self.d, 0.0 if self.d < 0 else self.d)
        raw = (np.maximum(y - self.e, 0.0) ** (1 / self.g) - self.b) / self.a
        for _ in range(2):  # takes the 1e-9 slope out again
            raw = (np.maximum(y - self.e - _LEAST_SLOPE * raw, 0.0) ** (1 / self.g) - self.b) / self.a
        return np.asarray(np.where(y < edge, (y - self.f) / self._low_slope(), np.maximum(raw, start)))


@dataclass(frozen=True)
class TableCurve:
    """ICC.1:2022 10.6: equally spaced entries over [0, 1], straight between them and beyond the ends.

    Entries are made increasing (flat or falling parts get a slope of 1e-9), so that codes have an inverse.
    """

    entries: tuple[float, ...]

    def __call__(self, values: ArrayLike) -> Array:
        """Linear light of a signal, any shape."""
        grid, table = _increasing(self.entries)
        return _straight(np.asarray(values, dtype=np.float64), grid, table)

    def inverse(self, values: ArrayLike) -> Array:
        """Signal of linear light, any shape."""
        grid, table = _increasing(self.entries)
        return _straight(np.asarray(values, dtype=np.float64), table, grid)


@lru_cache(maxsize=64)
def _increasing(entries: tuple[float, ...]) -> tuple[Array, Array]:
    """Grid and table, with one more point at each end that carries the end slopes on."""
    table = np.maximum.accumulate(np.asarray(entries, dtype=np.float64))
    grid = np.linspace(0.0, 1.0, len(table))
    table = table + _LEAST_SLOPE * grid
    step = grid[1]
    first = max((table[1] - table[0]) / step, _END_SLOPE)
    last = max((table[-1] - table[-2]) / step, _END_SLOPE)
    reach = 1e4
    grid = np.concatenate([[-reach], grid, [1 + reach]])
    table = np.concatenate([[table[0] - first * reach], table, [table[-1] + last * reach]])
    return grid, table


def _straight(x: Array, xs: Array, ys: Array) -> Array:
    return np.asarray(np.interp(x, xs, ys))


Curve = ParametricCurve | TableCurve


@dataclass(frozen=True)
class Curves:
    """One curve for each of red, green, blue; on arrays (..., 3). ``inverted`` encodes."""

    red: Curve
    green: Curve
    blue: Curve
    inverted: bool = False

    def __call__(self, values: ArrayLike) -> Array:
        """Linear RGB (..., 3) of a signal (..., 3), or back if ``inverted``."""
        x = np.asarray(values, dtype=np.float64)
        curves = [c.inverse if self.inverted else c for c in (self.red, self.green, self.blue)]
        if self.red == self.green == self.blue:
            return curves[0](x)
        return np.stack([curve(x[..., i]) for i, curve in enumerate(curves)], axis=-1)
