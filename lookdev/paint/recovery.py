"""A smooth reflectance from a colour, by published methods, and how far the methods differ.

- Jakob and Hanika 2019, Comput. Graph. Forum 38:2, 147-155: a sigmoid of a quadratic in wavelength. Always
  between 0 and 1, and any colour that paint can have is met; the method used where one spectrum is needed.
  Solved here for many colours at once; ``tests/reference/test_paint_recovery.py`` holds it to colour-science.
- Otsu, Yamamoto, Hachisuka 2018, Comput. Graph. Forum 37:6, 370-381: principal components of measured
  reflectances, by cluster of chromaticity. Data from colour-science.
- Meng, Simon, Hanika, Dachsbacher 2015, Comput. Graph. Forum 34:4, 31-40: the smoothest spectrum, least sum
  of squared steps. Solved in closed form, without its bounds.

A second and third recovery is kept only where it stays between 0 and 1 and so meets the colour: they tell how
much is not known.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.difference import lab_from_xyz
from lookdev.paint.spectra import GRID_NM, white_xy

Array = NDArray[np.float64]

Recovery = tuple[str, Array, NDArray[np.bool_]]
"""Method, spectra (n, 85), which of them hold (n,)."""

METHOD = "Jakob and Hanika 2019"
_T = (GRID_NM - 570.0) / 210.0
_BASIS = np.stack([np.ones_like(_T), _T, _T * _T])
_MAX_COEFFICIENT = 400.0


def sigmoid_reflectance(coefficients: ArrayLike) -> Array:
    """Reflectance (..., 85) of coefficients (..., 3) in 1, t, t^2, t running -1 to 1 over 360 to 780 nm.

    >>> float(sigmoid_reflectance([0.0, 0.0, 0.0])[10])
    0.5
    """
    x = np.asarray(coefficients, dtype=np.float64) @ _BASIS
    return np.asarray(0.5 + x / (2 * np.sqrt(1 + x * x)))


def _slope(coefficients: Array) -> Array:
    x = coefficients @ _BASIS
    return np.asarray(0.5 * (1 + x * x) ** -1.5)


def sigmoid_coefficients(xyz: ArrayLike, weights: Array, iterations: int = 200) -> tuple[Array, Array]:
    """Coefficients (n, 3) of the sigmoids with colours ``xyz`` (n, 3) under a lamp, and what is left over.

    Parameters
    ----------
    xyz : CIE XYZ under the lamp, perfect white at Y = 1.
    weights : the lamp, (85, 3), from ``lamp_weights``.

    Returns
    -------
    coefficients (n, 3) and the CIELAB distance (n,) still open: next to nothing inside the object-colour
    solid; a colour outside gets the sigmoid that comes nearest.
    """
    targets = np.atleast_2d(np.asarray(xyz, dtype=np.float64))
    white = white_xy(weights)
    goal = lab_from_xyz(targets, white)
    grey = 2 * np.clip(targets[:, 1], 0.004, 0.996) - 1
    c = np.zeros((len(targets), 3))
    c[:, 0] = grey / np.sqrt(1 - grey * grey)

    def error(k: Array, rows: NDArray[np.intp]) -> Array:
        return lab_from_xyz(sigmoid_reflectance(k) @ weights, white) - goal[rows]

    damping = np.full(len(targets), 1e-2)
    every = np.arange(len(targets))
    miss = error(c, every)
    size = np.einsum("ij,ij->i", miss, miss)
    todo = every
    for _ in range(iterations):
        todo = todo[(size[todo] > 1e-14) & (damping[todo] < 1e10)]
        if todo.size == 0:
            break
        part = c[todo]
        slope = _slope(part)
        spectrum = sigmoid_reflectance(part)
        d_xyz = np.einsum("nw,wk,bw->nkb", slope, weights, _BASIS, optimize=True)
        jacobian = _lab_slope(spectrum @ weights, white) @ d_xyz
        square = np.swapaxes(jacobian, 1, 2) @ jacobian
        pull = np.einsum("nkb,nk->nb", jacobian, miss[todo])
        diagonal = np.einsum("nbb->nb", square)
        square = square + (damping[todo, None] * (diagonal + 1e-9))[:, :, None] * np.eye(3)
        step = np.linalg.solve(square, pull[..., None])[..., 0]
        new = np.clip(part - step, -_MAX_COEFFICIENT, _MAX_COEFFICIENT)
        new_miss = error(new, todo)
        new_size = np.einsum("ij,ij->i", new_miss, new_miss)
        better = new_size < size[todo]
        won = todo[better]
        c[won], miss[won], size[won] = new[better], new_miss[better], new_size[better]
        damping[todo] = np.where(better, damping[todo] * 0.3, damping[todo] * 4.0)
    return c, np.sqrt(size)


def _lab_slope(xyz: Array, white: tuple[float, float]) -> Array:
    """d(L*, a*, b*) / d(X, Y, Z), (n, 3, 3)."""
    from lookdev.colorimetry.adaptation import xyz_from_xy

    scale = xyz_from_xy(white)
    t = xyz / scale
    floor = (6 / 29) ** 3
    f = np.where(t > floor, np.maximum(t, floor) ** (-2 / 3) / 3, 1 / (3 * (6 / 29) ** 2)) / scale
    out = np.zeros((*xyz.shape[:-1], 3, 3))
    out[..., 0, 1] = 116 * f[..., 1]
    out[..., 1, 0], out[..., 1, 1] = 500 * f[..., 0], -500 * f[..., 1]
    out[..., 2, 1], out[..., 2, 2] = 200 * f[..., 1], -200 * f[..., 2]
    return out


def smoothest(xyz: ArrayLike, weights: Array) -> Array:
    """The spectra (n, 85) of least summed squared step with colours ``xyz`` (n, 3); they may leave 0..1."""
    targets = np.atleast_2d(np.asarray(xyz, dtype=np.float64))
    n = len(GRID_NM)
    steps = np.diff(np.eye(n), axis=0)
    system = np.zeros((n + 3, n + 3))
    system[:n, :n] = 2 * steps.T @ steps
    system[:n, n:], system[n:, :n] = weights, weights.T
    right = np.zeros((n + 3, len(targets)))
    right[n:] = targets.T
    return np.asarray(np.linalg.solve(system, right)[:n].T)


@lru_cache(maxsize=1)
def _otsu_clusters() -> tuple[Any, Array, Array]:
    from lookdev.colorimetry.library import colour_science
    from lookdev.paint.spectra import on_grid

    colour_science()
    from colour.recovery.otsu2018 import DATASET_REFERENCE_OTSU2018

    data: Any = DATASET_REFERENCE_OTSU2018

    wavelengths = np.asarray(data.shape.wavelengths, dtype=np.float64)
    return data, on_grid(wavelengths, data.basis_functions), on_grid(wavelengths, data.means)


def otsu(xyz: ArrayLike, weights: Array, select_xy: ArrayLike) -> Array:
    """Spectra (n, 85) by Otsu, Yamamoto and Hachisuka 2018; they may leave 0..1.

    ``select_xy`` (n, 2): chromaticities under D65, by which the method picks its cluster.
    """
    targets = np.atleast_2d(np.asarray(xyz, dtype=np.float64))
    data, bases, means = _otsu_clusters()
    out = np.empty((len(targets), len(GRID_NM)))
    picked = np.array([data.select(xy) for xy in np.atleast_2d(np.asarray(select_xy))])
    for cluster in np.unique(picked):
        rows = picked == cluster
        basis, mean = bases[cluster], means[cluster]
        share = np.linalg.solve((basis @ weights).T, (targets[rows] - mean @ weights).T).T
        out[rows] = share @ basis + mean
    return out


def other_recoveries(xyz: ArrayLike, weights: Array, d65_xy: ArrayLike) -> list[Recovery]:
    """Second and third recoveries of ``xyz`` (n, 3): name, spectra (n, 85), which of them hold (n,)."""
    from lookdev.colorimetry.difference import ciede2000

    targets = np.atleast_2d(np.asarray(xyz, dtype=np.float64))
    white = white_xy(weights)
    out = []
    for name, spectra in (
        ("Otsu, Yamamoto and Hachisuka 2018", otsu(targets, weights, d65_xy)),
        ("Meng, Simon, Hanika and Dachsbacher 2015", smoothest(targets, weights)),
    ):
        physical = np.clip(spectra, 0.0, 1.0)
        miss = ciede2000(lab_from_xyz(physical @ weights, white), lab_from_xyz(targets, white))
        out.append((name, physical, np.asarray(miss <= 0.3)))
    return out
