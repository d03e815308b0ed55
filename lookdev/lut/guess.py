"""What a LUT seems to take and to give, from what it does to grey and beside it.

A .cube names neither its encodings nor its primaries. For each known encoding in and each display out, three
things are held against the LUT:

- grey: a rendering with some exposure and contrast, in several usual shapes, predicts the grey axis; where
  the encoding has no light, the LUT should begin to move;
- additivity: what the LUT makes of colours beside grey, undone along its own grey axis, is light again, and
  light adds up, if it was decoded by the right function, whatever the LUT's tone curve;
- primaries: the matrix that light goes through at grey is that from the encoding's primaries to the
  display's, but for saturation.

The weights were fitted on 280 LUTs made for that (looks of ours and random ones, foreign tone curves; in
24 encodings, out 7), so that shares of belief come near to how often the guess is right. It stays a guess.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry import rgb_spaces as spaces
from lookdev.colorimetry.encodings import Encoding, encoding_names, get_encoding
from lookdev.colorimetry.oklab import oklab_from_working
from lookdev.colorimetry.rgb_spaces import WORKING, RGBSpace, matrix_between
from lookdev.looks.rendering import MID_GREY, lift_curve, render_curve
from lookdev.lut.cube import CubeLut, lattice_points
from lookdev.lut.examine import grey_inputs
from lookdev.lut.likeness import SAME, Guesses, Likeness, output_kind, transfer_name

Array = NDArray[np.float64]

SHOWN = ("BT.709", "sRGB", "P3-D65", "Display P3", "BT.2020", "BT.2100 PQ", "BT.2100 HLG")
_STOPS, _CONTRASTS = np.arange(-2.0, 2.01, 0.25), np.arange(0.7, 1.91, 0.1)
_FALLBACK = 1.15  # contrast that most pictures have
_HUES = np.array([(1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 0), (0, 1, 1), (1, 0, 1)])
_AWAY = np.concatenate([_HUES, -_HUES])
_GREYS, _LEVELS, _REACHES = 257, (0.25, 0.35, 0.45, 0.55, 0.65), (0.04, 0.08)
_LUMA = np.array([0.2126, 0.7152, 0.0722])
_RARE = (
    *("Adobe RGB", "Gamma 2.2", "Gamma 2.4", "Gamma 2.6", "P3-D65", "BT.2020", "ACEScc", "ERIMM RGB"),
    *("S-Log S-Gamut", "Canon Log Cinema Gamut", "Canon Log 2 ITU-R BT.2020", "Canon Log 3 ITU-R BT.2020"),
)
_RARE_WORDS = ("Protune", "REDLogFilm", "Mi-Log", "L-Log", "Venice", "Canon Log ITU", "Linear", "ACES2065")
_GREY, _PRIMARIES, _ADDITIVITY = (3.4, 0.0026), (3.5, 0.008), (3.0, 0.0055)
"""Costs in natural logarithms of belief: so much a factor e over so large a residual."""
_SATURATION, _STILL_LONG, _MOVES_SOON, _TOP, _RARITY = 0.55, 0.93, 0.7, 2.0, 2.2
_EXPOSURE, _CONTRAST, _WIDE, _UNDER_BLACK = 1.8, 0.75, 0.33, 7.0
"""The same, a unit of what each is about."""


def guesses(lut: CubeLut) -> Guesses:
    """What ``lut`` may take and give. About half a second."""
    seen = _Seen.of(lut)
    best: dict[str, Likeness] = {}
    kinds: dict[str, float] = {}
    for like in [*_hypotheses(seen)] or _hypotheses(replace(seen, has_colour=False)):
        kind = output_kind(like.gives)
        kinds[kind] = min(kinds.get(kind, np.inf), like.cost)
        if like.name not in best or like.cost < best[like.name].cost:
            best[like.name] = like
    ranked = sorted(best.values(), key=lambda like: (round(like.cost, 6), _order(like.name)))
    shares = _shares([like.cost for like in ranked])
    takes = tuple(replace(like, belief=share) for like, share in zip(ranked, shares, strict=True))
    return Guesses(takes, dict(zip(kinds, _shares(list(kinds.values())), strict=True)))


def _shares(costs: list[float]) -> list[float]:
    weights = np.exp(min(costs) - np.array(costs))
    return [float(w) for w in weights / weights.sum()]


def _order(name: str) -> int:
    return encoding_names().index(name)


# ---- what is seen of the LUT -----------------------------------------------------------------------------


@dataclass(frozen=True)
class _Seen:
    """A LUT at greys ``x`` (n,) that become ``grey`` (n, 3), and beside grey: ``points`` (m, 3) around the
    greys ``base`` (m,), which become ``out``. ``top`` and ``bottom`` are its extreme values
    (the latter away from black), ``spacing`` that of its nodes."""

    x: Array
    grey: Array
    base: Array
    points: Array
    out: Array
    top: float
    bottom: float
    spacing: float
    linear: bool
    has_colour: bool

    @classmethod
    def of(cls, lut: CubeLut) -> _Seen:
        inputs = grey_inputs(lut)
        x = inputs[np.linspace(0, len(inputs) - 1, _GREYS).round().astype(int)]
        grey = lut(np.repeat(x[:, None], 3, axis=1))
        linear = max(lut.input_max) > 1.5
        base, points = _beside(x, np.clip(grey @ _LUMA, 0.0, None), linear)
        out = lut(points)
        coloured = lut.kind == "3D" and bool(np.ptp(lut.table - lut.table[..., :1]) > 1e-4)
        size = len(lut.shaper.table) if lut.shaper is not None and lut.kind == "1D" else lut.size
        top, bottom = float(lut.table.max()), _bottom(lut)
        return cls(x, grey, base, points, out, top, bottom, 1.0 / size, linear, coloured)

    @property
    def luma(self) -> Array:
        return np.asarray(self.grey @ _LUMA)

    @property
    def shown(self) -> Array:
        """Grey as a display shows it; points under black stand there for the lines between points."""
        return np.clip(self.luma, 0.0, 1.0)

    @property
    def has_no_black(self) -> bool:
        """Whether colours end under zero, or well above where grey ends: a display's end at its black."""
        return self.bottom < -0.002 or self.bottom > float(self.grey.min()) + 0.03

    @cached_property
    def moves_from(self) -> float:
        """The grey up to which black stands still."""
        luma = self.shown
        moving = np.flatnonzero(luma > luma.min() + 0.003 * np.ptp(luma))
        return float(self.x[max(moving[0] - 1, 0)]) if moving.size else float(self.x[-1])


