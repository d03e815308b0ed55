"""Faces on pages: each complexion half as it is in daylight, half as it reads here, and the numbers.

:func:`faces_strip` puts one look's six faces anywhere on a page; :func:`faces_document` is a page a place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from lookdev.pages import fonts
from lookdev.pages.document import Document
from lookdev.pages.page import Page
from lookdev.pages.setting import BODY_BOLD, LABEL, SMALL, SMALL_BOLD, Style, text_height
from lookdev.paint.faces import ADVICE, PARTS, Face, Faces, Split
from lookdev.text.numbers import fixed

WORDS_SHARE = 0.32  # of the strip's width
_GAP = 10.0
_UNDER = 2 + 3 * LABEL.line + SMALL_BOLD.line  # the numbers under a face, in points
_LEAST_SWATCH, _LARGEST_SWATCH = 22.0, 96.0
_BETWEEN = 5.0  # points between two looks
_WARNING = Style(7.5, fonts.SEMIBOLD)

HOW_TO_READ = (
    "Six model skins, light to dark. Left half: in daylight; right half: under this lamp, in this camera, "
    "through this look. L*: lighter or darker than in daylight; hue in degrees, + towards yellow, − towards "
    "red; colour: share of daylight's chroma that is left."
)


def strip_height(faces: Faces, width: float, swatch: float = 34.0) -> float:
    """Points that :func:`faces_strip` takes, top to bottom."""
    words = width * WORDS_SHARE - _GAP
    said = BODY_BOLD.line + sum(text_height(t, style, words) for t, style in _lines(faces))
    return max(said, swatch + _UNDER)


def faces_strip(page: Page, x: float, y: float, width: float, faces: Faces, swatch: float = 34.0) -> float:
    """Six complexions side by side, numbers under them, and what they come to; returns the bottom.

    ``swatch`` : height of a face in points.
    """
    words = width * WORDS_SHARE - _GAP
    at = page.text(x, y, faces.look, BODY_BOLD, width=words, overflow="ellipsis")
    for text, style in _lines(faces):
        at = page.paragraph(x, at, words, text, style)
    column = width * (1.0 - WORDS_SHARE) / len(faces.faces)
    for k, face in enumerate(faces.faces):
        left = x + width * WORDS_SHARE + k * column
        half = (column - 6) / 2
        page.swatch(left, y, half, swatch, tuple(face.daylight))
        page.swatch(left + half, y, half, swatch, tuple(face.here))
        under = page.text(left, y + swatch + 2, face.name, SMALL_BOLD, width=column - 6)
        for text in _numbers(face):
            under = page.text(left, under, text, LABEL, width=column - 6)
    return y + strip_height(faces, width, swatch)


def _numbers(face: Face) -> tuple[str, str, str]:
    hue = face.hue_deg.whole
    return (
        f"L* {fixed(face.lightness.whole or 0.0, 0)}",
        "no hue left" if hue is None else f"hue {fixed(hue, 0)}°",
        f"colour {face.chroma_kept.whole or 0.0:.2f}",
    )


def _lines(faces: Faces) -> list[tuple[str, Style]]:
    hue, kept, spread = faces.hue_deg, faces.chroma_kept, faces.spread
    lines = [
        (f"L* {_split(faces.lightness, lambda v: fixed(v, 0))}", LABEL),
        (f"hue {_split(hue, lambda v: f'{fixed(v, 0)}°')}", LABEL),
        (f"colour {_split(kept, lambda v: f'{v:.2f}')}", LABEL),
        (f"spread {_split(spread, lambda v: f'{v:.2f}')}", LABEL),
    ]
    return lines + [(f"{text[:1].upper()}{text[1:]}.", _WARNING) for text in faces.words]


def _split(split: Split, words: Callable[[float], str]) -> str:
    if split.whole is None:
        return "not told: too little colour"
    parts = ((part, getattr(split, part)) for part in PARTS)
    said = ", ".join(f"{part} {words(v)}" for part, v in parts if v is not None)
    return f"{words(split.whole)} ({said})"


def faces_block(start: Callable[[], Page], faces: Sequence[Faces]) -> tuple[Page, float]:
    """Strips across pages that ``start`` makes; gives the last one and the y under them."""
    page = start()
    left, width = page.content.left, page.content.width
    y = page.paragraph(left, page.content.top, width, HOW_TO_READ, SMALL) + 4
    least = max(strip_height(each, width, _LEAST_SWATCH) for each in faces) + _BETWEEN
    pages = -(-len(faces) // max(int(page.room(y) // least), 1))
    a_page = -(-len(faces) // pages)  # spread over the pages, so that none is left with one row
    for at, each in enumerate(faces):
        if at and at % a_page == 0:
            page = start()
            y = page.content.top
        y = faces_strip(page, left, y, width, each, _LEAST_SWATCH) + _BETWEEN
        page.line(left, y - _BETWEEN / 2, page.content.right, y - _BETWEEN / 2, width=0.25)
    return page, y + 6


def faces_document(
    title: str, places: Sequence[Sequence[Faces]], notes: Sequence[str], paper: str = "a4"
) -> Document:
    """A page a place, more where the looks are many; ``notes`` a line on the light for each place."""
    document = Document(title, paper=paper)
    for rows, note in zip(places, notes, strict=True):
        page, y = _start(document, title, rows[0].place, note)
        width, room = page.content.width, page.room(y)
        least = max(strip_height(faces, width, _LEAST_SWATCH) for faces in rows) + _BETWEEN
        pages = -(-len(rows) // max(int(room // least), 1))
        a_page = -(-len(rows) // pages)  # spread over the pages, so that none is left with one row
        swatch = min(max(room / a_page - _BETWEEN - _UNDER, _LEAST_SWATCH), _LARGEST_SWATCH)
        for at, faces in enumerate(rows):
            if at and at % a_page == 0:
                page, y = _start(document, title, rows[0].place, note)
            y = faces_strip(page, page.content.left, y, width, faces, swatch) + _BETWEEN
            page.line(page.content.left, y - _BETWEEN / 2, page.content.right, y - _BETWEEN / 2, width=0.25)
    return document


def _start(document: Document, title: str, place: str, note: str) -> tuple[Page, float]:
    page = document.new_page(title, f"Faces · {place}")
    y = page.content.top - 4
    for text in (note, f"{HOW_TO_READ} {ADVICE}"):
        y = page.paragraph(page.content.left, y, page.content.width, text, SMALL)
    return page, y + 6
