"""Looks between looks.

Each number goes in the way natural to it: stops, mired, Duv and degrees of hue straight, factors in the
logarithm, the curve by the stops that come out of it. Tones that stand at the same place and pull the same
way become one; others come and go with their chroma.
"""

from __future__ import annotations

from lookdev.errors import RequestError
from lookdev.looks.model import MOST_STRENGTH, Look


def check_share(share: float) -> None:
    """Refuse a share that is no number from 0 to 1.5.

    Raises
    ------
    RequestError : says so.
    """
    if not 0 <= share <= MOST_STRENGTH:
        raise RequestError("share out of range", found=share, wanted=f"a number from 0 to {MOST_STRENGTH}")


def mixed(one: Look, two: Look, share: float, title: str | None = None) -> Look:
    """A look a share of the way from ``one`` (0) to ``two`` (1), or up to 1.5 beyond.

    At 0 and 1 it is the one or the other, to the bit. Each acts at its own strength; the mix has strength 1.

    Raises
    ------
    RequestError : the share is out of range, both have a CDL in different encodings, or too many tones.

    >>> from lookdev.looks.model import Exposure
    >>> mixed(Look(title="as it was"), Look(title="under", exposure=Exposure(stops=-1)), 0.5).exposure.stops
    -0.5
    """
    check_share(share)
    found = one.part_way(two, share)
    named = {"title": two.title, "note": two.note} if title is None else {"title": title, "note": ""}
    return found.model_copy(update=named)