def _bottom(lut: CubeLut) -> float:
    """The least value away from black: a display has none under zero there."""
    if lut.kind == "1D":
        return float(lut.table.min())
    far = lattice_points(lut.size).max(axis=-1) > 0.3
    return float(lut.table[far].min())


def _beside(x: Array, luma: Array, linear: bool) -> tuple[Array, Array]:
    levels = luma.min() + np.ptp(luma) * np.array(_LEVELS)
    rising = np.all(np.diff(luma) > -1e-3) and np.ptp(luma) > 1e-3
    middles = np.interp(levels, np.maximum.accumulate(luma), x) if rising else x[[80, 100, 120, 140]]
    base, points = [], []
    for middle in middles:
        for away in _AWAY:
            for reach in _REACHES:
                point = middle * 2.0 ** (8 * reach * away) if linear else middle + reach * away
                if point.min() >= x[0] and point.max() <= x[-1]:
                    base.append(middle)
                    points.append(point)
    return np.array(base), np.array(points).reshape(-1, 3)


# ---- what each hypothesis predicts -----------------------------------------------------------------------


@lru_cache(maxsize=1)
def _candidates() -> tuple[Encoding, ...]:
    return tuple(get_encoding(name) for name in encoding_names())


def _light(encoding: Encoding, signal: Array) -> Array:
    """Scene light of signal, by channel."""
    light = encoding.decode(signal)
    return lift_curve(light, encoding.peak) if encoding.state == "output" else light


