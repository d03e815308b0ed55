"""What a chip becomes: as made, under the lamp, in the camera, on screen through a look.

reflectance x lamp -> XYZ (CIE 1931, white at Y = 1) -> the camera's balance (Bradford to D65) -> scene light
in linear BT.2020, a grey card of 18% in the same light at 0.18 -> the still's encoding -> the look function
of ``looks.pipeline``, as for stills -> sRGB.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.difference import ciede2000, lab_from_working
from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.errors import RequestError
from lookdev.looks.cast import Cast
from lookdev.looks.rendering import MID_GREY, render_curve
from lookdev.paint.chip import Chip, ChipSet
from lookdev.paint.light import Light
from lookdev.paint.metamerism import adapted_lab, inconstancy
from lookdev.paint.recovery import Recovery, other_recoveries
from lookdev.paint.spectra import GRID_NM, illuminant_weights
from lookdev.paint.sureness import residuals, within

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lookdev.looks.pipeline import LookLike, Transform

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Site:
    """A wall in a place: the light on it, the camera that looks at it, and the cast that stills have there.

    Attributes
    ----------
    name : location, with the source where it has several.
    light : the lamp on the paint.
    camera_xy : white that the camera is balanced to.
    camera_origin : where that is from, in words.
    cast : what looks take out; None where the stills there cannot be balanced.
    level_stops : light on the wall against light on the grey card.
    warnings : what was doubtful.
    location : the place alone, under which pages bring readings together.
    """

    name: str
    light: Light
    camera_xy: tuple[float, float]
    camera_origin: str = ""
    cast: Cast | None = None
    level_stops: float = 0.0
    warnings: tuple[str, ...] = ()
    location: str = ""

    @cached_property
    def scene_matrix(self) -> Array:
        """(85, 3): ``reflectance @ scene_matrix`` is scene light, linear BT.2020, before any look.

        Raises
        ------
        RequestError : the camera's white cannot be adapted from.
        """
        try:
            balanced = self.light.weights @ adaptation_matrix(self.camera_xy, D65_XY).T
        except ValueError as error:
            raise RequestError("a camera balance that cannot be", found=self.camera_xy) from error
        card_luminance = MID_GREY * balanced[:, 1].sum()
        return np.asarray(balanced @ WORKING.from_xyz.T * (MID_GREY / card_luminance * 2.0**self.level_stops))

    def scene(self, reflectances: ArrayLike) -> Array:
        """Scene light (..., 3) of reflectances (..., 85)."""
        return np.asarray(np.asarray(reflectances, dtype=np.float64) @ self.scene_matrix)


@dataclass(frozen=True, eq=False)
class Viewing:
    """A site through a look, on an sRGB screen.

    ``encoding`` is what the picture is held in before the look: a still's encoding, clipped where the file
    clips, or a log encoding of footage.
    """

    site: Site
    look: LookLike | None
    encoding: Encoding = field(default_factory=lambda: get_encoding("sRGB"))

    @property
    def name(self) -> str:
        """Place and look on one line."""
        return f"{self.site.name} · {self.look.title if self.look is not None else 'as it stood'}"

    @cached_property
    def _transform(self) -> Transform:
        from lookdev.looks.model import Look
        from lookdev.looks.pipeline import shared_transform

        look = self.look if self.look is not None else Look(title="as it stood")
        return shared_transform(look, self.encoding, _screen(), self.site.cast)

    def signal(self, scene: ArrayLike) -> Array:
        """sRGB signal (..., 3), 0 to 1, of scene light (..., 3)."""
        light = np.asarray(scene, dtype=np.float64)
        if self.encoding.state == "output":
            held = np.clip(self.encoding.from_working(render_curve(light)), 0.0, 1.0)
        else:
            held = self.encoding.from_working(light)
        return np.asarray(self._transform(held))

    def lab(self, scene: ArrayLike) -> Array:
        """CIELAB (..., 3) for D65 on screen of scene light (..., 3)."""
        return lab_from_signal(self.signal(scene))

    def screen(self, reflectances: ArrayLike) -> tuple[Array, Array]:
        """sRGB signal (n, 3) and CIELAB for D65 (n, 3) on screen of reflectances (n, 85)."""
        signal = self.signal(self.site.scene(np.atleast_2d(np.asarray(reflectances, dtype=np.float64))))
        return signal, lab_from_signal(signal)


def level_of_card(viewing: Viewing, card_lab: ArrayLike) -> float:
    """Stops of exposure at which an 18% grey card reads on screen as light as ``card_lab`` (CIELAB, D65).

    Solved by halving, -10 to 10 stops: lightness on screen rises with exposure.

    Raises
    ------
    RequestError : the card is black or white on screen, so that it tells nothing.
    """
    wanted = float(np.asarray(card_lab)[0])
    base = viewing.site.scene(np.full(GRID_NM.shape, MID_GREY)) * 2.0**-viewing.site.level_stops
    low, high = -10.0, 10.0
    if not 1.0 < wanted < 99.0:
        raise RequestError(
            "the card tells nothing", found=f"L* {wanted:.1f}", wanted="a card neither black nor white"
        )
    for _ in range(50):
        middle = (low + high) / 2
        if float(lab_from_signal(viewing.signal(base * 2.0**middle))[0]) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _screen() -> Encoding:
    return get_encoding("sRGB")


def lab_from_signal(signal: ArrayLike) -> Array:
    """CIELAB for D65 (..., 3) of sRGB signal (..., 3), 0 to 1."""
    return lab_from_working(_screen().to_working(np.asarray(signal, dtype=np.float64)))


def signal_from_lab(lab: ArrayLike) -> Array:
    """sRGB signal (..., 3) of CIELAB for D65, clipped to 0..1."""
    from lookdev.colorimetry.difference import working_from_lab

    return np.clip(_screen().from_working(working_from_lab(lab)), 0.0, 1.0)


def hex_of(signal: ArrayLike) -> str:
    """``#rrggbb`` of sRGB signal (3,).

    >>> hex_of([1.0, 0.5, 0.0])
    '#ff8000'
    """
    codes = np.floor(np.clip(np.asarray(signal, dtype=np.float64), 0, 1) * 255 + 0.5).astype(int)
    return "#" + "".join(f"{int(c):02x}" for c in codes)


@dataclass(frozen=True, eq=False)
class Prediction:
    """One chip at one site through several looks. CIELAB is (3,), for D65 unless said.

    ``made_d50`` is CIELAB for D50. ``lamp`` is the colour under the lamp to an eye fully used to it.
    ``camera`` is the picture as it stood. ``screen`` is the picture through each look. ``metamerism`` is the
    largest special metamerism index under the lamp between the reflectance used and others that have the same
    colour under D65; None where no other holds.
    """

    chip: Chip
    site: Site
    looks: tuple[str, ...]
    made: Array
    made_munsell: str
    made_d50: Array
    lamp: Array
    camera: Array
    camera_signal: Array
    screen: tuple[Array, ...]
    screen_signal: tuple[Array, ...]
    screen_within: tuple[float | None, ...]
    inconstancy: float
    metamerism: float | None

    @property
    def difference(self) -> tuple[float, ...]:
        """CIEDE2000 between as made and on screen, a look each."""
        return tuple(float(ciede2000(self.made, lab)) for lab in self.screen)


def recoveries(chips: ChipSet) -> list[Recovery]:
    """Other reflectances (n, 85) with the D65 colours of the chips: method, spectra, which hold (n,)."""
    weights = illuminant_weights("D65")
    xyz = chips.reflectances @ weights
    return other_recoveries(xyz, weights, xyz[:, :2] / xyz.sum(axis=1, keepdims=True))


def twins(chips: ChipSet) -> list[Recovery]:
    """All reflectances that a chip's D65 colour could come from; for a measured chip the smooth one too."""
    from lookdev.paint.recovery import METHOD, sigmoid_coefficients, sigmoid_reflectance

    out = recoveries(chips)
    measured = np.array([not chip.estimated for chip in chips.chips])
    if measured.any():
        weights = illuminant_weights("D65")
        coefficients, left = sigmoid_coefficients(chips.reflectances @ weights, weights)
        out.append((METHOD, sigmoid_reflectance(coefficients), measured & (left < 0.3)))
    return out


