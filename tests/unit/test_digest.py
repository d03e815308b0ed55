"""A file's content is told by its bytes; one that lies still is read once, one that was touched again."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from lookdev.stills import digest


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The digests that were worked out from a file."""
    found: list[str] = []
    real = hashlib.file_digest

    def file_digest(handle: object, name: str) -> object:
        made = real(handle, name)  # type: ignore[arg-type]
        found.append(made.hexdigest())
        return made

    monkeypatch.setattr(hashlib, "file_digest", file_digest)
    monkeypatch.setattr(digest, "_SEEN", {})
    return found


def test_what_lies_still_is_read_once(
    tmp_path: Path, reads: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(digest, "_AT_REST_NS", -1)  # whatever its age
    path = tmp_path / "a"
    path.write_bytes(b"one")
    assert digest.file_sha256(path) == digest.file_sha256(path) == hashlib.sha256(b"one").hexdigest()
    assert len(reads) == 1
    other = tmp_path / "b"
    path.rename(other)
    path.write_bytes(b"two")
    assert digest.file_sha256(path) == hashlib.sha256(b"two").hexdigest()


def test_a_date_that_was_put_back_hides_nothing(
    tmp_path: Path, reads: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(digest, "_AT_REST_NS", -1)
    path = tmp_path / "a"
    path.write_bytes(b"one")
    before = path.stat()
    digest.file_sha256(path)
    while path.stat().st_ctime_ns == before.st_ctime_ns:  # until the file system's clock goes on
        path.write_bytes(b"two")
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert path.stat().st_mtime_ns == before.st_mtime_ns
    assert digest.file_sha256(path) == hashlib.sha256(b"two").hexdigest()


def test_what_was_just_written_is_read_again(tmp_path: Path, reads: list[str]) -> None:
    """A write within one tick of the file system's clock would not show."""
    path = tmp_path / "a"
    path.write_bytes(b"one")
    digest.file_sha256(path)
    digest.file_sha256(path)
    assert len(reads) == 2
