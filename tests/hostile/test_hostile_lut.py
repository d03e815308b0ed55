"""LUT and CDL files that are wrong, packages that were tampered with: one clear line each."""

from __future__ import annotations

import json
import os
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lookdev.colorimetry.encodings import ACESCCT, BT709
from lookdev.errors import LookdevError, LookError, LutError, RequestError
from lookdev.lut.cdl import read_cdl
from lookdev.lut.cube import CubeLut, Shaper, cube_bytes, identity_cube, parse_cube, read_cube, write_cube
from lookdev.lut.package import write_manifest, write_zip
from lookdev.lut.received import open_look, open_looks
from lookdev.lut.verify import verify

ROWS = "0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n"

WRONG = [
    ("LUT_3D_SIZE 2\n0 0 0\n", r"line 2: too few rows; found '1 rows'; wanted 8"),
    ("LUT_3D_SIZE 2\n" + ROWS + "0 0 0\n", r"line 10: too many rows; found '9 rows'; wanted 8"),
    ("LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "1 nan 0"), r"line 5: not a finite number; found 'nan'"),
    ("LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "1 -inf 0"), r"line 5: not a finite number; found '-inf'"),
    ("LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "NaN 1 0"), r"line 5: not a finite number"),
    ("LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "1 1e999 0"), r"line 5: not a finite number"),
    (
        "LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "1 one 0"),
        r"line 5: text where numbers should be; found 'one'",
    ),
    ("LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "1,0 1,0 0,0"), r"line 5: text where numbers .* '1,0'"),
    ("LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "1_0 1 0"), r"line 5: text where numbers should be"),
    ("LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "1 1"), r"line 5: not three numbers; found '1 1'"),
    ("LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0\n0 0 1", "1 1\n0 0 0 1"), r"line 5: not three numbers"),
    (
        "LUT_3D_SIZE 2\n" + ROWS.replace("1 1 0", "hello"),
        r"line 5: neither a keyword nor numbers; found 'hello'",
    ),
    (
        "LUT_3D_SIZE 1\n0 0 0\n",
        r"line 1: LUT_3D_SIZE out of range; found '1'; wanted a whole number from 2 to 256",
    ),
    ("LUT_3D_SIZE 257\n", r"out of range; found '257'"),
    ("LUT_3D_SIZE -2\n", r"out of range; found '-2'"),
    ("LUT_3D_SIZE 2.5\n", r"out of range; found '2.5'"),
    ("LUT_3D_SIZE two\n", r"line 1: LUT_3D_SIZE is not a number; found 'two'"),
    ("LUT_3D_SIZE\n", r"line 1: LUT_3D_SIZE is not complete"),
    ("LUT_3D_SIZE 2\nLUT_3D_SIZE 3\n" + ROWS, r"line 2: LUT_3D_SIZE again, not as in line 1"),
    ("LUT_3D_SIZE 2\nDOMAIN_MIN 0 0\n" + ROWS, r"line 2: DOMAIN_MIN is not complete"),
    ("LUT_3D_SIZE 2\nDOMAIN_MIN 1 0 0\n" + ROWS, r"line 2: the domain is empty"),
    ("LUT_3D_SIZE 2\nDOMAIN_MAX nan 1 1\n" + ROWS, r"DOMAIN_MAX is not complete"),
    ("LUT_3D_SIZE 2\nLUT_3D_INPUT_RANGE 1 0\n" + ROWS, r"line 2: the domain is empty"),
    ("LUT_9D_SIZE 2\n" + ROWS, r"line 1: neither a keyword nor numbers"),
    ("", r"no LUT_1D_SIZE or LUT_3D_SIZE line"),
    ("# only a comment\n", r"no LUT_1D_SIZE or LUT_3D_SIZE line"),
    (ROWS, r"no LUT_1D_SIZE or LUT_3D_SIZE line"),
    ("<html><body>not a LUT</body></html>", r"line 1: neither a keyword"),
]


@pytest.mark.parametrize(("text", "said"), WRONG, ids=range(len(WRONG)))
def test_a_wrong_cube_names_its_line(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "wrong.cube"
    path.write_text(text)
    with pytest.raises(LutError, match=said) as caught:
        read_cube(path)
    assert "wrong.cube" in str(caught.value) and "\n" not in str(caught.value)


WIDE = {
    "crlf": lambda t: t.replace("\n", "\r\n"),
    "cr": lambda t: t.replace("\n", "\r"),
    "tabs": lambda t: t.replace(" ", "\t"),
    "spaces": lambda t: t.replace(" ", "   ").replace("\n", "  \n  "),
    "blank lines": lambda t: t.replace("\n", "\n\n"),
    "comments anywhere": lambda t: t.replace("1 1 0\n", "# here\n1 1 0 # and here\n"),
    "keywords last": lambda t: "\n".join(t.split("\n")[1:]) + t.split("\n")[0] + "\n",
    "lower case keyword": lambda t: t.replace("LUT_3D_SIZE", "lut_3d_size"),
    "exponents": lambda t: t.replace("1 1 0", "1e0 10E-1 +0.0"),
    "no end of line": lambda t: t.rstrip("\n"),
    "repeated keyword": lambda t: "LUT_3D_SIZE 2\n" + t,
    "video range marks": lambda t: "LUT_IN_VIDEO_RANGE\nLUT_OUT_VIDEO_RANGE\n" + t,
}


@pytest.mark.parametrize("name", WIDE)
@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"])
def test_cubes_as_the_world_writes_them(tmp_path: Path, name: str, bom: bytes) -> None:
    path = tmp_path / "wide.cube"
    path.write_bytes(bom + WIDE[name]("LUT_3D_SIZE 2\n" + ROWS).encode())
    assert np.array_equal(read_cube(path).table, identity_cube(2).table)


def test_utf16_and_latin1(tmp_path: Path) -> None:
    path = tmp_path / "a.cube"
    path.write_bytes(('TITLE "café"\nLUT_3D_SIZE 2\n' + ROWS).encode("utf-16"))
    assert read_cube(path).title == "café"
    path.write_bytes(('TITLE "café"\nLUT_3D_SIZE 2\n' + ROWS).encode("latin-1"))
    assert read_cube(path).title == "café"


def test_a_shaper_and_a_cube_in_one_file() -> None:
    text = (
        "LUT_1D_SIZE 2\nLUT_1D_INPUT_RANGE -1 3\nLUT_3D_SIZE 2\nLUT_3D_INPUT_RANGE 0 1\n0 0 0\n1 1 1\n" + ROWS
    )
    lut = parse_cube(text)
    assert lut.kind == "3D" and lut.shaper is not None
    assert (lut.input_min[0], lut.input_max[0]) == (-1, 3)
    np.testing.assert_allclose(lut([0.0, 1.0, 3.0]), [0.25, 0.5, 1.0])


@pytest.mark.parametrize("raw", [b"\x00\x01\x02", b"\x89PNG\r\n\x1a\n\x00", b"\xff\xfe\x00"])
def test_not_text(tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "binary.cube"
    path.write_bytes(raw)
    with pytest.raises(LutError, match=r"is not text|no LUT_|neither"):
        read_cube(path)


def test_missing_and_folder(tmp_path: Path) -> None:
    with pytest.raises(LutError, match="cannot be read"):
        read_cube(tmp_path / "absent.cube")
    with pytest.raises(LutError, match="cannot be read"):
        read_cube(tmp_path)


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=200))
def test_any_text_gives_a_lut_or_one_line(text: str) -> None:
    try:
        parse_cube(text)
    except LutError as error:
        assert "\n" not in str(error)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.sampled_from(["LUT_3D_SIZE 2", "DOMAIN_MIN 0 0 0", "0 0 0", "nan", "# x", "1 1", "TITLE x"]),
        max_size=14,
    )
)
def test_any_shuffle_of_lines(lines: list[str]) -> None:
    try:
        parse_cube("\n".join(lines))
    except LutError as error:
        assert "\n" not in str(error)


def test_tables_that_cannot_be_written(tmp_path: Path) -> None:
    table = identity_cube(3).table.copy()
    table[1, 1, 1, 0] = np.nan
    with pytest.raises(LutError, match="NaN"):
        write_cube(tmp_path / "x.cube", CubeLut(table))
    with pytest.raises(LutError, match="size out of range"):
        cube_bytes(CubeLut(np.zeros((1, 1, 1, 3))))
    uneven = Shaper(np.zeros((2, 3)), (0, 0, 0), (1, 2, 3))
    with pytest.raises(LutError, match="one input range"):
        cube_bytes(CubeLut(identity_cube(2).table, shaper=uneven))
    assert not list(tmp_path.iterdir())


SOP = "<SOPNode><Slope>{}</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode>"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("not xml", "is not XML"),
        ("<a/>", "no ColorCorrection in it"),
        ("<ColorCorrection id='s'/>", "s: no SOPNode and no SatNode"),
        (
            f"<ColorCorrection id='s'>{SOP.format('1 1')}</ColorCorrection>",
            "key s, Slope: incomplete; found '1 1'",
        ),
        (f"<ColorCorrection id='s'>{SOP.format('1 x 1')}</ColorCorrection>", "key s, Slope: not numbers"),
        (f"<ColorCorrection id='s'>{SOP.format('1 nan 1')}</ColorCorrection>", "key s, Slope: incomplete"),
        (
            f"<ColorCorrection id='s'>{SOP.format('-1 1 1')}</ColorCorrection>",
            "key s, Slope: out of range; found -1",
        ),
        ("<!DOCTYPE a [<!ENTITY b 'c'>]><ColorCorrection/>", "document type or entities"),
        ("<?xml version='1.0' encoding='nope'?><a/>", "is not XML"),
    ],
)
def test_wrong_cdl_files(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "wrong.cc"
    path.write_text(text)
    with pytest.raises(LutError, match=said):
        read_cdl(path)


@pytest.mark.parametrize(
    ("request_text", "kind", "said"),
    [
        ("theirs.cube", RequestError, "needs the encoding it takes and the one it gives"),
        ("theirs.cube@ACEScct", RequestError, "needs the encoding"),
        ("theirs.cube@ACEScct:", RequestError, "needs the encoding"),
        ("theirs.cube@ACEScct:nonsense", RequestError, "unknown encoding; found 'nonsense'"),
        ("absent.cube@ACEScct:BT.709", LutError, "absent.cube: cannot be read"),
    ],
)
def test_received_looks_asked_for_wrongly(tmp_path: Path, request_text: str, kind: type, said: str) -> None:
    write_cube(tmp_path / "theirs.cube", identity_cube(2))
    with pytest.raises(kind, match=said):
        open_look(str(tmp_path / request_text))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('cube = "theirs.cube"', "key cube: a LUT needs the encoding"),
        ('cube = "absent.cube@ACEScct:BT.709"', "key cube: no such file; found 'absent.cube'"),
        ('cube = "theirs.cube@ACEScct:BT.709"\ncontrast = 2', "key contrast: unknown key beside cube"),
        ('cube = "theirs.cube@ACEScct:BT.709"\nkeep = 2', "key keep: out of range"),
        ('cube = "theirs.cube@ACEScct:BT.709"\nkeep = true', "key keep: out of range"),
        ("cube = 3", "key cube: wrong value"),
    ],
)
def test_wrong_stand_ins(tmp_path: Path, text: str, said: str) -> None:
    write_cube(tmp_path / "theirs.cube", identity_cube(2))
    (tmp_path / "answer.toml").write_text(text)
    with pytest.raises(LookError, match=said):
        open_look(tmp_path / "answer.toml")


def test_a_missing_look_is_a_request_error(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="no such look"):
        open_looks([tmp_path / "absent.toml"])


def _package(folder: Path) -> Path:
    (folder / "luts").mkdir(parents=True)
    (folder / "luts" / "a.cube").write_bytes(cube_bytes(identity_cube(2)))
    (folder / "READ_ME.txt").write_text("hello")
    write_manifest(folder, {"made_by": "lookdev"})
    return folder


def test_tampering_is_named(tmp_path: Path) -> None:
    folder = _package(tmp_path / "p")
    assert verify(folder, expected=()) == []
    cube = folder / "luts" / "a.cube"
    raw = bytearray(cube.read_bytes())
    raw[40] ^= 1
    cube.write_bytes(raw)
    assert [p.split(":")[0] for p in verify(folder, expected=())] == ["luts/a.cube"]
    cube.unlink()
    (folder / "stranger.txt").write_text("x")
    assert verify(folder, expected=()) == ["luts/a.cube: missing", "stranger.txt: not in the manifest"]


def test_a_flipped_byte_in_the_zip_is_named(tmp_path: Path) -> None:
    folder = _package(tmp_path / "p")
    write_zip(folder, tmp_path / "p.zip", "p")
    assert verify(tmp_path / "p.zip", expected=()) == []
    raw = bytearray((tmp_path / "p.zip").read_bytes())
    with zipfile.ZipFile(tmp_path / "p.zip") as archive:
        info = archive.getinfo("p/luts/a.cube")
    raw[info.header_offset + 30 + len(info.filename) + 10] ^= 0xFF
    (tmp_path / "p.zip").write_bytes(raw)
    assert len(verify(tmp_path / "p.zip", expected=())) == 1


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"files": 3}', '{"files": [{"path": "a"}]}', "\x00"])
def test_a_broken_manifest(tmp_path: Path, text: str) -> None:
    folder = _package(tmp_path / "p")
    (folder / "manifest.json").write_text(text)
    with pytest.raises(RequestError, match=r"its manifest.json cannot be read"):
        verify(folder, expected=())


