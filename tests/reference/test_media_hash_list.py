"""ASC Media Hash List 2.0, checked by its reference implementation (PyPI ascmhl 1.2), which reads the list,
its chain and the files."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import pytest
from ascmhl.commands import verify
from ascmhl.hasher import C4
from click.testing import CliRunner

from lookdev.lut.media_hash_list import c4, write_hash_list

NAMES = ("READ_ME.txt", "SHA256SUMS", "luts/low & tide.cube", "stills/graded/Østkai.tif", "manifest.json")
LIST = "ascmhl/0001_low_tide_handoff_2031-03-04_000000Z.mhl"

# ASCMHL.xsd of the reference implementation (repository ascmitc/mhl): children in their order, as read there;
# authors, location, roothash, metadata and references are optional and not written.
ORDER = {
    "hashlist": ["creatorinfo", "processinfo", "hashes"],
    "creatorinfo": ["creationdate", "hostname", "tool", "comment"],
    "processinfo": ["process", "ignore"],
    "hash": ["path", "c4"],
}


@pytest.fixture
def package(tmp_path: Path) -> Path:
    return made(tmp_path / "package")


def made(folder: Path) -> Path:
    for name in NAMES:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(hashlib.sha256(name.encode()).digest() * 9)
    write_hash_list(folder, "low_tide_handoff", "2031-03-04")
    return folder


def checked(folder: Path) -> tuple[int, str]:
    done = CliRunner().invoke(verify, [str(folder)])
    return done.exit_code, f"{done.output} {done.exception}"


def test_the_reference_implementation_finds_all_as_it_was(package: Path) -> None:
    status, said = checked(package)
    assert status == 0, said


def flipped(package: Path, name: str) -> None:
    raw = bytearray((package / name).read_bytes())
    raw[100] ^= 1
    (package / name).write_bytes(raw)


@pytest.mark.parametrize(
    ("tamper", "named"),
    [
        (lambda p: flipped(p, "luts/low & tide.cube"), "low & tide.cube"),
        (lambda p: flipped(p, "stills/graded/Østkai.tif"), "Østkai.tif"),
        (lambda p: (p / "READ_ME.txt").unlink(), "READ_ME.txt"),
        (lambda p: (p / "luts/other.cube").write_text("x"), "other.cube"),
        (lambda p: flipped(p, LIST), "0001_low_tide"),
    ],
)
def test_and_what_was_changed(package: Path, tamper: Callable[[Path], None], named: str) -> None:
    tamper(package)
    status, said = checked(package)
    assert status != 0 and named in said


def test_order_and_what_must_be_there(package: Path) -> None:
    root = ElementTree.fromstring((package / LIST).read_bytes())
    assert root.tag == "{urn:ASC:MHL:v2.0}hashlist" and root.get("version") == "2.0"
    for element in root.iter():
        tag = element.tag.partition("}")[2]
        if tag in ORDER:
            assert [child.tag.partition("}")[2] for child in element] == ORDER[tag]
    texts = {e.tag.partition("}")[2]: e.text or "" for e in root[0]}
    assert texts["creationdate"] == "2031-03-04T00:00:00Z" and texts["hostname"] == "not recorded"
    assert "date is the scout's" in texts["comment"]
    assert b"hashdate" not in (package / LIST).read_bytes()
    listed = [e.text for e in root.iter("{urn:ASC:MHL:v2.0}path")]
    assert listed == sorted(set(NAMES) - {"manifest.json"})


def test_c4_is_theirs(tmp_path: Path) -> None:
    for content in (b"", b"a", bytes(range(256)) * 99):
        (tmp_path / "file").write_bytes(content)
        assert c4(tmp_path / "file") == C4.hash_data(content)


def test_same_input_same_bytes(package: Path, tmp_path: Path) -> None:
    other = made(tmp_path / "other")
    for name in (LIST, "ascmhl/ascmhl_chain.xml"):
        assert (package / name).read_bytes() == (other / name).read_bytes()
