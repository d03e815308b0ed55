"""Interpolation in LUT tables: linear in one dimension, tetrahedral in three. Float64, clamped to the table.

Tetrahedral interpolation: Kanamori and Kotera 1992 as every grading system implements it: each cell is cut
into six tetrahedra along its grey diagonal, so that grey in a table that maps grey to grey stays grey.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def lookup_1d(table: Array, position: ArrayLike) -> Array:
    """Linear interpolation per channel: ``table`` (n, 3), ``position`` (..., 3) where 0 to 1 spans the table.

    >>> lookup_1d(np.array([[0.0] * 3, [1.0] * 3]), [0.25, 0.5, 2.0]).tolist()
    [0.25, 0.5, 1.0]
    """
    p = _clamped(position) * (len(table) - 1)
    low = np.minimum(p.astype(np.intp), len(table) - 2)
    part = p - low
    channel = np.arange(3)
    return np.asarray(table[low, channel] * (1.0 - part) + table[low + 1, channel] * part)


def lookup_tetrahedral(table: Array, position: ArrayLike) -> Array:
    """Tetrahedral interpolation: ``table`` (n, n, n, 3) by red, green, blue; ``position`` (..., 3) in [0, 1].

    >>> corner = np.stack(np.meshgrid([0.0, 1.0], [0.0, 1.0], [0.0, 1.0], indexing="ij"), axis=-1)
    >>> lookup_tetrahedral(corner, [0.1, 0.7, 0.4]).round(12).tolist()
    [0.1, 0.7, 0.4]
    """
    size = len(table)
    flat = table.reshape(-1, 3)
    p = _clamped(position)
    shape = p.shape
    p = p.reshape(-1, 3) * (size - 1)
    low = np.minimum(p.astype(np.intp), size - 2)
    part = p - low
    strides = np.array([size * size, size, 1])
    order = np.argsort(-part, axis=-1, kind="stable")
    f = np.take_along_axis(part, order, axis=-1)
    steps = strides[order]
    corner = low @ strides
    out = flat.take(corner, axis=0) * (1.0 - f[:, :1])  # a third of the time of flat[corner]
    for k, weight in enumerate((f[:, 0] - f[:, 1], f[:, 1] - f[:, 2], f[:, 2])):
        corner = corner + steps[:, k]
        out += flat.take(corner, axis=0) * weight[:, None]
    return np.asarray(out.reshape(shape))


def _clamped(position: ArrayLike) -> Array:
    values = np.asarray(position, dtype=np.float64)
    return np.clip(np.where(np.isnan(values), 0.0, values), 0.0, 1.0)


def lookup_trilinear(table: Array, position: ArrayLike) -> Array:
    """Trilinear interpolation, as some systems do it; arguments as for :func:`lookup_tetrahedral`."""
    size = len(table)
    p = _clamped(position) * (size - 1)
    low = np.minimum(p.astype(np.intp), size - 2)
    part = p - low
    out = np.zeros(p.shape)
    for corner in range(8):
        bits = np.array([corner >> 2 & 1, corner >> 1 & 1, corner & 1])
        at = low + bits
        weight = np.prod(np.where(bits == 1, part, 1.0 - part), axis=-1)
        out += table[at[..., 0], at[..., 1], at[..., 2]] * weight[..., None]
    return out
