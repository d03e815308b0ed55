"""Fonts of the sheets: measured Unicode text from fonts that travel with the package.

TrueType outlines, embedded as subsets. A character goes to the first font that has it: Sans (Latin, Greek,
Cyrillic), then Han (Chinese, Japanese). A character in neither stays visible as its Unicode number in
brackets, ``[U+1F3AC]``. Fonts and their licence: ``fonts/ORIGIN.txt``.
"""

from __future__ import annotations

import gzip
import io
import re
import unicodedata
from functools import cache, lru_cache
from importlib import resources
from typing import Any

REGULAR, SEMIBOLD = "regular", "semibold"
NO_BREAK = "\N{NO-BREAK SPACE}"
ASCENT, DESCENT = 0.89, 0.25
"""Height over and depth under the baseline, in units of the size, of the tallest letters in ordinary use."""

_FILES = {
    REGULAR: ("LookdevSans", "LookdevSans-Regular.ttf"),
    SEMIBOLD: ("LookdevSans-SemiBold", "LookdevSans-SemiBold.ttf"),
    "han": ("LookdevHan", "LookdevHan-Regular.ttf.gz"),
}


@cache
def _font(key: str) -> Any:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    name, file_name = _FILES[key]
    raw = resources.files("lookdev.pages").joinpath("fonts", file_name).read_bytes()
    font = TTFont(name, io.BytesIO(gzip.decompress(raw) if file_name.endswith(".gz") else raw))
    widths = _Widths(font.face)
    # the library adds up letter by letter in Python, for every piece of text that it sets
    font.stringWidth = lambda text, size, encoding="utf8": 0.001 * size * widths.of(text)
    pdfmetrics.registerFont(font)
    return font


class _Widths(dict[str, float]):
    """Widths of characters in thousandths of the size, as the font has them."""

    def __init__(self, face: Any) -> None:
        self._get, self._default = face.charWidths.get, face.defaultWidth

    def __missing__(self, char: str) -> float:
        self[char] = width = float(self._get(ord(char), self._default))
        return width

    def of(self, text: str) -> float:
        return float(sum(map(self.__getitem__, text)))


@cache
def _letters(weight: str) -> frozenset[str]:
    """The characters that the font of a weight has itself."""
    return frozenset(map(chr, _font(weight).face.charToGlyph))


def registered(key: str) -> str:
    """The name by which the PDF library knows a font, once it is loaded."""
    return str(_font(key).fontName)


@lru_cache(maxsize=4096)
def clean(text: str) -> str:
    """``text`` in Unicode form NFC, on one line, without control characters.

    >>> clean("cafe\\u0301\\tnoir")
    'café noir'
    """
    if text.isascii() and text.isprintable():
        return re.sub(r" {2,}", " ", text) if "  " in text else text
    text = unicodedata.normalize("NFC", text)
    return re.sub(r" {2,}", " ", "".join(map(_PLAIN.__getitem__, text)))


class _Plain(dict[str, str]):
    """What is set for each character that was met."""

    def __missing__(self, char: str) -> str:
        self[char] = plain = _plain(char)
        return plain


_PLAIN = _Plain()


def _plain(char: str) -> str:
    if char in "\t\n\r\v\f\N{LINE SEPARATOR}\N{PARAGRAPH SEPARATOR}":
        return " "
    if "\N{VARIATION SELECTOR-1}" <= char <= "\N{VARIATION SELECTOR-16}":
        return ""
    kind = unicodedata.category(char)
    if kind == "Zs":
        return NO_BREAK if char in (NO_BREAK, "\N{NARROW NO-BREAK SPACE}") else " "
    return "" if kind in ("Cc", "Cf") else "\N{REPLACEMENT CHARACTER}" if kind == "Cs" else char


def _key_for(char: str, weight: str) -> str | None:
    code = ord(char)
    if code in _font(weight).face.charToGlyph:
        return weight
    if code >= 0x2000 and code in _font("han").face.charToGlyph:
        return "han"
    return None


