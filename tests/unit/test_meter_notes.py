"""Notes as people type them on a phone, in ``tests/notes``, and the readings that each must give.

The notes are our own: twenty-two habits of typing, five languages. ``readings.csv`` says what each holds, an
empty cell being a value that must not be there; foot-candles are 10.7639 lux (1 ft = 0.3048 m).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from lookdev.errors import MeterError
from lookdev.meter.guards import Tolerance
from lookdev.meter.log import MeterLog, read_meter_log
from lookdev.meter.note import read_note

NOTES = Path(__file__).parent.parent / "notes"
NAMES = sorted(path.stem for path in NOTES.glob("*.txt"))
WANTED: dict[str, list[dict[str, str]]] = {name: [] for name in NAMES}
with (NOTES / "readings.csv").open(encoding="utf-8", newline="") as file:
    for line in csv.DictReader(file):
        WANTED[line["note"]].append(line)


def note(text: str) -> MeterLog:
    return read_note(text, Path("meter.txt"), Tolerance())


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


@pytest.mark.parametrize("name", NAMES)
def test_a_note_gives_its_readings(name: str) -> None:
    log = read_meter_log(NOTES / f"{name}.txt")
    assert [str(e) for e in log.errors] == []
    got = []
    for r in log.readings:
        camera = "auto" if r.camera_balance_auto else _number(r.camera_balance_k)
        got.append(
            {
                "note": name,
                "line": str(r.row),
                "stills": "; ".join(r.stills),
                "location": r.location or "",
                "source": r.source or "",
                "cct_k": _number(r.cct_k),
                "duv": _number(r.duv),
                "x": _number(r.x),
                "y": _number(r.y),
                "lux": _number(r.illuminance_lux),
                "camera": camera,
                "time": r.time or "",
                "date": r.date or "",
                "role": r.role or "",
                "uncertain": "; ".join(r.uncertain),
            }
        )
    assert got == WANTED[name]


def test_every_note_is_in_the_table() -> None:
    assert len(NAMES) >= 20 and all(WANTED.values())


def test_what_is_not_understood_is_shown_beside_what_was() -> None:
    log = read_meter_log(NOTES / "15_what_is_not_understood.txt")
    assert log.warnings == (
        "15_what_is_not_understood.txt, line 2: not understood: '77'; read: 1950 K, 4 fc, 'HPS blorp'",
        "15_what_is_not_understood.txt, line 3: not understood: '310'; read: 'tubes'",
        "15_what_is_not_understood.txt, line 4: not understood: '99999'; read: 6500 K, 'window lxx'",
    )


@pytest.mark.parametrize(
    ("typed", "field", "value"),
    [
        ("5.6k", "cct_k", 5600),
        ("5,6k", "cct_k", 5600),
        ("CCT: 3994", "cct_k", 3994),
        ("3.994 K 0,38/0,39", "cct_k", 3994),
        ("5600°K", "cct_k", 5600),
        ("5 600 K", "cct_k", 5600),
        ("3200-3400K", "cct_k", 3300),
        ("5600 1/4 minus green", "duv", -0.006),
        ("5600 8 points of magenta", "duv", -0.0064),
        ("5600 M8", "duv", -0.0064),
        ("5600 +4 green", "duv", 0.0032),
        ("5600 Duv \N{MINUS SIGN}0,0021", "duv", -0.0021),
        ("x=0.38, y=0.39", "x", 0.38),
        ("xy: 534,416", "x", 0.534),
        ("x,y 0.534, 0.416", "y", 0.416),
        ("0.534,0.416", "y", 0.416),
        (",534/,416", "x", 0.534),
        ("534 416 5600K", "x", None),
        ("5600K 21h15", "time", "21:15"),
        ("5600K 9:31 pm", "time", "21:31"),
        ("5600K 12:10 am", "time", "00:10"),
        ("5600K 6:40 Uhr", "time", "06:40"),
        ("5600K 6.40 Uhr", "time", "06:40"),
        ("5600K 21 Uhr", "time", "21:00"),
        ("5600K at 9pm", "time", "21:00"),
        ("5600K 2031-03-04 21:15", "date", "2031-03-04"),
        ("5600K 1/50 f5.6", "note", "f5.6, 1/50"),
        ("T8 tubes 4000K", "source", "T8 tubes"),
        ("2kW tungsten 3200", "note", "2kW"),
        ("1.2 klx 5600K", "illuminance_lux", 1200),
        ("~40 lx", "uncertain", ("illuminance_lux",)),
        ("5600? 40 lx", "uncertain", ("cct_k",)),
        ("HP1 42 lx", "illuminant", "HP1"),
        ("5600 wb auto", "camera_balance_auto", True),
        ("5600 AWB", "camera_balance_auto", True),
        ("5600 wb: tungsten", "camera_balance_k", 3200),
        ("5600K IMG_2041-44, 2050", "stills", ("IMG_2041-44", "2050")),
        ("5600K stills 2041, 2043 and 2045", "stills", ("2041", "2043", "2045")),
        ("5600K #2041", "stills", ("2041",)),
        ("5600K dock_*", "stills", ("dock_*",)),
        ("5600K DAY1/CARD_A", "stills", ("DAY1/CARD_A",)),
        ("5600K PXL_20310304_211500.jpg", "stills", ("PXL_20310304_211500.jpg",)),
    ],
)
def test_one_thing_on_a_line(typed: str, field: str, value: object) -> None:
    log = note(f"Hall\n{typed}\n")
    assert len(log.readings) == 1 and log.errors == (), log
    got = getattr(log.readings[0], field)
    assert got == (pytest.approx(value) if isinstance(value, float) else value)
    assert log.readings[0].location == "Hall"


def test_a_number_that_could_be_two_is_shown_as_both() -> None:
    assert note("Hall\ntubes 4000K 1.310 lx\n").readings[0].illuminance_lux is None
    log = note("Hall\ntubes 4000K 1,310 lx\n")
    assert log.readings[0].illuminance_lux is None
    assert "not understood: '1,310 lx' (1310 or 1.310?)" in log.warnings[0]


def test_a_table_in_a_text_file_is_still_a_table(tmp_path: Path) -> None:
    (tmp_path / "meter.txt").write_text("stills,cct_k\na.jpg,3200\n")
    log = read_meter_log(tmp_path / "meter.txt")
    assert (log.readings[0].stills, log.readings[0].by_line) == (("a.jpg",), False)


def test_utf_16(tmp_path: Path) -> None:
    (tmp_path / "meter.txt").write_bytes("Fährhalle\nRöhren 4000K\n".encode("utf-16"))
    assert read_meter_log(tmp_path / "meter.txt").readings[0].location == "Fährhalle"


HOSTILE = [
    (b"", "is empty"),
    (b"\n \n\t\n", "is empty"),
    (b"a" * 10_000_000, "is too large; wanted at most 1 MB of text"),
    (b"x\n" * 30_000, "has more than 20000 lines"),
    (b"\xff\xd8\xff\xe0", "is a picture, not text"),
    (b"PK\x03\x04xl/", "under its own name, meter.xlsx"),
]


@pytest.mark.parametrize(("data", "line"), HOSTILE)
def test_what_is_no_note_gets_one_line(tmp_path: Path, data: bytes, line: str) -> None:
    (tmp_path / "meter.txt").write_bytes(data)
    with pytest.raises(MeterError) as caught:
        read_meter_log(tmp_path / "meter.txt")
    assert line in str(caught.value) and str(caught.value).isprintable()


def test_bent_notes_end_in_a_log(tmp_path: Path) -> None:
    import random

    source = "".join((NOTES / f"{name}.txt").read_text(encoding="utf-8") for name in NAMES)
    chance = random.Random(16)
    for _ in range(60):
        text = list(source)
        for _ in range(40):
            at = chance.randrange(len(text))
            text[at : at + chance.randrange(4)] = chance.choices("0123456789.,:/-+~K x\n\t\x00é(", k=2)
        log = note("".join(text))
        assert all(str(w).isprintable() for w in (*log.warnings, *log.errors))
        assert all(r.cct_k is None or 1000 <= r.cct_k <= 25000 for r in log.readings)
