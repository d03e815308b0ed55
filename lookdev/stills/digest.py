"""What a file's content is told by."""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path

from lookdev.errors import StillError
from lookdev.stills.formats import CLIP_SUFFIXES

END_BYTES = 1 << 25


def file_sha256(path: Path) -> str:
    """SHA-256 of a file's content, in hexadecimal.

    A file that was read before in this process is not read again if nothing has touched it since and, when
    it was read, for long enough that its clock would have shown it.

    Raises
    ------
    StillError : it cannot be read.
    """
    try:
        with path.open("rb") as handle:
            found = os.fstat(handle.fileno())
            state = (found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)
            digest = _SEEN.get(state)
            if digest is None:
                at_rest = time.time_ns() - max(found.st_mtime_ns, found.st_ctime_ns) > _AT_REST_NS
                digest = hashlib.file_digest(handle, "sha256").hexdigest()
                if at_rest and len(_SEEN) < _MOST_SEEN:
                    _SEEN[state] = digest
            return digest
    except OSError as error:
        raise StillError(f"cannot be read: {error.strerror or error}", file=path) from error


_SEEN: dict[tuple[int, ...], str] = {}
_MOST_SEEN = 100_000
_AT_REST_NS = 3_000_000_000  # the coarsest file system counts in two seconds


def still_sha256(path: Path) -> str:
    """As :func:`file_sha256`; of a clip over twice END_BYTES its length, beginning and end, after ``ends:``.

    One of the two holds the clip's index, which changes with whatever is cut or encoded again.

    Raises
    ------
    StillError : it cannot be read.
    """
    if path.suffix.lower() not in CLIP_SUFFIXES:
        return file_sha256(path)
    try:
        with path.open("rb") as handle:
            length = path.stat().st_size
            if length <= 2 * END_BYTES:
                return hashlib.file_digest(handle, "sha256").hexdigest()
            digest = hashlib.sha256(str(length).encode() + handle.read(END_BYTES))
            handle.seek(length - END_BYTES)
            digest.update(handle.read(END_BYTES))
    except OSError as error:
        raise StillError(f"cannot be read: {error.strerror or error}", file=path) from error
    return "ends:" + digest.hexdigest()
