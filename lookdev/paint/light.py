"""The light on the paint: which spectrum stands for a reading, and how far it can be trusted.

In this order: the reading's own spectrum; the CIE illuminant that its source names; a daylight (from 4000 K)
or Planckian spectrum of its CCT where Duv is small; chromatic adaptation alone. Whatever stands for the lamp
is turned (linear CAT16) to the chromaticity that the meter read, so that a grey card lands where the
meter says.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.temperature import cct_duv_from_xy, uv1976_from_xy
from lookdev.errors import MeterError
from lookdev.paint.spectra import illuminant_weights, lamp_weights, white_xy
from lookdev.text import numbers

if TYPE_CHECKING:
    from lookdev.meter.log import Reading

Array = NDArray[np.float64]
Kind = Literal["spectrum", "illuminant", "daylight", "Planckian", "adaptation"]

SMALL_DUV = 0.0054
"""Beyond this a lamp is no daylight and no glowing body (the limit of CIE 13.3-1995 for its references)."""

METHOD = "CAT16"
"""Bradford has no positive response to low-pressure sodium; CAT16 has."""

SAME_UV = 0.004
FAR_UV = 0.03
"""CIE 1976 u', v' between a spectrum and the reading: a meter's tolerance, and a contradiction."""

_SPIKY = re.compile(
    r"fluor|tube|sodium|metal.?halide|mercury|\bhid\b|\bled\b|neon|\bhmi\b|street|discharge|\bhp[sm]\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, eq=False)
class Light:
    """A lamp as the paint meets it.

    Attributes
    ----------
    name : what it is called on sheets.
    weights : (85, 3); ``reflectance @ weights`` is XYZ, perfect white at Y = 1.
    kind : what stands for its spectrum.
    origin : the same in words. trust : how far that carries, in words.
    """

    name: str
    weights: Array = field(repr=False)
    kind: Kind
    origin: str
    trust: str

    @property
    def xy(self) -> tuple[float, float]:
        """Chromaticity of the lamp."""
        return white_xy(self.weights)

    @property
    def is_spectral(self) -> bool:
        """Whether a spectrum stands behind it, real or assumed."""
        return self.kind != "adaptation"


def light_of(reading: Reading) -> Light:
    """The light that a reading describes.

    Raises
    ------
    MeterError : the reading has no chromaticity, spectrum or illuminant, or one that no eye adapts to.
    """
    from lookdev.meter.light import light_spectrum
    from lookdev.meter.spectrum import read_spectrum, reference_at

    xy = reading.white_xy
    name = reading.source or "lamp not named"
    where: dict[str, Any] = {"file": "meter.csv", "row": reading.row}
    kind: Kind
    if reading.spectrum is not None:
        spectrum = read_spectrum(reading.spectrum)
        weights = lamp_weights(spectrum.wavelengths_nm, spectrum.values)
        kind, origin = "spectrum", f"the lamp's own spectrum ({reading.spectrum.name})"
        trust = "as good as the spectrum"
    elif reading.mixture and (mixed := light_spectrum(reading)) is not None:
        weights = lamp_weights(mixed.spectrum.wavelengths_nm, mixed.spectrum.values)
        kind, origin = "spectrum", mixed.origin
        trust = "good for lamps of these kinds; shares and other makes can differ by a few CIEDE2000"
    elif reading.illuminant is not None:
        weights = illuminant_weights(reading.illuminant)
        kind, origin = "illuminant", f"CIE illuminant {reading.illuminant}"
        trust = "good for lamps of this kind; another make can differ by a few CIEDE2000"
    elif xy is None:
        raise MeterError(
            "tells nothing of the light's colour", wanted="x and y, cct_k, spectrum or source", **where
        )
    else:
        cct, duv = cct_duv_from_xy(xy)
        if abs(duv) <= SMALL_DUV and 1000 <= cct <= 25000:
            reference = reference_at(cct)
            weights = lamp_weights(reference.wavelengths_nm, reference.values)
            kind = "daylight" if cct >= 4000 else "Planckian"
            what = "CIE daylight" if kind == "daylight" else "Planckian"
            origin = f"{what} spectrum of the metered {numbers.kelvin(cct)}"
            trust = "right for daylight, tungsten and flame"
            if _SPIKY.search(f"{reading.source or ''} {reading.note or ''}"):
                trust = (
                    "doubtful: the source reads as a discharge lamp or LED, whose spectrum is not smooth; "
                    "name its CIE illuminant (FL2, HP1, LED-B3 …; a mixture as 'D65 60%, HP1 40%') or "
                    "measure it"
                )
            else:
                trust += (
                    "; wrong for tubes, discharge lamps, LED and mixtures with them: name their CIE "
                    "illuminants, a mixture as 'D65 60%, HP1 40%'"
                )
        else:
            weights = _by_adaptation(xy, where)
            kind, origin = "adaptation", "chromatic adaptation alone (CAT16), no spectrum"
            trust = "rough: metamerism is not in it; name a CIE illuminant or measure the spectrum"
    return _turned(name, weights, kind, origin, trust, xy, where)


def _by_adaptation(xy: tuple[float, float], where: dict[str, Any]) -> Array:
    d65 = illuminant_weights("D65")
    try:
        return np.asarray(d65 @ adaptation_matrix(white_xy(d65), xy, METHOD).T)
    except ValueError:
        raise MeterError(
            "a light that no eye adapts to",
            found=f"x {xy[0]:g}, y {xy[1]:g}",
            wanted="a spectrum",
            **where,
        ) from None


def _turned(
    name: str,
    weights: Array,
    kind: Kind,
    origin: str,
    trust: str,
    xy: tuple[float, float] | None,
    where: dict[str, Any],
) -> Light:
    """The light with its white moved to what the meter read, and words on how far that was."""
    if xy is not None and kind != "adaptation":
        own = white_xy(weights)
        distance = float(np.hypot(*(uv1976_from_xy(own) - uv1976_from_xy(xy))))
        if distance > 1e-5:
            try:
                weights = np.asarray(weights @ adaptation_matrix(own, xy, METHOD).T)
            except ValueError:
                raise MeterError(
                    "a light that no eye adapts to",
                    found=f"x {xy[0]:g}, y {xy[1]:g}",
                    wanted="a spectrum",
                    **where,
                ) from None
        if distance > FAR_UV:
            trust = f"contradicted: the meter read a colour {distance:.3f} away in u', v'; check the row"
        elif distance > SAME_UV:
            origin += f", turned {distance:.3f} in u', v' to the metered colour"
    return Light(name, weights, kind, origin, trust)


def metered_at_the_wall(light: Light, xy: tuple[float, float]) -> Light:
    """The light as a meter reads it on the wall itself, where it has been on floor and furniture first.

    Raises
    ------
    MeterError : a chromaticity that no eye adapts to.
    """
    try:
        turn = adaptation_matrix(light.xy, xy, METHOD)
    except ValueError:
        raise MeterError("a light that no eye adapts to", found=f"x {xy[0]:g}, y {xy[1]:g}") from None
    words = f"{light.origin}, turned to {numbers.x_y(*xy)} as metered at the wall"
    return Light(light.name, np.asarray(light.weights @ turn.T), light.kind, words, light.trust)


def light_from_illuminant(name: str) -> Light:
    """The light of a CIE illuminant.

    Raises
    ------
    MeterError : no such illuminant.
    """
    from lookdev.colorimetry.illuminants import find_illuminant

    proper = find_illuminant(name) or name
    return Light(
        f"CIE illuminant {proper}",
        illuminant_weights(proper),
        "illuminant",
        f"CIE illuminant {proper}",
        "as tabulated",
    )
