"""Memory that goes from one still to the next: to touch new pages takes as long as to put a look on them."""

from __future__ import annotations

import threading

import numpy as np
from numpy.typing import NDArray


class Buffers:
    """Memory of stills that are done, for those that come.

    The limit is five pictures of 24 MP, two stills in hand and the pitch's own: eight lay idle while LibRaw
    decoded the next two.
    """

    def __init__(self, limit_bytes: int = 400_000_000) -> None:
        self._limit = limit_bytes
        self._kept: list[NDArray[np.uint8]] = []
        self._lock = threading.Lock()

    def take(self, size_bytes: int) -> NDArray[np.uint8]:
        """(size_bytes,), filled with anything."""
        with self._lock:
            for i, buffer in enumerate(self._kept):
                if buffer.size == size_bytes:
                    return self._kept.pop(i)
            # of another size of still; a still read at half its size or less does not cost the others theirs,
            # and 8-bit codes are half as large as 16-bit ones
            self._kept = [
                kept
                for kept in self._kept
                if kept.size > 3 * size_bytes or kept.size in (2 * size_bytes, size_bytes // 2)
            ]
        return np.empty(size_bytes, dtype=np.uint8)

    def give(self, buffer: NDArray[np.uint8]) -> None:
        """Keep ``buffer``, if that is not too much."""
        with self._lock:
            if buffer.size + sum(kept.size for kept in self._kept) <= self._limit:
                self._kept.append(buffer)


BUFFERS = Buffers()


class Loan:
    """Memory taken for one still."""

    def __init__(self) -> None:
        self._taken: list[NDArray[np.uint8]] = []

    def take(self, size_bytes: int) -> NDArray[np.uint8]:
        """As :meth:`Buffers.take`."""
        self._taken.append(BUFFERS.take(size_bytes))
        return self._taken[-1]

    def give_back(self, in_use: NDArray[np.generic] | None = None) -> None:
        """Give back what was taken, but for memory that ``in_use`` lies in."""
        taken, self._taken = self._taken, []
        for memory in taken:
            if in_use is not None and np.may_share_memory(memory, in_use):
                self._taken.append(memory)
            else:
                BUFFERS.give(memory)
