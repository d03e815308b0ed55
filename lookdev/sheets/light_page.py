"""Light notes on paper: a page for each location that a gaffer can pin up.

Left, the chromaticity diagram with every source and the production's balance; right, a card a source; then
what brings one source to another, contrast, the course of the day, flicker, and the cautions. Black on white:
this page is printed and read in a van, no picture is judged on it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lookdev.meter.cells import LUX_PER_FC
from lookdev.meter.exposure import Exposure, constant_of, shutter_of, standard_index
from lookdev.meter.filters import Dial, Match
from lookdev.meter.flicker import CAUTION, LAW
from lookdev.meter.hints import Hint, kind_of
from lookdev.meter.log import Reading
from lookdev.meter.notes import (
    LocationNotes,
    ReadingNotes,
    colour_words,
    exposure_words,
    shutter_words,
)
from lookdev.meter.scout import Plan
from lookdev.meter.timeline import TimeLine, words
from lookdev.meter.wording import light_words, plain, seconds_words, signed
from lookdev.sheets.page import (
    BODY,
    BODY_BOLD,
    HEADING,
    INK,
    LABEL,
    PAPER_WHITE,
    SMALL,
    SUBHEADING,
    Document,
    Page,
    text_height,
)
from lookdev.sheets.plot import Axis, Plot, chromaticity_plot

TEXT = replace(BODY, size=9.6)
TITLE = replace(BODY_BOLD, size=9.6)
NUMBER = replace(BODY_BOLD, colour=PAPER_WHITE)
PLACE = replace(HEADING, colour=INK)
SOURCE = replace(SUBHEADING, colour=INK)
FIGURES = replace(BODY_BOLD, size=10.5)
FAR_UV = 0.02
DIAGRAM = 264.0
GUTTER = 22.0
BLOCK_GAP = 11.0
PLOT_HEIGHT = 128.0
MINUTE_STEPS = (5, 10, 15, 30, 60, 120, 180, 240, 360)


@dataclass(frozen=True)
class Block:
    """Something that is kept together: its height at a width, and how it is drawn."""

    height: Callable[[float], float]
    draw: Callable[[Page, float, float, float], None]


class _Flow:
    """Blocks down the columns of a page, then of further pages."""

    def __init__(self, document: Document, title: str, subject: str) -> None:
        self.document, self.title, self.subject = document, title, subject
        self.columns: list[tuple[Page, float, float, float]] = []
        self.page: Page | None = None
        self.x = self.width = 0.0
        self.y = math.inf

    def offer(self, page: Page, x: float, top: float, width: float) -> None:
        """A column to be used before a new page is begun."""
        self.columns.append((page, x, top, width))

    def _next(self) -> None:
        if not self.columns:
            page = _new_page(self.document, self.title, f"{self.subject} (continued)")
            width = (page.content.width - GUTTER) / 2
            for x in (page.content.left, page.content.left + width + GUTTER):
                self.columns.append((page, x, page.content.top, width))
        self.page, self.x, self.y, self.width = self.columns.pop(0)

    def put(self, block: Block, keep: float = 0.0) -> None:
        """Place a block where it fits, with ``keep`` points left under it."""
        for _ in range(6):
            if self.page is not None and self.page.room(self.y) >= block.height(self.width) + keep:
                break
            self._next()
        assert self.page is not None
        block.draw(self.page, self.x, self.y, self.width)
        self.y += block.height(self.width) + BLOCK_GAP


def _new_page(document: Document, title: str, subject: str) -> Page:
    """A page with a strip in black: title left, subject right."""
    page = document.new_page()
    box = page.content
    half = (box.width - 16) / 2
    ends = [
        page.text(box.left, box.top, title, BODY_BOLD, width=half, max_lines=2),
        page.text(box.left + half + 16, box.top, subject, BODY, width=half, align="right", max_lines=2),
    ]
    top = max(ends) + 3
    page.line(box.left, top, box.right, top)
    page.content = replace(box, top=top + 9)
    return page


def light_pages(
    document: Document, title: str, notes: LocationNotes, plan: Plan, date: str | None = None
) -> None:
    """Add the pages of one location to a document."""
    strip = " · ".join(part for part in ("Light notes", date) if part)
    page = _new_page(document, title, strip)
    left, right, top = page.content.left, page.content.right, page.content.top
    y = page.text(left, top, notes.location, PLACE, width=right - left, max_lines=2)
    y = page.paragraph(left, y + 1, right - left, plan_words(plan), BODY) + 9
    bottom = _diagram(page, left, y, notes, plan)
    flow = _Flow(document, title, f"Light notes · {notes.location}")
    cards = left + DIAGRAM + GUTTER
    flow.offer(page, cards, y, right - cards)
    seen: set[str] = set()
    for number, note in enumerate(notes.readings, 1):
        name = (note.reading.source or "").casefold()
        flow.put(_card(number, note, plan, again=name in seen))
        seen.add(name)
    small = _small_blocks(notes, plan)
    y = bottom + BLOCK_GAP
    for block in list(small):
        if page.room(y) >= block.height(DIAGRAM):
            block.draw(page, left, y, DIAGRAM)
            y += block.height(DIAGRAM) + BLOCK_GAP
            small.remove(block)
    for block in (*small, *(_time_block(line) for line in notes.lines), *_tables(notes)):
        flow.put(block)
    flow.put(_cautions(notes, plan))


def plan_words(plan: Plan) -> str:
    """The plan on one line; what was assumed is said."""
    fps, angle, time_s, assumed = shutter_of(plan)
    parts = []
    if plan.exposure_index is not None:
        parts.append(f"EI {plan.exposure_index:g}")
    shutter = f"{fps:g} fps · {angle:g}° ({seconds_words(time_s)})"
    parts.append(shutter + (f" (assumed: {', '.join(assumed)})" if assumed else ""))
    if plan.t_stop is not None:
        parts.append(f"to shoot at T{plan.t_stop:g}")
    if plan.lens_t_stop is not None:
        parts.append(f"lens opens to T{plan.lens_t_stop:g}")
    if plan.filter_stops:
        parts.append(f"filters take {plan.filter_stops:g} stops")
    if plan.balance_k is not None:
        off = f", Duv {signed(plan.balance_duv, 4)}" if plan.balance_duv is not None else ""
        parts.append(f"balanced for {plan.balance_k:.0f} K{off}")
    if plan.mains_hz is not None:
        parts.append(f"mains {plan.mains_hz} Hz")
    text = "Plan: " + " · ".join(parts)
    if plan.exposure_index is None:
        text += ". No exposure_index in scout.toml: exposure not worked out."
    if plan.balance_k is None:
        text += ("" if text.endswith(".") else ".") + " No balance_k: sources matched to each other alone."
    return text


# the diagram ----------------------------------------------------------------------------------------------


def _diagram(page: Page, x: float, top: float, notes: LocationNotes, plan: Plan) -> float:
    """The CIE 1976 diagram close in on the sources, numbered as the cards are, and a key under it."""
    from lookdev.colorimetry.temperature import uv1976_from_xy

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
        gamut=uv1976_from_xy(np.array(plan.fixture.primaries)) if plan.fixture is not None else None,
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
    for place, numbers in _together(metered).items():
        plot.points(
            [place[0]], [place[1]], size=6, outline=PAPER_WHITE, labels=[", ".join(map(str, numbers))]
        )
    y = plot.bottom + 4
    key = "Curve: Planckian locus. Ticks: isotemperature, Duv ±0.006."
    if target is not None:
        key += " Diamond: production balance."
    if plan.fixture is not None:
        key += f" Dashed: what {plan.fixture.name} reaches."
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


# cards ----------------------------------------------------------------------------------------------------


def _card(number: int, note: ReadingNotes, plan: Plan, *, again: bool = False) -> Block:
    """One source: what it is in large type, then a line for each thing to know or do.

    A source that had a card before (``again``: another hour) gets only what changes.
    """
    heading = clipped(_headline(note.reading), 90)
    figures = f"{colour_words(note)}  ·  {light_words(note.reading.illuminance_lux)}"
    lines = [(label, glued(text)) for label, text in card_lines(note, plan, again=again)]
    number_width, label_width = 19.0, 58.0

    def height(width: float) -> float:
        total = text_height(heading, SOURCE, width - number_width) + text_height(figures, FIGURES, width) + 4
        return total + sum(text_height(text, TEXT, width - label_width) for _, text in lines)

    def draw(page: Page, x: float, y: float, width: float) -> None:
        middle = y + SOURCE.line / 2
        page.marker(x + 6.5, middle, "circle", 13, fill=INK)
        page.text(x, middle - NUMBER.line / 2, str(number), NUMBER, width=13, align="centre", min_size=5)
        y = page.paragraph(x + number_width, y, width - number_width, heading, SOURCE)
        y = page.paragraph(x, y, width, figures, FIGURES) + 1
        page.line(x, y, x + width, y)
        y += 3
        for label, text in lines:
            page.text(x, y + 1.2, label, LABEL)
            y = page.paragraph(x + label_width, y, width - label_width, text, TEXT)

    return Block(height, draw)


def _headline(reading: Reading) -> str:
    words = [reading.source or "Unnamed source"]
    if reading.illuminant is not None:
        words = [f"{reading.source}, {kind_of(reading.illuminant)}"]
    words += [w for w in (reading.role, reading.time) if w]
    return " · ".join(words)


def card_lines(note: ReadingNotes, plan: Plan, *, again: bool = False) -> list[tuple[str, str]]:
    """(label, text) of a source's card."""
    lines: list[tuple[str, str]] = []
    if note.exposure is not None:
        lines.append(("Stop", stop_line(note.exposure)))
    if note.to_balance is not None:
        lines.append(("To balance", match_line(note.to_balance)))
    if note.xy is not None and note.uv is not None:
        lines.append(
            (
                "Chromaticity",
                f"x {note.xy[0]:.4f}  y {note.xy[1]:.4f}    u′ {note.uv[0]:.4f}  v′ {note.uv[1]:.4f}"
                f"  ({note.reading.white_origin})",
            )
        )
    if again:
        return lines
    if note.dial is not None and plan.fixture is not None:
        lines.append(("To imitate it", dial_line(note.dial, plan.fixture.name)))
    if note.hints:
        lines.append(("Near to it", hint_line(note.hints)))
    if note.flicker == "discharge":
        lines.append(("Beware", GAPS))
    if note.rendition is not None:
        lines.append(("Rendition", rendition_line(note)))
    if note.reading.stills:
        lines.append(("Stills", stills_line(note.reading.stills)))
    if note.reading.note:
        lines.append(("Note", clipped(note.reading.note, 400)))
    return lines


