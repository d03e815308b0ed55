"""Log encodings with their gamuts, by the names under which colour-science registers them.

Their makers' white papers are cited in colour-science's own documentation of each function. Here every one
is made safe for any input: below the lowest light (or signal) that a formula takes, it goes on as its
tangent, so that negative light from other primaries passes and comes back.

Names, gamuts and what a list says of each are in log_encodings.csv, which ``make_log_encodings`` writes; the
formulas themselves need colour-science, which takes a second to load.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.rgb_spaces import RGBSpace

Array = NDArray[np.float64]

MAX_SIGNAL = 4.0
_FILE = Path(__file__).with_name("log_encodings.csv")
_STANDARD = "as colour-science has it"
_LOWEST = (-0.5, -0.2, -0.1, -0.05, -0.02, -0.01, -0.005, -0.002, -0.001, 0.0)
LEFT_OUT = ("ACEScct", "ACESproxy")
"""ACEScct is an encoding of its own (encodings.py); ACESproxy clamps, and is for cables, not for files."""
_OF_STANDARDS = {"ACEScc": "Academy S-2014-003", "ERIMM RGB": "ISO 22028-3"}
"""The logs that are no maker's; numbers from memory."""


@dataclass(frozen=True)
class LogTransfer:
    """A log transfer function, picklable; decodes signal to light, ``inverse`` encodes light to signal."""

    name: str
    inverse: bool = False

    def __call__(self, values: ArrayLike) -> Array:
        v = np.asarray(values, dtype=np.float64)
        light_low, signal_low, slope = _floor(self.name)
        if self.inverse:
            above = _raw(self.name, np.maximum(v, light_low), True)
            return np.asarray(np.where(v < light_low, signal_low + slope * (v - light_low), above))
        capped = np.clip(v, signal_low, MAX_SIGNAL)
        above = _raw(self.name, capped, False)
        return np.asarray(np.where(v < signal_low, light_low + (v - signal_low) / slope, above))


def _raw(name: str, values: ArrayLike, encode: bool) -> Array:
    colour = colour_science()
    table = colour.CCTF_ENCODINGS if encode else colour.CCTF_DECODINGS
    with np.errstate(all="ignore"):
        return np.asarray(table[name](np.asarray(values, dtype=np.float64)), dtype=np.float64)


@lru_cache(maxsize=128)
def _floor(name: str) -> tuple[float, float, float]:
    """Lowest light that the formula takes there and back, its signal, and the slope there."""
    low = next((x for x in _LOWEST if _usable_from(name, x)), None)
    if low is None:
        low = max(float(_raw(name, 0.0, False)), 2.0**-14)
    step = 1e-7
    bottom, next_up = _raw(name, np.array([low, low + step]), True)
    return low, float(bottom), float(next_up - bottom) / step


def _usable_from(name: str, low: float) -> bool:
    light = np.concatenate([np.linspace(low, 0.02, 200), np.geomspace(0.02, 4.0, 50)[1:]])
    signal = _raw(name, light, True)
    if not np.isfinite(signal).all() or np.any(np.diff(signal) <= 0):
        return False
    return bool(np.allclose(_raw(name, signal, False), light, rtol=1e-4, atol=1e-6))


@dataclass(frozen=True)
class Registered:
    """A log encoding with a gamut that goes with it, by colour-science's names.

    ``mid_grey_code`` : the code of a light of 0.18; ``light_at_code_1`` : where mid grey is 0.18.
    """

    log: str
    space: RGBSpace
    mid_grey_code: float
    light_at_code_1: float


@lru_cache(maxsize=1)
def registered() -> dict[str, Registered]:
    """The log encodings that are listed, by our name, in a stable order."""
    found = {}
    for line in _FILE.read_text(encoding="ascii").splitlines()[1:]:
        name, log, gamut, *numbers = line.split(",")
        grey, top, *xy = map(float, numbers)
        red, green, blue, white = zip(xy[::2], xy[1::2], strict=True)
        space = RGBSpace(gamut, (red, green, blue), white, _STANDARD)
        found[name] = Registered(log, space, grey, top)
    return found


@lru_cache(maxsize=1)
def pairs() -> dict[str, tuple[str, str]]:
    """Log encoding and gamut (colour-science's names) by our name, in a stable order.

    >>> pairs()["S-Log3 S-Gamut3.Cine"]
    ('S-Log3', 'S-Gamut3.Cine')
    """
    return {name: (known.log, known.space.name) for name, known in registered().items()}


def is_of_a_camera(name: str) -> bool:
    """Whether a name in :func:`pairs` is a camera's log, and no standard's.

    >>> is_of_a_camera("V-Log V-Gamut"), is_of_a_camera("ACEScc")
    (True, False)
    """
    return name in pairs() and pairs()[name][0] not in _OF_STANDARDS


def standard_of(log: str) -> str | None:
    """The document of a log that is no maker's.

    >>> standard_of("ACEScc")
    'Academy S-2014-003'
    """
    return _OF_STANDARDS.get(log)


def logs() -> list[str]:
    """Every log encoding of colour-science, by its name."""
    return sorted({*colour_science().LOG_ENCODINGS, "Blackmagic Film Generation 5", "DaVinci Intermediate"})


def any_pair(key: str) -> tuple[str, str] | None:
    """Any registered log encoding followed by any registered gamut; ``key`` has letters and digits alone.

    >>> any_pair("cineonacescg")
    ('Cineon', 'ACEScg')
    """
    colour = colour_science()
    for log in sorted(logs(), key=len, reverse=True):
        if log in LEFT_OUT or not key.startswith(plain_key(log)):
            continue
        rest = key[len(plain_key(log)) :]
        for gamut in sorted(colour.RGB_COLOURSPACES):
            if rest and plain_key(gamut) == rest:
                return log, gamut
    return None


def gamut_space(name: str) -> RGBSpace:
    """The primaries and white of a gamut that colour-science registers."""
    known = next((r.space for r in registered().values() if r.space.name == name), None)
    return known or registered_space(name)


def registered_space(name: str) -> RGBSpace:
    """The same from colour-science itself."""
    space = colour_science().RGB_COLOURSPACES[name]
    red, green, blue = ((float(x), float(y)) for x, y in np.asarray(space.primaries).reshape(3, 2))
    white = np.asarray(space.whitepoint, dtype=np.float64)
    return RGBSpace(name, (red, green, blue), (float(white[0]), float(white[1])), _STANDARD)


def plain_key(text: str) -> str:
    """Letters and digits of ``text`` in lower case."""
    return "".join(c for c in text.casefold() if c.isalnum())
