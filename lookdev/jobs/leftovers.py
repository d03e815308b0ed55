"""What earlier batches left in a folder and is not of this one: named after the run, removed where asked.

After a correction (a place renamed in the log, a look no longer asked for) the files under the old names are
still there, and look as good as the new ones. The journal knows every file that a batch wrote there, with its
digest; nothing else is ever taken for ours.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from lookdev.errors import LookdevError, one_line
from lookdev.jobs.common import Line, Tell
from lookdev.outputs import Inputs, identity
from lookdev.render.journal import Record, open_journal
from lookdev.stills.digest import file_sha256

_NAMED = 6  # files of one folder; more are counted


@dataclass(frozen=True)
class Made:
    """The files of this batch.

    Attributes
    ----------
    files : every file that it was to write, written or not.
    pages : of those that come as numbered pages (``NAME.png``, ``NAME_2.png``, ...), the first.
    written : sheets, pitch and LUTs, which the journal is to know from now on.
    thumbnails : small pictures that it needs.
    """

    files: Sequence[Path]
    pages: Sequence[Path]
    written: Sequence[Path]
    thumbnails: Sequence[Path]


def settle_leftovers(
    out: Path, made: Made, inputs: Inputs, *, tidy: bool, failed: int, tell: Tell
) -> list[Path]:
    """Write into the journal what was made; name what earlier batches left, or remove it if ``tidy``.

    Removed is what the journal says is ours and has not changed since, reached through no link; never an
    input, never a file of this batch under another name. Where something failed nothing is removed: that may
    be why a file was not made again.

    Returns the files that are still there.
    """
    state = out / ".lookdev"
    with open_journal(state, keep=True) as journal:
        there = _there(made.written)
        known = journal.records_for(there)  # with a key: noted when it was made
        fault = journal.add(
            Record(journal.name(path), "", file_sha256(path))
            for path in there
            if str(path) not in known or not known[str(path)].key
        )
        earlier = [record for record in journal.earlier if _is_below(record.path)]
        left = _not_of(made, out, earlier)
        ours: list[Path] = []
        others: list[Path] = []
        wanted = (*inputs.files, *made.files, *made.pages, *made.written)
        inodes = {key for path in wanted if (key := identity(path)) is not None}
        for record in left:
            (ours if _is_ours(out, record, inodes) else others).append(out / record.path)
        if fault is not None:
            tell(Line(fault))
    if not tidy or failed:
        if ours:
            why = "nothing is removed, as not all could be done" if tidy else "--tidy removes them"
            tell(Line(f"of an earlier batch, and not of this one: {_folders(ours, out)}; {why}"))
        return ours
    for path in others:
        words = "of an earlier batch, but changed since or behind a link: left as it is"
        tell(Line(f"{one_line(str(path))}: {words}"))
    removed = [path for path in ours if _remove(path, out)]
    _remove_thumbnails(state / "thumbnails", made, earlier)
    if removed:
        tell(Line(f"removed, of an earlier batch: {_folders(removed, out)}"))
    return [path for path in ours if path not in set(removed)]


def _there(paths: Iterable[Path]) -> list[Path]:
    return [path for path in paths if path.is_file()]


def _is_below(name: str) -> bool:
    """Whether a record speaks of a file in the batch's own folder."""
    return bool(name) and not name.startswith("/") and ".." not in PurePosixPath(name).parts


def _not_of(made: Made, out: Path, earlier: Iterable[Record]) -> list[Record]:
    names = {str(path) for path in (*made.files, *made.pages, *made.written)}
    first = {(page.parent, page.suffix, page.stem) for page in made.pages}

    def is_of(path: Path) -> bool:
        stem = re.sub(r"_\d+$", "", path.stem)
        return str(path) in names or (path.parent, path.suffix, stem) in first

    return [r for r in earlier if not is_of(out / r.path) and (out / r.path).is_file()]


def _is_ours(out: Path, record: Record, inodes: set[tuple[int, int]]) -> bool:
    path = out / record.path
    if any(p.is_symlink() for p in (path, *path.parents) if out in (p, *p.parents) and p != out):
        return False
    try:
        return identity(path) not in inodes and file_sha256(path) == record.sha256
    except LookdevError:
        return False


def _remove(path: Path, out: Path) -> bool:
    try:
        path.unlink()
    except OSError:
        return False
    for folder in path.parents:
        if out not in folder.parents:
            break
        with suppress(OSError):  # it holds other files
            folder.rmdir()
    return True


def _remove_thumbnails(folder: Path, made: Made, earlier: Iterable[Record]) -> None:
    """Small pictures that no file of this batch needs, as earlier ones wrote them."""
    needed = {path.name for path in made.thumbnails}
    known = {
        digest for r in earlier for digest in (r.thumbnail_sha256, r.facts.get("stood_sha256")) if digest
    }
    if folder.is_symlink():
        return
    with suppress(OSError):
        for path in sorted(folder.iterdir()):
            if path.name in needed or path.is_symlink() or not path.is_file():
                continue
            with suppress(LookdevError, OSError):
                if file_sha256(path) in known:
                    path.unlink()


def _folders(paths: Sequence[Path], out: Path) -> str:
    """Files in words, few by name and many by their folder."""
    groups: dict[Path, list[str]] = {}
    for path in sorted(paths):
        groups.setdefault(path.parent, []).append(one_line(path.relative_to(out).as_posix()))
    words = []
    for folder, names in groups.items():
        where = one_line(folder.relative_to(out).as_posix())
        words += names if len(names) <= _NAMED else [f"{where} ({len(names)} files)"]
    return ", ".join(words)
