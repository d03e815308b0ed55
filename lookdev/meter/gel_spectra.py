"""Filters as transmittances, and lamps seen through them: spectral sums at 1 nm (CIE 15:2018).

A filter that is known by its shift in mired and Duv alone stands as an ideal one: the ratio of two Planckian
radiators that are the shift apart, with a smooth bump or hollow at 545 nm for green and magenta, as clear
as it can be (1 at its clearest wavelength from 400 to 700 nm). On a smooth light it does what its label
says; on a lamp with lines it does what a gel can: it takes away, and puts nothing where the lamp emits
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.temperature import (
    mired_duv_from_xy,
    observer_1nm,
    planck_spectrum,
    uv1976_from_xy,
)

if TYPE_CHECKING:
    from lookdev.meter.gels import Filter
    from lookdev.meter.spectrum import Spectrum

Array = NDArray[np.float64]
XY = tuple[float, float]

CLEAR_NM = (400.0, 700.0)
GREEN_NM, GREEN_WIDTH_NM = 545.0, 45.0
BLUER_FROM_K, WARMER_FROM_K = 3200.0, 5600.0
"""The light that a filter's label is meant for (common practice): tungsten for the blue ones, daylight for
the orange, green and magenta ones."""

ROUGH = 0.12
"""Share of a lamp's power from 400 to 700 nm that lies off its own spectrum blurred by 25 nm, from which it
counts as a lamp with lines. CIE D65 has 0.03, LED-B1 0.10, FL2 0.22, HP1 0.54 (worked out here)."""

ON_THE_LOCUS_UV = 0.003
"""A light this near to the spectral locus in CIE 1976 u', v' is of one wavelength, and no filter moves it."""


def on_grid(spectrum: Spectrum) -> Array:
    """A spectrum at 1 nm from 360 to 830 nm, (471,); linear between its points, 0 beyond them."""
    grid, _ = observer_1nm()
    return np.asarray(np.interp(grid, spectrum.wavelengths_nm, spectrum.values, left=0.0, right=0.0))


def _xy(power: Array) -> Array:
    """x, y (..., 2) of spectra (..., 471)."""
    _, bars = observer_1nm()
    xyz = power @ bars
    return np.asarray(xyz[..., :2] / xyz.sum(axis=-1, keepdims=True))


def roughness(spectrum: Spectrum) -> float:
    """How much of a lamp is lines, 0 to about 1; see :data:`ROUGH`."""
    from scipy.ndimage import gaussian_filter1d

    grid, _ = observer_1nm()
    seen = (grid >= CLEAR_NM[0]) & (grid <= CLEAR_NM[1])
    power = on_grid(spectrum)
    power = power / power[seen].sum()
    return float(np.abs(power - gaussian_filter1d(power, 25.0, mode="nearest"))[seen].sum())


def is_of_one_wavelength(xy: XY) -> bool:
    """Whether a chromaticity lies on the spectral locus, where lights are of one wavelength.

    Low-pressure sodium emits 589 nm (the D lines); the 1931 observer puts that at x 0.5693, y 0.4301.

    >>> is_of_one_wavelength((0.5693, 0.4301)), is_of_one_wavelength((0.533, 0.415))
    (True, False)
    """
    _, bars = observer_1nm()
    seen = bars.sum(axis=1) > 1e-2
    locus = uv1976_from_xy(bars[seen, :2] / bars[seen].sum(axis=1, keepdims=True))
    return bool(np.hypot(*(locus - uv1976_from_xy(xy)).T).min() <= ON_THE_LOCUS_UV)


@lru_cache(maxsize=512)
def transmittance(one: Filter) -> Array:
    """A filter at 1 nm from 360 to 830 nm, (471,) from 0 to 1: its file, or the ideal one of its label."""
    if one.transmittance is not None:
        found = read_transmittance(one.transmittance)
        grid, _ = observer_1nm()
        return np.asarray(np.interp(grid, found.wavelengths_nm, found.values))
    return _ideal(one.mired, one.duv)


@lru_cache(maxsize=512)
def _ideal(mired: float, duv: float) -> Array:
    """The ideal filter of a shift, solved so that the light it is meant for moves by just that."""
    grid, _ = observer_1nm()
    if abs(mired) < 1e-9 and abs(duv) < 1e-9:
        return np.ones_like(grid)
    lamp = planck_spectrum(BLUER_FROM_K if mired < 0 else WARMER_FROM_K, grid)
    here = mired_duv_from_xy(_pair(_xy(lamp)))
    bump = np.exp(-0.5 * ((grid - GREEN_NM) / GREEN_WIDTH_NM) ** 2)
    wien = -14387768.775 * 1e-6 * (1.0 / grid - 1.0 / GREEN_NM)  # CODATA 2018's c2 in nm K, a mired of shift

    def shift(terms: Array) -> Array:
        through = lamp * np.exp(terms[0] * wien + terms[1] * bump)
        after = mired_duv_from_xy(_pair(_xy(through)))
        return np.array([after[0] - here[0], 1e4 * (after[1] - here[1])])

    wanted, terms = np.array([mired, 1e4 * duv]), np.array([mired, 30.0 * duv])
    for _ in range(12):
        off = wanted - shift(terms)
        if np.abs(off).max() < 1e-6:
            break
        steps = np.array([[1e-2, 0.0], [0.0, 1e-4]])
        slopes = np.stack([(shift(terms + s) - shift(terms - s)) / (2 * s.sum()) for s in steps], axis=1)
        terms = terms + np.linalg.solve(slopes, off)
    through = np.exp(terms[0] * wien + terms[1] * bump)
    clear = through[(grid >= CLEAR_NM[0]) & (grid <= CLEAR_NM[1])].max()
    return np.asarray(np.minimum(through / clear, 1.0))


def read_transmittance(path: Path) -> Spectrum:
    """A filter's transmittance: a table of nm, value; per cent where a value is over 1.5.

    Raises
    ------
    MeterError : names the file, the row, what was found and what is wanted.
    """
    from lookdev.errors import MeterError
    from lookdev.meter.spectrum import Spectrum, read_spectrum

    found = read_spectrum(path)
    values = found.values / 100.0 if float(found.values.max()) > 1.5 else found.values
    if float(values.max()) > 1.02:
        raise MeterError(
            "lets more light through than falls on it",
            file=path.name,
            found=f"{float(values.max()):g}",
            wanted="transmittance from 0 to 1, or 0 to 100 per cent",
        )
    return Spectrum(found.wavelengths_nm, np.minimum(values, 1.0), found.name)


@dataclass(frozen=True, eq=False)
class Through:
    """A lamp through combinations of filters: ``xy`` (n, 2) and ``lost_stops`` (n,) of each."""

    xy: Array
    lost_stops: Array


def through(spectrum: Spectrum, filters: tuple[Filter, ...]) -> Through:
    """A lamp's chromaticity, and the light lost, through each stack that is hung of some filters.

    The stacks are those of :func:`lookdev.meter.filters.stacks_of`, in that order.
    """
    _, bars = observer_1nm()
    weighted = on_grid(spectrum)[:, None] * bars
    warm, green = _gels(filters)
    passed = np.stack([((warm * column) @ green.T).ravel() for column in weighted.T], axis=1)
    with np.errstate(divide="ignore"):
        lost = -np.log2(passed[:, 1] / float(weighted[:, 1].sum()))
    return Through(passed[:, :2] / passed.sum(axis=1, keepdims=True), lost)


@lru_cache(maxsize=8)
def _gels(filters: tuple[Filter, ...]) -> tuple[Array, Array]:
    """The combinations of each family at 1 nm, (n, 471); a stack is one of each, multiplied."""
    from lookdev.meter.gels import families_of

    clear = np.ones_like(observer_1nm()[0])
    warm, green = (
        np.stack([np.prod([clear, *(transmittance(one) for one in stack)], axis=0) for stack in family])
        for family in families_of(filters)
    )
    return warm, green


def nominal_shift(path: Path) -> tuple[float, float, float]:
    """Shift in mired, in Duv, and stops lost, of a transmittance file on the light that it is meant for."""
    found = read_transmittance(path)
    grid, bars = observer_1nm()
    gel = np.interp(grid, found.wavelengths_nm, found.values)
    shifts = []
    for kelvin in (BLUER_FROM_K, WARMER_FROM_K):
        lamp = planck_spectrum(kelvin, grid)
        here, after = (mired_duv_from_xy(_pair(_xy(p))) for p in (lamp, lamp * gel))
        lost = -float(np.log2(((lamp * gel) @ bars[:, 1]) / (lamp @ bars[:, 1])))
        shifts.append((after[0] - here[0], after[1] - here[1], lost))
    return shifts[0] if shifts[0][0] < 0 else shifts[1]


def _pair(xy: Array) -> XY:
    return float(xy[0]), float(xy[1])
