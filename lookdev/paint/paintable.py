"""Which colours a matt paint can have: the strongest papers of the matt Munsell atlas.

Source: ``matt_atlas_chroma.csv``, the highest chroma at each hue and value among the 1269 matt papers of the
Munsell Book of Color that the University of Eastern Finland measured (380 to 800 nm). Empty: no paper of that
hue there. Values between go linearly, the ends are held. A gloss paint reaches some two steps of chroma
further (common practice); a wall is seldom one.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.munsell import parse_hue

Array = NDArray[np.float64]

BEYOND_WORDS = "stronger than any matt paper of the Munsell atlas: hardly a paint"


@lru_cache(maxsize=1)
def _limits() -> tuple[Array, Array, Array]:
    """Hue positions (40,), values (9,), highest chroma (40, 9) of the atlas."""
    lines = Path(__file__).with_name("matt_atlas_chroma.csv").read_text("utf-8").splitlines()
    values = np.array([float(v) for v in lines[0].split(",")[1:]])
    hues, rows = [], []
    for line in lines[1:]:
        cells = line.split(",")
        have = np.array([c != "" for c in cells[1:]])
        known = np.array([float(c) for c in cells[1:] if c])
        hues.append(parse_hue(cells[0]))
        rows.append(np.interp(values, values[have], known))
    order = np.argsort(hues)
    return np.array(hues)[order], values, np.array(rows)[order]


def highest_paint_chroma(hue: ArrayLike, value: ArrayLike) -> Array:
    """Munsell chroma (n,) of the strongest matt paper at hue positions (n,), 0 to 100, and values (n,).

    >>> highest_paint_chroma([5.0, 65.0], [4.0, 8.0]).tolist()  # 5R 4 and 5B 8: papers 5R 4/14, 5B 8/4
    [14.0, 4.0]
    """
    hues, values, limits = _limits()
    position, at = np.atleast_1d(np.asarray(hue, dtype=np.float64)), np.atleast_1d(np.asarray(value, float))
    around = np.concatenate([[hues[-1] - 100.0], hues, [hues[0] + 100.0]])
    rows = np.concatenate([limits[-1:], limits, limits[:1]])
    k = np.clip(np.searchsorted(around, position % 100.0, side="right") - 1, 0, len(around) - 2)
    share = (position % 100.0 - around[k]) / (around[k + 1] - around[k])
    low = np.array([np.interp(v, values, rows[i]) for v, i in zip(at, k, strict=True)])
    high = np.array([np.interp(v, values, rows[i + 1]) for v, i in zip(at, k, strict=True)])
    return np.asarray(low + share * (high - low))


def is_paintable(hue: ArrayLike, value: ArrayLike, chroma: ArrayLike) -> NDArray[np.bool_]:
    """Whether a matt paint of this Munsell colour (n,) can be had."""
    return np.asarray(np.asarray(chroma, dtype=np.float64) <= highest_paint_chroma(hue, value) + 1e-6)
