"""Attacks that left something out, or something in, without a word."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lookdev.cli.main import main
from lookdev.errors import StillError
from lookdev.stills.find import find_stills

Capture = pytest.CaptureFixture[str]
PICTURE = np.random.default_rng(3).integers(0, 255, (24, 32, 3), dtype=np.uint8)


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in arguments])
    return int(stop.value.code or 0)


def still(path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(PICTURE).save(path)
    return path


def names(scout: Path, problems: list[StillError]) -> list[str]:
    return [p.relative_to(scout).as_posix() for p in find_stills(scout, problems.append)]


# B 12. folders


def test_a_linked_day_is_looked_into_once(tmp_path: Path) -> None:
    scout = tmp_path / "scout"
    still(scout / "day2" / "b.png")
    still(tmp_path / "card" / "DCIM" / "a.png")
    (scout / "day1").symlink_to(tmp_path / "card", target_is_directory=True)
    (scout / "again").symlink_to(scout / "day2", target_is_directory=True)
    (scout / "day2" / "round").symlink_to(scout, target_is_directory=True)
    problems: list[StillError] = []
    assert names(scout, problems) == ["day1/DCIM/a.png", "day2/b.png"] and not problems


def test_a_link_to_what_holds_the_scout_is_named_and_not_followed(tmp_path: Path) -> None:
    still(tmp_path / "other" / "a.png")
    scout = tmp_path / "scout"
    still(scout / "b.png")
    (scout / "up").symlink_to(tmp_path, target_is_directory=True)
    problems: list[StillError] = []
    assert names(scout, problems) == ["b.png"]
    assert len(problems) == 1 and str(problems[0]).startswith("up: ")


@pytest.mark.parametrize("verb", ["batch", "sheet", "light"])
def test_a_folder_that_cannot_be_read_is_named_and_status_1(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch, verb: str
) -> None:
    scout = tmp_path / "scout"
    still(scout / "a.png")
    still(scout / "locked" / "b.png")
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*.png,Loft,3200,5600\n")
    (tmp_path / "look.toml").write_text('title = "Low tide"\n')
    real = os.scandir

    def scandir(path: object = ".") -> object:  # root reads everything: the refusal is put in here
        if Path(str(path)).name == "locked":
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)  # type: ignore[call-overload]

    monkeypatch.setattr(os, "scandir", scandir)
    looks = () if verb == "light" else ("--looks", tmp_path / "look.toml")
    assert run(verb, scout, *looks, "--out", tmp_path / "out") == 1
    assert "locked: cannot be looked into: Permission denied" in capsys.readouterr().err


def test_nothing_is_written_into_a_linked_day(tmp_path: Path, capsys: Capture) -> None:
    scout = tmp_path / "scout"
    still(scout / "b.png")
    still(tmp_path / "card" / "a.png")
    (scout / "day1").symlink_to(tmp_path / "card", target_is_directory=True)
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*.png,Loft,3200,5600\n")
    assert run("light", scout, "--out", tmp_path / "card" / "out") == 2
    assert "inside the scout" in capsys.readouterr().err
    assert [p.name for p in (tmp_path / "card").iterdir()] == ["a.png"]


# E 21. nothing of this machine in what is handed on


def test_no_path_of_this_machine_in_what_is_written(tmp_path: Path) -> None:
    scout = tmp_path / "home_of_somebody" / "scout"
    still(scout / "day1" / "a.png")
    (scout / "day1" / "b.png").write_bytes(b"\x89PNG\r\n\x1a\n cut")
    (scout / "c.jpg").write_bytes(b"")
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*,Loft,3200,5600\n*,Loft,x,\n")
    look = tmp_path / "home_of_somebody" / "look.toml"
    look.write_text('title = "Low tide"\n')
    out = tmp_path / "home_of_somebody" / "o"
    assert run("batch", scout, "--looks", look, "--cube-size", "17", "--out", out / "b") == 1
    ends = ("--encoding", "ACEScct", "--size", "17", "--still-edge", "64")
    assert run("handoff", scout, "--look", look, *ends, "--out", out / "h") == 1
    assert run("light", scout, "--out", out / "l") == 1
    summary = json.loads((out / "b" / "summary.json").read_text())
    assert any(line.startswith("day1/b.png: ") for line in summary["errors"])
    assert "day1/b.png: " in (out / "h" / "READ_ME.txt").read_text()
    for path in out.rglob("*"):
        if path.is_file():
            assert b"home_of_somebody" not in path.read_bytes(), path
