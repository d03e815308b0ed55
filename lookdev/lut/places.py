"""The locations of a scout with the casts that were metered there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lookdev.looks.stages.balance import Cast, describe_white

if TYPE_CHECKING:
    from lookdev.render.batch import PlannedStill


@dataclass(frozen=True)
class Place:
    """A location under one light: ``name`` for files and texts, the cast in its stills, and which stills."""

    name: str
    location: str
    cast: Cast
    stills: tuple[str, ...]


def metered_places(planned: Iterable[PlannedStill]) -> list[Place]:
    """Each location once for every different cast in its stills; stills without one are left out.

    A location under one light keeps its name; under several, each gets its source's name, or its colour, and
    its first still where that is not enough.
    """
    groups: dict[tuple[str, object], list[PlannedStill]] = {}
    for still in planned:
        cast = still.resolved.cast
        if cast is not None:
            key = (still.location, (cast.white_xy, cast.camera_xy))
            groups.setdefault(key, []).append(still)
    per_location = Counter(location for location, _ in groups)
    places: list[Place] = []
    for (location, _), stills in groups.items():
        cast = stills[0].resolved.cast
        assert cast is not None
        name = location
        if per_location[location] > 1:
            source = stills[0].reading.source if stills[0].reading is not None else None
            name = f"{location}, {source or describe_white(cast.white_xy)}"
        places.append(Place(name, location, cast, tuple(s.path.name for s in stills)))
    shared = Counter(place.name.casefold() for place in places)
    return [
        replace(place, name=f"{place.name} ({stills[0].name})")
        if shared[place.name.casefold()] > 1
        else place
        for place, stills in zip(places, groups.values(), strict=True)
    ]