def metamerism_under(chips: ChipSet, weights: Array) -> list[float | None]:
    """Largest special metamerism index (n) under a lamp between each chip and its twins; None without one."""
    from lookdev.paint.metamerism import special_metamerism_index

    return _largest(
        [(special_metamerism_index(chips.reflectances, s, weights), ok) for _, s, ok in twins(chips)],
        len(chips),
    )


def screen_within(chips: ChipSet, viewing: Viewing) -> list[float | None]:
    """CIEDE2000 within which 9 in 10 surfaces of a chip's colour land on screen (``paint.sureness``).

    0 for measured chips; None where nothing is known of the lamp's spectrum.
    """
    if not viewing.site.light.is_spectral:
        return [0.0 if not chip.estimated else None for chip in chips.chips]
    out = np.zeros(len(chips))
    base = viewing.site.scene(chips.reflectances)
    for rows, others in alternatives(chips):
        out[rows] = within(base[rows], viewing.site.scene(others), viewing.lab)
    return [float(v) for v in out]


def alternatives(chips: ChipSet, at_once: int = 256) -> Iterator[tuple[NDArray[np.intp], Array]]:
    """Rows (m,) of estimated chips and other reflectances (m, k, 85) that they may have, some at a time."""
    groups: dict[tuple[str, int, bool], list[int]] = {}
    for i, chip in enumerate(chips.chips):
        if chip.estimated:
            groups.setdefault((*chip.conditions, chip.kind == "Munsell"), []).append(i)
    for (illuminant, degrees, munsell), rows in groups.items():
        known = residuals(illuminant, degrees)
        for start in range(0, len(rows), at_once):
            part = np.array(rows[start : start + at_once])
            yield part, known.alternatives(chips.reflectances[part], munsell)


