"""What a LUT says of itself: the encodings that its comments, its title or its file's name state."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import LookdevError

_INPUT = re.compile(r"\b(?:input|source|from)(?:[ _]?(?:encoding|colou?r[ _]?space))?\s*[:=]\s*(.+)", re.I)
_OUTPUT = re.compile(r"\b(?:output|target|to)(?:[ _]?(?:encoding|colou?r[ _]?space))?\s*[:=]\s*(.+)", re.I)
_BETWEEN = re.compile(r"(.+?)(?:[ _.-]to[ _.-]|\s*->\s*)(.+)", re.I)
_MOST_WORDS = 8


@dataclass(frozen=True)
class Said:
    """Encodings that a file states, either of them or both, and ``where``: "its comments", "its name"."""

    source: Encoding | None = None
    target: Encoding | None = None
    where: str = ""

    def __bool__(self) -> bool:
        return self.source is not None or self.target is not None

    def words(self) -> str:
        """One line."""
        ends = ((self.source, "in"), (self.target, "out"))
        said = ", ".join(f"{e.name} {way}" for e, way in ends if e is not None)
        return f"{self.where} say it: {said}" if self.where.endswith("s") else f"{self.where} says it: {said}"

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        source, target = (e.name if e is not None else None for e in (self.source, self.target))
        return {"encoding_in": source, "encoding_out": target, "where": self.where}


def said(comments: Iterable[str], title: str = "", file_stem: str = "") -> Said:
    """The first of comments, title and file name that names an encoding.

    >>> found = said(["input: ACEScct, scene-referred", "output: BT.709, output-referred"])
    >>> found.source.name, found.target.name
    ('ACEScct', 'BT.709')
    >>> said([], file_stem="slack_water.ACEScct_to_BT.709.33").target.name
    'BT.709'
    """
    comments = tuple(comments)
    source = next((e for c in comments if (e := _named(_INPUT, c)) is not None), None)
    target = next((e for c in comments if (e := _named(_OUTPUT, c)) is not None), None)
    if source is not None or target is not None:
        return Said(source, target, "its comments")
    for text, where in (
        *((c, "its comments") for c in comments),
        (title, "its title"),
        (file_stem, "its name"),
    ):
        found = _BETWEEN.match(text)
        if found is not None:
            source, target = _at_the_end(found[1]), _at_the_start(found[2])
            if source is not None and target is not None:
                return Said(source, target, where)
    return Said()


def _named(pattern: re.Pattern[str], comment: str) -> Encoding | None:
    found = pattern.search(comment)
    return _at_the_start(found[1].partition(",")[0].partition("(")[0]) if found is not None else None


def _at_the_start(text: str) -> Encoding | None:
    words = _words(text)
    tried = (" ".join(words[:count]) for count in range(min(len(words), _MOST_WORDS), 0, -1))
    return next((e for each in tried if (e := _encoding(each)) is not None), None)


def _at_the_end(text: str) -> Encoding | None:
    words = _words(text)
    tried = (" ".join(words[-count:]) for count in range(min(len(words), _MOST_WORDS), 0, -1))
    return next((e for each in tried if (e := _encoding(each)) is not None), None)


def _words(text: str) -> list[str]:
    return [word for word in re.split(r"[\s_.,;@]+", text) if word]


@lru_cache(maxsize=512)
def _encoding(name: str) -> Encoding | None:
    try:
        return get_encoding(name)
    except LookdevError:
        return None
