"""Their lights, a card each: what it reads in large type, then a line for each thing to know or do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from lookdev.meter.exposure import Exposure, shutter_of
from lookdev.meter.filters import Match, mired_words
from lookdev.meter.hints import Hint, kind_of
from lookdev.meter.iso_2720 import STANDARD_INDICES, standard_index
from lookdev.meter.light import mix_words
from lookdev.meter.log import Reading
from lookdev.meter.notes_words import colour_words, exposure_words
from lookdev.meter.reading_notes import ReadingNotes
from lookdev.meter.scout import Plan
from lookdev.pages.light_blocks import FIGURES, SOURCE, TEXT, Block, clipped, glued
from lookdev.pages.page import Page
from lookdev.pages.setting import BODY_BOLD, INK, LABEL, PAPER_WHITE, text_height
from lookdev.text import numbers
from lookdev.text.numbers import LUX_PER_FC

NUMBER = replace(BODY_BOLD, colour=PAPER_WHITE)
FAR_UV = 0.02


def plan_words(plan: Plan) -> str:
    """The plan on one line; what was assumed is said."""
    fps, angle, time_s, assumed = shutter_of(plan)
    parts = []
    if plan.exposure_index is not None:
        parts.append(f"EI {plan.exposure_index:g}")
    shutter = f"{fps:g} fps · {angle:g}° ({numbers.seconds(time_s)})"
    parts.append(shutter + (f" (assumed: {', '.join(assumed)})" if assumed else ""))
    if plan.t_stop is not None:
        parts.append(f"to shoot at T{plan.t_stop:g}")
    if plan.lens_t_stop is not None:
        parts.append(f"lens opens to T{plan.lens_t_stop:g}")
    if plan.filter_stops:
        parts.append(f"filters take {plan.filter_stops:g} stops")
    if plan.balance_k is not None:
        off = f", {numbers.duv(plan.balance_duv)}" if plan.balance_duv is not None else ""
        parts.append(f"balanced for {numbers.kelvin(plan.balance_k)}{off}")
    if plan.mains_hz is not None:
        parts.append(f"mains {plan.mains_hz} Hz")
    text = "Plan: " + " · ".join(parts)
    if plan.exposure_index is None:
        text += ". No exposure_index in scout.toml: exposure not worked out."
    if plan.balance_k is None:
        text += ("" if text.endswith(".") else ".") + " No balance_k: sources matched to each other alone."
    return text


def card(number: int, note: ReadingNotes, plan: Plan, *, again: bool = False) -> Block:
    """One source: what it is in large type, then a line for each thing to know or do.

    A source that had a card before (``again``: another hour) gets only what changes.
    """
    heading = clipped(_headline(note.reading), 90)
    figures = f"{colour_words(note)}  ·  {numbers.lux(note.reading.illuminance_lux)}"
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
        known = again and note.to_balance.is_unmovable
        words = note.to_balance.short_words if known else match_line(note.to_balance)
        lines.append(("To balance", words[:1].upper() + words[1:]))
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
    if note.hints:
        lines.append(("Near to it", hint_line(note.hints)))
    if note.flicker == "discharge":
        lines.append(("Beware", GAPS))
    if note.reading.mixture:
        lines.append(("Mixture of", f"{mix_words(note.reading.mixture)}, by lux"))
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
        lux, fc = exposure.missing_lux, exposure.missing_lux / LUX_PER_FC
        text += f". Missing {numbers.rough(lux)} lx ({numbers.rough(fc)} fc)"
        index = standard_index(exposure.lowest_index)
        ways = [f"EI {index}"] if index <= STANDARD_INDICES[-1] else []
        if exposure.smallest_angle_deg is not None:
            ways.append(f"a {exposure.smallest_angle_deg:.0f}° shutter")
        if ways:
            text += f"; or {' or '.join(ways)}"
        else:
            text += f"; no EI up to {STANDARD_INDICES[-1]} and no shutter makes up for that"
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
            f"({numbers.seconds(exposure.shortest_s)})"
        )
        if exposure.over_stops >= 0.95:
            text += f"; or ND {0.3 * math.floor(exposure.over_stops + 0.05):.1f} on the lens"
    return text + "."


def match_line(found: Match) -> str:
    """The shift, the filters, what they take and what is left over."""
    if found.reason:
        return found.reason[:1].upper() + found.reason[1:] + "."
    text = found.filter_words
    if found.mired_shift is not None and found.duv_shift is not None:
        shift = f"{mired_words(found.mired_shift)} mired, Duv {numbers.fixed(found.duv_shift, 3)}"
        text = f"{shift}: {text}"
    if found.filters:
        text += f" (takes about {found.lost_stops:.1f} stops)"
    return text + f"; left over {found.left_words}."


def rendition_line(note: ReadingNotes) -> str:
    """Ra, R9, Rf, Rg and SSI, and whose spectrum they are of."""
    found = note.rendition
    assert found is not None
    parts = [
        f"{name} {numbers.unsigned(value, 0)}"
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
        parts.append(f"SSI {numbers.unsigned(found.ssi, 0)} to {found.ssi_reference}")
    text = ", ".join(parts) + f" ({note.rendition_of})"
    return (
        text + ". " + " ".join(f"{n[:1].upper()}{n[1:]}." for n in found.notes) if found.notes else text + "."
    )
