"""``lookdev light`` on a whole scout: pages, tables, exit statuses."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

LOG = """stills,location,source,cct_k,duv,x,y,lux,time,role,spectrum,note
dock_1.jpg,Łódź · Øst 東 café,sodium lamps,1960,,0.533,0.415,42,,,,
,Łódź · Øst 東 café,signal lamp,,,0.69,0.30,12,,,,
loft_1.jpg,Net loft,window,6480,0.0021,,,900,15:10,key,,north side
loft_1.jpg,Net loft,bounce off the floor,5200,0.001,,,210,15:12,fill,,
loft_1.jpg,Net loft,window,8200,0.004,,,60,17:05,,,
hall_1.jpg,Ferry hall,tubes,,,,,300,,,tubes.csv,
"""
TOML = """title = "Low Ferry"
[plan]
exposure_index = 800
frame_rate_fps = 24
t_stop = 2.8
lens_t_stop = 1.4
balance_k = 4300
[fixture]
name = "colour-mixing panel"
primaries = [[0.68, 0.31], [0.17, 0.70], [0.14, 0.05]]
"""


@pytest.fixture
def scout(tmp_path: Path) -> Path:
    from PIL import Image

    from lookdev.meter.spectrum import illuminant

    folder = tmp_path / "day one"
    folder.mkdir()
    (folder / "meter.csv").write_text(LOG, encoding="utf-8")
    (folder / "scout.toml").write_text(TOML, encoding="utf-8")
    tubes = illuminant("FL2")
    rows = "".join(f"{n:g},{v:g}\n" for n, v in zip(tubes.wavelengths_nm, tubes.values, strict=True))
    (folder / "tubes.csv").write_text("nm,value\n" + rows)
    for name in ("dock_1", "loft_1", "hall_1"):
        Image.fromarray(np.full((40, 60, 3), 90, np.uint8)).save(folder / f"{name}.jpg")
    return folder


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "lookdev", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_the_whole_job(scout: Path, tmp_path: Path) -> None:
    before = sorted(p.name for p in scout.iterdir())
    done = run("light", str(scout), "--out", str(tmp_path / "notes"))
    assert done.returncode == 0, done.stderr
    assert "sodium lamps" in done.stdout and "2 × full CTB" not in done.stdout
    assert "no gel moves it there" in " ".join(done.stdout.split())
    assert sorted(p.name for p in scout.iterdir()) == before
    names = {p.name for p in (tmp_path / "notes").iterdir()}
    assert {"Net_loft.pdf", "Net_loft.png", "Ferry_hall.pdf", "light.csv", "light.json"} <= names
    assert {"Łódź_Øst_東_café.pdf", "Łódź_Øst_東_café.png"} <= names
    data = json.loads((tmp_path / "notes" / "light.json").read_text(encoding="utf-8"))
    assert [place["location"] for place in data["locations"]] == [
        "Łódź · Øst 東 café",
        "Net loft",
        "Ferry hall",
    ]
    hall = data["locations"][2]["readings"][0]
    assert hall["white_from"] == "spectrum tubes.csv"
    assert hall["rendition"]["ra"] == pytest.approx(64, abs=0.5)  # CIE 15:2018 table 10.1
    assert hall["rendition"]["standards"]["ssi"] == "SMPTE ST 2122:2020"
    assert data["locations"][2]["safe_shutters"][0]["angles_deg"] == [86.4, 172.8, 259.2, 345.6]
    loft = data["locations"][1]
    assert loft["contrast"][0]["ratio"] == pytest.approx(900 / 210, abs=1e-3)
    assert len(loft["time_lines"][0]["enough_until"]) == 1
    assert data["locations"][0]["readings"][1]["dial"]["fixture_reaches_it"] is False
    with (tmp_path / "notes" / "light.csv").open(encoding="utf-8-sig", newline="") as handle:
        table = list(csv.DictReader(handle))
    assert len(table) == 6
    assert float(table[0]["fc"]) == pytest.approx(42 / 10.764, abs=1e-3)


def test_the_words_on_the_page_are_the_numbers_in_the_table(scout: Path, tmp_path: Path) -> None:
    from pypdf import PdfReader

    assert run("light", str(scout), "-o", str(tmp_path / "n")).returncode == 0
    text = " ".join(
        " ".join(
            page.extract_text() for page in PdfReader(tmp_path / "n" / "Łódź_Øst_東_café.pdf").pages
        ).split()
    )
    wanted = (
        "Łódź · Øst 東 café", "sodium lamps", "1960 K, Duv +0.0008", "42 lx · 3.9 fc", "x 0.5330 y 0.4150",
        "u′ 0.3084 v′ 0.5402", "1.6 stops under T2.8", "Missing 90 lx (8.3 fc)",
        "HP1 high-pressure sodium", "172.8°", "on colour-mixing panel", "the nearest it makes", "local codes",
        "Filters are generic",
    )  # fmt: skip
    for words in wanted:
        assert words in text, words


def test_same_scout_same_bytes(scout: Path, tmp_path: Path) -> None:
    sums = []
    for name in ("a", "b"):
        assert run("light", str(scout), "--out", str(tmp_path / name)).returncode == 0
        files = sorted((tmp_path / name).iterdir())
        sums.append([(p.name, hashlib.sha256(p.read_bytes()).hexdigest()) for p in files])
    assert sums[0] == sums[1]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_nothing_overlaps_or_is_cut(scout: Path, paper: str) -> None:
    from lookdev.meter.notes import scout_notes
    from lookdev.meter.scout import load_scout
    from lookdev.pages.light_page import light_document

    opened = load_scout(scout)
    for notes in scout_notes(opened):
        assert light_document(opened.title, notes, opened.plan, paper=paper).faults() == []


def test_long_names_and_many_sources_flow_on(tmp_path: Path) -> None:
    from lookdev.meter.log import Reading
    from lookdev.meter.notes import location_notes
    from lookdev.meter.scout import Plan
    from lookdev.pages.light_page import light_document

    long = "the second row of fluorescent tubes over the counter near the stairs, the ones that buzz " * 2
    readings = [
        Reading(row=n, source=f"{n} {long}", cct_k=2500 + 300 * n, illuminance_lux=10.0 * n, note=long * 3,
                stills=tuple(f"{long[:50]}{i}.jpg" for i in range(n)))
        for n in range(1, 9)
    ]  # fmt: skip
    notes = location_notes(
        "Hall " + "x" * 120, readings, Plan(exposure_index=800, t_stop=2.8, balance_k=5600)
    )
    document = light_document(
        "A long title " * 12, notes, Plan(exposure_index=800, t_stop=2.8, balance_k=5600)
    )
    assert document.faults() == []
    assert len(document.pages) > 1


def test_json_alone_on_standard_output(scout: Path, tmp_path: Path) -> None:
    done = run("light", str(scout), "--out", str(tmp_path / "n"), "--json", "--no-pages")
    assert json.loads(done.stdout)["title"] == "Low Ferry"
    assert not list((tmp_path / "n").glob("*.pdf"))


def test_a_bad_row_is_status_1_and_the_rest_is_done(scout: Path, tmp_path: Path) -> None:
    with (scout / "meter.csv").open("a", encoding="utf-8") as handle:
        handle.write("x.jpg,Net loft,lamp,32oo,,,,,,,,\n")
    done = run("light", str(scout), "--out", str(tmp_path / "n"))
    assert done.returncode == 1
    assert "meter.csv, row 8, column cct_k: not a number; found '32oo'" in done.stderr
    assert (tmp_path / "n" / "Net_loft.pdf").exists()


WRONG = [
    (("nowhere",), "no such folder"),
    (("{scout}", "--only", "Net lof"), "no such location; found 'Net lof'; wanted one of: "),
    (("{scout}", "--out", "{scout}"), "the output folder lies inside the scout"),
    (("{scout}", "--paper", "a3"), "--paper"),
    (("{scout}/meter.csv",), "is a file"),
]


@pytest.mark.parametrize(("arguments", "line"), WRONG)
def test_a_wrong_request_is_status_2_one_line_and_writes_nothing(
    scout: Path, tmp_path: Path, arguments: tuple[str, ...], line: str
) -> None:
    done = run("light", *(a.format(scout=scout) for a in arguments))
    assert done.returncode == 2
    assert line in done.stderr and len(done.stderr.strip().splitlines()) == 1
    assert sorted(p.name for p in tmp_path.iterdir()) == ["day one"]


def test_an_output_folder_that_cannot_be_made(scout: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    done = run("light", str(scout), "--out", str(tmp_path / "file" / "notes"))
    assert done.returncode == 2
    assert "cannot be made" in done.stderr and len(done.stderr.strip().splitlines()) == 1


def test_a_log_without_a_good_row(scout: Path) -> None:
    (scout / "meter.csv").write_text("location,cct_k\nHall,hot\n")
    done = run("light", str(scout))
    assert done.returncode == 2
    assert "row 2, column cct_k: not a number; found 'hot'" in done.stderr
    assert "no reading to make notes of" in done.stderr


def test_a_fixture_without_area_is_status_2(scout: Path) -> None:
    (scout / "scout.toml").write_text("[fixture]\nprimaries = [[0.2, 0.2], [0.3, 0.3], [0.4, 0.4]]\n")
    done = run("light", str(scout))
    assert done.returncode == 2
    assert "scout.toml, key fixture: wrong value; wanted three or more x, y that span an area" in done.stderr


def test_a_cell_that_a_spreadsheet_would_run_stays_words() -> None:
    from lookdev.jobs.light import csv_table
    from lookdev.meter.log import Reading
    from lookdev.meter.notes import location_notes
    from lookdev.meter.scout import Plan

    notes = location_notes("Hall", [Reading(row=2, source="=1+1", illuminance_lux=5)], Plan())
    assert (
        next(csv.DictReader(io.StringIO(csv_table((notes,), Plan()).lstrip("\ufeff"))))["source"] == "'=1+1"
    )
