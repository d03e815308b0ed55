"""Encodings: what the code values of a still, a LUT or a frame mean.

An encoding is a transfer function, a set of primaries and an image state (ISO 22028-1): "output" for
display-referred pictures, "scene" for scene-referred light. Output-referred light is relative: 1.0 is display
white. Log encodings with their gamuts come from log_encodings.py when they are asked for.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry import rgb_spaces as spaces
from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.log_encodings import (
    MAX_SIGNAL,
    LogTransfer,
    any_pair,
    gamut_space,
    is_of_a_camera,
    pairs,
    plain_key,
    standard_of,
)
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


HDR_PEAK_CD_M2 = 1000.0
"""What HDR is rendered to without a word: the reference display of BT.2100-2, and the most common master."""
HDR_PEAKS_CD_M2 = (600.0, 4000.0)
HDR_WHITE_CD_M2 = 203.0
"""Luminance at which PQ and HLG carry our display white: HDR Reference White, ITU-R BT.2408-7, table 1."""


@dataclass(frozen=True)
class PerceptualQuantizer:
    """PQ (ITU-R BT.2100-2 table 4, SMPTE ST 2084) with display white at HDR_WHITE_CD_M2."""

    inverse: bool = False

    def __call__(self, values: ArrayLike) -> Array:
        if self.inverse:
            return tf.pq_encode_cd_m2(np.asarray(values, dtype=np.float64) * HDR_WHITE_CD_M2)
        return np.asarray(tf.pq_decode_cd_m2(values) / HDR_WHITE_CD_M2)


@dataclass(frozen=True)
class HybridLogGamma:
    """HLG on its reference display (ITU-R BT.2100-2 table 5: 1000 cd/m2, system gamma 1.2).

    The system gamma acts on luminance, so values are (..., 3); display white lies at HDR_WHITE_CD_M2.

    >>> HybridLogGamma(inverse=True)([1.0, 1.0, 1.0]).round(2).tolist()
    [0.75, 0.75, 0.75]
    """

    inverse: bool = False

    def __call__(self, values: ArrayLike) -> Array:
        v = np.asarray(values, dtype=np.float64)
        if not self.inverse:
            scene = tf.hlg_oetf_inverse(np.clip(v, -MAX_SIGNAL, MAX_SIGNAL))
            luminance = np.abs(scene @ _BT2020_LUMA)[..., None]
            return np.asarray(scene * _hlg_gain(luminance) * (_HLG_PEAK / HDR_WHITE_CD_M2))
        display = v * (HDR_WHITE_CD_M2 / _HLG_PEAK)
        luminance = np.abs(display @ _BT2020_LUMA)[..., None] ** (1 / _HLG_GAMMA)
        return tf.hlg_oetf(display / _hlg_gain(luminance))


_HLG_PEAK, _HLG_GAMMA = 1000.0, 1.2
_BT2020_LUMA = np.array([0.2627, 0.6780, 0.0593])  # BT.2100-2 table 5, note on Y_S


def _hlg_gain(scene_luminance: Array) -> Array:
    return np.asarray(np.maximum(scene_luminance, 1e-6) ** (_HLG_GAMMA - 1))


NARROW_BLACK, NARROW_WHITE = 64 / 1023, 940 / 1023
"""Black and nominal peak of narrow range, 10-bit codes over 1023: BT.709-6 item 4.6, BT.2100-2 table 9."""


_HAIR = 2e-6
"""Negative light this small is the gamut's tolerance; a power curve would make it three codes under black."""


@dataclass(frozen=True)
class NarrowRange:
    """Another transfer function behind narrow (legal) range code values; picklable."""

    inner: Transfer
    inverse: bool = False

    def __call__(self, values: ArrayLike) -> Array:
        span = NARROW_WHITE - NARROW_BLACK
        if self.inverse:
            v = np.asarray(values, dtype=np.float64)
            v = np.where((v < 0) & (v > -_HAIR), 0.0, v)
            return np.asarray(NARROW_BLACK + span * self.inner(v))
        return self.inner((np.asarray(values, dtype=np.float64) - NARROW_BLACK) / span)


