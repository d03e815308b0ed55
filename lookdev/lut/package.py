"""A folder of files that can be checked: manifest.json with every SHA-256, and a reproducible zip."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath

from lookdev.errors import RequestError
from lookdev.files import whole_file, write_json

MANIFEST = "manifest.json"
_STORED = (".png", ".tif", ".pdf")
_EPOCH = (1980, 1, 1, 0, 0, 0)
_CHUNK = 1 << 20


def write_manifest(folder: Path, head: Mapping[str, object]) -> None:
    """Write manifest.json: ``head``, then every other file under ``folder`` with its size and SHA-256."""
    files = [
        {"path": name, "bytes": path.stat().st_size, "sha256": _digest_file(path)}
        for name, path in _files(folder)
        if name != MANIFEST
    ]
    write_json(folder / MANIFEST, {**head, "files": files})


def write_zip(folder: Path, archive: Path, top: str) -> None:
    """Zip ``folder`` under the name ``top``; names in order, no clock, so that the same files give the same
    bytes."""
    with whole_file(archive) as part, zipfile.ZipFile(part, "w") as out:
        for name, path in _files(folder):
            info = zipfile.ZipInfo(f"{top}/{name}", _EPOCH)
            stored = path.suffix.lower() in _STORED
            info.compress_type = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            info.create_system = 3
            with path.open("rb") as source, out.open(info, "w") as sink:
                while block := source.read(_CHUNK):
                    sink.write(block)


def verify(package: Path) -> list[str]:
    """Check a folder, or its zip, against its manifest; one line for each file that is not as it was.

    Raises
    ------
    RequestError : there is no such package, or it has no manifest that can be read.
    """
    if package.is_dir():
        contents = {name: _digest_file(path) for name, path in _files(package)}
        manifest = package / MANIFEST
        raw = manifest.read_bytes() if manifest.is_file() else None
    elif package.is_file() and zipfile.is_zipfile(package):
        try:
            contents, raw = _zip_contents(package)
        except (zipfile.BadZipFile, OSError, EOFError, ValueError, NotImplementedError) as error:
            return [f"{package.name}: the zip is damaged: {error}"]
    else:
        raise RequestError("no such package", file=package, wanted="a folder or zip that handoff wrote")
    if raw is None:
        raise RequestError(f"has no {MANIFEST}", file=package, wanted="a folder or zip that handoff wrote")
    return _compare(contents, _listed(raw, package))


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


def _listed(raw: bytes, package: Path) -> dict[str, str]:
    try:
        files = json.loads(raw)["files"]
        return {str(PurePosixPath(entry["path"])): str(entry["sha256"]) for entry in files}
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise RequestError(f"its {MANIFEST} cannot be read: {error}", file=package) from None


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


def _files(folder: Path) -> Iterator[tuple[str, Path]]:
    """Every file under ``folder`` by its name with forward slashes, in order."""
    found = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    yield from sorted(found.items())


def _digest_file(path: Path) -> str:
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()
