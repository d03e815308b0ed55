"""The whole job on a small scout made here: what a cinematographer finds in the output folder."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lookdev.colorimetry.adaptation import xy_from_xyz
from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.rgb_spaces import WORKING
from lookdev.colorimetry.temperature import balance_white_xy, mired_duv_from_xy, xy_from_cct
from lookdev.looks.cast import Cast
from lookdev.looks.rendering import lift_curve, render_curve
from lookdev.lut.cube import read_cube
from lookdev.stills.reader import read_still

TUNGSTEN = Cast(tuple(xy_from_cct(2900)), tuple(balance_white_xy(4300)))


def lookdev(*arguments: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "lookdev", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, timeout=300)


def lamp_picture(width: int, height: int) -> np.ndarray:
    """Grey card in the middle of coloured fields, lit by a 2900 K lamp, camera set to 4300 K; sRGB, 8 bits.

    Dithered by one code, so that the mean of a patch is finer than a code.
    """
    rng = np.random.default_rng(7)
    reflectance = np.repeat(np.repeat(rng.uniform(0.05, 0.6, (4, 6, 3)), height // 4, 0), width // 6, 1)
    card = np.s_[height // 4 : height // 2, width // 3 : width // 2]
    reflectance[card] = 0.18
    x, y = TUNGSTEN.picture_xy
    white = np.array([x / y, 1.0, (1 - x - y) / y]) @ WORKING.from_xyz.T
    signal = SRGB.from_working(render_curve(reflectance * white))
    return np.floor(np.clip(signal, 0, 1) * 255 + rng.uniform(0, 1, signal.shape)).astype(np.uint8)


@pytest.fixture(scope="module")
def scout(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("trip") / "day one"
    folder.mkdir()
    exif = Image.Exif()
    exif[0x829A] = 0.02
    exif[0x829D] = 2.8
    exif[0x8827] = 800
    Image.fromarray(lamp_picture(600, 400)).save(
        folder / "galley_1.jpg", quality=98, subsampling=0, exif=exif
    )
    Image.fromarray(lamp_picture(300, 400)).save(folder / "galley_2.png")
    Image.fromarray(lamp_picture(840, 400)).save(folder / "slip wide.jpg", quality=95, subsampling=0)
    (folder / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 not a picture")
    (folder / "meter.csv").write_text(
        "stills; location; source; cct_k; duv; lux; camera_balance_k\n"
        "galley*; Galley; practicals; 2900; 0; 120,5; 4300\n"
        "slip wide.jpg; Łódź · Øst 東 café; A; ; ; 80; 4300\n"
        "broken.jpg; Galley; practicals; 2900; 0; 120; 4300\n"
        "x.jpg; Galley; practicals; 29oo; 0; 120; 4300\n",
        encoding="utf-8",
    )
    (folder / "scout.toml").write_text('title = "Invented crossing"\n')
    looks = folder.parent / "looks"
    looks.mkdir()
    (looks / "a_plain.toml").write_text('title = "Plain"\n')
    (looks / "b_clear.toml").write_text('title = "Clear"\n[balance]\nkeep = 0.0\n')
    (looks / "c_half.toml").write_text('title = "Half"\nbased_on = "b_clear.toml"\n[balance]\nkeep = 0.5\n')
    return folder


@pytest.fixture(scope="module")
def done(scout: Path) -> tuple[Path, subprocess.CompletedProcess[str], dict[str, str]]:
    before = hashes(scout)
    out = scout.parent / "out"
    result = lookdev("batch", scout, "--looks", scout.parent / "looks", "--out", out, "--format", "png")
    return out, result, before


@pytest.fixture(scope="module")
def sixteen_bits(scout: Path) -> Path:
    """The galley in 16 bits: half an 8-bit code at grey is already a mired and a Duv of 0.0006."""
    out = scout.parent / "sixteen bits"
    looks = scout.parent / "looks"
    lookdev("batch", scout, "--looks", looks, "--only", "Galley", "--out", out, "--format", "png16")
    return out


def hashes(folder: Path) -> dict[str, str]:
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    return {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def card_mired_duv(path: Path, box: tuple[slice, slice]) -> tuple[float, float]:
    still = read_still(path)
    scene = lift_curve(still.encoding.to_working(still.signal()[box].reshape(-1, 3))).mean(axis=0)
    return mired_duv_from_xy(xy_from_xyz(scene @ WORKING.to_xyz.T))


def test_bad_inputs_are_named_once_each_and_the_rest_is_done(done) -> None:  # type: ignore[no-untyped-def]
    out, result, _ = done
    assert result.returncode == 1, result.stderr
    assert "Traceback" not in result.stderr
    assert sum("row 5" in line and "29oo" in line for line in result.stderr.splitlines()) == 1
    assert any("broken.jpg" in line for line in result.stderr.splitlines())
    assert len(list((out / "graded").rglob("*.png"))) == 9


def test_scout_is_untouched(done, scout: Path) -> None:  # type: ignore[no-untyped-def]
    assert hashes(scout) == done[2]


def test_what_is_there(done) -> None:  # type: ignore[no-untyped-def]
    out = done[0]
    for name in ("Galley", "Łódź_Øst_東_café", "overview"):
        assert (out / "sheets" / f"{name}.pdf").read_bytes().startswith(b"%PDF")
        assert Image.open(out / "sheets" / f"{name}.png").width > 1600
    assert sorted(path.name for path in (out / "pitch").iterdir()) == ["frames", "pitch.html", "pitch.pdf"]
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert [place["code"] for place in summary["pitch"]["places"]] == ["GALLEY", "ŁÓDŹ ØST 東 CAFÉ"]
    assert [place["name"] for place in summary["locations"]] == ["Galley", "Łódź · Øst 東 café"]
    assert len(summary["errors"]) == 2
    assert len(summary["cubes"]) == 3 * 3  # three looks, alone and at two places
    text = (out / "summary.json").read_text(encoding="utf-8")
    assert str(out) not in text


def test_identity_gives_the_same_pixels(done, scout: Path) -> None:  # type: ignore[no-untyped-def]
    graded = np.asarray(Image.open(done[0] / "graded" / "Galley" / "galley_1__plain.png").convert("RGB"))
    assert np.array_equal(graded, read_still(scout / "galley_1.jpg").pixels)


@pytest.mark.parametrize(("look", "keep"), [("plain", 1.0), ("half", 0.5), ("clear", 0.0)])
def test_the_cast_leaves_by_the_share_that_keep_says(sixteen_bits: Path, look: str, keep: float) -> None:
    """The card was rendered under a 2900 K lamp with the camera at 4300 K: CIE 1960 UCS distances."""
    path = sixteen_bits / "graded" / "Galley" / f"galley_2__{look}.png"
    mired, duv = card_mired_duv(path, np.s_[110:190, 110:140])
    neutral = mired_duv_from_xy((0.3127, 0.3290))
    full = mired_duv_from_xy(TUNGSTEN.picture_xy)
    assert mired - neutral[0] == pytest.approx(keep * (full[0] - neutral[0]), abs=0.5)
    assert duv - neutral[1] == pytest.approx(keep * (full[1] - neutral[1]), abs=0.0003)


def test_cubes_agree_with_the_graded_still(done, scout: Path) -> None:  # type: ignore[no-untyped-def]
    lut = read_cube(next((done[0] / "cubes").glob("half/half@Galley*.cube")))
    still = read_still(scout / "galley_1.jpg")
    ours = np.asarray(Image.open(done[0] / "graded" / "Galley" / "galley_1__half.png").convert("RGB"))
    theirs = np.floor(np.clip(lut(still.signal()), 0, 1) * 255 + 0.5)
    assert np.abs(theirs - ours).max() <= 1


def test_same_input_same_bytes(done, scout: Path) -> None:  # type: ignore[no-untyped-def]
    again = scout.parent / "again"
    lookdev("batch", scout, "--looks", scout.parent / "looks", "--out", again, "--format", "png")
    first, second = hashes(done[0]), hashes(again)
    visible = [name for name in first if not name.startswith(".lookdev")]
    assert {n: first[n] for n in visible} == {n: second.get(n) for n in visible}


def test_sheet_alone(scout: Path) -> None:
    out = scout.parent / "sheets only"
    result = lookdev(
        "sheet",
        scout,
        "--looks",
        scout.parent / "looks",
        "--only",
        "galley",
        "--paper",
        "letter",
        "--out",
        out,
    )
    assert result.returncode == 1, result.stderr
    assert sorted(p.name for p in out.iterdir() if not p.name.startswith(".")) == [
        "Galley.pdf",
        "Galley.png",
        "Galley_2.png",
    ]  # no overview, which is of the whole scout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere"], "no such folder"),
        (["SCOUT"], "no looks given"),
        (["SCOUT", "--looks", "nothing.toml"], "no such look"),
        (["SCOUT", "--looks", "LOOKS", "--only", "Attic"], "no such location"),
        (["SCOUT", "--looks", "LOOKS", "--cube-in", "ACEScc t 9"], "unknown encoding"),
        (["SCOUT", "--looks", "LOOKS", "--cube-size", "12"], "17, 33 or 65"),
        (["SCOUT", "--looks", "LOOKS", "--encoding", "ACEScct"], "not written in this encoding"),
        (["SCOUT", "--looks", "LOOKS", "--out", "SCOUT/out"], "inside the scout"),
        (["SCOUT", "--qualty", "3"], "--quality"),
    ],
)
def test_a_wrong_request_is_one_line_and_nothing_is_written(
    scout: Path, tmp_path: Path, arguments: list[str], words: str
) -> None:
    names = {"SCOUT": str(scout), "LOOKS": str(scout.parent / "looks")}
    given = [a.replace("SCOUT", names["SCOUT"]) if "SCOUT" in a else names.get(a, a) for a in arguments]
    if "--out" not in given:
        given += ["--out", str(tmp_path / "out")]
    result = lookdev("batch", *given, cwd=tmp_path)
    lines = result.stderr.strip().splitlines()
    assert result.returncode == 2
    assert len(lines) == 1 and words in lines[0], result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_folder_named_like_a_still_is_named_and_the_rest_is_done(tmp_path: Path) -> None:
    folder = tmp_path / "scout"
    (folder / "x.jpg").mkdir(parents=True)
    Image.fromarray(lamp_picture(120, 80)).save(folder / "a.png")
    (folder / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*,Hut,2900,4300\n")
    (tmp_path / "plain.toml").write_text('title = "Plain"\n')
    looks = ("--looks", tmp_path / "plain.toml")
    result = lookdev("batch", folder, *looks, "--cube-size", "17", "--out", tmp_path / "out")
    assert result.returncode == 1
    lines = [line for line in result.stderr.splitlines() if "x.jpg" in line]
    assert len(lines) == 1 and lines[0].endswith("x.jpg: this is a folder; wanted a picture")
    assert [p.name for p in (tmp_path / "out" / "graded" / "Hut").iterdir()] == ["a__plain.jpg"]
    assert (tmp_path / "out" / "sheets" / "Hut.pdf").exists()
    assert len(json.loads((tmp_path / "out" / "summary.json").read_text())["errors"]) == 1