@dataclass(frozen=True)
class Encoding:
    """Code values in [0, 1] with their meaning.

    Attributes
    ----------
    name, standard : what it is called, and the document that says so.
    state : "output" (display-referred) or "scene" (scene-referred).
    space : primaries and white.
    decode, encode : signal to linear RGB of ``space`` and back; arrays (..., 3), unclamped.
    code_range : "full", or "narrow" for 64 to 940 of 10-bit codes.
    peak : the brightest light that a picture is rendered to, in display whites: above 1 for HDR.
    """

    name: str
    standard: str
    state: str
    space: RGBSpace
    decode: Transfer = field(repr=False)
    encode: Transfer = field(repr=False)
    code_range: str = "full"
    peak: float = 1.0

    @property
    def is_linear(self) -> bool:
        """Whether code values are light itself, by whatever function they are decoded.

        >>> ACESCG.is_linear, ACESCCT.is_linear
        (True, False)
        """
        probe = np.array([0.1, 0.5, 4.0])
        return self.decode is linear or bool(np.array_equal(self.decode(probe), probe))

    def to_working(self, signal: ArrayLike) -> Array:
        """Linear BT.2020 (..., 3) of a signal (..., 3)."""
        return np.asarray(self.decode(signal) @ matrix_between(self.space, spaces.WORKING).T)

    def from_working(self, rgb: ArrayLike) -> Array:
        """Signal (..., 3), unclamped, of linear BT.2020 (..., 3)."""
        return self.encode(np.asarray(rgb, dtype=np.float64) @ matrix_between(spaces.WORKING, self.space).T)


def with_range(encoding: Encoding, code_range: str | None) -> Encoding:
    """``encoding`` with "full" or "narrow" code values, or as it is (None); narrow ones say so in their name.

    Raises
    ------
    RequestError : another word, or linear light, which has no narrow range.

    >>> round(float(with_range(BT709, "narrow").from_working([1.0, 1.0, 1.0])[0] * 1023))
    940
    """
    if code_range is None:
        return encoding
    if code_range not in ("full", "narrow"):
        raise RequestError("unknown code range", found=code_range, wanted="full or narrow")
    if code_range == encoding.code_range:
        return encoding
    if code_range == "full":
        return get_encoding(encoding.name.removesuffix(" narrow"))
    if encoding.is_linear:
        raise RequestError("linear light has no narrow range", found=encoding.name, wanted="full")
    return replace(
        encoding,
        name=f"{encoding.name} narrow",
        decode=NarrowRange(encoding.decode),
        encode=NarrowRange(encoding.encode, inverse=True),
        code_range="narrow",
    )


def _power(name: str, standard: str, space: RGBSpace, exponent: float) -> Encoding:
    return Encoding(name, standard, "output", space, Power(exponent), Power(exponent, True))


def _hdr(
    name: str,
    standard: str,
    curve: type[PerceptualQuantizer] | type[HybridLogGamma],
    peak_cd_m2: float = HDR_PEAK_CD_M2,
) -> Encoding:
    levels = f"display white at {HDR_WHITE_CD_M2:.0f} cd/m2 (BT.2408-7), peak at {peak_cd_m2:.0f} cd/m2"
    peak = peak_cd_m2 / HDR_WHITE_CD_M2
    standard = f"{standard}; {levels}"
    return Encoding(name, standard, "output", spaces.BT2020, curve(), curve(inverse=True), peak=peak)


