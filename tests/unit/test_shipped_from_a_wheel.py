"""The looks come along with the program: a wheel, an empty environment, another folder."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import numpy as np
import pytest

import lookdev
from lookdev.looks.shipped import shipped, shipped_folder, shipped_looks

ROOT = Path(__file__).parents[2]


def test_by_title_or_all_of_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert shipped_folder() == ROOT / "looks"
    assert len(lookdev.open_looks(["shipped"])) == len(shipped_looks()) == 7
    assert [look.title for look in lookdev.open_looks(["wet wool", "Slack water"])] == [
        "Wet wool",
        "Slack water",
    ]
    assert shipped("no such look") is None
    with pytest.raises(lookdev.LookdevError):
        lookdev.open_looks(["no such look"])
    monkeypatch.chdir(tmp_path)
    Path("shipped").mkdir()  # what is there goes first
    Path("shipped/mine.toml").write_text('title = "Mine"\n')
    assert [look.title for look in lookdev.open_looks(["shipped"])] == ["Mine"]


def test_a_wheel_brings_them(tmp_path: Path) -> None:
    pytest.importorskip(
        "setuptools", reason="no setuptools here to build a wheel with, and it is not fetched"
    )
    pytest.importorskip("pip", reason="no pip here to build a wheel with, and it is not fetched")
    quiet = {"cwd": tmp_path, "check": True, "capture_output": True, "text": True}
    source = tmp_path / "source"
    tracked = subprocess.run(
        ["git", "ls-files", "-z", "lookdev", "looks", "pyproject.toml", "README.md"],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    if tracked.returncode:
        pytest.skip("not a checkout: nothing to build from")
    for name in filter(None, tracked.stdout.split("\0")):
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        (source / name).write_bytes((ROOT / name).read_bytes())
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
    subprocess.run(
        [*pip, "wheel", "--no-deps", "--no-build-isolation", "-w", tmp_path / "wheel", source], **quiet
    )
    wheel = next((tmp_path / "wheel").glob("*.whl"))
    venv.create(tmp_path / "empty", with_pip=False)
    python = tmp_path / "empty" / "bin" / "python"
    subprocess.run([*pip, "--python", python, "install", "--no-deps", "--no-index", wheel], **quiet)
    libraries = {**os.environ, "PYTHONPATH": ""}
    site = next((tmp_path / "empty").glob("lib/python*/site-packages"))
    others = tmp_path / "libraries"  # what it needs from here, without this checkout
    others.mkdir()
    for entry in Path(sysconfig.get_path("purelib")).iterdir():
        if "lookdev" not in entry.name and entry.suffix != ".pth":
            (others / entry.name).symlink_to(entry)
    (site / "libraries.pth").write_text(f"{others}\n")

    scout = tmp_path / "day1"
    codes = np.random.default_rng(3).integers(0, 256, (60, 90, 3), dtype=np.uint8)
    lookdev.write_still(scout / "a.png", codes, lookdev.get_encoding("sRGB"))
    (scout / "meter.csv").write_text("stills,location,x,y,camera_balance_k\na.png,Slip,0.45,0.41,5600\n")
    verb = [
        tmp_path / "empty" / "bin" / "lookdev",
        "batch",
        scout,
        "--looks",
        "shipped",
        "--out",
        tmp_path / "out",
    ]
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    done = subprocess.run(verb, cwd=elsewhere, env=libraries, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    summary = json.loads((tmp_path / "out" / "summary.json").read_text("utf-8"))
    assert {look["title"] for look in summary["looks"]} == set(shipped_looks())
