"""Which chip reads as a wanted colour on screen, and what to say when none does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.munsell_notation import munsell_from_lab
from lookdev.paint.chip import ChipSet, munsell_notations, munsell_set
from lookdev.paint.metamerism import adapted_lab
from lookdev.paint.paintable import is_paintable
from lookdev.paint.predict import Viewing, screen_within
from lookdev.paint.spectra import illuminant_weights
from lookdev.paint.surfaces import nearest_surface, optimal_reflectances, proven_impossible, worst_of

Array = NDArray[np.float64]

SAME = 1.0
"""CIEDE2000 up to which a match is called a match: not told apart side by side by most."""

NEAR = 3.0
"""CIEDE2000 up to which a match is called near: told apart side by side, not from memory."""

STARTS = 3

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
    at every viewing, ``alike_apart`` is the farthest of these from the first as made. ``reachable`` tells
    whether a chip or a smooth surface was found within NEAR; ``proven`` that none of any kind can be.
    ``verdict`` are sentences for a person.
    """

    target_lab: Array
    ranked: tuple[Ranked, ...]
    ideal: Ideal | None
    alike: int
    alike_apart: float
    reachable: bool
    proven: bool
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
    ideal = find_ideal(target, viewings, chips) if ranked[0].worst > SAME else None
    reachable = ideal is None or min(ideal.worst, ranked[0].worst) <= NEAR
    proven = False
    if ideal is not None and not reachable:
        hardest_first = [viewings[int(k)] for k in np.argsort(-off[:, first], kind="stable")]
        proven = proven_impossible(target, hardest_first, NEAR)
    draft = Match(target, ranked, ideal, alike, alike_apart, reachable, proven, ())
    return replace(draft, verdict=tuple(_verdict(draft, chips, viewings, screens)))


def find_ideal(target_lab: Array, viewings: Sequence[Viewing], chips: ChipSet | None = None) -> Ideal:
    """The surface that reads nearest to the target; with several viewings, in the worst of them.

    Begins at the best of the chips, of the built-in colours, of measured surfaces' shapes and of the optimal
    colours, and goes downhill by linear programs (``paint.surfaces``), so that the answer is always a surface
    that can be.
    """
    kinds = [munsell_set().reflectances, optimal_reflectances()]
    if chips is not None and chips is not munsell_set():
        kinds.insert(0, np.clip(chips.reflectances, 0.0, 1.0))
    firsts = []
    for spectra in kinds:
        off = worst_of(target_lab, viewings, spectra)
        firsts.append(spectra[np.argsort(off, kind="stable")[:STARTS]])
    seeds = np.concatenate(firsts)
    seeds = seeds[np.argsort(worst_of(target_lab, viewings, seeds), kind="stable")]
    best, worst = nearest_surface(target_lab, viewings, seeds)
    made = adapted_lab(best[None], illuminant_weights("D65"))[0]
    hue, value, chroma = munsell_from_lab(made)
    return Ideal(best, worst, made, munsell_notations(best[None])[0], not is_paintable(hue, value, chroma)[0])


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
        out.append(_unreachable(found, chips, ciede2000(screens, found.target_lab).min(axis=1)))
    elif ideal is not None and ideal.worst < first.worst - 0.3:
        beyond = (
            ", stronger than any matt paper of the Munsell atlas there, so hardly a paint"
            if ideal.beyond_munsell
            else ""
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
    spreads = [screen_within(chips.subset([first.row]), v)[0] for v in viewings]
    if None in spreads:
        out.append(
            "How far its estimated reflectance can be trusted here is not known: have the chip measured."
        )
    elif (spread := max(s for s in spreads if s is not None)) > max(SAME, first.worst / 2):
        out.append(
            f"Its reflectance is estimated: 9 in 10 such paints read within {spread:.1f} of this; have the "
            "first few chips measured, or paint them out under the lamp, before choosing."
        )
    loss = chroma_kept(chips, screens)
    if loss < 0.25:
        out.append(f"Only {100 * loss:.0f}% of the chips' chroma is left on screen: hue says little here.")
    return out


def _unreachable(found: Match, chips: ChipSet, alone: Array) -> str:
    """``alone``: the difference of the best chip at each viewing by itself."""
    ideal = found.ideal
    assert ideal is not None
    least = min(ideal.worst, found.ranked[0].worst)
    if not found.proven:
        return (
            f"No paint that we tried does: {len(chips)} chips, and smooth reflectances of any shape; the "
            f"best stays {least:.1f} away. That is no proof that none can."
        )
    if len(alone) == 1:
        return (
            "No surface of any kind can: under this light and look even the edge of the object-colour solid "
            f"stays more than {NEAR:g} away. Change the target, the light or the look."
        )
    if alone.min() > NEAR:
        return (
            f"No one surface can read as this here; even in the easiest of the {len(alone)} alone the first "
            f"chip is {alone.min():.1f} away. Move the target, or change the looks."
        )
    return (
        "No one surface can read as this in all of them: no reflectance is in the object-colour solid of "
        f"each where it would have to be; the best compromise found is {least:.1f} away. Match the places "
        "apart, or move the target."
    )


def chroma_kept(chips: ChipSet, screens: Array) -> float:
    """Median share of CIELAB chroma that chips of some chroma keep on screen, best viewing."""
    made = chips.lab("D65")
    strong = np.hypot(made[:, 1], made[:, 2]) > 15
    if not strong.any():
        return 1.0
    kept = np.hypot(screens[:, strong, 1], screens[:, strong, 2]) / np.hypot(made[strong, 1], made[strong, 2])
    return float(np.median(kept, axis=1).max())
