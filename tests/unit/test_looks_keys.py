"""The numbers of a look by name: found, changed, written into a file whose comments stay."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from oracle.cases import any_look

from lookdev.errors import RequestError
from lookdev.looks.keys import file_with_numbers, known_key, look_text, numbers_of, with_numbers
from lookdev.looks.model import Look
from lookdev.looks.toml_file import find_looks, load_look

FILE = """# my own remark
title = "Mine"

[curve]        # the curve
contrast = 1.1 # not too much
toe = 0.2

[[tone]]
at_stops = -3
towards = "5B" # cold
chroma = 0.01
"""


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(FILE, encoding="utf-8")
    return path


def test_every_number_has_a_name_and_can_be_changed() -> None:
    look = any_look(3)
    numbers = numbers_of(look)
    assert {"strength", "balance.keep", "colour.families.YR.chroma", "tone.3.chroma", "cdl.slope.2"} <= set(
        numbers
    )
    for key in numbers:
        other = with_numbers(look, {key: 0.99 * numbers[key] or 0.01})
        assert [k for k, v in numbers_of(other).items() if v != numbers[k]] == [key]


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("balance.kep", "balance.keep"),
        ("keep", "balance.keep"),
        ("Curve.Contrst", "curve.contrast"),
        ("exposure", "exposure.stops"),
        ("tone.1.chroma", r"a \[\[tone\]\] in the look first"),
    ],
)
def test_an_unknown_key_is_answered_with_the_nearest(typed: str, wanted: str) -> None:
    with pytest.raises(RequestError, match=f"is no number of a look; .*wanted {wanted}"):
        known_key(Look(title="x"), typed)


def test_a_number_out_of_range_says_so() -> None:
    with pytest.raises(RequestError, match=r"balance.keep: out of range; found 3.0; wanted .* 0 to 1"):
        with_numbers(Look(title="x"), {"balance.keep": 3.0})


def test_comments_and_order_stay(mine: Path) -> None:
    values = {"curve.contrast": 1.25, "tone.1.chroma": 0.02, "strength": 0.5}
    text = file_with_numbers(mine, values, "Mine, harder", mine.parent)
    (mine.parent / "new.toml").write_text(text, encoding="utf-8")
    assert load_look(mine.parent / "new.toml") == with_numbers(load_look(mine), values).model_copy(
        update={"title": "Mine, harder"}
    )
    kept = [line for line in text.splitlines() if "strength" not in line]
    assert (
        kept
        == FILE.replace("1.1", "1.25")
        .replace("0.01", "0.02")
        .replace('"Mine"', '"Mine, harder"')
        .splitlines()
    )


def test_keys_that_the_file_has_not_are_put_in(mine: Path) -> None:
    values = {"balance.keep": 0.25, "colour.families.YR.hue_deg": -4.0, "cdl.slope.2": 1.1}
    text = file_with_numbers(mine, values, "Mine", mine.parent)
    (mine.parent / "new.toml").write_text(text, encoding="utf-8")
    assert load_look(mine.parent / "new.toml") == with_numbers(load_look(mine), values)


def test_based_on_is_found_from_elsewhere(mine: Path, tmp_path: Path) -> None:
    child = tmp_path / "child.toml"
    child.write_text('based_on = "mine.toml"\n[exposure]\nstops = 1\n', encoding="utf-8")
    (tmp_path / "far").mkdir()
    values = {"tone.1.at_stops": -2.0, "exposure.stops": 0.5}
    text = file_with_numbers(child, values, "Child", tmp_path / "far")
    (tmp_path / "far" / "new.toml").write_text(text, encoding="utf-8")
    got = load_look(tmp_path / "far" / "new.toml")
    assert got == with_numbers(load_look(child), values)


@pytest.mark.parametrize("path", find_looks([Path(__file__).parents[2] / "looks"]), ids=lambda p: p.stem)
def test_a_look_written_out_is_read_back(path: Path, tmp_path: Path) -> None:
    look = load_look(path)
    (tmp_path / "again.toml").write_text(look_text(look, "a remark\nof two lines"), encoding="utf-8")
    assert load_look(tmp_path / "again.toml") == look


def test_a_keep_of_one_that_is_named_stays_named() -> None:
    named = Look.model_validate({"title": "x", "balance": {"keep": 1.0}})
    again = Look.model_validate(tomllib.loads(look_text(named)))
    assert again.balance.names_keep and again.fingerprint() == named.fingerprint()
    assert "keep" not in look_text(Look(title="x"))
