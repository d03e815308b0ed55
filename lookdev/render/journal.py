"""What a batch has done, so that an interrupted one can go on: keys over content, never over time stamps.

The journal is a file of JSON lines. A line is added, and flushed to the disk, after the output that it speaks
of has got its name; a line cut short by a crash is left out when it is read. Whether an output is up to date
is decided by its record *and* its present content. Lines of earlier runs stay as long as their files do, as
they tell which files are ours (:mod:`lookdev.jobs.leftovers`).
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache
from io import FileIO
from pathlib import Path
from typing import Any

import lookdev
from lookdev.errors import LookdevError, RequestError
from lookdev.files import read_ordinary, write_whole
from lookdev.outputs import hold

_PART = re.compile(r"\..+\.\d+\.part")


@dataclass(frozen=True)
class Record:
    """One line of the journal.

    Attributes
    ----------
    path : the output, relative to the batch's folder where it lies in it.
    key : what the output was made from, as :func:`content_key` says it; empty where no run builds on it.
    sha256 : content of the output.
    facts : what reports want to know about the still, so that it need not be read again.
    thumbnail_sha256 : content of its thumbnail, where there is one.
    """

    path: str
    key: str
    sha256: str
    facts: dict[str, Any] = field(default_factory=dict)
    thumbnail_sha256: str | None = None


def content_key(*parts: object) -> str:
    """SHA-256 over ``parts``: anything that JSON can say, and dataclasses of it; in hexadecimal.

    >>> content_key("a", 1)[:12]
    '135f17a475a6'
    """
    text = json.dumps(parts, ensure_ascii=True, sort_keys=True, separators=(",", ":"), default=_plain)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: getattr(value, f.name) for f in fields(value)}
    if isinstance(value, Path):
        return value.as_posix()
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"no key can be made of {type(value).__name__}")


def tool_version() -> str:
    """The version and a digest of the package's files: what another tool made is never taken for ours."""
    with _version_lock:  # several threads ask at once
        return _tool_version()


_version_lock = threading.Lock()


@cache
def _tool_version() -> str:
    digest = hashlib.sha256()
    home = Path(lookdev.__file__).parent
    for folder, folders, names in os.walk(home):
        folders[:] = sorted(name for name in folders if name != "__pycache__")
        below = Path(folder).relative_to(home).as_posix()
        for name in sorted(names):
            digest.update(f"{below}/{name}".encode() + b"\0" + Path(folder, name).read_bytes())
    return f"{lookdev.__version__}+{digest.hexdigest()[:16]}"


class Journal:
    """The journal of one batch folder. Made by :func:`open_journal`."""

    def __init__(self, home: Path, records: dict[str, Record], handle: FileIO, is_kept: bool) -> None:
        self._home, self._records, self._handle = home, records, handle
        self._is_kept, self._is_torn = is_kept, False
        self._lock = threading.Lock()

    @property
    def earlier(self) -> list[Record]:
        """What earlier runs left, whether or not this one builds on it."""
        return list(self._records.values())

    def name(self, path: Path) -> str:
        """How the journal calls an output."""
        here = path.absolute()
        return here.relative_to(self._home).as_posix() if here.is_relative_to(self._home) else here.as_posix()

    def records_for(self, paths: Iterable[Path]) -> dict[str, Record]:
        """Records by ``str(path)``, where there are any; none in a run that builds on no earlier one."""
        if not self._is_kept:
            return {}
        found = {str(path): self._records.get(self.name(path)) for path in paths}
        return {path: record for path, record in found.items() if record is not None}

    def add(self, records: Iterable[Record]) -> str | None:
        """Add lines and flush them to the disk.

        Returns what is wrong where they cannot be kept (a full disk): that costs ``--resume`` some work over
        again, and the run goes on.
        """
        text = "".join(map(_line, records))
        if not text:
            return None
        with self._lock:
            return self._append(text)

    def _append(self, text: str) -> str | None:
        data = (("\n" if self._is_torn else "") + text).encode("ascii")
        try:
            written = self._handle.write(data) or 0
            self._is_torn = written < len(data)
            os.fsync(self._handle.fileno())
        except OSError as error:
            self._is_torn = True
            return f"the journal cannot be written: {error.strerror or error}"
        return "the journal cannot be written: the disk is full" if self._is_torn else None


@contextmanager
def open_journal(state: Path, *, keep: bool) -> Iterator[Journal]:
    """The journal in ``state``; the records of earlier runs are found in it if ``keep``.

    Lines that are superseded or cannot be read go; without ``keep`` also those of files that are gone.

    Raises
    ------
    LookdevError : it cannot be read or written, or is no ordinary file.
    """
    path = state / "journal.jsonl"
    if path.exists() and not path.is_file():  # a pipe would be waited for without end
        raise LookdevError("is no ordinary file", file=path, wanted="it moved away, or another --out")
    try:
        records = _read(path)
        home = state.parent.absolute()
        if not keep:
            records = {name: record for name, record in records.items() if (home / name).is_file()}
        text = "".join(map(_line, records.values()))
        if path.exists() and read_ordinary(path) != text.encode("ascii"):
            with suppress(LookdevError):  # a full disk: what is there does as well
                write_whole(path, text)
        with path.open("ab", buffering=0) as handle:
            if handle.tell() and not path.read_bytes().endswith(b"\n"):
                handle.write(b"\n")
            yield Journal(home, records, handle, keep)
    except OSError as error:
        raise LookdevError(f"cannot be written: {error.strerror or error}", file=path) from error


def _line(record: Record) -> str:
    return json.dumps(vars(record), ensure_ascii=True, sort_keys=True) + "\n"


def _read(path: Path) -> dict[str, Record]:
    records: dict[str, Record] = {}
    text = read_ordinary(path).decode("utf-8", "replace") if path.exists() else ""
    for line in text.splitlines():
        with suppress(ValueError, TypeError, RecursionError):
            record = Record(**json.loads(line))
            if _is_sound(record):
                records.pop(record.path, None)
                records[record.path] = record
    return records


def _is_sound(record: Record) -> bool:
    """Whether a line holds what was once written, and not what an editor made of it."""
    if not isinstance(record.facts, dict):
        return False
    texts = [record.path, record.key, record.sha256, record.thumbnail_sha256 or ""]
    texts += [record.facts.get(name) or "" for name in ("encoding", "encoding_origin", "stood_sha256")]
    lists = [record.facts.get(name, []) for name in ("warnings", "notes")]
    if not all(isinstance(each, list) for each in lists):
        return False
    return all(isinstance(text, str) for text in (*texts, *(line for each in lists for line in each)))


@contextmanager
def folder_lock(state: Path) -> Iterator[None]:
    """Hold a batch's folder, the one that ``state`` lies in, as :func:`lookdev.outputs.hold` does.

    Raises
    ------
    RequestError : another run holds it, or the folder cannot be written.
    """
    with hold(state.parent):
        try:
            state.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RequestError(f"cannot be written: {error.strerror or error}", file=state.parent) from error
        yield


def sweep_parts(folders: Iterable[Path]) -> None:
    """Remove half-written files that a killed batch left in ``folders``."""
    for folder in folders:
        with suppress(OSError):
            for path in folder.iterdir():
                if _PART.fullmatch(path.name):
                    path.unlink(missing_ok=True)
