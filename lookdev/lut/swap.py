"""A new handoff takes the place of an earlier one: folder and zip together, or neither.

The new package is built aside, in a hidden folder of OUT. One file, the decision, then says what goes and
what comes; from the moment it is there the swap is done, by this run or by the next. Files that the earlier
manifest does not list are never touched.
"""

from __future__ import annotations

import json
import shutil
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from lookdev.errors import RequestError
from lookdev.files import write_json
from lookdev.lut.package import MANIFEST, STAGE, digest_file, files_below, is_own_zip, own_listing

_DECISION = "decision.json"
_AWAY = "it moved away, or another folder (--out DIR)"


@dataclass(frozen=True)
class Earlier:
    """What stands where a handoff is to go: files that it ``lists`` (SHA-256 by path), and ``strangers``."""

    lists: dict[str, str]
    strangers: list[str]


def part_of(archive: Path) -> Path:
    """Where the zip is built: hidden, beside its place."""
    return archive.with_name(f".{archive.name}.handoff")


def look_at(out: Path, archive: Path) -> Earlier:
    """What is in ``out`` now.

    Raises
    ------
    RequestError : it holds files and no manifest of ours, a listed file was changed, or the zip is not ours.
    """
    if archive.exists() and not is_own_zip(archive):
        raise RequestError(
            "the zip's place is taken by a file that handoff did not write", file=archive, wanted=_AWAY
        )
    present = dict(files_below(out)) if out.is_dir() else {}
    lists = own_listing(out / MANIFEST)
    if lists is None:
        if out.is_dir() and any(path.name != STAGE for path in out.iterdir()):
            raise RequestError(
                "the output folder holds other files", file=out, wanted="a new or empty folder (--out)"
            )
        return Earlier({}, [])
    for name, digest in lists.items():
        if name in present and digest_file(present[name]) != digest:
            raise RequestError("was changed since the handoff was made", file=out / name, wanted=_AWAY)
    return Earlier(lists, sorted(set(present) - set(lists) - {MANIFEST}))


def swap(out: Path, archive: Path, earlier: Earlier) -> None:
    """Put what stands in the hidden folder, and the zip built beside, in their places.

    Raises
    ------
    RequestError : a new file would go over one that is not the earlier handoff's; nothing is changed.
    """
    new = [name for name, _ in files_below(out / STAGE / "files")]
    for name in new:
        _refuse_taken(out, name, earlier)
    gone = sorted(set(earlier.lists) - set(new))
    write_json(out / STAGE / _DECISION, {"archive": str(archive), "remove": gone, "place": new})
    finish(out)


def _refuse_taken(out: Path, name: str, earlier: Earlier) -> None:
    path = out / name
    for parent in [p for p in path.parents if out in p.parents]:
        if parent.is_symlink() or (parent.exists() and not parent.is_dir()):
            raise RequestError("stands where the handoff goes", file=parent, wanted=_AWAY)
    taken = path.is_symlink() or path.exists()
    if taken and name not in earlier.lists and not (name == MANIFEST and earlier.lists):
        raise RequestError("is not of an earlier handoff", file=path, wanted=_AWAY)


def is_decided(out: Path) -> bool:
    """Whether a swap was decided here and not done to the end."""
    return (out / STAGE / _DECISION).is_file()


def finish(out: Path) -> None:
    """Do a decided swap to the end, even one of a run that was killed; else clear the stage."""
    stage = out / STAGE
    if is_decided(out):
        decision = json.loads((stage / _DECISION).read_text(encoding="utf-8"))
        for name in decision["remove"]:
            with suppress(OSError):
                (out / name).unlink()
            _remove_empty(out, (out / name).parent)
        for name in decision["place"]:
            source = stage / "files" / name
            if source.is_file():
                (out / name).parent.mkdir(parents=True, exist_ok=True)
                source.replace(out / name)
        archive = Path(decision["archive"])
        if part_of(archive).is_file():
            part_of(archive).replace(archive)
    shutil.rmtree(stage, ignore_errors=True)


def _remove_empty(out: Path, folder: Path) -> None:
    while out in folder.parents:
        try:
            folder.rmdir()
        except OSError:
            return
        folder = folder.parent