def test_not_a_package(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match=r"has no manifest.json"):
        verify(tmp_path)
    with pytest.raises(RequestError, match="no such package"):
        verify(tmp_path / "absent")
    (tmp_path / "file.zip").write_text("no zip")
    with pytest.raises(RequestError, match="no such package"):
        verify(tmp_path / "file.zip")


def test_paths_in_a_manifest_reach_nothing_outside(tmp_path: Path) -> None:
    folder = _package(tmp_path / "p")
    (tmp_path / "secret.txt").write_text("x")
    manifest = json.loads((folder / "manifest.json").read_text())
    manifest["files"].append({"path": "../secret.txt", "bytes": 1, "sha256": "0" * 64})
    (folder / "manifest.json").write_text(json.dumps(manifest))
    assert verify(folder, expected=()) == ["manifest.json: changed", "../secret.txt: missing"]


def test_nan_and_infinity_go_through_a_lut_as_numbers() -> None:
    lut = identity_cube(5)
    out = lut(np.array([[np.nan, np.inf, -np.inf], [2.0, -2.0, 0.5]]))
    assert out.tolist() == [[0.0, 1.0, 0.0], [1.0, 0.0, 0.5]]


def test_a_linear_request_in_narrow_range_is_refused() -> None:
    from lookdev.colorimetry.encodings import ACESCG, with_range

    with pytest.raises(RequestError):
        with_range(ACESCG, "narrow")
    with pytest.raises(RequestError, match="unknown code range"):
        with_range(ACESCCT, "legal")
    assert issubclass(RequestError, LookdevError) and BT709.code_range == "full"


@pytest.mark.parametrize("read", ["cube", "cdl", "look", "log", "scout"])
def test_what_may_never_end_is_not_read(tmp_path: Path, read: str) -> None:
    from lookdev.looks.toml_file import load_look
    from lookdev.meter.log import read_meter_log
    from lookdev.meter.scout import read_scout_file

    (tmp_path / "scout.toml").symlink_to("/dev/zero")
    (tmp_path / "pipe").symlink_to("/dev/zero")
    os.mkfifo(tmp_path / "fifo")
    readers = {"cube": read_cube, "cdl": read_cdl, "look": load_look, "log": read_meter_log}
    paths = [tmp_path] if read == "scout" else [tmp_path / "pipe", tmp_path / "fifo"]
    for path in paths:
        with pytest.raises(LookdevError, match="cannot be read: Not an ordinary file"):
            (read_scout_file if read == "scout" else readers[read])(path)
