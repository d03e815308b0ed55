"""Stills at the size of the pitch, made where a batch reads them anyway, until their places are drawn."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lookdev.jobs.pitch_plan import Spot
    from lookdev.stills.still import Still

MOST_BYTES = 150_000_000
"""Of all that wait for the others of their places: some fifteen of 8 bits."""


class ReadAhead:
    """The first stills of some places; safe between threads.

    Where it is still to be found out which still stands for a place, the first is no more than likely, and
    to make a picture of 24 MP smaller takes about as long as to decode a JPEG again: of a JPEG that is then
    not tried. Other formats take three times as long to decode, or more.
    """

    def __init__(self, spots: Iterable[Spot]) -> None:
        self._wanted = {spot.stills[0].name: bool(spot.why) for spot in spots}
        self._kept: dict[str, Still] = {}
        self._lock = threading.Lock()

    def wants(self, name: str, kind: str) -> bool:
        """Whether a still of that name and format is to be kept."""
        with self._lock:
            held = sum(still.pixels.nbytes for still in self._kept.values())
            likely = self._wanted.get(name) or kind != "JPEG"
            return name in self._wanted and likely and held < MOST_BYTES

    def keep(self, name: str, still: Still | None) -> None:
        """Keep it, if there is one, unless its place has begun meanwhile."""
        with self._lock:
            if still is not None and name in self._wanted:
                self._kept[name] = still

    def take(self, name: str) -> Still | None:
        """The still, if it is there; from now on it is not wanted."""
        with self._lock:
            self._wanted.pop(name, None)
            return self._kept.pop(name, None)
