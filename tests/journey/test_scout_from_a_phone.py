"""A day's scout as a phone leaves it: fifteen stills in two card folders, a note that names no file.

EXIF 3.0: DateTimeOriginal 0x9003 in the Exif IFD 0x8769. The same log as a workbook, written by openpyxl.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from lookdev.cli.main import main

NOTE = """Velmsund scout, 4 March 2031
cam 5600
Net loft
window 6500 dv+.003 900lx 11:05
Car deck
metal halide .385/.386 180 lx 16:25
Mate's cabin
lamp 2500K 95 lx 19:40
Loading dock
HPS over ramp .534/.416 4 fc 21:15
"""
ROWS = [
    ["Velmsund scout, 4 March 2031"],
    ["Location", "Source", "CCT", "Duv", "x", "y", "Lux", "Camera WB", "Time"],
    ["Net loft", "window", 6500, 0.003, None, None, 900, 5600, "11:05"],
    ["Car deck", "metal halide", None, None, 0.385, 0.386, 180, 5600, "16:25"],
    ["Mate's cabin", "lamp", 2500, None, None, None, 95, 5600, "19:40"],
    ["Loading dock", "HPS over ramp", None, None, 0.534, 0.416, 43, 5600, "21:15"],
]
TAKEN = {
    "Net loft": ("11:01", "11:04", "11:09", "11:12"),
    "Car deck": ("16:20", "16:24", "16:31", "16:38"),
    "Mate's cabin": ("19:36", "19:41", "19:44"),
    "Loading dock": ("21:08", "21:17", "21:21", "21:29"),
}


def stills(folder: Path) -> dict[str, str]:
    """Still to location; the second card begins in the middle of a location and counts from 1 again."""
    where, times = {}, [(place, time) for place, times in TAKEN.items() for time in times]
    assert len(times) == 15
    for i, (place, time) in enumerate(times):
        card, number = ("100PHONE", 2041 + i) if i < 9 else ("101PHONE", 2041 + i - 9)
        name = f"{card}/IMG_{number}.JPG"
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        exif = Image.Exif()
        exif.get_ifd(0x8769)[0x9003] = f"2031:03:04 {time}:00"
        Image.new("RGB", (48, 32), (90 + i, 90, 90)).save(path, exif=exif)
        where[name] = place
    return where


def note(folder: Path) -> None:
    (folder / "meter.txt").write_text(NOTE, encoding="utf-8")


def workbook(folder: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    assert book.active is not None
    for row in ROWS:
        book.active.append(row)
    book.save(folder / "meter.xlsx")


@pytest.mark.parametrize("keep_log", [note, workbook])
def test_every_still_finds_its_reading_without_a_question(keep_log, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    scout, out = tmp_path / "scout", tmp_path / "out"
    scout.mkdir()
    where = stills(scout)
    keep_log(scout)
    (tmp_path / "half.toml").write_text("[balance]\nkeep = 0.5\n", encoding="utf-8")
    with pytest.raises(SystemExit) as end:
        main(["batch", str(scout), "--looks", str(tmp_path / "half.toml"), "--out", str(out)])
    assert end.value.code == 0
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    found = {s["file"]: place["name"] for place in summary["locations"] for s in place["stills"]}
    assert found == where
    told = [s for place in summary["locations"] for s in place["stills"]]
    assert {s["join"]["rung"] for s in told} == {"time"} and all(s["join"]["guessed"] for s in told)
    assert max(abs(s["join"]["minutes_apart"]) for s in told) <= 15
    assert {s["neutral_by"] for s in told} == {"fixed"}


def test_contact_pages_say_what_is_found_and_sampled(tmp_path: Path) -> None:
    scout = tmp_path / "scout"
    scout.mkdir()
    stills(scout)
    note(scout)
    with pytest.raises(SystemExit) as end:
        main(["log", str(scout), "--contact", str(tmp_path / "contact")])
    assert end.value.code == 0
    pages = sorted((tmp_path / "contact").iterdir())
    assert [page.name for page in pages if not page.name.startswith(".")] == [
        f"contact_{n:02d}.png" for n in range(1, 5)
    ]
    assert Image.open(pages[-1]).width > 2600
