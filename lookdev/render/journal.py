"""What a batch has done, so that an interrupted one can go on: keys over content, never over time stamps."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from lookdev.errors import StillError


@dataclass(frozen=True)
class Record:
    """One line of the journal: ``path`` was written from inputs with ``key`` and has content ``sha256``."""

    path: str
    key: str
    sha256: str
    facts: dict[str, object]


def file_sha256(path: Path) -> str:
    """SHA-256 of a file's content, in hexadecimal."""
    try:
        with path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest()
    except OSError as error:
        raise StillError(f"cannot be read: {error.strerror or error}", file=path) from error


def content_key(*parts: object) -> str:
    """SHA-256 over ``parts`` (anything that JSON can say), in hexadecimal.

    >>> content_key("a", 1)[:12]
    '135f17a475a6'
    """
    text = json.dumps(parts, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
