"""Balance: take the metered source's cast out of the picture, all of it or a share, then shift to taste.

A camera balanced to the white W_c shows W_c as D65; a lamp of chromaticity W_m then stands in the picture
as C = Bradford(W_c to D65) of W_m. With the production's balance W_p it would stand at P, in the same way:
the whole cast, which has a distance from D65 in mired and in Duv (CIE 1960 UCS). ``keep`` is the share of
both distances that stays, whatever the stills camera did; P is C where no production's balance is known. The
correction is one linear adaptation from C to that point, so a grey card under the lamp lands on it exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from lookdev.colorimetry.adaptation import CONE_MATRICES, cone_response, xy_from_xyz
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.colorimetry.temperature import (
    cct_duv_from_xy,
    is_cct_meaningful,
    mired_duv_from_xy,
    uv1960_from_xy,
    xy_from_mired,
    xy_from_uv1960,
)
from lookdev.looks.cast import XY, Cast, pair
from lookdev.looks.stages.base import Metered, Stage
from lookdev.looks.stages.clipped import balancing
from lookdev.looks.steps import Step
from lookdev.text import numbers
from lookdev.text.numbers import signed

Array = NDArray[np.float64]

MAX_CONE_GAIN = 32.0
"""No cone response is raised or cut by more than this (5 stops): past it a file holds no signal to raise."""


class Balance(Stage):
    """``[balance]``: what stays of the metered cast, and the look's own shift.

    ``keep`` 0 to 1 (1: all of the cast that the production's balance leaves; not named: the balance stays as
    the stills camera left it); ``mired`` -150 to 300 (negative: cooler; D65 lies 154 mired from the blue end
    of the locus); ``duv`` -0.05 to 0.05 (positive: greener); ``method`` "Bradford", "CAT02" or "CAT16".
    """

    keep: Annotated[float, Field(ge=0, le=1)] = 1.0
    mired: Annotated[float, Field(ge=-150, le=300)] = 0.0
    duv: Annotated[float, Field(ge=-0.05, le=0.05)] = 0.0
    method: Literal["Bradford", "CAT02", "CAT16"] = "Bradford"

    def part_way(self, other: Self, share: float) -> Self:
        """By the method of the one that acts, or of the nearer."""
        found = super().part_way(other, share)
        if not (self.names_keep or other.names_keep):
            found = type(self).model_validate(found.model_dump(exclude={"keep"}))
        acts = other if self.is_identity else self
        one_acts = self.is_identity or other.is_identity
        return found.model_copy(update={"method": acts.method}) if one_acts else found

    @property
    def is_identity(self) -> bool:
        return not self.names_keep and not self.shifts

    @property
    def names_keep(self) -> bool:
        """Whether ``keep`` was given; a look without it leaves the balance as the camera left it."""
        return self.keep != 1.0 or "keep" in self.model_fields_set

    @property
    def shifts(self) -> bool:
        """Whether the look shifts white of its own, whatever was metered."""
        return self.mired != 0.0 or self.duv != 0.0

    def words(self) -> list[str]:
        out = []
        if self.keep < 1.0:
            out.append(f"keeps {100 * self.keep:.0f}% of the cast" if self.keep > 0 else "cast taken out")
        if self.mired:
            out.append(f"{signed(self.mired, 1)} mired ({'cooler' if self.mired < 0 else 'warmer'})")
        if self.duv:
            out.append(f"Duv {signed(self.duv, 4)} ({'greener' if self.duv > 0 else 'pinker'})")
        return out

    def step(self, metered: Metered) -> Step | None:
        """The adaptation that the cast and the look's own shift ask for; see ``clipped`` for what is full."""
        whole = resolve_balance(self, metered.cast)
        if np.array_equal(whole.matrix, np.eye(3)):
            return None
        plain = self.model_copy(update={"mired": 0.0, "duv": 0.0})
        kept = resolve_balance(plain, metered.cast).matrix
        neutral = resolve_balance(plain.model_copy(update={"keep": 0.0}), metered.cast).matrix
        return balancing(whole.matrix, kept, neutral, whole.keep, metered)


@dataclass(frozen=True)
class BalanceResult:
    """A resolved balance.

    ``matrix`` (3, 3) acts on linear BT.2020. ``picture_xy`` is the cast before, ``target_xy`` after ``keep``,
    ``final_xy`` after the look's own shift. ``keep`` is the share that really stays; it is above the one
    asked for where the source has too little of some part of the spectrum to be made neutral (``limited``).
    ``off_locus`` says that CCT has no meaning there and the share was taken straight in u, v.
    """

    matrix: Array
    picture_xy: XY | None
    target_xy: XY | None
    final_xy: XY
    keep: float
    limited: bool
    off_locus: bool

    def summary(self) -> dict[str, object]:
        """Numbers for summary.json."""
        out: dict[str, object] = {"keep": round(self.keep, 4), "limited": self.limited}
        if self.picture_xy is not None and self.target_xy is not None:
            before, after = mired_duv_from_xy(self.picture_xy), mired_duv_from_xy(self.target_xy)
            out |= {
                "cast_xy": [round(v, 5) for v in self.picture_xy],
                "left_xy": [round(v, 5) for v in self.target_xy],
                "taken_out_mired": round(before[0] - after[0], 2),
                "taken_out_duv": round(before[1] - after[1], 5),
                "off_locus": self.off_locus,
            }
        return out

    def words(self) -> str:
        """What was taken out, on one line."""
        if self.picture_xy is None or self.target_xy is None:
            return "no reading: balance untouched"
        before, after = mired_duv_from_xy(self.picture_xy), mired_duv_from_xy(self.target_xy)
        took = f"{signed(before[0] - after[0], 0)} mired, {numbers.duv(before[1] - after[1])} taken out"
        if self.off_locus:
            d = uv1960_from_xy(self.picture_xy) - uv1960_from_xy(self.target_xy)
            took = f"u, v {signed(float(d[0]), 3)}, {signed(float(d[1]), 3)} taken out (off the locus)"
        if self.limited:
            took += f"; {100 * self.keep:.0f}% had to stay: the source lacks the light to be made neutral"
        return took


