"""A filter that is hung on a lamp, and the two families that filters fall into."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

MAX_SHEETS = 2
"""Of the temperature family, and as many of the green and magenta one. Common practice: two different
strengths together, or the full one doubled; nobody hangs three eighths. What such a pair does not do is left
over, and stated."""


@dataclass(frozen=True)
class Filter:
    """A filter: shift in mired (positive is warmer) and Duv (positive is greener), light lost in stops.

    ``transmittance`` : file of nm, value; without one the filter stands as the ideal one of its shifts.
    """

    name: str
    mired: float
    duv: float
    stops: float
    transmittance: Path | None = None


def families_of(
    filters: tuple[Filter, ...],
) -> tuple[tuple[tuple[Filter, ...], ...], tuple[tuple[Filter, ...], ...]]:
    """Combinations that shift mired one way, and that shift Duv one way, the empty one first in both."""
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
