"""Attacks on what is left of earlier batches: named, and removed only where asked and where it is ours."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lookdev.cli.main import main
from lookdev.stills.digest import file_sha256

Capture = pytest.CaptureFixture[str]
LOG = "stills,location,cct_k,camera_balance_k\na.png,Loft,3200,5600\nb.png,Quay,4300,5600\n"


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in arguments])
    return int(stop.value.code or 0)


def batch(home: Path, *more: object) -> int:
    looks = [part for look in sorted(home.glob("*.toml")) for part in ("--looks", look)]
    return run("batch", home / "scout", *looks, "--cube-size", "17", "--out", home / "out", *more)


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A scout, two looks, and a batch of them."""
    home = tmp_path_factory.mktemp("done")
    scout = home / "scout"
    scout.mkdir()
    rng = np.random.default_rng(3)
    for name in ("a.png", "b.png"):
        Image.fromarray(rng.integers(0, 255, (24, 32, 3), dtype=np.uint8)).save(scout / name)
    (scout / "meter.csv").write_text(LOG)
    (home / "low.toml").write_text('title = "Low tide"\n[colour]\nsaturation = 0.7\n')
    (home / "wet.toml").write_text('title = "Wet"\n[curve]\ncontrast = 1.2\n')
    assert batch(home) == 0
    return home


@pytest.fixture
def home(done: Path, tmp_path: Path) -> Path:
    return shutil.copytree(done, tmp_path / "home")


def rename_quay(home: Path) -> None:
    (home / "scout" / "meter.csv").write_text(LOG.replace("Quay", "Pier"))


def of_quay(home: Path) -> list[str]:
    return sorted(p.relative_to(home).as_posix() for p in home.rglob("*") if "Quay" in p.as_posix())


def test_a_renamed_place_and_a_look_not_asked_for_are_named_and_stay(home: Path, capsys: Capture) -> None:
    rename_quay(home)
    (home / "wet.toml").unlink()
    before = of_quay(home / "out")
    assert len(before) >= 7, before
    for more in ((), ("--resume",)):
        capsys.readouterr()
        assert batch(home, *more) == 0
        said = capsys.readouterr().err
        for name in (
            "graded/Quay/b__low_tide.jpg",
            "sheets/Quay.pdf",
            "cubes/wet/wet.s",
            "graded/Loft/a__wet.jpg",
        ):
            assert name in said, said
        assert "--tidy removes them" in said and "Pier" not in said.split("of an earlier batch")[1]
        assert of_quay(home / "out") == before


def test_tidy_leaves_what_a_batch_into_an_empty_folder_makes(home: Path, capsys: Capture) -> None:
    rename_quay(home)
    (home / "wet.toml").unlink()
    assert batch(home, "--tidy") == 0
    assert "removed, of an earlier batch: " in capsys.readouterr().err
    tidied = contents(home / "out")
    shutil.rmtree(home / "out")
    assert batch(home) == 0
    fresh = contents(home / "out")
    assert {n for n in tidied if "journal" not in n} == {n for n in fresh if "journal" not in n}
    assert all(tidied[name] == fresh[name] for name in fresh if "journal" not in name)
    assert batch(home, "--tidy", "--resume") == 0
    assert "of an earlier batch" not in capsys.readouterr().err


def test_tidy_after_the_same_batch_removes_nothing(home: Path, capsys: Capture) -> None:
    before = contents(home)
    for more in ((), ("--resume",)):
        assert batch(home, "--tidy", *more) == 0
        assert "earlier batch" not in capsys.readouterr().err
        assert contents(home).keys() == before.keys()