GAPS = "A discharge lamp lacks parts of the spectrum: paint and skin read off even where white is right."


def stills_line(stills: Sequence[str], most: int = 4) -> str:
    """The first few names, and how many more.

    >>> stills_line(("a.jpg", "b.jpg", "c.jpg"), most=2)
    'a.jpg, b.jpg and 1 more'
    """
    text = ", ".join(clipped(name, 60) for name in stills[:most])
    return text + (f" and {len(stills) - most} more" if len(stills) > most else "")


def hint_line(hints: Sequence[Hint]) -> str:
    """The CIE illuminants near by in u', v', as a hint at the lamp type."""
    near = [h for h in hints if h.distance_uv <= FAR_UV]
    if not near:
        nearest = hints[0]
        return (
            f"no CIE illuminant: the nearest, {nearest.illuminant}, is {nearest.distance_uv:.3f} off in u′v′."
        )
    names = [f"{h.illuminant} {h.kind} ({h.distance_uv:.3f})" for h in near]
    return ", ".join(names) + "; u′v′ distance, a hint at the lamp, not an identification."


def stop_line(exposure: Exposure) -> str:
    """The stop that the light gives; what is missing and what would do, or what is to spare."""
    text = exposure_words(exposure)
    if exposure.over_stops is None or exposure.missing_lux is None or exposure.lowest_index is None:
        return text
    if exposure.over_stops < -0.05:
        text += f". Missing {plain(exposure.missing_lux)} lx ({plain(exposure.missing_lux / LUX_PER_FC)} fc)"
        ways = [f"EI {standard_index(exposure.lowest_index)}"]
        if exposure.smallest_angle_deg is not None:
            ways.append(f"a {exposure.smallest_angle_deg:.0f}° shutter")
        text += f"; or {' or '.join(ways)}"
        if exposure.lens_over_stops is not None and exposure.wanted_stop != exposure.lens_t_stop:
            spare = exposure.lens_over_stops
            side = (
                "just enough"
                if abs(spare) < 0.05
                else f"{abs(spare):.1f} stops {'over' if spare > 0 else 'under'}"
            )
            text += f"; wide open at T{exposure.lens_t_stop:g}: {side}"
    elif (
        exposure.over_stops > 0.05
        and exposure.shortest_s is not None
        and exposure.smallest_angle_deg is not None
    ):
        angle = exposure.smallest_angle_deg
        index = standard_index(exposure.lowest_index)
        slower = f"EI {index} or " if index < exposure.exposure_index else ""
        text += (
            f". Works down to {slower}a {angle:.{0 if angle >= 10 else 1}f}° shutter "
            f"({seconds_words(exposure.shortest_s)})"
        )
        if exposure.over_stops >= 0.95:
            text += f"; or ND {0.3 * math.floor(exposure.over_stops + 0.05):.1f} on the lens"
    return text + "."


