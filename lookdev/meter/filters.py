"""Generic correction filters: what brings one light to another, by mired and Duv.

The shifts are common practice, not a standard: round numbers in the middle of what filter makers print for
filters of these names. Makers differ by up to 20 mired in the strong oranges; a swatch on the lamp, metered,
beats any table.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.temperature import (
    is_cct_meaningful,
    mired_duv_from_xy,
    uv1960_from_xy,
    uv1976_from_xy,
    xy_from_mired,
    xy_from_uv1976,
)
from lookdev.meter.gels import Filter, families_of
from lookdev.text import numbers

if TYPE_CHECKING:
    from lookdev.meter.light import LightSpectrum

Array = NDArray[np.float64]
XY = tuple[float, float]


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

LEFT_UV = 0.005
"""What is left over is worth a word on a line from here on, in CIE 1976 u', v': about five just visible steps
(CIE TN 001:2014 has 0.0011 to a step)."""

SHEET_COST_UV = 0.0006
"""One more sheet has to bring the light nearer by this much in CIE 1960 u, v, about half of what an eye sees
side by side; otherwise the search would end in a stack of eighths."""


LINES_LEFT_UV = 0.015
"""A lamp with lines that no filters bring nearer than this in u', v' cannot be moved there (our rule: some 14
just visible steps, another colour at a glance)."""

MOST_LOST_STOPS = 4.0
"""Nor is one moved by filters that take more than this: a sixteenth of the light is left (our rule)."""

OFF_UV = 0.03
"""A spectrum this far in u', v' from what the meter read is of another lamp, and no filter is worked out by
it."""


@dataclass(frozen=True)
class Match:
    """What brings one light to another.

    Attributes
    ----------
    source, target : names.
    target_xy : where it must go.
    mired_shift, duv_shift : from source to target; None where CCT has no meaning for one of them.
    filters : names, to put on the source.
    lost_stops : light that the filters take, nominal; through the spectrum for a lamp with lines.
    left_mired, left_duv : shift still missing after the filters; None where they have no meaning.
    left_uv : distance left over in CIE 1976 u', v'.
    reason : why no filters are named, or "".
    spectrum_of : the spectrum that the filters were reckoned through, or "".
    is_unmovable : a lamp with lines that no gel brings there: gel the other lamps.
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
    spectrum_of: str = ""
    is_unmovable: bool = False

    @property
    def filter_words(self) -> str:
        """The filters in one text; ``no filter`` where the nearest combination is none."""
        if self.reason:
            return self.reason
        return " + ".join(_counted(self.filters)) or "no filter"

    @property
    def left_words(self) -> str:
        """What the filters leave; empty where there are no numbers."""
        if self.left_mired is None or self.left_duv is None:
            return "" if self.left_uv is None or self.reason else f"{self.left_uv:.3f} in u′v′"
        return f"{mired_words(self.left_mired)} mired, Duv {numbers.fixed(self.left_duv, 3)}"

    @property
    def short_words(self) -> str:
        """The filters, and what they leave where that is seen."""
        if self.is_unmovable:
            return "no gel moves it there: gel our lamps"
        if self.left_uv is None or self.left_uv < LEFT_UV or not self.left_words:
            return self.filter_words
        left = self.left_words
        if self.left_duv is not None and abs(self.left_duv) < 0.001:
            left = left.split(",")[0]
        return f"{self.filter_words} (leaves {left})"


def mired_words(value: float) -> str:
    """A shift with its sign to 5 mired, which is finer than filters of one name agree.

    >>> mired_words(131.4), mired_words(-2.0), mired_words(-143)
    ('+130', '0', '−145')
    """
    return numbers.fixed(5.0 * round(value / 5.0), 0)


def _counted(names: Iterable[str]) -> list[str]:
    listed = list(names)
    return [f"{listed.count(n)} × {n}" if listed.count(n) > 1 else n for n in dict.fromkeys(listed)]


@lru_cache(maxsize=16)
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
    warm, green = families_of(filters)
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
    light: LightSpectrum | None = None,
) -> Match:
    """What brings the light ``source_xy`` to ``target_xy``; through its spectrum if that is given.

    Examples
    --------
    5500 K to 3200 K is +131 mired (mired arithmetic):

    >>> from lookdev.colorimetry.temperature import xy_from_cct
    >>> to_tungsten = match("window", tuple(xy_from_cct(5500)), "balance", tuple(xy_from_cct(3200)))
    >>> round(to_tungsten.mired_shift), to_tungsten.filter_words
    (131, 'three quarter CTO')
    """
    known = [is_cct_meaningful(xy) for xy in (source_xy, target_xy)]
    here = mired_duv_from_xy(source_xy) if all(known) else None
    there = mired_duv_from_xy(target_xy) if all(known) else None
    shift = green = None
    if here is not None and there is not None:
        shift, green = there[0] - here[0], there[1] - here[1]
    start = Match(source, target, source_xy, target_xy, shift, green)
    if light is not None and _tells_of(light, source_xy):
        return _through_spectrum(start, light, filters)
    if here is None or there is None or shift is None or green is None:
        name = source if not known[0] else target
        reason = f"{name} is too far off the locus for mired: match by x, y, or gel by eye and meter"
        return replace(start, mired_shift=None, duv_shift=None, reason=reason)
    step = uv1960_from_xy(xy_from_mired(there[0] + 1)) - uv1960_from_xy(xy_from_mired(there[0]))
    chosen = nearest_filters(shift, green, float(np.hypot(*step)), filters)
    after = here[0] + sum(f.mired for f in chosen), here[1] + sum(f.duv for f in chosen)
    reached = uv1976_from_xy(xy_from_mired(*after))
    return replace(
        start,
        filters=tuple(f.name for f in chosen),
        lost_stops=sum(f.stops for f in chosen),
        left_mired=there[0] - after[0],
        left_duv=there[1] - after[1],
        left_uv=float(np.hypot(*(uv1976_from_xy(target_xy) - reached))),
    )


