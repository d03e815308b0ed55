"""Attacks on what is typed while one walks: the note, tables and workbooks, scout.toml."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from hostile.attack import Attack, named, survives


def note(
    name: str, text: str, ends: tuple[int, ...] = (0,), says: tuple[str, ...] = (), **more: object
) -> Attack:
    files = {"scout/meter.csv": None, "scout/meter.txt": text}
    return Attack(f"note: {name}", "log scout", ends, says, files=files, **more)  # type: ignore[arg-type]


def table(name: str, text: str | bytes, ends: tuple[int, ...] = (0,), says: tuple[str, ...] = ()) -> Attack:
    return Attack(f"table: {name}", "log scout", ends, says, files={"scout/meter.csv": text})


def book(name: str, make: object, ends: tuple[int, ...] = (0,), says: tuple[str, ...] = ()) -> Attack:
    def setup(home: Path) -> None:
        (home / "scout" / "meter.csv").unlink()
        (home / "scout" / "meter.xlsx").write_bytes(make())  # type: ignore[operator]

    return Attack(f"workbook: {name}", "log scout", ends, says, setup=setup)


def plan(name: str, text: str, ends: tuple[int, ...] = (2,), says: tuple[str, ...] = ()) -> Attack:
    words = "light scout --out out --no-pages"
    return Attack(f"scout.toml: {name}", words, ends, says, files={"scout/scout.toml": text})


def workbook(rows: list[list[object]], **options: object) -> bytes:
    import xlsxwriter

    data = io.BytesIO()
    with xlsxwriter.Workbook(data, {"in_memory": True, "nan_inf_to_errors": True}) as made:
        sheet = made.add_worksheet()
        for y, row in enumerate(rows):
            for x, value in enumerate(row):
                sheet.write(y, x, value)
    return data.getvalue()


def repacked(change: dict[str, bytes]) -> bytes:
    """A good workbook in which some members are others."""
    data = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook(ROWS))) as old, zipfile.ZipFile(data, "w") as new:
        for item in old.infolist():
            new.writestr(item.filename, change.get(item.filename, old.read(item)))
    return data.getvalue()


ROWS: list[list[object]] = [["stills", "location", "cct_k"], ["a.png", "Loft", 3200], ["b.png", "Quay", 4300]]
BOMB = (
    b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "aaaaaaaaaa">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(9))
    + b"]><sst>&j;</sst>"
)

NOTES = [
    note("nothing at all", "", (2,), ("is empty",)),
    note("blanks and line ends alone", " \n\t\n\r\n\u00a0\n", (2,), ("is empty",)),
    note("a byte-order mark alone", "\ufeff", (2,), ("is empty",)),
    note("NUL between digits", "Loft\n32\x0000K\n", (2,), ("zero bytes",)),
    note("control letters in a place", "Lo\x07ft\x1b[31m\n3200K a\n", (0, 1), never=("\x1b[31m", "\x07")),
    note("a line of 100,000 letters", "Loft\n" + "x" * 100_000 + "\n3200K\n", (0, 1)),
    note("50,000 numbers on a line", "Loft\n" + "3200 " * 50_000 + "\n", (0, 1)),
    note("5,000 brackets, none closed", "Loft\n3200K " + "(" * 5000 + "\n", (0, 1)),
    note("5,000 slashes", "Loft\n" + "/" * 5000 + ".5\n", (0, 1)),
    note("digits of another script", "Loft\n٣٢٠٠K a.png\n", (0, 1)),
    note("superscript digits", "Loft\n3²00K\n", (0, 1)),
    note("full-width digits", "Loft\n３２００K\n", (0, 1)),
    note("a kelvin sign for the K", "Loft\n3200\u212a\n", (0, 1)),
    note("right-to-left override", "Lo\u202eft\n3200K\n", (0, 1)),
    note("zero-width joiners in a number", "Loft\n32\u200b00K\n", (0, 1)),
    note("a number of 400 digits", "Loft\n" + "9" * 400 + "K\n", (0, 1), ("9999",)),
    note("an exponent without end", "Loft\n1e99999999K 1e999999999 lx\n", (0, 1)),
    note("minus kelvin", "Loft\n-3200K\n", (0, 1)),
    note("no kelvin", "Loft\n0K 0lx\n", (0, 1), ("0",)),
    note("a chromaticity outside the diagram", "Loft\n.9/.9\n", (0, 1), ("9",)),
    note("a chromaticity of nothing", "Loft\n0/0\n", (0, 1)),
    note("a Duv of the moon", "Loft\n3200K duv+5\n", (0, 1), ("5",)),
    note("a million points of green", "Loft\n3200K +1000000M\n", (0, 1)),
    note("hour 27", "Loft\n3200K 27:99\n", (0, 1), ("27:99",)),
    note("the 31st of February", "31 February\nLoft\n3200K\n", (0, 1), ("31 February",)),
    note("year 0", "Loft\n3200K 0000-00-00\n", (0, 1)),
    note("a range of stills backwards", "Loft\n3200K IMG_2044-2041\n", (0, 1), ("204",)),
    note("a range of a billion stills", "Loft\n3200K #1-999999999\n", (0, 1)),
    note("a range from 1 to 10 to the 30", "Loft\n3200K #1-" + "9" * 30 + "\n", (0, 1)),
    note("a pattern that is a regular expression", "Loft\n3200K stills (a+)+$\n", (0, 1)),
    note("a pattern of 200 stars", "Loft\n3200K " + "*a" * 200 + "\n", (0, 1)),
    note("an open character class", "Loft\n3200K [a\n", (0, 1)),
    note("a path out of the scout", "Loft\n3200K ../../etc/passwd\n", (0, 1), ("etc",)),
    note("roles without a light", "Loft\nkey fill key fill\n", (0, 1)),
    note("a hundred fills on a line", "Loft\n" + "fill 3200 10fc, " * 100 + "\n", (0, 1)),
    note("camera at nothing", "cam 0\nLoft\n3200K\n", (0, 1), ("0",)),
    note("a balance nobody has", "wb sideways\nLoft\n3200K\n", (0, 1), ("sideways",)),
    note("both decimal habits at once", "Loft\n1.310lx\n1,310lx\n", (0, 1)),
    note("markup for a place", "<script>alert(1)</script>:\n3200K\n", (0, 1)),
    note("a place of a dot", ".\n3200K\n", (0, 1)),
    note("two places that differ in case", "Loft\n3200K a\nLOFT\n4300K b\n", (0, 1)),
    note("two places that differ in composition", "Caf\u00e9\n3200K a\nCafe\u0301\n4300K b\n", (0, 1)),
    note("lines of every kind of end", "Loft\r3200K a\r\nQuay\n4300K b\u2028Pier\u20285000K\n", (0, 1)),
    note(
        "20,000 places",
        "".join(f"Place {i}x\n3{i % 1000:03d}K\n" for i in range(20_000)),
        (2,),
        ("20000 lines",),
    ),
]

TABLES = [
    table("headings alone", "stills,location,cct_k\n"),
    table("a heading twice", "stills,location,cct_k,cct_k\na.png,Loft,3200,4300\n", (0, 1, 2), ("cct_k",)),
    table("only unknown headings", "alpha,beta\n1,2\n", (0, 1, 2), ("alpha",)),
    table("an unknown heading", "stills,location,cct_k,mood\na.png,Loft,3200,blue\n", (0, 1), ("mood",)),
    table("a quote that never ends", 'stills,location,cct_k\na.png,"Loft,3200\n', (0, 1, 2)),
    table("more cells than headings", "stills,location,cct_k\na.png,Loft,3200,1,2,3\n", (0, 1), ("row 2",)),
    table("a formula", "stills,location,cct_k\na.png,=cmd|' /C calc'!A0,3200\n", (0, 1)),
    table(
        "100,000 empty rows",
        "stills,location,cct_k\n" + ",,\n" * 100_000 + "a.png,Loft,3200\n",
        (2,),
        ("lines",),
    ),
    table(
        "2,000 columns",
        ",".join(f"c{i}" for i in range(2000)) + ",cct_k\n" + "," * 2000 + "3200\n",
        (0, 1, 2),
    ),
    table("a cell of a megabyte", "stills,location,cct_k\na.png," + "L" * 1_000_000 + ",3200\n", (0, 1, 2)),
    table("NUL bytes", b"stills,location,cct_k\na.png,Lo\x00ft,3200\n", (0, 1, 2)),
    table("bytes that are no text", bytes(range(256)) * 20, (0, 1, 2)),
    table(
        "half a UTF-16 letter",
        "stills,location,cct_k\na.png,Loft,3200\n".encode("utf-16") + b"\x00",
        (0, 1, 2),
    ),
    table("kelvin that is no number", "stills,location,cct_k\na.png,Loft,warm\n", (1,), ("row 2", "warm")),
    table("not a number, in words", "stills,location,cct_k\na.png,Loft,nan\n", (1,), ("row 2", "nan")),
    table("infinite light", "stills,location,cct_k,lux\na.png,Loft,3200,inf\n", (1,), ("row 2", "inf")),
    table(
        "a grey patch of no size",
        'stills,location,cct_k,grey\na.png,Loft,3200,"1,1,0,0"\n',
        (0, 1),
        ("grey",),
    ),
    table(
        "a grey patch far out", 'stills,location,cct_k,grey\na.png,Loft,3200,"1e9,0,5,5"\n', (0, 1), ("grey",)
    ),
    table(
        "a grey patch beside the still", 'stills,location,cct_k,grey\na.png,Loft,3200,"900,900,5,5"\n', (0, 1)
    ),
    table("a field that no page has", "stills,location,cct_k,grey\na.png,Loft,3200,ZZ99\n", (0, 1)),
    table("a chart in a picture without one", "stills,location,cct_k,grey\na.png,Loft,3200,chart\n", (0, 1)),
    table(
        "a spectrum in another folder",
        "stills,location,spectrum\na.png,Loft,/etc/passwd\n",
        (0, 1),
        ("passwd",),
    ),
    table("a spectrum that is a folder", "stills,location,spectrum\na.png,Loft,.\n", (0, 1)),
    table(
        "a spectrum that is the log",
        "stills,location,spectrum\na.png,Loft,meter.csv\n",
        (0, 1),
        ("meter.csv",),
    ),
    table("shares over 100%", 'stills,location,source\na.png,Loft,"D65 90%, HP1 90%"\n', (0, 1)),
    table("shares of nothing", 'stills,location,source\na.png,Loft,"D65 0%, HP1 0%"\n', (0, 1)),
    table("a mixture of itself", "stills,location,source\na.png,Loft,Loft + Loft\n", (0, 1)),
]

BOOKS = [
    book("no zip", lambda: b"not a workbook", (2,), ("meter.xlsx",)),
    book("an empty file", lambda: b"", (2,), ("meter.xlsx",)),
    book("cut in half", lambda: workbook(ROWS)[:2000], (2,), ("meter.xlsx",)),
    book("a zip of nothing", lambda: b"PK\x05\x06" + bytes(18), (2,), ("meter.xlsx",)),
    book("entities that multiply", lambda: repacked({"xl/sharedStrings.xml": BOMB}), (0, 1, 2)),
    book(
        "a sheet that is no XML",
        lambda: repacked({"xl/worksheets/sheet1.xml": b"\x00" * 500}),
        (2,),
        ("meter.xlsx",),
    ),
    book("a sheet of nothing", lambda: repacked({"xl/worksheets/sheet1.xml": b""}), (2,), ("meter.xlsx",)),
    book("empty sheets alone", lambda: workbook([]), (0, 1, 2)),
    book("numbers as text, with blanks", lambda: workbook([ROWS[0], ["a.png", "Loft", " 3 200 "]]), (0, 1)),
    book("truth for a number", lambda: workbook([ROWS[0], ["a.png", "Loft", True]]), (0, 1)),
    book("an error for a number", lambda: workbook([ROWS[0], ["a.png", "Loft", float("nan")]]), (0, 1)),
    book(
        "a cell in the last row there is",
        lambda: repacked({"xl/worksheets/sheet1.xml": FAR}),
        (2,),
        ("reaches too far",),
    ),
]
FAR = (
    b'<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    b'<sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>cct_k</t></is></c></row>'
    b'<row r="1048576"><c r="XFD1048576"><v>3200</v></c></row></sheetData></worksheet>'
)

SUN = "shoot_date = 2031-05-20\ndate = 2031-03-04\n"
PLANS = [
    plan("latitude in words", SUN + 'latitude = "59 N"\nlongitude = 3.5\n', (2,), ("latitude",)),
    plan("latitude beyond the pole", SUN + "latitude = 91\nlongitude = 3.5\n", (2,), ("latitude",)),
    plan("latitude that is no number", SUN + "latitude = nan\nlongitude = 3.5\n", (2,), ("latitude",)),
    plan("longitude without latitude", SUN + "longitude = 3.5\n", (2,), ("latitude",)),
    plan("longitude of two turns", SUN + "latitude = 59\nlongitude = 720\n", (2,), ("longitude",)),
    plan("on the pole", SUN + 'latitude = 90\nlongitude = 0\ntime_zone = "UTC"\n', (0, 1)),
    plan("on the date line", SUN + 'latitude = 0\nlongitude = -180\ntime_zone = "UTC"\n', (0, 1)),
    plan("a time zone of another world", SUN + 'time_zone = "Mars/Olympus"\n', (2,), ("time_zone",)),
    plan("a time zone that is a path", SUN + 'time_zone = "../../../etc/passwd"\n', (2,), ("time_zone",)),
    plan("a time zone that is absolute", SUN + 'time_zone = "/etc/localtime"\n', (2,), ("time_zone",)),
    plan("a time zone of nothing", SUN + 'time_zone = ""\n', (2,), ("time_zone",)),
    plan("a time zone with NUL", SUN + 'time_zone = "Europe\\u0000Oslo"\n', (2,), ("time_zone",)),
    plan("a time zone that is a folder", SUN + 'time_zone = "Europe"\n', (2,), ("time_zone",)),
    plan("a shoot in year 1", "shoot_date = 0001-01-01\nlatitude = 59\nlongitude = 3.5\n", (0, 1, 2)),
    plan("a shoot in year 9999", "shoot_date = 9999-12-31\nlatitude = 59\nlongitude = 3.5\n", (0, 1, 2)),
    plan("a shoot date that is none", "shoot_date = 2031-02-30\n", (2,), ("scout.toml",)),
    plan("a clock off by years", 'clock_offset = { "Phone" = "+999:00" }\n', (0, 1, 2)),
    plan("a clock off by words", 'clock_offset = { "Phone" = "an hour" }\n', (2,), ("clock_offset",)),
    plan("a window of no time", "join_window_minutes = -5\n", (2,), ("join_window_minutes",)),
    plan("a shutter by nothing", '[plan]\nshutter_s = "1/0"\n', (2,), ("shutter_s",)),
    plan("a shutter of nested fractions", '[plan]\nshutter_s = "1/1/1/50"\n', (2,), ("shutter_s",)),
    plan("frames without end", "[plan]\nframe_rate_fps = inf\n", (2,), ("frame_rate_fps",)),
    plan("an aperture below nothing", "[plan]\nt_stop = -2.8\n", (2,), ("t_stop",)),
    plan("a balance of 0 K", "[plan]\nbalance_k = 0\n", (2,), ("balance_k",)),
    plan("a balance of 1e300 K", "[plan]\nbalance_k = 1e300\n", (2,), ("balance_k",)),
    plan("a number of 5,000 digits", "[plan]\nbalance_k = " + "9" * 5000 + "\n", (2,), ("scout.toml",)),
    plan("footage in no encoding", '[plan]\nfootage_encoding = "nope"\n', (0, 1, 2)),
    plan("mains of 0 Hz", "[plan]\nmains_hz = 0\n", (2,), ("mains_hz",)),
    plan("a key twice", "title = 'a'\ntitle = 'b'\n", (2,), ("scout.toml",)),
    plan("a table where a text is wanted", "title = { a = 1 }\n", (2,), ("title",)),
    plan("tables in tables, 2,000 deep", "a = " + "[" * 2000 + "]" * 2000 + "\n", (2,), ("scout.toml",)),
    plan(
        "keys in keys, 3,000 deep", ".".join("a" * 1 for _ in range(3000)) + " = 1\n", (2,), ("scout.toml",)
    ),
    plan("binary", "\x00\x01\x02", (2,), ("scout.toml",)),
    plan("lamps that are a word", 'lamps = "fresnel"\n', (2,), ("lamps",)),
    plan("a lamp without a light", '[[lamps]]\nname = "dark"\n', (2,), ("lamps",)),
    plan(
        "a lamp with all lights", '[[lamps]]\nname = "x"\ncct_k = 3200\nx = 0.3\ny = 0.3\n', (2,), ("lamps",)
    ),
    plan("a lamp without a name", "[[lamps]]\ncct_k = 3200\n", (2,), ("lamps",)),
    plan("a lamp with an empty name", '[[lamps]]\nname = ""\ncct_k = 3200\n', (0, 1, 2)),
    plan(
        "two lamps of one name",
        '[[lamps]]\nname = "x"\ncct_k = 3200\n[[lamps]]\nname = "X"\ncct_k = 5600\n',
        (2,),
        ("lamps",),
    ),
    plan(
        "a lamp of two emitters",
        '[[lamps]]\nname = "x"\nemitters = [[0.6, 0.3], [0.2, 0.7]]\n',
        (2,),
        ("lamps",),
    ),
    plan(
        "emitters on a line",
        '[[lamps]]\nname = "x"\nemitters = [[0.2, 0.2], [0.3, 0.3], [0.4, 0.4]]\n',
        (0, 1, 2),
    ),
    plan(
        "emitters all the same",
        '[[lamps]]\nname = "x"\nemitters = [[0.3, 0.3], [0.3, 0.3], [0.3, 0.3]]\n',
        (0, 1, 2),
    ),
    plan(
        "emitters outside the diagram",
        '[[lamps]]\nname = "x"\nemitters = [[2, 2], [0, 0], [-1, 5]]\n',
        (2,),
        ("lamps",),
    ),
    plan(
        "a lamp's spectrum that is not there",
        '[[lamps]]\nname = "x"\nspectrum = "gone.csv"\n',
        (1, 2),
        ("gone.csv",),
    ),
    plan(
        "a lamp's spectrum that is a still", '[[lamps]]\nname = "x"\nspectrum = "a.png"\n', (1, 2), ("a.png",)
    ),
    plan("a filter of 1e9 mired", '[[filters]]\nname = "x"\nmired = 1e9\nstops = 1\n', (2,), ("filters",)),
    plan(
        "a filter that gives light", '[[filters]]\nname = "x"\nmired = 100\nstops = -3\n', (2,), ("filters",)
    ),
    plan("a filter of nothing", '[[filters]]\nname = "x"\n', (2,), ("filters",)),
    plan(
        "a filter's file that is a log",
        '[[filters]]\nname = "x"\ntransmittance = "meter.csv"\n',
        (1, 2),
        ("meter.csv",),
    ),
    plan(
        "a swatch book of 3,000",
        "".join(f'[[filters]]\nname = "f{i}"\nmired = {i % 300}\nstops = 1\n' for i in range(3000)),
        (0, 1, 2),
    ),
    plan("a frame of no shape", '[pitch]\nframe = "0:0"\n', (2,), ("frame",)),
    plan("a frame of words", '[pitch]\nframe = "wide"\n', (2,), ("frame",)),
    plan("patterns that leave all out", '[stills]\nleave_out = ["*"]\n', (0, 1), ("left out",)),
    plan("a pattern that is a number", "[stills]\nleave_out = [7]\n", (2,), ("leave_out",)),
]

ATTACKS = [*NOTES, *TABLES, *BOOKS, *PLANS]


@named(ATTACKS)
def test_it_survives(
    attack: Attack, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    survives(attack, tmp_path, capsys, monkeypatch)