def match_line(found: Match) -> str:
    """The shift, the filters, what they take and what is left over."""
    if found.mired_shift is None or found.duv_shift is None:
        return found.reason[:1].upper() + found.reason[1:] + "."
    text = f"{signed(found.mired_shift, 0)} mired, Duv {signed(found.duv_shift, 4)}: {found.filter_words}"
    if found.filters:
        text += f" (takes about {found.lost_stops:.1f} stops)"
    return text + f"; left over {found.left_words}."


def dial_line(setting: Dial, fixture: str) -> str:
    """What to dial on a colour-mixing fixture, and a warning where it cannot get there."""
    text = f"x {setting.xy[0]:.4f}, y {setting.xy[1]:.4f}"
    if setting.cct_k is not None and setting.duv is not None:
        text += f" or {setting.cct_k:.0f} K, Duv {signed(setting.duv, 4)}"
    if setting.reachable is False and setting.nearest_xy is not None and setting.short_uv is not None:
        near = f"x {setting.nearest_xy[0]:.4f}, y {setting.nearest_xy[1]:.4f}"
        text += f". Outside {fixture}: the nearest it makes is {near}, {setting.short_uv:.3f} short in u′v′"
    return text + "."


def rendition_line(note: ReadingNotes) -> str:
    """Ra, R9, Rf, Rg and SSI, and whose spectrum they are of."""
    found = note.rendition
    assert found is not None
    minus = "\N{MINUS SIGN}"
    parts = [
        f"{name} {f'{value:.0f}'.replace('-', minus)}"
        for name, value in (
            ("Ra", found.ra),
            ("R9", found.r9),
            ("CIE Rf", found.cie_rf),
            ("TM-30 Rf", found.tm30_rf),
            ("Rg", found.tm30_rg),
        )
        if value is not None
    ]
    if found.ssi is not None:
        parts.append(f"SSI {f'{found.ssi:.0f}'.replace('-', minus)} to {found.ssi_reference}")
    text = ", ".join(parts) + f" ({note.rendition_of})"
    return (
        text + ". " + " ".join(f"{n[:1].upper()}{n[1:]}." for n in found.notes) if found.notes else text + "."
    )


