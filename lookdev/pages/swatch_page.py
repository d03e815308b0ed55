"""Swatch sheets for the art department: matches and palettes, on white, as they are printed.

Pure data in, pages out; nothing is computed here. Swatches that are to be compared touch each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.pages import fonts
from lookdev.pages.document import Document
from lookdev.pages.page import Page
from lookdev.pages.setting import (
    BODY,
    BODY_BOLD,
    INK,
    LABEL,
    PAPER_WHITE,
    SMALL,
    SMALL_BOLD,
    Style,
    text_height,
)

Signal = Sequence[float] | NDArray[np.float64]

CAUTIONS = (
    "A monitor and a print are not paint: both must be calibrated before colour is signed off, and neither "
    "shows sheen. Paint a physical swatch, at least A4, two coats on the real ground; look at it under this "
    "lamp and through the camera. Sheen, texture, age and dirt change a colour. Before painting: safety data "
    "sheets and ventilation; before sanding or stripping old paint: licensed testing for lead and asbestos."
)
NUMBER = Style(8.6, fonts.SEMIBOLD)


@dataclass(frozen=True)
class Candidate:
    """One chip held against a target: how it reads at each viewing, how it is made, and its numbers."""

    title: str
    seen: tuple[Signal, ...]
    made: Signal
    number: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class MatchPage:
    """One target: the first chip large beside it, the others small, and what to say about it."""

    target: Signal
    target_words: str
    target_lines: tuple[str, ...]
    facts: tuple[str, ...]
    verdict: tuple[str, ...]
    viewings: tuple[str, ...]
    candidates: tuple[Candidate, ...]
    lamp: tuple[Signal, ...] = ()
    lamp_words: tuple[str, ...] = ()


@dataclass(frozen=True)
class PaletteEntry:
    """One colour of a picture, with its share of the frame and its lines."""

    signal: Signal
    share: float
    number: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class PalettePage:
    """A picture (uint8 sRGB, small) and its colours."""

    name: str
    picture: NDArray[np.uint8] = field(repr=False)
    entries: tuple[PaletteEntry, ...] = ()
    facts: tuple[str, ...] = ()


def match_sheet(title: str, page: MatchPage, paper: str = "a4") -> Document:
    """A document of one match."""
    document = Document(title, paper=paper, surround=PAPER_WHITE)
    _match(document, title, page)
    return document


def palette_sheet(title: str, page: PalettePage, paper: str = "a4") -> Document:
    """A document of one palette."""
    document = Document(title, paper=paper, surround=PAPER_WHITE)
    _palette(document, title, page)
    return document


def save(document: Document, stem: Path) -> list[Path]:
    """Write STEM.pdf and STEM.png (STEM_2.png and on for more pages)."""
    return document.save(stem.with_suffix(".pdf"), stem.with_suffix(".png"))


def _start(document: Document, title: str, subject: str, facts: Sequence[str]) -> tuple[Page, float, float]:
    """A page with its facts on top and the cautions at the foot; the room between."""
    page = document.new_page(title, subject)
    width = page.content.width
    y = page.content.top - 4
    for fact in facts:
        y = page.paragraph(page.content.left, y, width, fact, SMALL)
    bottom = page.content.bottom - text_height(CAUTIONS, LABEL, width) - 4
    page.line(page.content.left, bottom, page.content.right, bottom)
    page.paragraph(page.content.left, bottom + 3, width, CAUTIONS, LABEL)
    return page, y + 6, bottom - 6


# a match ----------------------------------------------------------------------------------------------------


def _match(document: Document, title: str, sheet: MatchPage) -> None:
    page, top, bottom = _start(document, title, sheet.target_words, sheet.facts)
    left, width = page.content.left, page.content.width
    first, others = sheet.candidates[0], sheet.candidates[1:8]
    hero = (bottom - top) * (0.46 if others else 0.8)
    words_width = width * 0.30
    hero_width = width - words_width - 16
    y = top
    end = _hero(page, sheet, first, left, y, hero_width, hero)
    x = left + hero_width + 16
    at = page.paragraph(x, y, words_width, first.title, Style(16, fonts.SEMIBOLD, INK))
    at = page.paragraph(x, at + 2, words_width, first.number, Style(11, fonts.SEMIBOLD, INK))
    for line in first.lines:
        at = page.paragraph(x, at, words_width, line, SMALL)
    at += 5
    for sentence in sheet.verdict:
        room = int((max(end, top + hero) - at) / BODY_BOLD.line)
        if room > 0:
            at = page.paragraph(x, at, words_width, sentence, BODY, max_lines=room) + 3
    if others:
        _others(page, sheet, others, max(end, at) + 10, bottom)


def _hero(
    page: Page, sheet: MatchPage, first: Candidate, x: float, y: float, width: float, height: float
) -> float:
    """Target over result, touching, a column a viewing; beside them as made and under the lamp."""
    side = width * 0.27
    main = width - side
    column = main / len(first.seen)
    head = max(text_height(v, SMALL_BOLD, column - 8) for v in sheet.viewings)
    notes = max(sum(text_height(t, LABEL, column - 8) for t in sheet.target_lines), LABEL.line)
    tall = height - head - notes - 8
    top = y + head + 3
    for k, (seen, name) in enumerate(zip(first.seen, sheet.viewings, strict=True)):
        at = x + k * column
        page.paragraph(at, y, column - 8, name, SMALL_BOLD)
        page.swatch(at, top, column, tall / 2, tuple(sheet.target))
        page.swatch(at, top + tall / 2, column, tall / 2, tuple(seen))
        for words, where, colour in (
            ("target", top + 3, sheet.target),
            ("on screen", top + tall / 2 + 3, seen),
        ):
            page.text(at + 5, where, words, Style(7.5, fonts.SEMIBOLD, _ink_on(colour)))
    at_y = top + tall + 4
    for line in sheet.target_lines:
        at_y = page.paragraph(x, at_y, main - 8, line, LABEL)
    states = [("as made, D65", first.made), *zip(sheet.lamp_words, sheet.lamp, strict=True)]
    each = tall / len(states)
    page.text(x + main, y, "the paint itself", SMALL_BOLD, width=side)
    for k, (words, colour) in enumerate(states):
        page.swatch(x + main, top + k * each, side, each, tuple(colour))
        ink = Style(7.5, fonts.SEMIBOLD, _ink_on(colour))
        page.paragraph(
            x + main + 5, top + k * each + 3, side - 10, words, ink, max_lines=max(1, int(each / ink.line))
        )
    return at_y


def _others(page: Page, sheet: MatchPage, others: Sequence[Candidate], y: float, bottom: float) -> None:
    gap = 10.0
    count = max(len(others), 4)
    column = (page.content.width - gap * (count - 1)) / count
    notes = max(
        text_height(c.title, SMALL_BOLD, column) + text_height(c.number, LABEL, column)
        + sum(text_height(t, LABEL, column) for t in c.lines) for c in others
    )  # fmt: skip
    page.text(
        page.content.left,
        y,
        "the next: target over how each reads on screen; lowest, the paint as made (D65)",
        SMALL,
    )
    y += SMALL.line + 4
    tall = min(bottom - y - notes - 6, 150.0)
    for k, chip in enumerate(others):
        x = page.content.left + k * (column + gap)
        page.swatch(x, y, column, tall * 0.34, tuple(sheet.target))
        part = column / len(chip.seen)
        for i, seen in enumerate(chip.seen):
            page.swatch(x + i * part, y + tall * 0.34, part, tall * 0.40, tuple(seen))
        page.swatch(x, y + tall * 0.74, column, tall * 0.26, tuple(chip.made))
        at = page.paragraph(x, y + tall + 4, column, chip.title, SMALL_BOLD)
        at = page.paragraph(x, at, column, chip.number, LABEL)
        for line in chip.lines:
            at = page.paragraph(x, at, column, line, LABEL)


def _ink_on(colour: Signal) -> Sequence[int]:
    red, green, blue = (float(v) for v in colour)
    return INK if 0.2126 * red + 0.7152 * green + 0.0722 * blue > 0.46 else PAPER_WHITE


# a palette --------------------------------------------------------------------------------------------------


def _palette(document: Document, title: str, sheet: PalettePage) -> None:
    page, top, bottom = _start(document, title, sheet.name, sheet.facts)
    left, width = page.content.left, page.content.width
    room = (bottom - top) * 0.52
    h, w = sheet.picture.shape[:2]
    scale = min(room / h, width * 0.62 / w)
    page.image(left, top, sheet.picture, width=w * scale, height=h * scale)
    x = left + w * scale + 14
    bar = page.content.right - x
    y = top
    for entry in sheet.entries:
        tall = h * scale * entry.share
        page.swatch(x, y, bar, tall, tuple(entry.signal))
        if tall > 11:
            page.text(
                x + 5, y + 2, f"{100 * entry.share:.0f}%", Style(7.5, fonts.SEMIBOLD, _ink_on(entry.signal))
            )
        y += tall
    y = top + h * scale + 12
    gap = 10.0
    count = max(len(sheet.entries), 4)
    column = (width - gap * (count - 1)) / count
    notes = max(
        text_height(e.number, NUMBER, column) + sum(text_height(t, LABEL, column) for t in e.lines)
        for e in sheet.entries
    )
    tall = max(min(bottom - y - notes - 6, 110.0), 30.0)
    for k, entry in enumerate(sheet.entries):
        at_x = left + k * (column + gap)
        page.swatch(at_x, y, column, tall, tuple(entry.signal))
        at = page.paragraph(at_x, y + tall + 4, column, entry.number, NUMBER)
        for line in entry.lines:
            at = page.paragraph(at_x, at, column, line, LABEL)
