"""A bound on the bytes of stills in hand at the same time, in one process.

Pixels a still are bounded by the reader; this bounds what several workers hold together. A still that needs
more than the whole bound has its turn alone; one that needs more than the machine's memory is refused.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from threading import Condition

from lookdev.cores import usable_cores
from lookdev.errors import StillError

SHARE_OF_MEMORY = 0.5
_LEAST_BYTES = 1 << 30
_CGROUP_LIMITS = ("/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory/memory.limit_in_bytes")


@cache
def machine_bytes() -> int:
    """Memory that this process may use: the machine's, or what a container or a limit leaves of it."""
    found = []
    try:
        found.append(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    except (AttributeError, OSError, ValueError):  # not a system that says
        found.append(8 << 30)
    for name in _CGROUP_LIMITS:
        try:
            found.append(int(Path(name).read_text()))
        except (OSError, ValueError):  # no limit, or no such place
            continue
    try:
        import resource

        soft, _ = resource.getrlimit(resource.RLIMIT_AS)
        if soft != resource.RLIM_INFINITY:
            found.append(soft)
    except (ImportError, OSError, ValueError):
        pass
    return min(found)


def worker_count(asked: int | None) -> int:
    """Workers ``asked`` for; as many as cores where nobody said."""
    return asked or usable_cores()


class Place:
    """What one still takes of the bound while it is in hand."""

    def __init__(self, gate: BytesInFlight) -> None:
        self._gate, self.held = gate, 0

    def take(self, count: int) -> None:
        """Wait until ``count`` bytes fit, and take them; once a still.

        Raises
        ------
        StillError : the machine has not so much memory at all.
        """
        self._gate.wait_for(count)
        self.held += count


class BytesInFlight:
    """Lets stills in as long as their bytes fit together.

    Parameters
    ----------
    limit_bytes : what may be in hand; None for half of the machine's memory.
    """

    def __init__(self, limit_bytes: int | None = None) -> None:
        self._limit, self._used = limit_bytes, 0
        self._changed = Condition()

    @property
    def limit_bytes(self) -> int:
        """What may be in hand at the same time."""
        return self._limit or max(_LEAST_BYTES, int(machine_bytes() * SHARE_OF_MEMORY))

    def wait_for(self, count: int) -> None:
        """Take ``count`` bytes as soon as they fit, or as soon as nothing else is in hand."""
        if count > machine_bytes():
            raise StillError(
                "the picture needs more memory than there is",
                found=f"{count / 1e9:.1f} GB",
                wanted=f"at most {machine_bytes() / 1e9:.1f} GB",
            )
        with self._changed:
            self._changed.wait_for(lambda: self._used == 0 or self._used + count <= self.limit_bytes)
            self._used += count

    def give_back(self, count: int) -> None:
        """Let others have ``count`` bytes."""
        with self._changed:
            self._used -= count
            self._changed.notify_all()

    @contextmanager
    def place(self) -> Iterator[Place]:
        """A place for one still; what it took is given back at the end."""
        place = Place(self)
        try:
            yield place
        finally:
            self.give_back(place.held)


IN_FLIGHT = BytesInFlight()
"""The bound that all workers of this process share."""
