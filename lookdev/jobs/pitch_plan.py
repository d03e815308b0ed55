"""What a pitch shows: its places and their codes, looks in order, what is proposed, by ``[pitch]``."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, TypeVar

from lookdev.meter.log import NOWHERE, match_rank
from lookdev.names import location_names
from lookdev.pages.from_batch import is_as_it_stood
from lookdev.pages.pitch_model import PitchLook, codes, folded, upright
from lookdev.survey.survey import UNLOGGED

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.survey.survey import Survey, SurveyedStill

T = TypeVar("T")

MOST_WITHOUT_LOCATION = 24
"""Stills that nobody said the place of stand for themselves, but no more of them than this."""


@dataclass(frozen=True)
class Spot:
    """One place of the pitch before its pictures.

    ``location`` of the survey; ``stills`` that may stand for it, the first ones first; ``why`` these,
    empty where that is to be found out by looking; ``proposed`` look by its place in the pitch.
    """

    name: str
    code: str
    location: str
    stills: tuple[SurveyedStill, ...]
    why: str = ""
    proposed: int = 0
    chosen: bool = False
    words: str = ""


@dataclass(frozen=True)
class PitchPlanned:
    """``looks`` in the pitch's order with what they are called there; ``order`` of ``spots``; ``warnings``
    about what [pitch] says that is not there."""

    looks: tuple[LookLike, ...]
    called: tuple[PitchLook, ...]
    spots: tuple[Spot, ...]
    order: tuple[int, ...]
    warnings: tuple[str, ...]


def acting_looks(looks: Sequence[LookLike]) -> list[LookLike]:
    """The looks that are shown beside "as it stood"; all where that is the only one."""
    return [look for look in looks if not is_as_it_stood(look)] or list(looks)


def called(looks: Sequence[LookLike]) -> tuple[PitchLook, ...]:
    """Titles, notes, codes and fingerprints of looks, as a pitch has them."""
    names = codes(look.title for look in looks)
    return tuple(
        PitchLook(look.title, look.note, code, look.fingerprint()[:12])
        for look, code in zip(looks, names, strict=True)
    )


def place_codes(survey: Survey) -> dict[str, str]:
    """The code of each place of the whole scout by its name, whichever part of it is at hand."""
    named = [name for name in survey.every_location if name not in (NOWHERE, UNLOGGED)]
    named += [_place(location, still) for location, still in survey.every_still]
    names = list(dict.fromkeys(named))
    return dict(zip(names, codes(names), strict=True))


def frame_names(survey: Survey) -> dict[str, str]:
    """What the frame of each place is called, by the place's name, whichever part of the scout is at hand."""
    return {place: f"{name}.jpg" for place, name in location_names(place_codes(survey)).items()}


def _place(location: str, still: str) -> str:
    """The place of a still: its location; without one its folder's name, or its own."""
    if location not in (NOWHERE, UNLOGGED):
        return location
    path = PurePosixPath(still)
    words = (path.parent.name or path.stem).replace("_", " ").strip() or path.name
    return words[:1].upper() + words[1:]