@dataclass(frozen=True)
class _Undone:
    """Colours beside grey, undone along the LUT's grey axis: the greys ``x`` that give the same, each channel
    alone, or one for all and ``ratios`` between the channels; ``usable`` where the axis reaches so far."""

    tone: RGBSpace
    x: Array
    usable: NDArray[np.bool_]
    ratios: Array | None = None


def _undone(seen: _Seen, shown: Encoding) -> Iterator[_Undone]:
    grey, out = shown.decode(seen.grey), shown.decode(seen.out)
    for tone in dict.fromkeys((shown.space, spaces.BT2020, spaces.ACES_AP1)):
        back = matrix_between(shown.space, tone).T
        along = [_inverted(seen.x, (grey @ back)[:, c], (out @ back)[:, c]) for c in range(3)]
        x = np.stack([a for a, _ in along], axis=-1)
        yield _Undone(tone, x, np.logical_and.reduce([ok for _, ok in along]))
    to_working = matrix_between(shown.space, WORKING).T
    size_grey, size_out = (_lightness(v @ to_working) ** 3 for v in (grey, out))
    at, usable = _inverted(seen.x, size_grey, size_out)
    tint = grey / np.maximum(size_grey, 1e-9)[:, None]
    own = np.stack([np.interp(at, seen.x, tint[:, c]) for c in range(3)], axis=-1)
    ratios = out / np.maximum(size_out, 1e-9)[:, None] / np.maximum(own, 1e-3)
    yield _Undone(shown.space, at, usable, ratios)


def _lightness(working: Array) -> Array:
    return np.maximum(oklab_from_working(working)[:, 0], 0.0)


