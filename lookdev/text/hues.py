"""Names of hues, one set: the ten Munsell families (ASTM D1535) in plain English.

"Orange" and "yellow-green" stand for Munsell's yellow-red and green-yellow, which nobody says.
"""

from __future__ import annotations

from lookdev.colorimetry.munsell_notation import hue_name

FAMILY_NAMES = {
    "R": "red",
    "YR": "orange",
    "Y": "yellow",
    "GY": "yellow-green",
    "G": "green",
    "BG": "blue-green",
    "B": "blue",
    "PB": "purple-blue",
    "P": "purple",
    "RP": "red-purple",
}


def hue_word(position: float) -> str:
    """The family of a Munsell hue, a position on the circle of 100 steps.

    >>> hue_word(15.0), hue_word(0.0)
    ('orange', 'red-purple')
    """
    return FAMILY_NAMES[hue_name(position).lstrip("0123456789.")]


def family_words(family: str) -> str:
    """All colours of a family.

    >>> family_words("YR"), family_words("PB")
    ('oranges', 'purple-blues')
    """
    return FAMILY_NAMES[family] + "s"


_STARTS_DEG = (
    (-12.0, "RP"), (15.0, "R"), (48.0, "YR"), (75.0, "Y"), (105.0, "GY"), (128.0, "G"), (165.0, "BG"),
    (225.0, "B"), (310.0, "PB"), (322.0, "P"),
)  # fmt: skip
"""Where each name begins among CIELAB hue angles; common practice: people call sRGB's primaries by their
names, which the families' own edges do not (sRGB's yellow is 0.9GY, its blue 6.9PB)."""


def lab_hue_word(hue_deg: float) -> str:
    """The name of a CIELAB hue angle in degrees, as of a colour on a screen.

    >>> lab_hue_word(306.3), lab_hue_word(102.9), lab_hue_word(355.0)
    ('blue', 'yellow', 'red-purple')
    """
    angle = (hue_deg + 12.0) % 360.0 - 12.0
    return FAMILY_NAMES[next(family for start, family in reversed(_STARTS_DEG) if angle >= start)]
