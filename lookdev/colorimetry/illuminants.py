"""CIE illuminants by name: chromaticity and spectrum (CIE 15:2018 tables, as colour-science carries them)."""

from __future__ import annotations

import difflib
import re

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.library import colour_science
from lookdev.errors import MeterError

Array = NDArray[np.float64]

_XY: dict[str, tuple[float, float]] = {  # written out, as colour-science takes a second to load
    "A": (0.44758, 0.40745),
    "B": (0.34842, 0.35161),
    "C": (0.31006, 0.31616),
    "D50": (0.3457, 0.3585),
    "D55": (0.33243, 0.34744),
    "D60": (0.321616709705268, 0.337619916550817),
    "D65": (0.3127, 0.329),
    "D75": (0.29903, 0.31488),
    "E": (0.3333333333333333, 0.3333333333333333),
    "FL1": (0.3131, 0.3371),
    "FL2": (0.3721, 0.3751),
    "FL3": (0.4091, 0.3941),
    "FL4": (0.4402, 0.4031),
    "FL5": (0.3138, 0.3452),
    "FL6": (0.3779, 0.3882),
    "FL7": (0.3129, 0.3292),
    "FL8": (0.3458, 0.3586),
    "FL9": (0.3741, 0.3727),
    "FL10": (0.3458, 0.3588),
    "FL11": (0.3805, 0.3769),
    "FL12": (0.437, 0.4042),
    "FL3.1": (0.4407, 0.4033),
    "FL3.2": (0.3808, 0.3734),
    "FL3.3": (0.3153, 0.3439),
    "FL3.4": (0.4429, 0.4043),
    "FL3.5": (0.3749, 0.3672),
    "FL3.6": (0.3488, 0.36),
    "FL3.7": (0.4384, 0.4045),
    "FL3.8": (0.382, 0.3832),
    "FL3.9": (0.3499, 0.3591),
    "FL3.10": (0.3455, 0.356),
    "FL3.11": (0.3245, 0.3434),
    "FL3.12": (0.4377, 0.4037),
    "FL3.13": (0.383, 0.3724),
    "FL3.14": (0.3447, 0.3609),
    "FL3.15": (0.3127, 0.3288),
    "HP1": (0.533, 0.415),
    "HP2": (0.4778, 0.4158),
    "HP3": (0.4302, 0.4075),
    "HP4": (0.3812, 0.3797),
    "HP5": (0.3776, 0.3713),
    "LED-B1": (0.456, 0.4078),
    "LED-B2": (0.4357, 0.4012),
    "LED-B3": (0.3756, 0.3723),
    "LED-B4": (0.3422, 0.3502),
    "LED-B5": (0.3118, 0.3236),
    "LED-BH1": (0.4474, 0.4066),
    "LED-RGB1": (0.4557, 0.4211),
    "LED-V1": (0.4548, 0.4044),
    "LED-V2": (0.3781, 0.3775),
    "ID65": (0.31065662540312, 0.330663091836953),
    "ID50": (0.343211370103531, 0.360207541805137),
    "ISO 7589 Photographic Daylight": (0.332039098470978, 0.347263885596614),
    "ISO 7589 Sensitometric Daylight": (0.333818313227557, 0.353436231513603),
    "ISO 7589 Studio Tungsten": (0.430944089109761, 0.403585442674295),
    "ISO 7589 Sensitometric Studio Tungsten": (0.43141822364839, 0.407471441950342),
    "ISO 7589 Photoflood": (0.411146015714843, 0.393719378241161),
    "ISO 7589 Sensitometric Photoflood": (0.412024776908998, 0.398177410548532),
    "ISO 7589 Sensitometric Printer": (0.41208796797368, 0.421104984758526),
}
"""As colour-science has them for the 2 degree observer; the suite compares every digit."""

_NAMES = tuple(_XY)


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
    return np.array(_XY[_proper(name)])


def illuminant_spectrum(name: str) -> tuple[Array, Array]:
    """Wavelengths in nm (n,) and relative spectral power (n,), as tabulated."""
    colour = colour_science()

    sd = colour.SDS_ILLUMINANTS[_proper(name)]
    return np.asarray(sd.wavelengths, dtype=np.float64), np.asarray(sd.values, dtype=np.float64)