# the other blocks -----------------------------------------------------------------------------------------


def _titled(title: str, texts: Sequence[str]) -> Block:
    paragraphs = [glued(text) for text in texts]

    def height(width: float) -> float:
        return text_height(title, TITLE, width) + 1 + sum(text_height(p, TEXT, width) for p in paragraphs)

    def draw(page: Page, x: float, y: float, width: float) -> None:
        y = page.paragraph(x, y, width, title, TITLE) + 1
        for paragraph in paragraphs:
            y = page.paragraph(x, y, width, paragraph, TEXT)

    return Block(height, draw)


def _small_blocks(notes: LocationNotes, plan: Plan) -> list[Block]:
    blocks = []
    if notes.balance_dial is not None:
        name = plan.fixture.name if plan.fixture is not None else "the fixture"
        blocks.append(
            _titled(
                "Production balance on a colour-mixing fixture",
                ["Dial " + dial_line(notes.balance_dial, name)],
            )
        )
    if notes.contrasts:
        found = [
            f"{clipped(c.key, 60)} to {clipped(c.fill, 60)}: {c.ratio:.1f} : 1 ({signed(c.stops, 1)} stops)"
            for c in notes.contrasts
        ]
        blocks.append(_titled("Contrast, key to fill", found))
    if notes.shutters:
        fps, _, _, _ = shutter_of(plan)
        blocks.append(
            _titled(
                f"Shutters safe from mains flicker at {fps:g} fps", [shutter_words(s) for s in notes.shutters]
            )
        )
    return blocks


