"""A meter log typed badly on purpose: one clear line each, and the good row beside it is still used."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hostile.guard import no_hang

from lookdev.errors import MeterError
from lookdev.meter.ladder import Facts, climb
from lookdev.meter.log import read_meter_log
from lookdev.meter.scout import load_scout, read_scout_file
from lookdev.meter.spectrum import read_spectrum

HEAD = "stills,location,source,cct_k,duv,x,y,lux,fc,camera_balance_k,spectrum,grey,time,note\n"
GOOD = "good.jpg,Hall,lamp,3200,0.001,,,200,,5600,,,17:05,fine\n"

# (what is typed in the second row, what its one line says)
ROWS = [
    # the list
    ("a,,,3200,,0.3127,0.3290,,,,,,,", "warning: CCT 3200 K and x 0.3127, y 0.329 (which is 6504 K)"),
    ("a,,,-3200,,,,,,,,,,", "column cct_k: out of range; found '-3200'; wanted kelvin from 1000 to 25000"),
    ("a,,,,,,,-5,,,,,,", "column lux: out of range; found '-5'; wanted lux over 0, up to 1000000"),
    ("a,,,,,,,0,,,,,,", "column lux: out of range; found '0'"),
    ("a,,,,,-0.3,0.3,,,,,,,", "column x: out of range; found '-0.3'; wanted a CIE 1931 chromaticity"),
    ("a,,,,,0.7,0.6,,,,,,,", "no light has this chromaticity; found 'x 0.7, y 0.6'; wanted a chromaticity"),
    ("a,,,,,0.09,0.62,,,,,,,", None),
    ("a,,,,,0.62,0.09,,,,,,,", "x and y may have changed places"),
    ("a,,,,,,,250,90,,,,,", "warning: lux and fc disagree: 250 lux is 23.2 fc, the log says 90.0 fc"),
    # and more
    ("a,,,32oo,,,,,,,,,,", "column cct_k: not a number; found '32oo'"),
    ("a,,,3.2,,,,,,,,,,", "column cct_k: out of range; found '3.2'; wanted kelvin"),
    ("a,,,56000,,,,,,,,,,", "column cct_k: out of range; found '56000'"),
    ("a,,,nan,,,,,,,,,,", "column cct_k: not a number; found 'nan'"),
    ("a,,,,0.01,,,,,,,,,", "column cct_k: Duv without a CCT; wanted kelvin"),
    ("a,,,4000,3.2,,,,,,,,,", "column duv: out of range; found '3.2'; wanted Duv from -0.05 to 0.05"),
    ("a,,,,,0.3127,,,,,,,,", "column y: half a chromaticity; wanted both x and y, or neither"),
    ("a,,,,,3127,0.329,,,,,,,", "column x: out of range; found '3127'"),
    ('a,,,,,,,"1,200",,,,,,', None),  # 1200: the good row has decimal points
    ("a,,,,,,,bright,,,,,,", "column lux: not a number; found 'bright'"),
    ("a,,,,,,,1e9,,,,,,", "column lux: out of range; found '1e9'"),
    ("a,,,,,,,,,manual,,,,", "column camera_balance_k: not a number; found 'manual'; wanted kelvin"),
    ("a,,,,,,,,,56,,,,", "column camera_balance_k: out of range; found '56'"),
    ("a,,,,,,,,,,missing.csv,,,", "no such spectrum file"),
    ("a,,,,,,,,,,.,,,", "no such spectrum file"),
    ('a,,,,,,,,,,,"1,2,3",,', "column grey: not a patch; found '1,2,3'; wanted four whole numbers"),
    ('a,,,,,,,,,,,"1,2,3,0",,', "column grey: a patch without area; found '1,2,3,0'"),
    ('a,,,,,,,,,,,"-1,2,3,4",,', "column grey: not a patch"),
    ("a,,,,,,,,,,,,25:00,", "column time: not a time of day; found '25:00'; wanted a time of day"),
    ("a,,,,,,,,,,,,dusk,", "column time: not a time of day; found 'dusk'"),
    ("a,,,0,3127,0,3290,,,,,,,,,x", "more cells than headings"),
    ('"a,,,3200,,,,,,,,,,', "a quote is opened and never closed"),
    ('"a"b,,,3200,,,,,,,,,,', "broken quoting"),
    ("a,,," + "9" * 400 + ",,,,,,,,,,", "column cct_k: not a finite number"),
    ("a,,,\u0663\u0662\u0660\u0660,,,,,,,,,,", "column cct_k: not a number"),
    ("a,,,3200\x07,,,,,,,,,,", "column cct_k: not a number; found '3200\\x07'"),
]  # fmt: skip


@pytest.mark.parametrize(("row", "line"), ROWS)
def test_one_clear_line_and_the_good_row_is_used(tmp_path: Path, row: str, line: str | None) -> None:
    path = tmp_path / "meter.csv"
    path.write_text(HEAD + row + "\n" + GOOD, encoding="utf-8")
    log = read_meter_log(path)
    assert log.readings[-1].stills == ("good.jpg",)
    said = [str(e) for e in log.errors] + [f"warning: {w.split(': ', 1)[1]}" for w in log.warnings]
    if line is None:
        assert said == []
        return
    assert len(said) == 1, said
    assert line in said[0]
    assert said[0].isprintable()
    if not line.startswith("warning"):
        assert "meter.csv, row 2" in said[0]
        assert len(log.readings) == 1


HEADS = [
    ("stills,cct_k,wether\n", "row 1, column wether: unknown column, not used"),
    ("stills,cct_k,CCT\n", "row 1, column CCT: a second column for cct_k, not used; wanted only 'cct_k'"),
    ("stills,cct_k,\n", "row 1, column 3: a column without a heading, not used"),
]


@pytest.mark.parametrize(("head", "line"), HEADS)
def test_headings(tmp_path: Path, head: str, line: str) -> None:
    path = tmp_path / "meter.csv"
    path.write_text(head + "a.jpg,3200,5600\n")
    log = read_meter_log(path)
    assert len(log.errors) == 1 and line in str(log.errors[0])
    assert log.readings[0].cct_k == 3200


NOT_A_LOG = [
    (b"", "meter.csv: is empty; wanted a heading row"),
    (b"\n \n# only a comment\n", "meter.csv: is empty"),
    (b"a.jpg,3200,5600\nb.jpg,3200,100\n", "meter.csv, row 1: no heading row; found 'a.jpg,3200,5600'"),
    (b"PK\x03\x04\x14\x00\x06\x00", "meter.csv: is a spreadsheet or archive, not text; wanted a table"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "meter.csv: is an old spreadsheet, not text"),
    (b"\xff\xd8\xff\xe0\x00\x10JFIF", "meter.csv: is a picture, not text"),
    (b"stills\x00\x01\x02,cct", "meter.csv: is not text (it holds zero bytes)"),
    (b"\xff\xfes\x00t", None),
    (b"\xff\xfes\x00\x00\xd8", "meter.csv: is damaged UTF-16 text"),
]  # fmt: skip


@pytest.mark.parametrize(("data", "line"), NOT_A_LOG)
def test_what_is_no_log_at_all(tmp_path: Path, data: bytes, line: str | None) -> None:
    path = tmp_path / "meter.csv"
    path.write_bytes(data)
    with pytest.raises(MeterError) as caught:
        read_meter_log(path)
    assert (line or "meter.csv") in str(caught.value)
    assert str(caught.value).isprintable()


def test_a_folder_called_meter_csv(tmp_path: Path) -> None:
    (tmp_path / "meter.csv").mkdir()
    with pytest.raises(MeterError, match="cannot be read"):
        read_meter_log(tmp_path / "meter.csv")
    assert load_scout(tmp_path).log.readings == ()


def test_a_spreadsheet_in_place_of_the_log(tmp_path: Path) -> None:
    (tmp_path / "Meter.xlsx").write_bytes(b"PK\x03\x04")
    with pytest.raises(MeterError, match=r"Meter\.xlsx: is no workbook that can be read"):
        load_scout(tmp_path)


SPECTRA = [
    ("", "holds no spectrum"),
    ("nm,value\n", "holds no spectrum"),
    ("nm,value\n400,1\n", "holds no spectrum"),
    ("400,1\n390,2\n", "row 2: wavelengths must rise; found '390'; wanted more than 400 nm"),
    ("400,1\nx,2\n", "row 2: not a number; found 'x, 2'"),
    ("400,1\n410\n", "row 2: one cell; found '410'; wanted two cells: nm, value"),
    ("0.4,1\n0.5,1\n", "row 1: out of range; found '0.4'; wanted a wavelength in nm"),
    ("".join(f"{n},1\n" for n in range(450, 701, 5)), "visible range; found '450 to 700 nm'"),
    ("".join(f"{n},1\n" for n in range(380, 781, 20)), "too coarse; found 'a step of 20 nm'"),
    ("".join(f"{n},0\n" for n in range(380, 781, 5)), "is dark: no value over 0"),
    ("".join(f"{n},{1 - 2 * (n == 500)}\n" for n in range(380, 781, 5)), "found '-1 at 500 nm'"),
    ("380,1\n" + "".join(f"{n},1e999\n" for n in range(385, 781, 5)), "row 2: not a finite number"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line"), SPECTRA)
def test_spectra(tmp_path: Path, text: str, line: str) -> None:
    path = tmp_path / "lamp.csv"
    path.write_text(text)
    with pytest.raises(MeterError) as caught:
        read_spectrum(path)
    assert line in str(caught.value)


@pytest.mark.parametrize("form", ["{},{}", "{} nm; {}", "{}\t{}", "{}  {}", '"{}","{}"'])
def test_spectra_however_they_are_exported(tmp_path: Path, form: str) -> None:
    body = "".join(form.format(n, "0,5" if ";" in form else "0.5") + "\n" for n in range(380, 781, 5))
    (tmp_path / "lamp.csv").write_text("\ufeffWavelength [nm], Power\n# a lamp\n" + body)
    spectrum = read_spectrum(tmp_path / "lamp.csv")
    assert (len(spectrum.values), spectrum.values[0]) == (81, 0.5)


def test_bent_bytes_end_in_a_log_or_in_one_line(tmp_path: Path) -> None:
    source = (HEAD + GOOD * 3 + '"b;c",Loft,"FL2",,,"0,3127",0.329,,,auto,,"1,2,3,4",5pm,é\n').encode()
    path = tmp_path / "meter.csv"
    chance = random.Random(8)
    for _ in range(300):
        data = bytearray(source)
        for _ in range(chance.randint(1, 12)):
            place = chance.randrange(len(data) or 1)
            match chance.randrange(4):
                case 0:
                    data[place : place + 1] = bytes([chance.randrange(256)])
                case 1:
                    del data[place : place + chance.randrange(1, 30)]
                case 2:
                    data[place:place] = bytes(chance.choices(b'",;\t\n\r\x00#|\xff', k=3))
                case _:
                    data = data[: place + 1]
        path.write_bytes(data)
        try:
            log = read_meter_log(path)
        except MeterError as error:
            assert str(error).isprintable()
        else:
            for reading in log.readings:
                assert reading.white_xy is None or len(reading.white_xy) == 2
            assert all(str(e).isprintable() for e in log.errors)


def test_bent_scout_toml_ends_in_a_plan_or_in_one_line(tmp_path: Path) -> None:
    source = b'title = "x"\n[plan]\nexposure_index = 800\nt_stop = 2.8\n'
    source += b"[fixture]\nprimaries = [[0.6,0.3],[0.2,0.7],[0.1,0.1]]\n"
    chance = random.Random(9)
    for _ in range(200):
        data = bytearray(source)
        for _ in range(chance.randint(1, 6)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        (tmp_path / "scout.toml").write_bytes(data)
        try:
            read_scout_file(tmp_path)
        except MeterError as error:
            assert "\n" not in str(error)


def test_deep_toml_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "scout.toml").write_text("a = " + "[" * 100_000)
    with pytest.raises(MeterError, match="is not TOML"):
        read_scout_file(tmp_path)


def test_a_glob_made_to_hang_does_not() -> None:
    from lookdev.meter.log import Reading

    with no_hang():
        named = Reading(row=2, stills=("*a" * 60 + "b",), location="Hall")
        (step,) = climb([Facts("a" * 200 + ".jpg")], [named, Reading(row=3, location="Dock")])
        assert step.reading is None


def test_forty_thousand_rows_and_a_million(tmp_path: Path) -> None:
    path = tmp_path / "meter.csv"
    path.write_text("stills,lux\n" + "a.jpg,100\n" * 40_000)
    with no_hang():
        assert len(read_meter_log(path).readings) == 40_000
    path.write_text("stills,lux\n" + "a.jpg,100\n" * 1_000_000)
    with no_hang(), pytest.raises(MeterError, match="is too long; found '1000001 lines'"):
        read_meter_log(path)
