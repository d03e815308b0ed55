"""Nearest CIE illuminants: a hint at the lamp type, never an identification (CIE 15:2018 tables)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

XY = tuple[float, float]

NEAR_UV = 0.01
"""Farther than this in u', v' an illuminant is no hint at all (our rule; about ten just visible steps)."""


@dataclass(frozen=True)
class Hint:
    """An illuminant, the kind of lamp it stands for, and its distance in CIE 1976 u', v'."""

    illuminant: str
    kind: str
    distance_uv: float


def kind_of(illuminant: str) -> str:
    """The kind of lamp that a CIE illuminant stands for (CIE 15:2018).

    >>> kind_of("HP1"), kind_of("FL11"), kind_of("HP4")
    ('high-pressure sodium', 'three-band fluorescent', 'metal halide')
    """
    if illuminant.startswith("FL"):
        bands = _FL3_BANDS if illuminant.startswith("FL3.") else _FL_BANDS
        number = int(illuminant.removeprefix("FL3.").removeprefix("FL"))
        return next(kind for last, kind in bands if number <= last)
    return next((kind for start, kind in _KINDS if illuminant.startswith(start)), "daylight")


_FL_BANDS = ((6, "fluorescent"), (9, "broad-band fluorescent"), (12, "three-band fluorescent"))
_FL3_BANDS = (
    (3, "fluorescent"),
    (6, "broad-band fluorescent"),
    (11, "three-band fluorescent"),
    (15, "multi-band fluorescent"),
)
_KINDS = (
    ("HP1", "high-pressure sodium"),
    ("HP2", "colour-enhanced sodium"),
    ("HP", "metal halide"),
    ("LED-BH", "blue-pump LED with a red LED"),
    ("LED-B", "white LED, blue pump"),
    ("LED-V", "white LED, violet pump"),
    ("LED", "LED of red, green, blue"),
    ("ID", "daylight through glass"),
    ("A", "tungsten"),
    ("B", "filtered tungsten, as sunlight"),
    ("C", "filtered tungsten, as daylight"),
    ("E", "equal energy"),
)


@lru_cache(maxsize=1)
def _table() -> tuple[tuple[str, ...], NDArray[np.float64]]:
    from lookdev.colorimetry.illuminants import illuminant_names, illuminant_xy
    from lookdev.colorimetry.temperature import uv1976_from_xy

    names = tuple(n for n in illuminant_names() if not n.startswith("ISO"))
    return names, uv1976_from_xy(np.stack([illuminant_xy(n) for n in names]))


def nearest_illuminants(xy: XY, count: int = 3) -> tuple[Hint, ...]:
    """The ``count`` nearest CIE illuminants by distance in CIE 1976 u', v'.

    >>> [h.illuminant for h in nearest_illuminants((0.533, 0.415), 1)]
    ['HP1']
    """
    from lookdev.colorimetry.temperature import uv1976_from_xy

    names, table = _table()
    distance = np.hypot(*(table - uv1976_from_xy(xy)).T)
    order = np.argsort(distance, kind="stable")[:count]
    return tuple(Hint(names[i], kind_of(names[i]), float(distance[i])) for i in order)


_DISCHARGE_WORDS = (
    "sodium", "fluor", "tube", "hmi", "halide", "mercury", "neon", "discharge", "street", "sulphur", "msr",
    "xenon", "cfl",
)  # fmt: skip
_LED_WORDS = ("led", "leds", "diode", "diodes", "panel", "panels")


def is_lined(illuminant: str) -> bool:
    """Whether a CIE illuminant is of a discharge lamp, with lines in its spectrum.

    >>> is_lined("HP1"), is_lined("FL11"), is_lined("LED-B3"), is_lined("A")
    (True, True, False, False)
    """
    return illuminant[:2] in ("FL", "HP")


def flickers(source: str | None, illuminant: str | None, hints: tuple[Hint, ...] = ()) -> str:
    """One of: discharge, LED, maybe (no word for the source, but its colour hints at such a lamp), no."""
    words = (source or "").casefold()
    if illuminant is not None:
        return "discharge" if is_lined(illuminant) else "LED" if illuminant[:3] == "LED" else "no"
    if any(w in words for w in _DISCHARGE_WORDS):
        return "discharge"
    if any(w in re.split(r"[^a-z]+", words) for w in _LED_WORDS):
        return "LED"
    near = [h for h in hints[:1] if h.distance_uv <= NEAR_UV and not words]
    return "maybe" if near and any(k in near[0].kind for k in ("sodium", "fluor", "halide", "LED")) else "no"
