"""Which reading is for which still, and by which rung: the one place where the two are brought together.

A join is any function of this shape::

    join(stills, readings, scout) -> one Step for each still, in their order

It may look at what a still says of itself (``still.info``); that reads the file's head, so a join that can do
without should not ask.
"""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

from lookdev.errors import LookdevError
from lookdev.meter.ladder import Facts, Step, climb
from lookdev.meter.reading import Reading

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout
    from lookdev.stills.still import Metadata


class Findable(Protocol):
    """A still before anything is decided about it.

    ``name`` : its path in the scout, with forward slashes. ``info`` : (height, width) and metadata, read when
    asked for; raises StillError where the file cannot be read.
    """

    @property
    def name(self) -> str: ...

    @property
    def info(self) -> tuple[tuple[int, int], Metadata]: ...


Join = Callable[[Sequence[Findable], Sequence[Reading], "Scout"], Sequence[Step]]


def join_by_ladder(stills: Sequence[Findable], readings: Sequence[Reading], scout: Scout) -> list[Step]:
    """Each still with its reading by the first rung that answers; see :mod:`lookdev.meter.ladder`."""
    if not readings:
        return [Step() for _ in stills]
    facts = [facts_of(still, scout.time_zone) for still in stills]
    return climb(facts, readings, scout.clock_offset_min, scout.join_window_min)


def facts_of(still: Findable, time_zone: str | None = None) -> Facts:
    """What the ladder wants to know of a still; of one that cannot be read, its name.

    A clip's time is universal: it is taken to ``time_zone``, where that is known, else used as it stands.
    """
    try:
        _, metadata = still.info
    except LookdevError:
        return Facts(still.name)
    taken = metadata.date
    if metadata.is_utc and taken is not None and time_zone is not None:
        utc = datetime.datetime.fromisoformat(taken).replace(tzinfo=datetime.UTC)
        taken = utc.astimezone(zoneinfo.ZoneInfo(time_zone)).replace(tzinfo=None).isoformat()
    return Facts(still.name, taken, metadata.camera)
