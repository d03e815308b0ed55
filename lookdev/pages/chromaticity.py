"""Chromaticity diagrams: a :class:`~lookdev.pages.plot.Plot` over the colours that there are.

>>> from lookdev.pages.document import Document
>>> doc = Document("Proof")
>>> page = doc.new_page("Low Ferry", "Proof")
>>> uv = chromaticity_plot(page, page.content.left, page.content.top, 240, 240)    # CIE 1976 u', v'
>>> uv.points([0.1978], [0.4683], labels=["D65"])
>>> doc.faults()
[]
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry import temperature
from lookdev.pages.page import Page
from lookdev.pages.plot import Axis, Plot
from lookdev.pages.setting import HAIRLINE, LABEL, Box

Array = NDArray[np.float64]
Diagram = Literal["uv1976", "xy"]


def spectral_locus(diagram: Diagram = "uv1976") -> Array:
    """The spectral locus (n, 2), 380 nm to 700 nm by 1 nm, CIE 1931 observer (CIE 15:2018 table 6)."""
    wavelengths, bars = temperature.observer_1nm()
    shown = bars[(wavelengths >= 380) & (wavelengths <= 700)]
    xy = shown[:, :2] / shown.sum(axis=1, keepdims=True)
    return xy if diagram == "xy" else temperature.uv1976_from_xy(xy)


def chromaticity_plot(
    page: Page,
    x: float,
    top: float,
    width: float,
    height: float,
    *,
    diagram: Diagram = "uv1976",
    across: tuple[float, float] | None = None,
    up: tuple[float, float] | None = None,
    title: str = "",
    planckian: bool = True,
    marks: Sequence[tuple[float, float, str]] = (),
    gamut: ArrayLike | None = None,
) -> Plot:
    """A chromaticity diagram: pale colours inside the spectral locus, the Planckian locus with its kelvins.

    ``diagram`` is "uv1976" (CIE 1976 u', v') or "xy" (CIE 1931); ``across`` and ``up`` are the ranges shown,
    the whole locus unless given. ``marks`` are (across, up, words) in the diagram's own coordinates and get
    the best places; more data go in with :meth:`Plot.points`. ``gamut`` (n, 2) is a dashed shape that the
    words keep clear of. The colours are orientation only: a page cannot show what lies outside its own gamut.
    """
    names = ("CIE 1976 u′", "v′") if diagram == "uv1976" else ("CIE 1931 x", "y")
    whole = ((0.0, 0.65), (0.0, 0.6)) if diagram == "uv1976" else ((0.0, 0.8), (0.0, 0.9))
    low_high = across or whole[0], up or whole[1]
    plot = Plot(
        page,
        x,
        top,
        width,
        height,
        Axis(*low_high[0], names[0]),
        Axis(*low_high[1], names[1]),
        title,
        equal=True,
    )
    background = chromaticity_background(plot, diagram)
    box = Box(page.snap(plot.frame.left), page.snap(plot.frame.top), plot.frame.right, plot.frame.bottom)
    page.backdrop(box.left, box.top, background)
    locus = spectral_locus(diagram)
    closed = np.vstack([locus, locus[:1]])
    plot.curve(closed[:, 0], closed[:, 1], colour=HAIRLINE, width=0.6)
    if gamut is not None:
        corners = np.asarray(gamut, dtype=np.float64)
        shape = np.vstack([corners, corners[:1]])
        plot.curve(shape[:, 0], shape[:, 1], width=0.7, dash=(4, 2))
    if planckian:
        _draw_planckian(plot, diagram, marks)
    else:
        _draw_marks(plot, marks)
    plot.draw_frame()
    return plot


def _draw_marks(plot: Plot, marks: Sequence[tuple[float, float, str]]) -> None:
    if marks:
        plot.points([m[0] for m in marks], [m[1] for m in marks], labels=[m[2] for m in marks])


def _draw_planckian(plot: Plot, diagram: Diagram, marks: Sequence[tuple[float, float, str]]) -> None:
    xy = np.stack([temperature.xy_from_mired(m) for m in np.linspace(0, 1000, 101)])
    locus = xy if diagram == "xy" else temperature.uv1976_from_xy(xy)
    plot.curve(locus[:, 0], locus[:, 1], width=0.7)
    _draw_marks(plot, marks)
    lettered: list[tuple[float, float]] = []
    for kelvin in (3200, 5600, 2000, 10000, 1500, 2700, 4000, 7500):
        ends = np.stack([temperature.xy_from_cct(kelvin, duv) for duv in (-0.006, 0.006)])
        ends = ends if diagram == "xy" else temperature.uv1976_from_xy(ends)
        plot.curve(ends[:, 0], ends[:, 1], width=0.5)
        place = plot.x_of(ends[0][0]), plot.y_of(ends[0][1])
        if plot.contains(*ends[0]) and all(np.hypot(place[0] - p[0], place[1] - p[1]) > 26 for p in lettered):
            plot.place_words([place], f"{kelvin} K", LABEL, 2.0, note=False)
            lettered.append(place)


@lru_cache(maxsize=8)
def _inverse_srgb() -> Array:
    from lookdev.colorimetry.rgb_spaces import SRGB

    return SRGB.from_xyz


def chromaticity_background(plot: Plot, diagram: Diagram, strength: float = 0.38) -> NDArray[np.uint8]:
    """Pixels (h, w, 3) of the plot's frame: pale sRGB hues inside the spectral locus, page grey outside."""
    import cv2

    from lookdev.colorimetry.transfer_functions import srgb_encode
    from lookdev.pages.setting import as_uint8, unit_rgb

    pixel, f = plot.page.pixel, plot.frame
    shape = max(2, round(f.height / pixel)), max(2, round(f.width / pixel))
    xs = plot.across.low + (np.arange(shape[1]) + 0.5) / shape[1] * (plot.across.high - plot.across.low)
    ys = plot.up.high - (np.arange(shape[0]) + 0.5) / shape[0] * (plot.up.high - plot.up.low)
    grid = np.stack(np.meshgrid(xs, ys), axis=-1)
    xy = grid if diagram == "xy" else temperature.xy_from_uv1976(grid)
    x, y = xy[..., 0], np.maximum(xy[..., 1], 1e-3)
    rgb = np.stack([x / y, np.ones_like(y), (1 - x - y) / y], axis=-1) @ _inverse_srgb().T
    rgb = np.maximum(rgb / np.maximum(rgb.max(axis=-1, keepdims=True), 1e-9), 0.0)
    colours = strength * np.asarray(srgb_encode(rgb)) + (1 - strength) * 0.62
    locus = spectral_locus(diagram)
    corners = np.stack(
        [
            (locus[:, 0] - plot.across.low) / (plot.across.high - plot.across.low) * shape[1] * 16,
            (plot.up.high - locus[:, 1]) / (plot.up.high - plot.up.low) * shape[0] * 16,
        ],
        axis=1,
    )
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(corners).astype(np.int32)], 255, lineType=cv2.LINE_AA, shift=4)
    share = mask[..., None] / 255.0
    return as_uint8(share * colours + (1 - share) * np.array(unit_rgb(plot.page.surround)))
