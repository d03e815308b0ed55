"""Munsell notation, there and back: ASTM D1535 (renotation of 1943), illuminant C, 2 degree observer.

Forward: x, y come from the renotation table, laid out about illuminant C as angle and distance, linear in
hue and chroma between its points and linear in luminance between its value planes; value and luminance
follow the quintic of ASTM D1535-08e1. Backward: the same function, inverted by iteration, all colours at
once. Outside the table the last step of chroma goes on, and the result is marked. Colours agree with
colour-science's one-at-a-time conversion within 0.2 hue step and 0.4 chroma, mean under 0.05
(``tests/reference/test_munsell_notation.py``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix, xy_from_xyz
from lookdev.colorimetry.difference import lab_from_xyz, xyz_from_lab
from lookdev.colorimetry.munsell import FAMILIES, parse_hue
from lookdev.colorimetry.rgb_spaces import D65_XY

Array = NDArray[np.float64]

C_XY = (0.31006, 0.31616)
"""Illuminant C, 2 degree observer (CIE 15:2018)."""

GREY_CHROMA = 0.1
"""Below this a colour is written as neutral."""

_COLOUR = re.compile(
    r"\s*([\d.]+\s*(?:RP|YR|GY|BG|PB|R|Y|G|B|P))\s*(\d+(?:\.\d*)?)\s*/\s*(\d+(?:\.\d*)?)\s*", re.IGNORECASE
)
_NEUTRAL = re.compile(r"\s*N\s*(\d+(?:\.\d*)?)\s*(?:/\s*0?(?:\.0*)?)?\s*", re.IGNORECASE)
_VALUE_TO_Y = np.array([0.00081939, -0.020484, 0.23352, -0.22533, 1.1914, 0.0])


@dataclass(frozen=True)
class Munsell:
    """A Munsell colour: ``hue`` on the circle of 100 steps (5R is 5), value 0 to 10, chroma >= 0."""

    hue: float
    value: float
    chroma: float

    def __str__(self) -> str:
        return notation(self.hue, self.value, self.chroma)


def parse_notation(text: str) -> Munsell:
    """A Munsell colour as people write it: ``5YR 6/4``, ``7.5 yr 6/4``, ``N 5.5/``; a decimal comma passes.

    Raises
    ------
    ValueError : not a notation.

    >>> parse_notation("7.5YR 6/4")
    Munsell(hue=17.5, value=6.0, chroma=4.0)
    """
    clean = text.replace(",", ".")
    if (neutral := _NEUTRAL.fullmatch(clean)) and float(neutral[1]) <= 10:
        return Munsell(0.0, float(neutral[1]), 0.0)
    match = _COLOUR.fullmatch(clean)
    if match and float(match[2]) <= 10 and float(match[3]) <= 60:
        return Munsell(parse_hue(match[1]) % 100, float(match[2]), float(match[3]))
    raise ValueError(f"{text!r} is not a Munsell notation such as 5YR 6/4 or N 5.5")


def hue_name(position: float, digits: int = 1) -> str:
    """Hue letters of a position on the circle of 100 steps, never in powers of ten.

    >>> hue_name(17.5), hue_name(0.0), hue_name(64.96), hue_name(20.00002, digits=6)
    ('7.5YR', '10RP', '5B', '0.00002Y')
    """
    p = round(float(position) % 100, digits)
    family = int(np.ceil(p / 10)) - 1 if p > 0 else 9
    step = p - 10 * family if p > 0 else 10.0
    text = f"{step:.{digits}f}"
    return (text.rstrip("0").rstrip(".") if digits else text) + FAMILIES[family % 10]


def notation(hue: float, value: float, chroma: float) -> str:
    """The notation of hue (circle of 100), value and chroma, to one decimal.

    >>> notation(17.5, 6.0, 4.0), notation(30.0, 5.52, 0.04)
    ('7.5YR 6/4', 'N 5.5')
    """
    v = f"{round(float(value), 1) + 0.0:g}"
    if chroma < GREY_CHROMA:
        return f"N {v}"
    return f"{hue_name(hue)} {v}/{round(float(chroma), 1):g}"


def luminance_factor(value: ArrayLike) -> Array:
    """Luminance factor Y, 0 to 1, of Munsell value (ASTM D1535-08e1, relative to the perfect diffuser).

    >>> round(float(luminance_factor(5.0)), 7)
    0.1927184
    """
    return np.asarray(np.polyval(_VALUE_TO_Y, np.asarray(value, dtype=np.float64)) / 100)


def value_from_luminance(y: ArrayLike) -> Array:
    """Munsell value, 0 to 10, of luminance factor Y, 0 to 1 (clipped there).

    >>> round(float(value_from_luminance(0.1223634268)), 6)
    4.082444
    """
    target = np.clip(np.asarray(y, dtype=np.float64), 0.0, 1.0)
    grid = np.linspace(0.0, 10.0, 1001)
    value = np.interp(target, luminance_factor(grid), grid)
    slope = np.polyder(_VALUE_TO_Y)
    for _ in range(3):
        value = value - (luminance_factor(value) - target) / (np.polyval(slope, value) / 100)
    return np.asarray(np.clip(value, 0.0, 10.0))


@dataclass(frozen=True)
class Renotation:
    """The renotation table: ``hue`` (positions), ``value``, ``chroma``, ``real`` (n,), ``xy`` (n, 2)."""

    hue: Array
    value: Array
    chroma: Array
    xy: Array
    real: NDArray[np.bool_]


@lru_cache(maxsize=1)
def renotation() -> Renotation:
    """The renotation data of 1943, 4995 colours, of which 2734 are marked as real."""
    lines = Path(__file__).with_name("munsell_renotation.csv").read_text("utf-8").splitlines()[1:]
    cells = [line.split(",") for line in lines]
    hues = {name: parse_hue(name) for name in {c[0] for c in cells}}
    numbers = np.array([[hues[c[0]], *map(float, c[1:])] for c in cells])
    return Renotation(numbers[:, 0], numbers[:, 1], numbers[:, 2], numbers[:, 3:5], numbers[:, 5] == 1)


@dataclass(frozen=True)
class _Layout:
    """The table about illuminant C: values (p,), angle and radius (p, 41, c), last known chroma (p, 41)."""

    values: Array
    luminances: Array
    angle: Array
    radius: Array
    last_known: Array
    last_real: Array


@lru_cache(maxsize=1)
def _layout() -> _Layout:
    table = renotation()
    values = np.unique(table.value)
    steps = int(table.chroma.max() / 2) + 1
    shape = (len(values), 40, steps)
    xy = np.full((*shape, 2), np.nan)
    last_real = np.zeros(shape[:2])
    p, h = np.searchsorted(values, table.value), np.rint(table.hue / 2.5).astype(int) % 40
    c = np.rint(table.chroma / 2).astype(int)
    xy[p, h, c] = table.xy - np.array(C_XY)
    np.maximum.at(last_real, (p[table.real], h[table.real]), table.chroma[table.real])
    last_known = np.where(np.isnan(xy[..., 0]), 0.0, 2.0 * np.arange(steps)).max(axis=-1)
    for plane, hue in zip(*np.nonzero(last_known == 0), strict=True):
        xy[plane, hue, 1] = (xy[plane, hue - 1, 1] + xy[plane, (hue + 1) % 40, 1]) / 2
    xy[:, :, 0] = 0.0
    for step in range(2, steps):
        gap = np.isnan(xy[:, :, step, 0])
        onward = 2 * xy[:, :, step - 1] - xy[:, :, step - 2]
        xy[:, :, step] = np.where(gap[..., None], onward, xy[:, :, step])
    radius = np.hypot(xy[..., 0], xy[..., 1])
    angle = np.arctan2(xy[..., 1], xy[..., 0])
    angle[:, :, 0] = angle[:, :, 1]
    angle = np.unwrap(np.unwrap(angle, axis=2), axis=1)
    angle = np.concatenate([angle, angle[:, :1] + 2 * np.pi], axis=1)
    wrap = [np.concatenate([a, a[:, :1]], axis=1) for a in (radius, last_known, last_real)]
    return _Layout(values, luminance_factor(values), angle, *wrap)


def _polar(hue: Array, value: Array, chroma: Array) -> tuple[Array, Array]:
    """Angle and distance about illuminant C in x, y; each argument (n,)."""
    table = _layout()
    y = luminance_factor(np.clip(value, table.values[0], table.values[-1]))
    plane = np.clip(np.searchsorted(table.luminances, y, side="right") - 1, 0, len(table.values) - 2)
    up = (y - table.luminances[plane]) / (table.luminances[plane + 1] - table.luminances[plane])
    h = (hue % 100) / 2.5
    i = np.minimum(h.astype(int), 39)
    along = h - i
    c = np.clip(chroma / 2, 0.0, table.radius.shape[2] - 1.0)
    j = np.minimum(c.astype(int), table.radius.shape[2] - 2)
    out = c - j
    points = []
    for k in (0, 1):
        corners = []
        for data in (table.angle, table.radius):
            low = data[plane + k, i, j] * (1 - out) + data[plane + k, i, j + 1] * out
            high = data[plane + k, i + 1, j] * (1 - out) + data[plane + k, i + 1, j + 1] * out
            corners.append(low * (1 - along) + high * along)
        points.append(np.stack([corners[1] * np.cos(corners[0]), corners[1] * np.sin(corners[0])]))
    x, y = points[0] * (1 - up) + points[1] * up
    return np.arctan2(y, x), np.hypot(x, y)


def _turn(radians: Array) -> Array:
    """An angle brought to -pi .. pi."""
    return np.asarray((radians + np.pi) % (2 * np.pi) - np.pi)


def xyy_from_munsell(hue: ArrayLike, value: ArrayLike, chroma: ArrayLike) -> Array:
    """x, y, Y (n, 3) under illuminant C, Y 0 to 1, of hues (circle of 100), values and chromas (n,).

    >>> xyy_from_munsell([15.0], [6.0], [4.0]).round(4).tolist()  # 5YR 6/4
    [[0.384, 0.3564, 0.293]]
    """
    h, v, c = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (hue, value, chroma))
    )
    angle, radius = _polar(h, v, c)
    x = C_XY[0] + radius * np.cos(angle)
    y = C_XY[1] + radius * np.sin(angle)
    return np.stack([x, y, luminance_factor(v)], axis=-1)


def munsell_from_xyy(xyy: ArrayLike) -> Array:
    """Hue (circle of 100), value, chroma (n, 3) of x, y, Y (n, 3) under illuminant C, Y 0 to 1.

    Colours without chroma get hue 0. Chroma ends at 50, where the table does.
    """
    data = np.atleast_2d(np.asarray(xyy, dtype=np.float64))
    value = value_from_luminance(data[:, 2])
    dx, dy = data[:, 0] - C_XY[0], data[:, 1] - C_XY[1]
    angle, radius = np.arctan2(dy, dx), np.hypot(dx, dy)
    probes = np.arange(0.0, 100.0, 2.5)
    hue, chroma = np.zeros(len(data)), np.zeros(len(data))
    if len(data):
        ring, reach = _polar(np.tile(probes, len(data)), np.repeat(value, 40), np.full(40 * len(data), 6.0))
        off = np.abs(_turn(ring.reshape(-1, 40) - angle[:, None]))
        nearest = off.argmin(axis=1)
        hue = probes[nearest]
        chroma = 6.0 * radius / np.maximum(reach.reshape(-1, 40)[np.arange(len(data)), nearest], 1e-9)
    step = 0.05
    for _ in range(40):
        here, far = _polar(hue, value, chroma)
        ahead, _ = _polar(hue + step, value, chroma)
        _, farther = _polar(hue, value, chroma + step)
        turn_rate = _turn(ahead - here) / step
        turn_rate = np.where(np.abs(turn_rate) < 0.005, -0.06, turn_rate)
        hue = (hue + np.clip(_turn(angle - here) / turn_rate, -4, 4)) % 100
        growth = np.maximum((farther - far) / step, 1e-4)
        chroma = np.clip(chroma + np.clip((radius - far) / growth, -8, 8), 0.0, 50.0)
    grey = radius < 1e-7
    return np.stack([np.where(grey, 0.0, hue), value, np.where(grey, 0.0, chroma)], axis=-1)


def highest_real_chroma(hue: ArrayLike, value: ArrayLike) -> Array:
    """Highest chroma (n,) that the renotation of 1943 lists as real at hues and values (n,), interpolated."""
    table = _layout()
    planes = table.values >= 1
    values, last = table.values[planes], table.last_real[planes]
    h, v = (np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (hue, value))
    values, last = np.append(values, 0.0), np.concatenate([last, np.zeros((1, 41))])
    order = np.argsort(values)
    values, last = values[order], last[order]
    p = np.clip(np.searchsorted(values, v, side="right") - 1, 0, len(values) - 2)
    up = np.clip((v - values[p]) / (values[p + 1] - values[p]), 0, 1)
    i = np.minimum(((h % 100) / 2.5).astype(int), 39)
    along = (h % 100) / 2.5 - i
    low = last[p, i] * (1 - along) + last[p, i + 1] * along
    high = last[p + 1, i] * (1 - along) + last[p + 1, i + 1] * along
    return np.asarray(low * (1 - up) + high * up)


def xyz_from_munsell(colour: Munsell) -> Array:
    """CIE XYZ (3,) under illuminant C, perfect white at Y = 1."""
    x, y, lum = xyy_from_munsell(colour.hue, colour.value, colour.chroma)[0]
    return np.array([x * lum / y, lum, (1 - x - y) * lum / y])


def munsell_from_lab(lab_d65: ArrayLike) -> Array:
    """Hue, value, chroma (..., 3) of CIELAB (..., 3) for D65, carried to illuminant C by linear Bradford.

    >>> munsell_from_lab([50.0, 0.0, 0.0])[1:].round(1).tolist()
    [4.9, 0.0]
    """
    lab = np.asarray(lab_d65, dtype=np.float64)
    xyz = xyz_from_lab(lab.reshape(-1, 3)) @ adaptation_matrix(D65_XY, C_XY).T
    xyz = np.maximum(xyz, 1e-9)
    xyy = np.concatenate([xy_from_xyz(xyz), xyz[:, 1:2]], axis=-1)
    return munsell_from_xyy(xyy).reshape(lab.shape)


def lab_from_munsell(colour: Munsell) -> Array:
    """CIELAB (3,) for D65 of a Munsell colour, carried from illuminant C by linear Bradford."""
    return lab_from_xyz(xyz_from_munsell(colour) @ adaptation_matrix(C_XY, D65_XY).T)


def notations(lab_d65: ArrayLike) -> list[str]:
    """Munsell notations of CIELAB (n, 3) for D65."""
    return [notation(*row) for row in munsell_from_lab(np.atleast_2d(np.asarray(lab_d65)))]
