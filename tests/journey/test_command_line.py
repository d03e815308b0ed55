"""What is typed at the command line, rightly and wrongly: one line, the right status, nothing written."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from lookdev.cli.main import main
from lookdev.colorimetry.encodings import SRGB
from lookdev.lut.cube import read_cube
from lookdev.stills.writer import write_still


def _run(*arguments: str | Path) -> int:
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in arguments])
    return int(stop.value.code or 0)


@pytest.fixture
def scout(tmp_path: Path) -> Path:
    folder = tmp_path / "scout"
    folder.mkdir()
    rng = np.random.default_rng(5)
    picture = cv2.resize(rng.integers(20, 235, (6, 9, 3), dtype=np.uint8), (144, 96))
    write_still(folder / "shed.png", picture, SRGB)
    (folder / "meter.csv").write_text(
        "stills,location,cct_k,lux,camera_balance_k\nshed*,Shed,2900,120,5600\n"
    )
    (tmp_path / "plain.toml").write_text('title = "Plain"\n')
    return folder


def test_narrow_in_an_encodings_name_is_kept(scout: Path, tmp_path: Path) -> None:
    ends = ("--encoding-in", "ACEScct", "--encoding-out", "BT.709 narrow", "--size", "17")
    assert _run("cube", tmp_path / "plain.toml", *ends, "--out", tmp_path / "c") == 0
    written = tmp_path / "c" / "plain.ACEScct_to_BT.709_narrow.17.cube"
    # ITU-R BT.709-6, item 5.4: 10-bit codes 64 and 940
    codes = read_cube(written).table * 1023
    assert round(float(codes.min())) == 64 and round(float(codes.max())) == 940
    assert _run("cube", tmp_path / "plain.toml", *ends, "--range-out", "full", "--out", tmp_path / "d") == 0
    assert [p.name for p in (tmp_path / "d").iterdir()] == ["plain.ACEScct_to_BT.709.17.cube"]


def test_cube_and_batch_take_the_footage_of_the_scout(scout: Path, tmp_path: Path) -> None:
    (scout / "scout.toml").write_text('[plan]\nfootage_encoding = "ACEScct"\n')
    looks = ("--looks", tmp_path / "plain.toml")
    assert _run("cube", scout, *looks, "--size", "17", "--out", tmp_path / "cubes") == 0
    assert _run("batch", scout, *looks, "--cube-size", "17", "--out", tmp_path / "out") == 0
    names = sorted(p.name for p in (tmp_path / "cubes" / "plain").iterdir())
    assert names == ["plain.ACEScct_to_BT.709.17.cube", "plain@Shed_5600K.ACEScct_to_BT.709.17.cube"]
    assert sorted(p.name for p in (tmp_path / "out" / "cubes" / "plain").iterdir()) == names


PLANS = [
    ('footage_encoding = "Foo"', "scout.toml, key plan.footage_encoding: unknown encoding; found 'Foo'"),
    ('match = "yes"', "scout.toml, key plan.match: wrong value; found 'yes'; wanted 'meter' or 'none'"),
]


@pytest.mark.parametrize(("line", "wanted"), PLANS)
def test_a_wrong_plan_is_named_where_it_stands(
    scout: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], line: str, wanted: str
) -> None:
    (scout / "scout.toml").write_text(f"[plan]\n{line}\n")
    assert _run("cube", scout, "--looks", tmp_path / "plain.toml", "--out", tmp_path / "out") == 2
    error = capsys.readouterr().err
    assert wanted in error and error.count("\n") == 1 and not (tmp_path / "out").exists()


WRONG = [
    (("cube", "LOOK", "--size", "18"), "key --size: no such cube size; found 18; wanted 17, 33 or 65"),
    (("batch", "SCOUT", "--looks", "LOOK", "--cube-size", "18"), "key --cube-size: no such cube size"),
    (("handoff", "SCOUT", "--look", "LOOK", "--encoding", "ACEScct", "--size", "18"), "no such cube size"),
    (("batch", "SCOUT", "--looks", "LOOK", "--format", "bmp"), "'--format': 'bmp' is not one of"),
    (("handoff", "SCOUT", "--look", "LOOK", "--encoding", "ACEScct", "--paper", "a3"), "'a3' is not one of"),
    (("paint", "predict", "SCOUT", "--chip", "5YR 6/4", "--looks", "LOOK", "--paper", "a3"), "'a3' is not"),
    (("handoff", "SCOUT", "--look", "FOLDER", "--encoding", "ACEScct"), "is a folder; wanted one look"),
]


@pytest.mark.parametrize(("typed", "wanted"), WRONG)
def test_a_wrong_request_is_one_line_and_writes_nothing(
    scout: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], typed: tuple[str, ...], wanted: str
) -> None:
    places = {"SCOUT": str(scout), "LOOK": str(tmp_path / "plain.toml"), "FOLDER": str(tmp_path)}
    assert _run(*(places.get(word, word) for word in typed), "--out", tmp_path / "out") == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1 and lines[0].startswith("lookdev: ") and wanted in lines[0]
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("verb", ["batch", "sheet", "cube", "light", "handoff", "paint"])
def test_an_output_folder_that_cannot_be_made(
    scout: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], verb: str
) -> None:
    (tmp_path / "file").write_text("")
    look = str(tmp_path / "plain.toml")
    options = {
        "light": [],
        "handoff": ["--look", look, "--encoding", "ACEScct"],
        "paint": ["--looks", look, "--chip", "5YR 6/4"],
    }
    words = ["paint", "predict", str(scout)] if verb == "paint" else [verb, str(scout)]
    assert _run(*words, *options.get(verb, ["--looks", look]), "--out", tmp_path / "file" / "out") == 2
    lines = [line for line in capsys.readouterr().err.splitlines() if line.startswith("lookdev: ")]
    assert len(lines) == 1 and "cannot be" in lines[0] and "Not a directory" in lines[0]


def test_every_light_of_a_location_has_a_name_of_its_own(scout: Path, tmp_path: Path) -> None:
    for name in ("shed_2.png", "shed_3.png", "yard.png"):
        (scout / name).write_bytes((scout / "shed.png").read_bytes())
    (scout / "meter.csv").write_text(
        "stills,location,source,cct_k,camera_balance_k\nshed.png,Shed,lamp,2900,5600\n"
        "shed_2.png,Shed,lamp,2915,5600\nshed_3.png,Shed,window,6500,5600\nyard.png,Yard,sun,5500,5600\n"
    )
    (tmp_path / "none.toml").write_text('title = "None"\n[balance]\nkeep = 0.0\n')
    looks = ("--looks", tmp_path / "plain.toml", "--looks", tmp_path / "none.toml", "--size", "17")
    assert _run("cube", scout, *looks, "--out", tmp_path / "cubes") == 0
    for name, ends in (
        ("plain", ("Shed", "Yard")),  # a look that keeps the cast is the same in all of them
        ("none", ("Shed_lamp_shed", "Shed_window", "Yard")),  # lamps of 2900 and 2915 K share one
    ):
        names = {p.name.removeprefix(name).split(".")[0] for p in (tmp_path / "cubes" / name).iterdir()}
        assert names == {"", *(f"@{end}_5600K" for end in ends)}
    [shared] = (tmp_path / "cubes" / "none").glob("*lamp*")
    assert "lamp (shed_2)" in shared.read_text()[:3000]


def test_a_reading_without_a_location_is_not_a_still_without_a_reading(scout: Path, tmp_path: Path) -> None:
    write_still(scout / "bare.png", np.full((96, 144, 3), 90, np.uint8), SRGB)
    (scout / "meter.csv").write_text("stills,source,cct_k,lux,camera_balance_k\nshed*,lamp,2900,120,5600\n")
    looks = ("--looks", tmp_path / "plain.toml", "--cube-size", "17")
    assert _run("batch", scout, *looks, "--out", tmp_path / "out") == 0
    places = json.loads((tmp_path / "out" / "summary.json").read_text())["locations"]
    assert [(p["name"], p["stills"][0]["file"]) for p in places] == [
        ("No location", "shed.png"),
        ("No reading", "bare.png"),
    ]
    assert [r["source"] for r in places[0]["light"]["readings"]] == ["lamp"]
    assert _run("light", scout, "--only", "no location", "--out", tmp_path / "light") == 0
    chip = ("--chip", "5YR 6/4", "--looks", tmp_path / "plain.toml")
    only = ("--only", "No location", "--out", tmp_path / "paint")
    assert _run("paint", "predict", scout, *chip, *only) == 0


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8:strict"])
def test_a_terminal_that_lacks_letters(scout: Path, tmp_path: Path, encoding: str) -> None:
    log = "stills,location,source,cct_k,lux,camera_balance_k\nshed*,東 café,lamp,2900,120,5600\n"
    (scout / "meter.csv").write_text(log, encoding="utf-8")
    command = [
        sys.executable,
        "-m",
        "lookdev",
        "light",
        str(scout),
        "--no-pages",
        "--out",
        str(tmp_path / "o"),
    ]
    done = subprocess.run(
        command, capture_output=True, env={**os.environ, "PYTHONIOENCODING": encoding}, check=False
    )
    assert done.returncode == 0 and b"Traceback" not in done.stderr
    shown = {"ascii": b"\\u6771 caf\\xe9", "cp1252": b"\\u6771 caf\xe9", "utf-8:strict": "東 café".encode()}
    assert shown[encoding] in done.stdout


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="file names are UTF-8 there whatever is set")
@pytest.mark.parametrize(
    ("verb", "log", "title", "word"),
    [
        ("batch", "shed*,Łódź,lamp,2900,5600", "Plain", "Łódź"),
        ("batch", "shed*,Shed,lámpa,2900,5600", "Plain", "lámpa"),
        ("batch", "šed*,Shed,lamp,2900,5600", "Plain", "šed*"),
        ("batch", "shed*,Shed,lamp,2900,5600", "Žluť", "Žluť"),
        ("sheet", "shed*,Łódź,lamp,2900,5600", "Plain", "Łódź"),
        ("cube", "shed*,Shed,lamp,2900,5600", "Žluť", "Žluť"),
        ("handoff", "shed*,Shed,lamp,2900,5600", "Žluť", "Žluť"),
        ("light", "shed*,Łódź,lamp,2900,5600", "Plain", "Łódź"),
    ],
)
def test_a_locale_that_cannot_spell_a_files_name(
    scout: Path, tmp_path: Path, verb: str, log: str, title: str, word: str
) -> None:
    """LC_ALL=C without UTF-8: file names are ASCII, and Python makes no others."""
    (scout / "meter.csv").write_text(
        f"stills,location,source,cct_k,camera_balance_k\n{log}\n", encoding="utf-8"
    )
    (tmp_path / "plain.toml").write_text(f'title = "{title}"\n', encoding="utf-8")
    look = str(tmp_path / "plain.toml")
    looks = {"light": [], "handoff": ["--look", look, "--encoding", "ACEScct"]}.get(verb, ["--looks", look])
    done = subprocess.run(
        [sys.executable, "-m", "lookdev", verb, str(scout), *looks, "--out", str(tmp_path / "out")],
        capture_output=True,
        env={**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        check=False,
    )
    assert done.returncode == 2
    lines = done.stderr.decode("ascii").splitlines()
    shown = word.encode("ascii", "backslashreplace").decode()
    assert lines[-1] == (
        "lookdev: file names are ASCII in this locale and cannot hold these letters; "
        f"found '{shown}'; wanted a UTF-8 locale (LC_ALL=C.UTF-8), or PYTHONUTF8=1"
    )
    assert not any("Traceback" in line for line in lines)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("verb", "work"), [("sheet", "sheets"), ("batch", "batch")])
def test_ctrl_c_says_that_it_stopped(
    verb: str,
    work: str,
    scout: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Typer alone ends with 130, by custom 128 and the number of SIGINT, and no word."""

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(f"lookdev.jobs.{work}.run", interrupted)
    assert _run(verb, scout, "--looks", tmp_path / "plain.toml", "--out", tmp_path / "o") == 130
    assert "stopped; every file that is there is whole" in capsys.readouterr().err
