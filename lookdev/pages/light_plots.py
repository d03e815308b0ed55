"""The drawings of the light pages: the chromaticity diagram, the course of the day, the path of the sun."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lookdev.meter.again import PlaceAgain
from lookdev.meter.fixture import outline
from lookdev.meter.notes import LocationNotes
from lookdev.meter.scout import Plan
from lookdev.meter.sun import (
    UNKNOWN,
    LightAgain,
    SunDay,
    again_line,
    both_line,
    clock_of,
    day_line,
    day_words,
    further_words,
    then_line,
    turn,
    window_line,
    zone_words,
)
from lookdev.meter.timeline import TimeLine, words
from lookdev.pages.chromaticity import chromaticity_plot
from lookdev.pages.light_blocks import TEXT, TITLE, Block, clipped, glued
from lookdev.pages.page import Page
from lookdev.pages.plot import Axis, Plot
from lookdev.pages.setting import INK, LABEL, PAPER_WHITE, text_height
from lookdev.text import numbers

DIAGRAM = 216.0
PLOT_HEIGHT = 128.0
MINUTE_STEPS = (5, 10, 15, 30, 60, 120, 180, 240, 360)


def diagram(page: Page, x: float, top: float, notes: LocationNotes, plan: Plan) -> float:
    """The CIE 1976 diagram close in on the sources, numbered as the cards are, and a key under it."""
    from lookdev.colorimetry.temperature import uv1976_from_xy

    mixing = notes.kit.mixing
    metered = [(n.uv, number) for number, n in enumerate(notes.readings, 1) if n.uv is not None]
    target = uv1976_from_xy(plan.balance_xy) if plan.balance_xy is not None else None
    points = [uv for uv, _ in metered] + (
        [(float(target[0]), float(target[1]))] if target is not None else []
    )
    across, up = _window(points)
    plot = chromaticity_plot(
        page,
        x,
        top,
        DIAGRAM,
        DIAGRAM + 4,
        across=across,
        up=up,
        title="Every source by its number, in CIE 1976 u′, v′",
        gamut=uv1976_from_xy(np.array(outline(mixing.emitters))) if mixing is not None else None,
    )
    if target is not None:
        plot.points(
            [target[0]],
            [target[1]],
            kind="diamond",
            size=9,
            fill=PAPER_WHITE,
            outline=INK,
            labels=["balance"],
        )
    for place, these in _together(metered).items():
        plot.points([place[0]], [place[1]], size=6, outline=PAPER_WHITE, labels=[", ".join(map(str, these))])
    y = plot.bottom + 4
    key = "Curve: Planckian locus. Ticks: isotemperature, Duv ±0.006."
    if target is not None:
        key += " Diamond: production balance."
    if mixing is not None:
        key += f" Dashed: what {mixing.name} reaches."
    key += " Colours are for orientation only."
    return page.paragraph(x, y, DIAGRAM, key, LABEL)


def _together(metered: Sequence[tuple[tuple[float, float], int]]) -> dict[tuple[float, float], list[int]]:
    """Readings of one place on the diagram under one label."""
    places: dict[tuple[float, float], list[int]] = {}
    for uv, number in metered:
        near = next((p for p in places if math.hypot(p[0] - uv[0], p[1] - uv[1]) < 0.002), uv)
        places.setdefault(near, []).append(number)
    return places


def _window(points: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], tuple[float, float]]:
    """A square of the diagram that holds all points with room around, never smaller than the white region."""
    if not points:
        return (0.14, 0.34), (0.38, 0.58)
    us, vs = [p[0] for p in points], [p[1] for p in points]
    side = max(max(us) - min(us), max(vs) - min(vs)) * 1.3
    side = min(max(side, 0.16), 0.64)
    u, v = (max(us) + min(us)) / 2, (max(vs) + min(vs)) / 2
    low_u = min(max(u - side / 2, -0.01), 0.64 - side)
    low_v = min(max(v - side / 2, -0.02), 0.62 - side)
    return (low_u, low_u + side), (low_v, low_v + side)


def time_block(line: TimeLine) -> Block:
    """Light level and colour through the day, and what to schedule by."""
    sentences = [s[:1].upper() + s[1:] + "." for s in words(line)]
    has_colour = sum(v is not None for v in line.mired) >= 2
    has_light = sum(v is not None for v in line.lux) >= 2
    plots = int(has_colour) + int(has_light)

    def height(width: float) -> float:
        text = sum(text_height(s, TEXT, width) for s in sentences)
        return TITLE.line + 2 + text + (PLOT_HEIGHT + 8 if plots else 0.0)

    def draw(page: Page, x: float, y: float, width: float) -> None:
        y = page.text(x, y, f"Through the day: {clipped(line.source, 60)}", TITLE) + 1
        for sentence in sentences:
            y = page.paragraph(x, y, width, sentence, TEXT)
        y += 4
        each = (width - 12) / 2
        if has_light:
            _level_plot(page, x, y, each, line)
        if has_colour:
            _colour_plot(page, x + (each + 12 if has_light else 0.0), y, each, line)

    return Block(height, draw)


def _clock_axis(line: TimeLine) -> Axis:
    first, last = line.minutes[0], line.minutes[-1]
    margin = max(5.0, 0.06 * (last - first))
    low, high = first - margin, last + margin
    step = next((s for s in MINUTE_STEPS if (high - low) / s <= 4.5), 480)
    ticks = tuple(float(t) for t in range(math.ceil(low / step) * step, int(high) + 1, step))
    return _Clock(low, high, "time of day", ticks)


class _Clock(Axis):
    """An axis of minutes since midnight, written as hours and minutes."""

    def write(self, value: float) -> str:
        from lookdev.meter.timeline import clock_text

        return clock_text(value)


class _Powers(Axis):
    """An axis of log2 lux, written in lux."""

    def write(self, value: float) -> str:
        return numbers.plain(2.0**value)


class _Kelvin(Axis):
    """An axis of mired, written in kelvin."""

    def write(self, value: float) -> str:
        return f"{1e6 / value:.0f}" if value > 0 else "∞"


def _level_plot(page: Page, x: float, y: float, width: float, line: TimeLine) -> None:
    data = [(m, math.log2(v)) for m, v in zip(line.minutes, line.lux, strict=True) if v is not None]
    values = [v for _, v in data]
    need = math.log2(line.needed_lux) if line.needed_lux is not None else None
    shown = values + ([need] if need is not None and min(values) - 3 < need < max(values) + 3 else [])
    low, high = min(shown) - 0.6, max(shown) + 0.6
    axis = _Powers(low, high, "illuminance, lx", _level_ticks(low, high))
    plot = Plot(page, x, y, width, PLOT_HEIGHT, _clock_axis(line), axis)
    if need is not None and low < need < high:
        ends = [plot.across.low, plot.across.high]
        plot.curve(ends, [need, need], width=0.7, dash=(4, 2))
    plot.curve([m for m, _ in data], values, width=1.2)
    plot.points([m for m, _ in data], values)
    if need is not None and low < need < high:
        plot.label(plot.across.low + 0.12 * (plot.across.high - plot.across.low), need, "the plan needs")


def _level_ticks(low: float, high: float) -> tuple[float, ...]:
    """1, 2, 5, 10, 20 ... lux within the range, as log2; thinned to at most six."""
    marks = [math.log2(d * 10.0**p) for p in range(-3, 7) for d in (1, 2, 5)]
    inside = [m for m in marks if low <= m <= high]
    return tuple(inside[:: max(1, math.ceil(len(inside) / 6))])


def _colour_plot(page: Page, x: float, y: float, width: float, line: TimeLine) -> None:
    data = [(m, v) for m, v in zip(line.minutes, line.mired, strict=True) if v is not None]
    values = [v for _, v in data]
    margin = max(8.0, 0.12 * (max(values) - min(values)))
    low, high = max(1.0, min(values) - margin), max(values) + margin
    kelvins = (
        1000,
        1500,
        2000,
        2500,
        2800,
        3200,
        3600,
        4000,
        4500,
        5000,
        5600,
        6500,
        7500,
        9000,
        11000,
        15000,
        25000,
    )
    inside = [1e6 / k for k in kelvins if low <= 1e6 / k <= high]
    if len(inside) < 2:
        inside = [low + margin / 2, high - margin / 2]
    ticks = tuple(inside[:: max(1, math.ceil(len(inside) / 6))])
    axis = _Kelvin(high, low, "CCT, K (even steps of mired)", ticks)
    plot = Plot(page, x, y, width, PLOT_HEIGHT, _clock_axis(line), axis)
    plot.curve([m for m, _ in data], values, width=1.2)
    plot.points([m for m, _ in data], values)


SUN_HEIGHT = 176.0


def sun_block(again: PlaceAgain) -> Block:
    """When this light comes again: the sentences, and the sun's path on both days with the still's moment."""
    best = again.best
    assert best is not None
    zone = zone_words(best)
    sentences = [
        glued(s)
        for s in (
            again_line(best), then_line(best), window_line(best), both_line(best),
            day_line(best.shoot_day, zone), day_line(best.on_day),
            *(_short(m) for m in again.moments if m is not best),
            UNKNOWN,
        )
        if s
    ]  # fmt: skip
    title = (
        f"This light again: {clipped(best.name, 40)}, {day_words(best.moment.date())} {clock_of(best.moment)}"
    )

    def height(width: float) -> float:
        text = sum(text_height(s, TEXT, width) for s in sentences)
        return text_height(title, TITLE, width) + 2 + text + SUN_HEIGHT + 6

    def draw(page: Page, x: float, y: float, width: float) -> None:
        y = page.paragraph(x, y, width, title, TITLE) + 2
        for sentence in sentences:
            y = page.paragraph(x, y, width, sentence, TEXT)
        _sun_plot(page, x, y + 4, width, best)

    return Block(height, draw)


def _short(found: LightAgain) -> str:
    """Another moment of the place, in few words."""
    clock = clock_of(found.moment)
    name = clipped(found.name, 40) + ("" if found.name.endswith(clock) else f" ({clock})") + ": "
    if found.is_dark:
        return name + "after dark."
    where = f"{name}sun at azimuth {found.sun.azimuth_deg:.0f}°, {found.sun.altitude_deg:.0f}° high"
    if found.same_altitude is None or found.azimuth_off_deg is None:
        return f"{where}; does not come."
    way = further_words(found.sun.azimuth_deg, found.azimuth_off_deg)
    return f"{where}; again at {clock_of(found.same_altitude)}, {way}."


def _sun_plot(page: Page, x: float, top: float, width: float, found: LightAgain) -> None:
    """Azimuth across, altitude up: the scout's day dashed, the shoot's drawn through."""
    days = (found.on_day, found.shoot_day)
    low = -8.0
    shown = [day.true_deg >= low for day in days]
    seen_days = [day for day, s in zip(days, shown, strict=True) if s.any()]
    middle = 180.0 if any(abs(_noon_azimuth(day) - 180.0) < 90.0 for day in seen_days) else 0.0
    turned = [turn(day.azimuth_deg, middle) for day in days]
    seen = [t[s] for t, s in zip(turned, shown, strict=True) if s.any()]
    reach = max((float(np.abs(t).max()) for t in seen), default=90.0)
    reach = min(180.0, max(60.0, reach + 8.0))
    high = max(day.highest_deg for day in days)
    up = Axis(low, max(12.0, high * 1.12 + 4.0), "altitude of the sun, degrees")
    ticks = tuple(float(t) for t in range(-180, 181, 45) if abs(t) <= reach)
    across = _Compass(-reach, reach, "direction", ticks, middle=middle)
    plot = Plot(page, x, top, width, SUN_HEIGHT, across, up)
    plot.curve([-reach, reach], [0.0, 0.0], width=0.5)
    names = (f"{day_words(found.on_day.date)}, scout", f"{day_words(found.shoot_day.date)}, shoot")
    for day, flat, name, dash in zip(days, turned, names, ((3.0, 2.0), None), strict=True):
        every = slice(None, None, 10)
        height = np.where(day.true_deg[every] >= low, day.true_deg[every], np.nan)
        jumps = np.abs(np.diff(flat[every], prepend=flat[0])) > 180.0
        plot.curve(flat[every], np.where(jumps, np.nan, height), width=1.1, dash=dash, label=name)
    moment = float(turn(found.sun.azimuth_deg, middle))
    plot.points(
        [moment], [found.sun.altitude_deg], kind="circle", size=8, labels=[f"{clock_of(found.moment)} then"]
    )
    if found.same_altitude is not None and found.azimuth_off_deg is not None:
        place = float(turn(found.sun.azimuth_deg + found.azimuth_off_deg, middle))
        label = [f"{clock_of(found.same_altitude)} as high"]
        plot.points(
            [place],
            [found.sun.altitude_deg],
            kind="diamond",
            size=9,
            fill=PAPER_WHITE,
            outline=INK,
            labels=label,
        )
    if found.same_azimuth is not None and found.altitude_off_deg is not None:
        altitude = found.sun.altitude_deg + found.altitude_off_deg
        label = [f"{clock_of(found.same_azimuth)} same window"]
        plot.points([moment], [altitude], kind="square", size=6, fill=PAPER_WHITE, outline=INK, labels=label)


def _noon_azimuth(day: SunDay) -> float:
    return float(day.azimuth_deg[int(np.argmax(day.altitude_deg))])


@dataclass(frozen=True)
class _Compass(Axis):
    """Degrees from the middle, written as points of the compass."""

    middle: float = 180.0

    def write(self, value: float) -> str:
        points = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
        return points[round((value + self.middle) / 45.0) % 8]
