"""A grey patch in a still: where it is, and the colour in which it stands there.

A patch is given as ``x, y, w, h`` in pixels of the upright still; as a field, or two corners, of the lettered
grid that the contact page (``lookdev log SCOUT --contact``) draws over each still; or as ``chart``, the
24-patch chart or grey card that is found in it.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookdev.colorimetry.adaptation import xy_from_xyz
from lookdev.colorimetry.rgb_spaces import WORKING
from lookdev.errors import StillError
from lookdev.looks.rendering import lift_curve
from lookdev.text import numbers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lookdev.stills.still import Still

XY = tuple[float, float]
Box = tuple[int, int, int, int]

COLUMNS, ROWS = 24, 16
"""Fields of the grid, A to X across and 1 to 16 down: square in a frame of 3:2, small enough for a card."""

UNEVEN = 0.015
"""Spread of a patch in u', v' (1976 UCS) from which it is no one grey thing: a card in the sample scout's
JPEG has 0.002 to 0.006 of noise, an edge between two lights or things over 0.02."""


def columns() -> str:
    """The letters over the columns.

    >>> columns()
    'ABCDEFGHIJKLMNOPQRSTUVWX'
    """
    return "".join(chr(ord("A") + i) for i in range(COLUMNS))


def box_of_fields(fields: str, size: tuple[int, int]) -> Box:
    """``x, y, w, h`` of a field (``F5``) or of all between two (``F5-G6``) in a still of ``size`` (h, w).

    >>> box_of_fields("F5", (1600, 2400)), box_of_fields("G6-F5", (1600, 2400))
    ((500, 400, 100, 100), (500, 400, 200, 200))
    """
    height, width = size
    corners = [(ord(part[0]) - ord("A"), int(part[1:]) - 1) for part in fields.split("-")]
    left, right = min(c for c, _ in corners), max(c for c, _ in corners) + 1
    top, bottom = min(r for _, r in corners), max(r for _, r in corners) + 1
    x, y = round(left * width / COLUMNS), round(top * height / ROWS)
    return x, y, round(right * width / COLUMNS) - x, round(bottom * height / ROWS) - y


def scene_patch(still: Still, box: Box) -> NDArray[np.float64]:
    """Scene light (h, w, 3), linear BT.2020, of a patch ``x, y, w, h`` of the upright still.

    Raises
    ------
    StillError : the patch lies outside the still or is clipped.
    """
    x, y, w, h = box
    height, width = still.full_size
    name = Path(still.path).name
    if x < 0 or y < 0 or w < 1 or h < 1 or x + w > width or y + h > height:
        raise StillError(
            "grey patch outside the still",
            file=name,
            key="grey",
            found=f"{x},{y},{w},{h}",
            wanted=f"x, y, w, h inside {width} x {height} pixels",
        )
    from lookdev.stills.still import signal_of

    signal = signal_of(still.pixels[y : y + h, x : x + w])
    if still.encoding.state == "output" and np.mean(np.any(signal >= 0.996, axis=-1)) > 0.02:
        raise StillError("grey patch is clipped", file=name, key="grey", wanted="a patch below white")
    light = still.encoding.to_working(signal)
    return np.asarray(lift_curve(light) if still.encoding.state == "output" else light)


def patch_xy(still: Still, box: Box) -> XY:
    """Chromaticity of the mean scene light of a patch ``x, y, w, h`` in pixels of the upright still.

    Raises
    ------
    StillError : the patch lies outside the still, is clipped, or is too dark to carry a colour.
    """
    scene = scene_patch(still, box).reshape(-1, 3).mean(axis=0)
    xyz = scene @ WORKING.to_xyz.T
    if xyz[1] < 0.005 or np.any(scene <= 0):
        raise StillError(
            "grey patch is too dark or too strongly coloured", file=Path(still.path).name, key="grey"
        )
    xy = xy_from_xyz(xyz)
    return (float(xy[0]), float(xy[1]))


def unevenness(still: Still, box: Box) -> str | None:
    """Words where a patch is not of one colour; None where it is. Noise is averaged away in 8 by 8 parts."""
    light = scene_patch(still, box)
    rows, cols = (np.array_split(np.arange(n), min(8, n)) for n in light.shape[:2])
    means = np.array([[light[np.ix_(r, c)].mean(axis=(0, 1)) for c in cols] for r in rows]).reshape(-1, 3)
    x, y, z = (means @ WORKING.to_xyz.T).T
    below = np.maximum(x + 15 * y + 3 * z, 1e-9)
    spread = float(np.hypot(np.std(4 * x / below), np.std(9 * y / below)))
    if spread <= UNEVEN:
        return None
    words = numbers.unsigned(spread, 3)
    return f"the grey patch is not of one colour (u', v' spread by {words}): all of a card?"
