"""Encodings: what the code values of a still, a LUT or a frame mean.

An encoding is a transfer function, a set of primaries and an image state (ISO 22028-1): "output" for
display-referred pictures, "scene" for scene-referred light.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry import rgb_spaces as spaces
from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.rgb_spaces import RGBSpace, matrix_between
from lookdev.errors import RequestError

Array = NDArray[np.float64]
Transfer = Callable[[ArrayLike], Array]


def linear(values: ArrayLike) -> Array:
    """The transfer function of linear light."""
    return np.asarray(values, dtype=np.float64)


@dataclass(frozen=True)
class Power:
    """A pure power transfer function, picklable; ``inverse`` encodes."""

    exponent: float
    inverse: bool = False

    def __call__(self, values: ArrayLike) -> Array:
        return (tf.gamma_encode if self.inverse else tf.gamma_decode)(values, self.exponent)


@dataclass(frozen=True)
class Encoding:
    """Code values in [0, 1] with their meaning.

    Attributes
    ----------
    name, standard : what it is called, and the document that says so.
    state : "output" (display-referred) or "scene" (scene-referred).
    space : primaries and white.
    decode, encode : signal to linear RGB of ``space`` and back; arrays of any shape, unclamped.
    """

    name: str
    standard: str
    state: str
    space: RGBSpace
    decode: Transfer = field(repr=False)
    encode: Transfer = field(repr=False)

    def to_working(self, signal: ArrayLike) -> Array:
        """Linear BT.2020 (..., 3) of a signal (..., 3)."""
        return np.asarray(self.decode(signal) @ matrix_between(self.space, spaces.WORKING).T)

    def from_working(self, rgb: ArrayLike) -> Array:
        """Signal (..., 3), unclamped, of linear BT.2020 (..., 3)."""
        return self.encode(np.asarray(rgb, dtype=np.float64) @ matrix_between(spaces.WORKING, self.space).T)


_CORE = (
    Encoding("sRGB", "IEC 61966-2-1:1999", "output", spaces.SRGB, tf.srgb_decode, tf.srgb_encode),
    Encoding(
        "Display P3",
        "SMPTE EG 432-1, IEC 61966-2-1",
        "output",
        spaces.DISPLAY_P3,
        tf.srgb_decode,
        tf.srgb_encode,
    ),
    Encoding(
        "Adobe RGB", "Adobe RGB (1998)", "output", spaces.ADOBE_RGB, Power(563 / 256), Power(563 / 256, True)
    ),
    Encoding("BT.709", "ITU-R BT.709-6, BT.1886", "output", spaces.BT709, tf.bt1886_decode, tf.bt1886_encode),
    Encoding(
        "BT.2020", "ITU-R BT.2020-2, BT.1886", "output", spaces.BT2020, tf.bt1886_decode, tf.bt1886_encode
    ),
    Encoding("ACEScct", "Academy S-2016-001", "scene", spaces.ACES_AP1, tf.acescct_decode, tf.acescct_encode),
    Encoding("ACEScg", "Academy S-2014-004", "scene", spaces.ACES_AP1, linear, linear),
    Encoding("Linear BT.2020", "ITU-R BT.2020-2 primaries", "scene", spaces.BT2020, linear, linear),
)
_REGISTRY = {encoding.name: encoding for encoding in _CORE}


def encoding_names() -> list[str]:
    """Names of every encoding, in a stable order."""
    return list(_REGISTRY)


def _key(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())


def get_encoding(name: str) -> Encoding:
    """The encoding called ``name``; case, spaces and punctuation do not matter.

    Raises
    ------
    RequestError : no such encoding; names the nearest.

    >>> get_encoding("display-p3").name
    'Display P3'
    """
    by_key = {_key(n): e for n, e in _REGISTRY.items()}
    if _key(name) in by_key:
        return by_key[_key(name)]
    near = difflib.get_close_matches(_key(name), by_key, n=1, cutoff=0.0)
    hint = f"; the nearest name is {by_key[near[0]].name!r}" if near else ""
    raise RequestError("unknown encoding", found=name, wanted="a name that `lookdev encodings` lists" + hint)


SRGB, DISPLAY_P3, ADOBE_RGB, BT709, BT2020, ACESCCT, ACESCG, LINEAR_WORKING = _CORE
