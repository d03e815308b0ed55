"""Faults of the system, put in on purpose: kills at a seeded step, full disks, limits, a user without rights.

Afterwards only whole files are there, the person's are untouched, and the same command ends with the bytes
of a run that nothing disturbed.
"""

from __future__ import annotations

import importlib
import multiprocessing
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from multiprocessing.context import ForkServerContext
from pathlib import Path

import pytest
from hostile.attack import contents, make_home
from PIL import Image

from lookdev.cli.main import main

LOOKS = ("--looks", "low.toml", "--looks", "wet.toml")
VERBS = {
    "batch": ["batch", "scout", *LOOKS, "--cube-size", "17", "--resume", "--out", "out/o"],
    "sheet": ["sheet", "scout", *LOOKS, "--out", "out/o"],
    "cube": ["cube", "scout", *LOOKS, "--size", "17", "--out", "out/o"],
    "handoff": [
        *("handoff", "scout", "--look", "low.toml", "--encoding", "ACEScct"),
        *("--size", "17", "--still-edge", "64", "--out", "out/o"),
    ],
    "pitch": ["pitch", "scout", *LOOKS, "--out", "out/o"],
}
KILLS = {"batch": 2, "sheet": 2, "cube": 2, "pitch": 2, "handoff": 1}
linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limits and /proc are Linux's")
root = pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can do that")


@pytest.fixture(scope="module")
def nursery() -> ForkServerContext:
    """Starts processes in which everything is loaded already."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["hostile.fault_child"])
    return context


def try_it(nursery: ForkServerContext, home: Path, verb: str, fault: str, value: int = 0) -> tuple[int, str]:
    """Exit status (minus the signal where it was killed) and what was printed."""
    from hostile import fault_child

    said = home.parent / f"{home.name}.said"
    process = nursery.Process(target=fault_child.child, args=(VERBS[verb], home, said, fault, value))
    process.start()
    process.join()
    assert process.exitcode is not None
    return process.exitcode, said.read_text(errors="replace") if said.exists() else ""


def visible(folder: Path) -> dict[str, str]:
    """What is in a folder under names that a person looks at."""
    return {
        name: digest
        for name, digest in contents(folder).items()
        if not any(part.startswith(".") for part in Path(name).parts)
    }


def mine(home: Path) -> dict[str, str]:
    return {name: d for name, d in contents(home).items() if not name.startswith("out")}


@pytest.fixture(scope="module", params=list(VERBS))
def undisturbed(
    request: pytest.FixtureRequest, nursery: ForkServerContext, tmp_path_factory: pytest.TempPathFactory
) -> tuple[str, dict[str, str], int]:
    """A verb, what it leaves, and in how many steps."""
    home = make_home(tmp_path_factory.mktemp("undisturbed") / "home")
    status, said = try_it(nursery, home, request.param, "steps")
    assert status == 0, said
    steps = int((home.parent / "home.steps").read_text())
    assert steps >= KILLS[request.param]
    return request.param, visible(home / "out"), steps


def test_killed_at_any_step_only_whole_files_are_there_and_the_next_run_ends_the_same(
    undisturbed: tuple[str, dict[str, str], int], nursery: ForkServerContext, tmp_path: Path
) -> None:
    verb, whole, steps = undisturbed
    for step in sorted(random.Random(f"13 {verb}").sample(range(1, steps + 1), KILLS[verb])):
        home = make_home(tmp_path / str(step))
        before = mine(home)
        status, said = try_it(nursery, home, verb, "kill", step)
        assert status == -9, (step, said)
        left = visible(home / "out")
        if verb != "handoff":  # whose swap of an empty folder may stand half way; --verify says so
            assert all(whole.get(name) == digest for name, digest in left.items()), step
        status, said = try_it(nursery, home, verb, "steps")
        assert status == 0, (step, said)
        assert visible(home / "out") == whole, step
        assert not list((home / "out").rglob("*.part")), step
        assert mine(home) == before


@linux
@pytest.mark.parametrize(
    ("verb", "value"), [("batch", 3000), ("sheet", 3000), ("handoff", 9000), ("pitch", 3000)]
)
def test_a_limit_on_the_size_of_files(
    nursery: ForkServerContext, tmp_path: Path, verb: str, value: int
) -> None:
    home = make_home(tmp_path / "home")
    before = mine(home)
    status, said = try_it(nursery, home, verb, "size", value)
    assert status in (1, 2) and "File too large" in said and "Traceback" not in said, said
    assert mine(home) == before and not list(home.rglob("*.part"))
    if status == 2:
        assert visible(home / "out") == {}


@linux
@pytest.mark.parametrize(("verb", "value"), [("batch", 1), ("sheet", 1), ("cube", 4), ("pitch", 4)])
def test_a_limit_on_open_files(nursery: ForkServerContext, tmp_path: Path, verb: str, value: int) -> None:
    home = make_home(tmp_path / "home")
    before = mine(home)
    status, said = try_it(nursery, home, verb, "files", value)
    assert status in (0, 1, 2) and "Traceback" not in said, said
    assert status == 0 or "open files" in said, said
    assert mine(home) == before


@linux
@pytest.mark.parametrize(("verb", "value"), [("sheet", 2), ("batch", 2)])
def test_a_limit_on_memory(nursery: ForkServerContext, tmp_path: Path, verb: str, value: int) -> None:
    home = make_home(tmp_path / "home")
    before = mine(home)
    status, said = try_it(nursery, home, verb, "memory", value)
    assert status in (0, 1, 2) and "Traceback" not in said, said
    assert mine(home) == before and not list(home.rglob("*.part"))


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 2 MB at home/out."""
    home = make_home(tmp_path / "home")
    (home / "out").mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(home / "out")],
        capture_output=True,
        check=False,
    )
    if done.returncode:
        pytest.skip(f"no file system can be mounted here: {done.stderr.decode().strip()}")
    yield home
    subprocess.run(["umount", str(home / "out")], check=True)