def with_peak(encoding: Encoding, peak_cd_m2: float) -> Encoding:
    """PQ for a display that reaches ``peak_cd_m2``, 600 to 4000; its name says so, unless it is 1000.

    Raises
    ------
    RequestError : no HDR encoding, another peak than 1000 for HLG, whose levels are relative to it, or one
        out of range.

    >>> with_peak(get_encoding("PQ"), 4000).name
    'BT.2100 PQ 4000'
    """
    if encoding.peak <= 1.0:
        raise RequestError("only an HDR encoding has a peak", found=encoding.name, wanted="PQ 600 to PQ 4000")
    low, high = HDR_PEAKS_CD_M2
    if not low <= peak_cd_m2 <= high:
        found = f"{peak_cd_m2:g} cd/m2"
        raise RequestError("peak out of range", found=found, wanted=f"{low:g} to {high:g} cd/m2")
    if encoding.name.startswith("BT.2100 HLG"):
        if peak_cd_m2 != HDR_PEAK_CD_M2:
            raise RequestError(
                "HLG is rendered for its reference display of 1000 cd/m2 (BT.2100); others adapt it",
                found=f"{peak_cd_m2:g} cd/m2",
                wanted=f"BT.2100 HLG, or BT.2100 PQ {peak_cd_m2:.0f}",
            )
        return encoding
    plain = _REGISTRY["BT.2100 PQ"]
    if peak_cd_m2 != HDR_PEAK_CD_M2:
        name = f"{plain.name} {peak_cd_m2:.0f}"
        plain = _hdr(name, plain.standard.partition(";")[0], PerceptualQuantizer, float(f"{peak_cd_m2:.0f}"))
    return with_range(plain, encoding.code_range)


def _linear(name: str, standard: str, space: RGBSpace) -> Encoding:
    return Encoding(name, standard, "scene", space, linear, linear)


_709_POWER = "ITU-R BT.709-6 primaries, pure power"
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
    _linear("ACEScg", "Academy S-2014-004", spaces.ACES_AP1),
    _linear("Linear BT.2020", "ITU-R BT.2020-2 primaries", spaces.BT2020),
)
_MORE = (
    _power("Gamma 2.2", _709_POWER, spaces.BT709, 2.2),
    _power("Gamma 2.4", _709_POWER, spaces.BT709, 2.4),
    _power("Gamma 2.6", _709_POWER, spaces.BT709, 2.6),
    _power("P3-D65", "SMPTE RP 431-2 primaries and power, D65 white (EG 432-1)", spaces.DISPLAY_P3, 2.6),
    _hdr("BT.2100 PQ", "ITU-R BT.2100-2 table 4, SMPTE ST 2084", PerceptualQuantizer),
    _hdr("BT.2100 HLG", "ITU-R BT.2100-2 table 5, 1000 cd/m2 display", HybridLogGamma),
    _linear("ACES2065-1", "SMPTE ST 2065-1", spaces.ACES_AP0),
    _linear("Linear BT.709", "ITU-R BT.709-6 primaries", spaces.BT709),
)
_REGISTRY = {encoding.name: encoding for encoding in (*_CORE, *_MORE)}
_ALIASES = {"rec709": "bt709", "rec2020": "bt2020", "pq": "bt2100pq", "hlg": "bt2100hlg"} | {
    "p3d6526": "p3d65",
    "bt1886": "bt709",
    "srgblinear": "linearbt709",
    "scenelinear": "linearbt2020",
    "aces": "aces20651",
    "rec2100pq": "bt2100pq",
    "rec2100hlg": "bt2100hlg",
}
_SHORT = {"clog": "canonlog", "clog2": "canonlog2", "clog3": "canonlog3"}
"""What makers call their own logs for short; from memory."""


def encoding_names(cameras: bool = True) -> list[str]:
    """Names of encodings, in a stable order: the standards' first, then the cameras' logs."""
    logs = pairs()
    standards = [*_REGISTRY, *(name for name in logs if not is_of_a_camera(name))]
    return [*standards, *(name for name in logs if is_of_a_camera(name))] if cameras else standards