@lru_cache(maxsize=4096)
def runs(text: str, weight: str = REGULAR) -> tuple[tuple[str, str], ...]:
    """Pieces of ``text`` as (font name, piece), each wholly drawable by its font.

    >>> [piece for _, piece in runs("Øst 東")]
    ['Øst ', '東']
    """
    plain = clean(text)
    if _letters(weight).issuperset(plain):
        return ((_FILES[weight][0], plain),) if plain else ()
    parts: list[tuple[str, str]] = []
    missing: list[str] = []

    def add(key: str, piece: str) -> None:
        if parts and parts[-1][0] == key:
            parts[-1] = (key, parts[-1][1] + piece)
        else:
            parts.append((key, piece))

    for char in [*plain, ""]:
        key = _key_for(char, weight) if char else None
        if char and key is None:
            missing.append(f"U+{ord(char):04X}")
            continue
        if missing:
            add(weight, "[" + " ".join(missing) + "]")
            missing.clear()
        if key is not None:
            add(key, char)
    return tuple((_FILES[key][0], piece) for key, piece in parts)


@lru_cache(maxsize=4096)
def missing_characters(text: str, weight: str = REGULAR) -> str:
    """The characters of ``text`` that no font here has, in order."""
    plain = clean(text)
    if _letters(weight).issuperset(plain):
        return ""
    return "".join(c for c in plain if _key_for(c, weight) is None)


@lru_cache(maxsize=65536)
def _width_1000(text: str, weight: str) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(sum(stringWidth(piece, name, 1000.0) for name, piece in runs(text, weight)))


def text_width(text: str, size: float, weight: str = REGULAR) -> float:
    """Width in points of ``text`` set at ``size`` points."""
    return _width_1000(text, weight) * size / 1000.0


_TOKENS = re.compile(r"[^\s\-/_·,;\u2e80-\uffef]+[\-/_·,;]*|[\-/_·,;]+|[\u2e80-\uffef]|[^\S\u00a0]+|\u00a0")


def wrap(text: str, size: float, width: float, weight: str = REGULAR) -> list[str]:
    """Lines of ``text`` no wider than ``width`` points.

    Breaks at spaces, after - / _ · , ; and between Han characters, and inside a word only where the word
    alone is too wide. A no-break space holds its words together. A line feed begins a new line. Empty text
    gives one empty line.
    """
    lines: list[str] = []
    for paragraph in text.split("\n"):
        lines += _wrap_one(clean(paragraph), size, width, weight)
    return lines


def _pieces(text: str) -> list[str]:
    glued: list[str] = []
    for token in _TOKENS.findall(text):
        if glued and (token == "\u00a0" or glued[-1].endswith("\u00a0")):
            glued[-1] += token
        else:
            glued.append(token)
    return glued


@lru_cache(maxsize=4096)
def _wrap_one(text: str, size: float, width: float, weight: str) -> tuple[str, ...]:
    lines: list[str] = []
    line = ""
    for token in _pieces(text):
        if text_width((line + token).rstrip(), size, weight) <= width:
            line += token
            continue
        if line.strip():
            lines.append(line.rstrip())
        line = token.lstrip()
        while len(line) > 1 and text_width(line, size, weight) > width:
            count = _fitting(line, size, width, weight)
            lines.append(line[:count])
            line = line[count:]
    return (*lines, line.rstrip())


def _fitting(text: str, size: float, width: float, weight: str) -> int:
    """How many leading characters fit in ``width``; at least one."""
    low, high = 1, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if text_width(text[:middle], size, weight) <= width else (low, middle - 1)
    return low


def shorten(text: str, size: float, width: float, weight: str = REGULAR) -> str:
    """``text``, or as much of it as fits in ``width`` with an ellipsis at its end."""
    text = clean(text)
    if text_width(text, size, weight) <= width:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        fits = text_width(text[:middle].rstrip() + "…", size, weight) <= width
        low, high = (middle, high) if fits else (low, middle - 1)
    return text[:low].rstrip() + "…"
