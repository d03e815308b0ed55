"""A light at a place: the locations of a scout with the casts that were metered there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from lookdev.looks.cast import Cast
from lookdev.looks.stages.balance import describe_white


@dataclass(frozen=True)
class Seen:
    """A cast where it was seen: ``name`` of the still, or of the reading; ``source`` as the log calls it."""

    location: str
    name: str
    cast: Cast
    source: str | None = None


@dataclass(frozen=True)
class Place:
    """A location under one light: ``name`` for texts, the cast in its stills, and which stills, by name."""

    name: str
    location: str
    cast: Cast
    stills: tuple[str, ...]


def places_of(seen: Iterable[Seen]) -> list[Place]:
    """Each location once for every different cast that was seen in it.

    A location under one light keeps its name; under several, each gets its source's name, or its colour, and
    its first still where that is not enough.
    """
    groups: dict[tuple[str, object], list[Seen]] = {}
    for one in seen:
        groups.setdefault((one.location, (one.cast.white_xy, one.cast.camera_xy)), []).append(one)
    per_location = Counter(location for location, _ in groups)
    plain = []
    for (location, _), members in groups.items():
        words = members[0].source or describe_white(members[0].cast.white_xy)
        plain.append(f"{location}, {words}" if per_location[location] > 1 else location)
    first = [members[0].name for members in groups.values()]
    names = _apart(plain, first)
    return [
        Place(name, location, members[0].cast, tuple(one.name for one in members))
        for name, ((location, _), members) in zip(names, groups.items(), strict=True)
    ]


def _apart(plain: list[str], first: list[str]) -> list[str]:
    """The names; where two are the same, with the first still, with its suffix too if need be."""
    with_stem = [f"{name} ({still.rsplit('.', 1)[0]})" for name, still in zip(plain, first, strict=True)]
    with_still = [f"{name} ({still})" for name, still in zip(plain, first, strict=True)]
    once, twice = (Counter(name.casefold() for name in names) for names in (plain, with_stem))
    return [
        one if once[one.casefold()] == 1 else two if twice[two.casefold()] == 1 else three
        for one, two, three in zip(plain, with_stem, with_still, strict=True)
    ]
