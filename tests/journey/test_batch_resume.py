"""Nothing lost: batches killed, interrupted, doubled, or out of disk, on stills that come and go."""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from multiprocessing.synchronize import Event as Flag
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import RequestError
from lookdev.render.executor import Event, run_tasks
from lookdev.render.journal import folder_lock
from lookdev.stills.writer import write_still

sys.path.insert(0, str(Path(__file__).parent))
import batch_child
from batch_child import LOOKS, run, tasks_for

KILLS = 20
STILLS = 6
HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def nursery() -> multiprocessing.context.ForkServerContext:
    """Starts processes in which everything is loaded already."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["batch_child"])
    return context


Nursery = multiprocessing.context.ForkServerContext


def start(nursery: Nursery, stills: Path, out: Path, resume: bool = False) -> multiprocessing.Process:
    process = nursery.Process(target=batch_child.child, args=(stills, out, resume))
    process.start()
    return process


def content(folder: Path) -> dict[str, str]:
    """Every file but the journal, with its hash."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "journal.jsonl"
    }


@pytest.fixture(scope="module")
def stills(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stills")
    for i in range(STILLS):
        rng = np.random.default_rng(i)
        coarse = rng.integers(0, 256, (10, 15, 3)).astype(np.uint8)
        noise = rng.integers(0, 6, (1000, 1500, 3)).astype(np.uint8)
        pixels = np.repeat(np.repeat(coarse // 6 * 5, 100, 0), 100, 1) + noise
        write_still(folder / f"still_{i}.jpg", pixels, SRGB)
    return folder


@pytest.fixture(scope="module")
def whole(stills: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What an uninterrupted batch leaves."""
    out = tmp_path_factory.mktemp("whole")
    assert run(stills, out) == []
    found = content(out)
    assert len(found) == STILLS * (2 * len(LOOKS) + 1)
    return found


def test_killed_at_twenty_random_moments_it_ends_with_the_same_bytes(
    nursery: Nursery, stills: Path, whole: dict[str, str], tmp_path: Path
) -> None:
    before = content(stills)
    moments = random.Random(4)
    start(nursery, stills, tmp_path / "first").join()
    began = time.monotonic()
    start(nursery, stills, tmp_path / "timed").join()
    usual = time.monotonic() - began
    kills = rounds = 0
    while kills < KILLS:
        out = tmp_path / f"round_{rounds}"
        rounds += 1
        finished = False
        while not finished:
            process = start(nursery, stills, out, resume=True)
            if kills < KILLS:
                process.join(moments.uniform(0.0, 0.8) * usual)
                kills += process.is_alive()
                process.kill()
            process.join()
            finished = process.exitcode == 0
            for path in (out / "graded").glob("[!.]*"):  # whatever has its name is whole
                assert hashlib.sha256(path.read_bytes()).hexdigest() == whole[f"graded/{path.name}"]
        assert content(out) == whole
    assert content(stills) == before


def test_resume_does_only_what_is_missing_changed_or_spoilt(
    stills: Path, whole: dict[str, str], tmp_path: Path
) -> None:
    mine = shutil.copytree(stills, tmp_path / "stills")
    out = tmp_path / "out"
    run(mine, out)

    def skipped() -> list[str]:
        results = run_tasks(tasks_for(mine, out), state=out / ".lookdev", resume=True)
        assert all(result.ok for result in results)
        assert all(result.encoding == "sRGB" for result in results)
        return [o.path.name for result in results for o in result.outputs if not o.skipped]

    assert skipped() == []
    for path in mine.iterdir():  # a later time stamp alone is no change
        os.utime(path)
    assert skipped() == []
    (out / "graded" / "still_1__flat.jpg").unlink()
    (out / "graded" / "still_2__warm.jpg").write_bytes(b"spoilt")
    shutil.copy(mine / "still_4.jpg", mine / "still_3.jpg")
    assert skipped() == [
        "still_1__flat.jpg",
        "still_2__warm.jpg",
        "still_3__warm.jpg",
        "still_3__flat.jpg",
        "still_3__plain.jpg",
    ]
    with (out / ".lookdev" / "journal.jsonl").open("a") as journal:
        journal.write('{"path": "graded/still_0__warm.jp')  # cut short by a crash
    shutil.copy(stills / "still_3.jpg", mine / "still_3.jpg")
    assert len(skipped()) == 3
    assert content(out) == whole


def test_without_resume_everything_is_done_again(stills: Path, tmp_path: Path) -> None:
    run(stills, tmp_path)
    results = run_tasks(tasks_for(stills, tmp_path), state=tmp_path / ".lookdev")
    assert not any(o.skipped for result in results for o in result.outputs)


def test_other_options_are_not_taken_for_the_same(stills: Path, tmp_path: Path) -> None:
    run(stills, tmp_path)
    tasks = [
        replace(task, outputs=tuple(replace(o, quality=80) for o in task.outputs))
        for task in tasks_for(stills, tmp_path)
    ]
    results = run_tasks(tasks, state=tmp_path / ".lookdev", resume=True)
    assert not any(o.skipped for result in results for o in result.outputs)


def start_held(nursery: Nursery, stills: Path, out: Path) -> tuple[multiprocessing.Process, Flag]:
    """A batch that stands still with two stills done, and the flag that lets it go on."""
    two_done, go_on = nursery.Event(), nursery.Event()
    process = nursery.Process(target=batch_child.held_child, args=(stills, out, two_done, go_on))
    process.start()
    while not two_done.wait(1):
        assert process.is_alive()
    return process, go_on


def test_ctrl_c_stops_soon_and_resume_goes_on(
    nursery: Nursery, stills: Path, whole: dict[str, str], tmp_path: Path
) -> None:
    process, _ = start_held(nursery, stills, tmp_path)
    assert process.pid is not None
    os.kill(process.pid, signal.SIGINT)
    process.join()
    assert process.exitcode not in (0, None)
    assert not list(tmp_path.rglob("*.part"))
    journal = (tmp_path / ".lookdev" / "journal.jsonl").read_text().splitlines()
    done = list((tmp_path / "graded").iterdir())
    assert 2 * len(LOOKS) <= len(journal) == len(done) <= 4 * len(LOOKS) < STILLS * len(LOOKS)
    assert run(stills, tmp_path, resume=True) == []
    assert content(tmp_path) == whole


def test_a_second_batch_into_the_folder_says_so_and_stops(
    nursery: Nursery, stills: Path, whole: dict[str, str], tmp_path: Path
) -> None:
    process, go_on = start_held(nursery, stills, tmp_path)
    with pytest.raises(RequestError, match="another run is writing into this folder"):
        run(stills, tmp_path)
    go_on.set()
    process.join()
    assert process.exitcode == 0
    assert content(tmp_path) == whole


def test_the_lock_of_a_killed_batch_holds_nobody_up(nursery: Nursery, stills: Path, tmp_path: Path) -> None:
    process, _ = start_held(nursery, stills, tmp_path)
    with pytest.raises(RequestError), folder_lock(tmp_path / ".lookdev"):
        pass
    process.kill()
    process.join()
    with folder_lock(tmp_path / ".lookdev"), folder_lock(tmp_path / ".lookdev"):
        pass


def test_a_still_that_vanishes_or_breaks_is_one_line_and_the_rest_is_done(
    stills: Path, whole: dict[str, str], tmp_path: Path
) -> None:
    mine = shutil.copytree(stills, tmp_path / "stills")
    tasks = tasks_for(mine, tmp_path / "out")
    data = (mine / "still_2.jpg").read_bytes()
    (mine / "still_2.jpg").write_bytes(data[: len(data) // 2])

    def vanish(event: Event) -> None:
        (mine / "still_5.jpg").unlink(missing_ok=True)

    results = run_tasks(tasks, state=tmp_path / "out" / ".lookdev", workers=1, on_event=vanish)
    errors = [line for result in results for line in result.errors]
    assert len(errors) == 2
    assert "still_2.jpg: the picture breaks off" in errors[0]
    assert "still_5.jpg: cannot be read: No such file or directory" in errors[1]
    assert all("\n" not in line for line in errors)
    done = {name: sha for name, sha in whole.items() if name.startswith("graded/")}
    left = {name: sha for name, sha in done.items() if "still_2" not in name and "still_5" not in name}
    assert {k: v for k, v in content(tmp_path / "out").items() if k.startswith("graded/")} == left


def test_an_unwritable_place_is_one_line_and_the_rest_is_done(stills: Path, tmp_path: Path) -> None:
    (tmp_path / "graded").mkdir()
    (tmp_path / "graded" / "still_1__flat.jpg").mkdir()  # a folder stands where a file is to go
    errors = run(stills, tmp_path)
    assert len(errors) == 1
    assert "still_1__flat.jpg: cannot be written" in errors[0]
    assert len(list((tmp_path / "graded").glob("*.jpg"))) == STILLS * len(LOOKS)
    assert not list(tmp_path.rglob("*.part"))


FULL = """
import json, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from batch_child import run
print(json.dumps(run(Path(sys.argv[2]), Path(sys.argv[3]))))
"""


def test_a_full_disk_is_clear_lines_and_what_was_written_is_whole(
    stills: Path, whole: dict[str, str], tmp_path: Path
) -> None:
    """A real file system of 2 MB in a mount namespace of its own; the graded stills alone are larger."""
    out = tmp_path / "small"
    out.mkdir()
    keep = tmp_path / "kept"
    script = 'mount -t tmpfs -o size=2m none "$1" && "$2" -c "$3" "$4" "$5" "$1" > "$6.json"; cp -a "$1" "$6"'
    arguments = [str(out), sys.executable, FULL, str(HERE), str(stills), str(keep)]
    subprocess.run(["unshare", "-rm", "sh", "-c", script, "sh", *arguments], check=True, timeout=120)
    errors = json.loads((tmp_path / "kept.json").read_text())
    assert errors
    assert all("cannot be written: No space left on device" in line and "\n" not in line for line in errors)
    written = content(keep)
    assert 0 < len(written) < len(whole)
    assert all(whole[name] == sha for name, sha in written.items())
    assert run(stills, keep, resume=True) == []
    assert content(keep) == whole


def test_a_limit_on_file_size_leaves_the_small_files(stills: Path, tmp_path: Path) -> None:
    """The kernel refuses each write past 50 kB: no output, and no half of one, appears."""

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000))

    command = [sys.executable, "-c", FULL, str(HERE), str(stills), str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, preexec_fn=limit, timeout=120)
    errors = json.loads(done.stdout)
    assert len(errors) == STILLS * len(LOOKS)
    assert all("cannot be written: File too large" in line for line in errors)
    assert not list((tmp_path / "graded").iterdir())


def test_two_outputs_of_one_name_are_refused_before_anything_is_done(stills: Path, tmp_path: Path) -> None:
    task = tasks_for(stills, tmp_path)[0]
    with pytest.raises(RequestError, match="the same name"):
        run_tasks([task, task], state=tmp_path / ".lookdev")
    assert not (tmp_path / "graded").exists()
