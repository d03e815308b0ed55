"""How far a LUT is from the look it was made of: CIEDE2000 on fixed colours, and where the worst one is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.difference import ciede2000, lab_from_working
from lookdev.colorimetry.encodings import SRGB, Encoding
from lookdev.looks.pipeline import Transform
from lookdev.looks.rendering import lift_curve, render_curve
from lookdev.lut.cube import ONE, ZERO, CubeLut, Triple

Array = NDArray[np.float64]

_SPREAD_POINTS = 12000
_MAX_CELLS = 24
_REPORT_POINTS, _REPORT_CELLS = 4096, 16
"""For the lines at the head of a file: a third of the colours, as many of them in the middles of cells."""


@dataclass(frozen=True)
class Difference:
    """Statistics of CIEDE2000 over ``count`` colours; ``worst_input`` is the code value of the largest."""

    mean: float
    p95: float
    p99: float
    maximum: float
    count: int
    worst_input: Triple

    def words(self) -> str:
        """On one line, as in the comments of a .cube file."""
        return (
            f"mean {self.mean:.3f}, 95% below {self.p95:.3f}, 99% below {self.p99:.3f}, "
            f"largest {self.maximum:.3f}"
        )

    def numbers(self, digits: int = 4) -> dict[str, object]:
        """For JSON."""
        return {
            "mean": round(self.mean, digits),
            "p95": round(self.p95, digits),
            "p99": round(self.p99, digits),
            "max": round(self.maximum, digits),
            "count": self.count,
            "worst_input": [round(v, 6) for v in self.worst_input],
        }


def difference(inputs: Array, deltas: Array) -> Difference:
    """Statistics of differences ``deltas`` (n,) at ``inputs`` (n, 3)."""
    worst = int(np.argmax(np.round(deltas, 6)))  # the first of those alike: the last digit is the machine's
    p95, p99 = np.percentile(deltas, [95, 99])
    at = inputs[worst]
    return Difference(
        float(deltas.mean()),
        float(p95),
        float(p99),
        float(deltas[worst]),
        len(deltas),
        (float(at[0]), float(at[1]), float(at[2])),
    )


def appearance(signal: ArrayLike, encoding: Encoding) -> Array:
    """CIELAB (..., 3) of code values as they would be shown; scene-referred light is rendered first."""
    light = encoding.to_working(signal)
    return lab_from_working(render_curve(light) if encoding.state == "scene" else light)


@lru_cache(maxsize=4)
def spread_points(count: int = _SPREAD_POINTS) -> Array:
    """``count`` points (count, 3) spread evenly over the unit cube, always the same.

    The additive recurrence on the plastic number's generalisation (M. Roberts 2018); its points fall on no
    lattice, so that a LUT is tested between its own points.
    """
    root = 1.2207440846057596  # of x^4 = x + 1
    steps = np.array([1 / root, 1 / root**2, 1 / root**3])
    points = (0.5 + np.arange(1, count + 1)[:, None] * steps) % 1.0
    points.setflags(write=False)
    return np.asarray(points)


def trial_inputs(
    size: int,
    domain_min: Triple = ZERO,
    domain_max: Triple = ONE,
    points: int = _SPREAD_POINTS,
    most_cells: int = _MAX_CELLS,
) -> Array:
    """Fixed code values (n, 3): evenly spread points, and the middles of the LUT's own cells.

    ``most_cells`` : along an edge; of more, some.
    """
    cells = size - 1
    pick = np.unique(np.linspace(0, cells - 1, min(cells, most_cells)).round().astype(int))
    axis = (pick + 0.5) / cells
    middles = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)
    low, high = np.array(domain_min), np.array(domain_max)
    return np.asarray(low + (high - low) * np.concatenate([spread_points(points), middles]))


def picture_inputs(source: Encoding, points: int = _SPREAD_POINTS) -> Array:
    """Code values (n, 3) in ``source`` of the colours that an sRGB picture can hold, evenly spread."""
    light = SRGB.to_working(spread_points(points))
    return source.from_working(light if source.state == "output" else lift_curve(light))


def lut_error(lut: CubeLut, transform: Transform) -> tuple[Difference, Difference]:
    """CIEDE2000 of ``lut`` against the look: over its whole input cube, and over picture colours alone."""
    over_picture = _error(lut, transform, picture_inputs(transform.source, _REPORT_POINTS))
    if lut.shaper is not None:
        return over_picture, over_picture
    whole = trial_inputs(lut.size, lut.domain_min, lut.domain_max, _REPORT_POINTS, _REPORT_CELLS)
    return _error(lut, transform, whole), over_picture


def own_error(lut: CubeLut, transform: Transform, inputs: Array) -> Difference:
    """CIEDE2000 of ``lut`` against the look over code values (n, 3) of one's own."""
    return _error(lut, transform, inputs)


def _error(lut: CubeLut, transform: Transform, inputs: Array) -> Difference:
    wanted = appearance(transform(inputs), transform.target)
    got = appearance(lut(inputs), transform.target)
    return difference(inputs, ciede2000(wanted, got))
