"""Attacks on what a person has: stills, logs, looks, and files that lie where outputs go."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lookdev.cli.main import main
from lookdev.lut import swap as swapping
from lookdev.outputs import hold

Capture = pytest.CaptureFixture[str]
LOOK = 'title = "Low tide"\n[colour]\nsaturation = 0.7\n'
OTHER = 'title = "High tide"\n[curve]\ncontrast = 1.2\n'


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in arguments])
    return int(stop.value.code or 0)


def contents(folder: Path) -> dict[str, str]:
    """Every file below, by its path, with a digest of what it holds."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def make_scout(folder: Path) -> Path:
    folder.mkdir(parents=True)
    rng = np.random.default_rng(3)
    for name in ("a.png", "b.png"):
        Image.fromarray(rng.integers(0, 255, (24, 32, 3), dtype=np.uint8)).save(folder / name)
    (folder / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*.png,Loft,3200,5600\n")
    (folder / "scout.toml").write_text('title = "Velmsund"\n')
    return folder


@pytest.fixture
def home(tmp_path: Path) -> Path:
    make_scout(tmp_path / "scout")
    (tmp_path / "look.toml").write_text(LOOK)
    (tmp_path / "other.toml").write_text(OTHER)
    return tmp_path


def handoff(home: Path, out: Path, look: str = "look.toml") -> int:
    ends = ("--encoding", "ACEScct", "--size", "17", "--still-edge", "64")
    return run("handoff", home / "scout", "--look", home / look, *ends, "--out", out)


def batch(home: Path, out: Path, *more: object) -> int:
    return run(
        "batch", home / "scout", "--looks", home / "look.toml", "--cube-size", "17", "--out", out, *more
    )


def one_line(capsys: Capture, *words: str) -> None:
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and all(word in said for word in words), said


# 1. a handoff and the files of others


@pytest.mark.parametrize(
    "manifest",
    [
        "{}",
        "[]",
        "not json",
        json.dumps({"made_by": "lookdev", "files": []}),
        json.dumps({"made_by": "lookdev", "kind": "handoff", "manifest_sha256": "0" * 64, "files": []}),
        json.dumps({"name": "my web page", "icons": []}),
    ],
)
def test_a_folder_with_a_manifest_of_another_is_left_alone(
    home: Path, capsys: Capture, manifest: str
) -> None:
    out = home / "out"
    (out / "diary").mkdir(parents=True)
    (out / "manifest.json").write_text(manifest)
    (out / "diary" / "day1.txt").write_text("mine")
    before = contents(home)
    assert handoff(home, out) == 2
    one_line(capsys, "holds other files")
    assert contents(home) == before


def test_the_scout_inside_out_is_refused_and_every_still_stays(tmp_path: Path, capsys: Capture) -> None:
    home = tmp_path / "project"
    make_scout(home / "scout")
    (tmp_path / "look.toml").write_text(LOOK)
    (home / "manifest.json").write_text('{"files": []}')
    before = contents(tmp_path)
    look = ("--look", tmp_path / "look.toml", "--encoding", "ACEScct", "--size", "17")
    assert run("handoff", home / "scout", *look, "--out", home) == 2
    one_line(capsys, "the scout lies inside the output folder")
    assert contents(tmp_path) == before


def test_out_inside_the_scout_by_a_link_is_refused(home: Path, capsys: Capture) -> None:
    (home / "link").symlink_to("scout", target_is_directory=True)
    before = contents(home)
    for out in (home / "link", home / "link" / "new"):
        assert handoff(home, out) == 2
        one_line(capsys, "inside the scout")
    assert contents(home) == before


def test_a_zip_of_another_is_left_alone(home: Path, capsys: Capture) -> None:
    for data in (b"not even a zip", None):
        if data is None:
            with zipfile.ZipFile(home / "out.zip", "w") as archive:
                archive.writestr("mine.txt", "mine")
        else:
            (home / "out.zip").write_bytes(data)
        before = contents(home)
        assert handoff(home, home / "out") == 2
        one_line(capsys, "out.zip", "did not write")
        assert contents(home) == before


def test_only_listed_files_go_and_the_rest_is_kept_and_named(home: Path, capsys: Capture) -> None:
    out = home / "out"
    assert handoff(home, out) == 0
    (out / "notes.txt").write_text("mine")
    (out / "luts" / "mine.cube").write_text("mine too")
    capsys.readouterr()
    assert handoff(home, out, "other.toml") == 0
    said = capsys.readouterr().err
    assert str(out / "notes.txt") in said and str(out / "luts" / "mine.cube") in said
    assert (out / "notes.txt").read_text() == "mine" and (
        out / "luts" / "mine.cube"
    ).read_text() == "mine too"
    names = set(contents(out))
    assert not any("low_tide" in name for name in names) and any("high_tide" in name for name in names)
    with zipfile.ZipFile(home / "out.zip") as archive:
        assert not any("mine" in name or "notes" in name for name in archive.namelist())


def test_a_listed_file_that_a_person_changed_stays(home: Path, capsys: Capture) -> None:
    out = home / "out"
    assert handoff(home, out) == 0
    (out / "READ_ME.txt").write_text("my own words")
    capsys.readouterr()
    before = contents(home)
    assert handoff(home, out) == 2
    one_line(capsys, "READ_ME.txt", "was changed")
    assert contents(home) == before


def test_a_file_in_the_way_of_a_new_one_stays(home: Path, capsys: Capture) -> None:
    out = home / "out"
    assert handoff(home, out) == 0
    (out / "luts" / "high_tide.clf").write_text("mine")
    capsys.readouterr()
    before = contents(home)
    assert handoff(home, out, "other.toml") == 2
    assert "high_tide.clf: is not of an earlier handoff" in capsys.readouterr().err
    assert contents(home) == before


# 2. outputs that would be inputs


def test_batch_does_not_write_where_the_scout_lies(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "look.toml").write_text(LOOK)
    scout = make_scout(tmp_path / "out" / "graded" / "Loft")
    shutil.copy(scout / "a.png", scout / "b__low_tide.png")  # what the second still is to be called
    before = contents(tmp_path)
    options = ("--looks", tmp_path / "look.toml", "--format", "png", "--out", tmp_path / "out")
    assert run("batch", scout, *options) == 2
    one_line(capsys, "inside the scout")
    assert contents(tmp_path) == before


@pytest.mark.parametrize(
    "where", ["graded", "graded/Loft", "sheets", "cubes", ".lookdev", ".lookdev/thumbnails"]
)
def test_a_link_from_out_into_the_scout_is_refused(home: Path, capsys: Capture, where: str) -> None:
    link = home / "out" / where
    link.parent.mkdir(parents=True)
    link.symlink_to(home / "scout", target_is_directory=True)
    before = contents(home)
    assert batch(home, home / "out") == 2
    one_line(capsys, "inside the scout")
    assert contents(home) == before


@pytest.mark.parametrize(
    "where",
    ["summary.json", "sheets/Loft.png", "sheets/Loft_2.png", ".lookdev/journal.jsonl", "sheets/overview.pdf"],
)
@pytest.mark.parametrize("hard", [True, False])
def test_an_output_that_is_a_link_to_an_input_is_refused(
    home: Path, capsys: Capture, where: str, hard: bool
) -> None:
    path = home / "out" / where
    path.parent.mkdir(parents=True)
    original = home / "scout" / "meter.csv"
    path.hardlink_to(original) if hard else path.symlink_to(original)
    before = contents(home)
    assert batch(home, home / "out", "--resume") == 2
    one_line(capsys, "over an input", where)
    assert contents(home) == before


def test_a_still_that_is_a_link_is_kept_where_it_lies(home: Path, capsys: Capture) -> None:
    """The original lies where a graded still would go; the scout only links to it."""
    place = home / "out" / "graded" / "Loft"
    place.mkdir(parents=True)
    (home / "scout" / "a.png").rename(place / "a__low_tide.png")
    (home / "scout" / "a.png").symlink_to(place / "a__low_tide.png")
    before = contents(home)
    assert batch(home, home / "out", "--format", "png") == 2
    one_line(capsys, "over an input", "a__low_tide.png")
    assert contents(home) == before


def test_sheet_light_cube_and_paint_check_the_same(home: Path, capsys: Capture) -> None:
    scout, look = home / "scout", home / "look.toml"
    deck = home / "o" / "predict.csv"
    deck.parent.mkdir()
    deck.write_text("name,munsell\nRope,5YR 6/4\n")
    (home / "o" / "low_tide.sRGB_to_sRGB.17.cube").hardlink_to(look)
    (home / "o" / "Loft.png").symlink_to(scout / "a.png")
    Image.new("RGB", (32, 32), (90, 80, 70)).save(home / "o" / "palette_x.png")
    (home / "x.png").hardlink_to(home / "o" / "palette_x.png")
    before = contents(home)
    out = ("--out", home / "o")
    for words in (
        ("sheet", scout, "--looks", look, *out),
        ("light", scout, *out),
        ("cube", look, "--size", "17", *out),
        ("paint", "predict", scout, "--looks", look, "--chips", deck, *out),
        ("paint", "palette", home / "x.png", *out),
    ):
        assert run(*words) == 2, words
        assert "over an input" in capsys.readouterr().err, words
        assert contents(home) == before, words


def test_a_spectrum_of_the_log_is_an_input(home: Path, capsys: Capture) -> None:
    lines = "\n".join(f"{nm},{1 + nm / 1000}" for nm in range(380, 785, 5))
    (home / "o").mkdir()
    (home / "o" / "light.csv").write_text(f"nm,value\n{lines}\n")
    (home / "scout" / "lamp.csv").symlink_to(home / "o" / "light.csv")
    (home / "scout" / "meter.csv").write_text("stills,location,spectrum\n*.png,Loft,lamp.csv\n")
    before = contents(home)
    assert run("light", home / "scout", "--out", home / "o") == 2
    assert "over an input" in capsys.readouterr().err
    assert contents(home) == before


# 3. two at once


@pytest.mark.parametrize(
    "verb", ["batch", "sheet", "cube", "handoff", "light", "predict", "match", "palette"]
)
def test_a_second_run_into_a_held_folder_is_one_line_and_writes_nothing(
    home: Path, capsys: Capture, verb: str
) -> None:
    scout, out, looks = home / "scout", home / "out", ("--looks", home / "look.toml")
    words = {
        "batch": ("batch", scout, *looks),
        "sheet": ("sheet", scout, *looks),
        "cube": ("cube", scout, *looks, "--size", "17"),
        "handoff": ("handoff", scout, "--look", home / "look.toml", "--encoding", "ACEScct", "--size", "17"),
        "light": ("light", scout),
        "predict": ("paint", "predict", scout, *looks, "--chip", "5YR 6/4"),
        "match": ("paint", "match", scout, "#8a6f5c", *looks),
        "palette": ("paint", "palette", scout / "a.png"),
    }
    before = contents(home)
    program = "import sys; from pathlib import Path; from lookdev.outputs import hold\n"
    program += "with hold(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", program, str(out)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None and other.stdout.readline() == "held\n"
        assert run(*words[verb], "--out", out) == 2
        said = capsys.readouterr().err.splitlines()
        assert "another run is writing into this folder" in said[-1] and not out.exists()
        other.communicate()
    assert contents(home) == before


def test_the_lock_holds_by_every_name_of_the_folder_and_leaves_nothing(home: Path) -> None:
    (home / "real").mkdir()
    (home / "link").symlink_to("real")
    before = sorted(home.iterdir())
    program = "import sys; from pathlib import Path; from lookdev.outputs import hold\n"
    program += "with hold(Path(sys.argv[1])): pass"
    with hold(home / "real"), hold(home / "link"):
        done = subprocess.run(
            [sys.executable, "-c", program, str(home / "link")], capture_output=True, check=False
        )
        assert done.returncode == 1 and b"another run is writing" in done.stderr
    assert sorted(home.iterdir()) == before


# 4. folder and zip: one decision


def looks_in(out: Path, archive: Path) -> tuple[str, str]:
    folder = json.loads((out / "manifest.json").read_text())["look"]
    with zipfile.ZipFile(archive) as opened:
        name = next(n for n in opened.namelist() if n.endswith("/manifest.json"))
        return folder, json.loads(opened.read(name))["look"]


def test_a_link_is_followed_every_time(home: Path) -> None:
    (home / "disk").mkdir()
    (home / "out").symlink_to(home / "disk", target_is_directory=True)
    for look, title in (("look.toml", "Low tide"), ("other.toml", "High tide"), ("look.toml", "Low tide")):
        assert handoff(home, home / "out", look) == 0
        assert (home / "out").is_symlink()
        assert looks_in(home / "disk", home / "out.zip") == (title, title)
        assert run("handoff", "--verify", home / "out") == run("handoff", "--verify", home / "out.zip") == 0


@pytest.mark.parametrize("after", [0, 1, 7, 1000])
def test_a_run_killed_between_is_finished_by_the_next(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture, after: int
) -> None:
    """Killed after so many files of the swap; the last, before the zip. A refused request ends it too."""
    out = home / "out"
    assert handoff(home, out) == 0
    real, count = Path.replace, 0

    def replace(self: Path, target: Path) -> Path:
        nonlocal count
        if (swapping.is_decided(out) and "files" in self.parts) or self == swapping.part_of(home / "out.zip"):
            if count >= after or self.suffix == ".handoff":
                raise KeyboardInterrupt
            count += 1
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    assert handoff(home, out, "other.toml") == 130
    monkeypatch.setattr(Path, "replace", real)
    assert run("handoff", "--verify", out) == 1
    assert "interrupted" in capsys.readouterr().out
    (home / "scout" / "scout.toml").write_text('title = "Velmsund, day 2"\n')
    swapping.finish(out)
    assert looks_in(out, home / "out.zip") == ("High tide", "High tide")
    assert run("handoff", "--verify", out) == run("handoff", "--verify", home / "out.zip") == 0
    assert handoff(home, out) == 0 and looks_in(out, home / "out.zip") == ("Low tide", "Low tide")


def test_a_run_killed_while_building_leaves_the_earlier_package(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = home / "out"
    assert handoff(home, out) == 0
    before = contents(home)

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("lookdev.jobs.handoff.write_zip", stop)
    assert handoff(home, out, "other.toml") == 130
    assert contents(home) == before


# 5. verbs that were given no scout


def test_palette_and_cube_run_inside_a_scout_write_beside_it(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scout = home / "scout"
    before = contents(scout)
    (scout / "day1").mkdir()
    for here in (scout, scout / "day1"):
        monkeypatch.chdir(here)
        assert run("paint", "palette", scout / "a.png") == 0
        assert run("cube", home / "look.toml", "--size", "17") == 0
    assert contents(scout) == before
    assert (home / "scout_paint" / "palette_a.png").is_file()
    assert [p.suffix for p in (home / "scout_cubes").iterdir()] == [".cube"]


def test_palette_and_cube_told_to_write_into_a_scout_refuse(home: Path, capsys: Capture) -> None:
    scout = home / "scout"
    before = contents(home)
    for words in (("paint", "palette", scout / "a.png"), ("cube", home / "look.toml", "--size", "17")):
        assert run(*words, "--out", scout / "new") == 2
        one_line(capsys, "inside the scout")
    assert contents(home) == before
