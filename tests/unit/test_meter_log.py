"""meter.csv as people type it: the readings that come out of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from lookdev.meter.ladder import Facts, climb
from lookdev.meter.log import MeterLog, Reading, in_time_order, is_possible, read_meter_log

PLAIN = (
    "stills,location,source,cct_k,duv,x,y,lux,camera_balance_k,grey,note\n"
    'loft_*.jpg,Net loft,window,6480,0.0021,,,900,5600,"10,20,30,40",north side\n'
)


def log_of(folder: Path, data: str | bytes) -> MeterLog:
    path = folder / "meter.csv"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return read_meter_log(path)


def only(log: MeterLog) -> Reading:
    assert [str(e) for e in log.errors] == []
    assert len(log.readings) == 1
    return log.readings[0]


def values(reading: Reading) -> tuple[object, ...]:
    r = reading
    return (
        r.stills,
        r.location,
        r.source,
        r.cct_k,
        r.duv,
        r.illuminance_lux,
        r.camera_balance_k,
        r.grey,
        r.note,
    )


EXPECTED = (
    ("loft_*.jpg",), "Net loft", "window", 6480.0, 0.0021, 900.0, 5600.0, (10, 20, 30, 40), "north side",
)  # fmt: skip

SAME_LOG = {
    "plain": PLAIN.encode(),
    "byte-order mark": b"\xef\xbb\xbf" + PLAIN.encode(),
    "utf-16 with mark": PLAIN.encode("utf-16"),
    "utf-16 le without mark": PLAIN.encode("utf-16-le"),
    "utf-16 be without mark": PLAIN.encode("utf-16-be"),
    "utf-32": PLAIN.encode("utf-32"),
    "windows line ends": PLAIN.replace("\n", "\r\n").encode(),
    "old line ends": PLAIN.replace("\n", "\r").encode(),
    "no line end at the end": PLAIN.rstrip("\n").encode(),
    "comments and blank rows": ("# typed on a phone\n,,,,\n\n" + PLAIN + "# end,,,\n").encode(),
    "a title over the heading": ("Scout, day one\n" + PLAIN).encode(),
    "semicolons, decimal commas": (
        b"Stills;Location;Source;CCT (K);Duv;x;y;Lux;Camera balance;Grey;Note\r\n"
        b"loft_*.jpg; Net  loft ;window;6480;0,0021;;;900,0;5600;10,20,30,40;north side\r\n"
    ),
    "a spreadsheet's sep line": (
        b"sep=;\nstills;location;source;cct;duv;lux;wb;grey;note\n"
        b'loft_*.jpg;Net loft;window;6480 K;0,0021;900;5600;"10;20;30;40";north side\n'
    ),
    "tabs": PLAIN.replace('"10,20,30,40"', "10 20 30 40").replace(",", "\t").encode(),
    "bars": PLAIN.replace('"10,20,30,40"', "10 20 30 40").replace(",", "|").encode(),
    "other words, other order": (
        b"Remarks,Gray card,WB,Illuminance (lux),Delta uv,Colour temperature,Lamp,Place,Pictures\n"
        b'north side,"10,20,30,40",5600K,900 lx,+0.0021,"6,480",window,Net loft,loft_*.jpg\n'
    ),
    "true minus, thin spaces": PLAIN.replace("6480", "6\u202f480").encode(),
}


@pytest.mark.parametrize("how", SAME_LOG)
def test_however_it_is_typed_it_is_the_same_reading(tmp_path: Path, how: str) -> None:
    assert values(only(log_of(tmp_path, SAME_LOG[how]))) == EXPECTED


def test_windows_code_page_is_read_and_said(tmp_path: Path) -> None:
    log = log_of(tmp_path, "location,lux\nCafé Øst,200\n".encode("cp1252"))
    assert only(log).location == "Café Øst"
    assert log.warnings == ("meter.csv: not UTF-8; read as Windows code page 1252",)


def test_a_bad_row_costs_only_itself(tmp_path: Path) -> None:
    log = log_of(tmp_path, "stills,cct_k\na.jpg,3200\nb.jpg,32oo\nc.jpg,5600\n")
    assert [r.row for r in log.readings] == [2, 4]
    assert [str(e) for e in log.errors] == [
        "meter.csv, row 3, column cct_k: not a number; found '32oo'; wanted kelvin from 1000 to 25000"
    ]


def test_every_fault_of_a_row_is_named(tmp_path: Path) -> None:
    log = log_of(tmp_path, "stills,cct_k,lux\na.jpg,hot,-5\n")
    assert [e.column for e in log.errors] == ["lux", "cct_k"]


def test_rows_count_as_a_spreadsheet_does(tmp_path: Path) -> None:
    log = log_of(tmp_path, 'note,cct_k\n"two\nlines",3200\n\n# comment\n,cold\n')
    assert log.readings[0].row == 2
    assert log.errors[0].row == 5


def test_an_unclosed_quote_costs_its_own_row(tmp_path: Path) -> None:
    log = log_of(tmp_path, 'location,note,lux\nHall,"the tall one,200\nLoft,fine,300\n')
    assert [r.location for r in log.readings] == ["Loft"]
    assert str(log.errors[0]) == (
        "meter.csv, row 2: a quote is opened and never closed; wanted every quote closed on its own row"
    )


def test_unknown_column_names_the_nearest(tmp_path: Path) -> None:
    log = log_of(tmp_path, "stills,loaction,cct_k\na.jpg,Hall,3200\n")
    assert str(log.errors[0]) == (
        "meter.csv, row 1, column loaction: unknown column, not used; wanted location (the nearest)"
    )
    assert log.readings[0].cct_k == 3200


def test_chromaticity_order_is_xy_then_cct_then_spectrum_then_illuminant(tmp_path: Path) -> None:
    (tmp_path / "flat.csv").write_text("nm,value\n" + "".join(f"{nm},1\n" for nm in range(360, 831, 5)))
    log = log_of(
        tmp_path,
        "source,x,y,cct_k,duv,spectrum\n"
        "FL2,0.31,0.33,6600,,flat.csv\n"
        "FL2,,,6600,0.001,flat.csv\n"
        "FL2,,,6600,,flat.csv\n"
        "FL2,,,,,flat.csv\n"
        "CIE FL2,,,,,\n"
        "a lamp,,,,,\n",
    )
    assert [r.white_origin for r in log.readings] == [
        "x, y as metered",
        "CCT and Duv as metered",
        "CCT as metered, Duv taken as 0",
        "spectrum flat.csv",
        "CIE illuminant FL2",
        "",
    ]
    assert log.readings[3].white_xy == pytest.approx((0.3333, 0.3333), abs=1e-4)  # CIE 15: illuminant E
    assert log.readings[4].white_xy == pytest.approx((0.3721, 0.3751), abs=1e-4)  # CIE 15:2018, FL2
    assert log.readings[5].white_xy is None


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("HP1", "HP1"),
        ("cie hp1", "HP1"),
        ("FL 2", "FL2"),
        ("led-b3", "LED-B3"),
        ("CIE illuminant D55", "D55"),
        ("a", "A"),
    ],
)
def test_illuminants_by_name(tmp_path: Path, typed: str, name: str) -> None:
    assert only(log_of(tmp_path, f"source,lux\n{typed},100\n")).illuminant == name


def test_cct_that_disagrees_with_xy_names_both_and_the_difference(tmp_path: Path) -> None:
    log = log_of(tmp_path, "source,cct_k,x,y\nlamp,3200,0.3127,0.3290\n")
    assert only(log).white_xy == (0.3127, 0.3290)
    assert log.warnings == (
        "meter.csv, row 2: CCT 3200 K and x 0.3127, y 0.329 (which is 6504 K) disagree by 3304 K (159 mired; "
        "tolerance 6); used x, y",
    )


def test_cct_within_the_meters_tolerance_is_silent(tmp_path: Path) -> None:
    assert log_of(tmp_path, "cct_k,duv,x,y\n6400,0.0030,0.3127,0.3290\n").warnings == ()


def test_lux_and_fc_that_disagree(tmp_path: Path) -> None:
    log = log_of(tmp_path, "lux,fc\n250,90\n")
    assert only(log).illuminance_lux == 250
    assert log.warnings == (
        "meter.csv, row 2: lux and fc disagree: 250 lux is 23.2 fc, the log says 90.0 fc "
        "(+288%); used the lux",
    )
    assert log_of(tmp_path, "lux,fc\n1076,100\n").warnings == ()


def test_foot_candles_are_10_764_lux(tmp_path: Path) -> None:
    assert only(log_of(tmp_path, "fc\n1\n")).illuminance_lux == pytest.approx(10.764, abs=5e-4)


@pytest.mark.parametrize(
    ("cell", "kelvin"),
    [
        ("5600", 5600),
        ("5600 K", 5600),
        ("Daylight", 5500),
        ("tungsten", 3200),
        ("Cool white fluorescent", 4150),
    ],
)
def test_camera_balance(tmp_path: Path, cell: str, kelvin: float) -> None:
    reading = only(log_of(tmp_path, f"stills,camera balance\na.jpg,{cell}\n"))
    assert (reading.camera_balance_k, reading.camera_balance_auto) == (kelvin, False)


@pytest.mark.parametrize("cell", ["auto", "AWB", "automatic"])
def test_automatic_balance(tmp_path: Path, cell: str) -> None:
    reading = only(log_of(tmp_path, f"stills,wb\na.jpg,{cell}\n"))
    assert (reading.camera_balance_k, reading.camera_balance_auto) == (None, True)


def test_one_place_keeps_its_first_spelling(tmp_path: Path) -> None:
    log = log_of(tmp_path, "location,lux\nNet loft,1\n net  LOFT ,2\n")
    assert {r.location for r in log.readings} == {"Net loft"}


def used(name: str, readings: list[Reading]) -> Reading | None:
    """The reading of a still that says nothing but its name."""
    return climb([Facts(name)], readings)[0].reading


def test_which_reading_is_for_a_still() -> None:
    glob = Reading(row=2, stills=("loft_*",), cct_k=5000)
    late_glob = Reading(row=3, stills=("loft_0?.jpg",), cct_k=5100)
    named = Reading(row=4, stills=("LOFT_01",), cct_k=5200)
    path = Reading(row=5, stills=("day1/loft_01.jpg",), cct_k=5300)
    readings = [path, named, glob, late_glob]
    assert used("day1/loft_01.jpg", readings) is path
    assert used("loft_01.jpg", readings) is named
    assert used("loft_02.jpg", readings) is late_glob
    assert used("loft_02.tif", readings) is glob
    assert used("hall.jpg", readings) is None


def test_the_key_balances_a_still_not_the_fill_nor_a_row_without_colour() -> None:
    key = Reading(row=2, stills=("a.jpg",), cct_k=3200, role="key")
    fill = Reading(row=3, stills=("a.jpg",), cct_k=5600, role="fill")
    level = Reading(row=4, stills=("a.jpg",), illuminance_lux=100)
    assert used("a.jpg", [key, fill, level]) is key


def test_names_with_brackets_and_composed_letters() -> None:
    reading = Reading(row=2, stills=("Cafe\u0301 [1].JPG",))
    assert used("caf\u00e9 [1].jpg", [reading]) is reading


def test_a_day_that_runs_past_midnight() -> None:
    times = [t for t, _ in in_time_order([Reading(time=t) for t in ("22:10", "23:50", "00:30")])]
    assert times == [1330, 1430, 1470]
    assert [t for t, _ in in_time_order([Reading(time=t) for t in ("17:00", "09:00")])] == [540, 1020]


@pytest.mark.parametrize("xy", [(0.1741, 0.0050), (0.7347, 0.2653), (0.0743, 0.8338), (0.3333, 0.3333)])
def test_the_spectral_locus_itself_is_possible(xy: tuple[float, float]) -> None:
    assert is_possible(xy)  # CIE 15:2018 table 6: 380 nm, 700 nm, 520 nm, equal energy


def test_a_source_that_is_nearly_an_illuminant_is_named_with_the_nearest(tmp_path: Path) -> None:
    log = log_of(tmp_path, "source,cct_k\nHP1,\nHP9,\nFL99,4000\nLED panel 3,4000\n")
    assert [r.source for r in log.readings] == ["HP1", "HP9", "FL99", "LED panel 3"]
    assert [r.illuminant for r in log.readings] == ["HP1", None, None, None]
    assert log.errors == ()
    assert log.warnings == (
        "meter.csv, row 3: source 'HP9' looks like a CIE illuminant but is none: taken as free words, and "
        "this row has no colour; nearest: HP5, HP4",
        "meter.csv, row 4: source 'FL99' looks like a CIE illuminant but is none: taken as free words; "
        "nearest: FL9, FL8",
    )