LINES_A_BLOCK = 8


def _tables(notes: LocationNotes) -> list[Block]:
    """From one source to another, a block for each source; those that no correction filter matches, once."""
    numbers: dict[str, int] = {}
    for number, note in enumerate(notes.readings, 1):
        numbers.setdefault(note.reading.name, number)

    def call(name: str) -> str:
        return f"{numbers[name]} {clipped(name, 40)}" if name in numbers else name

    blocks = []
    by_source: dict[str, list[Match]] = {}
    reasons: dict[str, None] = {}
    for found in notes.matches:
        if found.reason:
            reasons[match_line(found)] = None
        else:
            by_source.setdefault(found.source, []).append(found)
    for source, found_all in by_source.items():
        lines = [f"To match {call(m.target)}: {match_line(m)}" for m in found_all]
        for start in range(0, len(lines), LINES_A_BLOCK):
            title = f"Filters on {call(source)}" + (" (continued)" if start else "")
            blocks.append(_titled(title, lines[start : start + LINES_A_BLOCK]))
    if reasons:
        blocks.append(_titled("No correction filter", list(reasons)))
    return blocks


def glued(text: str) -> str:
    """``text`` with no-break spaces between a number and its unit, and after ``Duv``.

    >>> glued("-5 mired, Duv 0.0010") == "-5\\u00a0mired, Duv\\u00a00.0010"
    True
    """
    text = re.sub(r"(?<=\d) (?=(?:mired|K|lx|fc|fps|Hz|s|stops)\b)", "\N{NO-BREAK SPACE}", text)
    return text.replace("Duv ", "Duv\N{NO-BREAK SPACE}").replace(" + 1/3", "\N{NO-BREAK SPACE}+ 1/3")


def clipped(text: str, most: int) -> str:
    """``text``, cut to ``most`` characters with an ellipsis.

    >>> clipped("second row of tubes", 10)
    'second ro…'
    """
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _time_block(line: TimeLine) -> Block:
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
        return plain(2.0**value)


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


SOURCES = (
    "Filters are generic, their shifts nominal and common practice: meter through the swatch. Filters only "
    "take light away: no gel puts back what a lamp does not emit. Exposure: ISO 2720:1974, constant "
    "{constant:g} for a {receptor} receptor. Chromaticity and CCT: CIE 15:2018, CCT given up to 0.05 off "
    "the locus. 1 fc = 10.764 lx."
)


STANDARDS_LINE = (
    "Ra and R9: CIE 13.3-1995. CIE Rf: CIE 224:2017. TM-30 Rf and Rg: ANSI/IES TM-30-18. "
    "SSI: SMPTE ST 2122:2020."
)


def _cautions(notes: LocationNotes, plan: Plan) -> Block:
    parts = [SOURCES.format(constant=constant_of(plan), receptor=plan.receptor)]
    if any(n.rendition is not None for n in notes.readings):
        parts.append(STANDARDS_LINE)
    if notes.shutters:
        parts.append(CAUTION)
    text = " ".join((*parts, LAW))

    def height(width: float) -> float:
        return text_height(text, SMALL, width) + 4

    def draw(page: Page, x: float, y: float, width: float) -> None:
        page.line(x, y, x + width, y)
        page.paragraph(x, y + 3, width, text, SMALL)

    return Block(height, draw)


def light_document(
    title: str, notes: LocationNotes, plan: Plan, *, date: str | None = None, paper: str = "a4"
) -> Document:
    """The pages of one location as a document of its own."""
    document = Document(f"{title}: light notes, {notes.location}", paper=paper, surround=PAPER_WHITE)
    light_pages(document, title, notes, plan, date)
    return document
