"""Whether a handoff is as it was made: its folder or its zip against its manifest, strictly.

Whatever could hide a change is a problem with a name: links and devices, names that are there twice, files
beside the package, bytes before the archive, wrong sizes, a manifest that was itself changed or lists too
little. Who has the manifest's SHA-256 from the maker, by another way than the package, can hold it against
that; nothing inside a package can vouch for all of it.
"""

from __future__ import annotations

import hashlib
import json
import stat
import unicodedata
import zipfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath
from typing import IO

from lookdev.errors import RequestError
from lookdev.lut.package import DAMAGE, MANIFEST, STAGE, SUMS, own_digest

EXPECTED = (
    "READ_ME.txt",
    SUMS,
    "look/*",
    "luts/*.cube",
    "luts/*.clf",
    "cdl/*.cc",
    "check/check_frame.*",
    "check/check_values.csv",
    "proof/proof.json",
)
"""What a whole package has at least; ``*`` stands for any name."""
MAX_BYTES = 4_000_000_000
_CHUNK = 1 << 20


@dataclass(frozen=True)
class _Found:
    """A file of a package: its size and SHA-256."""

    size: int
    sha256: str


def verify(package: Path, sha256: str | None = None, expected: Sequence[str] = EXPECTED) -> list[str]:
    """Check a folder, or its zip; one line for each thing that is not as it was.

    Parameters
    ----------
    package : the folder or the zip.
    sha256 : SHA-256 of manifest.json, as it was printed when the package was made.
    expected : names that a whole package has.

    Raises
    ------
    RequestError : there is no such package, it has no manifest that can be read, or ``sha256`` is none.
    """
    package = Path(package)
    if sha256 is not None and not (len(sha256) == 64 and set(sha256.lower()) <= set("0123456789abcdef")):
        raise RequestError("not a SHA-256", found=sha256, wanted="64 hexadecimal digits")
    if package.is_dir():
        found, raw, problems = _in_folder(package)
    elif package.is_file() and zipfile.is_zipfile(package):
        try:
            found, raw, problems = _in_zip(package)
        except DAMAGE as error:
            return [f"{package.name}: the zip is damaged: {error}"]
    else:
        raise RequestError("no such package", file=package, wanted="a folder or zip that handoff wrote")
    if raw is None:
        raise RequestError(f"has no {MANIFEST}", file=package, wanted="a folder or zip that handoff wrote")
    if sha256 is not None and hashlib.sha256(raw).hexdigest() != sha256.lower():
        problems.append(f"{MANIFEST}: its SHA-256 is not the one that was given")
    listed, of_manifest = _listed(raw, package)
    problems += of_manifest + _compared(found, listed)
    for pattern in expected:
        if not any(fnmatchcase(name, pattern) for name in listed):
            problems.append(f"{pattern}: not in the manifest, and every package has it")
    return problems


def _in_folder(folder: Path) -> tuple[dict[str, _Found], bytes | None, list[str]]:
    found: dict[str, _Found] = {}
    problems: list[str] = []
    raw = None
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if name == STAGE:
            problems.append("a handoff into this folder was interrupted: run it again")
        if name.startswith(f"{STAGE}/"):
            continue
        kind = path.lstat().st_mode
        if stat.S_ISDIR(kind):
            continue
        if not stat.S_ISREG(kind):
            what = "a link" if stat.S_ISLNK(kind) else "no ordinary file"
            problems.append(f"{name}: is {what}")
            continue
        with path.open("rb") as handle:
            found[name], head = _digest(handle)
        if name == MANIFEST:
            raw = head
    return found, raw, problems


def _in_zip(archive: Path) -> tuple[dict[str, _Found], bytes | None, list[str]]:
    found: dict[str, _Found] = {}
    problems: list[str] = []
    raw = None
    with zipfile.ZipFile(archive) as source:
        entries = source.infolist()
        if min((e.header_offset for e in entries), default=0) > 0:
            problems.append("there are bytes before the archive")
        if source.comment:
            problems.append("the archive has a comment")
        twice = [n for n, count in Counter(_same(e.filename) for e in entries).items() if count > 1]
        problems += [f"{name}: there twice" for name in sorted(twice)]
        tops = sorted({e.filename.partition("/")[0] for e in entries})
        if len(tops) > 1:
            problems.append(f"more than one folder at the top: {', '.join(tops)}")
        for entry in entries:
            top, _, name = entry.filename.partition("/")
            kind = stat.S_IFMT(entry.external_attr >> 16)
            if entry.is_dir():
                continue
            if kind not in (0, stat.S_IFREG):
                problems.append(f"{name}: is {'a link' if kind == stat.S_IFLNK else 'no ordinary file'}")
                continue
            if not name or top in ("", "..") or ".." in PurePosixPath(name).parts:
                problems.append(f"{entry.filename}: lies outside the package's folder")
                continue
            with source.open(entry) as handle:
                content, head = _digest(handle)
            if name in found:
                continue  # named above as there twice, or as a second folder
            found[name] = content
            if name == MANIFEST:
                raw = head
    return found, raw, problems


def _digest(handle: IO[bytes]) -> tuple[_Found, bytes]:
    """A file's size and digest, and its first part, which is all of a manifest."""
    digest, size, head = hashlib.sha256(), 0, b""
    while block := handle.read(_CHUNK):
        head = head or block
        digest.update(block)
        size += len(block)
        if size > MAX_BYTES:
            raise ValueError(f"a file is larger than {MAX_BYTES} bytes")
    return _Found(size, digest.hexdigest()), head


def _listed(raw: bytes, package: Path) -> tuple[dict[str, _Found], list[str]]:
    """What the manifest lists, and what is wrong with the manifest itself."""
    problems: list[str] = []
    try:
        content = json.loads(raw)
        entries = [
            (str(PurePosixPath(e["path"])), int(e["bytes"]), str(e["sha256"])) for e in content["files"]
        ]
        stated = content.pop("manifest_sha256", None)
        if stated != own_digest(content):
            problems.append(f"{MANIFEST}: changed")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise RequestError(f"its {MANIFEST} cannot be read: {error}", file=package) from None
    if not entries:
        problems.append(f"{MANIFEST}: lists nothing")
    twice = [n for n, count in Counter(_same(name) for name, _, _ in entries).items() if count > 1]
    problems += [f"{name}: twice in the manifest" for name in sorted(twice)]
    return {name: _Found(size, digest) for name, size, digest in entries}, problems


def _compared(found: dict[str, _Found], listed: dict[str, _Found]) -> list[str]:
    problems = []
    for name in sorted(listed):
        is_, was = found.get(name), listed[name]
        if is_ is None:
            problems.append(f"{name}: missing")
        elif is_.sha256 != was.sha256:
            problems.append(
                f"{name}: changed; SHA-256 is {is_.sha256[:16]}…, manifest says {was.sha256[:16]}…"
            )
        elif is_.size != was.size:
            problems.append(f"{name}: {is_.size} bytes, manifest says {was.size}")
    return problems + [
        f"{name}: not in the manifest" for name in sorted(set(found) - set(listed) - {MANIFEST})
    ]


def _same(name: str) -> str:
    """Names that a file system which ignores case and composition takes for one."""
    return unicodedata.normalize("NFC", name).casefold()
