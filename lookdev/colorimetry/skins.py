"""Published skins: six model spectra, light to dark, and the measured ones of TM-30 and CIE.

Where they come from stands in ``make_skin_reflectances.py``, which makes ``skin_reflectances.csv``. A chart's
skin patches and TCS13 are no skin: they lack the double dip of haemoglobin at 542 and 576 nm, and swing the
other way under lamps with lines.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FILE = Path(__file__).with_name("skin_reflectances.csv")


@cache
def _table() -> tuple[tuple[str, ...], Array]:
    lines = FILE.read_text("utf-8").splitlines()
    return tuple(lines[0].split(",")[1:]), np.array(
        [[float(v) for v in line.split(",")] for line in lines[1:]]
    )


def skin_names() -> tuple[str, ...]:
    """The six model skins, light to dark, by the classes of the individual typology angle.

    >>> skin_names()
    ('very light', 'light', 'intermediate', 'tan', 'brown', 'dark')
    """
    return _table()[0]


def skin_wavelengths_nm() -> Array:
    """Wavelengths (81,) of the reflectances: 380 to 780 nm in steps of 5."""
    return _table()[1][:, 0]


def skin_reflectances() -> Array:
    """Reflectance factors (6, 81), a row a skin in the order of :func:`skin_names`, 0 to 1."""
    return np.ascontiguousarray(_table()[1][:, 1:].T)