def _largest(columns: list[tuple[Array, NDArray[np.bool_]]], count: int) -> list[float | None]:
    best = np.full(count, -1.0)
    for values, holds in columns:
        best = np.where(holds, np.maximum(best, values), best)
    return [float(v) if v >= 0 else None for v in best]


@dataclass(frozen=True, eq=False)
class SiteTable:
    """Chips (n) at one site through looks (k), as arrays. CIELAB is for D65, signals are sRGB 0 to 1.

    ``made``, ``lamp``, ``camera`` (n, 3) as in :class:`Prediction`; ``screen``, ``signal`` (k, n, 3);
    ``within`` (k, n): CIEDE2000 within which 9 in 10 paints of that colour read, 0 for measured ones, NaN
    where not known; ``difference`` (k, n): CIEDE2000 from as made; ``lrv_percent`` (n,).
    """

    site: Site
    looks: tuple[str, ...]
    chips: ChipSet
    made: Array
    made_munsell: tuple[str, ...]
    made_d50: Array
    lrv_percent: Array
    lamp: Array
    camera: Array
    camera_signal: Array
    screen: Array
    signal: Array
    within: Array
    difference: Array
    inconstancy: Array
    metamerism: tuple[float | None, ...]

    def rows(self, picked: Sequence[int]) -> SiteTable:
        """Some of the chips, in that order."""
        k = np.asarray(picked, dtype=np.intp)
        return SiteTable(
            self.site, self.looks, self.chips.subset(k), self.made[k],
            tuple(self.made_munsell[i] for i in k), self.made_d50[k], self.lrv_percent[k], self.lamp[k],
            self.camera[k], self.camera_signal[k], self.screen[:, k], self.signal[:, k], self.within[:, k],
            self.difference[:, k], self.inconstancy[k], tuple(self.metamerism[i] for i in k),
        )  # fmt: skip


