"""Which chip reads as a wanted colour on screen, and what to say when none does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.munsell_notation import highest_real_chroma, munsell_from_lab
from lookdev.paint.chip import ChipSet, munsell_coefficients, munsell_notations, munsell_set
from lookdev.paint.metamerism import adapted_lab
from lookdev.paint.predict import Viewing, screen_spread
from lookdev.paint.recovery import sigmoid_reflectance
from lookdev.paint.spectra import GRID_NM, illuminant_weights

Array = NDArray[np.float64]

SAME = 1.0
"""CIEDE2000 up to which a match is called a match: not told apart side by side by most."""

NEAR = 3.0
"""CIEDE2000 up to which a match is called near: told apart side by side, not from memory."""

STARTS, HARDEST = 6, 6

ALIKE_COUNT = 5
ALIKE_APART = 10.0
"""Chips within SAME of the best on screen, and how far these are apart as made, before a look is said to make
many chips alike."""


@dataclass(frozen=True)
class Ranked:
    """A chip of the set: its row there, and its CIEDE2000 to the target at each viewing."""

    row: int
    differences: tuple[float, ...]

    @property
    def worst(self) -> float:
        """The largest difference."""
        return max(self.differences)


@dataclass(frozen=True, eq=False)
class Ideal:
    """The surface that comes nearest to the target: reflectance (85,), difference, colour as made."""

    reflectance: Array
    worst: float
    made: Array
    munsell: str
    beyond_munsell: bool


@dataclass(frozen=True, eq=False)
class Match:
    """The answer to one target.

    ``ranked`` are the best chips, best first. ``alike`` counts the chips that read within SAME of the first
    at every viewing, ``alike_apart`` is the farthest of these from the first as made. ``reachable`` is False
    where no surface of any kind comes within NEAR. ``verdict`` are sentences for a person.
    """

    target_lab: Array
    ranked: tuple[Ranked, ...]
    ideal: Ideal | None
    alike: int
    alike_apart: float
    reachable: bool
    verdict: tuple[str, ...]


def differences(target_lab: ArrayLike, viewings: Sequence[Viewing], reflectances: Array) -> Array:
    """CIEDE2000 (viewings, n) of reflectances (n, 85) on screen against a target in CIELAB (3,) for D65."""
    return np.stack([ciede2000(v.screen(reflectances)[1], np.asarray(target_lab)) for v in viewings])


def match(target_lab: ArrayLike, viewings: Sequence[Viewing], chips: ChipSet, count: int = 8) -> Match:
    """Rank the chips by their worst CIEDE2000 to the target over all viewings.

    Parameters
    ----------
    target_lab : CIELAB (3,) for D65, as wanted on screen.
    viewings : one for each place and look that the wall must hold in.
    chips : what there is to choose from.
    count : how many to return.
    """
    target = np.asarray(target_lab, dtype=np.float64)
    screens = np.stack([v.screen(chips.reflectances)[1] for v in viewings])
    off = ciede2000(screens, target)
    worst = off.max(axis=0)
    order = np.argsort(worst, kind="stable")[:count]
    ranked = tuple(Ranked(int(r), tuple(float(d) for d in off[:, r])) for r in order)
    first = ranked[0].row
    near_first = np.all(ciede2000(screens, screens[:, first : first + 1]) <= SAME, axis=0)
    made = chips.lab("D65")
    apart = ciede2000(made, made[first])
    alike = int(near_first.sum())
    alike_apart = float(apart[near_first].max())
    known = worst if chips is munsell_set() else None
    ideal = find_ideal(target, viewings, known) if ranked[0].worst > SAME else None
    reachable = ideal is None or min(ideal.worst, ranked[0].worst) <= NEAR
    draft = Match(target, ranked, ideal, alike, alike_apart, reachable, ())
    return Match(
        target, ranked, ideal, alike, alike_apart, reachable, tuple(_verdict(draft, chips, viewings, screens))
    )


def find_ideal(target_lab: Array, viewings: Sequence[Viewing], off: Array | None = None) -> Ideal:
    """The smooth reflectance that reads nearest to the target; with several viewings, the worst counts most.

    ``off`` are the differences of the built-in chips where they are known already.

    Starts at the best built-in chips and goes downhill (Levenberg and Marquardt) in the three numbers of the
    smooth reflectance, so the answer is always a surface that can be. Optimal colours (reflectance 0 or 1
    with at most two steps: the edge of the object-colour solid, Schrödinger 1920, MacAdam 1935) are tried as
    well.
    """
    _, coefficients, _ = munsell_coefficients()
    first = _worst(target_lab, viewings, sigmoid_reflectance(coefficients)) if off is None else off
    start = coefficients[np.argsort(first, kind="stable")[: STARTS if len(viewings) == 1 else 3]]
    hardest = _hardest(target_lab, viewings, start[:1])
    spectra = sigmoid_reflectance(np.concatenate([_descend(target_lab, hardest, start), start]))
    left = _worst(target_lab, viewings, spectra)
    best = spectra[int(np.argmin(left))]
    worst = float(left.min())
    if worst > SAME:
        edge = optimal_reflectances()
        edge_off = _worst(target_lab, viewings, edge)
        if edge_off.min() < worst - 0.05:
            best, worst = edge[int(np.argmin(edge_off))], float(edge_off.min())
    made = adapted_lab(best[None], illuminant_weights("D65"))[0]
    hue, value, chroma = munsell_from_lab(made)
    beyond = bool(chroma > highest_real_chroma(hue, value)[0] + 0.5)
    return Ideal(best, worst, made, munsell_notations(best[None])[0], beyond)


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


def _worst(target_lab: Array, viewings: Sequence[Viewing], reflectances: Array) -> Array:
    return np.asarray(differences(target_lab, viewings, reflectances).max(axis=0))


def _hardest(target_lab: Array, viewings: Sequence[Viewing], start: Array) -> list[Viewing]:
    """The viewings where a first guess does worst: what is good there is good enough in the others."""
    off = differences(target_lab, viewings, sigmoid_reflectance(start))[:, 0]
    return [viewings[int(k)] for k in sorted(np.argsort(-off, kind="stable")[:HARDEST])]


def _residual(target_lab: Array, viewings: Sequence[Viewing], coefficients: Array) -> Array:
    """CIELAB residuals (k, 3 x viewings) of smooth reflectances with coefficients (k, 3).

    With several viewings each is scaled by its own length, so that the sum of squares is one of fourth powers
    and the worst viewing counts most.
    """
    spectra = sigmoid_reflectance(coefficients)
    off = [v.screen(spectra)[1] - target_lab for v in viewings]
    if len(off) > 1:
        off = [o * np.linalg.norm(o, axis=-1, keepdims=True) for o in off]
    return np.concatenate(off, axis=-1)


def _descend(target_lab: Array, viewings: Sequence[Viewing], start: Array, iterations: int = 24) -> Array:
    c = start.copy()
    miss = _residual(target_lab, viewings, c)
    size = np.sum(miss * miss, axis=1)
    damping = np.full(len(c), 1e-2)
    least, stalled = float(size.min()), 0
    for _ in range(iterations):
        step_sizes = 1e-4 * (1.0 + np.abs(c))
        jacobian = np.empty((len(c), miss.shape[1], 3))
        moved = np.repeat(c[None], 3, axis=0)
        for k in range(3):
            moved[k, :, k] += step_sizes[:, k]
        shifted = _residual(target_lab, viewings, moved.reshape(-1, 3)).reshape(3, len(c), -1)
        for k in range(3):
            jacobian[:, :, k] = (shifted[k] - miss) / step_sizes[:, k : k + 1]
        square = np.swapaxes(jacobian, 1, 2) @ jacobian
        diagonal = np.einsum("nbb->nb", square)
        square = square + (damping[:, None] * (diagonal + 1e-6))[:, :, None] * np.eye(3)
        step = np.linalg.solve(square, np.einsum("nkb,nk->nb", jacobian, miss)[..., None])[..., 0]
        new = np.clip(c - step, -400.0, 400.0)
        new_miss = _residual(target_lab, viewings, new)
        new_size = np.sum(new_miss * new_miss, axis=1)
        better = new_size < size
        c = np.where(better[:, None], new, c)
        miss = np.where(better[:, None], new_miss, miss)
        size = np.where(better, new_size, size)
        damping = np.where(better, damping * 0.3, np.minimum(damping * 5.0, 1e8))
        gain = 1.0 - float(size.min()) / max(least, 1e-12)
        stalled = stalled + 1 if gain < 1e-3 else 0
        least = float(size.min())
        if least < 1e-6 or stalled == 3:
            break
    return c


def _verdict(found: Match, chips: ChipSet, viewings: Sequence[Viewing], screens: Array) -> list[str]:
    first, ideal = found.ranked[0], found.ideal
    name = chips.chips[first.row].label
    where = "" if len(viewings) == 1 else " in the worst of the places and looks"
    out = []
    if first.worst <= SAME:
        out.append(f"{name} reads as the target{where}: CIEDE2000 {first.worst:.1f}.")
    elif first.worst <= NEAR:
        out.append(f"{name} comes near{where}: CIEDE2000 {first.worst:.1f}, visible side by side.")
    else:
        out.append(f"No chip in this set comes near; the first is {first.worst:.1f} away{where} (CIEDE2000).")
    if ideal is not None and not found.reachable:
        out.append(_unreachable(ideal, ciede2000(screens, found.target_lab).min(axis=1)))
    elif ideal is not None and ideal.worst < first.worst - 0.3:
        beyond = (
            ", stronger than any real Munsell colour there, so hardly a paint" if ideal.beyond_munsell else ""
        )
        out.append(
            f"The ideal is Munsell {ideal.munsell}{beyond}: it would read within {max(ideal.worst, 0.1):.1f}."
        )
    if found.alike >= ALIKE_COUNT and found.alike_apart >= ALIKE_APART:
        out.append(
            f"{found.alike} chips read as one with the first here (within {SAME:g}); as made they are up "
            f"to {found.alike_apart:.0f} apart: this light and look make many paints alike; choose among "
            "them by lightness and by what the room needs."
        )
    spreads = [screen_spread(chips.subset([first.row]), v)[0] for v in viewings]
    if None in spreads:
        out.append(
            "How far its estimated reflectance can be trusted here is not known: have the chip measured."
        )
    elif (spread := max(s for s in spreads if s is not None)) > max(SAME, first.worst / 2):
        out.append(
            f"Its reflectance is estimated, which leaves \u00b1 {spread:.1f} open here: have the first few "
            "chips measured, or paint them out under the lamp, before choosing."
        )
    loss = chroma_kept(chips, screens)
    if loss < 0.25:
        out.append(f"Only {100 * loss:.0f}% of the chips' chroma is left on screen: hue says little here.")
    return out


def _unreachable(ideal: Ideal, alone: Array) -> str:
    """``alone``: the difference of the best chip at each viewing by itself."""
    if len(alone) == 1:
        return (
            "No surface of any kind can: under this light and look even the edge of the object-colour solid "
            f"stays {ideal.worst:.1f} away. Change the target, the light or the look."
        )
    if alone.min() > NEAR:
        return (
            f"No one surface can read as this here; even in the easiest of the {len(alone)} alone the first "
            f"chip is {alone.min():.1f} away. Move the target, or change the looks."
        )
    return (
        f"No one surface can read as this in all of them: the best compromise is {ideal.worst:.1f} away. "
        "Match the places apart, or move the target."
    )


def chroma_kept(chips: ChipSet, screens: Array) -> float:
    """Median share of CIELAB chroma that chips of some chroma keep on screen, best viewing."""
    made = chips.lab("D65")
    strong = np.hypot(made[:, 1], made[:, 2]) > 15
    if not strong.any():
        return 1.0
    kept = np.hypot(screens[:, strong, 1], screens[:, strong, 2]) / np.hypot(made[strong, 1], made[strong, 2])
    return float(np.median(kept, axis=1).max())
