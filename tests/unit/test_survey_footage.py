"""The casts that footage shows: against the plan's balance; without one, the stills camera's, by name.

The camera is a model of ours: linear Bradford adaptation (ICC.1:2010 annex E, matrix typed from memory) from
its white to D65, as a camera that is balanced to a white shows that white as neutral.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import ACESCCT, BT709, SRGB
from lookdev.colorimetry.rgb_spaces import WORKING
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.jobs.cubes import CubesRequest, run
from lookdev.looks.model import Look
from lookdev.lut.cube import read_cube
from lookdev.lut.error import appearance
from lookdev.meter.scout import load_scout
from lookdev.stills.writer import write_still
from lookdev.survey.footage import as_footage, footage_cast, footage_labels, footage_places
from lookdev.survey.survey import survey

BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
D65_XYZ = np.array([0.95046, 1.0, 1.08906])
NEUTRAL = Look.model_validate({"title": "Neutral", "balance": {"keep": 0.0}})
LAMP_K = 2900.0


def _xyz(kelvin: float) -> np.ndarray:
    x, y = balance_white_xy(kelvin)
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _grey_in_footage(camera_k: float, lamp_k: float = LAMP_K) -> np.ndarray:
    """ACEScct of a grey card under a lamp, taken by a camera balanced to ``camera_k``."""
    cone = BRADFORD @ _xyz(lamp_k) * (BRADFORD @ D65_XYZ) / (BRADFORD @ _xyz(camera_k))
    light = 0.18 * WORKING.from_xyz @ (np.linalg.inv(BRADFORD) @ cone)
    return ACESCCT.from_working(light)


def _scout(folder: Path, plan: str, rows: str = "a.png,Net shed,2900,5600\n") -> Path:
    folder.mkdir()
    for row in rows.splitlines():
        picture = np.full((24, 32, 3), 120, np.uint8)
        write_still(folder / row.split(",")[0], cv2.GaussianBlur(picture, (3, 3), 0), SRGB)
    (folder / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n" + rows)
    (folder / "scout.toml").write_text(f'[plan]\nfootage_encoding = "ACEScct"\n{plan}')
    return folder


def _place_cube(folder: Path, plan: str) -> Path:
    made = run(CubesRequest((NEUTRAL,), folder / "out", load_scout(_scout(folder / "scout", plan))))
    [placed] = [cube for cube in made.written if cube.place is not None]
    return placed.report.path


@pytest.mark.parametrize("planned", [3200.0, 4300.0, 5600.0])
def test_a_grey_card_in_footage_at_the_plans_balance_comes_out_neutral(
    tmp_path: Path, planned: float
) -> None:
    path = _place_cube(tmp_path, f"balance_k = {planned}\n")
    shown = appearance(read_cube(path)(_grey_in_footage(planned)), BT709)
    assert np.hypot(*shown[1:]) < 0.6
    assert f"_{planned:.0f}K." in path.name
    assert f"{planned:.0f} K (balance_k in scout.toml)" in "\n".join(read_cube(path).comments)


def test_the_stills_cameras_balance_would_have_been_far_off(tmp_path: Path) -> None:
    """What the issue measured, 10 to 16 CIEDE2000: footage at another balance than the LUT is for."""
    shown = appearance(read_cube(_place_cube(tmp_path, ""))(_grey_in_footage(4300.0)), BT709)
    assert ciede2000(shown, np.array([shown[0], 0.0, 0.0])) > 8


def test_without_a_plan_every_name_and_head_says_which_kelvin(tmp_path: Path) -> None:
    path = _place_cube(tmp_path, "")
    assert path.name == "neutral@Net_shed_5600K.ACEScct_to_BT.709.65.cube"
    assert "for footage balanced as the stills' camera was, to 5600 K" in "\n".join(read_cube(path).comments)
    shown = appearance(read_cube(path)(_grey_in_footage(5600.0)), BT709)
    assert np.hypot(*shown[1:]) < 0.6


def test_one_lamp_is_one_place_whatever_the_stills_cameras_did(tmp_path: Path) -> None:
    rows = "a.png,Net shed,2900,5600\nb.png,Net shed,2900,3200\nc.png,Net shed,2900,auto\n"
    found = survey(load_scout(_scout(tmp_path / "s", "balance_k = 4300\n", rows)))
    [place] = footage_places(found)
    assert place.stills == ("a.png", "b.png", "c.png") and place.balance == "4300K"
    assert footage_labels([place], found.every_location) == ["Net_shed_4300K"]
    assert (
        found.still("c.png").cast is None and footage_cast(found.still("c.png"), found.scout.plan) is not None
    )


def test_a_still_is_brought_to_the_footages_balance(tmp_path: Path) -> None:
    found = survey(load_scout(_scout(tmp_path / "s", "balance_k = 4300\n")))
    still = found.still("a.png")
    cast = as_footage(still, footage_cast(still, found.scout.plan))
    assert cast is not None
    seen = SRGB.from_working(ACESCCT.to_working(_grey_in_footage(5600.0)) * 0.5)
    as_shot = Look.model_validate({"title": "f", "balance": {"keep": 0.0}}).transform(SRGB, ACESCCT, cast)
    light = ACESCCT.to_working(as_shot(seen))
    wanted = ACESCCT.to_working(_grey_in_footage(4300.0))
    np.testing.assert_allclose(light / light.sum(), wanted / wanted.sum(), atol=2e-4)


def test_duv_of_the_plan_counts(tmp_path: Path) -> None:
    found = survey(load_scout(_scout(tmp_path / "s", "balance_k = 4300\nbalance_duv = -0.01\n")))
    [place] = footage_places(found)
    assert place.cast.camera_xy == found.scout.plan.balance_xy and "Duv" in place.balance_words
