"""An answer beside the look it answers: how far apart the two are on each still."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import SRGB
from lookdev.looks.pipeline import LookLike
from lookdev.lut.error import Difference, appearance, difference
from lookdev.lut.received import ReceivedLut

Picture = NDArray[np.uint8]

_MOST_PIXELS = 40000


def compared_pairs(looks: Sequence[LookLike]) -> list[tuple[int, int]]:
    """(answer, look) by index: each received LUT with the look it ``answers``, or with every look of ours."""
    own = [i for i, look in enumerate(looks) if not isinstance(look, ReceivedLut)]
    out: list[tuple[int, int]] = []
    for i, look in enumerate(looks):
        if not isinstance(look, ReceivedLut):
            continue
        named = [j for j in own if look.answers and _key(looks[j].title) == _key(look.answers)]
        out += [(i, j) for j in (named or own)]
    return out


def picture_difference(one: Picture, other: Picture) -> Difference:
    """CIEDE2000 over two sRGB pictures (h, w, 3) uint8 of the same size, over at most 40,000 of their pixels.

    ``worst_input`` is the signal in ``other`` where they are farthest apart.

    >>> grey = np.full((4, 4, 3), 128, np.uint8)
    >>> picture_difference(grey, grey).maximum
    0.0
    """
    a, b = one.reshape(-1, 3), other.reshape(-1, 3)
    step = max(1, len(a) // _MOST_PIXELS)
    first = np.asarray(a[::step] / 255.0, dtype=np.float64)
    second = np.asarray(b[::step] / 255.0, dtype=np.float64)
    return difference(second, ciede2000(appearance(first, SRGB), appearance(second, SRGB)))


def still_differences(
    looks: Sequence[LookLike], pictures: Sequence[Picture | None]
) -> list[tuple[int, int, Difference]]:
    """(answer, look, difference) on one still, the two by index; ``pictures``: graded, one a look."""
    out = []
    for answer, look in compared_pairs(looks) if pictures else ():
        one, other = pictures[answer], pictures[look]
        if one is not None and other is not None and one.shape == other.shape:
            out.append((answer, look, picture_difference(one, other)))
    return out


def difference_words(look: str, apart: Difference) -> str:
    """A line for a sheet, under the answer's picture.

    >>> difference_words("Slack water", Difference(1.234, 2.0, 3.0, 4.56, 9, (0.0, 0.0, 0.0)))
    'from Slack water: ΔE00 mean 1.2, 95% below 2.0, most 4.6'
    """
    return f"from {look}: ΔE00 mean {apart.mean:.1f}, 95% below {apart.p95:.1f}, most {apart.maximum:.1f}"


def _key(text: str) -> str:
    return "".join(c for c in text.removesuffix(".toml").casefold() if c.isalnum())