@linux
@root
@pytest.mark.parametrize("verb", ["batch"])
def test_a_file_system_of_two_megabytes(
    nursery: ForkServerContext, small_disk: Path, tmp_path: Path, verb: str
) -> None:
    home = small_disk
    fill = home / "out" / "mine.bin"
    fill.write_bytes(bytes(1_900_000))
    status, said = try_it(nursery, home, verb, "none")
    assert status in (1, 2) and "No space left" in said and "Traceback" not in said, said
    assert fill.stat().st_size == 1_900_000 and not list(home.rglob("*.part"))
    fill.unlink()
    subprocess.run(["mount", "-o", "remount,size=64m", str(home / "out")], check=True)
    assert try_it(nursery, home, verb, "none")[0] == 0
    other = make_home(tmp_path / "other")
    assert try_it(nursery, other, verb, "none")[0] == 0
    assert visible(home / "out") == visible(other / "out")


@linux
def test_a_user_without_rights(nursery: ForkServerContext, tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    before = contents(home)
    home.chmod(0o500)
    try:
        for verb in VERBS:
            status, said = try_it(nursery, home, verb, "rights")
            assert status == 2 and "Permission denied" in said and "Traceback" not in said, (verb, said)
    finally:
        home.chmod(0o700)
    assert contents(home) == before


@linux
def test_a_folder_that_may_not_be_read_is_named_and_the_rest_is_done(
    nursery: ForkServerContext, tmp_path: Path
) -> None:
    home = make_home(tmp_path / "home")
    locked = shutil.copytree(home / "scout", home / "scout" / "day2")
    locked.chmod(0)
    try:
        for verb in ("batch", "sheet"):
            status, said = try_it(nursery, home, verb, "rights")
            assert status == 1 and "day2" in said and "Traceback" not in said, (verb, said)
            assert visible(home / "out")
    finally:
        locked.chmod(0o700)


# standard output is full, for every verb

TELLS = {
    "log": "log scout",
    "looks": "looks low.toml wet.toml",
    "mix": "mix low.toml wet.toml --share 0.5 --out m.toml",
    "learn": "learn -b scout/a.png -a graded.png -o l.toml",
    "wedge": "wedge scout low.toml --vary colour.saturation=1,2 --stills a --out out",
    "faces": "faces scout --looks low.toml --out out",
    "pitch": "pitch scout --looks low.toml --out out",
    "sheet": "sheet scout --looks low.toml --out out",
    "batch": "batch scout --looks low.toml --cube-size 17 --out out",
    "cube": "cube low.toml --size 17 --out out",
    "light": "light scout --no-pages --out out",
    "inspect": "inspect x.cube",
    "encodings": "encodings",
    "paint palette": "paint palette scout/a.png --out out",
    "watch": "watch scout --looks low.toml --no-browser",
    "help": "--help",
    "version": "--version",
}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("verb", TELLS)
def test_a_full_standard_output_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], verb: str
) -> None:
    home = make_home(tmp_path / "home")
    rows = "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
    (home / "x.cube").write_text("LUT_3D_SIZE 2\n" + rows)
    Image.open(home / "scout" / "a.png").point(lambda v: v * 3 // 4).save(home / "graded.png")
    monkeypatch.chdir(home)
    if verb == "watch":
        server = importlib.import_module("lookdev.watch.server")
        monkeypatch.setattr(server.LivePage, "serve", lambda self: None)
    with Path("/dev/full").open("w") as full:
        monkeypatch.setattr(sys, "stdout", full)
        with pytest.raises(SystemExit) as stop:
            main(TELLS[verb].split())
        monkeypatch.undo()
    said = capsys.readouterr().err
    assert stop.value.code in (1, 2), said
    assert "standard output: No space left on device" in said and "Traceback" not in said, said
