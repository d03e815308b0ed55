"""Which reading is for which still, and by which rung: the one place where the two are brought together.

A join is any function of this shape::

    join(stills, readings, scout) -> one Joined for each still, in their order

It may look at what a still says of itself (``still.info``); that reads the file's head, so a join that can do
without should not ask.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from lookdev.meter.naming import FOLDER, GLOB, NUMBER, match_rank, reading_for
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


@dataclass(frozen=True)
class Joined:
    """What a join found for one still.

    Attributes
    ----------
    reading : the reading that it is balanced from, or None.
    rung : why that one, in words; empty without a reading.
    minutes_apart : between still and reading, where both have a time and it was looked at.
    warnings : what is doubtful about it, a line each.
    """

    reading: Reading | None = None
    rung: str = ""
    minutes_apart: float | None = None
    warnings: tuple[str, ...] = ()


Join = Callable[[Sequence[Findable], Sequence[Reading], "Scout"], Sequence[Joined]]


def join_by_name(stills: Sequence[Findable], readings: Sequence[Reading], scout: Scout) -> list[Joined]:
    """Each still with the reading whose ``stills`` name it; see :func:`lookdev.meter.log.reading_for`.

    A still is its path in the scout: a bare file name that lies in several folders names none of them, and
    each is warned of; where one of them is meant by its whole path, the others are not.
    """
    names = [still.name for still in stills]
    mute, doubtful = _bare_names(names, readings)
    log = scout.log.path.name if scout.log.path is not None else "meter.csv"
    out = []
    for i, name in enumerate(names):
        speaking = [r for r in readings if not any((i, p) in mute for p in r.stills)] if mute else readings
        reading = reading_for(name, speaking)
        if reading is not None:
            out.append(Joined(reading, _rung(name, reading)))
        elif i in doubtful:
            row, pattern = doubtful[i]
            words = f"{log}, row {row}: '{pattern}' is the name of several stills: give its path, such as"
            out.append(Joined(warnings=(f"{words} {name}",)))
        else:
            out.append(Joined())
    return out


def _bare_names(
    names: Sequence[str], readings: Sequence[Reading]
) -> tuple[set[tuple[int, str]], dict[int, tuple[int, str]]]:
    """Pairs of still and pattern that do not belong together, and why for stills that nobody can tell.

    The patterns are those that hold no path and meet stills in several folders.
    """
    by_base: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        base = name.rsplit("/", 1)[-1].casefold()
        for key in {base, base.rsplit(".", 1)[0]}:
            by_base.setdefault(key, []).append(i)
    mute: set[tuple[int, str]] = set()
    doubtful: dict[int, tuple[int, str]] = {}
    for reading in readings:
        for pattern in reading.stills:
            here = by_base.get(pattern.casefold(), [])
            folders = {names[i].rpartition("/")[0] for i in here}
            if len(folders) < 2:
                continue
            meant = [i for i in here if "/" not in names[i]]
            for i in here:
                if i not in meant:
                    mute.add((i, pattern))
                    if not meant:
                        doubtful.setdefault(i, (reading.row, pattern))
    return mute, doubtful


def _rung(name: str, reading: Reading) -> str:
    """How the reading's row names the still, in words."""
    rank, pattern = max((match_rank(name, p), p) for p in reading.stills)
    how = {GLOB: f"'{pattern}'", NUMBER: f"its number in '{pattern}'", FOLDER: f"its folder '{pattern}'"}
    return f"{how.get(rank, 'named')} in row {reading.row}"
