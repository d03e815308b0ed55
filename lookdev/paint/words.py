"""Colour changes in words."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from lookdev.colorimetry.munsell_notation import GREY_CHROMA, hue_name, munsell_from_lab
from lookdev.text.hues import hue_word


def what_changed(before_lab: ArrayLike, after_lab: ArrayLike) -> str:
    """Lightness, chroma and hue of a change between two CIELAB colours (3,) for D65, in words.

    >>> what_changed([50, 0, 0], [50.2, 0, 0])
    'as it was'
    """
    before, after = np.asarray(before_lab, dtype=np.float64), np.asarray(after_lab, dtype=np.float64)
    chroma = np.hypot(before[1], before[2]), np.hypot(after[1], after[2])
    parts = []
    lift = float(after[0] - before[0])
    if abs(lift) >= 1.0:
        parts.append(f"{'lighter' if lift > 0 else 'darker'} by {abs(lift):.0f} L*")
    parts += _chroma_words(float(chroma[0]), float(chroma[1]))
    parts += _hue_words(before, after, float(min(chroma)))
    return ", ".join(parts) or "as it was"


def _chroma_words(before: float, after: float) -> list[str]:
    if abs(after - before) < 1.5:
        return []
    if before < 3:
        return [f"no longer neutral (C* {after:.0f})"]
    if after < 3:
        return ["nearly neutral"]
    share = after / before
    if 0.9 < share < 1.1:
        return []
    return [f"chroma {'up' if share > 1 else 'down'} to {100 * share:.0f}%"]


def _hue_words(before: np.ndarray, after: np.ndarray, least_chroma: float) -> list[str]:
    turn = np.degrees(np.arctan2(after[2], after[1]) - np.arctan2(before[2], before[1]))
    turn = (turn + 180) % 360 - 180
    if 2 * least_chroma * abs(np.sin(np.radians(turn) / 2)) < 1.5 or least_chroma < 3:
        if np.hypot(*after[1:]) >= 5 and np.hypot(*before[1:]) < 3:
            return [f"tinted {hue_word(munsell_from_lab(after)[0])}"]
        return []
    one, two = munsell_from_lab(np.stack([before, after]))
    names = hue_name(one[0], 0), hue_name(two[0], 0)
    if min(one[2], two[2]) < GREY_CHROMA or names[0] == names[1]:
        return []
    return [f"hue from {names[0]} to {names[1]}"]


_HUES = ("red", "orange", "yellow", "lime", "green", "teal", "blue", "blue", "purple", "magenta")
"""For the ten Munsell families R to RP."""

_GREYS = (
    (20.0, "black"),
    (38.0, "charcoal grey"),
    (58.0, "mid grey"),
    (78.0, "light grey"),
    (93.0, "pale grey"),
)
"""Up to which L* a neutral is called so. Words and bounds are taste, within what common speech allows."""


def colour_names(lab: ArrayLike) -> list[str]:
    """Names in plain English of CIELAB colours (n, 3) for D65, as a painter would say them.

    >>> colour_names([[50, 0, 0], [45, -30, -8], [35, 12, 20], [60, -4, -9]])
    ['mid grey', 'teal', 'dark brown', 'grey-blue']
    """
    from lookdev.colorimetry.difference import working_from_lab
    from lookdev.colorimetry.munsell import FAMILY_HUE_DEGREES
    from lookdev.colorimetry.oklab import oklab_from_working

    values = np.atleast_2d(np.asarray(lab, dtype=np.float64))
    oklab = oklab_from_working(working_from_lab(values))
    hue = np.degrees(np.arctan2(oklab[:, 2], oklab[:, 1])) % 360.0
    middles = np.array(FAMILY_HUE_DEGREES)
    apart = np.abs((hue[:, None] - middles[None] + 180.0) % 360.0 - 180.0)
    family = apart.argmin(axis=1)
    chroma = np.hypot(values[:, 1], values[:, 2])
    return [_one_name(float(v[0]), float(c), int(k)) for v, c, k in zip(values, chroma, family, strict=True)]


def _one_name(lightness: float, chroma: float, family: int) -> str:
    if chroma < 3.0 or (chroma < 5.0 and lightness < 15.0):
        return next((name for top, name in _GREYS if lightness < top), "white")
    hue = _HUES[family]
    if hue in ("red", "magenta") and lightness > 60.0:
        hue = "pink"
    elif hue == "orange" and lightness < 58.0 and chroma < 65.0:
        hue = "brown"
    elif hue in ("orange", "yellow") and lightness >= 58.0 and chroma < 35.0:
        hue = "tan" if lightness < 70.0 and hue == "orange" else "beige" if lightness < 85.0 else "cream"
    elif hue == "yellow" and lightness < 58.0:
        hue = "olive"
    elif hue == "lime" and chroma < 35.0:
        hue = "green"
    if lightness < 12.0:
        return f"{hue}-black"
    if hue in ("tan", "beige", "cream") and chroma >= 10.0:
        return hue
    if chroma < 12.0:
        tone = "dark " if lightness < 35.0 else "pale " if lightness > 80.0 else ""
        return f"{tone}grey-{hue}"
    if lightness < 40.0:
        return f"dark {hue}" if chroma < 45.0 else f"deep {hue}"
    if lightness > 78.0:
        return f"pale {hue}" if chroma < 35.0 else f"bright {hue}"
    if chroma < 22.0:
        return f"soft {hue}"
    return f"bright {hue}" if chroma > 38.0 and lightness > 45.0 else hue
