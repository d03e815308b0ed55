"""A folder of files that can be checked: manifest.json with every SHA-256, and a reproducible zip."""

from __future__ import annotations

import hashlib
import json
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath

from lookdev.files import read_ordinary, whole_file, write_json, write_whole

MANIFEST = "manifest.json"
SUMS = "SHA256SUMS"
HASH_LISTS = "ascmhl"
STAGE = ".lookdev_handoff"
"""The hidden folder in which a handoff is built before it takes its place."""
_TOOL = "lookdev"
_DIGEST = "manifest_sha256"
_STORED = (".png", ".tif", ".pdf")
_EPOCH = (1980, 1, 1, 0, 0, 0)
_CHUNK = 1 << 20
DAMAGE = (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, NotImplementedError, RuntimeError)


def write_sums(folder: Path) -> None:
    """Write SHA256SUMS: every other file but the manifest and hash lists, for ``sha256sum -c``."""
    lines = [
        f"{digest_file(path)}  {name}\n"
        for name, path in files_below(folder)
        if name not in (MANIFEST, SUMS) and not name.startswith(f"{HASH_LISTS}/")
        if "\n" not in name and "\\" not in name
    ]
    write_whole(folder / SUMS, "".join(lines))


def write_manifest(folder: Path, head: Mapping[str, object]) -> None:
    """Write manifest.json: ``head``, then every other file under ``folder`` with its size and SHA-256.

    Last comes a digest of the manifest itself, by which a later run knows it for one of ours.
    """
    files = [
        {"path": name, "bytes": path.stat().st_size, "sha256": digest_file(path)}
        for name, path in files_below(folder)
        if name != MANIFEST
    ]
    content = {"made_by": _TOOL, "kind": "handoff", **head, "files": files}
    write_json(folder / MANIFEST, {**content, _DIGEST: own_digest(content)})


def own_digest(content: Mapping[str, object]) -> str:
    """SHA-256 of a manifest's content, without that digest itself."""
    text = json.dumps(content, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def own_listing(manifest: Path) -> dict[str, str] | None:
    """SHA-256 by path of a manifest that handoff wrote and nobody changed; None for every other file."""
    try:
        return _own_listing(read_ordinary(manifest))
    except OSError:
        return None


def _own_listing(raw: bytes) -> dict[str, str] | None:
    try:
        content = json.loads(raw)
        digest = content.pop(_DIGEST)
        if content["made_by"] != _TOOL or content["kind"] != "handoff" or digest != own_digest(content):
            return None
        listed = {str(entry["path"]): str(entry["sha256"]) for entry in content["files"]}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    plain = all(name and name[0] != "/" and ".." not in PurePosixPath(name).parts for name in listed)
    return listed if plain else None


def is_own_zip(archive: Path) -> bool:
    """Whether a file is the zip of a handoff, as it was written."""
    try:
        if not archive.is_file() or not zipfile.is_zipfile(archive):
            return False
        contents, raw = _zip_contents(archive)
    except DAMAGE:
        return False
    listed = _own_listing(raw) if raw is not None else None
    return listed is not None and not _compare(contents, listed)


def write_zip(folder: Path, archive: Path, top: str) -> None:
    """Zip ``folder`` under the name ``top``; names in order, no clock, so that the same files give the same
    bytes."""
    with whole_file(archive) as part, zipfile.ZipFile(part, "w") as out:
        for name, path in files_below(folder):
            info = zipfile.ZipInfo(f"{top}/{name}", _EPOCH)
            stored = path.suffix.lower() in _STORED
            info.compress_type = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            info.create_system = 3
            with path.open("rb") as source, out.open(info, "w") as sink:
                while block := source.read(_CHUNK):
                    sink.write(block)


def _compare(contents: Mapping[str, str], listed: Mapping[str, str]) -> list[str]:
    problems = []
    for name in sorted(listed):
        if name not in contents:
            problems.append(f"{name}: missing")
        elif contents[name] != listed[name]:
            problems.append(
                f"{name}: changed; SHA-256 is {contents[name][:16]}…, manifest says {listed[name][:16]}…"
            )
    strangers = sorted(set(contents) - set(listed) - {MANIFEST})
    return problems + [f"{name}: not in the manifest" for name in strangers]


def _zip_contents(archive: Path) -> tuple[dict[str, str], bytes | None]:
    contents: dict[str, str] = {}
    raw = None
    with zipfile.ZipFile(archive) as source:
        for info in source.infolist():
            if info.is_dir():
                continue
            name = info.filename.partition("/")[2]
            digest = hashlib.sha256()
            with source.open(info) as entry:
                while block := entry.read(_CHUNK):
                    digest.update(block)
                    if name == MANIFEST and raw is None:
                        raw = block
            contents[name] = digest.hexdigest()
    return contents, raw


def files_below(folder: Path) -> Iterator[tuple[str, Path]]:
    """Every file under ``folder`` by its name with forward slashes, in order; the stage left out."""
    found = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    yield from sorted((name, path) for name, path in found.items() if not name.startswith(f"{STAGE}/"))


def digest_file(path: Path) -> str:
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()
