"""What the light pages are put together from: blocks that are kept together, and how they flow over pages.

Black on white: these pages are printed, pinned up and read at arm's length; no picture is judged on them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from lookdev.pages.document import Document
from lookdev.pages.page import Page
from lookdev.pages.setting import BODY, BODY_BOLD, HEADING, INK, SMALL, SUBHEADING, text_height

TEXT = replace(BODY, size=10.5)
TITLE = replace(BODY_BOLD, size=12)
FINE = replace(SMALL, size=8.5)
PLACE = replace(HEADING, size=24, colour=INK)
SOURCE = replace(SUBHEADING, size=13, colour=INK)
FIGURES = replace(BODY_BOLD, size=11.5)
GUTTER = 24.0
BLOCK_GAP = 13.0
LEAST_COLUMN = 60.0
"""Points of height under which columns begin on a page of their own."""


@dataclass(frozen=True)
class Block:
    """Something that is kept together: its height at a width, and how it is drawn."""

    height: Callable[[float], float]
    draw: Callable[[Page, float, float, float], None]


class Flow:
    """Blocks down a page: first at its full width, then down two columns; on to further pages."""

    def __init__(self, document: Document, title: str, subject: str) -> None:
        self.document, self.title, self.subject = document, title, subject
        self.page = new_page(document, title, subject)
        self.x, self.y, self.width = self.page.content.left, self.page.content.top, self.page.content.width
        self._open: list[list[Any]] = []
        self._ordered = 0

    def wide(self, block: Block, gap: float = BLOCK_GAP) -> None:
        """A block at full width."""
        if self.page.room(self.y) < block.height(self.width) and self.y > self.page.content.top:
            self.page = new_page(self.document, self.title, f"{self.subject} (continued)")
            self.y = self.page.content.top
        block.draw(self.page, self.x, self.y, self.width)
        self.y += block.height(self.width) + gap

    def columns(self) -> None:
        """From here on, two columns, each block in the first that has room for it."""
        if self.page.room(self.y) >= LEAST_COLUMN:
            self._offer(self.page, self.y)

    def _offer(self, page: Page, top: float) -> None:
        self.width = (page.content.width - GUTTER) / 2
        left = page.content.left
        self._open += [[page, left, top], [page, left + self.width + GUTTER, top]]

    def put(self, block: Block, *, in_order: bool = False) -> None:
        """A block in the columns, where it fits; one that is too long for any page begins one.

        ``in_order`` : not before the last that was put in order.
        """
        height = block.height((self.page.content.width - GUTTER) / 2)
        allowed = self._open[self._ordered if in_order else 0 :]
        place = next((c for c in allowed if c[0].room(c[2]) >= height), None)
        if place is None:
            self.page = new_page(self.document, self.title, f"{self.subject} (continued)")
            self._offer(self.page, self.page.content.top)
            place = self._open[-2]
        if in_order:
            self._ordered = next(i for i, column in enumerate(self._open) if column is place)
        page, x, y = place
        block.draw(page, x, y, self.width)
        place[2] = y + height + BLOCK_GAP


def new_page(document: Document, title: str, subject: str) -> Page:
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


def titled(title: str, texts: Sequence[str]) -> Block:
    """A heading and paragraphs."""
    paragraphs = [glued(text) for text in texts if text]

    def height(width: float) -> float:
        return text_height(title, TITLE, width) + 2 + sum(text_height(p, TEXT, width) for p in paragraphs)

    def draw(page: Page, x: float, y: float, width: float) -> None:
        y = page.paragraph(x, y, width, title, TITLE) + 2
        for paragraph in paragraphs:
            y = page.paragraph(x, y, width, paragraph, TEXT)

    return Block(height, draw)


def fine_print(text: str) -> Block:
    """Small words under a hairline."""

    def height(width: float) -> float:
        return text_height(text, FINE, width) + 4

    def draw(page: Page, x: float, y: float, width: float) -> None:
        page.line(x, y, x + width, y)
        page.paragraph(x, y + 3, width, text, FINE)

    return Block(height, draw)


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
