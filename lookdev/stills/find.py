"""The stills of a scout: every picture in a folder and below, and what could not be looked into."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from lookdev.errors import StillError
from lookdev.stills.formats import STILL_SUFFIXES

Tell = Callable[[StillError], None]


def find_stills(folder: Path, tell: Tell = lambda problem: None) -> list[Path]:
    """Every still in ``folder`` and below, by suffix, sorted by path; hidden files and folders left out.

    A linked folder is looked into, once by whatever name, unless the scout itself lies in it. A folder that
    is named like a still and holds none is among them: reading it says what it is.

    Parameters
    ----------
    tell : hears of each folder below that cannot be looked into.

    Raises
    ------
    StillError : no such folder, or it cannot be listed.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise StillError("no such folder", file=folder)
    walk = _Walk(folder, tell)
    walk.into(folder)
    while walk.links:  # after all that lies here itself, so that this keeps its own name
        walk.follow(walk.links.pop(0))
    parents = {parent for path in walk.found for parent in path.parents}
    found = walk.found + [path for path in walk.misnamed if path not in parents]
    return sorted(found, key=lambda p: p.relative_to(folder).parts)


class _Walk:
    def __init__(self, scout: Path, tell: Tell) -> None:
        self.scout, self.tell = scout, tell
        self.found: list[Path] = []
        self.misnamed: list[Path] = []
        self.links: list[Path] = []
        self._seen: set[tuple[int, int]] = set()

    def into(self, top: Path) -> None:
        """Everything below that is no linked folder."""
        todo = [top]
        while todo:
            here = todo.pop()
            try:
                state = here.stat()
                if (state.st_dev, state.st_ino) in self._seen:
                    continue
                self._seen.add((state.st_dev, state.st_ino))
                entries = sorted(os.scandir(here), key=lambda entry: entry.name)
            except OSError as error:
                if here == self.scout:
                    raise StillError(f"cannot be read: {error.strerror or error}", file=here) from error
                self._missing(here, f"cannot be looked into: {error.strerror or error}")
                continue
            for entry in entries:
                path = here / entry.name
                if entry.name.startswith("."):
                    continue
                if not self._is_folder(entry):
                    self.found += [path] if _is_named_like_a_still(entry.name) else []
                    continue
                self.misnamed += [path] if _is_named_like_a_still(entry.name) else []
                (self.links if entry.is_symlink() else todo).append(path)

    def follow(self, link: Path) -> None:
        """A linked folder, and what lies below."""
        target = link.resolve()
        if target in self.scout.resolve().parents:
            self._missing(link, "is a link to a folder that the scout lies in")
        else:
            self.into(link)

    def _is_folder(self, entry: os.DirEntry[str]) -> bool:
        try:
            return entry.is_dir()
        except OSError:
            return False

    def _missing(self, folder: Path, problem: str) -> None:
        name = folder.relative_to(self.scout).as_posix()
        self.tell(
            StillError(problem, file=name, wanted="a folder that can be read, or its stills are left out")
        )


def _is_named_like_a_still(name: str) -> bool:
    return not name.startswith(".") and Path(name).suffix.lower() in STILL_SUFFIXES
