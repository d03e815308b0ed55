"""The gaffer's page of a place: what to put on which lamp, what light to add, and what their lights are.

First the place and its picture, our lamps by their lights, the light to add; then the sun, the course of
the day, flicker, and a card for each of their lights. Black on white, to be read at arm's length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from lookdev.meter.again import PlaceAgain
from lookdev.meter.exposure import constant_of, shutter_of
from lookdev.meter.flicker import CAUTION, LAW
from lookdev.meter.lamps import Kit
from lookdev.meter.notes import LocationNotes
from lookdev.meter.notes_words import shutter_words
from lookdev.meter.pick_list import PickLine
from lookdev.meter.scout import Plan
from lookdev.meter.sun import again_line
from lookdev.pages.document import Document
from lookdev.pages.light_blocks import PLACE, TEXT, Block, Flow, clipped, fine_print, glued, titled
from lookdev.pages.light_cards import card, plan_words
from lookdev.pages.light_plots import DIAGRAM, diagram, sun_block, time_block
from lookdev.pages.light_tables import budget_table, lamps_tables, pick_blocks
from lookdev.pages.page import Page
from lookdev.pages.setting import BODY, BODY_BOLD, PAPER_WHITE, text_height
from lookdev.text import numbers

Picture = NDArray[np.uint8]

SAFETY = (
    "Gel burns: keep it off hot lenses and let lamps breathe. Every lamp, frame and flag overhead on a "
    "safety bond, stands weighted. "
)
CARE = replace(BODY, size=9)
RULE = replace(BODY_BOLD, size=11.5)


@dataclass(frozen=True)
class Extra:
    """What a page can show beside the notes: a picture of the place (sRGB, h, w, 3), and its light again."""

    picture: Picture | None = None
    again: PlaceAgain = field(default_factory=PlaceAgain)


def light_pages(
    document: Document,
    title: str,
    notes: LocationNotes,
    plan: Plan,
    date: str | None = None,
    extra: Extra | None = None,
) -> None:
    """Add the pages of one location to a document."""
    extra = extra or Extra()
    strip = " · ".join(part for part in ("Light notes", notes.location, date) if part)
    flow = Flow(document, title, strip)
    flow.wide(_header(document, notes, plan, extra))
    for table in (lamps_tables(notes, plan), budget_table(notes, plan)):
        for block in table:
            flow.wide(block, gap=0.0)
        flow.y += 13.0 if table else 0.0
    flow.columns()
    if extra.again.best is not None:
        flow.put(sun_block(extra.again))
    for doubt in extra.again.doubts:
        flow.put(titled("This light again", [doubt[:1].upper() + doubt[1:] + "."]))
    for block in (*(time_block(line) for line in notes.lines), *_small_blocks(notes, plan)):
        flow.put(block)
    seen: set[str] = set()
    for number, note in enumerate(notes.readings, 1):
        name = (note.reading.source or "").casefold()
        flow.put(card(number, note, plan, again=name in seen), in_order=True)
        seen.add(name)
    if any(note.uv is not None for note in notes.readings) or plan.balance_xy is not None:
        flow.put(_diagram_block(notes, plan))
    sun = f" {SUN_LINE}" if extra.again.best is not None else ""
    flow.put(fine_print(sources_words(notes, plan) + sun))


def _header(document: Document, notes: LocationNotes, plan: Plan, extra: Extra) -> Block:
    """The place's name, the plan, this light again, and the picture beside them."""
    picture = extra.picture
    size = (0.0, 0.0)
    if picture is not None:
        size = picture.shape[1] * document.pixel, picture.shape[0] * document.pixel
    lines = [glued(plan_words(plan))]
    bold = []
    if extra.again.best is not None:
        bold.append(glued(again_line(extra.again.best)))
    safety = SAFETY + LAW

    def room(width: float) -> float:
        return width - (size[0] + 18.0 if picture is not None else 0.0)

    def height(width: float) -> float:
        words = text_height(notes.location, PLACE, room(width), 2) + 3
        words += sum(text_height(t, RULE, room(width)) + 3 for t in bold)
        words += sum(text_height(t, TEXT, room(width)) for t in lines)
        words += text_height(safety, CARE, room(width)) + 6
        return max(words, size[1])

    def draw(page: Page, x: float, y: float, width: float) -> None:
        if picture is not None:
            page.image(x + width - size[0], y, picture)
        y = page.paragraph(x, y, room(width), notes.location, PLACE, max_lines=2) + 3
        for text in bold:
            y = page.paragraph(x, y, room(width), text, RULE) + 3
        for text in lines:
            y = page.paragraph(x, y, room(width), text, TEXT)
        page.paragraph(x, y + 6, room(width), safety, CARE)

    return Block(height, draw)


