"""Nodes of a lattice: where they lie, and which are worked out already."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.render import kernel

CHUNK = 1 << 16
"""Colours that go through a look at a time."""


def places(numbers: NDArray[np.integer], side: int) -> NDArray[np.intp]:
    """Red, green and blue place (n, 3) of numbered nodes, or cells, of which there are ``side`` a channel."""
    rest, red = np.divmod(numbers.astype(np.intp), side)
    return np.stack([red, rest % side, rest // side], axis=-1)


class NodeCompiler:
    """Which nodes of a lattice are known, and one thread at a time working out more.

    It does not know its lattice: two that know each other are freed when the collector comes by, and it does
    not see how large they are.
    """

    def __init__(self, cells_a_channel: int) -> None:
        self._cells_a_channel = cells_a_channel
        self._known = np.zeros((cells_a_channel + 1) ** 3, dtype=np.bool_)
        self._done = np.zeros(cells_a_channel**3, dtype=np.bool_)
        self._lock = threading.Lock()

    @property
    def busy(self) -> bool:
        return self._lock.locked()

    def ensure(self, cells: NDArray[np.integer], work_out: Callable[[NDArray[np.uint32]], None]) -> None:
        """Have the nodes of numbered ``cells`` that are not known yet worked out.

        ``work_out`` gets them a chunk at a time, those of lower numbers first.
        """
        if self._done[cells].all():
            return
        with self._lock:
            new = np.sort(kernel.new_nodes(cells, self._cells_a_channel, self._known))
            try:
                for start in range(0, len(new), CHUNK):
                    work_out(new[start : start + CHUNK])
            except BaseException:
                self._known[new] = False
                raise
            self._done[cells] = True


def grown(rows: NDArray[Any], held: int, more: int) -> NDArray[Any]:
    """Room for twice as many rows as there are to be, with those ``held``; the rest zeros."""
    room = np.zeros((2 * (held + more), *rows.shape[1:]), dtype=rows.dtype)
    room[:held] = rows[:held]
    return room
