"""look.toml: every mistake is one line that names the file, the key, what was found and what is wanted."""

from __future__ import annotations

from pathlib import Path

import pytest

from lookdev.errors import LookError, RequestError
from lookdev.looks.toml_file import find_looks, load_look


def _say(tmp_path: Path, text: str | bytes, name: str = "mine.toml") -> str:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(LookError) as caught:
        load_look(path)
    line = str(caught.value)
    assert len(line.splitlines()) == 1
    assert line.startswith(str(path.parent))
    return line.removeprefix(f"{path.parent}/")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (
            "[curve]\ncontast = 1.2",
            "mine.toml, key curve.contast: unknown key; found 'contast'; wanted contrast (the nearest)",
        ),
        (
            "[colour.families.pb]\nchroma = 1",
            "mine.toml, key colour.families.pb: unknown key; found 'pb'; wanted PB (the nearest)",
        ),
        (
            "zzz = 1",
            "mine.toml, key zzz: unknown key; found 'zzz'; wanted one of title, note, strength, exposure, "
            "balance, curve, colour, tone, cdl, skin, based_on",
        ),
        (
            "[curve]\ncontrast = '1.2'",
            "mine.toml, key curve.contrast: wrong value; found '1.2'; "
            "wanted a number from 0.5 to 3, without quotes",
        ),
        (
            "[curve]\ncontrast = 9",
            "mine.toml, key curve.contrast: out of range; found 9; wanted a number from 0.5 to 3",
        ),
        (
            "[curve]\ncontrast = nan",
            "mine.toml, key curve.contrast: wrong value; found nan; wanted a number from 0.5 to 3",
        ),
        (
            "[exposure]\nstops = -inf",
            "mine.toml, key exposure.stops: wrong value; found -inf; wanted a number from -10 to 10",
        ),
        (
            "[balance]\nkeep = true",
            "mine.toml, key balance.keep: wrong value; found True; wanted a number from 0 to 1",
        ),
        (
            "curve = 3",
            "mine.toml, key curve: wrong value; found 3; wanted a table of keys "
            "(contrast, toe, shoulder, black, pivot)",
        ),
        (
            "[[tone]]\nat_stops = -3\ntowards = '5Q'\nchroma = 0.01",
            "mine.toml, key tone.1.towards: wrong value; found '5Q'; "
            "wanted a Munsell hue such as 5B or 7.5YR",
        ),
        (
            "[tone]\nat_stops = -3",
            "mine.toml, key tone: wrong value; wanted [[tone]], in two brackets, once for each",
        ),
        (
            "[[tone]]\nat_stops = -3\nreach_stops = 2",
            "mine.toml, key tone.1.towards: missing; wanted a value",
        ),
        (
            "[colour.families.YR]\nshift = -4",
            "mine.toml, key colour.families.YR.shift: has another name now; found 'shift = -4'; "
            "wanted hue_deg = -4",
        ),
        (
            "[colour.families.YR]\nvalue = 0.02",
            "mine.toml, key colour.families.YR.value: has another name now; found 'value = 0.02'; "
            "wanted lightness = 0.02",
        ),
        (
            "[toning.shadows]\nhue = '5B'\namount = 0.018",
            "mine.toml, key toning.shadows: has another name now; found 'hue = \"5B\", amount = 0.018'; "
            'wanted [[tone]] with at_stops = -3.5, reach_stops = 5, towards = "5B", chroma = 0.018',
        ),
        (
            "[toning]",
            "mine.toml, key toning: has another name now; found 'toning'; "
            "wanted [[tone]] with at_stops, reach_stops, towards, chroma, once for each level of light",
        ),
        ("note = 3", "mine.toml, key note: wrong value; found 3; wanted text in quotes"),
        (
            "[balance]\nmethod = 'X'",
            "mine.toml, key balance.method: wrong value; found 'X'; wanted 'Bradford', 'CAT02' or 'CAT16'",
        ),
        (
            "[cdl]\nslope = [1, 1, 99]",
            "mine.toml, key cdl.slope.3: out of range; found 99; wanted three numbers, each 0 to 16",
        ),
        (
            "[cdl]\npower = 1",
            "mine.toml, key cdl.power: wrong value; found 1; wanted three numbers, each over 0 to 16",
        ),
        (
            "[cdl]\nslope = [1, 1]",
            "mine.toml, key cdl.slope.3: wrong value; wanted three numbers, each 0 to 16",
        ),
        ("title = ''", "mine.toml, key title: wrong value; found ''; wanted text of 1 to 120 characters"),
        ("title = ' '", "mine.toml, key title: wrong value; found ' '; wanted one line of text"),
        (
            "based_on = 'nope.toml'",
            "mine.toml, key based_on: no such file; found 'nope.toml'; wanted a look beside this one",
        ),
        (
            "based_on = 3",
            "mine.toml, key based_on: wrong type; found 3; wanted the name of a look file",
        ),
        ("based_on = 'mine.toml'", "mine.toml, key based_on: based_on goes round in a circle"),
        (b"\xff\xfe", "mine.toml: is not UTF-8 text (byte 0); wanted a TOML file"),
        (
            "title = 'a'\ntitle = 'b'",
            "mine.toml, line 2: this key stands twice; found 'title'; wanted each key once",
        ),
    ],
)
def test_the_line(tmp_path: Path, text: str | bytes, line: str) -> None:
    assert _say(tmp_path, text) == line


