"""CIE illuminants by name: chromaticity and spectrum (CIE 15:2018 tables, as colour-science carries them).

The tables are in cie_illuminants.csv, which ``make_cie_illuminants`` writes.
"""

from __future__ import annotations

import difflib
import re
from functools import cache, lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.errors import MeterError

Array = NDArray[np.float64]

_FILE = Path(__file__).with_name("cie_illuminants.csv")


_ISO_7589 = (
    "Photographic Daylight",
    "Sensitometric Daylight",
    "Studio Tungsten",
    "Sensitometric Studio Tungsten",
    "Photoflood",
    "Sensitometric Photoflood",
    "Sensitometric Printer",
)
_NAMES = (  # those of colour-science
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
    return _by_key().get(_key(name))


@cache
def _by_key() -> dict[str, str]:
    return {_key(name): name for name in _NAMES}


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


@lru_cache(maxsize=1)
def _table() -> dict[str, tuple[Array, Array, Array]]:
    """By proper name: x, y; wavelengths in nm; relative spectral power."""
    out = {}
    for line in _FILE.read_text(encoding="ascii").splitlines()[1:]:
        name, x, y, first, step, values = line.split(",")
        power = np.array(values.split(), dtype=np.float64)
        out[name] = (
            np.array([x or "nan", y or "nan"], dtype=np.float64),
            float(first) + float(step) * np.arange(len(power), dtype=np.float64),
            power,
        )
    return out


def illuminant_xy(name: str) -> Array:
    """Chromaticity x, y (2,) for the 2 degree observer.

    >>> illuminant_xy("HP1").round(3).tolist()
    [0.533, 0.415]
    """
    return _table()[_proper(name)][0].copy()


def illuminant_spectrum(name: str) -> tuple[Array, Array]:
    """Wavelengths in nm (n,) and relative spectral power (n,), as tabulated."""
    _, nm, power = _table()[_proper(name)]
    return nm.copy(), power.copy()


def daylight_spectrum(xy: ArrayLike) -> tuple[Array, Array]:
    """Wavelengths in nm (107,) and relative power (107,) of CIE daylight of chromaticity ``xy`` (2,).

    CIE 15:2018, 4.1.2: S0 + M1 S1 + M2 S2, with M1 and M2 to three decimals; 100 at 560 nm.

    D65's chromaticity gives its table (117.8 at 460 nm, 100 at 560 nm) to what the rounding of x, y leaves:

    >>> nm, power = daylight_spectrum((0.31271, 0.32902))
    >>> [round(float(power[nm == at][0]), 1) for at in (460, 560)]
    [117.9, 100.0]
    """
    x, y = (float(v) for v in np.asarray(xy, dtype=np.float64))
    m = 0.0241 + 0.2562 * x - 0.7341 * y
    m_1 = round((-1.3515 - 1.7703 * x + 5.9114 * y) / m, 3)
    m_2 = round((0.0300 - 31.4424 * x + 30.0717 * y) / m, 3)
    (_, nm, s_0), (_, _, s_1), (_, _, s_2) = (_table()[name] for name in ("S0", "S1", "S2"))
    return nm.copy(), s_0 + m_1 * s_1 + m_2 * s_2
