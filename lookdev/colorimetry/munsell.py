"""The ten Munsell hue families as directions in Oklab.

Source of the angles: the mean Oklab hue of the renotation colours 5R to 5RP (ASTM D1535, "Munsell Colours
Real" of colour-science) at value 4 to 7 and chroma 4 to 8, carried from C to D65 by linear Bradford;
``tests/reference/test_munsell_hues.py`` computes them again. Single colours lie within 4 degrees of the
mean.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FAMILIES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
FAMILY_HUE_DEGREES = (22.74, 55.53, 93.15, 122.04, 163.00, 187.89, 217.33, 257.88, 312.47, 355.73)

_HUE = re.compile(r"\s*(\d+(?:\.\d*)?|\.\d+)?\s*(RP|YR|GY|BG|PB|R|Y|G|B|P)\s*", re.IGNORECASE)


def parse_hue(text: str) -> float:
    """Position of a Munsell hue on the circle of 100 steps: 5R is 5, 5YR is 15, 10RP is 100 (= 0).

    A family alone means its middle: ``B`` is ``5B``.

    Raises
    ------
    ValueError : not a Munsell hue.

    >>> parse_hue("5B"), parse_hue("7.5YR")
    (65.0, 17.5)
    """
    match = _HUE.fullmatch(text)
    step = float(match[1]) if match and match[1] else 5.0
    if match is None or not 0 <= step <= 10:
        raise ValueError(f"{text!r} is not a Munsell hue such as 5B or 7.5YR")
    return 10.0 * FAMILIES.index(match[2].upper()) + step


def hue_degrees(text: str) -> float:
    """Oklab hue in degrees, 0 to 360, of a Munsell hue such as ``5B`` (straight between family middles).

    >>> hue_degrees("5B")
    217.33
    """
    position = parse_hue(text)
    steps = np.arange(-5.0, 106.0, 10.0)
    angles = np.array([FAMILY_HUE_DEGREES[-1] - 360, *FAMILY_HUE_DEGREES, FAMILY_HUE_DEGREES[0] + 360])
    return float(np.interp(position, steps, angles) % 360)


def family_weights(hue_rad: Array) -> Array:
    """Weights (..., 10) of the ten families at Oklab hues (...), in radians.

    Raised-cosine cross-fades between neighbouring middles: smooth, periodic, non-negative, summing to one.
    """
    return family_blend(hue_rad, np.eye(len(FAMILIES)))


def family_blend(hue_rad: Array, table: Array) -> Array:
    """Rows of ``table`` (10, n), one a family, blended at Oklab hues (...), in radians: (..., n).

    The same as ``family_weights(hue_rad) @ table``, from the two families that a hue lies between.
    """
    first = FAMILY_HUE_DEGREES[0]
    edges = np.array([*FAMILY_HUE_DEGREES, first + 360.0])
    turned = (np.degrees(hue_rad) - first) % 360.0 + first
    below = np.clip(np.searchsorted(edges, turned, side="right") - 1, 0, len(FAMILIES) - 1)
    share = (turned - edges[below]) / np.diff(edges)[below]
    rising = (np.sin(np.pi / 2 * share) ** 2)[..., None]
    low = table[below]
    return np.asarray(low + rising * (np.roll(table, -1, axis=0)[below] - low))
