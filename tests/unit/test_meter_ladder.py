"""The ladder that joins readings to stills: every rung, ties, clocks, and a scout that names no file."""

from __future__ import annotations

from pathlib import Path

import pytest

from lookdev.meter.guards import Tolerance
from lookdev.meter.ladder import Facts, climb, count_words, located
from lookdev.meter.note import read_note
from lookdev.meter.reading import Reading

DAY = "2031-03-04T"


def one(
    name: str, readings: list[Reading], taken: str | None = None, **more: object
) -> tuple[int | None, str]:
    step = climb([Facts(name, DAY + taken if taken else None)], readings, **more)[0]  # type: ignore[arg-type]
    return (step.reading.row if step.reading else None), step.rung


@pytest.mark.parametrize(
    ("pattern", "rung"),
    [
        ("CARD_A/IMG_2042.JPG", "name"),
        ("img_2042.jpg", "name"),
        ("IMG_2042", "name"),
        ("2042", "number"),
        ("2041-2044", "number"),
        ("IMG_2041-44", "number"),
        ("CARD_A/IMG_2041-44", "number"),
        ("IMG_20*", "pattern"),
        ("card_a", "folder"),
        ("CARD_A/*", "folder"),
    ],
)
def test_what_is_typed_for_stills(pattern: str, rung: str) -> None:
    assert one("CARD_A/IMG_2042.JPG", [Reading(row=2, stills=(pattern,), cct_k=3200)]) == (2, rung)


def test_a_folder_below_a_folder() -> None:
    assert one("DAY1/CARD_A/x/1.jpg", [Reading(row=2, stills=("DAY1/CARD_A",), cct_k=3200)]) == (2, "folder")


@pytest.mark.parametrize(
    "pattern", ["2045", "2043-44", "DSC_2042", "CARD_B", "CARD_B/IMG_2041-44", "204", "42"]
)
def test_what_names_another_still(pattern: str) -> None:
    readings = [Reading(row=2, stills=(pattern,), cct_k=3200, location="X"), Reading(row=3, location="Y")]
    assert one("DAY1/CARD_A/IMG_2042.JPG", readings) == (None, "")


def test_the_rungs_in_their_order() -> None:
    name = Reading(row=2, stills=("IMG_2042",), cct_k=3200)
    number = Reading(row=3, stills=("2041-44",), cct_k=3200)
    pattern = Reading(row=4, stills=("IMG*",), cct_k=3200)
    folder = Reading(row=5, stills=("LOFT",), cct_k=3200)
    place = Reading(row=6, location="Loft", cct_k=3200)
    time = Reading(row=7, location="Elsewhere", time="11:00", cct_k=3200)
    ladder = [name, number, pattern, folder, place, time]
    for k, wanted in enumerate(["name", "number", "pattern", "folder", "location", "time"]):
        assert one("LOFT/IMG_2042.JPG", ladder[k:], "11:05") == (k + 2, wanted)


LOCATIONS = ["Loading dock 3, Østkai", "Net loft, Østkai", "Café du Port", "Hall"]


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("loading_dock/IMG_1.jpg", "Loading dock 3, Østkai"),
        ("LoadingDock/IMG_1.jpg", "Loading dock 3, Østkai"),
        ("LOADING-DOCK-3/a.jpg", "Loading dock 3, Østkai"),
        ("03_net_loft_gable.jpg", "Net loft, Østkai"),
        ("cafe-du-port 2.jpg", "Café du Port"),
        ("ostkai/IMG_1.jpg", None),
        ("hall/IMG_1.jpg", "Hall"),
        ("DAY1/IMG_2041.jpg", None),
    ],
)
def test_a_locations_words_in_a_path(name: str, place: str | None) -> None:
    assert located(name, LOCATIONS) == place


def test_a_location_inside_a_longer_word_is_not_meant() -> None:
    assert located("hallway/IMG_1.jpg", ["Hall", "Loft"]) is None


