"""Where pictures stand on a page, as numbers: columns with even gaps, lines spread over a page.

All lengths are points. Nothing here draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FIRST_GAP, GAP = 16.0, 7.0
"""After "as it stood", and between looks."""
READABLE_EDGE = 95.0
"""About 34 mm: the long edge of a picture that can be judged at arm's length."""

_COMFORT = 150.0  # about 53 mm: above it a larger picture tells less and less
_MOST_EXTRA = 24.0  # most that a gap between columns grows
_GUTTER_MIN, _GUTTER_MAX, _GUTTER_GAP = 104.0, 150.0, 14.0
_MOST_AIR = 28.0  # most that a gap between lines grows
_OPTICAL = 0.4  # of what is left over stands above, as the eye puts the middle of a page above its centre


@dataclass(frozen=True)
class Columns:
    """Columns of pictures.

    Attributes
    ----------
    lefts : left edge of each.
    words : width of the words over and under a picture.
    margin : left edge of the whole block: of the labels, if they stand at the left, else of the pictures.
    gutter : width for labels at the left of the pictures; 0 if there is no room for them.
    """

    lefts: tuple[float, ...]
    words: float
    margin: float
    gutter: float

    @property
    def count(self) -> int:
        return len(self.lefts)


def per_line(count: int, lines: int) -> int:
    """Pictures in a line if ``count`` of them stand in ``lines`` lines, filled as evenly as can be.

    >>> [per_line(6, lines) for lines in (1, 2, 3)], per_line(9, 2)
    ([6, 3, 2], 5)
    """
    return -(-count // lines)


def gaps_width(count: int, first: float = FIRST_GAP, gap: float = GAP) -> float:
    """What the gaps of ``count`` columns take in all."""
    return first + gap * (count - 2) if count > 1 else 0.0


def fair_width(width: float, count: int, first: float = FIRST_GAP, gap: float = GAP) -> float:
    """Width of a column if ``count`` of them fill ``width``."""
    return (width - gaps_width(count, first, gap)) / count


def columns(
    left: float,
    width: float,
    count: int,
    picture: float,
    pixel: float,
    *,
    least_words: float = 0.0,
    first: float = FIRST_GAP,
    gap: float = GAP,
    has_gutter: bool = True,
) -> Columns:
    """``count`` columns of pictures ``picture`` wide, in ``width`` from ``left``.

    Room to spare goes to a gutter for labels, if it is wide enough for one, then to the gaps, evenly, up to
    a limit, then to both sides. A narrow picture's column is widened for its words, as far as there is room.

    Parameters
    ----------
    pixel : the grid that columns stand on, so that their gaps are equal to the pixel.
    least_words : width that words would like.
    """
    cell = max(picture, min(least_words, fair_width(width, count, first, gap)))
    spare = max(0.0, width - cell * count - gaps_width(count, first, gap))
    gutter = 0.0
    if has_gutter and spare >= _GUTTER_MIN + _GUTTER_GAP:
        gutter = min(spare - _GUTTER_GAP, _GUTTER_MAX)
        spare -= gutter + _GUTTER_GAP
    extra = min(spare / (count - 1), _MOST_EXTRA) if count > 1 else 0.0
    margin = left + (spare - extra * (count - 1)) / 2
    start = margin + (gutter + _GUTTER_GAP if gutter else 0.0)
    start = round(start / pixel)
    steps = [start] + [int((cell + extra + (first if i == 1 else gap)) / pixel) for i in range(1, count)]
    lefts = tuple(float(s) * pixel for s in np.cumsum(steps))
    words = max(min(cell + extra, left + width - lefts[-1]), 1.0)
    return Columns(lefts, words, margin, gutter)


def spread(spare: float, count: int, most: float = _MOST_AIR) -> tuple[float, float]:
    """Room to spare on a page of ``count`` lines: what goes above them, and to each gap between them.

    Evenly to all, but no gap grows by more than ``most``; of the rest, two fifths stand above.

    >>> spread(60.0, 2), spread(100.0, 1)
    ((16.0, 20.0), (40.0, 0.0))
    """
    spare = max(0.0, spare)
    between = min(spare / (count + 1), most) if count > 1 else 0.0
    return (spare - between * (count - 1)) * _OPTICAL, between


def worth_of_size(edge: float) -> float:
    """What pictures with a long edge of ``edge`` are worth; doubling the pages costs about 0.28.

    Its slope against the logarithm of the size: 20 below what can be judged, 1 up to comfort, then 0.3.
    """
    small = 20.0 * np.log(min(edge, READABLE_EDGE) / READABLE_EDGE)
    medium = np.log(np.clip(edge, READABLE_EDGE, _COMFORT) / READABLE_EDGE)
    return float(small + medium + 0.3 * np.log(max(edge, _COMFORT) / _COMFORT))
