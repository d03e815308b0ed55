"""A scout in which most things are wrong, through the command line: one named line each, the rest done."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hostile.samples import LOOK
from PIL import Image
from still_files import exif_block, picture

from lookdev.stills.reader import read_still

GOOD = (
    "plain.jpg",
    "with space.jpg",
    "quo'te\".jpg",
    "new\nline.jpg",
    "\U0001f3a8.jpg",
    "עברית.jpg",
    "caf\udce9.jpg",
)
BAD = ("cut.jpg", "empty.jpg", "text.jpg", "link.jpg", "pipe.jpg", "bomb.png", "pdf.png")


def jpeg(**options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(picture(60, 80)).save(out, "JPEG", quality=95, **options)
    return out.getvalue()


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    root = tmp_path_factory.mktemp("job")
    scout = root / "scout"
    scout.mkdir()
    for name in GOOD:  # each of its own content: copies are graded once
        (scout / name).write_bytes(jpeg(exif=exif_block({0x0110: name})))
    (scout / "plain.png").write_bytes(jpeg())  # the same stem, and a wrong suffix
    (scout / "turned.jpg").write_bytes(jpeg(exif=exif_block({0x0112: 6}, gps={1: "N", 2: (52.0, 1.0, 2.0)})))
    (scout / "broken_profile.jpg").write_bytes(jpeg(icc_profile=b"x" * 300))
    (scout / "cut.jpg").write_bytes(jpeg()[:900])
    (scout / "empty.jpg").write_bytes(b"")
    (scout / "text.jpg").write_text("a list of locations")
    (scout / "link.jpg").symlink_to("nowhere.jpg")
    os.mkfifo(scout / "pipe.jpg")
    bomb = io.BytesIO()
    Image.new("1", (30000, 30000)).save(bomb, "PNG")
    (scout / "bomb.png").write_bytes(bomb.getvalue())
    (scout / "pdf.png").write_bytes(b"%PDF-1.7\n" + bytes(60))
    (scout / "folder.jpg").mkdir()
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*,Loft,3200,5600\n")
    (root / "look.toml").write_text(LOOK)
    done = subprocess.run(
        [sys.executable, "-m", "lookdev", "batch", "scout", "--looks", "look.toml", "--out", "out"],
        capture_output=True,
        cwd=root,
        timeout=240,
        check=False,
    )
    text = subprocess.CompletedProcess(
        done.args,
        done.returncode,
        done.stdout.decode("utf-8", "replace"),
        done.stderr.decode("utf-8", "replace"),
    )
    return root, text


def test_status_and_no_traceback(job: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    _, done = job
    said = done.stdout + done.stderr
    assert "Traceback" not in said, said[-2000:]
    assert done.returncode == 1


def test_every_bad_still_is_one_named_line(job: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    root, _ = job
    summary = json.loads((root / "out" / "summary.json").read_text(encoding="utf-8"))
    errors = _texts(summary.get("errors"))
    for name in BAD:
        lines = [e for e in errors if name in e]
        assert len(lines) == 1 and "\n" not in lines[0], (name, errors)


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [" ".join(map(str, value.values()))]
    return [t for item in (value or []) for t in _texts(item)]  # type: ignore[union-attr]


def test_the_rest_is_done_and_upright(job: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    root, _ = job
    graded = sorted((root / "out" / "graded").rglob("*.jpg"))
    assert len(graded) == len(GOOD) + 3
    assert len({p.name.casefold() for p in graded}) == len(graded)
    turned = next(p for p in graded if p.name.startswith("turned"))
    assert read_still(turned).pixels.shape == (80, 60, 3)
    assert Image.open(turned).getexif().get(0x0112) == 1
    assert not read_still(turned).metadata.has_gps
    assert np.ptp(read_still(graded[0]).pixels) > 20


def test_the_broken_profile_reaches_the_summary(job: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    root, _ = job
    text = (root / "out" / "summary.json").read_text(encoding="utf-8")
    assert "the embedded profile cannot be used" in text
    assert "named .png, but it is JPEG" in text


def test_nothing_is_written_beside_a_still(job: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    root, _ = job
    assert sorted(p.name for p in root.iterdir()) == ["look.toml", "out", "scout"]
    assert len(list((root / "scout").iterdir())) == len(GOOD) + len(BAD) + 5
