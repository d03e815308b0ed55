"""Which reading is for which still, and by which rung: the one place where the two are brought together.

A join is any function of this shape::

    join(stills, readings, scout) -> one Step for each still, in their order

It may look at what a still says of itself (``still.info``); that reads the file's head, so a join that can do
without should not ask.
"""

from __future__ import annotations

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
    facts = [_facts(still) for still in stills]
    return climb(facts, readings, scout.clock_offset_min, scout.join_window_min)


def _facts(still: Findable) -> Facts:
    """What the ladder wants to know of a still; of one that cannot be read, its name."""
    try:
        _, metadata = still.info
    except LookdevError:
        return Facts(still.name)
    return Facts(still.name, metadata.date, metadata.camera)
