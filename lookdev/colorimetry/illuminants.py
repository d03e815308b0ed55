"""CIE illuminants by name: chromaticity and spectrum (CIE 15:2018 tables, as colour-science carries them)."""

from __future__ import annotations

import difflib
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.library import colour_science
from lookdev.errors import MeterError

Array = NDArray[np.float64]

_OBSERVER = "CIE 1931 2 Degree Standard Observer"


@lru_cache(maxsize=1)
def _names() -> tuple[str, ...]:
    colour = colour_science()

    wanted = colour.CCS_ILLUMINANTS[_OBSERVER]
    have = set(colour.SDS_ILLUMINANTS)
    return tuple(n for n in wanted if n in have)


def illuminant_names() -> list[str]:
    """Names of the CIE illuminants with both a chromaticity and a spectrum."""
    return list(_names())


def _key(name: str) -> str:
    key = "".join(c for c in name.casefold() if c.isalnum())
    return key.removeprefix("cie").removeprefix("illuminant")


def find_illuminant(name: str) -> str | None:
    """The proper name of a CIE illuminant as a person types it (``cie hp1``, ``LED B3``), or None.

    >>> find_illuminant("cie led b3")
    'LED-B3'
    """
    return {_key(n): n for n in _names()}.get(_key(name))


def _proper(name: str) -> str:
    found = find_illuminant(name)
    if found is None:
        near = difflib.get_close_matches(name, _names(), n=1, cutoff=0.0)
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
