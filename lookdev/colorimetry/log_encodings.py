"""Log encodings with their gamuts, by the names under which colour-science registers them.

Their makers' white papers are cited in colour-science's own documentation of each function. Here every one
is made safe for any input: below the lowest light (or signal) that a formula takes, it goes on as its
tangent, so that negative light from other primaries passes and comes back.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.rgb_spaces import RGBSpace

Array = NDArray[np.float64]

MAX_SIGNAL = 4.0
_LOWEST = (-0.5, -0.2, -0.1, -0.05, -0.02, -0.01, -0.005, -0.002, -0.001, 0.0)
_GAMUTS_OF = {
    "Apple Log Profile": ("ITU-R BT.2020",),
    "Canon Log": ("Cinema Gamut", "ITU-R BT.2020", "ITU-R BT.709"),
    "Canon Log 2": ("Cinema Gamut", "ITU-R BT.2020"),
    "Canon Log 3": ("Cinema Gamut", "ITU-R BT.2020"),
    "Cineon": ("ITU-R BT.709",),
    "F-Log": ("F-Gamut",),
    "L-Log": ("ITU-R BT.2020",),
    "Mi-Log": ("ITU-R BT.2020",),
    "S-Log": ("S-Gamut",),
}
"""Pairs that their makers name but that colour-science does not register as one colour space."""
_LEFT_OUT = ("ACEScct", "ACESproxy")
"""ACEScct is an encoding of its own (encodings.py); ACESproxy clamps, and is for cables, not for files."""
_UNLISTED = ("DaVinci Intermediate", "T-Log")
"""What programs work in and no camera records: known by the whole name, neither listed nor guessed."""
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


@lru_cache(maxsize=1)
def pairs() -> dict[str, tuple[str, str]]:
    """Log encoding and gamut (colour-science's names) by our name, in a stable order.

    >>> pairs()["S-Log3 S-Gamut3.Cine"]
    ('S-Log3', 'S-Gamut3.Cine')
    """
    colour = colour_science()
    by_function = {_function_name(colour.CCTF_ENCODINGS[name]): name for name in _logs()}
    found: set[tuple[str, str]] = {(log, gamut) for log, gamuts in _GAMUTS_OF.items() for gamut in gamuts}
    for gamut, space in colour.RGB_COLOURSPACES.items():
        log = by_function.get(_function_name(space.cctf_encoding))
        if log is not None and gamut == space.name:
            found.add((log, gamut))
    kept = sorted(pair for pair in found if pair[0] not in (*_LEFT_OUT, *_UNLISTED))
    return {log if log == gamut else f"{log} {gamut}": (log, gamut) for log, gamut in kept}


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


def _logs() -> list[str]:
    return sorted({*colour_science().LOG_ENCODINGS, "Blackmagic Film Generation 5", "DaVinci Intermediate"})


def any_pair(key: str) -> tuple[str, str] | None:
    """Any registered log encoding followed by any registered gamut; ``key`` has letters and digits alone.

    >>> any_pair("cineonacescg")
    ('Cineon', 'ACEScg')
    """
    colour = colour_science()
    for log in sorted(_logs(), key=len, reverse=True):
        if log in _LEFT_OUT or not key.startswith(plain_key(log)):
            continue
        rest = key[len(plain_key(log)) :]
        for gamut in sorted(colour.RGB_COLOURSPACES):
            if rest and plain_key(gamut) == rest:
                return log, gamut
    return None


def gamut_space(name: str) -> RGBSpace:
    """The primaries and white of a gamut that colour-science registers."""
    space = colour_science().RGB_COLOURSPACES[name]
    red, green, blue = ((float(x), float(y)) for x, y in np.asarray(space.primaries).reshape(3, 2))
    white = np.asarray(space.whitepoint, dtype=np.float64)
    return RGBSpace(name, (red, green, blue), (float(white[0]), float(white[1])), "as colour-science has it")


def plain_key(text: str) -> str:
    """Letters and digits of ``text`` in lower case."""
    return "".join(c for c in text.casefold() if c.isalnum())


def _function_name(function: object) -> str:
    inner = getattr(function, "func", function)
    return str(getattr(inner, "__name__", repr(inner)))