def predict_sites(
    chips: ChipSet, sites: Sequence[Site], looks: Sequence[LookLike], encoding: Encoding | None = None
) -> list[SiteTable]:
    """Every chip at every site through every look.

    Raises
    ------
    RequestError : a site's camera balance cannot be.
    """
    encoding = encoding or get_encoding("sRGB")
    d65 = illuminant_weights("D65")
    made, made_d50 = adapted_lab(chips.reflectances, d65), chips.lab("D50")
    lrv = 100.0 * (chips.reflectances @ d65)[:, 1]
    munsell = tuple(chips.munsell())
    viewings = [[Viewing(site, look, encoding) for look in looks] for site in sites]
    within_all = _within_all(chips, viewings)
    out = []
    for site, views, held in zip(sites, viewings, within_all, strict=True):
        seen = [view.screen(chips.reflectances) for view in views]
        screen = np.stack([lab for _, lab in seen]) if seen else np.zeros((0, len(chips), 3))
        signal = np.stack([s for s, _ in seen]) if seen else np.zeros((0, len(chips), 3))
        camera_signal, camera = Viewing(site, None, encoding).screen(chips.reflectances)
        metameric: list[float | None] = [None] * len(chips)
        if site.light.is_spectral:
            metameric = metamerism_under(chips, site.light.weights)
        out.append(
            SiteTable(
                site, tuple(look.title for look in looks), chips, made, munsell, made_d50, lrv,
                adapted_lab(chips.reflectances, site.light.weights), camera, camera_signal, screen, signal,
                held, ciede2000(made[None], screen), inconstancy(chips.reflectances, site.light.weights),
                tuple(metameric),
            )
        )  # fmt: skip
    return out


def _within_all(chips: ChipSet, viewings: Sequence[Sequence[Viewing]]) -> list[Array]:
    """:func:`screen_within` at every site and look (k, n), the alternatives worked out once."""
    estimated = np.array([chip.estimated for chip in chips.chips])
    out = []
    for views in viewings:
        known = not views or views[0].site.light.is_spectral
        out.append(np.where(estimated & (not known), np.nan, np.zeros((len(views), len(chips)))))
    for rows, others in alternatives(chips):
        for views, table in zip(viewings, out, strict=True):
            if not views or not views[0].site.light.is_spectral:
                continue
            base, scenes = views[0].site.scene(chips.reflectances[rows]), views[0].site.scene(others)
            for k, view in enumerate(views):
                table[k, rows] = within(base, scenes, view.lab)
    return out


def predictions_of(table: SiteTable) -> list[Prediction]:
    """A table as one :class:`Prediction` a chip."""
    count = range(len(table.looks))
    return [
        Prediction(
            chip, table.site, table.looks, table.made[i], table.made_munsell[i], table.made_d50[i],
            table.lamp[i], table.camera[i], table.camera_signal[i],
            tuple(table.screen[k, i] for k in count), tuple(table.signal[k, i] for k in count),
            tuple(None if np.isnan(table.within[k, i]) else float(table.within[k, i]) for k in count),
            float(table.inconstancy[i]), table.metamerism[i],
        )
        for i, chip in enumerate(table.chips.chips)
    ]  # fmt: skip


def predict(
    chips: ChipSet, site: Site, looks: tuple[LookLike, ...], encoding: Encoding | None = None
) -> list[Prediction]:
    """Every chip at one site through every look.

    Raises
    ------
    RequestError : the site's camera balance cannot be.
    """
    return predictions_of(predict_sites(chips, [site], looks, encoding)[0])
