"""scout.toml and the scout folder."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest

from lookdev.errors import MeterError
from lookdev.meter.log import read_meter_log
from lookdev.meter.scout import find_meter_log, load_scout, read_scout_file

FULL = """
title = "Low Ferry"
date = 2031-03-04
[plan]
exposure_index = 800
frame_rate_fps = 25
shutter_s = "1/50"
t_stop = 2.8
lens_t_stop = 1.4
filter_stops = 0.6
balance_k = 4300
balance_duv = 0.001
camera_balance_k = 5600
footage_encoding = "ACEScct"
match = "meter"
mains_hz = 50
receptor = "dome"
calibration_constant = 340
[meter]
tolerance_mired = 4
[fixture]
name = "panel"
primaries = [[0.69, 0.31], [0.17, 0.70], [0.14, 0.05]]
"""


def test_every_key_is_read(tmp_path: Path) -> None:
    (tmp_path / "scout.toml").write_text(FULL)
    scout = load_scout(tmp_path)
    plan = scout.plan
    assert (scout.title, scout.date, plan.exposure_index, plan.shutter_s) == (
        "Low Ferry",
        "2031-03-04",
        800,
        0.02,
    )
    assert (plan.camera_balance_k, plan.match, plan.mains_hz, plan.receptor) == (5600, "meter", 50, "dome")
    assert plan.fixture is not None and plan.fixture.primaries[1] == (0.17, 0.70)
    assert pickle.loads(pickle.dumps(plan)) == plan


def test_a_scout_without_files_of_its_own(tmp_path: Path) -> None:
    folder = tmp_path / "day_one"
    folder.mkdir()
    scout = load_scout(folder)
    assert (scout.title, scout.stills, scout.log.readings, scout.plan.match) == ("day one", (), (), "none")
    assert scout.log.warnings == (
        "no log in this folder (meter.txt, .csv, .xlsx or .ods): nothing is balanced from a reading",
    )
    (folder / "notes.txt").write_text("dock 1950K")
    assert load_scout(folder).log.warnings[0].endswith("; if notes.txt is the log, call it meter.txt")
    for n in range(4):
        (folder / f"{n}.md").write_text("")
    assert load_scout(folder).log.warnings[0].endswith("from a reading")


def test_a_pattern_that_names_no_still_is_said(tmp_path: Path) -> None:
    from PIL import Image

    Image.fromarray(np.full((8, 8, 3), 90, np.uint8)).save(tmp_path / "loft_01.png")
    (tmp_path / "meter.csv").write_text("stills,cct_k\nloft_1.png,3200\nloft_*,5600\n")
    scout = load_scout(tmp_path)
    assert scout.log.warnings == (
        "meter.csv, row 2: no still is called 'loft_1.png'; nearest is loft_01.png",
    )


def test_locations_in_the_order_of_the_log(tmp_path: Path) -> None:
    (tmp_path / "meter.csv").write_text("location,lux\nB,1\nA,1\nB,2\n,3\n")
    assert load_scout(tmp_path).locations() == ("B", "A")


def test_the_log_is_found_in_any_case(tmp_path: Path) -> None:
    (tmp_path / "Meter.CSV").write_text("lux\n1\n")
    path = find_meter_log(tmp_path)
    assert path is not None and len(read_meter_log(path).readings) == 1


WRONG = [
    ('titel = "x"', "scout.toml, key titel: unknown key; found 'titel'; wanted title (the nearest)"),
    (
        "[plan]\nexposure_idnex = 800",
        "key plan.exposure_idnex: unknown key; found 'exposure_idnex'; wanted exposure_index (the nearest)",
    ),
    (
        "balance_k = 4300",
        "unknown key; found 'balance_k'; wanted plan.balance_k (the nearest)",
    ),
    ("[plan]\nfilm = 3", "key plan.film: unknown key; found 'film'; wanted one of exposure_index, "),
    (
        "[plan]\nexposure_index = -5",
        "key plan.exposure_index: out of range; found -5; wanted a number from 1 to 1000000",
    ),
    ('[plan]\nexposure_index = "fast"', "key plan.exposure_index: wrong value; found 'fast'; wanted "),
    ("[plan]\nt_stop = nan", "key plan.t_stop"),
    ("[plan]\nt_stop = 1.0\nlens_t_stop = 1.4", "wanted a t_stop that the lens reaches (lens_t_stop = 1.4)"),
    ("[plan]\nshutter_s = 0.02\nshutter_angle_deg = 180", "wanted shutter_angle_deg or shutter_s, not both"),
    ('[plan]\nshutter_s = "1/0"', 'wanted seconds such as 0.02 or "1/50"'),
    ("[plan]\nshutter_s = 1\nframe_rate_fps = 24", "wanted a shutter_s within one frame (1/24 s)"),
    ('[plan]\nmatch = "metre"', "key plan.match: wrong value; found 'metre'"),
    ("[plan]\nmains_hz = 55", "key plan.mains_hz: wrong value; found 55"),
    ("[plan]\nbalance_duv = 0.01", "wanted balance_k together with balance_duv"),
    (
        "[plan]\ncalibration_constant = 100",
        "wanted a constant from 240 to 400 for a flat receptor (ISO 2720)",
    ),
    ("plan = 3", "key plan: wrong value; found 3; wanted a table of keys"),
    ('[fixture]\nname = "x"', "key fixture.primaries: missing; wanted 3 to 16 x, y in square brackets"),
    (
        "[fixture]\nprimaries = [[0.2, 0.2], [0.3, 0.3], [0.4, 0.4]]",
        "key fixture: wrong value; wanted three or more x, y that span an area; these lie on one line "
        "(zero area)",
    ),
    (
        "[fixture]\nprimaries = [[0.9, 0.9], [0.3, 0.6], [0.15, 0.06]]",
        "wanted three or more x, y inside the spectral locus",
    ),
    ("title = ", "scout.toml, line 1: no value after the equals sign; wanted title = a value"),
]


@pytest.mark.parametrize(("text", "line"), WRONG)
def test_one_line_for_each_fault(tmp_path: Path, text: str, line: str) -> None:
    (tmp_path / "scout.toml").write_text(text)
    with pytest.raises(MeterError) as caught:
        read_scout_file(tmp_path)
    assert line in str(caught.value)
    assert "\n" not in str(caught.value)


def test_clocks_windows_and_what_is_left_out(tmp_path: Path) -> None:
    from PIL import Image

    for name in ("a.png", "floor_PLAN.png", "Screenshot 3.png"):
        Image.fromarray(np.full((8, 8, 3), 90, np.uint8)).save(tmp_path / name)
    (tmp_path / "meter.txt").write_text("Hall\nHPS 1950K\n")
    (tmp_path / "scout.toml").write_text(
        'join_window_minutes = 45\nclock_offset = { "Phone" = "+1:02", "" = -30, "X" = "-0h30" }\n'
        '[plan]\nmatch_limit_stops = 3\n[stills]\nleave_out = ["*plan*", "Screenshot*"]\n'
    )
    scout = load_scout(tmp_path)
    assert [p.name for p in scout.stills] == ["a.png"]
    assert scout.clock_offset_min == {"Phone": 62, "": -30, "X": -30}
    assert (scout.join_window_min, scout.plan.match_limit_stops) == (45, 3)
    assert "scout.toml: 2 files left out as [stills] leave_out says" in scout.log.warnings


@pytest.mark.parametrize("value", ['"+1:00"', "60"])
def test_one_clock_for_every_camera(tmp_path: Path, value: str) -> None:
    (tmp_path / "scout.toml").write_text(f"clock_offset = {value}\n")
    assert load_scout(tmp_path).clock_offset_min == {"": 60}