def test_what_a_person_changed_added_or_linked_stays(home: Path, capsys: Capture) -> None:
    out = home / "out"
    rename_quay(home)
    (out / "graded" / "Quay" / "b__wet.jpg").write_bytes(b"retouched by hand")
    (out / "graded" / "Quay" / "notes.txt").write_text("mine")
    (out / "sheets" / "Quay_2.png").write_bytes(b"mine")
    shutil.copytree(out / "cubes", home / "mine")
    for cube in (out / "cubes" / "wet").glob("wet*Quay*"):
        cube.unlink()
        cube.symlink_to(home / "mine" / "wet" / cube.name)
    assert batch(home, "--tidy") == 0
    said = capsys.readouterr().err
    assert said.count("changed since or behind a link") == 3
    assert (out / "graded" / "Quay" / "b__wet.jpg").read_bytes() == b"retouched by hand"
    assert (out / "graded" / "Quay" / "notes.txt").read_text() == "mine"
    assert (out / "sheets" / "Quay_2.png").exists() and len(list((home / "mine").glob("*/*"))) == 6
    assert not (out / "graded" / "Quay" / "b__low_tide.jpg").exists()
    assert not (out / "sheets" / "Quay.pdf").exists()


def test_a_folder_that_became_a_link_is_not_followed(home: Path) -> None:
    quay = home / "out" / "graded" / "Quay"
    quay.rename(home / "keep")
    quay.symlink_to(home / "keep", target_is_directory=True)
    rename_quay(home)
    before = contents(home / "keep")
    assert before and batch(home, "--tidy") == 0
    assert contents(home / "keep") == before


@pytest.mark.parametrize("path", ["{home}/mine.jpg", "../mine.jpg", "graded/../../mine.jpg"])
def test_a_journal_that_speaks_of_files_elsewhere_is_not_believed(home: Path, path: str) -> None:
    mine = home / "mine.jpg"
    mine.write_bytes(b"mine")
    record = {"path": path.format(home=home), "key": "", "sha256": file_sha256(mine)}
    with (home / "out" / ".lookdev" / "journal.jsonl").open("a") as journal:
        journal.write(json.dumps(record) + "\n")
    assert batch(home, "--tidy", "--resume") == 0
    assert mine.read_bytes() == b"mine"


def test_a_file_of_this_batch_under_its_old_name_stays(home: Path) -> None:
    """As on a file system that ignores letter case, where both names are one file."""
    out = home / "out"
    new = out / "graded" / "Loft" / "a__wet.jpg"
    old = out / "graded" / "Loft" / "A__WET.jpg"
    old.hardlink_to(new)
    record = {"path": "graded/Loft/A__WET.jpg", "key": "", "sha256": file_sha256(new)}
    with (out / ".lookdev" / "journal.jsonl").open("a") as journal:
        journal.write(json.dumps(record) + "\n")
    assert batch(home, "--tidy", "--resume") == 0
    assert new.exists() and old.exists()


def test_where_something_failed_nothing_is_removed(home: Path, capsys: Capture) -> None:
    rename_quay(home)
    before = of_quay(home / "out")
    (home / "scout" / "b.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    assert batch(home, "--tidy") == 1
    assert "nothing is removed, as not all could be done" in capsys.readouterr().err
    assert of_quay(home / "out") == before


def test_a_part_of_the_scout_names_and_removes_nothing(home: Path, capsys: Capture) -> None:
    rename_quay(home)
    before = contents(home)
    assert batch(home, "--only", "Loft", "--tidy") == 2
    assert "--tidy" in capsys.readouterr().err and contents(home) == before
    assert batch(home, "--only", "Loft") == 0
    assert "earlier batch" not in capsys.readouterr().err
    assert set(before) <= set(contents(home))


def test_truncated_thumbnails_of_a_resumed_batch_give_the_same_sheets(home: Path) -> None:
    before = contents(home / "out" / "sheets")
    for number, thumbnail in enumerate(sorted((home / "out" / ".lookdev" / "thumbnails").iterdir())):
        thumbnail.write_bytes(thumbnail.read_bytes()[: number * 40])
    assert batch(home, "--resume") == 0
    assert contents(home / "out" / "sheets") == before
