"""Do wall, costume and skin stay apart on screen? Every pair, at every place, through every look."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from lookdev.colorimetry.difference import ciede2000
from lookdev.paint.chip import ChipSet
from lookdev.paint.predict import SiteTable

MERGES = 5.0
MERGES_LIGHTNESS = 5.0
"""CIEDE2000 and L* under which two surfaces merge in a moving picture (taste: well above what is told apart
side by side, for they are seen across a frame, in motion, with texture)."""

READINGS_ALIKE = 0.5
"""Readings of a place that part a pair by no more than this apart (CIEDE2000) are said once."""

MATCHES_IN_DAYLIGHT = 2.0
"""CIEDE2000 up to which two surfaces pass for one colour in daylight."""


@dataclass(frozen=True)
class Pair:
    """Two surfaces on screen at one place through one look.

    ``ciede2000`` and ``lightness`` (L* of the second less the first) on screen; ``in_daylight``: CIEDE2000 as
    made; ``within``: how sure (CIEDE2000, 9 in 10), None where not known.
    """

    one: str
    two: str
    place: str
    look: str
    ciede2000: float
    lightness: float
    in_daylight: float
    within: float | None

    @property
    def merges(self) -> bool:
        """Whether the two are hardly told apart on screen."""
        return self.ciede2000 < MERGES and abs(self.lightness) < MERGES_LIGHTNESS

    @property
    def words(self) -> str:
        """What a person must know; empty where the two are well apart as in daylight."""
        if self.in_daylight <= MATCHES_IN_DAYLIGHT and not self.merges:
            return "match in daylight, part on screen"
        if self.merges and self.in_daylight > MERGES:
            return "these two merge, though not in daylight"
        return "these two merge" if self.merges else ""


def pairs(tables: Sequence[SiteTable], firsts: int | None = None) -> list[Pair]:
    """Every pair of chips at every site and look, those that merge most first.

    Parameters
    ----------
    tables : predictions of wall, costumes and skins, from ``predict_sites``.
    firsts : only pairs with one of the first so many chips; all pairs unless given.
    """
    out: list[Pair] = []
    seen: dict[tuple[int, int, int, str], list[float]] = {}
    for table in tables:
        chips = table.chips.chips
        both = [
            (i, j) for i, j in itertools.combinations(range(len(chips)), 2) if firsts is None or i < firsts
        ]
        for i, j in both:
            made = float(ciede2000(table.made[i], table.made[j]))
            for k, look in enumerate(table.looks):
                one, two = table.screen[k, i], table.screen[k, j]
                sure = float(table.within[k, i] ** 2 + table.within[k, j] ** 2) ** 0.5
                apart = float(ciede2000(one, two))
                key = (i, j, k, table.site.location or table.site.name)
                if any(abs(apart - known) < READINGS_ALIKE for known in seen.get(key, ())):
                    continue
                seen.setdefault(key, []).append(apart)
                out.append(
                    Pair(
                        chips[i].label, chips[j].label, table.site.name, look,
                        apart, float(two[0] - one[0]), made,
                        None if sure != sure else sure,
                    )
                )  # fmt: skip
    return sorted(out, key=lambda p: p.ciede2000)


def looks_that_part(found: Sequence[Pair]) -> list[str]:
    """For each pair that merges somewhere: the looks through which it stays apart at that place."""
    out = []
    for pair in found:
        if not pair.merges:
            continue
        same = [p for p in found if (p.one, p.two, p.place) == (pair.one, pair.two, pair.place)]
        apart = sorted((p for p in same if not p.merges), key=lambda p: -p.ciede2000)
        how = (
            "; apart through " + ", ".join(f"{p.look} ({p.ciede2000:.0f})" for p in apart[:3])
            if apart
            else "; through none of the looks tried are they apart: change one of the two"
        )
        out.append(f"{pair.one} and {pair.two} merge at {pair.place} through {pair.look}{how}.")
    return out


def pair_json(pair: Pair) -> dict[str, Any]:
    """One pair for programs."""
    return {
        "one": pair.one,
        "two": pair.two,
        "place": pair.place,
        "look": pair.look,
        "ciede2000": round(pair.ciede2000, 2),
        "lightness_apart": round(pair.lightness, 1) + 0.0,
        "ciede2000_in_daylight": round(pair.in_daylight, 2),
        "nine_in_ten_within": None if pair.within is None else round(pair.within, 2),
        "merges": pair.merges,
        "words": pair.words,
    }


def joined(sets: Sequence[ChipSet]) -> ChipSet:
    """Several sets as one, in order."""
    import numpy as np

    return ChipSet(
        sets[0].title,
        tuple(chip for part in sets for chip in part.chips),
        np.concatenate([part.reflectances for part in sets]),
    )


def model_skins() -> ChipSet:
    """The six model skins of ``colorimetry.skins``, light to dark, as chips of known reflectance."""
    from lookdev.colorimetry.skins import skin_names, skin_reflectances, skin_wavelengths_nm
    from lookdev.paint.chip import Chip
    from lookdev.paint.spectra import on_grid

    chips = tuple(Chip(f"{name} skin", kind="spectrum", as_typed="model") for name in skin_names())
    return ChipSet("model skins", chips, on_grid(skin_wavelengths_nm(), skin_reflectances()))
