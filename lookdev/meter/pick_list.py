"""What to pack for the whole scout: our lamps, and the gel for ours and for theirs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lookdev.meter.filters import Match
    from lookdev.meter.notes import LocationNotes


@dataclass(frozen=True)
class PickLine:
    """One thing to pack.

    ``item`` : gel by its name. ``on`` : the lamp that it goes on. ``sheets`` : at once on one lamp, at most.
    ``places`` : where, in the order of the log.
    """

    item: str
    on: str
    is_ours: bool
    sheets: int
    places: tuple[str, ...]


def pick_list(notes: Sequence[LocationNotes]) -> tuple[PickLine, ...]:
    """Gel for our lamps (to match their lights and the balance), then gel for theirs (to the balance).

    Sheets are a lamp's: as many lamps, as many times.
    """
    ours: dict[tuple[str, str], dict[str, int]] = {}
    theirs: dict[tuple[str, str], dict[str, int]] = {}
    for place in notes:
        for found in place.ours_to_balance:
            if found.match is not None:
                _note(ours, found.lamp, place.location, found.match)
        for light in place.lights:
            for found in light.on_ours:
                if found.match is not None:
                    _note(ours, found.lamp, place.location, found.match)
            if light.to_balance is not None:
                name = light.reading.source or light.reading.name
                _note(theirs, name, place.location, light.to_balance)
    return (*_lines(ours, True), *_lines(theirs, False))


def _note(into: dict[tuple[str, str], dict[str, int]], lamp: str, place: str, match: Match) -> None:
    for item, count in Counter(match.filters).items():
        places = into.setdefault((lamp, item), {})
        places[place] = max(places.get(place, 0), count)


def _lines(found: dict[tuple[str, str], dict[str, int]], is_ours: bool) -> list[PickLine]:
    lamps = list(dict.fromkeys(lamp for lamp, _ in found))
    ordered = sorted(found, key=lambda key: lamps.index(key[0]))
    return [
        PickLine(item, lamp, is_ours, max(found[lamp, item].values()), tuple(found[lamp, item]))
        for lamp, item in ordered
    ]


def pick_data(line: PickLine) -> dict[str, Any]:
    """A line as JSON-ready data."""
    return {
        "gel": line.item,
        "on": line.on,
        "lamp_is_ours": line.is_ours,
        "sheets_on_a_lamp": line.sheets,
        "locations": list(line.places),
    }
