"""What a colourist receives, made and checked through the command line."""

from __future__ import annotations

import csv
import json
import shutil
import zipfile
from pathlib import Path

import cv2
import numpy as np
import PyOpenColorIO as OCIO  # noqa: N814
import pytest
import tifffile
from ascmhl.commands import verify as verify_hash_list
from click.testing import CliRunner

from lookdev.cli.main import main
from lookdev.colorimetry.encodings import SRGB, get_encoding
from lookdev.lut.cdl import read_cdl
from lookdev.lut.cube import identity_cube, read_cube, write_cube
from lookdev.lut.package import write_manifest, write_sums, write_zip
from lookdev.lut.rebuild import rebuild
from lookdev.lut.received import open_look
from lookdev.stills.writer import write_still

GRADE = """title = "Low tide"
[balance]
keep = 0.3
[curve]
contrast = 1.15
[colour]
saturation = 0.7
"""
ONLY_CDL = """title = "Only a CDL"
[cdl]
slope = [1.1, 1.0, 0.95]
offset = [0.0, 0.01, 0.02]
saturation = 0.8
encoding = "ACEScct"
"""


def _run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        main(list(arguments))
    return int(stop.value.code or 0)


def _scout(folder: Path) -> Path:
    folder.mkdir()
    rng = np.random.default_rng(11)
    for name in ("shed_1.png", "quay_1.png"):
        small = rng.integers(20, 235, (6, 9, 3), dtype=np.uint8)
        picture = cv2.resize(small, (144, 96), interpolation=cv2.INTER_CUBIC)
        write_still(folder / name, picture, SRGB)
    (folder / "meter.csv").write_text(
        "stills,location,source,cct_k,lux,camera_balance_k\n"
        "shed_1.png,Net shed,tungsten,2900,120,5600\nquay_1.png,Quay,daylight,6100,9000,5600\n"
    )
    return folder


