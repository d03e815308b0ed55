"""Looks between looks: part of one, or part of the way from one to another.

Each number goes in the way natural to it: stops, mired, Duv and degrees of hue straight, factors in the
logarithm, the curve by the stops that come out of it. Tones that stand at the same place and pull the same
way become one; others come and go with their chroma.
"""

from __future__ import annotations

from typing import Any

from lookdev.errors import RequestError
from lookdev.looks.model import Look
from lookdev.looks.stages.base import part_way, within
from lookdev.looks.stages.tone import MOST_TONES, Tone

MOST = 1.5
"""The largest share: beyond it a look is another one, not more of the same."""


def at_strength(look: Look) -> Look:
    """The look that ``look`` comes to at its ``strength``, itself at strength 1.

    >>> from lookdev.looks.model import Exposure
    >>> at_strength(Look(title="under", strength=0.5, exposure=Exposure(stops=-1))).exposure.stops
    -0.5
    """
    whole = look.model_copy(update={"strength": 1.0})
    return mixed(Look(title=look.title, note=look.note), whole, look.strength)


def mixed(one: Look, two: Look, share: float, title: str | None = None) -> Look:
    """A look a share of the way from ``one`` (0) to ``two`` (1), or up to 1.5 beyond.

    At 0 and 1 it is the one or the other, to the bit. Each acts at its own strength; the mix has strength 1.

    Raises
    ------
    RequestError : the share is out of range, both have a CDL in different encodings, or too many tones.
    """
    if not 0 <= share <= MOST:
        raise RequestError("share out of range", found=share, wanted=f"a number from 0 to {MOST}")
    one, two = one.acting, two.acting
    named = {"title": title if title is not None else two.title, "note": two.note if title is None else ""}
    if share in (0, 1):
        return (one if share == 0 else two).model_copy(update=named)
    if one.is_identity != two.is_identity:  # where nothing is done nothing can be held: the other says
        hold = (two if one.is_identity else one).skin.hold
        one, two = (_holding(look, hold) if look.is_identity else look for look in (one, two))
    found: dict[str, Any] = {"tone": _tones(one.tone, two.tone, share)}
    for name in ("exposure", "balance", "curve", "colour", "cdl", "skin"):
        found[name] = getattr(one, name).part_way(getattr(two, name), share)
    return two.model_copy(update=named | found)


def _holding(look: Look, hold: float) -> Look:
    return look.model_copy(update={"skin": look.skin.model_copy(update={"hold": hold})})


def _tones(one: tuple[Tone, ...], two: tuple[Tone, ...], share: float) -> tuple[Tone, ...]:
    pulls: dict[tuple[float, float, str], list[float]] = {}
    for which, tones in enumerate((one, two)):
        for tone in tones:
            place = (tone.at_stops, tone.reach_stops, tone.towards)
            pulls.setdefault(place, [0.0, 0.0])[which] += tone.chroma
    limits = Tone.model_fields["chroma"].metadata
    found = []
    for (at, reach, towards), (p, q) in pulls.items():
        chroma = within(part_way(p, q, share), limits)
        if chroma:
            found.append(Tone(at_stops=at, reach_stops=reach, towards=towards, chroma=chroma))
    if len(found) > MOST_TONES:
        raise RequestError("too many tones together", found=len(found), wanted=f"at most {MOST_TONES}")
    return tuple(found)