def test_the_nearest_time_within_the_window() -> None:
    log = [
        Reading(row=2, time="21:15", cct_k=1950, location="Dock"),
        Reading(row=3, time="11:05", cct_k=6500),
    ]
    assert one("IMG_1.jpg", log, "21:31") == (2, "time")
    assert one("IMG_1.jpg", log, "10:50") == (3, "time")
    assert one("IMG_1.jpg", log, "12:30") == (None, "")
    assert one("IMG_1.jpg", log, "12:30", window_min=90) == (3, "time")


def test_minutes_past_midnight() -> None:
    log = [Reading(row=2, time="23:55", cct_k=1950), Reading(row=3, time="12:00", cct_k=5600)]
    step = climb([Facts("a.jpg", DAY + "00:05:00")], log)[0]
    assert (step.reading, step.minutes_apart) == (log[0], 10)


def test_the_same_day_where_a_date_is_typed() -> None:
    first = Reading(row=2, time="21:15", date="2031-03-03", cct_k=1950, location="A")
    second = Reading(row=3, time="21:20", date="03-04", cct_k=2000, location="B")
    assert one("a.jpg", [first, second], "21:16") == (3, "time")
    assert one("a.jpg", [first], "21:16") == (None, "")


def test_a_cameras_clock_is_put_right() -> None:
    log = [
        Reading(row=2, time="21:15", cct_k=1950, location="A"),
        Reading(row=3, time="20:15", cct_k=1, location="B"),
    ]
    stills = [Facts("a.jpg", DAY + "20:15:00", "Phone 3"), Facts("b.jpg", DAY + "20:15:00", "Other")]
    steps = climb(stills, log, {"phone": 60.0})
    assert [s.reading.row for s in steps if s.reading] == [2, 3]
    assert [s.minutes_apart for s in steps] == [0, 0]


def test_the_location_narrows_and_time_decides_however_far() -> None:
    log = [
        Reading(row=2, location="Loft", time="09:00", cct_k=5000),
        Reading(row=3, location="Loft", time="16:00", cct_k=4000),
        Reading(row=4, location="Dock", time="14:00", cct_k=1950),
    ]
    step = climb([Facts("loft/IMG_1.jpg", DAY + "14:00:00")], log)[0]
    assert (step.reading, step.rung, step.minutes_apart) == (log[1], "location", -120)


def test_a_tie_goes_to_the_later_rung_and_else_is_said() -> None:
    early = Reading(row=2, stills=("a.jpg",), time="09:00", cct_k=5000)
    late = Reading(row=3, stills=("a.jpg",), time="16:00", cct_k=4000)
    assert climb([Facts("a.jpg", DAY + "09:30:00")], [early, late])[0].reading is early
    step = climb([Facts("a.jpg")], [early, late])[0]
    assert step.reading is late
    assert step.doubts == ("meter.csv: row 2 and row 3 tie by name; used the later, row 3",)


def test_key_before_fill_and_colour_before_none() -> None:
    log = [
        Reading(row=2, location="Loft", cct_k=5000, role="key"),
        Reading(row=3, location="Loft", cct_k=3000, role="fill"),
        Reading(row=4, location="Loft", illuminance_lux=40),
    ]
    step = climb([Facts("loft.jpg")], log)[0]
    assert (step.reading, step.doubts) == (log[0], ())


def test_one_reading_in_all() -> None:
    assert one("IMG_1.jpg", [Reading(row=2, cct_k=3200)]) == (2, "only reading")
    assert one("IMG_1.jpg", [Reading(row=2, cct_k=3200, location="A")], "09:00") == (2, "only reading")
    two = [Reading(row=2, cct_k=3200, location="A"), Reading(row=3, cct_k=5600, location="B")]
    assert one("IMG_1.jpg", two) == (None, "")
    named = [Reading(row=2, cct_k=3200, stills=("IMG_1.jpg",))]
    assert [s.rung for s in climb([Facts("IMG_1.jpg"), Facts("IMG_2.jpg")], named)] == ["name", ""]


def test_the_same_name_on_two_cards() -> None:
    stills = [Facts("CARD_A/IMG_1.jpg", DAY + "09:00:00"), Facts("CARD_B/IMG_1.jpg", DAY + "15:00:00")]
    timed = [Reading(row=2, stills=("IMG_1",), time="15:05", cct_k=3200, location="A")]
    assert [s.rung for s in climb(stills, timed)] == ["", "name"]
    told = [Reading(row=2, stills=("IMG_1",), cct_k=3200, location="A")]
    steps = climb(stills, told)
    assert [s.reading for s in steps] == [None, None]
    assert "is the name of several stills: give its path, such as CARD_A/IMG_1.jpg" in steps[0].doubts[0]