def plan_pitch(
    survey: Survey, looks: Sequence[LookLike], chosen: Mapping[str, str] | None = None
) -> PitchPlanned:
    """What the pitch shows. ``chosen`` : fingerprints (twelve digits) of chosen looks by the place's code."""
    settings = survey.scout.pitch
    warnings: list[str] = []
    acting = acting_looks(looks)
    by_look = {folded(look.title): i for i, look in enumerate(acting)}
    wanted = [_found("looks", name, by_look, warnings) for name in settings.looks]
    at = [i for i in dict.fromkeys(wanted) if i is not None] or list(range(len(acting)))
    prints = [look.fingerprint()[:12] for look in acting]
    at += [i for i, seen in enumerate(prints) if i not in at and seen in (chosen or {}).values()]
    pitched = tuple(acting[i] for i in at)
    names = called(pitched)
    by_name = {folded(look.title): i for i, look in enumerate(names)}
    by_fingerprint = {look.fingerprint: i for i, look in enumerate(names)}
    place_code = place_codes(survey)
    by_place = {folded(text): name for name, code in place_code.items() for text in (code, name)}

    def by_places(key: str, table: Mapping[str, T]) -> dict[str, T]:
        found = {}
        for name, value in table.items():
            place = _found(key, name, by_place, warnings) if name else ""
            if place is not None:
                found[place] = value
        return found

    heroes, words = by_places("hero", settings.hero), by_places("words", settings.words)
    proposals = by_places("propose", settings.propose)
    proposed = {place: _found("propose", name, by_name, warnings) for place, name in proposals.items()}
    groups: dict[str, list[SurveyedStill]] = {}
    for still in survey.usable:
        groups.setdefault(_place(still.location, still.name), []).append(still)
    groups = _not_too_many(groups, warnings)
    spots = []
    for place, stills in groups.items():
        code = place_code[place]
        choice = by_fingerprint.get((chosen or {}).get(code, ""))
        look = choice if choice is not None else proposed.get(place, proposed.get(""))
        picked, why = _candidates(place, stills, heroes.get(place), warnings)
        spots.append(
            Spot(
                place,
                code,
                stills[0].location,
                picked,
                why,
                look or 0,
                choice is not None,
                words.get(place, ""),
            )
        )
    here = {spot.name: i for i, spot in enumerate(spots)}
    story = [_found("order", name, by_place, warnings) for name in settings.order]
    order = tuple(here[name] for name in dict.fromkeys(story) if name in here)
    _check_shifts(survey, warnings)
    return PitchPlanned(pitched, names, tuple(spots), order, tuple(warnings))


def _not_too_many(
    groups: dict[str, list[SurveyedStill]], warnings: list[str]
) -> dict[str, list[SurveyedStill]]:
    alone = [name for name, stills in groups.items() if stills[0].location in (NOWHERE, UNLOGGED)]
    left = set(alone[MOST_WITHOUT_LOCATION:])
    if left:
        warnings.append(
            f"pitch: of {len(alone)} places that no location is logged for, the first "
            f"{MOST_WITHOUT_LOCATION} are shown"
        )
    return {name: stills for name, stills in groups.items() if name not in left}


def _candidates(
    place: str, stills: list[SurveyedStill], hero: str | None, warnings: list[str]
) -> tuple[tuple[SurveyedStill, ...], str]:
    """Which stills may stand for a place, the first ones first, and why where that is decided here."""
    if hero is not None:
        ranked = sorted(stills, key=lambda s: -match_rank(s.name, hero))
        if match_rank(ranked[0].name, hero):
            return tuple(ranked), "named in scout.toml"
        near = difflib.get_close_matches(hero, [s.name for s in stills], n=1, cutoff=0.3)
        hint = f" (nearest: {near[0]})" if near else ""
        warnings.append(f"scout.toml: [pitch] hero: no still {hero!r} at {place}{hint}")
    across = [s for s in stills if upright((s.size[1], s.size[0]))]
    if len(stills) == 1:
        return tuple(stills), "the only still"
    rest = [s for s in stills if s not in across]
    if not across:
        return tuple(stills), ""
    if len(across) == 1:
        return (*across, *rest), "the only one that is wider than high"
    return tuple(across), ""


def _found(key: str, name: str, among: Mapping[str, T], warnings: list[str]) -> T | None:
    """What a name in [pitch] means; None, and a warning with the nearest, where nothing is called so."""
    found = among.get(folded(name))
    if found is None:
        near = difflib.get_close_matches(folded(name), list(among), n=1, cutoff=0.5)
        shown = among[near[0]] if near else None
        hint = f" (nearest: {shown})" if isinstance(shown, str) else ""
        what = "look" if key in ("looks", "propose") and not isinstance(shown, str) else "place"
        warnings.append(f"scout.toml: [pitch] {key}: no {what} here is called {name!r}{hint}")
    return found


def _check_shifts(survey: Survey, warnings: list[str]) -> None:
    names = [name for _, name in survey.every_still]
    for pattern in survey.scout.pitch.shift:
        if not any(match_rank(name, pattern) for name in names):
            warnings.append(f"scout.toml: [pitch] shift: no still is called {pattern!r}")


def shift_of(survey: Survey, still: SurveyedStill) -> float:
    """By how much the crop of a still is moved: the pattern that names it the closest."""
    ranked = [(match_rank(still.name, pattern), shift) for pattern, shift in survey.scout.pitch.shift.items()]
    rank, shift = max(ranked, default=(0, 0.0), key=lambda pair: pair[0])
    return shift if rank else 0.0
