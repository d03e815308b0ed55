"""What this tool wrote into a folder; and what stands there under the same names and is not its own.

A person works on what they were given: a graded still goes through a retoucher's hands and back into its
folder, a page is saved again with notes on it. A later run writes the same names. So each run notes what it
wrote, by content, in ``.lookdev`` of the folder (a batch in its journal), and before the next one writes,
whatever has other content than was noted goes into ``kept`` and is named.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path

from lookdev.errors import LookdevError, RequestError, one_line
from lookdev.files import count_written, read_ordinary, write_whole
from lookdev.stills.digest import file_sha256

STATE, KEPT = ".lookdev", "kept"
_JOURNAL, _NOTES = "journal.jsonl", "written.jsonl"
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
    moved = _keep_aside(out, planned(), verb)
    if moved:
        say(_words(moved, out))
    try:
        yield
    finally:
        with suppress(LookdevError):  # a full disk: what was written is kept aside next time
            _note(out, planned(), verb)


def _keep_aside(out: Path, names: Iterable[Path], verb: str) -> list[tuple[Path, Path]]:
    there = [path for path in _there(names) if not path.is_symlink()]
    if not there:
        return []
    known = _Known()
    foreign = [path for path, digest in _digests(there) if not known.is_ours(path, digest, verb)]
    return [(path, _move(path, out)) for path in foreign]


def _there(names: Iterable[Path]) -> list[Path]:
    return [path for path in dict.fromkeys(names) if STATE not in path.parts and path.is_file()]


def _digests(paths: list[Path]) -> Iterable[tuple[Path, str | None]]:
    def digest(path: Path) -> str | None:
        try:
            return file_sha256(path)
        except LookdevError:
            return None

    with ThreadPoolExecutor() as pool:
        return list(zip(paths, pool.map(digest, paths), strict=True))


class _Known:
    """What was noted in the folders around a file, each read once."""

    def __init__(self) -> None:
        self._notes: dict[Path, dict[Path, set[tuple[str, str]]]] = {}

    def is_ours(self, path: Path, digest: str | None, verb: str) -> bool:
        here = path.absolute()
        alike = _OF_BATCH if verb == _BATCH else {verb, *([_BATCH] if verb in _OF_BATCH else [])}
        return any(
            digest == noted and by in alike
            for folder in here.parents
            for by, noted in self._of(folder).get(here, ())
        )

    def _of(self, folder: Path) -> dict[Path, set[tuple[str, str]]]:
        if folder not in self._notes:
            found: defaultdict[Path, set[tuple[str, str]]] = defaultdict(set)
            for name in (_JOURNAL, _NOTES):
                for line in _lines(folder / STATE / name):
                    found[folder / line["path"]].add((line.get("by", _BATCH), line["sha256"]))
            self._notes[folder] = found
        return self._notes[folder]


def _lines(path: Path) -> Iterator[dict[str, str]]:
    """Sound lines; what an editor or a crash made of others is passed over."""
    try:
        text = read_ordinary(path).decode("utf-8", "replace") if path.exists() else ""
    except OSError:
        return
    for line in text.splitlines():
        with suppress(ValueError, RecursionError):
            said = json.loads(line)
            if isinstance(said, dict):
                kept = {key: said.get(key, _BATCH) for key in ("by", "path", "sha256")}
                if all(isinstance(text, str) for text in kept.values()):
                    yield kept


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
    journalled = {line["path"] for line in _lines(out / STATE / _JOURNAL)} if verb == _BATCH else set()
    there = [
        path
        for path in _there(names)
        if path.absolute().is_relative_to(home) and _name(path, home) not in journalled
    ]
    notes = {line["path"]: line for line in _lines(out / STATE / _NOTES) if (home / line["path"]).is_file()}
    for path, digest in _digests(there):
        if digest is not None:
            name = _name(path, home)
            notes[name] = {"by": verb, "path": name, "sha256": digest}
    if notes:
        lines = (json.dumps(notes[name], sort_keys=True) + "\n" for name in sorted(notes))
        write_whole(out / STATE / _NOTES, "".join(lines))


def _name(path: Path, home: Path) -> str:
    return path.absolute().relative_to(home).as_posix()