@pytest.fixture(scope="module")
def handoff(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("handoff")
    scout = _scout(home / "scout")
    (home / "low_tide.toml").write_text(GRADE)
    (scout / "scout.toml").write_text("date = 2031-03-04\n")
    arguments = (
        "--look",
        str(home / "low_tide.toml"),
        "--encoding",
        "ACEScct",
        "--size",
        "17",
        "--size",
        "33",
    )
    assert _run("handoff", str(scout), *arguments, "--out", str(home / "out")) == 0
    assert sorted(p.name for p in scout.iterdir()) == ["meter.csv", "quay_1.png", "scout.toml", "shed_1.png"]
    return home / "out"


def test_everything_is_there(handoff: Path) -> None:
    names = {p.relative_to(handoff).as_posix() for p in handoff.rglob("*") if p.is_file()}
    wanted = {
        "READ_ME.txt",
        "manifest.json",
        "look/low_tide.toml",
        "luts/low_tide.ACEScct_to_BT.709.17.cube",
        "luts/low_tide.ACEScct_to_BT.709.33.cube",
        "luts/low_tide@Net_shed_5600K.ACEScct_to_BT.709.17.cube",
        "luts/low_tide@Quay_5600K.ACEScct_to_BT.709.17.cube",
        "luts/monitor/low_tide.ACEScct_narrow_to_BT.709_narrow.33.cube",
        "luts/low_tide.clf",
        "luts/low_tide.ACEScct_to_ACEScct.65.cube",
        "luts/low_tide.before_display.clf",
        "luts/plain_rendering.ACEScct_to_BT.709.65.cube",
        "luts/plain_rendering.clf",
        "cdl/low_tide.cc",
        "cdl/low_tide.ccc",
        "cdl/low_tide.cdl",
        "config.ocio",
        "aces/low_tide.aces.clf",
        "aces/low_tide.amf",
        "aces/low_tide.cdl.amf",
        "aces/low_tide@Quay_5600K.cdl.amf",
        "check/check_frame.tif",
        "check/check_frame.png",
        "check/check_values.csv",
        "proof/proof.pdf",
        "proof/proof.json",
        "stills/graded/shed_1.tif",
        "stills/ungraded/shed_1.tif",
        "stills/differences.csv",
        "sheet/overview.pdf",
    }
    assert wanted <= names
    assert not list(handoff.parent.glob(".*"))


def test_a_view_for_each_place_with_the_numbers_of_its_lut(handoff: Path) -> None:
    config = OCIO.Config.CreateFromFile(str(handoff / "config.ocio"))
    config.validate()
    x = np.random.default_rng(1).random((100, 3)).astype(np.float32)
    for view, file in (("Low tide", "low_tide"), ("Low tide at Quay", "low_tide@Quay_5600K")):
        shown = OCIO.DisplayViewTransform("ACEScct", "BT.709", view)
        y = x.copy()
        config.getProcessor(shown).getOptimizedCPUProcessor(OCIO.OPTIMIZATION_LOSSLESS).applyRGB(y)
        lut = read_cube(handoff / "luts" / f"{file}.ACEScct_to_BT.709.17.cube")
        assert np.abs(y - lut(x)).max() < 2e-6


def test_stills_have_the_stated_size_and_sheets_are_there_once(tmp_path: Path) -> None:
    scout = tmp_path / "scout"
    scout.mkdir()
    write_still(scout / "quay_1.png", np.full((400, 600, 3), 90, np.uint8), SRGB)
    (tmp_path / "only.toml").write_text(ONLY_CDL)
    arguments = ("--look", str(tmp_path / "only.toml"), "--encoding", "ACEScct", "--size", "17")
    assert _run("handoff", str(scout), *arguments, "--out", str(tmp_path / "out")) == 0
    with tifffile.TiffFile(tmp_path / "out/stills/graded/quay_1.tif") as tiff:
        page = tiff.pages.first
        assert max(page.shape[:2]) == 360 and page.dtype == np.uint16
        assert page.compression.name == "ADOBE_DEFLATE" and page.predictor.name == "HORIZONTAL"
        codes = page.asarray() / 65535 * 4095
        assert np.abs(codes - np.round(codes)).max() < 0.05 and codes.max() > 256
    assert "16 bits a channel on the codes of 12, at most 360 pixels long" in " ".join(
        (tmp_path / "out/READ_ME.txt").read_text().split()
    )
    assert {p.suffix for p in (tmp_path / "out/sheet").iterdir()} == {".pdf"}
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        for info in archive.infolist():
            stored = info.filename.endswith((".tif", ".pdf", ".png"))
            assert info.compress_type == (zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED)


def test_ungraded_still_through_the_lut_is_the_graded_still(handoff: Path) -> None:
    lut = read_cube(handoff / "luts" / "low_tide@Net_shed_5600K.ACEScct_to_BT.709.17.cube")
    before = tifffile.imread(handoff / "stills" / "ungraded" / "shed_1.tif")
    after = tifffile.imread(handoff / "stills" / "graded" / "shed_1.tif")
    assert before.dtype == after.dtype == np.uint16
    apart = np.abs(lut(before / 65535.0) - after / 65535.0)
    assert apart.mean() < 0.01 and np.percentile(apart, 95) < 0.03
    with (handoff / "stills" / "differences.csv").open(encoding="utf-8-sig", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert [row["still"] for row in rows] == ["shed_1", "quay_1"]
    assert all(float(row["mean_ciede2000"]) < 1.5 for row in rows)


def test_check_frame_and_values_agree(handoff: Path) -> None:
    frame = tifffile.imread(handoff / "check" / "check_frame.tif")
    png = cv2.imread(str(handoff / "check" / "check_frame.png"), cv2.IMREAD_UNCHANGED)[..., ::-1]
    assert np.array_equal(frame, png) and frame.shape == (1080, 1920, 3)
    lut = read_cube(handoff / "luts" / "low_tide.ACEScct_to_BT.709.17.cube")
    with (handoff / "check" / "check_values.csv").open(encoding="utf-8-sig", newline="") as handle:
        for row in csv.DictReader(handle):
            codes = frame[int(row["y"]), int(row["x"])]
            assert [int(row[f"in_16bit_{c}"]) for c in "rgb"] == codes.tolist()
            out = np.floor(np.clip(lut(codes / 65535.0), 0, 1) * 1023 + 0.5)
            wanted = np.array([int(row[f"after_lut_10bit_{c}"]) for c in "rgb"])
            assert np.abs(out - wanted).max() <= 1


def test_the_look_in_it_is_the_look(handoff: Path) -> None:
    sent, kept = open_look(handoff.parent / "low_tide.toml"), open_look(handoff / "look" / "low_tide.toml")
    assert sent.fingerprint() == kept.fingerprint()
    assert read_cdl(handoff / "cdl" / "low_tide.cc")[0].cdl.encoding == "ACEScct"
    assert len(read_cdl(handoff / "cdl" / "low_tide.ccc")) == 3
    assert len(read_cdl(handoff / "cdl" / "low_tide.cdl")) == 2
    text = (handoff / "READ_ME.txt").read_text()
    assert "about a third of the metered cast kept" in text and "Net shed: shed_1.png" in text
    proof = json.loads((handoff / "proof" / "proof.json").read_text())
    assert proof["grey"]["monotonic"] is True and proof["error_picture_colours"]["mean"] < 1.5


def test_verify_and_a_flipped_byte(handoff: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _run("handoff", "--verify", str(handoff)) == 0
    assert _run("handoff", "--verify", str(handoff.with_name("out.zip"))) == 0
    copy = tmp_path / "copy"
    shutil.copytree(handoff, copy)
    target = copy / "luts" / "low_tide.clf"
    raw = bytearray(target.read_bytes())
    raw[len(raw) // 2] ^= 1
    target.write_bytes(raw)
    capsys.readouterr()
    assert _run("handoff", "--verify", str(copy), "--json") == 1
    problems = json.loads(capsys.readouterr().out)["problems"]
    assert len(problems) == 1 and problems[0].startswith("luts/low_tide.clf: changed")


def test_its_media_hash_list_is_verified_by_the_reference_implementation(handoff: Path) -> None:
    """ASC Media Hash List 2.0, PyPI ascmhl; the scout has a date, which the list bears."""
    (listed,) = (handoff / "ascmhl").glob("*.mhl")
    assert listed.name.startswith("0001_") and "2031-03-04T00:00:00Z" in listed.read_text()
    done = CliRunner().invoke(verify_hash_list, [str(handoff)])
    assert done.exit_code == 0, done.output
    assert "Media Hash List" in (handoff / "READ_ME.txt").read_text()


def test_luts_are_baked_again_from_the_look_inside(
    handoff: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Against one who changes a LUT and makes manifest and sums fit again: nothing but the look tells."""
    done = rebuild(handoff)
    assert done.problems == [] and len(done.same) == sum(
        1 for p in handoff.rglob("*") if p.suffix in (".cube", ".clf")
    )
    copy = tmp_path / "copy"
    shutil.copytree(handoff, copy)
    for name, old, new in (
        ("luts/low_tide@Quay_5600K.ACEScct_to_BT.709.17.cube", None, None),
        ("luts/low_tide.clf", None, None),
        ("aces/low_tide.aces.clf", 'linSideBreak="0.0078125"', 'linSideBreak="0.0178125"'),
    ):
        text = (copy / name).read_text()
        if old is None:
            row = next(line for line in reversed(text.splitlines()) if line.strip()[:2] == "0.")
            head, _, last = row.rpartition(" ")
            old, new = row, f"{head} {float(last) + 0.01:.6f}"
        assert old in text
        (copy / name).write_text(text.replace(old, new))
    (copy / "manifest.json").unlink()
    (copy / "SHA256SUMS").unlink()
    write_sums(copy)
    write_manifest(copy, {})
    write_zip(copy, tmp_path / "copy.zip", "p")
    for package in (copy, tmp_path / "copy.zip"):
        capsys.readouterr()
        assert _run("handoff", "--verify", str(package)) == 0
        assert _run("handoff", "--verify", str(package), "--rebuild", "--json") == 1
        answer = json.loads(capsys.readouterr().out.partition("\n")[2])
        named = [line.partition(":")[0] for line in answer["problems"]]
        assert named == [
            "aces/low_tide.aces.clf",
            "luts/low_tide.clf",
            "luts/low_tide@Quay_5600K.ACEScct_to_BT.709.17.cube",
        ]
    assert _run("handoff", "--verify", str(handoff), "--rebuild") == 0
    assert "LUTs are what the look in it gives" in capsys.readouterr().out
    assert _run("handoff", str(handoff), "--rebuild") == 2


def test_cdls_by_scene(tmp_path: Path) -> None:
    scout = _scout(tmp_path / "scout")
    (scout / "meter.csv").write_text(
        "stills;location;Szene;cct_k;camera_balance_k\n"
        "shed_1.png;Net shed;12, 14A/3;2900;5600\nquay_1.png;Quay;12;6100;5600\n"
    )
    (tmp_path / "only.toml").write_text(ONLY_CDL)
    arguments = ("--look", str(tmp_path / "only.toml"), "--encoding", "ACEScct", "--size", "17")
    assert _run("handoff", str(scout), *arguments, "--out", str(tmp_path / "out")) == 0
    with (tmp_path / "out/cdl/scenes.csv").open(encoding="utf-8-sig", newline="") as handle:
        rows = [(r["scene"], r["location"], r["id_in_scenes_ccc"]) for r in csv.DictReader(handle)]
    assert sorted(rows) == [
        ("12", "Net shed", "12@Net_shed_5600K"),
        ("12", "Quay", "12@Quay_5600K"),
        ("14A/3", "Net shed", "14A/3"),
    ]
    whole = {r.identifier: r.cdl for r in read_cdl(tmp_path / "out/cdl/only_a_cdl.ccc")}
    scenes = {r.identifier: r.cdl for r in read_cdl(tmp_path / "out/cdl/only_a_cdl.scenes.ccc")}
    assert set(scenes) == {own for _, _, own in rows}
    assert scenes["14A/3"] == scenes["12@Net_shed_5600K"] == whole["only_a_cdl@Net_shed_5600K"]


def test_the_zip_is_the_folder(handoff: Path) -> None:
    with zipfile.ZipFile(handoff.with_name("out.zip")) as archive:
        for info in archive.infolist():
            assert info.date_time == (1980, 1, 1, 0, 0, 0)
            name = info.filename.removeprefix("low_tide_handoff/")
            assert archive.read(info) == (handoff / name).read_bytes()


def test_same_input_same_bytes_and_a_cdl_comes_back_exactly(tmp_path: Path) -> None:
    scout = _scout(tmp_path / "scout")
    (tmp_path / "only.toml").write_text(ONLY_CDL)
    for name in ("a", "b"):
        arguments = ("--look", str(tmp_path / "only.toml"), "--encoding", "acescct", "--size", "17")
        assert _run("handoff", str(scout), *arguments, "--only", "Quay", "--out", str(tmp_path / name)) == 0
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    read = read_cdl(tmp_path / "a" / "cdl" / "only_a_cdl.cc")[0].cdl
    assert read == open_look(tmp_path / "only.toml").cdl  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--look", "x.toml", "--encoding", "ACEScct", "--out", "o"], "SCOUT is missing"),
        (["SCOUT", "--encoding", "ACEScct", "--out", "o"], "--look is missing"),
        (["SCOUT", "--look", "LOOK", "--out", "o"], "--encoding is missing"),
        (["SCOUT", "--look", "LOOK", "--encoding", "ACEScct"], "--out is missing"),
        (["SCOUT", "--look", "LOOK", "--encoding", "Acescc7", "--out", "o"], "unknown encoding"),
        (["SCOUT", "--look", "LOOK", "--encoding", "ACEScct", "--out", "SCOUT/o"], "inside the scout"),
        (["SCOUT", "--look", "LOOK", "--encoding", "ACEScct", "--out", "FULL"], "holds other files"),
        (
            ["SCOUT", "--look", "LOOK", "--encoding", "ACEScct", "--out", "o", "--only", "Moon"],
            "no such location",
        ),
        (["SCOUT", "--look", "LOOK", "--encoding", "ACEScct", "--out", "o", "--size", "1"], "cube size"),
        (
            ["SCOUT", "--look", "LOOK", "--encoding", "ACEScct", "--out", "o", "--paper", "a3"],
            "'a3' is not one of",
        ),
        (["--verify", "SCOUT"], "has no manifest.json"),
        (["SCOUT", "--verify", "SCOUT"], "--verify stands alone"),
    ],
)
def test_wrong_requests_write_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    scout = _scout(tmp_path / "scout")
    (tmp_path / "look.toml").write_text(GRADE)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("x")
    places = {"SCOUT": str(scout), "LOOK": str(tmp_path / "look.toml"), "FULL": str(tmp_path / "full")}
    places |= {"o": str(tmp_path / "o"), "SCOUT/o": str(scout / "o")}
    assert _run("handoff", *(places.get(a, a) for a in arguments)) == 2
    error = capsys.readouterr().err
    assert said in error and error.count("\n") == 1
    assert not (tmp_path / "o").exists() and sorted(p.name for p in tmp_path.iterdir()) == [
        "full",
        "look.toml",
        "scout",
    ]


def test_cube_alone_and_with_a_location(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scout = _scout(tmp_path / "scout")
    (tmp_path / "low_tide.toml").write_text(GRADE)
    ends = ("--encoding-in", "ACEScct", "--encoding-out", "BT.709", "--range-out", "narrow", "--size", "17")
    look = ("--looks", str(tmp_path / "low_tide.toml"))
    assert _run("cube", str(scout), *look, *ends, "--out", str(tmp_path / "cubes"), "--json") == 0
    written = json.loads(capsys.readouterr().out)["written"]
    assert [entry["place"] for entry in written] == [None, "Net shed", "Quay"]
    assert len(list((tmp_path / "cubes" / "low_tide").iterdir())) == 3
    first = tmp_path / "cubes" / "low_tide" / "low_tide.ACEScct_to_BT.709_narrow.17.cube"
    assert read_cube(first).table.min() >= 63 / 1023 - 1e-3
    assert _run("cube", str(tmp_path / "low_tide.toml"), "--1d", "--out", str(tmp_path / "x")) == 2
    assert "mixes the channels" in capsys.readouterr().err and not (tmp_path / "x").exists()
    assert _run("cube", str(scout), "--out", str(tmp_path / "x")) == 2
    assert "which looks?" in capsys.readouterr().err


def test_inspect(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_cube(tmp_path / "i.cube", identity_cube(17))
    (tmp_path / "low_tide.toml").write_text(GRADE)
    assert _run("inspect", str(tmp_path / "i.cube"), "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert (
        found["size"] == 17 and found["grey"]["monotonic"] and found["seems_to_expect"]["range_in"] == "full"
    )
    against = ("--look", str(tmp_path / "low_tide.toml"), "--encoding-in", "sRGB", "--encoding-out", "sRGB")
    assert _run("inspect", str(tmp_path / "i.cube"), *against) == 0
    assert "the look" in capsys.readouterr().out
    assert _run("inspect", str(tmp_path / "i.cube"), *against[:2]) == 2
    assert _run("inspect", str(tmp_path / "absent.cube")) == 2


def test_encodings(capsys: pytest.CaptureFixture[str]) -> None:
    assert _run("encodings", "--all", "--json") == 0
    rows = {row["name"]: row for row in json.loads(capsys.readouterr().out)}
    assert len(rows) > 50
    for name, state in (("sRGB", "output"), ("BT.2100 PQ", "output"), ("S-Log3 S-Gamut3.Cine", "scene")):
        assert rows[name]["state"] == state == get_encoding(name).state
    assert rows["ACEScg"]["ranges"] == ["full"] and rows["BT.709"]["ranges"] == ["full", "narrow"]
    assert _run("encodings", "slog") == 0 and "S-Log3" in capsys.readouterr().out
    assert _run("encodings") == 0


def test_the_look_before_the_display_comes_first(handoff: Path) -> None:
    text = (handoff / "READ_ME.txt").read_text(encoding="utf-8")
    assert text.index("luts/low_tide.ACEScct_to_ACEScct.65.cube") < text.index(
        "low_tide.ACEScct_to_BT.709.17"
    )
    assert "plain_rendering" in (handoff / "cdl" / "low_tide.cc").read_text()
    assert "5600 K" in text and "for footage balanced as the stills' camera was" in text
