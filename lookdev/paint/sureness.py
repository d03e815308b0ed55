"""How sure a colour is that comes from an estimated reflectance: 9 in 10 within so much.

A measured surface and the smooth reflectance estimated from its colour differ by a residual that the lamp of
the colour's own conditions cannot see. The residuals of measured surfaces of nearly the same colour are added
to a chip's estimate; where 9 in 10 of the results land on screen is what is said of the chip. A Munsell
notation says less than a colour: measured papers lie off their notation, which is added the same way.

Nothing is fitted but how many neighbours count, by leaving out whole sets of ``paint.measured``;
``tests/reference/test_paint_sureness.py`` counts the coverage, leave-out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.paint.measured import MeasuredSurfaces, measured_surfaces
from lookdev.paint.recovery import sigmoid_coefficients, sigmoid_reflectance
from lookdev.paint.spectra import illuminant_weights, white_xy

Array = NDArray[np.float64]

SHARE = 0.9
"""Share of surfaces that lie within what is said."""

NEIGHBOURS = 40
"""Measured surfaces, nearest in CIELAB, whose residuals a chip gets: enough for a share of 9 in 10."""

FLOOR = 0.2
"""CIEDE2000: nothing estimated is surer than instruments agree among themselves (common practice)."""


PAPER_SD_LIGHTNESS = 0.8
PAPER_SD_CHROMA = (0.75, 0.032)
PAPER_SD_HUE = 0.9
"""How far papers lie off their Munsell notation under illuminant C: standard deviations in CIELAB of L*, of
C* (a constant and a share of it), and across it. From the 1269 matt papers of the Munsell atlas as the
University of Eastern Finland measured them (380 to 800 nm), the scale of their lightness, which is the
instrument's, taken out."""


@dataclass(frozen=True, eq=False)
class Residuals:
    """What estimates of measured surfaces miss, for colours given under one illuminant and observer.

    ``lab`` (n, 3): the surfaces' colours. ``missing`` (n, 85): measured less estimated reflectance.
    """

    illuminant: str
    observer_degrees: int
    lab: Array
    missing: Array

    def alternatives(self, reflectances: Array, munsell: bool = False) -> Array:
        """Other reflectances (n, NEIGHBOURS, 85), 0 to 1, that chips (n, 85) may have as well."""
        weights = illuminant_weights(self.illuminant, self.observer_degrees)
        lab = lab_from_xyz(reflectances @ weights, white_xy(weights))
        count = min(NEIGHBOURS, len(self.lab))
        apart = ((lab[:, None] - self.lab[None]) ** 2).sum(axis=-1)
        near = np.argsort(apart, axis=1, kind="stable")[:, :count]
        out = reflectances[:, None] + self.missing[near]
        if munsell:
            out += self._moved(reflectances, lab, weights, count)
        return np.clip(out, 0.0, 1.0)

    def _moved(self, reflectances: Array, lab: Array, weights: Array, count: int) -> Array:
        """Changes (n, count, 85) of smooth reflectances that move their colour as papers are off."""
        chroma = np.maximum(np.hypot(lab[:, 1], lab[:, 2]), 1e-6)
        along = lab[:, 1:] / chroma[:, None]
        across = np.stack([-along[:, 1], along[:, 0]], axis=-1)
        chroma_sd = PAPER_SD_CHROMA[0] + PAPER_SD_CHROMA[1] * chroma
        normal = _normal_points(count)
        off = np.empty((len(lab), count, 3))
        off[..., 0] = PAPER_SD_LIGHTNESS * normal[:, 0]
        off[..., 1:] = (chroma_sd[:, None] * normal[:, 1])[..., None] * along[
            :, None
        ] + PAPER_SD_HUE * normal[None, :, 2:] * across[:, None]
        return np.asarray(np.einsum("nkc,ncw->nkw", off, _lab_moves(reflectances, weights)))


@lru_cache(maxsize=4)
def _normal_points(count: int) -> Array:
    """The same points (count, 3) each time, normally distributed with standard deviation 1."""
    from scipy.special import ndtri
    from scipy.stats.qmc import Halton

    return np.asarray(ndtri(np.clip(Halton(3, scramble=False).random(count + 1)[1:], 1e-3, 1 - 1e-3)))


def _lab_moves(reflectances: Array, weights: Array) -> Array:
    """Changes of reflectance (n, 3, 85), smooth, that move CIELAB by one unit of L*, a*, b* each."""
    t = np.linspace(-1.0, 1.0, reflectances.shape[-1])
    basis = np.stack([np.ones_like(t), t, t * t])
    room = reflectances * (1.0 - reflectances) + 1e-3
    directions = room[:, None] * basis
    white = white_xy(weights)
    base = lab_from_xyz(reflectances @ weights, white)
    h = 1e-3
    moved = lab_from_xyz((reflectances[:, None] + h * directions) @ weights, white)
    jacobian = (moved - base[:, None]) / h
    return np.asarray(np.linalg.solve(jacobian + 1e-9 * np.eye(3), directions))


@lru_cache(maxsize=16)
def residuals(illuminant: str = "D65", observer_degrees: int = 2) -> Residuals:
    """Residuals of all measured surfaces, for colours given under these conditions."""
    return residuals_of(measured_surfaces(), illuminant, observer_degrees)


def residuals_of(surfaces: MeasuredSurfaces, illuminant: str, observer_degrees: int = 2) -> Residuals:
    """:func:`residuals` of a part of the measured surfaces: for leaving out."""
    weights = illuminant_weights(illuminant, observer_degrees)
    xyz = surfaces.reflectances @ weights
    coefficients, left = sigmoid_coefficients(xyz, weights)
    held = left < 0.5
    missing = (surfaces.reflectances - sigmoid_reflectance(coefficients))[held]
    return Residuals(illuminant, observer_degrees, lab_from_xyz(xyz, white_xy(weights))[held], missing)


def within(
    base_scene: Array,
    other_scenes: Array,
    screen_lab: Callable[[Array], Array],
) -> Array:
    """CIEDE2000 (n,) within which SHARE of the alternatives land on screen.

    Parameters
    ----------
    base_scene : scene light (n, 3) of the estimates.
    other_scenes : scene light (n, k, 3) of their alternatives.
    screen_lab : CIELAB (..., 3) on screen of scene light (..., 3); taken as straight over the alternatives,
        which costs seven colours a chip, not forty.
    """
    off = other_scenes - base_scene[:, None]
    step = np.maximum(np.sqrt(np.mean(off * off, axis=1)), 1e-7)
    shifts = step[:, None] * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])[None]
    seen = screen_lab(base_scene[:, None] + shifts)
    slopes = (seen[:, 1:4] - seen[:, 4:7]) / (2.0 * step[..., None])
    moved = seen[:, :1] + off @ slopes
    return np.maximum(np.quantile(ciede2000(seen[:, :1], moved), SHARE, axis=1), FLOOR)
