"""Spectra of light sources: the file, its chromaticity, and what it says about the lamp.

Metrics come from colour-science: CIE 13.3-1995 (Ra, R9), CIE 224:2017 (Rf), ANSI/IES TM-30-18 (Rf, Rg), and
the spectral similarity index of SMPTE ST 2122:2020 (SSI).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import MeterError
from lookdev.meter.cells import CellError, number
from lookdev.meter.text_table import SEPARATORS, Row, is_blank, read_text, split_rows
from lookdev.text.numbers import kelvin

Array = NDArray[np.float64]

NEEDED_NM = (400.0, 700.0)
MAX_STEP_NM = 10.0
_NM = "a wavelength in nm from 200 to 2500"
_POWER = "a relative power, 0 or more"


@dataclass(frozen=True, eq=False)
class Spectrum:
    """``wavelengths_nm`` (n,) rising, ``values`` (n,) relative power, 0 or more."""

    wavelengths_nm: Array
    values: Array
    name: str = ""

    @property
    def xy(self) -> tuple[float, float]:
        """Chromaticity for the CIE 1931 observer, summed at 1 nm (CIE 15:2018), linear between the points."""
        from lookdev.colorimetry.temperature import observer_1nm

        grid, bars = observer_1nm()
        xyz = np.interp(grid, self.wavelengths_nm, self.values, left=0.0, right=0.0) @ bars
        return float(xyz[0] / xyz.sum()), float(xyz[1] / xyz.sum())


@lru_cache(maxsize=256)
def read_spectrum(path: Path) -> Spectrum:
    """A spectrum from a table of nm, value; a heading, comments and units are allowed.

    Raises
    ------
    MeterError : names the file, the row, what was found and what is wanted.
    """
    if not path.is_file():
        raise MeterError(
            "no such spectrum file", file=path.name, wanted="a CSV of nm, value beside meter.csv"
        )
    text, _ = read_text(path)
    pairs: list[tuple[float, float]] = []
    for row in _rows(text):
        if is_blank(row):
            continue
        cells = [c for c in row.cells if c]
        try:
            if row.fault or len(cells) < 2:
                raise CellError(row.fault or "one cell", "two cells: nm, value")
            nm = _wavelength(cells[0])
            value = number(cells[1], _POWER)
        except CellError as error:
            if not pairs and not any(c[:1].isdigit() for c in cells):
                continue
            raise _wrong(path, row.number, error.problem, ", ".join(cells), error.wanted) from None
        if not 200 <= nm <= 2500:
            raise _wrong(path, row.number, "out of range", cells[0], _NM)
        if pairs and nm <= pairs[-1][0]:
            raise _wrong(
                path, row.number, "wavelengths must rise", cells[0], f"more than {pairs[-1][0]:g} nm"
            )
        pairs.append((nm, value))
    return _checked(path, pairs)


def _rows(text: str) -> list[Row]:
    """Rows by the separator, or the blanks, that gives the most pairs of numbers."""
    spaced = "\n".join("\t".join(line.split()) for line in text.splitlines())
    ways = [split_rows(text, separator) for separator in SEPARATORS] + [split_rows(spaced, "\t")]
    return max(ways, key=lambda rows: sum(_is_pair(row) for row in rows))


def _is_pair(row: Row) -> bool:
    cells = [c for c in row.cells if c]
    try:
        return len(cells) >= 2 and bool(_wavelength(cells[0])) and number(cells[1], _POWER) is not None
    except CellError:
        return False


def _wavelength(text: str) -> float:
    return number(text.casefold().removesuffix("nm").strip(), _NM)


def _wrong(path: Path, row: int, problem: str, found: str, wanted: str) -> MeterError:
    return MeterError(problem, file=path.name, row=row, found=found, wanted=wanted)


def _checked(path: Path, pairs: list[tuple[float, float]]) -> Spectrum:
    if len(pairs) < 2:
        raise MeterError("holds no spectrum", file=path.name, wanted="rows of nm, value")
    nm, values = np.array(pairs).T
    low, high = NEEDED_NM
    if nm[0] > low or nm[-1] < high:
        raise MeterError(
            "does not cover the visible range",
            file=path.name,
            found=f"{nm[0]:g} to {nm[-1]:g} nm",
            wanted=f"at least {low:g} to {high:g} nm",
        )
    step = float(np.diff(nm[(nm >= low - MAX_STEP_NM) & (nm <= high + MAX_STEP_NM)]).max())
    if step > MAX_STEP_NM:
        raise MeterError(
            "too coarse", file=path.name, found=f"a step of {step:g} nm", wanted=f"{MAX_STEP_NM:g} nm or less"
        )
    peak = float(values.max())
    if peak <= 0:
        raise MeterError("is dark: no value over 0", file=path.name, wanted="a spectrum of a light")
    if float(values.min()) < -0.02 * peak:
        worst = int(np.argmin(values))
        raise MeterError(
            "negative power", file=path.name, found=f"{values[worst]:g} at {nm[worst]:g} nm", wanted=_POWER
        )
    return Spectrum(nm, np.maximum(values, 0.0), path.name)


def illuminant(name: str) -> Spectrum:
    """The spectrum of a CIE illuminant (CIE 15:2018)."""
    from lookdev.colorimetry.illuminants import illuminant_spectrum

    nm, values = illuminant_spectrum(name)
    return Spectrum(nm, values, name)


def reference_at(cct_k: float) -> Spectrum:
    """The reference light at a colour temperature: CIE daylight from 4000 K, a Planckian radiator below.

    SMPTE ST 2122 leaves the reference to the user; this is the production balance as a real light.
    """
    from lookdev.colorimetry.illuminants import daylight_spectrum
    from lookdev.colorimetry.temperature import daylight_xy, planck_spectrum

    if cct_k < 4000 or cct_k > 25000:
        nm = np.arange(360.0, 831.0)
        return Spectrum(nm, planck_spectrum(cct_k, nm), f"Planckian {kelvin(cct_k)}")
    return Spectrum(*daylight_spectrum(daylight_xy(cct_k)), f"CIE daylight {kelvin(cct_k)}")


@dataclass(frozen=True)
class Rendition:
    """How a lamp shows colours, and how like the reference it is. Each standard is named in ``STANDARDS``.

    ``ra`` and ``r9`` (CIE 13.3), ``cie_rf`` (CIE 224), ``tm30_rf`` and ``tm30_rg`` (TM-30-18), ``ssi``
    against ``ssi_reference`` (SMPTE ST 2122; None without a production reference). A value is None where the
    standard gives none, which ``notes`` explains.
    """

    ra: float | None
    r9: float | None
    cie_rf: float | None
    tm30_rf: float | None
    tm30_rg: float | None
    ssi: float | None
    ssi_reference: str | None
    notes: tuple[str, ...] = ()


STANDARDS = {
    "ra": "CIE 13.3-1995",
    "r9": "CIE 13.3-1995",
    "cie_rf": "CIE 224:2017",
    "tm30_rf": "ANSI/IES TM-30-18",
    "tm30_rg": "ANSI/IES TM-30-18",
    "ssi": "SMPTE ST 2122:2020",
}
DC_LIMIT = 5.4e-3
"""CIE 13.3-1995 5.3: the reference must be within this distance in CIE 1960 u, v."""


def _distribution(spectrum: Spectrum) -> Any:
    """colour-science's form, on a grid of whole nanometres (5 nm where the points already lie on one).

    Linear between the points, as a lamp with lines wants it. A new one for each call: colour-science's
    functions may change what they are given.
    """
    from lookdev.colorimetry.library import colour_science

    colour = colour_science()
    nm, values = spectrum.wavelengths_nm, spectrum.values
    step = 5.0 if np.allclose(np.diff(nm), 5.0) and float(nm[0]) % 5 == 0 else 1.0
    grid = np.arange(
        np.ceil(max(nm[0], 300.0) / step) * step, np.floor(min(nm[-1], 830.0) / step) * step + 1, step
    )
    return colour.SpectralDistribution(
        np.interp(grid, nm, values), grid, interpolator=colour.algebra.LinearInterpolator
    )


def rendition(spectrum: Spectrum, reference: Spectrum | None = None) -> Rendition:
    """Colour rendition of a light, and its similarity to ``reference``.

    Examples
    --------
    CIE illuminant FL2 has a general colour rendering index of 64 (CIE 15:2018 table 10.1):

    >>> round(rendition(illuminant("FL2")).ra)
    64
    """
    import warnings

    from lookdev.colorimetry.library import colour_science
    from lookdev.colorimetry.temperature import cct_duv_from_xy

    colour = colour_science()
    cct, duv = cct_duv_from_xy(spectrum.xy)
    notes: list[str] = []
    ra = r9 = cie_rf = tm30_rf = tm30_rg = None
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        if abs(duv) > DC_LIMIT:
            notes.append(
                f"Ra and R9 are outside CIE 13.3's own limit: {abs(duv):.4f} off the locus, 0.0054 allowed"
            )
        if 1000 <= cct <= 25000:
            cri = colour.colour_rendering_index(_distribution(spectrum), additional_data=True)
            ra, r9 = float(cri.Q_a), float(cri.Q_as[9].Q_a)
            tm30 = colour.colour_fidelity_index(
                _distribution(spectrum), additional_data=True, method="ANSI/IES TM-30-18"
            )
            cie_rf = float(colour.colour_fidelity_index(_distribution(spectrum), method="CIE 2017"))
            tm30_rf, tm30_rg = float(tm30.R_f), float(tm30.R_g)
        else:
            notes.append("no reference light at this colour temperature: Ra, R9, Rf and Rg have no meaning")
        ssi = None
        if reference is not None:
            ssi = float(colour.spectral_similarity_index(_distribution(spectrum), _distribution(reference)))
    return Rendition(
        _finite(ra),
        _finite(r9),
        _finite(cie_rf),
        _finite(tm30_rf),
        _finite(tm30_rg),
        _finite(ssi),
        reference.name if reference is not None else None,
        tuple(notes),
    )


def _finite(value: float | None) -> float | None:
    return value if value is not None and np.isfinite(value) else None
