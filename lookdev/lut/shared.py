"""One LUT a place: readings whose LUTs can hardly be told apart share one.

Two casts whose LUTs differ by less than APART at the 95th percentile, over the colours that a picture can
hold, are one place to a look. The one that comes nearest to the others stands for them; which they are stands
in the LUT's header.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import Encoding
from lookdev.looks.pipeline import LookLike
from lookdev.lut.error import appearance, picture_inputs
from lookdev.survey.footage import FootagePlace

APART = 0.5
"""CIEDE2000 at the 95th percentile: half of what can just be seen side by side."""
_EVERY = 8  # of the picture colours: 1500 of them


def shared_places(
    look: LookLike, places: Sequence[FootagePlace], source: Encoding, target: Encoding
) -> list[FootagePlace]:
    """The places of a look, those of one location that can share a LUT as one, in their order.

    A location whose readings all share one is called by its own name; ``readings`` says which they are.
    """
    at: dict[str, list[FootagePlace]] = {}
    for place in places:
        at.setdefault(place.location, []).append(place)
    found = []
    for location, members in at.items():
        groups = _groups(look, members, source, target)
        found += [_as_one(group, location if len(groups) == 1 else None) for group in groups]
    return found


def _groups(
    look: LookLike, members: list[FootagePlace], source: Encoding, target: Encoding
) -> list[list[FootagePlace]]:
    """Each group with the one that stands for it first."""
    if len(members) == 1:
        return [members]
    inputs = picture_inputs(source)[::_EVERY]
    shown = [appearance(look.transform(source, target, m.cast)(inputs), target) for m in members]
    apart = np.zeros((len(members), len(members)))
    for i in range(len(members)):
        for k in range(i):
            apart[i, k] = apart[k, i] = np.percentile(ciede2000(shown[i], shown[k]), 95)
    left, groups = list(range(len(members))), []
    while left:
        near = {i: [k for k in left if apart[i, k] < APART] for i in left}
        middle = min(left, key=lambda i: (-len(near[i]), max(apart[i, k] for k in near[i]), i))
        groups.append([middle, *(k for k in near[middle] if k != middle)])
        left = [k for k in left if k not in near[middle]]
    groups.sort(key=min)
    return [[members[i] for i in group] for group in groups]


def _as_one(group: list[FootagePlace], name: str | None) -> FootagePlace:
    """The first of a group, standing for all of it."""
    if len(group) == 1:
        return group[0]
    stills = tuple(dict.fromkeys(still for member in group for still in member.stills))
    ordered = sorted(group, key=lambda member: member.stills)
    lines = tuple(f"{m.name}: {m.cast.origin}" for m in ordered)
    return replace(group[0], name=name or group[0].name, stills=stills, readings=lines)
