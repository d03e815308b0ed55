"""The ten Munsell hue families as directions in Oklab.

Source of the angles: the mean Oklab hue of the renotation colours 5R to 5RP (ASTM D1535, "Munsell Colours
Real" of colour-science) at value 4 to 7 and chroma 4 to 8, carried from C to D65 by linear Bradford;
``tests/reference/test_munsell_hues.py`` computes them again. Single colours lie within 4 degrees of the
mean.
"""

from __future__ import annotations

import re
from functools import lru_cache

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


def family_curves(table: Array) -> Array:
    """What rows of ``table`` (10, n), one a family, are at the hues between: cubics (10, n, 4).

    From each family's middle to the next, in the share of the way, the highest power first. Monotone between
    neighbours and C1 round the circle (Fritsch and Carlson 1980, as scipy's PCHIP has it): no step, and never
    beyond what the two families say.
    """
    values = np.ascontiguousarray(table, dtype=np.float64)
    return _curves(values.tobytes(), values.shape[1]).copy()


@lru_cache(64)
def _curves(table: bytes, columns: int) -> Array:
    """Kept, as a look's are asked for again and again while its other keys are turned."""
    values = np.frombuffer(table, dtype=np.float64).reshape(len(FAMILIES), columns)
    around = np.arange(-2, len(FAMILIES) + 3) % len(FAMILIES)
    hues = np.array(FAMILY_HUE_DEGREES)[around] + 360.0 * (np.arange(-2, len(FAMILIES) + 3) // len(FAMILIES))
    widths = np.diff(hues)[:, None]
    cubics = _monotone_cubics(values[around], widths)[:, 1:-1]
    powers = widths[2:-2, 0] ** np.arange(3, -1, -1)[:, None]
    return np.ascontiguousarray(np.moveaxis(cubics * powers[:, :, None], 0, -1))


def _monotone_cubics(values: Array, widths: Array) -> Array:
    """Cubics (4, n - 3, columns) between ``values`` (n, columns), all but the first and last of them.

    In the distance from the left one, the highest power first; the slope at a value is the weighted harmonic
    mean of the straight lines' on both sides, and none where these differ in sign (Fritsch and Butland 1984).
    Operation by operation scipy's PCHIP, which takes a third of a second to import; the test compares them.
    """
    lines = np.diff(values, axis=0) / widths
    left, right = lines[:-1], lines[1:]
    turns = (np.sign(right) != np.sign(left)) | (right == 0) | (left == 0)
    w1, w2 = 2 * widths[1:] + widths[:-1], widths[1:] + 2 * widths[:-1]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # where it turns, and next to it
        mean = (w1 / left + w2 / right) / (w1 + w2)
        slopes = np.where(turns, 0.0, 1.0 / mean)
    inner = widths[1:-1]
    bend = (slopes[:-1] + slopes[1:] - 2 * lines[1:-1]) / inner
    return np.stack([bend / inner, (lines[1:-1] - slopes[:-1]) / inner - bend, slopes[:-1], values[1:-2]])
