"""TOML in: its slips in words, its guards on size, keys and nesting. TOML 1.0.0 says what is right."""

from __future__ import annotations

import tomllib
import tracemalloc
from pathlib import Path

import pytest

from lookdev.errors import LookdevError, LookError, MeterError
from lookdev.looks.toml_file import load_look
from lookdev.lut.received import open_look
from lookdev.meter.scout import read_scout_file
from lookdev.text.toml_in import parse_toml, read_toml

SLIPS = {
    "keep = .25": "a number begins with a point; found '.25'; wanted keep = 0.25",
    "keep = -.25": "a number begins with a point; found '-.25'; wanted keep = -0.25",
    "keep = 1.": "a number ends in a point; found '1.'; wanted keep = 1.0",
    "keep = 0,3": "a comma for the point; found '0,3'; wanted keep = 0.3",
    "keep = ,3": "a comma for the point; found ',3'; wanted keep = 0.3",
    "stops = \u22120.3": "a minus sign that is none of the keyboard; found '\u22120.3'; wanted stops = -0.3",
    "lux = 1,310": "a comma in a number; found '1,310'; wanted lux = 1310, or lux = 1.310",
    "lux = 4.300,5": "a comma for the point; found '4.300,5'; wanted lux = 4300.5",
    "index = 0800": "a number begins with a nought; found '0800'; wanted index = 800",
    "balance_k = 4300 K": "a unit after the number; found '4300 K'; wanted balance_k = 4300",
    "balance_k = 4 300": "a gap in the number; found '4 300'; wanted balance_k = 4300",
    "keep = 35%": "a percentage; found '35%'; wanted keep = 0.35",
    "keep = 0.3,": "a comma at the end of the line; found '0.3,'; wanted none",
    "title = Slack water": "text without quotes; found 'Slack water'; wanted title = \"Slack water\"",
    "hue = 5B": "text without quotes; found '5B'; wanted hue = \"5B\"",
    "shutter_s = 1/50": "text without quotes; found '1/50'; wanted shutter_s = \"1/50\"",
    "title = “Slack water”": "curly quotes; found '“Slack water”'; wanted title = \"Slack water\"",
    "title = „Ebbe“": "curly quotes; found '„Ebbe“'; wanted title = \"Ebbe\"",
    'title = "Slack”': 'a quote that is not closed; found \'"Slack”\'; wanted title = "Slack"',
    'title = "Slack': 'a quote that is not closed; found \'"Slack\'; wanted title = "Slack"',
    "title = 'it's'": "quotes within quotes; found \"'it's'\"; wanted title = \"it's\"",
    'cube = "C:\\new\\video.cube"': "a backslash in double quotes",
    'note = """Cold.': 'quotes that are not closed; found \'"""\'; wanted """ at its end',
    "looks = [“a”, “b”]": 'curly quotes; found \'[“a”, “b”]\'; wanted looks = ["a", "b"]',
    "looks = [cold, grey]": 'text without quotes; found \'[cold, grey]\'; wanted looks = ["cold", "grey"]',
    "slope = [1,05, 1, 1]": "a comma for the point; found '[1,05, 1, 1]'; wanted slope = [1.05, 1, 1]",
    "slope = [.9, 1, 1]": "a number begins with a point; found '[.9, 1, 1]'; wanted slope = [0.9, 1, 1]",
    "slope = [1; 1; 1]": "a semicolon for the comma; found '[1; 1; 1]'; wanted slope = [1, 1, 1]",
    "slope = [1.0, 1.0": "a bracket that is not closed; found '[1.0, 1.0'; wanted slope = [1.0, 1.0]",
    "b = {keep = .5}": "a number begins with a point; found '{keep = .5}'; wanted b = {keep = 0.5}",
    "stops: -0.3": "no equals sign; found 'stops: -0.3'; wanted stops = -0.3",
    "stops -0,3": "no equals sign; found 'stops -0,3'; wanted stops = -0.3",
    "keep == 0.5": "two equals signs; found 'keep == 0.5'; wanted keep = 0.5",
    "stops =": "no value after the equals sign; wanted stops = a value",
    "on = True": "true and false in small letters; found 'True'; wanted on = true",
    "shutter angle = 172": "a key is one word; found 'shutter angle'; wanted shutter_angle = 172",
    "[curve": "a heading that is not closed; found '[curve'; wanted [curve]",
    "curve]": "a heading that is not opened; found 'curve]'; wanted [curve]",
    "[[tone]": "a heading that is not closed; found '[[tone]'; wanted [[tone]]",
    "// cold": "a comment begins with #; found '// cold'; wanted # cold",
    "x = 0.3.4": "is not TOML: expected newline or end of document after a statement",
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_answered_in_words_with_its_line(slip: str) -> None:
    text = f'# my look\n[plan]\n{slip}\n[other]\nword = "yes"\n'
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text)
    with pytest.raises(LookdevError) as caught:
        parse_toml(text, LookError, "mine.toml")
    assert str(caught.value).startswith(f"mine.toml, line 3: {SLIPS[slip]}")


WANTED = [line.rpartition("; wanted ")[2].partition(", or ")[0] for line in SLIPS.values()]


@pytest.mark.parametrize("wanted", [w for w in WANTED if w.startswith(("[", "#")) or "= " in w])
def test_what_is_wanted_is_toml(wanted: str) -> None:
    tomllib.loads(wanted.replace("= a value", "= 1"))


def test_what_stands_twice() -> None:
    for text, said in (
        ("a = 1\na = 2", "line 2: this key stands twice; found 'a'; wanted each key once"),
        ("[a]\nb = 1\n[a]\nc = 2", "line 3: this heading stands twice; found '[a]'"),
    ):
        with pytest.raises(LookdevError) as caught:
            parse_toml(text, LookError)
        assert str(caught.value).startswith(said)


def test_a_comment_is_no_slip_and_right_toml_is_left_alone() -> None:
    text = 'a = "x # “y”" # .5\nb = 5e-3\nc = [1,05e1, 2]\n'.replace("05e1", "5e1")
    assert parse_toml(text, LookError) == tomllib.loads(text)


HEAVY = {
    "24 kB of one key": "a" + ".a" * 12_000 + " = 1",
    "quoted parts with escapes": r'"\""' + r'."\""' * 30_000 + " = 1",
    "a table head": "[a" + ".a" * 90_000 + "]",
    "over the size": "#" * 200_001,
    "lists in lists": "x = " + "[" * 90_000 + "]" * 90_000,
    "tables in tables": "x = " + "{a = " * 200 + "1" + "}" * 200,
}


@pytest.mark.parametrize("name", HEAVY)
def test_every_door_is_guarded_against_what_eats_memory(name: str, tmp_path: Path) -> None:
    (tmp_path / "scout.toml").write_text(HEAVY[name])
    path = tmp_path / "scout.toml"
    doors = (
        (lambda: load_look(path), LookError),
        (lambda: open_look(path), LookError),
        (lambda: read_scout_file(tmp_path), MeterError),
        (lambda: read_toml(path, LookdevError), LookdevError),
    )
    for door, kind in doors:
        tracemalloc.start()
        try:
            with pytest.raises(kind) as caught:
                door()
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
        assert peak < 50e6
        assert len(str(caught.value).replace(str(tmp_path), "")) < 200


def test_points_for_commas_in_a_list_that_toml_takes_otherwise(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("[cdl]\nslope = [0,95, 1,0, 1,0]")
    with pytest.raises(LookError, match=r"three numbers, each 0 to 16, with a point \(no comma\)"):
        load_look(path)
