"""Whole-file writes and the one family of errors."""

from __future__ import annotations

import json
import pickle
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.errors import LookdevError, LookError, MeterError
from lookdev.files import safe_name, whole_file, write_json, write_whole


def test_the_line_of_an_error() -> None:
    error = MeterError(
        "not a number", file="meter.csv", row=4, column="cct_k", found="32oo", wanted="kelvin, 1000 to 25000"
    )
    assert str(error) == (
        "meter.csv, row 4, column cct_k: not a number; found '32oo'; wanted kelvin, 1000 to 25000"
    )
    assert str(LookdevError("bad")) == "bad"


@given(st.text(), st.text(), st.text(), st.text(), st.text())
def test_one_printable_line_whatever_is_in_it(
    problem: str, file: str, column: str, key: str, wanted: str
) -> None:
    error = LookdevError(problem, file=file, column=column, key=key, found=problem, wanted=wanted)
    assert str(error).isprintable()


@pytest.mark.parametrize(
    "found", [16**5000, float("nan"), ["x"] * 10_000, "x" * 10_000, b"\xff", "\ud800"], ids=range(6)
)
def test_what_was_found_is_short(found: object) -> None:
    assert len(str(LookdevError("bad", found=found))) < 110
    nested: list = []
    for _ in range(5000):
        nested = [nested]
    assert "too large to print" in str(LookdevError("bad", found=nested))


def test_errors_pickle_with_their_parts() -> None:
    error = pickle.loads(pickle.dumps(LookError("bad", file=Path("a.toml"), key="curve.toe", found=3)))
    assert type(error) is LookError
    assert (error.file, error.key, error.found) == (Path("a.toml"), "curve.toe", 3)


def test_write_whole(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "er" / "Łódź.txt"
    write_whole(path, "東\n")
    assert path.read_bytes() == "東\n".encode()
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"
    assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_whole(path, "old")
    with pytest.raises(RuntimeError), whole_file(path) as part:
        part.write_text("half")
        raise RuntimeError
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_a_folder_in_the_way_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for path in (tmp_path / "file" / "x.txt", tmp_path, tmp_path / ("n" * 300)):
        with pytest.raises(LookdevError, match="cannot be written") as caught:
            write_whole(path, "x")
        assert str(caught.value).isprintable()
    assert [p.name for p in tmp_path.iterdir()] == ["file"]


def test_long_names_still_have_room_for_the_temporary_one(tmp_path: Path) -> None:
    path = tmp_path / ("é" * 120 + ".txt")
    write_whole(path, "x")
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_write_json(tmp_path: Path) -> None:
    write_json(tmp_path / "a.json", {"b": 1, "a": "é"})
    assert (tmp_path / "a.json").read_text(encoding="utf-8") == '{\n  "b": 1,\n  "a": "é"\n}\n'
    assert json.loads((tmp_path / "a.json").read_text(encoding="utf-8")) == {"b": 1, "a": "é"}
    with pytest.raises(ValueError, match="JSON"):
        write_json(tmp_path / "b.json", float("nan"))
    assert not (tmp_path / "b.json").exists()


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Łódź · Øst 東 café", "Łódź_Øst_東_café"),
        ("हिन्दी", "हिन्दी"),
        ("a/b\\c:d", "a_b_c_d"),
        ("../../etc", "etc"),
        ("..", "unnamed"),
        ("", "unnamed"),
        ("CON", "CON_"),
        ("nul.txt", "nul_.txt"),
        ("e\u0301", "é"),
        ("\ud800x", "x"),
        ("trailing. ", "trailing"),
    ],
)
def test_safe_name(text: str, name: str) -> None:
    assert safe_name(text) == name


@given(st.text())
def test_safe_name_is_fit_for_any_system(text: str) -> None:
    name = safe_name(text)
    assert 0 < len(name.encode()) <= 124
    assert not set(name) & set('/\\:*?"<>|\0\n\r')
    assert not name.startswith(".")
    assert name[-1] not in ". "
    assert safe_name(name) == name
