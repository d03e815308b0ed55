"""The look that comes nearest to what was done to some frames by hand.

Robust least squares over the frames' own colours: Gauss-Newton steps, damped (Levenberg 1944, Marquardt
1963), reweighted for a soft-L1 loss, on CIELAB differences weighted to CIEDE2000
(``colours.near_ciede2000``), the Jacobian by finite differences. Each key is held to its default by a weak
spring, so that what the frames do not show stays as it was. Keys come in by level, what a person would turn
first before what stands in for the rest; at the end a key that buys less than :data:`LEAST_GAIN` goes back
to its default, the others taking over what they can.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.looks.learn.colours import Colours, gamut_limit, joined, lab_of_light, lights_graded, thinned
from lookdev.looks.learn.keys import Key, all_keys, defaults, look_of, rounded
from lookdev.looks.model import Look

Array = NDArray[np.float64]

LEAST_GAIN = 0.05
"""Mean CIEDE2000 that a key must buy to be in the file; what all that are left out would buy is no more."""

JUST_NOTICEABLE = 1.0
"""CIEDE2000 of the least step that can be seen, common practice."""

APART = 0.25
"""CIEDE2000, root mean square, that no other keys can make of a just noticeable step of a key: with less
the frames do not tell it apart. A quarter of what can be seen: a pair saved twice differs by as much."""

CDL_ENCODINGS = ("ACEScct", "sRGB")
"""Where a CDL may act: graders of pictures turn code values, graders of footage turn log."""

SOFT = 1.5  # CIEDE2000 from which a colour's pull grows no longer with its distance
SPRING = 0.02  # square CIEDE2000 that a key must save to go one unit
_SHARE = 1e-3  # of a key's unit: its finite difference
_MARGIN = 0.5  # share of LEAST_GAIN at which a key is tried without: the estimate is a straight line's


@dataclass(frozen=True, eq=False)
class Fitted:
    """A look that was learned.

    Attributes
    ----------
    look, tables, vector : the look, as the tables of its file, and as numbers.
    cdl_encoding : where its CDL acts.
    steps : for each key that was used, the change of it that can just be seen, and whether the frames tell
        it apart from the others.
    """

    look: Look
    tables: dict[str, Any]
    vector: Array
    cdl_encoding: str
    steps: tuple[tuple[Key, float, bool], ...] = ()

    @property
    def active(self) -> list[int]:
        """Places of the keys that are not at their defaults."""
        return [int(k) for k in np.flatnonzero(self.vector != defaults())]


class Problem:
    """Residuals of a vector over several frames, and their Jacobian."""

    def __init__(self, several: Sequence[Colours], cdl_encoding: str) -> None:
        self.several, self.cdl_encoding = joined(several), cdl_encoding
        self.weight = np.concatenate([each.weight for each in self.several])
        self.weight = self.weight / self.weight.sum()
        self.limits: list[float] = [1.0] * len(self.several)
        self.units = np.array([key.unit for key in all_keys()])

    def look(self, vector: Array) -> Look:
        return look_of(vector, "learned", self.cdl_encoding)

    def measure_limits(self, vector: Array) -> None:
        """Take the gamut limits of this vector for all that follows."""
        look = self.look(vector)
        self.limits = [gamut_limit(look, each) for each in self.several]

    def residuals(self, vector: Array) -> Array:
        """(n, 3): as long as about CIEDE2000."""
        return np.asarray(self._several([vector])[..., 0])

    def _several(self, vectors: Sequence[Array]) -> Array:
        """(n, 3, vectors), the first the one from which the others differ in little."""
        looks = [self.look(vector) for vector in vectors]
        parts = []
        for each, limit in zip(self.several, self.limits, strict=True):
            off = lab_of_light(lights_graded(looks, each, limit), each.target) - each.wanted
            parts.append(each.metric @ np.moveaxis(off, 0, -1))
        return np.concatenate(parts)

    def jacobian(self, vector: Array, here: Array, active: Sequence[int]) -> Array:
        """(n, 3, active), by one unit of each key."""
        keys = all_keys()
        steps = [_SHARE * self.units[k] for k in active]
        steps = [-s if vector[k] + s > keys[k].high else s for k, s in zip(active, steps, strict=True)]
        moved = [vector.copy() for _ in active]
        for each, k, step in zip(moved, active, steps, strict=True):
            each[k] += step
        there = self._several([vector, *moved])[..., 1:]
        return np.asarray((there - here[..., None]) * (self.units[list(active)] / np.array(steps)))

    def mean(self, residuals: Array) -> float:
        """Weighted mean of about CIEDE2000."""
        return float(np.linalg.norm(residuals, axis=1) @ self.weight)

    def cost(self, residuals: Array, vector: Array) -> float:
        """Soft L1 of the residuals, and the springs."""
        square = (residuals * residuals).sum(axis=1) / SOFT**2
        soft = 2 * SOFT**2 * (np.sqrt(1 + square) - 1)
        return float(soft @ self.weight + SPRING * (self.drawn(vector) ** 2).sum())

    def drawn(self, vector: Array) -> Array:
        """How far each key is from its default, in its units."""
        return np.asarray((vector - defaults()) / self.units)

    def normal(self, residuals: Array, jacobian: Array) -> tuple[Array, Array]:
        """J'WJ and J'Wr, reweighted for the soft loss."""
        soft = self.weight / np.sqrt(1 + (residuals * residuals).sum(axis=1) / SOFT**2)
        root = np.sqrt(soft)[:, None]
        weighted = (jacobian * root[..., None]).reshape(-1, jacobian.shape[2])
        return weighted.T @ weighted, weighted.T @ (residuals * root).ravel()


def solve(problem: Problem, start: Array, active: Sequence[int], most: int, enough: float = 2e-3) -> Array:
    """``start`` with its ``active`` keys where they fit best, after at most so many Jacobians."""
    keys = all_keys()
    places = np.array(active, dtype=np.intp)
    low = np.array([keys[k].low for k in active])
    high = np.array([keys[k].high for k in active])
    units = problem.units[places]
    vector, damping = start.copy(), 1e-2
    here = problem.residuals(vector)
    cost = problem.cost(here, vector)
    for _ in range(most):
        square, slope = problem.normal(here, problem.jacobian(vector, here, active))
        slope = slope + SPRING * problem.drawn(vector)[places]
        square = square + SPRING * np.eye(len(active))
        at = vector[places]
        gained = 0.0
        for _ in range(6):
            free = np.ones(len(active), dtype=np.bool_)
            step = np.zeros(len(active))
            for _ in range(3):  # keys at their bounds, pushed outwards, are left there
                damped = square[np.ix_(free, free)]
                damped = damped + damping * np.diag(np.diag(damped))
                step[:] = 0.0
                step[free] = -np.linalg.solve(damped, slope[free])
                out = ((at >= high) & (step > 0)) | ((at <= low) & (step < 0))
                if not (out & free).any():
                    break
                free &= ~out
            trial = vector.copy()
            trial[places] = np.clip(at + step * units, low, high)
            there = problem.residuals(trial)
            new = problem.cost(there, trial)
            if new < cost:
                gained, vector, here, cost, damping = cost - new, trial, there, new, damping / 5
                break
            damping *= 6
        if gained < enough * cost + 1e-6:
            break
    return vector


def fit(several: Sequence[Colours]) -> Fitted:
    """The look nearest to what became of the colours of ``several`` frames, its keys few."""
    keys = all_keys()
    levels = [[k for k, key in enumerate(keys) if key.level <= level] for level in range(3)]
    last = [k for k, key in enumerate(keys) if key.level == 2]
    some = [thinned(each, 3) for each in joined(several)]
    problem = Problem(some, CDL_ENCODINGS[0])
    vector = defaults()
    for active, most in ((levels[0], 8), (levels[1], 4)):
        vector = solve(problem, vector, active, most)
        problem.measure_limits(vector)
    trials: list[tuple[float, int, str, Array]] = []

    def tried(encoding: str, start: Array, handicap: float) -> None:
        trial = Problem(some, encoding)
        trial.measure_limits(start)
        found = solve(trial, start, levels[2], 4)
        trials.append((trial.mean(trial.residuals(found)) + handicap, len(trials), encoding, found))

    for encoding in CDL_ENCODINGS:
        tried(encoding, vector, 0.0)
    encoding = min(trials)[2]
    # a start from the CDL alone finds what lies far off; what a person would turn first is to be preferred
    tried(encoding, solve(Problem(some, encoding), defaults(), last, 5), LEAST_GAIN)
    _, _, encoding, vector = min(trials)
    problem = Problem(several, encoding)
    problem.measure_limits(vector)
    vector = solve(problem, vector, levels[2], 10, 5e-4)
    problem.measure_limits(vector)
    return _finished(problem, fewer(problem, vector))


def _finished(problem: Problem, vector: Array, steps: bool = True) -> Fitted:
    tables, vector = rounded(vector, problem.cdl_encoding)
    look = Look.model_validate({"title": "learned"} | tables)
    return Fitted(look, tables, vector, problem.cdl_encoding, told_apart(problem, vector) if steps else ())


def refit(several: Sequence[Colours], fitted: Fitted) -> Fitted:
    """The same keys, fitted anew to other frames."""
    problem = Problem(several, fitted.cdl_encoding)
    problem.measure_limits(fitted.vector)
    vector = solve(problem, fitted.vector, fitted.active, 6)
    return _finished(problem, vector, steps=False)


def fewer(problem: Problem, vector: Array) -> Array:
    """``vector`` without the keys that buy less than :data:`LEAST_GAIN`, each and all together; the others
    are fitted again."""
    keys, rest = all_keys(), defaults()
    most = problem.mean(problem.residuals(vector)) + LEAST_GAIN
    for _ in range(4):
        active = [int(k) for k in np.flatnonzero(vector != rest)]
        here = problem.residuals(vector)
        jacobian = problem.jacobian(vector, here, active)
        square, _ = problem.normal(here, jacobian)
        square += SPRING * np.eye(len(active))
        left, moved = list(range(len(active))), np.zeros(len(active))
        away = problem.drawn(vector)[active]
        dropped = 0
        while left:
            mean = problem.mean(here + jacobian[..., left] @ moved[left] if moved.any() else here)
            inverse = np.linalg.inv(square[np.ix_(left, left)])
            best: tuple[float, list[int], Array] | None = None
            for name in dict.fromkeys(keys[active[c]].name for c in left):
                own = [at for at, c in enumerate(left) if keys[active[c]].name == name]
                back = away[[left[at] for at in own]] + moved[[left[at] for at in own]]
                shift = np.asarray(
                    -inverse[:, own] @ np.linalg.solve(inverse[np.ix_(own, own)], back), dtype=np.float64
                )
                after = here + jacobian @ _placed(moved, left, shift)
                comes_to = problem.mean(after)
                gain = comes_to - mean if comes_to <= most else np.inf
                if best is None or gain < best[0]:
                    best = (gain, own, shift)
            if best is None or best[0] > _MARGIN * LEAST_GAIN:
                break
            _, own, shift = best
            moved = _placed(moved, left, shift)
            here_out = [left[at] for at in own]
            here = here + jacobian[..., here_out] @ moved[here_out]
            moved[here_out] = 0.0
            away[here_out] = 0.0
            left = [c for c in left if c not in here_out]
            dropped += len(here_out)
        if not dropped:
            break
        kept = [active[c] for c in left]
        shorter = rest.copy()
        shorter[kept] = np.clip(
            vector[kept] + moved[left] * problem.units[kept],
            [keys[k].low for k in kept],
            [keys[k].high for k in kept],
        )
        vector = solve(problem, shorter, kept, 4) if kept else rest.copy()
        problem.measure_limits(vector)
        if not kept:
            break
    return vector


def _placed(moved: Array, left: Sequence[int], shift: Array) -> Array:
    out = moved.copy()
    out[list(left)] += shift
    return out


def told_apart(
    problem: Problem, vector: Array, more: Sequence[int] = ()
) -> tuple[tuple[Key, float, bool], ...]:
    """Each key in use: its change that can just be seen, and whether no others can stand in for that.

    ``more`` : places of keys to count as in use.
    """
    keys = all_keys()
    active = sorted({*(int(k) for k in np.flatnonzero(vector != defaults())), *more})
    if not active:
        return ()
    here = problem.residuals(vector)
    jacobian = problem.jacobian(vector, here, active)
    weight = np.repeat(np.sqrt(problem.weight), 3)[:, None]
    flat = jacobian.reshape(-1, len(active)) * weight
    found = []
    for column, k in enumerate(active):
        alone = float(np.linalg.norm(jacobian[..., column], axis=1) @ problem.weight)
        others = np.delete(flat, column, axis=1)
        rest = flat[:, column]
        if others.size:
            rest = rest - others @ np.linalg.lstsq(others, rest, rcond=1e-9)[0]
        step = JUST_NOTICEABLE / max(alone, 1e-9)
        found.append((keys[k], step * float(problem.units[k]), bool(np.linalg.norm(rest) * step > APART)))
    return tuple(found)
