"""Reflectances and lamps of the sample scout, all published or recovered by a published method.

Chart: "BabelColor Average" of 30 ColorChecker charts (Pascale), as colour-science carries it. Paints and
other surfaces: a Munsell notation, its XYZ by the renotation data of ASTM D1535 (illuminant C), and a
reflectance recovered under C by Jakob and Hanika (2019), "A Low-Dimensional Function Space for Efficient
Spectral Upsampling", with colour-science's own solver. Lamps: CIE 15:2018.
"""

from __future__ import annotations

import json
import warnings
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GRID = np.arange(380.0, 781.0, 1.0)
"""Wavelengths in nm at which light is multiplied out."""

BANDS = np.arange(410.0, 691.0, 40.0)
"""Wavelengths in nm at which transport is rendered; in between it is interpolated, outside it is held."""

CHART_NAME = "BabelColor Average"
PAINT_SOURCE = (
    "Munsell notation -> XYZ (ASTM D1535 renotation, illuminant C, 2 degree observer) -> reflectance under C "
    "by Jakob and Hanika 2019, all three by colour-science; the product's built-in chips take the same road "
    "with its own code, so that a wall and its chip are meant to be one paint"
)
CHART_SOURCE = "colour-science SDS_COLOURCHECKERS['BabelColor Average'] (Pascale, average of 30 charts)"
GREY_REFLECTANCE = 0.18


def _colour():  # type: ignore[no-untyped-def]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


@cache
def chart() -> dict[str, Array]:
    """The 24 patches by name: reflectance on GRID, in the chart's order."""
    colour = _colour()
    sds = colour.SDS_COLOURCHECKERS[CHART_NAME]
    return {name: _on_grid(sd.wavelengths, sd.values) for name, sd in sds.items()}


def skin(name: str) -> Array:
    """Reflectance on GRID of one of the six model skins that lookdev ships."""
    from lookdev.colorimetry import skins

    row = skins.skin_reflectances()[skins.skin_names().index(name)]
    return np.interp(GRID, skins.skin_wavelengths_nm(), row)


_KEPT: dict[str, list[float]] = {}


def keep_paints(folder: Path) -> None:
    """Keep recovered paint reflectances in ``folder`` between runs; recovering one takes about a second."""
    global _STORE
    _STORE = folder / "paints.json"
    if _STORE.exists():
        _KEPT.update(json.loads(_STORE.read_text()))


_STORE: Path | None = None


@cache
def paint(notation: str) -> Array:
    """Reflectance on GRID of a Munsell notation, ``5YR 6/4`` or ``N 5.5``."""
    if notation not in _KEPT:
        _KEPT[notation] = _recover(notation).tolist()
        if _STORE:
            _STORE.parent.mkdir(parents=True, exist_ok=True)
            _STORE.write_text(json.dumps(_KEPT))
    return np.asarray(_KEPT[notation])


def _recover(notation: str) -> Array:
    """Reflectance on GRID of a Munsell notation, ``5YR 6/4`` or ``N 5.5``."""
    colour = _colour()
    if notation.startswith("N"):
        value = float(notation[1:].strip().rstrip("/"))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            level = float(colour.colorimetry.luminance_ASTMD1535(value)) / 100
        return np.full(GRID.shape, level)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        observer = "CIE 1931 2 Degree Standard Observer"
        xyz = colour.xyY_to_XYZ(colour.munsell_colour_to_xyY(notation))
        shape = colour.SpectralShape(360, 780, 5)
        cmfs = colour.MSDS_CMFS[observer].copy().align(shape)
        light = colour.SDS_ILLUMINANTS["C"].copy().align(shape)
        sd = colour.recovery.XYZ_to_sd_Jakob2019(xyz, cmfs, light)
    return np.clip(_on_grid(sd.wavelengths, sd.values), 0.005, 0.98)


@cache
def lamp(illuminant: str) -> Array:
    """Relative spectral power on GRID of a CIE illuminant (linear between its values, as CIE 15 says)."""
    colour = _colour()
    sd = colour.SDS_ILLUMINANTS[illuminant]
    return np.interp(GRID, sd.wavelengths, sd.values, left=0.0, right=0.0)


@cache
def observer() -> Array:
    """CIE 1931 2 degree observer on GRID (n, 3)."""
    colour = _colour()
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return np.stack([np.interp(GRID, cmfs.wavelengths, cmfs.values[:, i]) for i in range(3)], axis=1)


def _on_grid(wavelengths: object, values: object) -> Array:
    from scipy.interpolate import PchipInterpolator

    w, v = np.asarray(wavelengths, dtype=float), np.asarray(values, dtype=float)
    inside = np.clip(GRID, w[0], w[-1])
    return np.asarray(PchipInterpolator(w, v)(inside))


@cache
def band_interpolation() -> Array:
    """(bands, grid): weights that carry a spectrum given at BANDS to GRID; natural cubic, ends held."""
    from scipy.interpolate import CubicSpline

    inside = np.clip(GRID, BANDS[0], BANDS[-1])
    return np.asarray(CubicSpline(BANDS, np.eye(len(BANDS)), bc_type="natural")(inside)).T


def weights(illuminant: str, sensitivities: Array, reflectance: Array | None = None) -> Array:
    """(bands, channels): weights that turn transport at BANDS into channel values under a lamp.

    ``sensitivities`` (grid, channels). Exact for any lamp, however spiky: the lamp and the observer are taken
    at 1 nm; only the transport, which is as smooth as the reflectances are, is interpolated. Where the
    reflectance of what is seen is known (card, chart), give it: only the light that falls on it is then
    interpolated, and the surface itself is taken at 1 nm.
    """
    seen = band_interpolation()
    if reflectance is not None:
        at_bands = np.interp(BANDS, GRID, reflectance)
        seen = seen / at_bands[:, None] * reflectance
    return np.asarray(seen @ (lamp(illuminant)[:, None] * sensitivities))