def test_what_came_of_it_in_a_line() -> None:
    log = [
        Reading(row=2, stills=("a",), location="A"),
        Reading(row=3, location="B"),
        Reading(row=4, location="A"),
    ]
    steps = climb([Facts("a.jpg"), Facts("c.jpg"), Facts("d.jpg")], log)
    assert count_words(steps, log) == "1 reading used; 1 matches no still (row 3); 2 stills have none"
    assert count_words(steps[:1], [log[0]]) == ""


NOTE = """Ferry hall
tubes 3994K .3841/.3894 310 lx 6:40
Net loft
window 5935K 420 lx 11:05
window 5917K 654 lx 11:40
Harbour office
window + tungsten 4437 190 lx 15:50
Car deck
HP4 3946K 180 lx 16:25
Cabin
practical 2499K 95 lx 19:40
Loading dock
HPS 1953K .534/.416 42 lx 21:15
"""

TAKEN = {
    "DCIM/100_A/IMG_2041.JPG": ("06:38", "Ferry hall", 3994),
    "DCIM/100_A/IMG_2042.JPG": ("06:51", "Ferry hall", 3994),
    "DCIM/100_A/IMG_2043.JPG": ("10:58", "Net loft", 5935),
    "DCIM/100_A/IMG_2044.JPG": ("11:12", "Net loft", 5935),
    "DCIM/100_A/IMG_2045.JPG": ("11:33", "Net loft", 5917),
    "DCIM/100_A/IMG_2046.JPG": ("11:52", "Net loft", 5917),
    "DCIM/100_A/IMG_2047.JPG": ("15:44", "Harbour office", 4437),
    "DCIM/100_A/IMG_2048.JPG": ("15:58", "Harbour office", 4437),
    "DCIM/101_B/IMG_2041.JPG": ("16:14", "Car deck", 3946),
    "DCIM/101_B/IMG_2042.JPG": ("16:31", "Car deck", 3946),
    "DCIM/101_B/IMG_2043.JPG": ("19:31", "Cabin", 2499),
    "DCIM/101_B/IMG_2044.JPG": ("19:48", "Cabin", 2499),
    "DCIM/101_B/IMG_2045.JPG": ("21:09", "Loading dock", 1953),
    "DCIM/101_B/IMG_2046.JPG": ("21:15", "Loading dock", 1953),
    "DCIM/101_B/IMG_2047.JPG": ("21:30", "Loading dock", 1953),
}


def test_fifteen_phone_stills_on_two_cards_and_a_note_that_names_no_file() -> None:
    log = read_note(NOTE, Path("meter.txt"), Tolerance())
    steps = climb(
        [Facts(name, f"{DAY}{taken}:00", "Phone") for name, (taken, _, _) in TAKEN.items()], log.readings
    )
    got = [(s.reading.location, s.reading.cct_k) if s.reading else None for s in steps]
    assert got == [(place, cct) for _, place, cct in TAKEN.values()]
    assert {s.rung for s in steps} == {"time"} and not any(s.doubts for s in steps)
    assert count_words(steps, log.readings) == ""


@pytest.mark.parametrize(
    ("name", "rung"),
    [
        ("day1/Hall_mixed.jpg", "name"),
        ("hall-2.heic", "name"),
        ("hall.jpg", ""),  # a word of the line, and no name that can be told from it
        ("2041.jpg", ""),
        ("hall_mixed_2.jpg", ""),
    ],
)
def test_a_line_of_a_note_that_holds_a_stills_name_without_its_ending(name: str, rung: str) -> None:
    readings = [
        Reading(row=1, location="Ferry", source="tubes in the hall, hall_mixed hall-2", cct_k=3400),
        Reading(row=2, location="Dock", source="lamp", cct_k=2000),
    ]
    assert one(name, readings) == ((1, "name") if rung else (None, ""))
