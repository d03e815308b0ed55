"""What a reading's light is made of: its spectrum, that of a mixture, or what may stand for it.

A mixture is typed as the source: ``D65 60%, HP1 40%``. The shares are of the illuminance in lux. Parts are
CIE illuminants or other sources metered at the same place; without shares the lux of those rows give them,
and failing that the chromaticity that was metered for the mixture. On card and wall the light is the
weighted sum.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.temperature import observer_1nm, uv1976_from_xy

if TYPE_CHECKING:
    from lookdev.meter.hints import Hint
    from lookdev.meter.reading import Part, Reading
    from lookdev.meter.spectrum import Spectrum

Array = NDArray[np.float64]
XY = tuple[float, float]

SMALL_DUV = 0.0054
"""Within this of the locus a light without a name may be a daylight or a glowing body (CIE 13.3-1995,
5.3)."""

D_LINES_NM = (589.0, 590.0)
"""Low-pressure sodium: the D doublet, 589.0 and 589.6 nm (NIST Atomic Spectra Database), on a grid of 1
nm."""


@dataclass(frozen=True)
class TypedPart:
    """A part as typed: its name, and its share from 0 to 1 where one was typed."""

    name: str
    share: float | None


@dataclass(frozen=True, eq=False)
class LightSpectrum:
    """A spectrum and where it is from.

    ``kind`` : "spectrum" (the lamp's own), "illuminant" (of its kind), "mixture", or "stand-in" (the
    nearest of a lamp with lines that the words or the colour tell of).
    """

    spectrum: Spectrum
    kind: str
    origin: str


_SHARE = re.compile(r"(?:(\d{1,3}(?:[.,]\d+)?)\s*(?:%|per ?cent))", re.IGNORECASE)
_BETWEEN = re.compile(r"[;+&/,]|\band\b|\bwith\b", re.IGNORECASE)


def typed_parts(source: str | None) -> tuple[TypedPart, ...]:
    """The parts of a source that is typed as a mixture; empty for anything else.

    >>> [(p.name, p.share) for p in typed_parts("D65 60%, HP1 40%")]
    [('D65', 0.6), ('HP1', 0.4)]
    >>> [(p.name, p.share) for p in typed_parts("window + HP1")]
    [('window', None), ('HP1', None)]
    >>> typed_parts("tubes"), typed_parts("dimmed to 40%")
    ((), ())
    """
    text = re.sub(r"(?<=\d),(?=\d+\s*%)", ".", source or "")
    pieces = [piece.strip() for piece in _BETWEEN.split(text)]
    if len(pieces) < 2 or len(pieces) > 6 or not all(pieces):
        return ()
    out = []
    for piece in pieces:
        found = _SHARE.search(piece)
        name = " ".join(_SHARE.sub(" ", piece).split()).strip(" :=()")
        if not name:
            return ()
        out.append(TypedPart(name, float(found.group(1)) / 100.0 if found else None))
    return tuple(out)


def shares_by_xy(parts: Sequence[XY], mixed: XY) -> tuple[float, ...]:
    """Shares of the illuminance, 0 or more and of sum 1, that mix nearest to a chromaticity.

    Half of each by lux of BT.709's red and green is x 0.5194, y 0.4258 (Grassmann's laws, worked by hand: at
    Y = 1 red is 1.9394, 1, 0.0909 and green 0.5, 1, 0.1667):

    >>> [round(s, 3) for s in shares_by_xy([(0.64, 0.33), (0.30, 0.60)], (0.5194, 0.4258))]
    [0.5, 0.5]
    """
    from scipy.optimize import nnls

    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in parts]).T
    x, y = mixed
    found, _ = nnls(columns, np.array([x / y, 1.0, (1 - x - y) / y]))
    total = float(found.sum())
    return tuple(float(v) / total for v in found) if total > 0 else tuple(1.0 / len(parts) for _ in parts)


def mixed_spectrum(parts: Sequence[tuple[float, Spectrum]], name: str = "mixture") -> Spectrum:
    """Sum of spectra by their shares of the illuminance: each is brought to one and the same Y first.

    Returns
    -------
    Spectrum at 1 nm from 360 to 830 nm, Y (CIE 1931) of the sum of the shares.
    """
    from lookdev.meter.spectrum import Spectrum

    grid, bars = observer_1nm()
    total = np.zeros_like(grid)
    for share, one in parts:
        power = np.interp(grid, one.wavelengths_nm, one.values, left=0.0, right=0.0)
        total = total + share * power / float(power @ bars[:, 1])
    return Spectrum(grid, total, name)


def mix_words(parts: Sequence[Part]) -> str:
    """A mixture in words: ``D65 60%, HP1 40%``."""
    return ", ".join(f"{p.name} {100 * p.share:.0f}%" for p in parts)


def light_spectrum(reading: Reading) -> LightSpectrum | None:
    """The spectrum of a reading's light as far as the log tells it; None where it tells but a chromaticity.

    A spectrum file, a mixture, a CIE illuminant, in this order. A part of a mixture that is known by its
    chromaticity alone counts as CIE daylight or a Planckian radiator if it lies near their locus; a mixture
    with a part that does not has no spectrum.
    """
    from lookdev.meter.spectrum import illuminant, read_spectrum

    if reading.spectrum is not None:
        found = read_spectrum(reading.spectrum)
        return LightSpectrum(found, "spectrum", f"spectrum {reading.spectrum.name}")
    if reading.mixture:
        spectra = [(part.share, _part_spectrum(part.reading)) for part in reading.mixture]
        known = [(share, one) for share, one in spectra if one is not None]
        if len(known) < len(spectra):
            return None
        words = mix_words(reading.mixture)
        return LightSpectrum(mixed_spectrum(known, words), "mixture", f"mixture of {words}, by lux")
    if reading.illuminant is not None:
        name = reading.illuminant
        return LightSpectrum(illuminant(name), "illuminant", f"published spectrum of CIE {name}")
    return None


def _part_spectrum(reading: Reading) -> Spectrum | None:
    from lookdev.meter.spectrum import reference_at

    found = light_spectrum(reading)
    if found is not None:
        return found.spectrum
    if reading.cct_duv is None:
        return None
    cct, duv = reading.cct_duv
    return reference_at(cct) if abs(duv) <= SMALL_DUV and 1000 <= cct <= 25000 else None


_LOW_PRESSURE = re.compile(r"low.?pressure|\blps\b", re.IGNORECASE)


@lru_cache(maxsize=1)
def _d_lines() -> Spectrum:
    from lookdev.meter.spectrum import Spectrum

    grid, _ = observer_1nm()
    power = np.isin(grid, D_LINES_NM).astype(np.float64)
    return Spectrum(grid, power, "sodium D lines")


def stand_in(reading: Reading, hints: Sequence[Hint]) -> LightSpectrum | None:
    """A spectrum for a lamp with lines that only its words and its colour tell of; None for any other.

    A chromaticity on the spectral locus is a light of one wavelength. A source whose words are those of a
    discharge lamp counts as the nearest CIE illuminant of such a lamp, within 0.01 in u', v'.
    """
    from lookdev.meter.gel_spectra import is_of_one_wavelength
    from lookdev.meter.hints import NEAR_UV, flickers, is_lined, nearest_illuminants
    from lookdev.meter.spectrum import illuminant

    xy = reading.white_xy
    words = f"{reading.source or ''} {reading.note or ''}"
    if ("sodium" in words.casefold() and _LOW_PRESSURE.search(words)) or re.search(r"\blps\b", words, re.I):
        return LightSpectrum(_d_lines(), "stand-in", "the sodium D lines, 589 nm")
    if xy is None:
        return None
    if is_of_one_wavelength(xy):
        return LightSpectrum(_one_wavelength(xy), "stand-in", "light of one wavelength, by its x, y")
    if flickers(reading.source, reading.illuminant) != "discharge":
        return None
    near = next((h for h in (hints or nearest_illuminants(xy)) if is_lined(h.illuminant)), None)
    if near is None or near.distance_uv > NEAR_UV:
        return None
    return LightSpectrum(
        illuminant(near.illuminant), "stand-in", f"CIE {near.illuminant} in its place, the nearest to it"
    )


def _one_wavelength(xy: XY) -> Spectrum:
    from lookdev.meter.spectrum import Spectrum

    grid, bars = observer_1nm()
    seen = bars.sum(axis=1) > 1e-2
    locus = uv1976_from_xy(bars[seen, :2] / bars[seen].sum(axis=1, keepdims=True))
    nearest = grid[seen][int(np.hypot(*(locus - uv1976_from_xy(xy)).T).argmin())]
    return Spectrum(grid, np.where(grid == nearest, 1.0, 0.0), f"{nearest:.0f} nm")
