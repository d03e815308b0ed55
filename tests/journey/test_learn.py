"""`lookdev learn` on real files, and the look that it wrote used as any other."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lookdev.cli.main import main

FRAMES = Path(__file__).parents[2] / "sample_frames"


def learn(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main(["learn", *map(str, arguments)])
    return int(stop.value.code or 0)


@pytest.fixture
def pairs(tmp_path: Path) -> list[str]:
    found = []
    for k, name in enumerate(("01_ferry_hall_wide.jpg", "14_harbour_office_room.jpg")):
        with Image.open(FRAMES / name) as image:
            small = image.convert("RGB")
            small.thumbnail((700, 700))
        small.save(tmp_path / f"before_{k}.jpg", quality=92)
        small = Image.open(tmp_path / f"before_{k}.jpg")
        graded = (np.asarray(small) / 255.0) ** np.array([0.92, 1.0, 1.12]) * np.array([1.0, 0.98, 0.92])
        Image.fromarray(np.uint8(np.round(graded * 255))).save(tmp_path / f"after_{k}.png")
        found += ["--before", str(tmp_path / f"before_{k}.jpg"), "--after", str(tmp_path / f"after_{k}.png")]
    return found


def test_a_look_and_its_rest(pairs: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from lookdev.colorimetry.difference import ciede2000
    from lookdev.colorimetry.encodings import SRGB
    from lookdev.looks.learn.colours import lab
    from lookdev.lut.received import open_look

    out = tmp_path / "made" / "ours.toml"
    assert learn(*pairs, "--out", out, "--rest", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    names = sorted(p.name for p in out.parent.iterdir())
    assert names == [
        "ours.toml",
        "ours_left_1.png",
        "ours_left_2.png",
        "ours_rest.cube",
        "ours_with_rest.toml",
    ]
    assert all(
        pair["look"]["mean"] <= 1.0 and pair["held_back_look"]["mean"] <= 1.5 for pair in told["pairs"]
    )
    both = open_look(out.with_name("ours_with_rest.toml"))
    before = np.asarray(Image.open(tmp_path / "before_0.jpg")) / 255.0
    after = np.asarray(Image.open(tmp_path / "after_0.png")) / 255.0
    off = ciede2000(lab(both.transform(SRGB, SRGB)(before), SRGB), lab(after, SRGB))
    assert off.mean() <= 0.8
    first = out.read_bytes(), out.with_name("ours_rest.cube").read_bytes()
    assert learn(*pairs, "--out", out, "--rest", "--replace") == 0
    assert (out.read_bytes(), out.with_name("ours_rest.cube").read_bytes()) == first


def test_what_is_wrong_is_one_line(
    pairs: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "made" / "ours.toml"
    frame = tmp_path / "before_0.jpg"
    cases = [
        ((), "every pair needs a frame before and one after"),
        (("--before", frame, "--out", out), "1 before, 0 after"),
        (("--before", frame, "--after", frame, "--out", out), "there is nothing to learn"),
        (("--before", frame, "--after", tmp_path / "none.jpg", "--out", out), "none.jpg: cannot be read"),
        ((*pairs, "--out", tmp_path / "ours.cube"), "a look is written as .toml"),
        ((*pairs, "--out", FRAMES / "ours.toml"), "inside the scout"),
    ]
    for arguments, words in cases:
        assert learn(*arguments) == 2
        said = capsys.readouterr().err.strip().splitlines()
        assert words in said[-1]
    assert not out.parent.exists()


def test_one_bad_pair_does_not_stop_the_rest(
    pairs: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = ("--before", tmp_path / "before_0.jpg", "--after", tmp_path / "after_1.png")
    out = tmp_path / "made" / "ours.toml"
    assert learn(*pairs[:4], *bad, "--out", out) == 1
    assert "is no version of" in capsys.readouterr().err
    assert out.is_file()
