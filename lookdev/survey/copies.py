"""Files of a scout with the same content: a card that was copied twice is graded once."""

from __future__ import annotations

import stat
from collections.abc import Callable, Hashable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from lookdev.errors import StillError

Item = TypeVar("Item")
FIRST_BYTES = 1 << 16


def alike(items: Iterable[Item], key: Callable[[Item], tuple[Path, Hashable]]) -> list[list[Item]]:
    """Groups of two and more whose files hold the same bytes, in order; what cannot be read is in none.

    Whole files are read only where size and first bytes agree.

    Parameters
    ----------
    key : the file, and what must be the same beside its content.
    """
    from lookdev.stills.digest import still_sha256

    def size(path: Path) -> Hashable:
        state = path.stat()
        if not stat.S_ISREG(state.st_mode) or not state.st_size:
            raise OSError("no content to compare")  # a pipe may never end
        return state.st_size

    def head(path: Path) -> Hashable:
        with path.open("rb") as handle:
            return handle.read(FIRST_BYTES)

    groups = [list(items)]
    for tell in (size, head, still_sha256):
        groups = [part for group in groups for part in _split(group, key, tell)]
    return groups


def _split(
    group: Sequence[Item], key: Callable[[Item], tuple[Path, Hashable]], tell: Callable[[Path], Hashable]
) -> list[list[Item]]:
    """The parts of a group of which ``tell`` says the same, if they are of two and more."""
    found: dict[Hashable, list[Item]] = {}
    for item in group:
        path, more = key(item)
        with suppress(OSError, StillError):
            found.setdefault((tell(path), more), []).append(item)
    return [part for part in found.values() if len(part) > 1]
