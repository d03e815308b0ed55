"""Is a reading plausible, and do the ways of saying it agree? Faults, and warnings with their numbers."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from lookdev.meter.reading import Reading
from lookdev.text.numbers import LUX_PER_FC, kelvin
from lookdev.text.numbers import duv as duv_words

BRIGHTEST_LUX = 150_000.0
"""Sun and clear sky give at most about 130,000 lx on a surface that faces them (common practice)."""

DARKEST_LUX = 0.05
"""A full moon gives 0.1 to 0.3 lx (common practice): less than this nobody meters on a scout."""


@dataclass(frozen=True)
class Tolerance:
    """What two ways of saying one thing may differ by before it is worth a warning.

    Handheld colour meters state about 0.003 in x, y for illuminant A, which is 4 mired there; and 5% to 7% in
    illuminance, but lux and foot-candles of one reading are one number twice, so 3% covers the rounding.
    """

    mired: float = 6.0
    duv: float = 0.003
    illuminance: float = 0.03


_TUNGSTEN = (
    "tungsten", "halogen", "incandescent", "gluehbirne", "gluehlampe", "gluhlampe", "gluhbirne", "tungstene",
    "halogene", "incandescence", "tungsteno", "halogena", "alogena", "incandescente",
)  # fmt: skip
LAMPS: tuple[tuple[str, float, float, tuple[str, ...]], ...] = (
    ("high-pressure sodium", 1700, 2600, ("hps", "sodium", "natrium", "natriumdampf", "sodio")),
    ("a candle", 1500, 2300, ("candle", "candles", "kerze", "kerzen", "bougie", "bougies")),
    ("tungsten", 2000, 3600, _TUNGSTEN),
    ("daylight", 4000, 25000, ("daylight", "overcast", "tageslicht", "skylight", "northlight")),
)
"""Lamp words and the correlated colour temperatures that such lamps have, in kelvin: makers' handbooks and
common practice, wide. Words that name no one lamp (window, sun at dusk, LED, tube) are not held to any."""


def agreement(reading: Reading, tolerance: Tolerance, lux: float | None, fc: float | None) -> list[str]:
    """Warnings about one reading: values that disagree or that no place has. ``lux``, ``fc`` as typed."""
    from lookdev.colorimetry.illuminants import nearest_names

    said = [*_illuminance(lux, fc, tolerance), *_level(reading), *_white(reading, tolerance), *_lamp(reading)]
    near = nearest_names(reading.source or "")
    if near:
        none = "" if reading.has_colour else ", and this row has no colour"
        said.append(
            f"source '{reading.source}' looks like a CIE illuminant but is none: "
            f"taken as free words{none}; nearest: {', '.join(near)}"
        )
    return said


def _illuminance(lux: float | None, fc: float | None, tolerance: Tolerance) -> list[str]:
    if lux is None or fc is None or abs(fc / lux - 1) <= tolerance.illuminance:
        return []
    return [
        f"lux and fc disagree: {lux:g} lux is {lux / LUX_PER_FC:.1f} fc, the log says "
        f"{fc / LUX_PER_FC:.1f} fc ({fc / lux - 1:+.0%}); used the lux"
    ]


def _level(reading: Reading) -> list[str]:
    lux = reading.illuminance_lux
    if lux is not None and lux > BRIGHTEST_LUX:
        return [f"{lux:.0f} lx is more than full sun gives (about 130000 lx): is the unit right?"]
    if lux is not None and lux < DARKEST_LUX:
        return [f"{lux:g} lx is less than moonlight gives (0.1 to 0.3 lx): is the decimal mark right?"]
    return []


def _white(reading: Reading, tolerance: Tolerance) -> list[str]:
    if reading.cct_k is None or reading.x is None or reading.cct_duv is None:
        return []
    cct, duv = reading.cct_duv
    if not reading.is_cct_meaningful:
        return [
            f"CCT {kelvin(reading.cct_k)} has no meaning at x {reading.x:g}, y {reading.y:g} "
            f"({duv_words(duv)}); used x, y"
        ]
    said = []
    off = 1e6 / reading.cct_k - 1e6 / cct
    if abs(off) > tolerance.mired:
        said.append(
            f"CCT {kelvin(reading.cct_k)} and x {reading.x:g}, y {reading.y:g} (which is {kelvin(cct)}) "
            f"disagree by {kelvin(abs(reading.cct_k - cct))} ({abs(off):.0f} mired; tolerance "
            f"{tolerance.mired:g}); used x, y"
        )
    if reading.duv is not None and abs(reading.duv - duv) > tolerance.duv:
        said.append(
            f"{duv_words(reading.duv)} and x {reading.x:g}, y {reading.y:g} (which is {duv_words(duv)}) "
            f"disagree by {abs(reading.duv - duv):.4f} (tolerance {tolerance.duv:g}); used x, y"
        )
    return said


def lamp_of(source: str | None) -> tuple[str, float, float] | None:
    """(lamp, lowest K, highest K) that a source's words name; None for none, or for two at once.

    >>> lamp_of("HPS over ramp"), lamp_of("window and tungsten"), lamp_of("Fenster")
    (('high-pressure sodium', 1700, 2600), ('tungsten', 2000, 3600), None)
    """
    text = unicodedata.normalize("NFKD", (source or "").casefold())
    words = set(re.findall(r"[a-z]+", "".join(c for c in text if not unicodedata.combining(c))))
    found = [(name, low, high) for name, low, high, named in LAMPS if words & set(named)]
    return found[0] if len(found) == 1 else None


_MIXED_WORDS = (
    "window windows fenster fenetre ventana finestra mixed and und et y e + mit with gel cto ctb plus through"
)
_MIXED = frozenset(_MIXED_WORDS.split())
"""Words that say that the lamp's light is not alone or not as it left the lamp."""


def _lamp(reading: Reading) -> list[str]:
    lamp = lamp_of(reading.source)
    words = set(re.findall(r"\w+|\+", (reading.source or "").casefold()))
    cct = reading.cct_k
    if cct is None and reading.x is not None and reading.is_cct_meaningful and reading.cct_duv is not None:
        cct = reading.cct_duv[0]
    if lamp is None or cct is None or words & _MIXED:
        return []
    name, low, high = lamp
    if low <= cct <= high:
        return []
    return [
        f"source '{reading.source}' and {kelvin(cct)} are at odds: {name} is {low:.0f} to {kelvin(high)} "
        "(common practice); used the reading"
    ]


def fault_of_chromaticity(reading: Reading) -> tuple[str, str, str | None, str] | None:
    """(problem, column, found, wanted) of a chromaticity that cannot be; None where all is well."""
    from lookdev.colorimetry.spectral_locus import is_possible

    x, y = reading.x, reading.y
    if (x is None) != (y is None):
        return "half a chromaticity", "y" if y is None else "x", None, "both x and y, or neither"
    if x is not None and y is not None and not is_possible((x, y)):
        hint = "a chromaticity inside the spectral locus"
        if is_possible((y, x)):
            hint += "; x and y may have changed places"
        return "no light has this chromaticity", "x", f"x {x:g}, y {y:g}", hint
    if reading.duv is not None and reading.cct_k is None and x is None:
        return "Duv without a CCT", "cct_k", None, "kelvin from 1000 to 25000, or x and y"
    return None
