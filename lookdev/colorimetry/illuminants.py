"""CIE illuminants by name: chromaticity and spectrum (CIE 15:2018 tables, as colour-science carries them)."""

from __future__ import annotations

import difflib
import re

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.library import colour_science
from lookdev.errors import MeterError

Array = NDArray[np.float64]

_OBSERVER = "CIE 1931 2 Degree Standard Observer"


_ISO_7589 = (
    "Photographic Daylight",
    "Sensitometric Daylight",
    "Studio Tungsten",
    "Sensitometric Studio Tungsten",
    "Photoflood",
    "Sensitometric Photoflood",
    "Sensitometric Printer",
)
_NAMES = (  # written out, as colour-science, whose names they are, takes a second to load
    *("A", "B", "C", "D50", "D55", "D60", "D65", "D75", "E"),
    *(f"FL{n}" for n in range(1, 13)),
    *(f"FL3.{n}" for n in range(1, 16)),
    *(f"HP{n}" for n in range(1, 6)),
    *(f"LED-{kind}" for kind in ("B1", "B2", "B3", "B4", "B5", "BH1", "RGB1", "V1", "V2")),
    *("ID65", "ID50"),
    *(f"ISO 7589 {kind}" for kind in _ISO_7589),
)


def illuminant_names() -> list[str]:
    """Names of the CIE illuminants with both a chromaticity and a spectrum."""
    return list(_NAMES)


def _key(name: str) -> str:
    key = "".join(c for c in name.casefold() if c.isalnum())
    return key.removeprefix("cie").removeprefix("illuminant")


def find_illuminant(name: str) -> str | None:
    """The proper name of a CIE illuminant as a person types it (``cie hp1``, ``LED B3``), or None.

    >>> find_illuminant("cie led b3")
    'LED-B3'
    """
    return {_key(n): n for n in _NAMES}.get(_key(name))


_SHAPE = re.compile(r"(fl|hp|d|id|led(?:bh|b|rgb|v))(\d{1,3})|(f)([1-9]|1[0-2])", re.ASCII)


def nearest_names(name: str, count: int = 2) -> tuple[str, ...]:
    """The CIE illuminants named most like ``name``, where that has the shape of such a name and is none.

    ``F7`` counts too, which FL7 was called in older editions. Empty for an illuminant, and for free words.

    >>> nearest_names("HP9"), nearest_names("CIE FL99"), nearest_names("F7"), nearest_names("LED panel 3")
    (('HP5', 'HP4'), ('FL9', 'FL8'), ('FL7', 'FL6'), ())
    """
    key = _key(name)
    shape = _SHAPE.fullmatch(key)
    if shape is None or find_illuminant(name) is not None:
        return ()
    letters, number = shape[1] or shape[3], int(shape[2] or shape[4])

    def unlike(other: str) -> tuple[float, int]:
        ratio = difflib.SequenceMatcher(None, key, _key(other)).ratio()
        return -round(ratio, 6), abs(number - int(re.sub(r"\D", "", other)))

    series_3 = key.startswith("fl3")
    family = [
        n
        for n in _NAMES
        if re.fullmatch(letters + r"l?\d+", _key(n)) and (series_3 or not n.startswith("FL3."))
    ]
    return tuple(sorted(family, key=unlike)[:count])


def _proper(name: str) -> str:
    found = find_illuminant(name)
    if found is None:
        near = difflib.get_close_matches(name, _NAMES, n=1, cutoff=0.0)
        raise MeterError("unknown CIE illuminant", found=name, wanted=f"a CIE name such as {near[0]}")
    return found


def illuminant_xy(name: str) -> Array:
    """Chromaticity x, y (2,) for the 2 degree observer.

    >>> illuminant_xy("HP1").round(3).tolist()
    [0.533, 0.415]
    """
    colour = colour_science()

    return np.asarray(colour.CCS_ILLUMINANTS[_OBSERVER][_proper(name)], dtype=np.float64)


def illuminant_spectrum(name: str) -> tuple[Array, Array]:
    """Wavelengths in nm (n,) and relative spectral power (n,), as tabulated."""
    colour = colour_science()

    sd = colour.SDS_ILLUMINANTS[_proper(name)]
    return np.asarray(sd.wavelengths, dtype=np.float64), np.asarray(sd.values, dtype=np.float64)