def _tells_of(light: LightSpectrum, xy: XY) -> bool:
    """Whether a spectrum may be reckoned through for a lamp of which the meter read ``xy``.

    Of a smooth lamp of another colour temperature the labels tell more. A stand-in was chosen for what the
    lamp is called, whatever the meter made of its colour.
    """
    from lookdev.meter.gel_spectra import ROUGH, roughness

    if light.kind == "stand-in":
        return True
    off = _uv_between(light.spectrum.xy, xy)
    return off <= (OFF_UV if roughness(light.spectrum) >= ROUGH else LEFT_UV)


def _uv_between(one: XY, other: XY) -> float:
    return float(np.hypot(*(uv1976_from_xy(one) - uv1976_from_xy(other))))


@lru_cache(maxsize=16)
def stacks_of(filters: tuple[Filter, ...]) -> tuple[tuple[Filter, ...], ...]:
    """Every stack that is hung, as :data:`MAX_SHEETS` says: one of each family of :func:`families_of`."""
    warm, green = families_of(filters)
    return tuple((*w, *g) for w in warm for g in green)


@lru_cache(maxsize=16)
def _sheets(filters: tuple[Filter, ...]) -> Array:
    return np.array([float(len(stack)) for stack in stacks_of(filters)])


def _through_spectrum(start: Match, light: LightSpectrum, filters: tuple[Filter, ...]) -> Match:
    """The stack under which the lamp's own spectrum lands nearest; the reason where none lands near.

    What the meter read rules: the filters' movement of the spectrum is added to it in u', v'.
    """
    from lookdev.meter.gel_spectra import ROUGH, roughness, through

    stacks = stacks_of(filters)
    found = through(light.spectrum, filters)
    moved = uv1976_from_xy(found.xy) - uv1976_from_xy(light.spectrum.xy)
    reached = uv1976_from_xy(start.source_xy) + moved
    off = reached - uv1976_from_xy(start.target_xy)
    # CIE 1960 v is two thirds of CIE 1976 v'
    score = np.round(np.hypot(off[:, 0], off[:, 1] * 2 / 3) + SHEET_COST_UV * _sheets(filters), 9)
    best = int(np.argmin(score))
    chosen = stacks[best]
    left = float(np.hypot(*off[best]))
    lined = roughness(light.spectrum) >= ROUGH
    lost = sum(f.stops for f in chosen)
    if lined:
        lost = max(lost, float(found.lost_stops[best]))
    after = _mired_duv_at(reached[best])
    start = replace(start, spectrum_of=light.origin)
    if lined and (left > LINES_LEFT_UV or lost > MOST_LOST_STOPS):
        return replace(start, reason=_unmovable(start, chosen, left, lost, after), is_unmovable=True)
    there = mired_duv_from_xy(start.target_xy) if is_cct_meaningful(start.target_xy) else None
    known = after is not None and there is not None
    return replace(
        start,
        filters=tuple(f.name for f in chosen),
        lost_stops=lost,
        left_mired=there[0] - after[0] if known and after and there else None,
        left_duv=there[1] - after[1] if known and after and there else None,
        left_uv=left,
    )


def _mired_duv_at(uv: Array) -> tuple[float, float] | None:
    xy = tuple(float(v) for v in xy_from_uv1976(uv))
    if not is_cct_meaningful(xy):
        return None
    return mired_duv_from_xy(xy)


def _unmovable(
    start: Match, chosen: Sequence[Filter], left: float, lost: float, after: tuple[float, float] | None
) -> str:
    name = start.source
    if not chosen:
        return f"{name} is of one wavelength, or nearly: no gel moves it; gel our lamps to it instead"
    text = f"no gel brings {name} there: the nearest, {' + '.join(_counted(f.name for f in chosen))}, "
    if after is not None and start.mired_shift is not None:
        moved = after[0] - mired_duv_from_xy(start.source_xy)[0]
        wanted = f" of the {mired_words(start.mired_shift)}"
        text += f"moves it {mired_words(moved)}{wanted} mired, "
    return text + f"ends {left:.3f} off in u′v′ and takes {lost:.1f} stops; gel our lamps to it instead"
