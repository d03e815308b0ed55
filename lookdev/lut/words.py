"""A colour in plain words, for a page that says where a LUT fails."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

_HUES = (
    "pink",
    "red",
    "orange",
    "yellow",
    "yellow-green",
    "green",
    "teal",
    "cyan",
    "blue",
    "violet",
    "purple",
)
_STARTS = (-12.0, 15.0, 48.0, 75.0, 105.0, 128.0, 165.0, 200.0, 245.0, 295.0, 320.0)


def colour_words(lab: ArrayLike) -> str:
    """Lightness, chroma and hue of a CIELAB colour (3,) in words.

    >>> colour_words([32.0, 79.0, -108.0])
    'dark vivid blue'
    >>> colour_words([50.0, 0.0, 0.0])
    'mid grey'
    """
    lightness, a, b = (float(v) for v in np.asarray(lab, dtype=np.float64))
    light = (
        "near-black" if lightness < 10 else "dark" if lightness < 38 else "mid" if lightness < 68 else "light"
    )
    chroma = float(np.hypot(a, b))
    if chroma < 5:
        return "near-black" if lightness < 10 else "near-white" if lightness > 95 else f"{light} grey"
    hue = float(np.degrees(np.arctan2(b, a))) % 360
    index = max((i for i, start in enumerate(_STARTS) if hue >= start), default=0)
    name = _HUES[0] if hue >= 348 else _HUES[index]
    strength = "greyish " if chroma < 20 else "" if chroma < 60 else "vivid "
    return f"{light} {strength}{name}"