def resolve_balance(parameters: Balance, cast: Cast | None) -> BalanceResult:
    """The matrix of a look's balance for what was metered (None: nothing was)."""
    asked = (parameters.keep, parameters.names_keep, parameters.mired, parameters.duv, parameters.method)
    return _resolved(*asked, cast)


@lru_cache(256)
def _resolved(
    asked: float, names_keep: bool, mired: float, duv: float, method: str, cast: Cast | None
) -> BalanceResult:
    picture = target = None
    keep, limited, off_locus = 1.0, False, False
    cone = CONE_MATRICES[method]
    gains = np.ones(3)
    if cast is not None:
        picture = cast.picture_xy
        off_locus = not is_cct_meaningful(picture)
        keep = asked
        whole = cast.whole_xy if names_keep else picture
        gains_at = _gain_function(picture, whole, method)
        if not _possible(gains_at(keep)):
            limited = True
            keep = _least_possible_keep(keep, gains_at)
        target = kept_white(whole, keep)
        gains = gains_at(keep)
    final = target if target is not None else pair(D65_XY)
    if mired or duv:
        neutral_mired, neutral_duv = mired_duv_from_xy(D65_XY)
        shifted = pair(xy_from_mired(neutral_mired + mired, neutral_duv + duv))
        shift = cone_response(shifted, method) / cone_response(D65_XY, method)
        gains = gains * shift
        final = pair(xy_from_xyz(cone_response(final, method) * shift @ np.linalg.inv(cone).T))
    on_xyz = np.linalg.inv(cone) @ np.diag(gains) @ cone
    matrix = np.asarray(WORKING.from_xyz @ on_xyz @ WORKING.to_xyz)
    if np.all(gains == 1.0):
        matrix = np.eye(3)
    matrix.flags.writeable = False  # it is kept
    return BalanceResult(matrix, picture, target, final, keep, limited, off_locus)


def kept_white(whole_xy: XY, keep: float) -> XY:
    """Where a grey card goes when ``keep`` of a cast stays: along mired and Duv, or straight in u, v."""
    if keep == 1.0:
        return whole_xy
    if is_cct_meaningful(whole_xy):
        neutral, cast = np.array(mired_duv_from_xy(D65_XY)), np.array(mired_duv_from_xy(whole_xy))
        m, duv = neutral + keep * (cast - neutral)
        return pair(xy_from_mired(float(m), float(duv))) if keep > 0 else pair(D65_XY)
    neutral_uv, cast_uv = uv1960_from_xy(D65_XY), uv1960_from_xy(whole_xy)
    return pair(xy_from_uv1960(neutral_uv + keep * (cast_uv - neutral_uv)))


def part_cast(balance: Balance, cast: Cast | None, strength: float) -> Cast | None:
    """The cast for a balance at part strength: it goes from the white of the still, as the stills camera left
    it, to the white that the whole look leaves; :func:`kept_white` of what comes back is that far.

    At strength 1 and beyond, and where no other balance is planned, that is the cast itself.
    """
    if cast is None or cast.whole is None or not balance.names_keep or not 0.0 < strength < 1.0:
        return cast
    start, end = cast.picture_xy, kept_white(cast.whole_xy, balance.keep)
    left = 1.0 + strength * (balance.keep - 1.0)
    if is_cct_meaningful(start) and is_cct_meaningful(end):
        neutral = np.array(mired_duv_from_xy(D65_XY))
        one, two = (np.array(mired_duv_from_xy(white)) for white in (start, end))
        mired, duv = neutral + (one + strength * (two - one) - neutral) / left
        white = pair(xy_from_mired(float(mired), float(duv)))
    else:
        neutral, one, two = (uv1960_from_xy(white) for white in (D65_XY, start, end))
        white = pair(xy_from_uv1960(neutral + (one + strength * (two - one) - neutral) / left))
    return replace(cast, whole=(white, pair(D65_XY)))


def describe_white(xy: XY) -> str:
    """CCT and Duv, or x, y where CCT has no meaning."""
    if is_cct_meaningful(xy):
        cct, duv = cct_duv_from_xy(xy)
        return numbers.cct_duv(cct, duv)
    return numbers.x_y(*xy)


def _gain_function(picture_xy: XY, whole_xy: XY, method: str) -> Callable[[float], Array]:
    source = cone_response(picture_xy, method)

    def gains(keep: float) -> Array:
        if keep == 1.0 and whole_xy == picture_xy:
            return np.ones(3)
        return cone_response(kept_white(whole_xy, keep), method) / source

    return gains


def _possible(gains: Array) -> bool:
    return bool(np.all(gains > 1 / MAX_CONE_GAIN) and np.all(gains < MAX_CONE_GAIN))


def _least_possible_keep(asked: float, gains: Callable[[float], Array]) -> float:
    low, high = asked, 1.0
    for _ in range(40):
        middle = (low + high) / 2
        if _possible(gains(middle)):
            high = middle
        else:
            low = middle
    return high
