"""What this tool wrote into a folder; and what stands there under the same names and is not its own.

A person works on what they were given: a graded still goes through a retoucher's hands and back into its
folder, a page is saved again with notes on it. A later run writes the same names. So each run notes what it
wrote, by content: a batch in its journal, all others in the user's own state folder, as digests that tell
neither place nor picture. Before the next one writes, what has other content goes into ``kept`` and is named.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path

from lookdev.errors import LookdevError, RequestError, one_line
from lookdev.files import count_written, read_ordinary, write_whole
from lookdev.stills.digest import file_sha256

STATE, KEPT = ".lookdev", "kept"
_MOST_NOTES = 200_000
_BATCH = "batch"
_OF_BATCH = frozenset({_BATCH, "cube", "pitch", "sheet"})
_NAMED = 6  # files; more are counted


@contextmanager
def keeping(
    out: Path, planned: Callable[[], Iterable[Path]], verb: str, say: Callable[[str], None]
) -> Iterator[None]:
    """Keep aside what others left under the ``planned`` names in ``out``; note afterwards what was written.

    ``planned`` : asked before and afterwards, as further pages come about.
    ``verb`` : whose files they are to be. What one verb wrote is another's to write over only where a batch
    makes the same. ``say`` gets a line where anything was kept.

    Raises
    ------
    RequestError : such a file cannot be moved.
    """
    running = _running(out, verb)
    if running is None or not running.exists():  # else a run was killed, and what is there is what it left
        moved = _keep_aside(out, planned(), verb)
        if moved:
            say(_words(moved, out))
    if running is not None:
        with suppress(OSError):
            running.parent.mkdir(parents=True, exist_ok=True)
            running.touch()
    try:
        yield
    finally:
        _note(out, planned(), verb)
        if running is not None:
            with suppress(OSError):
                running.unlink(missing_ok=True)
                running.parent.rmdir()  # where nothing else came into it


def _running(out: Path, verb: str) -> Path | None:
    """The mark of a run that has begun and not ended; the folder is held, so that one there is of the dead.

    What others had left was kept aside before it wrote its first file: whatever it left is its own.
    """
    if verb == _BATCH:
        return out / STATE / "running"
    try:
        place = os.fsencode(out.resolve())
        return _notes_file().with_name(hashlib.sha256(verb.encode() + b"\0" + place).hexdigest())
    except (OSError, RuntimeError):
        return None


def _keep_aside(out: Path, names: Iterable[Path], verb: str) -> list[tuple[Path, Path]]:
    there = [path for path in _there(names) if not path.is_symlink()]
    if not there:
        return []
    notes = _read_notes()
    if notes is None and verb != _BATCH:  # a machine that keeps no notes: all would be kept every time
        return []
    known = _Known(notes or frozenset())
    foreign = [path for path, digest in _digests(there) if not known.is_ours(path, digest, verb)]
    return [(path, _move(path, out)) for path in foreign]


def _there(names: Iterable[Path]) -> list[Path]:
    return [path for path in dict.fromkeys(names) if STATE not in path.parts and path.is_file()]


def _digests(paths: list[Path]) -> list[tuple[Path, str | None]]:
    def digest(path: Path) -> str | None:
        try:
            return file_sha256(path)
        except LookdevError:
            return None

    with ThreadPoolExecutor() as pool:
        return list(zip(paths, pool.map(digest, paths), strict=True))


class _Known:
    """What was noted: by the batches around a file, each read once, and on this machine."""

    def __init__(self, noted: frozenset[str]) -> None:
        self._noted, self._journals = noted, dict[Path, set[tuple[Path, str]]]()

    def is_ours(self, path: Path, digest: str | None, verb: str) -> bool:
        if digest is None:
            return False
        alike = _OF_BATCH if verb == _BATCH else {verb, *([_BATCH] if verb in _OF_BATCH else [])}
        if any(_note_of(by, path, digest) in self._noted for by in alike):
            return True
        here = path.absolute()
        return _BATCH in alike and any((here, digest) in self._of(folder) for folder in here.parents)

    def _of(self, folder: Path) -> set[tuple[Path, str]]:
        if folder not in self._journals:
            self._journals[folder] = {(folder / path, digest) for path, digest in _journalled(folder)}
        return self._journals[folder]


def _journalled(folder: Path) -> Iterator[tuple[str, str]]:
    """Path and content of what a batch's journal in ``folder`` knows; lines that are none are passed over."""
    try:
        path = folder / STATE / "journal.jsonl"
        text = read_ordinary(path).decode("utf-8", "replace") if path.exists() else ""
    except OSError:
        return
    for line in text.splitlines():
        with suppress(ValueError, RecursionError):
            said = json.loads(line)
            if isinstance(said, dict) and isinstance(said.get("path"), str):
                yield said["path"], str(said.get("sha256"))


def _notes_file() -> Path:
    from platformdirs import user_state_path

    path = user_state_path("lookdev") / "written"
    path.parent.mkdir(parents=True, exist_ok=True)
    return path


def _read_notes() -> frozenset[str] | None:
    """What was written on this machine; None where it cannot be noted."""
    try:
        path = _notes_file()
        with path.open("ab"):
            lines = read_ordinary(path).decode("ascii", "replace").split()
        if len(lines) > 2 * _MOST_NOTES:
            write_whole(path, "\n".join(lines := lines[-_MOST_NOTES:]) + "\n")
    except (OSError, RuntimeError, LookdevError):
        return None
    return frozenset(lines)


def _note_of(verb: str, path: Path, digest: str) -> str:
    """One note: who wrote what content under what name, and not where."""
    return hashlib.sha256(f"{verb}\0{path.name}\0{digest}".encode("utf-8", "surrogateescape")).hexdigest()


def _move(path: Path, out: Path) -> Path:
    inside = path.relative_to(out) if path.is_relative_to(out) else Path(path.name)
    first = (out if path.is_relative_to(out) else path.parent) / KEPT / inside
    to, count = first, 1
    while to.exists() or to.is_symlink():
        count += 1
        to = first.with_name(f"{first.stem}_{count}{first.suffix}")
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        path.rename(to)
    except OSError as error:
        raise RequestError(
            f"is not of lookdev's writing, stands where an output goes and cannot be moved: "
            f"{error.strerror or error}",
            file=path,
            wanted="it moved away, or another folder (--out DIR)",
        ) from error
    count_written(to)
    return to


def _words(moved: list[tuple[Path, Path]], out: Path) -> str:
    def shown(path: Path) -> str:
        return one_line(path.relative_to(out).as_posix() if path.is_relative_to(out) else str(path))

    names = [f"{shown(path)} (now {shown(to)})" for path, to in moved[:_NAMED]]
    rest = len(moved) - len(names)
    return (
        "stood where outputs go, but was not written by this verb, or was changed since, and is kept: "
        + ", ".join(names)
        + (f", and {rest} more" if rest else "")
    )


def _note(out: Path, names: Iterable[Path], verb: str) -> None:
    """Note the content of what is there now; the batch's journal knows its own."""
    home = out.absolute()
    known = {home / path for path, _ in _journalled(home)} if verb == _BATCH else set()
    there = [path for path in _there(names) if path.absolute() not in known]
    notes = [_note_of(verb, path, digest) for path, digest in _digests(there) if digest is not None]
    with suppress(OSError, RuntimeError), _notes_file().open("ab") as handle:
        handle.write("".join(f"{note}\n" for note in notes).encode("ascii"))
