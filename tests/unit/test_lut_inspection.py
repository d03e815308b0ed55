"""What is named in a LUT that came in: its own words, whole numbers, steps, swaps, ranges; CDL too."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lookdev.cli.main import main
from lookdev.colorimetry.encodings import ACESCCT, BT709, get_encoding
from lookdev.looks.model import Look
from lookdev.looks.stages.cdl import CDL
from lookdev.lut.bake import bake_cube, export_cube
from lookdev.lut.cdl import CdlFit, ccc_text, cdl_text, fit_cdl
from lookdev.lut.cube import CubeLut, Shaper, cube_bytes, identity_cube, parse_cube
from lookdev.lut.inspection import inspect_lut, inspection
from lookdev.lut.received import open_look, open_looks
from lookdev.lut.said import said

GRADE = Look.model_validate({"title": "Grade", "curve": {"contrast": 1.2}, "colour": {"saturation": 0.7}})
LOG = get_encoding("ARRI LogC3 ARRI Wide Gamut 3")


@pytest.fixture(scope="module")
def lut() -> CubeLut:
    made = bake_cube(GRADE.transform(LOG, BT709), 17)
    return CubeLut(np.clip(made.table, 0.0, 1.0))  # as other makers' are


def lines(lut: CubeLut) -> str:
    return "\n".join(text for _, text in inspection(lut).lines())


def test_its_own_comments_come_first(tmp_path: Path) -> None:
    """Our ACEScct LUT was once "most like ERIMM RGB"."""
    path = tmp_path / "a.cube"
    export_cube(GRADE, ACESCCT, BT709, path, size=17)
    found = inspect_lut(path)
    assert found.encodings == (ACESCCT, BT709)
    assert found.lines()[0] == ("says", "its comments say it: ACEScct in, BT.709 out")
    assert found.examination.hues  # examined with the encodings that it says


@pytest.mark.parametrize(
    ("comments", "title", "stem", "source", "target", "where"),
    [
        (("Input: V-Log", "Output: BT.709"), "", "", "V-Log V-Gamut", "BT.709", "its comments"),
        (("LogC3 to BT.709",), "", "", "ARRI LogC3 ARRI Wide Gamut 3", "BT.709", "its comments"),
        ((), "night ACEScct to BT.2020", "", "ACEScct", "BT.2020", "its title"),
        ((), "", "a@Pier.S-Log3_S-Gamut3.Cine_to_P3-D65.33", "S-Log3 S-Gamut3.Cine", "P3-D65", "its name"),
        (("colour space: unknown to me",), "from here to there", "to_do", None, None, ""),
    ],
)
def test_what_it_says(comments, title, stem, source, target, where) -> None:
    found = said(comments, title, stem)
    assert (found.source.name if found.source else None) == source
    assert (found.target.name if found.target else None) == target
    assert found.where == where


def test_words_that_the_table_belies_are_doubted(lut: CubeLut) -> None:
    wrong = replace(lut, comments=("input: BT.2020", "output: BT.709"))
    assert "ask who made it" in lines(wrong) and "it says BT.2020" in lines(wrong)
    right = replace(lut, comments=("input: LogC3", "output: BT.709"))
    assert "ask who made it" not in lines(right)


def test_the_identity_and_no_colour(lut: CubeLut) -> None:
    assert "changes nothing" in lines(identity_cube(9))
    grey = lut.table @ np.array([0.2126, 0.7152, 0.0722])
    assert "monochrome" in lines(CubeLut(np.repeat(grey[..., None], 3, axis=-1)))
    assert "one colour" in lines(CubeLut(np.full((3, 3, 3, 3), 0.5)))


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_whole_numbers(lut: CubeLut, bits: int) -> None:
    full = 2**bits - 1
    text = "LUT_3D_SIZE 17\n" + "\n".join(
        " ".join(str(int(v)) for v in row)
        for row in np.round(np.clip(lut.table, 0, 1).transpose(2, 1, 0, 3).reshape(-1, 3) * full)
    )
    found = inspection(parse_cube(text))
    assert found.traits.whole_bits == bits and f"codes of {bits} bits" in dict(found.lines())["is"]
    assert found.examination.clipping.highest <= 1.0
    assert found.guess is not None and LOG.name in [like.name for like in found.guess.as_likely]


@pytest.mark.parametrize("bits", [8, 10])
def test_coarse_steps(lut: CubeLut, bits: int) -> None:
    codes = np.round(lut.table * (2**bits - 1)) / (2**bits - 1)
    assert inspection(parse_cube(cube_bytes(CubeLut(codes)).decode())).traits.step_bits == bits
    assert inspection(parse_cube(cube_bytes(lut).decode())).traits.step_bits is None


def test_swapped_channels_and_the_other_order(lut: CubeLut) -> None:
    swapped = inspection(CubeLut(lut.table[..., ::-1].copy()))
    order = inspection(CubeLut(np.ascontiguousarray(lut.table.transpose(2, 1, 0, 3))))
    assert "red and blue are swapped" in swapped.swapped and "blue fastest" in order.swapped
    for found in (swapped, order):
        assert found.guess is not None and LOG.name in [like.name for like in found.guess.as_likely]
    both = inspection(CubeLut(identity_cube(9).table[..., ::-1].copy()))
    assert "cannot tell which" in both.swapped
    assert inspection(lut).swapped == ""
    turned = CubeLut(lut.table[..., [1, 2, 0]].copy())
    assert "its channels are exchanged: red from green, green from blue, blue from red" in lines(turned)


@pytest.mark.parametrize("size", [17, 33, 65])
def test_narrow_range_at_any_size(size: int) -> None:
    plain = Look(title="g", colour={"saturation": 0.8})
    display = get_encoding("BT.709")
    narrow = get_encoding("BT.709 narrow")
    there = inspection(bake_cube(plain.transform(display, narrow), size))
    assert (there.range_in, there.range_out) == ("full", "narrow")
    log = inspection(bake_cube(plain.transform(ACESCCT, narrow), size))
    assert (log.range_in, log.range_out) == ("full", "narrow")
    back = inspection(bake_cube(plain.transform(narrow, display), size))
    assert (back.range_in, back.range_out) == ("narrow", "full")


def test_one_dimension_and_combined() -> None:
    axis = np.repeat(np.linspace(0, 1, 64)[:, None] ** 1.4, 3, axis=1)
    assert "1D LUT, 64 points" in inspection(CubeLut(axis), "a.cube").head
    combined = bake_cube(GRADE.transform(get_encoding("ACEScg"), BT709), 9)
    assert "behind a 1D shaper of 65536 (combined)" in inspection(combined, "a.cube").head


def fits() -> list[tuple[str, CdlFit]]:
    looks = [Look(title=t, cdl=CDL(slope=(s, 1.0, 0.9), saturation=0.8)) for t, s in (("a", 1.2), ("b", 1.1))]
    return [(f"x@{look.title}", fit_cdl(look, ACESCCT, BT709)) for look in looks]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as stop:
        main(["inspect", *arguments])
    both = capsys.readouterr()
    return int(stop.value.code or 0), both.out + both.err


def test_a_cdl_file_is_examined_by_its_ids(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, text in (
        ("two.ccc", ccc_text(fits(), "n")),
        ("two.cdl", cdl_text([(f"{i}.tif", *each) for i, each in enumerate(fits())], "n")),
    ):
        (tmp_path / name).write_text(text)
        status, out = run(capsys, str(tmp_path / name))
        assert status == 0 and f"{name}#x@a" in out and "slope 1.2 1 0.9" in out and "slope 1.1 1 0.9" in out
        status, out = run(capsys, f"{tmp_path / name}#x@b", "--json")
        (only,) = json.loads(out)["corrections"]
        assert only["id"] == "x@b" and only["greys"][0] == [0.0, 0.0, 0.0, 0.0]
        assert [look.title for look in open_looks([tmp_path / name])] == ["two x@a", "two x@b"]
        assert open_look(f"{tmp_path / name}#x@b").cdl.slope == (1.1, 1.0, 0.9)
        assert open_look(f"{tmp_path / name}#x@b@V-Log").cdl.encoding == "V-Log V-Gamut"
        status, out = run(capsys, f"{tmp_path / name}#x@c")
        assert status == 2 and "no such correction" in out and "x@a, x@b" in out


def test_what_stands_out_in_a_cdl(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    node = (
        "<ColorCorrection id='{}'><SOPNode><Slope>1 1 1</Slope><Offset>{}</Offset><Power>1 1 1</Power>"
        "</SOPNode>{}</ColorCorrection>"
    )
    none = node.format("none", "0 0 0", "")
    grey = node.format("grey", "-.1 -.1 -.1", "<SatNode><Saturation>0</Saturation></SatNode>")
    (tmp_path / "x.ccc").write_text(f"<ColorCorrectionCollection>{none}{grey}</ColorCorrectionCollection>")
    status, out = run(capsys, str(tmp_path / "x.ccc"))
    assert status == 0 and "changes nothing" in out and "monochrome" in out
    assert "black under code 0, to -0.100" in out


def test_against_a_look(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "g.toml").write_text('title = "Grade"\n[curve]\ncontrast = 1.2\n[colour]\nsaturation = 0.7\n')
    made = export_cube(GRADE, ACESCCT, BT709, tmp_path / "a.cube", size=33)
    status, out = run(capsys, str(tmp_path / "a.cube"), "--look", str(tmp_path / "g.toml"), "--json")
    apart = json.loads(out)["against"]
    assert status == 0 and apart["picture_colours"]["p95"] == pytest.approx(made.picture.p95, abs=0.01)
    assert apart["look"] == "Grade"


_RAMP = np.linspace(0.0, 1.0, 10)[:, None].repeat(3, axis=1)
_CUBE = identity_cube(5).table
ODD = {
    "two points": identity_cube(2),
    "black": CubeLut(np.zeros((2, 2, 2, 3))),
    "noise": CubeLut(np.random.default_rng(0).random((5, 5, 5, 3))),
    "turned over": CubeLut(1.0 - _CUBE),
    "huge": CubeLut(_CUBE * 1e300),
    "negative": CubeLut(_CUBE - 3.0),
    "tiny": CubeLut(_CUBE * 1e-9),
    "another domain": CubeLut(_CUBE**2, (-1.0,) * 3, (1.0,) * 3),
    "a domain a channel": CubeLut(_CUBE**0.5, (0.0, 0.1, 0.2), (1.0, 1.1, 1.3)),
    "1D turned over": CubeLut(1.0 - _RAMP),
    "1D of three curves": CubeLut(_RAMP ** np.array([1.0, 2.0, 3.0])),
    "flat shaper": CubeLut(_CUBE**0.6, shaper=Shaper(np.zeros((4, 3)))),
    "falling shaper": CubeLut(_CUBE**0.6, shaper=Shaper(1.0 - _RAMP)),
    "red alone": CubeLut(_CUBE * np.array([1.0, 0.0, 0.0])),
    "two levels": CubeLut((identity_cube(9).table > 0.5) * 1.0),
}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.filterwarnings("error")
def test_odd_tables_are_examined_and_nothing_is_made_up(name: str) -> None:
    found = inspection(ODD[name], f"{name}.cube")
    assert found.head and found.lines() and json.dumps(found.numbers(), allow_nan=False)
    assert found.guess is None or not found.guess.sure
    said = "\n".join(text for _, text in found.lines())
    assert "exchanged" not in said and "swapped" not in said and "bit codes" not in said
    if ODD[name].kind == "1D":
        assert "monochrome" not in said
