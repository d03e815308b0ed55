"""The light to add: from what stands there to the stop and the ratio that the plan wants, gel loss
included."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lookdev.meter.exposure import expose

if TYPE_CHECKING:
    from lookdev.meter.lamps import OnOurs
    from lookdev.meter.log import Reading
    from lookdev.meter.reading_notes import ReadingNotes
    from lookdev.meter.scout import Plan

JUST_ENOUGH_STOPS = 0.05


@dataclass(frozen=True)
class Needed:
    """What one of our lamps has to give without its gel, at the subject, to add the light that is missing."""

    lamp: str
    lost_stops: float
    before_gel_lux: float
    is_reachable: bool


@dataclass(frozen=True)
class BudgetLine:
    """One light of a place against the plan.

    Attributes
    ----------
    name, role : of the reading. have_lux : as metered. wanted_lux : what the plan wants there.
    over_stops : light over (+) or under (-) that.
    add_lux : to be added, 0 where there is enough.
    lamps : what each of ours has to give for that, matched to this light.
    """

    name: str
    role: str
    have_lux: float
    wanted_lux: float
    over_stops: float
    add_lux: float
    lamps: tuple[Needed, ...]

    @property
    def is_enough(self) -> bool:
        """Whether nothing is to be added."""
        return self.over_stops >= -JUST_ENOUGH_STOPS


def budget(notes: Sequence[ReadingNotes], plan: Plan) -> tuple[BudgetLine, ...]:
    """What to add to each light that was metered, in the order of the log; empty without a stop to shoot at.

    A fill (``role``) is wanted at the key over ``key_to_fill``: the key as it will be, that is as metered
    or, if that is under the plan's stop, as the stop needs. A fill without a ratio in the plan has nothing
    to reach.
    """
    lit = [n for n in notes if n.reading.illuminance_lux is not None and n.reading.illuminance_lux > 0]
    probe = expose(1000.0, plan)
    if probe is None or probe.needed_lux is None:
        return ()
    needed = probe.needed_lux
    keys = [_lux(n.reading) for n in lit if n.reading.role == "key"]
    key = max([needed, *keys])
    out = []
    for note in lit:
        is_fill = note.reading.role == "fill"
        if is_fill and plan.key_to_fill is None:
            continue
        wanted = key / plan.key_to_fill if is_fill and plan.key_to_fill is not None else needed
        have = _lux(note.reading)
        add = max(0.0, wanted - have)
        over = math.log2(have / wanted)
        if over >= -JUST_ENOUGH_STOPS:
            add = 0.0
        lamps = tuple(_needed(ours, add) for ours in note.on_ours) if add else ()
        out.append(BudgetLine(note.reading.name, note.reading.role or "", have, wanted, over, add, lamps))
    return tuple(out)


def _lux(reading: Reading) -> float:
    assert reading.illuminance_lux is not None
    return reading.illuminance_lux


def _needed(ours: OnOurs, add_lux: float) -> Needed:
    """The lamp's light before its gel.

    A sheet that takes one stop asks for twice the light (definition of a stop).
    """
    reachable = not (ours.match is not None and ours.match.reason) and not (
        ours.dial is not None and ours.dial.reachable is False
    )
    return Needed(ours.lamp, ours.lost_stops, add_lux * 2.0**ours.lost_stops, reachable)
