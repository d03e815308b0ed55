"""Attacks on how a run ends: one line and a true exit status, whatever the system or an editor did."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from lookdev.cli.main import main
from lookdev.errors import LookdevError
from lookdev.files import whole_file
from lookdev.lut.package import write_manifest, write_zip
from lookdev.outputs import Inputs, writing
from lookdev.render import executor
from lookdev.render.executor import do_task_of
from lookdev.render.journal import open_journal, tool_version
from lookdev.render.tasks import Task

Capture = pytest.CaptureFixture[str]
LONG = "a" * 300  # over the 255 bytes that a name may have on every common file system


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in arguments])
    return int(stop.value.code or 0)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    scout = tmp_path / "scout"
    scout.mkdir()
    rng = np.random.default_rng(3)
    for name in ("a.png", "b.png"):
        Image.fromarray(rng.integers(0, 255, (24, 32, 3), dtype=np.uint8)).save(scout / name)
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*.png,Loft,3200,5600\n")
    (tmp_path / "look.toml").write_text('title = "Low tide"\n[colour]\nsaturation = 0.7\n')
    return tmp_path


def batch(home: Path, *more: object) -> int:
    looks = ("--looks", home / "look.toml", "--cube-size", "17")
    return run("batch", home / "scout", *looks, "--out", home / "out", *more)


# D 19. faults of the system


@pytest.mark.parametrize(
    "words",
    [
        "batch LONG",
        "batch SCOUT --looks LONG",
        "batch SCOUT --looks LOOK --out LONG",
        "sheet LONG --looks LOOK",
        "light LONG",
        "light SCOUT --out LONG",
        "cube LONG",
        "cube LONG.cube@sRGB:sRGB",
        "inspect LONG",
        "handoff LONG --look LOOK --encoding ACEScct --out OUT",
        "handoff SCOUT --look LOOK --encoding ACEScct --out LONG",
        "handoff --verify LONG",
        "paint palette LONG",
        "paint predict SCOUT --looks LOOK --chips LONG",
        "paint match SCOUT LONG:1,1,2,2 --looks LOOK",
    ],
)
def test_a_path_too_long_is_one_line_with_the_path(
    home: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch, words: str
) -> None:
    monkeypatch.chdir(home)
    before = sorted(home.rglob("*"))
    places = {"SCOUT": "scout", "LOOK": "look.toml", "OUT": "out"}
    assert run(*(places.get(w, w.replace("LONG", LONG)) for w in words.split())) == 2
    said = [line for line in capsys.readouterr().err.splitlines() if "scout.toml" not in line]
    assert len(said) == 1 and said[0].startswith("lookdev: ") and "aaa" in said[0]
    assert sorted(home.rglob("*")) == before


def test_a_spectrum_cell_too_long_costs_its_row_and_no_more(home: Path, capsys: Capture) -> None:
    log = "stills,location,cct_k,spectrum\n*.png,Loft,3200,\n" + f"b.png,Quay,,{LONG}.csv\n"
    (home / "scout" / "meter.csv").write_text(log)
    assert run("light", home / "scout", "--out", home / "out", "--no-pages") == 1
    assert "row 3, column spectrum: File name too long" in capsys.readouterr().err
    assert (home / "out" / "light.json").is_file()


def test_full_standard_output_is_one_line() -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "lookdev", "encodings"], stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert done.returncode != 0
    assert done.stderr.decode().splitlines() == ["lookdev: standard output: No space left on device"]


@pytest.mark.skipif(os.name == "nt", reason="a shell's >&- is POSIX")
def test_closed_standard_streams(home: Path) -> None:
    """The next file that is opened must not take the place of a closed stream."""
    command = f"{sys.executable} -m lookdev light {home / 'scout'} --out {home / 'out'} --no-pages"
    for closing in (">&-", ">&- 2>&-", "<&- >&- 2>&-"):
        done = subprocess.run(f"{command} {closing}", shell=True, capture_output=True, check=False)
        assert done.returncode == 0, done.stderr
        assert b"Traceback" not in done.stderr
    assert json.loads((home / "out" / "light.json").read_text())["errors"] == []


def test_an_encrypted_or_cut_zip_is_one_line(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "p").mkdir()
    (tmp_path / "p" / "a.txt").write_text("a" * 500)
    write_manifest(tmp_path / "p", {})
    write_zip(tmp_path / "p", tmp_path / "p.zip", "p")
    raw = bytearray((tmp_path / "p.zip").read_bytes())
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # APPNOTE 4.4.4, bit 0: encrypted
        at = raw.find(mark)
        while at >= 0:
            raw[at + place] |= 1
            at = raw.find(mark, at + 4)
    (tmp_path / "locked.zip").write_bytes(raw)
    with zipfile.ZipFile(tmp_path / "locked.zip") as archive:
        assert archive.infolist()[0].flag_bits & 1
    assert run("handoff", "--verify", tmp_path / "locked.zip") == 1
    assert "damaged" in capsys.readouterr().out


# D 19, C 15. a journal that was edited


def test_edited_nested_and_odd_lines_of_the_journal_are_left_out(home: Path) -> None:
    assert batch(home) == 0
    journal = home / "out" / ".lookdev" / "journal.jsonl"
    good = [json.loads(line) for line in journal.read_text().splitlines()]
    odd = [
        "[" * 100_000 + "]" * 100_000,
        "[1, 2]",
        '"text"',
        json.dumps(good[0] | {"sha256": 7}),
        json.dumps(good[0] | {"facts": {"warnings": 3}}),
        json.dumps(good[0] | {"facts": {"encoding": ["sRGB"], "warnings": [1]}}),
        json.dumps(good[0] | {"more": 1}),
    ]
    journal.write_text("\n".join([*odd, json.dumps(good[1])]) + "\n")
    with open_journal(journal.parent, keep=True) as opened:
        found = opened.records_for([home / "out" / record["path"] for record in good])
    assert [Path(path).name for path in found] == [Path(good[1]["path"]).name]
    assert batch(home, "--resume") == 0


def test_a_pipe_as_journal_does_not_hang(home: Path, capsys: Capture) -> None:
    state = home / "out" / ".lookdev"
    state.mkdir(parents=True)
    os.mkfifo(state / "journal.jsonl")
    for more in ((), ("--resume",)):
        assert batch(home, *more) == 2
        assert "is no ordinary file" in capsys.readouterr().err
    assert sorted(p.name for p in (home / "out").rglob("*")) == [".lookdev", "journal.jsonl"]


# B 12, D 19. thumbnails


def test_damaged_thumbnails_are_made_again(home: Path) -> None:
    assert batch(home) == 0
    sheets = {p.name: p.read_bytes() for p in (home / "out" / "sheets").iterdir()}
    for thumbnail in (home / "out" / ".lookdev" / "thumbnails").iterdir():
        thumbnail.write_bytes(thumbnail.read_bytes()[:100])
    assert batch(home, "--resume") == 0
    assert {p.name: p.read_bytes() for p in (home / "out" / "sheets").iterdir()} == sheets


@pytest.mark.parametrize("damage", ["gone", "empty"])
def test_thumbnails_that_go_midway_are_named(
    home: Path, monkeypatch: pytest.MonkeyPatch, damage: str
) -> None:
    from lookdev.pages import from_batch

    real = from_batch._picture

    def after_damage(path: Path | None) -> Any:
        if path is not None:
            path.unlink(missing_ok=True) if damage == "gone" else path.write_bytes(b"")
        return real(path)

    monkeypatch.setattr(from_batch, "_picture", after_damage)
    assert batch(home) == 1
    errors = json.loads((home / "out" / "summary.json").read_text())["errors"]
    assert errors and all("thumbnails/" in line for line in errors)


# D 20. exit status 2 says that nothing was written


def test_a_request_found_wrong_midway_is_status_1_or_writes_nothing(home: Path, capsys: Capture) -> None:
    """One look fits a 1D LUT, the next does not."""
    looks = home / "looks"
    looks.mkdir()
    (looks / "a.toml").write_text('title = "A"\n')
    (looks / "b.toml").write_text('title = "B"\n[colour]\nsaturation = 0.4\n')
    status = run("cube", looks, "--1d", "--out", home / "cubes")
    assert "mixes the channels" in capsys.readouterr().err
    assert status == (1 if (home / "cubes").exists() else 2)


# E 23. what a killed run left half written


def test_half_written_outputs_are_swept_by_the_next_run_of_any_verb(home: Path) -> None:
    out = home / "out"
    out.mkdir()
    ours = [".light.json.4711.part", ".Loft.png.4711.part", ".Loft_2.png.4711.part"]
    others = [".light.json.part", ".mine.txt.4711.part", "light.json.4711.part"]
    for name in ours + others:
        (out / name).write_text("half")
    assert run("light", home / "scout", "--out", out) == 0
    assert not any((out / name).exists() for name in ours) and all((out / name).exists() for name in others)


def test_a_part_of_a_long_name_is_swept(tmp_path: Path) -> None:
    path = tmp_path / ("ø" * 120 + ".png")
    with whole_file(path) as part:
        part.write_bytes(b"x")
        left = part.with_name(part.name.replace(str(os.getpid()), "4711"))
        left.write_bytes(b"half")
    with writing(tmp_path, Inputs(), [path]):
        assert not left.exists() and path.exists()


# B 13, C 16. clusters


def test_a_worker_with_another_source_refuses_by_name(tmp_path: Path) -> None:
    result = do_task_of("0.0.0+other", Task(tmp_path / "a.jpg"), {})
    assert result.error is not None and "a.jpg" in result.error
    assert "0.0.0+other" in result.error and tool_version() in result.error


def test_a_cluster_without_workers_says_so_and_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    now, workers = 0.0, 0
    said: list[str] = []
    monkeypatch.setattr(executor, "monotonic", lambda: now)
    idle = executor._Idle(lambda: workers, "tcp://there", 25.0, lambda event: said.append(event.text))
    now = 10.0
    idle.look(False)
    now = 20.0
    idle.look(False)
    assert said == [f"no worker at tcp://there for {n} s: waiting" for n in (10, 20)]
    now, workers = 30.0, 1
    idle.look(False)  # one came
    now, workers = 50.0, 0
    idle.look(False)
    now = 56.0
    with pytest.raises(LookdevError, match="no worker for 25 s"):
        idle.look(False)


def test_how_long_to_wait_for_a_cluster_is_an_option(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[float] = []

    def never(run: Any, tasks: Any, on_event: Any, cluster_wait_s: float, see: Any) -> Any:
        asked.append(cluster_wait_s)
        raise LookdevError("no worker", key="--cluster")

    monkeypatch.setattr(executor.Run, "stills", never)
    assert batch(home, "--cluster-wait", "7.5") == 2 and batch(home) == 2
    assert asked == [7.5, executor.CLUSTER_WAIT_SECONDS]
    assert batch(home, "--cluster-wait", "-1") == 2 and batch(home, "--cluster-wait", "soon") == 2
    assert len(asked) == 2