def _diagram_block(notes: LocationNotes, plan: Plan) -> Block:
    def height(width: float) -> float:
        return DIAGRAM + 34.0

    def draw(page: Page, x: float, y: float, width: float) -> None:
        diagram(page, x, y, notes, plan)

    return Block(height, draw)


def _small_blocks(notes: LocationNotes, plan: Plan) -> list[Block]:
    blocks = []
    if notes.contrasts:
        found = [
            f"{clipped(c.key, 60)} to {clipped(c.fill, 60)}: {c.ratio:.1f} : 1 "
            f"({numbers.fixed(c.stops, 1)} stops)"
            for c in notes.contrasts
        ]
        blocks.append(titled("Contrast, key to fill", found))
    if notes.shutters:
        fps, _, _, _ = shutter_of(plan)
        words = [shutter_words(s) + "." for s in notes.shutters]
        blocks.append(titled(f"Shutters safe from mains flicker at {fps:g} fps", [*words, CAUTION]))
    return blocks


SOURCES = (
    "Filters are generic, their shifts nominal and common practice, makers differ by tens of mired: meter "
    "through the swatch. Lamps with a known spectrum are reckoned through it with ideal filters. Filters "
    "only take light away: no gel puts back what a lamp does not emit. Exposure: ISO 2720:1974, constant "
    "{constant:g} for a {receptor} receptor. Chromaticity and CCT: CIE 15:2018, CCT given up to 0.05 off the "
    "locus. 1 fc = 10.764 lx."
)
STANDARDS_LINE = (
    "Ra and R9: CIE 13.3-1995. CIE Rf: CIE 224:2017. TM-30 Rf and Rg: ANSI/IES TM-30-18. "
    "SSI: SMPTE ST 2122:2020."
)
SUN_LINE = (
    "Sun: solar position algorithm of Reda and Andreas 2003 (NREL). Golden and blue hours: common practice."
)


def sources_words(notes: LocationNotes, plan: Plan) -> str:
    """What the page is worked out by."""
    parts = [SOURCES.format(constant=constant_of(plan), receptor=plan.receptor)]
    if any(n.rendition is not None for n in notes.readings):
        parts.append(STANDARDS_LINE)
    return " ".join(parts)


def light_document(
    title: str,
    notes: LocationNotes,
    plan: Plan,
    *,
    date: str | None = None,
    paper: str = "a4",
    extra: Extra | None = None,
) -> Document:
    """The pages of one location as a document of its own."""
    document = Document(f"{title}: light notes, {notes.location}", paper=paper, surround=PAPER_WHITE)
    light_pages(document, title, notes, plan, date, extra)
    return document


def pick_document(
    title: str,
    lines: Sequence[PickLine],
    kit: Kit,
    locations: int,
    *,
    date: str | None = None,
    paper: str = "a4",
) -> Document:
    """What to pack for the whole scout, a document of its own."""
    document = Document(f"{title}: gel and lamps", paper=paper, surround=PAPER_WHITE)
    flow = Flow(document, title, " · ".join(part for part in ("Gel and lamps", date) if part))
    names = ", ".join(clipped(lamp.name, 60) for lamp in kit.lamps)
    taken = " (taken for ours: scout.toml has no [[lamps]])" if kit.is_assumed else ""
    flow.wide(titled("Our lamps", [names + taken]))
    blocks = pick_blocks(lines, locations)
    for block in blocks:
        flow.wide(block, gap=0.0)
    flow.y += 13.0
    if not blocks:
        flow.wide(titled("Gel", ["None is needed: every light is right as it is, or no gel moves it."]))
    words = "Sheets are for one lamp: as many lamps, as many times, and some over. " + SAFETY + LAW
    flow.wide(titled("Beware", [words]))
    return document