def test_an_unknown_encoding_names_the_nearest(tmp_path: Path) -> None:
    line = _say(tmp_path, "[cdl]\nencoding = 'acescctt'")
    assert "key cdl.encoding: wrong value; found 'acescctt'; wanted a name" in line
    assert "ACEScc" in line.split("wanted")[1]


def test_based_on_names_the_file_where_the_mistake_is(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text("[curve]\ntoe = 2")
    line = _say(tmp_path, "based_on = 'base.toml'\n[curve]\ncontrast = 1.1")
    assert line == "base.toml, key curve.toe: out of range; found 2; wanted a number from 0 to 1"


def test_a_circle_of_three_and_a_long_chain(tmp_path: Path) -> None:
    for one, two in (("a", "b"), ("b", "c")):
        (tmp_path / f"{one}.toml").write_text(f"based_on = '{two}.toml'")
    assert "round in a circle" in _say(tmp_path, "based_on = 'a.toml'", "c.toml")
    for n in range(20):
        (tmp_path / f"n{n}.toml").write_text(f"based_on = 'n{n + 1}.toml'")
    assert "more than 16 deep" in _say(tmp_path, "based_on = 'n0.toml'")


def test_based_on_puts_the_look_over_its_base(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(
        "title = 'Base'\nnote = 'n'\n[curve]\ncontrast = 1.3\ntoe = 0.2\n[colour.families.B]\nchroma = 0.5"
    )
    (tmp_path / "wet_sand.toml").write_text(
        "based_on = 'base.toml'\n[curve]\ntoe = 0.4\n[colour.families.B]\nhue_deg = 5"
    )
    look = load_look(tmp_path / "wet_sand.toml")
    assert (look.title, look.note) == ("Wet sand", "n")
    assert (look.curve.contrast, look.curve.toe) == (1.3, 0.4)
    assert (look.colour.families.B.chroma, look.colour.families.B.hue_deg) == (0.5, 5)


def test_a_byte_order_mark_and_a_missing_title_are_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "grey_morning.toml"
    path.write_bytes(b"\xef\xbb\xbf[curve]\r\ncontrast = 2\r\n")
    assert load_look(path).title == "Grey morning"
    assert load_look(path).curve.contrast == 2.0


def test_files_that_are_none(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "absent.toml"):
        with pytest.raises(LookError, match="cannot be read"):
            load_look(path)
    (tmp_path / "loop.toml").symlink_to("loop.toml")
    with pytest.raises(LookError, match="cannot be read"):
        load_look(tmp_path / "loop.toml")


def test_find_looks(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="no look in this folder"):
        find_looks([tmp_path])
    for name in ("b.toml", "a.TOML", ".hidden.toml", "note.txt"):
        (tmp_path / name).write_text("")
    assert [p.name for p in find_looks([tmp_path, tmp_path / "b.toml"])] == ["a.TOML", "b.toml"]
    with pytest.raises(RequestError, match="no such look"):
        find_looks([tmp_path / "c.toml"])
