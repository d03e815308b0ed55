"""Files of stills, read whole or bit by bit, and refused where they change meanwhile."""

from __future__ import annotations

import io
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from lookdev.errors import StillError


def read_file(path: Path, first_bytes: int | None = None) -> bytes:
    """The whole of a regular file, or its ``first_bytes``, refused if it changes meanwhile.

    Raises
    ------
    StillError : missing, a folder, no permission, no regular file, empty, or changed while it was read.
    """
    with open_file(path) as file:
        data = file.read() if first_bytes is None else file.read(first_bytes)
        size = file.length if first_bytes is None else min(first_bytes, file.length)
        if len(data) != size:
            raise _changed(path)
    return data


class OpenFile(io.BufferedReader):
    """A file of so many bytes; who asks for more takes no memory for what is not there."""

    def __init__(self, path: Path) -> None:
        super().__init__(path.open("rb", buffering=0))
        self.length = os.fstat(self.fileno()).st_size

    def read(self, size: int | None = -1, /) -> bytes:
        """At most ``size`` bytes from here on; all for None or less than nothing."""
        left = max(0, self.length - self.tell())
        return super().read(left if size is None or size < 0 else min(size, left))


@contextmanager
def open_file(path: Path) -> Iterator[OpenFile]:
    """A regular file, open to read, refused if it has changed at the end.

    Raises
    ------
    StillError : missing, a folder, no permission, no regular file, empty, or changed while it was read.
    """
    try:
        before = path.stat()
        if stat.S_ISDIR(before.st_mode):
            raise StillError("this is a folder", file=path, wanted="a picture")
        if not stat.S_ISREG(before.st_mode):
            raise StillError("this is no regular file", file=path, wanted="a picture")
        file = OpenFile(path)
    except OSError as error:
        gone = path.is_symlink() and not path.exists()
        what = "the link leads nowhere" if gone else f"cannot be read: {error.strerror or error}"
        raise StillError(what, file=path) from error
    with file:
        problem: StillError | None = None
        try:
            yield file
        except OSError as error:
            problem = StillError(f"cannot be read: {error.strerror or error}", file=path)
            problem.__cause__ = error
        except StillError as error:
            problem = error
        if _identity(before) != _identity(os.fstat(file.fileno())):
            raise _changed(path) from problem
    if problem is not None:
        raise problem
    if not file.length:
        raise StillError("the file is empty", file=path)


def _identity(state: os.stat_result) -> tuple[int, int, int]:
    return state.st_size, state.st_mtime_ns, state.st_ino


def _changed(path: Path) -> StillError:
    return StillError("the file changed while it was read", file=path, wanted="a finished copy; try again")
