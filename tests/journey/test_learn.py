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


def test_three_suggestions_from_a_reference(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A reference of any kind that can be read; the files say that they are suggestions, and read back."""
    import lookdev

    out = tmp_path / "made" / "like.toml"
    only = ("--only", "Net loft, Østkai")
    assert learn(FRAMES, "--like", FRAMES / "09_cabin_table.heic", *only, "--out", out, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    names = [f"like_{k}.toml" for k in (1, 2, 3)]
    assert sorted(p.name for p in out.parent.iterdir()) == names and told["stills"] == 3
    for number, name in enumerate(names, 1):
        text = out.with_name(name).read_text(encoding="utf-8")
        assert text.startswith(f"# Suggestion {number} of 3")
        look = lookdev.load_look(out.with_name(name))
        assert look.title.endswith(f"suggestion {number}") and "09_cabin_table.heic" in look.note
        assert look.balance.keep == 0.0 and look.balance.names_keep
    first = [out.with_name(name).read_bytes() for name in names]
    assert learn(FRAMES, "--like", FRAMES / "09_cabin_table.heic", *only, "--out", out, "--replace") == 0
    assert [out.with_name(name).read_bytes() for name in names] == first
    said = capsys.readouterr().out
    assert "Suggestions: what of the reference is its look" in said
    assert "largest step of a smooth ramp" in said


def test_what_is_wrong_with_a_reference_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Image.new("RGB", (300, 200)).save(tmp_path / "black.png")
    Image.new("RGB", (300, 200), (90, 90, 90)).save(tmp_path / "even.png")
    frame = FRAMES / "15_harbour_office_desk.tif"
    out = ("--out", tmp_path / "made" / "x.toml")
    cases = [
        ((FRAMES, "--like", tmp_path / "black.png", *out), "black.png: is black: nothing can be learned"),
        ((FRAMES, "--like", tmp_path / "even.png", *out), "even.png: is one even colour"),
        ((FRAMES, "--like", tmp_path / "none.png", *out), "none.png: cannot be read"),
        (("--like", frame, *out), "which scout?"),
        ((tmp_path / "nowhere", "--like", frame, *out), "no such folder"),
        ((FRAMES, "--like", frame, "--rest", *out), "--like goes without"),
        ((FRAMES, "--before", frame, "--after", frame, *out), "a scout goes with --like"),
        ((FRAMES, "--like", frame, "--only", "Nowhere", *out), "no such location"),
        ((FRAMES, "--like", frame, "--out", FRAMES / "x.toml"), "inside the scout"),
        ((FRAMES, "--like", frame, "--out", tmp_path / "x.cube"), "a look is written as .toml"),
    ]
    for arguments, words in cases:
        assert learn(*arguments) == 2
        assert words in capsys.readouterr().err.strip().splitlines()[-1]
    assert not (tmp_path / "made").exists()


def test_pairs_of_every_kind_of_picture(tmp_path: Path) -> None:
    """P3, Adobe RGB, 16 bits and HEIC are read as every still is: the same frame in another of them is the
    same, and what was graded differs by what the grade did, whatever the files are."""
    from lookdev.colorimetry.encodings import SRGB, get_encoding
    from lookdev.errors import LookdevError
    from lookdev.jobs.learn import picture
    from lookdev.looks.learn.colours import mean_difference
    from lookdev.looks.learn.pairs import make_pair
    from lookdev.looks.model import Look
    from lookdev.looks.pipeline import Pipeline
    from lookdev.stills.writer import write_still

    with Image.open(FRAMES / "01_ferry_hall_wide.jpg") as image:
        image.thumbnail((640, 640))
        codes = np.asarray(image.convert("RGB")) / 255.0
    plain, look = Look(title="plain"), Look.model_validate({"title": "g", "colour": {"saturation": 0.5}})

    def written(name: str, encoding: str, grade: Look, top: int) -> Path:
        target = get_encoding(encoding)
        signal = np.round(np.clip(Pipeline(grade, SRGB, target)(codes), 0, 1) * top)
        write_still(tmp_path / name, signal.astype(np.uint8 if top == 255 else np.uint16), target, quality=97)
        return tmp_path / name

    before = {
        "p3.png": ("Display P3", 65535),
        "adobe.png": ("Adobe RGB", 65535),
        "srgb.tif": ("sRGB", 65535),
    }
    after = {"adobe_g.tif": "Adobe RGB", "srgb_g.png": "sRGB", "p3_g.png": "Display P3"}
    apart = []
    for (name, (encoding, top)), (graded_name, graded_in) in zip(before.items(), after.items(), strict=True):
        one = picture(written(name, encoding, plain, top))
        assert one.encoding.name == encoding
        with pytest.raises(LookdevError, match="there is nothing to learn"):
            make_pair(one, picture(written(f"same_{name}.png", graded_in, plain, 255)))
        pair = make_pair(one, picture(written(graded_name, graded_in, look, 255)))
        apart.append(mean_difference(plain, [pair.colours]))
        assert mean_difference(look, [pair.colours]) < 0.3
    assert max(apart) - min(apart) < 0.1 * min(apart) and min(apart) > 2
    heic = picture(FRAMES / "09_cabin_table.heic")
    assert heic.encoding.name == "Display P3"
    Image.fromarray(np.uint8(np.clip(heic.shown, 0, 1) * 255 + 0.5)).save(tmp_path / "table.png")
    with pytest.raises(LookdevError, match="there is nothing to learn"):
        make_pair(heic, picture(tmp_path / "table.png"))