def _inverted(x: Array, along: Array, wanted: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Where the rising ``along`` of ``x`` has the values ``wanted``, and whether it reaches them."""
    rising = np.maximum.accumulate(along)
    kept = np.concatenate([[True], np.diff(rising) > 1e-9])
    reached = (wanted > rising[kept][0] + 1e-5) & (wanted < rising[kept][-1] - 1e-5)
    return np.interp(wanted, rising[kept], x[kept]), reached


@dataclass(frozen=True)
class _Decoded:
    """A transfer function over what a LUT takes, ``signal`` (n,) and its ``light`` (n,); and beside grey, as
    shares of the grey. ``steps`` : places in _EVEN_STOPS of the LUT's greys, by exposure and contrast."""

    signal: Array
    light: Array
    at_base: Array
    away: Array
    steps: NDArray[np.int32]

    @classmethod
    def of(cls, encoding: Encoding, seen: _Seen) -> _Decoded:
        signal = np.interp(np.linspace(0, len(seen.x) - 1, 4097), np.arange(len(seen.x)), seen.x)
        light = _light(encoding, np.repeat(signal[:, None], 3, axis=1))[:, 1]
        at_base = _light(encoding, np.repeat(seen.base[:, None], 3, axis=1))
        away = (_light(encoding, seen.points) - at_base) / np.maximum(at_base, 1e-4)
        over = np.log2(np.maximum(np.interp(seen.x[::4], signal, light), 1e-6) / MID_GREY)
        stops = (over[None, None] + _STOPS[:, None, None]) * _CONTRASTS[None, :, None]
        places = np.rint((stops - _EVEN_STOPS[0]) * _A_STOP).clip(0, len(_EVEN_STOPS) - 1)
        return cls(signal, light, np.maximum(at_base, 1e-4), away, places.astype(np.int32))

    def __call__(self, signal: Array) -> Array:
        """Light of ``signal``, channel by channel."""
        return np.interp(signal, self.signal, self.light)


def _hypotheses(seen: _Seen) -> Iterator[Likeness]:
    wanted = [e for e in _candidates() if e.is_linear or not seen.linear]
    curves = {transfer_name(e.name): e for e in wanted}
    decoded = {name: _Decoded.of(e, seen) for name, e in curves.items()}
    for shown in map(get_encoding, SHOWN):
        greys = {name: _grey_fit(d, shown, seen.shown) for name, d in decoded.items()}
        for undone in _undone(seen, shown) if seen.has_colour else (None,):
            fits = {name: _matrix(decoded[name], undone) for name in curves}
            for encoding in wanted:
                name = transfer_name(encoding.name)
                yield from _judged(seen, encoding, shown, greys[name], fits[name], undone)
    logs = [e for e in wanted if e.state == "scene" and e.is_linear == seen.linear]
    yield from _to_the_same(seen, logs, decoded)


def _judged(
    seen: _Seen,
    encoding: Encoding,
    shown: Encoding,
    grey: tuple[float, float, float],
    fit: tuple[Array, float] | None,
    undone: _Undone | None,
) -> Iterator[Likeness]:
    rms, stops, contrast = grey
    if undone is None:
        yield _scored(seen, encoding, shown.name, rms, stops, contrast)
    elif fit is not None:
        saturation, off = _against_primaries(fit[0], encoding.space, undone.tone)
        yield _scored(seen, encoding, shown.name, rms, stops, contrast, saturation, off, fit[1])


def _to_the_same(seen: _Seen, logs: list[Encoding], decoded: dict[str, _Decoded]) -> Iterator[Likeness]:
    """A look alone: light in, light out, both in one encoding."""
    for encoding in logs:
        d = decoded[transfer_name(encoding.name)]
        rms, stops, contrast = _grey_fit(d, encoding, seen.luma)
        if not seen.has_colour:
            yield _scored(seen, encoding, SAME, rms, stops, contrast)
            continue
        out = (encoding.decode(seen.out) - d.at_base) / d.at_base
        fit = _solved(d.away, out, np.ones(len(out), dtype=bool))
        if fit is None:
            continue
        saturation, off = _against_primaries(fit[0], encoding.space, encoding.space)
        yield _scored(seen, encoding, SAME, rms, stops, contrast, saturation, off, fit[1])


def _matrix(decoded: _Decoded, undone: _Undone | None) -> tuple[Array, float] | None:
    """The matrix (3, 3) that light goes through at grey, and how far light is from adding up."""
    if undone is None or undone.usable.sum() < 9:
        return None
    light = decoded(undone.x) if undone.ratios is None else decoded(undone.x)[:, None] * undone.ratios
    return _solved(decoded.away, (light - decoded.at_base) / decoded.at_base, undone.usable)


def _solved(away: Array, out: Array, usable: NDArray[np.bool_]) -> tuple[Array, float] | None:
    usable = np.logical_and.reduce([usable, np.isfinite(out).all(axis=1), np.isfinite(away).all(axis=1)])
    if usable.sum() < 9:
        return None
    weight = 1.0 / (0.15 + np.abs(away[usable]).max(axis=1, keepdims=True))
    matrix = np.linalg.lstsq(away[usable] * weight, out[usable] * weight, rcond=None)[0]
    left = (away[usable] @ matrix - out[usable]) * weight
    return matrix.T, float(np.sqrt(np.mean(left**2)))


def _against_primaries(matrix: Array, source: RGBSpace, tone: RGBSpace) -> tuple[float, float]:
    """The saturation with which the change of primaries comes nearest to ``matrix``, and what is left."""
    grey, change = _change_of_primaries(source, tone)
    saturation = float(np.clip(np.sum(change * (matrix - grey)) / np.sum(change * change), 0.3, 1.7))
    left = matrix - grey - saturation * change
    return saturation, float(np.sqrt(np.mean(left**2))) / max(saturation, 0.5)


@lru_cache(maxsize=512)
def _change_of_primaries(source: RGBSpace, tone: RGBSpace) -> tuple[Array, Array]:
    """The matrix that leaves luminance alone, as grey, and what the change of primaries adds to it."""
    luminance = np.array([0.2627, 0.6780, 0.0593]) @ matrix_between(source, WORKING)  # BT.2020-2, Y
    grey = np.ones((3, 1)) * luminance[None]
    return grey, matrix_between(source, tone) - grey


def _grey_fit(decoded: _Decoded, shown: Encoding, luma: Array) -> tuple[float, float, float]:
    """Least rms with the stops and the contrast of it, a little against unusual ones: plain answers win."""
    unusual = 0.006 * np.abs(_STOPS)[:, None] + 0.015 * np.abs(_CONTRASTS - _FALLBACK)[None]
    best = (np.inf, 0.0, 1.0)
    for number, codes in enumerate(_shapes(shown)):
        rms = np.sqrt(np.mean((codes[decoded.steps] - luma[::4]) ** 2, axis=-1)) + unusual
        i, j = np.unravel_index(int(np.argmin(rms)), rms.shape)
        best = min(best, (float(rms[i, j]) + 0.004 * (number > 0), float(_STOPS[i]), float(_CONTRASTS[j])))
    return best


_A_STOP = 64
_EVEN_STOPS = np.arange(-20 * _A_STOP, 20 * _A_STOP + 1) / _A_STOP


@lru_cache(maxsize=64)
def _shapes(shown: Encoding) -> tuple[Array, ...]:
    """Code values of grey over _EVEN_STOPS about mid grey, in usual shapes of tone curve; ours first."""
    x, peak = MID_GREY * 2.0**_EVEN_STOPS, shown.peak
    if shown.state == "scene":
        return (shown.encode(np.repeat(x[:, None], 3, axis=1))[:, 1],)
    curves = (
        render_curve(x, peak),
        peak * (1.0 - np.exp(-x / peak)),
        x * (1.0 + x / (6.0 * peak) ** 2) / (1.0 + x / peak),
        peak * (x * (2.51 * x + 0.03)) / (x * (2.43 * x + 0.59) + 0.14),
    )
    held = (np.clip(curve, 0.0, peak) for curve in curves)
    return tuple(shown.encode(np.repeat(curve[:, None], 3, axis=1))[:, 1] for curve in held)


def _scored(
    seen: _Seen,
    encoding: Encoding,
    gives: str,
    rms: float,
    stops: float,
    contrast: float,
    saturation: float | None = None,
    off: float | None = None,
    additivity: float | None = None,
) -> Likeness:
    cost = _by_logarithm(_GREY, rms) + _EXPOSURE * abs(stops) + _CONTRAST * abs(contrast - 1.1)
    if saturation is not None and off is not None and additivity is not None:
        cost += _by_logarithm(_PRIMARIES, off) + _by_logarithm(_ADDITIVITY, additivity)
        cost += _SATURATION * abs(saturation - 0.95)
    cost += _black_cost(seen, encoding)
    pq = "PQ" in gives
    missing = max(0.0, 0.68 - seen.top) + max(0.0, seen.top - 0.93) if pq else max(0.0, 0.985 - seen.top)
    if gives != SAME:
        cost += _TOP * min(missing / 0.05, 4.0) + _UNDER_BLACK * seen.has_no_black
    wide = gives in ("BT.2020", "BT.2100 PQ", "BT.2100 HLG", "P3-D65")
    cost += _RARITY * _is_rare(encoding, seen.linear) + _WIDE * wide
    return Likeness(encoding.name, gives, 0.0, rms, stops, contrast, saturation, off, float(cost))


def _by_logarithm(weight: tuple[float, float], value: float) -> float:
    times, unit = weight
    return float(times * np.log1p(value / unit))


def _black_cost(seen: _Seen, encoding: Encoding) -> float:
    zero = 0.0
    if encoding.state == "scene":
        zero = max(float(encoding.encode(np.zeros((1, 3)))[0, 0]), 0.0)
    late = max(0.0, seen.moves_from - zero - 0.5 * seen.spacing)
    early = max(0.0, zero - seen.moves_from - seen.spacing)
    return _STILL_LONG * min(late / 0.05, 4.0) + _MOVES_SOON * min(early / 0.03, 4.0)


def _is_rare(encoding: Encoding, linear: bool) -> bool:
    if encoding.is_linear and not linear:
        return True
    return encoding.name in _RARE or any(word in encoding.name for word in _RARE_WORDS)
