"""What a file's content is told by."""

from __future__ import annotations

import hashlib
from pathlib import Path

from lookdev.errors import StillError
from lookdev.stills.formats import CLIP_SUFFIXES

END_BYTES = 1 << 25


def file_sha256(path: Path) -> str:
    """SHA-256 of a file's content, in hexadecimal.

    Raises
    ------
    StillError : it cannot be read.
    """
    try:
        with path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest()
    except OSError as error:
        raise StillError(f"cannot be read: {error.strerror or error}", file=path) from error


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
