"""Five packages, twenty ways to tamper with each: all are caught, by name."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from lookdev.errors import RequestError
from lookdev.lut.package import own_digest, write_manifest, write_sums, write_zip
from lookdev.lut.verify import verify

FILES = (
    "READ_ME.txt",
    "look/low_tide.toml",
    "luts/low_tide.cube",
    "luts/low_tide.clf",
    "cdl/low_tide.cc",
    "check/check_frame.tif",
    "check/check_values.csv",
    "proof/proof.json",
    "stills/Łódź.tif",
)


def package(folder: Path, seed: int) -> Path:
    for name in FILES:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(hashlib.sha256(f"{seed}{name}".encode()).digest() * (3 + 40 * seed))
    write_sums(folder)
    write_manifest(folder, {"look": f"number {seed}"})
    return folder


def manifest(folder: Path, change: Callable[[dict], None], sign: bool = True) -> None:
    path = folder / "manifest.json"
    content = json.loads(path.read_text())
    content.pop("manifest_sha256")
    change(content)
    path.write_text(json.dumps({**content, "manifest_sha256": own_digest(content) if sign else "0" * 64}))


def flipped(folder: Path) -> None:
    raw = bytearray((folder / "luts/low_tide.cube").read_bytes())
    raw[5] ^= 1
    (folder / "luts/low_tide.cube").write_bytes(raw)


def linked(folder: Path) -> None:
    (folder / "luts/low_tide.cube").rename(folder.parent / f"{folder.name}.cube")
    (folder / "luts/low_tide.cube").symlink_to(folder.parent / f"{folder.name}.cube")


def linked_folder(folder: Path) -> None:
    (folder / "luts").rename(folder.parent / f"{folder.name}_luts")
    (folder / "luts").symlink_to(folder.parent / f"{folder.name}_luts")


def piped(folder: Path) -> None:
    os.mkfifo(folder / "luts/pipe.cube")


def forged(folder: Path) -> None:
    """A LUT changed, and the manifest and the sums made again: only the printed SHA-256 tells."""
    flipped(folder)
    (folder / "manifest.json").unlink()
    (folder / "SHA256SUMS").unlink()
    write_sums(folder)
    write_manifest(folder, {})


def less(content: dict) -> None:
    content["files"] = [e for e in content["files"] if not e["path"].endswith(".cube")]


def without_cube(folder: Path) -> None:
    manifest(folder, less)
    (folder / "luts/low_tide.cube").unlink()


IN_FOLDER: dict[str, tuple[Callable[[Path], object], str]] = {
    "a byte flipped": (flipped, "luts/low_tide.cube: changed"),
    "cut short": (lambda f: (f / "cdl/low_tide.cc").write_bytes(b"x"), "cdl/low_tide.cc: changed"),
    "emptied": (lambda f: (f / "look/low_tide.toml").write_bytes(b""), "look/low_tide.toml: changed"),
    "deleted": (lambda f: (f / "luts/low_tide.clf").unlink(), "luts/low_tide.clf: missing"),
    "renamed": (lambda f: (f / "READ_ME.txt").rename(f / "README.txt"), "README.txt: not in the manifest"),
    "added": (lambda f: (f / "luts/other.cube").write_text("x"), "luts/other.cube: not in the manifest"),
    "added, hidden": (lambda f: (f / ".hidden").write_text("x"), ".hidden: not in the manifest"),
    "a link": (linked, "luts/low_tide.cube: is a link"),
    "a linked folder": (linked_folder, "luts: is a link"),
    "a pipe": (piped, "luts/pipe.cube: is no ordinary file"),
    "manifest emptied": (lambda f: manifest(f, lambda c: c.update(files=[])), "manifest.json: lists nothing"),
    "manifest without the LUT": (without_cube, "luts/*.cube: not in the manifest, and every package has it"),
    "size": (
        lambda f: manifest(f, lambda c: c["files"][0].update(bytes=1)),
        "READ_ME.txt: 96 bytes, manifest says 1",
    ),
    "listed twice": (
        lambda f: manifest(f, lambda c: c["files"].append(c["files"][0])),
        "twice in the manifest",
    ),
    "manifest's head": (
        lambda f: manifest(f, lambda c: c.update(look="x"), sign=False),
        "manifest.json: changed",
    ),
    "all forged": (forged, "manifest.json: its SHA-256 is not the one that was given"),
}


def rezipped(change: Callable[[zipfile.ZipFile], object]) -> Callable[[Path], None]:
    def act(archive: Path) -> None:
        with zipfile.ZipFile(archive, "a") as out:
            change(out)

    return act


def link_entry(out: zipfile.ZipFile) -> None:
    info = zipfile.ZipInfo("p/luts/link.cube")
    info.external_attr = 0o120777 << 16
    info.create_system = 3
    out.writestr(info, "/etc/passwd")


def _twice(out: zipfile.ZipFile) -> None:
    out.writestr("p/READ_ME.TXT", "another")


IN_ZIP: dict[str, tuple[Callable[[Path], object], str]] = {
    "bytes before": (lambda z: z.write_bytes(b"#!/bin/sh\n" + z.read_bytes()), "bytes before the archive"),
    "a name twice": (rezipped(_twice), "read_me.txt: there twice"),
    "two folders": (rezipped(lambda out: out.writestr("q/a.cube", "x")), "more than one folder at the top"),
    "a link in it": (rezipped(link_entry), "luts/link.cube: is a link"),
}


@pytest.mark.parametrize("seed", range(1, 6))
def test_twenty_ways(tmp_path: Path, seed: int) -> None:
    assert len(IN_FOLDER) + len(IN_ZIP) == 20
    whole = package(tmp_path / "p", seed)
    digest = hashlib.sha256((whole / "manifest.json").read_bytes()).hexdigest()
    write_zip(whole, tmp_path / "p.zip", "p")
    assert verify(whole, digest) == verify(tmp_path / "p.zip", digest) == []
    for number, (way, (tamper, said)) in enumerate(IN_FOLDER.items()):
        copy = tmp_path / f"copy{number}"
        shutil.copytree(whole, copy)
        tamper(copy)
        lines = verify(copy, digest)
        wanted = said.replace("96 bytes", f"{(whole / 'READ_ME.txt').stat().st_size} bytes")
        assert any(wanted in line for line in lines), (way, lines)
    for number, (way, (tamper, said)) in enumerate(IN_ZIP.items()):
        copy = tmp_path / f"copy{number}.zip"
        shutil.copyfile(tmp_path / "p.zip", copy)
        tamper(copy)
        lines = verify(copy, digest)
        assert any(said in line for line in lines), (way, lines)


def test_the_sums_are_what_others_check(tmp_path: Path) -> None:
    """By sha256sum of the GNU core utilities."""
    whole = package(tmp_path / "p", 1)
    done = subprocess.run(["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=whole, capture_output=True)
    assert done.returncode == 0 and done.stdout.count(b": OK") == len(FILES)


@pytest.mark.parametrize("text", ["", "abc", "g" * 64])
def test_what_is_no_digest_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(RequestError, match="not a SHA-256"):
        verify(package(tmp_path / "p", 1), text)