def is_standard(name: str) -> bool:
    """Whether a full-range encoding of that name is known without colour-science, which takes a second.

    >>> is_standard("BT.709"), is_standard("V-Log V-Gamut")
    (True, False)
    """
    return name in _REGISTRY


def get_encoding(name: str) -> Encoding:
    """The encoding called ``name``; case, spaces and punctuation do not matter.

    A log encoding is called by its own name and its gamut's ("S-Log3 S-Gamut3.Cine"), or by its own alone
    where it has only one. Where no name is exactly that, whole words that stand together in one name alone
    will do. The word ``narrow`` at the end asks for narrow range.

    Raises
    ------
    RequestError : no such encoding, or more than one; names them, or the nearest.

    >>> get_encoding("display-p3").name, get_encoding("bt.709 narrow").name
    ('Display P3', 'BT.709 narrow')
    >>> get_encoding("LogC4").name
    'ARRI LogC4 ARRI Wide Gamut 4'
    """
    key = plain_key(name)
    if key.endswith("narrow") and key != "narrow":
        return with_range(_full_range(name, key.removesuffix("narrow")), "narrow")
    return _full_range(name, key)


@lru_cache(maxsize=256)
def _full_range(name: str, key: str) -> Encoding:
    by_key = {plain_key(n): e for n, e in _REGISTRY.items()}
    found = by_key.get(_ALIASES.get(key, key))
    peaked = re.fullmatch(r"(\D*(?:2100)?(?:pq|hlg))(\d{2,5})(?:cdm2|nits?)?", key)
    if found is None and peaked is not None:
        return with_peak(_full_range(name, peaked[1]), float(peaked[2]))
    return found if found is not None else _log_encoding(name, key)


def _log_encoding(name: str, key: str) -> Encoding:
    known, key = pairs(), _SHORT.get(key, key)
    hits = [n for n in known if plain_key(n) == key] or [n for n in known if plain_key(known[n][0]) == key]
    if len(hits) > 1:
        raise RequestError(
            "more than one gamut goes with this encoding", found=name, wanted=" or ".join(hits)
        )
    pair = known[hits[0]] if hits else any_pair(key)
    if pair is None:
        return _by_part(name, key)
    log, gamut = pair
    return Encoding(
        hits[0] if hits else f"{log} {gamut}",
        standard_of(log) or f"{log}, {gamut}: the makers' papers as colour-science implements them",
        "scene",
        gamut_space(gamut),
        LogTransfer(log),
        LogTransfer(log, inverse=True),
    )


def _by_part(name: str, key: str) -> Encoding:
    """The one encoding in whose name ``key`` stands as whole words."""
    hits = [n for n in encoding_names() if _has_words(n, key)]
    if len(hits) == 1:
        return get_encoding(hits[0])
    if hits:
        some = " or ".join(hits[:8]) + (f" or {len(hits) - 8} more" if len(hits) > 8 else "")
        raise RequestError("more than one encoding is called so", found=name, wanted=some)
    keys = [plain_key(n) for n in encoding_names()]
    near = difflib.get_close_matches(key, [k for k in keys if k[0] == key[:1]], n=1, cutoff=0.4)
    hint = next((f"; the nearest name is {n!r}" for n in encoding_names() if [plain_key(n)] == near), "")
    raise RequestError(
        "unknown encoding", found=name, wanted="a name that `lookdev encodings --all` lists" + hint
    )


def _has_words(name: str, key: str) -> bool:
    """Whether neighbouring words of ``name`` come to ``key``: "n log" is no part of "canon log"."""
    if not any(c.isalpha() for c in key):
        return False
    words = [plain_key(w) for w in re.findall(r"[^\W\d_]+|\d+", name)]
    starts = range(len(words))
    return any("".join(words[i:j]) == key for i in starts for j in range(i + 1, len(words) + 1))


SRGB, DISPLAY_P3, ADOBE_RGB, BT709, BT2020, ACESCCT, ACESCG, LINEAR_WORKING = _CORE
