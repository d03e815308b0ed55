"""The surface that reads nearest to a target in several places at once, and when none can.

Search: reflectances straight between knots 20 nm apart, 0 to 1, bent no more than measured surfaces are;
the largest difference over all viewings is made small by a row of linear programs (sequential linear
programming: the screen is taken as straight near the last answer, within a step that shrinks when that
fails). It begins at the best of several kinds of surface and at the linear program's own answer to "which
reflectance gives this light here and that light there".

Proof: what a lamp gets back from surfaces, all of them, is the object-colour solid, whose edge are
reflectances of 0 and 1 with at most two steps (Schrödinger 1920, MacAdam 1935). It is sampled to find where
to look; the light there that reads as the target is found on a close grid and bounded by planes a cell of
the grid further out. Reflectances of 0 to 1, smooth or not, that keep within those planes in every place at
once are a linear program: if it has no solution no surface can, and only then is it said.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.paint.spectra import GRID_NM

if TYPE_CHECKING:
    from lookdev.paint.predict import Viewing

Array = NDArray[np.float64]

KNOTS_NM = np.arange(360.0, 781.0, 20.0)
MOST_BENT = 0.35
"""Largest second difference between knots: 99 in 100 surfaces of ``paint.measured`` stay below it."""

SAMPLES = 24
"""Points along each side of the grid on which light is looked at that may read as the target."""

FAR_OFF = 12.0
"""CIEDE2000 beyond what counts, at which coarse samples of the solid are still looked at closely."""

HARDEST = 6


@lru_cache(maxsize=1)
def _hats() -> Array:
    """(22, 85): knots to the grid."""
    return np.stack([np.interp(GRID_NM, KNOTS_NM, row) for row in np.eye(len(KNOTS_NM))])


@lru_cache(maxsize=1)
def _directions() -> Array:
    """26 directions in space: the norm of a step is the largest of its shares along them, within 8%."""
    steps = np.array([[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1)], dtype=float)
    steps = steps[np.any(steps != 0, axis=1)]
    return np.asarray(steps / np.linalg.norm(steps, axis=1, keepdims=True))


@lru_cache(maxsize=4)
def optimal_reflectances(step: int = 2) -> Array:
    """Reflectances (m, 85) of 0 and 1 with at most two steps, every ``step`` bands: passing or stopping."""
    n = len(GRID_NM)
    bands = np.arange(n)
    out = [
        ((bands >= start) & (bands < stop)).astype(np.float64)
        for start in range(0, n, step)
        for stop in range(start + step, n + step, step)
    ]
    passing = np.unique(np.array(out), axis=0)
    return np.concatenate([passing, 1.0 - passing])


def worst_of(target_lab: Array, viewings: Sequence[Viewing], reflectances: Array) -> Array:
    """Largest CIEDE2000 (n,) over the viewings of reflectances (n, 85) on screen against the target."""
    off = [ciede2000(v.screen(reflectances)[1], target_lab) for v in viewings]
    return np.asarray(np.max(off, axis=0))


def nearest_surface(
    target_lab: Array, viewings: Sequence[Viewing], seeds: Array, enough: float = 0.05
) -> tuple[Array, float]:
    """The reflectance (85,) found nearest to the target, and its largest CIEDE2000 over the viewings.

    Parameters
    ----------
    target_lab : CIELAB (3,) for D65 on screen.
    viewings : where it must hold at once.
    seeds : reflectances (n, 85) to begin at, best first.
    enough : stop at this difference.
    """
    hard = _hardest(target_lab, viewings, seeds[:1])
    starts = [seeds]
    aimed = _aimed(target_lab, hard)
    if aimed is not None:
        starts.insert(0, aimed[None])
    begin = np.concatenate(starts)
    left = worst_of(target_lab, viewings, begin)
    best, worst = begin[int(np.argmin(left))], float(left.min())
    for seed in begin:
        if worst <= enough:
            break
        for _ in range(2):
            found = _descend(target_lab, hard, seed)
            off = float(worst_of(target_lab, viewings, found[None])[0])
            if off < worst:
                best, worst = found, off
            harder = _hardest(target_lab, viewings, found[None])
            if all(v in hard for v in harder):
                break
            hard, seed = harder, found
    return best, worst


def _hardest(target_lab: Array, viewings: Sequence[Viewing], start: Array) -> list[Viewing]:
    """The viewings where a guess (1, 85) does worst: what is good there is good enough in the others."""
    off = [float(ciede2000(v.screen(start)[1], target_lab)[0]) for v in viewings]
    return [viewings[int(k)] for k in sorted(np.argsort([-o for o in off], kind="stable")[:HARDEST])]


@lru_cache(maxsize=1)
def _bending() -> Array:
    return np.diff(np.eye(len(KNOTS_NM)), n=2, axis=0)


def _smoothed(knots: Array) -> Array:
    """Knots (22,) drawn towards their neighbours until they bend no more than measured surfaces."""
    for _ in range(40):
        if np.abs(_bending() @ knots).max() <= MOST_BENT:
            break
        held = np.concatenate([knots[:1], knots, knots[-1:]])
        knots = (held[:-2] + 2 * knots + held[2:]) / 4
    return knots


def _metric(target_lab: Array) -> Array:
    """(3, 3): the length of ``metric @ (lab - target)`` is CIEDE2000 near the target."""
    h = 0.05
    corners = np.concatenate([np.eye(3), [[1, 1, 0], [1, 0, 1], [0, 1, 1]]]) * h
    squares = (ciede2000(target_lab + corners, target_lab) / h) ** 2
    form = np.diag(squares[:3])
    for k, (i, j) in enumerate(((0, 1), (0, 2), (1, 2))):
        form[i, j] = form[j, i] = (squares[3 + k] - squares[i] - squares[j]) / 2
    values, vectors = np.linalg.eigh(form)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 1e-3)) @ vectors.T)


def _descend(target_lab: Array, viewings: Sequence[Viewing], seed: Array, rounds: int = 16) -> Array:
    """A row of linear programs downhill from ``seed`` (85,)."""
    from scipy.optimize import linprog

    hats, directions, metric = _hats(), _directions(), _metric(target_lab)
    bend = _bending()
    knots = _smoothed(np.clip(np.interp(KNOTS_NM, GRID_NM, seed), 0.0, 1.0))
    count = len(knots)
    reach = 0.15
    here = float(worst_of(target_lab, viewings, (knots @ hats)[None])[0])
    for _ in range(rounds):
        rows, right = [], []
        probes = (knots + 1e-3 * np.concatenate([np.zeros((1, count)), np.eye(count)])) @ hats
        for viewing in viewings:
            lab = viewing.screen(probes)[1]
            slopes = (lab[1:] - lab[0]) / 1e-3
            rows.append(directions @ metric @ slopes.T)
            right.append(-(directions @ metric @ (lab[0] - target_lab)))
        matrix = np.concatenate(
            [np.concatenate([r, np.full((len(directions), 1), -1.0)], axis=1) for r in rows]
            + [np.concatenate([s * bend, np.zeros((len(bend), 1))], axis=1) for s in (1.0, -1.0)]
        )
        bound = np.concatenate([*right, MOST_BENT - bend @ knots, MOST_BENT + bend @ knots])
        limits = [(max(-reach, -float(k)), min(reach, 1.0 - float(k))) for k in knots]
        cost = np.zeros(count + 1)
        cost[-1] = 1.0
        solved = linprog(cost, A_ub=matrix, b_ub=bound, bounds=[*limits, (0, None)], method="highs")
        if solved.x is None:
            break
        tried = np.clip(knots + solved.x[:count], 0.0, 1.0)
        off = float(worst_of(target_lab, viewings, (tried @ hats)[None])[0])
        if off < here - 1e-4:
            knots, here, reach = tried, off, min(reach * 1.5, 0.5)
        else:
            reach *= 0.3
            if reach < 2e-3:
                break
        if here < 0.02:
            break
    return np.asarray(np.clip(knots @ hats, 0.0, 1.0))


@lru_cache(maxsize=1)
def _solid_reflectances() -> Array:
    """Reflectances (m, 85) all through the object-colour solid: its edge, drawn in towards the greys."""
    edge = optimal_reflectances(3)
    level = edge.mean(axis=1, keepdims=True)
    shares = np.linspace(0.0, 1.0, 22)[1:] ** 0.8
    out = [share * edge + (1 - share) * level for share in shares]
    out += [share * edge + (1 - share) * 0.5 for share in shares]
    greys = np.repeat(np.linspace(0.0, 1.0, 101)[:, None] ** 2, len(GRID_NM), axis=1)
    return np.concatenate([*out, greys])


def _nearest_sample(target_lab: Array, viewing: Viewing) -> Array:
    """Scene light (3,) of the sampled solid that reads nearest to the target."""
    scene = viewing.site.scene(_solid_reflectances())
    return np.asarray(scene[int(np.argmin(ciede2000(viewing.lab(scene), target_lab)))])


def _planes_around(target_lab: Array, viewing: Viewing, limit: float) -> tuple[Array, Array] | None:
    """Planes (m, 3) and how far out (m,): all light of the solid that reads within ``limit`` lies within.

    None: no light of the solid comes near.
    """
    scene = viewing.site.scene(_solid_reflectances())
    near = scene[ciede2000(viewing.lab(scene), target_lab) <= limit + FAR_OFF]
    if len(near) < 4:
        return None
    steps = np.stack(np.meshgrid(*[np.linspace(-1.0, 1.0, SAMPLES)] * 3, indexing="ij"), axis=-1).reshape(
        -1, 3
    )
    axes = np.linalg.svd(near - near.mean(axis=0), full_matrices=False)[2]
    for slack in (6.0, 1.5, 0.0):
        along = near @ axes.T
        low, high = along.min(axis=0), along.max(axis=0)
        half = np.maximum((high - low) / 2, 1e-6 * max(float(np.abs(scene).max()), 1e-9)) * 1.3
        grid = ((low + high) / 2 + steps * half) @ axes
        cell = half * 2.0 / (SAMPLES - 1)
        near = grid[ciede2000(viewing.lab(grid), target_lab) <= limit + slack]
        if len(near) == 0:
            return None if slack else (np.zeros((0, 3)), np.zeros(0))
    planes = np.concatenate([_directions(), _more_directions()]) / half @ axes
    out = (near @ planes.T).max(axis=0) + np.abs(planes @ axes.T) @ cell
    return planes, out


def _aimed(target_lab: Array, viewings: Sequence[Viewing]) -> Array | None:
    """The smooth reflectance (85,) whose light comes nearest to what reads as the target in each place."""
    from scipy.optimize import linprog

    hats, bend = _hats(), _bending()
    rows, right = [], []
    for viewing in viewings:
        aim = _nearest_sample(target_lab, viewing)
        scale = max(float(np.abs(aim).max()), 1e-4)
        slopes = (hats @ viewing.site.scene_matrix).T / scale
        for sign in (1.0, -1.0):
            rows.append(np.concatenate([sign * slopes, np.full((3, 1), -1.0)], axis=1))
            right.append(sign * aim / scale)
    for sign in (1.0, -1.0):
        rows.append(np.concatenate([sign * bend, np.zeros((len(bend), 1))], axis=1))
        right.append(np.full(len(bend), MOST_BENT))
    cost = np.zeros(len(hats) + 1)
    cost[-1] = 1.0
    solved = linprog(
        cost, A_ub=np.concatenate(rows), b_ub=np.concatenate(right),
        bounds=[(0, 1)] * len(hats) + [(0, None)], method="highs",
    )  # fmt: skip
    return None if solved.x is None else np.clip(solved.x[:-1] @ hats, 0.0, 1.0)


def proven_impossible(target_lab: Array, viewings: Sequence[Viewing], limit: float) -> bool:
    """Whether no reflectance between 0 and 1, smooth or not, reads within ``limit`` in every viewing.

    True is a proof as far as a screen changes little within a cell of the grid; False says nothing.
    """
    from scipy.optimize import linprog

    rows, right = [], []
    for viewing in viewings[:HARDEST]:
        found = _planes_around(target_lab, viewing, limit)
        if found is None:
            return True
        rows.append(found[0] @ viewing.site.scene_matrix.T)
        right.append(found[1])
    matrix, bound = np.concatenate(rows), np.concatenate(right)
    solved = linprog(
        np.zeros(matrix.shape[1]), A_ub=matrix, b_ub=bound, bounds=[(0, 1)] * matrix.shape[1], method="highs"
    )
    return bool(solved.status == 2)


@lru_cache(maxsize=1)
def _more_directions() -> Array:
    """100 directions evenly over the sphere (a Fibonacci lattice)."""
    k = np.arange(100) + 0.5
    z = 1.0 - 2.0 * k / 100
    turn = np.pi * (1.0 + np.sqrt(5.0)) * k
    flat = np.sqrt(1.0 - z * z)
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=-1)
