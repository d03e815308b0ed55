"""Generic correction filters: what brings one light to another, by mired and Duv.

The shifts are common practice, not a standard: round numbers in the middle of what filter makers print for
filters of these names. Makers differ by up to 20 mired in the strong oranges; a swatch on the lamp, metered,
beats any table.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from lookdev.colorimetry.temperature import (
    is_cct_meaningful,
    mired_duv_from_xy,
    uv1960_from_xy,
    uv1976_from_xy,
    xy_from_mired,
)
from lookdev.meter.wording import signed

XY = tuple[float, float]


@dataclass(frozen=True)
class Filter:
    """A filter: shift in mired (positive is warmer) and Duv (positive is greener), light lost in stops."""

    name: str
    mired: float
    duv: float
    stops: float


_FRACTIONS = ("full", "three quarter", "half", "quarter", "eighth")


def _set(kind: str, mireds: Sequence[float], duvs: Sequence[float], stops: Sequence[float]) -> list[Filter]:
    return [
        Filter(f"{part} {kind}", m, d, s)
        for part, m, d, s in zip(_FRACTIONS, mireds, duvs, stops, strict=True)
    ]


_NONE = (0.0,) * 5
COMMON_FILTERS: tuple[Filter, ...] = (
    *_set("CTO", (160, 125, 95, 55, 25), _NONE, (0.7, 0.6, 0.5, 0.3, 0.2)),
    *_set("CTB", (-135, -105, -70, -35, -15), _NONE, (1.5, 1.2, 0.9, 0.5, 0.3)),
    *_set("plus green", _NONE, (0.020, 0.015, 0.010, 0.005, 0.0025), (0.4, 0.3, 0.25, 0.2, 0.1)),
    *_set("minus green", _NONE, (-0.020, -0.015, -0.010, -0.005, -0.0025), (0.8, 0.6, 0.5, 0.3, 0.2)),
)
"""Common practice (see the head of this file)."""

MAX_SHEETS = 2
"""Of the temperature family, and as many of the green and magenta one. Common practice: two different
strengths together, or the full one doubled; nobody hangs three eighths. What such a pair does not do is left
over, and stated."""

LEFT_UV = 0.005
"""What is left over is worth a word on a line from here on, in CIE 1976 u', v': about five just visible steps
(CIE TN 001:2014 has 0.0011 to a step)."""

SHEET_COST_UV = 0.0006
"""One more sheet has to bring the light nearer by this much in CIE 1960 u, v, about half of what an eye sees
side by side; otherwise the search would end in a stack of eighths."""


@dataclass(frozen=True)
class Match:
    """What brings one light to another.

    Attributes
    ----------
    source, target : names.
    target_xy : where it must go.
    mired_shift, duv_shift : from source to target; None where CCT has no meaning for one of them.
    filters : names, to put on the source.
    lost_stops : light that the filters take, nominal.
    left_mired, left_duv : shift still missing after the filters.
    left_uv : distance left over in CIE 1976 u', v'.
    reason : why there are no numbers, or "".
    """

    source: str
    target: str
    source_xy: XY
    target_xy: XY
    mired_shift: float | None = None
    duv_shift: float | None = None
    filters: tuple[str, ...] = ()
    lost_stops: float = 0.0
    left_mired: float | None = None
    left_duv: float | None = None
    left_uv: float | None = None
    reason: str = ""

    @property
    def filter_words(self) -> str:
        """The filters in one text; ``no filter`` where the nearest combination is none."""
        if self.mired_shift is None:
            return self.reason
        return " + ".join(_counted(self.filters)) or "no filter"

    @property
    def left_words(self) -> str:
        """What the filters leave; empty where there are no numbers."""
        if self.left_mired is None or self.left_duv is None:
            return ""
        return f"{signed(self.left_mired, 0)} mired, Duv {signed(self.left_duv, 4)}"

    @property
    def short_words(self) -> str:
        """The filters, and what they leave where that is seen."""
        if self.left_uv is None or self.left_duv is None or self.left_uv < LEFT_UV:
            return self.filter_words
        left = self.left_words if abs(self.left_duv) >= 0.001 else self.left_words.split(",")[0]
        return f"{self.filter_words} (leaves {left})"


def _counted(names: Iterable[str]) -> list[str]:
    listed = list(names)
    return [f"{listed.count(n)} × {n}" if listed.count(n) > 1 else n for n in dict.fromkeys(listed)]


@lru_cache(maxsize=16)
def _combinations(
    filters: tuple[Filter, ...],
) -> tuple[tuple[tuple[Filter, ...], ...], tuple[tuple[Filter, ...], ...]]:
    """Combinations that shift mired one way, and that shift Duv one way, the empty one first."""
    out = []
    for axis in ("mired", "duv"):
        found: list[tuple[Filter, ...]] = [()]
        for sign in (1, -1):
            usable = [f for f in filters if sign * getattr(f, axis) > 0 and (axis == "mired" or f.mired == 0)]
            full = max(usable, key=lambda f: abs(getattr(f, axis)), default=None)
            for count in range(1, MAX_SHEETS + 1):
                found += combinations(usable, count)
            found += [(full,) * count for count in range(2, MAX_SHEETS + 1) if full is not None]
        out.append(tuple(found))
    return out[0], out[1]


def nearest_filters(
    mired_shift: float, duv_shift: float, uv_per_mired: float, filters: tuple[Filter, ...] = COMMON_FILTERS
) -> tuple[Filter, ...]:
    """The combination whose shifts come nearest to those wanted, a sheet more only if it is worth it.

    At most :data:`MAX_SHEETS` of each family, of different strengths or both full.

    Parameters
    ----------
    mired_shift, duv_shift : wanted.
    uv_per_mired : length of a mired in CIE 1960 u, v where the light must go.

    Examples
    --------
    >>> [f.name for f in nearest_filters(-70.0, -0.010, 4e-4)]
    ['half CTB', 'half minus green']
    """
    warm, green = _combinations(filters)
    warm_left = np.array([(mired_shift - sum(f.mired for f in c)) * uv_per_mired for c in warm])
    warm_duv = np.array([sum(f.duv for f in c) for c in warm])
    green_duv = np.array([sum(f.duv for f in c) for c in green])
    sheets = np.array([len(c) for c in warm])[:, None] + np.array([len(c) for c in green])[None, :]
    left = np.hypot(warm_left[:, None], duv_shift - warm_duv[:, None] - green_duv[None, :])
    score = np.round(left + SHEET_COST_UV * sheets, 9)
    i, j = np.unravel_index(int(np.argmin(score)), score.shape)
    return (*warm[int(i)], *green[int(j)])


def match(
    source: str,
    source_xy: XY,
    target: str,
    target_xy: XY,
    filters: tuple[Filter, ...] = COMMON_FILTERS,
) -> Match:
    """What brings the light ``source_xy`` to ``target_xy``.

    Examples
    --------
    5500 K to 3200 K is +131 mired (mired arithmetic):

    >>> from lookdev.colorimetry.temperature import xy_from_cct
    >>> to_tungsten = match("window", tuple(xy_from_cct(5500)), "balance", tuple(xy_from_cct(3200)))
    >>> round(to_tungsten.mired_shift), to_tungsten.filter_words
    (131, 'three quarter CTO')
    """
    for name, xy in ((source, source_xy), (target, target_xy)):
        if not is_cct_meaningful(xy):
            reason = f"{name} is too far off the locus for mired: match by x, y, or gel by eye and meter"
            return Match(source, target, source_xy, target_xy, reason=reason)
    here, there = mired_duv_from_xy(source_xy), mired_duv_from_xy(target_xy)
    shift, green = there[0] - here[0], there[1] - here[1]
    step = uv1960_from_xy(xy_from_mired(there[0] + 1)) - uv1960_from_xy(xy_from_mired(there[0]))
    chosen = nearest_filters(shift, green, float(np.hypot(*step)), filters)
    after = here[0] + sum(f.mired for f in chosen), here[1] + sum(f.duv for f in chosen)
    reached = uv1976_from_xy(xy_from_mired(*after))
    return Match(
        source,
        target,
        source_xy,
        target_xy,
        shift,
        green,
        tuple(f.name for f in chosen),
        sum(f.stops for f in chosen),
        there[0] - after[0],
        there[1] - after[1],
        float(np.hypot(*(uv1976_from_xy(target_xy) - reached))),
    )


@dataclass(frozen=True)
class Dial:
    """What to dial on a colour-mixing fixture to get a chromaticity.

    ``cct_k`` and ``duv`` are None where CCT has no meaning. ``reachable`` is None without a fixture; where it
    is False, ``nearest_xy`` is the nearest colour that the fixture makes, ``short_uv`` away in u', v' (1976).
    """

    name: str
    xy: XY
    cct_k: float | None
    duv: float | None
    reachable: bool | None = None
    nearest_xy: XY | None = None
    short_uv: float | None = None


def dial(name: str, xy: XY, primaries: Sequence[XY] | None = None) -> Dial:
    """The setting for ``xy``, and whether a fixture with these three ``primaries`` reaches it."""
    from lookdev.colorimetry.temperature import cct_duv_from_xy
    from lookdev.meter.fixture import nearest_reachable, reaches

    cct, duv = cct_duv_from_xy(xy) if is_cct_meaningful(xy) else (None, None)
    if primaries is None:
        return Dial(name, xy, cct, duv)
    if reaches(primaries, xy):
        return Dial(name, xy, cct, duv, True)
    near = nearest_reachable(primaries, xy)
    short = float(np.hypot(*(uv1976_from_xy(near) - uv1976_from_xy(xy))))
    return Dial(name, xy, cct, duv, False, near, short)
