"""Colour changes in words."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from lookdev.colorimetry.munsell_notation import GREY_CHROMA, hue_name, munsell_from_lab
from lookdev.text.hues import hue_word

SEEN_APART = 1.0
"""CIEDE2000 under which two colours side by side are taken as one."""


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
