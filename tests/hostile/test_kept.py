"""Attacks on what a person did to a run's files, or put under their names, before the next run."""

from __future__ import annotations

import json
import re
from contextvars import copy_context
from pathlib import Path

import pytest
from hostile.attack import make_home
from PIL import Image
from platformdirs import user_state_path

from lookdev.cli.main import main
from lookdev.outputs import hold

Capture = pytest.CaptureFixture[str]
BATCH = ("batch", "scout", "--looks", "low.toml", "--cube-size", "17")


def run(*words: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main([str(word) for word in words])
    return int(stop.value.code or 0)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    make_home(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state_of_the_user"))
    return tmp_path


def tree(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and ".lookdev" not in p.parts
    }


@pytest.mark.parametrize("more", [(), ("--resume",)], ids=["again", "resumed"])
def test_a_graded_still_worked_on_by_hand_is_kept_and_made_anew(
    home: Path, capsys: Capture, more: tuple[str, ...]
) -> None:
    assert run(*BATCH, "--out", "out") == 0
    before = tree(home / "out")
    (graded,) = [name for name in before if name.startswith("graded/") and Path(name).stem.startswith("a")]
    Image.new("RGB", (48, 32), "pink").save(home / "out" / graded)
    worked = (home / "out" / graded).read_bytes()
    (home / "out/summary.json").write_text("my notes")
    capsys.readouterr()
    assert run(*BATCH, "--out", "out", *more) == 0
    said = capsys.readouterr().err
    assert graded in said
    assert "summary.json" in said
    assert "is kept" in said
    after = tree(home / "out")
    assert after.pop(f"kept/{graded}") == worked
    assert after.pop("kept/summary.json") == b"my notes"
    assert after == before


def test_runs_over_their_own_files_keep_nothing_and_say_nothing(home: Path, capsys: Capture) -> None:
    verbs = [
        (*BATCH, "--out", "out"),
        ("sheet", "scout", "--looks", "low.toml", "--out", "out/sheets"),
        ("pitch", "scout", "--looks", "low.toml", "--out", "out/pitch"),
        ("light", "scout", "--out", "light"),
        ("log", "scout", "--contact", "contact"),
        ("faces", "scout", "--looks", "low.toml", "--out", "faces"),
        ("wedge", "scout", "low.toml", "--vary", "colour.saturation = .5, .6", "--out", "wedge"),
        ("cube", "low.toml", "--size", "17", "--out", "cubes"),
        ("cube", "low.toml", "--size", "17", "--out", "one/low.cube"),
        ("paint", "predict", "scout", "--looks", "low.toml", "--chip", "N 5/", "--out", "paint"),
    ]
    for _ in range(2):
        for verb in verbs:
            assert run(*verb) in (0, 1), capsys.readouterr().err
            assert "is kept" not in capsys.readouterr().err, verb
    assert not list(home.rglob("kept"))


def test_a_page_of_anothers_name_is_kept_once_and_numbered(home: Path, capsys: Capture) -> None:
    for text in ("first", "second"):
        (home / "light").mkdir(exist_ok=True)
        (home / "light/light.csv").write_text(text)
        assert run("light", "scout", "--out", "light", "--no-pages") == 0
        assert "light.csv (now kept/" in capsys.readouterr().err
    assert (home / "light/kept/light.csv").read_text() == "first"
    assert (home / "light/kept/light_2.csv").read_text() == "second"


def test_two_verbs_that_share_a_name_in_one_folder_lose_no_page(home: Path, capsys: Capture) -> None:
    assert run("sheet", "scout", "--looks", "low.toml", "--out", "out") == 0
    page = (home / "out/Loft.pdf").read_bytes()
    capsys.readouterr()
    assert run("light", "scout", "--out", "out") == 0
    assert "Loft.pdf (now kept/Loft.pdf)" in capsys.readouterr().err
    assert (home / "out/kept/Loft.pdf").read_bytes() == page


def test_what_stands_behind_a_link_stays_where_it_is(home: Path) -> None:
    (home / "mine.json").write_text("mine")
    (home / "out").mkdir()
    (home / "out/summary.json").symlink_to(home / "mine.json")
    assert run(*BATCH, "--out", "out") == 0
    assert (home / "mine.json").read_text() == "mine"
    assert json.loads((home / "out/summary.json").read_text())


@pytest.mark.parametrize("notes", [b"", b"\xff\xfe\x00", b"7\n" * 500_000], ids=["none", "no text", "many"])
def test_notes_that_were_lost_keep_more_and_stop_nothing(home: Path, notes: bytes) -> None:
    assert run("light", "scout", "--out", "light", "--no-pages") == 0
    (path,) = user_state_path("lookdev").iterdir()
    path.write_bytes(notes)
    before = (home / "light/light.csv").read_bytes()
    assert run("light", "scout", "--out", "light", "--no-pages") == 0
    assert (home / "light/kept/light.csv").read_bytes() == before
    assert path.stat().st_size < 14_000_000


def test_a_journal_that_an_editor_broke_keeps_more_and_stops_nothing(home: Path) -> None:
    assert run(*BATCH, "--out", "out") == 0
    before = tree(home / "out")
    lines = b"[" * 100_000 + b'\n{"path": 3}\n7\nnull\n{"path": "graded"}\n\xff'
    (home / "out/.lookdev/journal.jsonl").write_bytes(lines)
    assert run(*BATCH, "--out", "out") == 0
    after = tree(home / "out")
    assert {name: data for name, data in after.items() if not name.startswith("kept/")} == before


def test_where_no_notes_can_be_kept_nothing_is_kept_twice(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (home / "state").write_text("a file")
    monkeypatch.setenv("XDG_STATE_HOME", str(home / "state"))
    for _ in range(2):
        assert run("light", "scout", "--out", "light", "--no-pages") == 0
        assert run(*BATCH, "--out", "out") == 0
    assert not (home / "light/kept").exists()
    assert [p.name for p in (home / "out/kept").rglob("*") if p.is_file()] == ["summary.json"]


def test_notes_tell_neither_place_nor_picture(home: Path) -> None:
    assert run("light", "scout", "--out", "light", "--no-pages") == 0
    (path,) = user_state_path("lookdev").iterdir()
    assert re.fullmatch(rb"([0-9a-f]{64}\n)+", path.read_bytes())


def test_a_file_that_cannot_be_moved_ends_the_run_before_it_writes(home: Path, capsys: Capture) -> None:
    (home / "light").mkdir()
    (home / "light/light.csv").write_text("mine")
    (home / "light/kept").write_text("a file, and no folder")
    assert run("light", "scout", "--out", "light", "--no-pages") == 2
    assert "cannot be moved" in capsys.readouterr().err
    assert tree(home / "light") == {"light.csv": b"mine", "kept": b"a file, and no folder"}


@pytest.mark.parametrize("inner", ["sheets", "pitch", "cubes"])
def test_a_run_into_a_folder_of_a_batch_that_runs_is_refused(home: Path, capsys: Capture, inner: str) -> None:
    other, held = copy_context(), hold(home / "out" / inner)  # as a sheet, pitch or cube into it holds it
    other.run(held.__enter__)
    try:
        assert run(*BATCH, "--out", "out") == 2
    finally:
        other.run(held.__exit__, None, None, None)
    assert "another run" in capsys.readouterr().err
    assert not (home / "out").exists()
    assert run(*BATCH, "--out", "out") == 0
    assert not list(home.rglob("*.lock"))
