"""The stand-ins of the sample scout: a face's pixels against the spectral sum of its skin in its light.

Skins: the six model spectra of ``colorimetry.skins`` (their sources stand there). Observer, lamps: CIE 1931 2
degree and CIE 15:2018, as colour-science carries them. Light on the skin: sample_frames/truth.json, metered
in renders of its own, none of whose samples are the still's. ``pytest -s`` prints what the test holds.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.colorimetry.skins import skin_names, skin_reflectances, skin_wavelengths_nm
from lookdev.looks.rendering import render_curve
from lookdev.stills.reader import read_still

FRAMES = Path(__file__).resolve().parents[2] / "sample_frames"
TRUTH: dict[str, Any] = json.loads((FRAMES / "truth.json").read_text(encoding="utf-8"))
FACES = [(record, face) for record in TRUTH["composed"] for face in record["stand_ins"]]
NAMES = [f"{record['place']}: {face['skin']}" for record, face in FACES]
LUMENS = 683.0
WITHIN = 1.5
"""CIEDE2000 on screen between a face's pixels, as the camera wrote them, and the spectral sum."""


def observer() -> np.ndarray:
    cmfs = colour_science().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    nm = skin_wavelengths_nm()
    return np.stack([np.interp(nm, cmfs.wavelengths, cmfs.values[:, i]) for i in range(3)], axis=1)


def seen(record: dict[str, Any], face: dict[str, Any], reflectance: np.ndarray) -> np.ndarray:
    """XYZ (3,), white at Y = 1, of a skin in this light as the still's camera writes it into its file."""
    step = float(np.diff(skin_wavelengths_nm())[0])
    sent = np.array(face["irradiance_w_m2_nm"]) * reflectance
    shot = record["exposure"]
    gain = shot["time_s"] * shot["iso"] / (shot["f_number"] ** 2 * TRUTH["renderer"]["iso_2720_constant"])
    xyz = gain * LUMENS * step * sent @ observer()
    to_d65 = adaptation_matrix(tuple(record["camera_balance_xy"]), D65_XY)
    scene = (WORKING.from_xyz @ to_d65 @ xyz)[None]
    return displayed(record, render_curve(scene))


def displayed(record: dict[str, Any], light: np.ndarray) -> np.ndarray:
    """XYZ (3,) of rendered BT.2020 light (n, 3) within the primaries that the file has."""
    encoding = read_still(FRAMES / record["file"]).encoding
    codes = np.clip(encoding.from_working(light), 0, 1)
    return np.asarray(encoding.to_working(codes).mean(axis=0) @ WORKING.to_xyz.T)


def pixels(record: dict[str, Any], face: dict[str, Any]) -> np.ndarray:
    """XYZ (3,), white at Y = 1, of a face's box in the still as it is on screen."""
    still = read_still(FRAMES / record["file"])
    x, y, w, h = face["box"]
    light = still.encoding.to_working(still.signal()[y : y + h, x : x + w].reshape(-1, 3))
    return np.asarray(light.mean(axis=0) @ WORKING.to_xyz.T)


def apart(one: np.ndarray, two: np.ndarray) -> float:
    return float(ciede2000(lab_from_xyz(one, D65_XY), lab_from_xyz(two, D65_XY)))


def test_three_places_have_a_stand_in_and_their_skins_run_from_light_to_dark() -> None:
    skins = [skin_names().index(face["skin"]) for _, face in FACES]
    assert len({record["place"] for record, _ in FACES}) == 3
    assert min(skins) <= 1 and max(skins) == 5 and len(set(skins)) == 3
    with (FRAMES / "meter.csv").open(encoding="utf-8") as file:
        notes = {row["stills"]: row["note"] for row in csv.DictReader(file)}
    for record, face in FACES:
        assert f"skin '{face['skin']}'" in notes[record["file"]]


@pytest.mark.parametrize(("record", "face"), FACES, ids=NAMES)
def test_a_face_is_its_skin_under_the_light_of_the_place(
    record: dict[str, Any], face: dict[str, Any]
) -> None:
    """Within WITHIN of the spectral sum of its own skin, and nearer to it than to any other of the six."""
    found = pixels(record, face)
    off = [apart(found, seen(record, face, skin)) for skin in skin_reflectances()]
    table = ", ".join(f"{n} {d:.2f}" for n, d in zip(skin_names(), off, strict=True))
    print(f"\n{record['file']}, {face['skin']}, box {face['box']}: {table}")
    own = skin_names().index(face["skin"])
    assert off[own] < WITHIN
    assert int(np.argmin(off)) == own


@pytest.mark.parametrize(("record", "face"), FACES, ids=NAMES)
def test_what_truth_says_of_a_skin_is_the_spectral_sum(record: dict[str, Any], face: dict[str, Any]) -> None:
    """``reads_xyz`` and the light's x, y from the irradiance: 5 nm here against 1 nm there, to 0.1%."""
    falls = np.array(face["irradiance_w_m2_nm"])
    white = falls @ observer()
    skin = skin_reflectances()[skin_names().index(face["skin"])]
    read = (falls * skin) @ observer() / white[1]
    assert read == pytest.approx(face["reads_xyz"], rel=0.004, abs=2e-4)
    light = face["light_at_skin"]
    assert (white[:2] / white.sum()).tolist() == pytest.approx([light["x"], light["y"]], abs=3e-4)
    assert white[1] * 5 * LUMENS == pytest.approx(light["illuminance_lux"], rel=0.002)


@pytest.mark.parametrize(("record", "face"), FACES, ids=NAMES)
def test_the_light_on_a_skin_is_the_lamp_and_what_the_walls_send_back(
    record: dict[str, Any], face: dict[str, Any]
) -> None:
    """Over the lamp's own spectrum (CIE 15:2018) it is smooth: walls have no lines."""
    (lamp,) = record["lamps"].values()
    sd = colour_science().SDS_ILLUMINANTS[lamp["spectrum"].removeprefix("CIE illuminant ")]
    nm = skin_wavelengths_nm()
    power = np.interp(nm, sd.wavelengths, sd.values)
    known = (nm >= 400) & (nm <= 700) & (power > 0.01 * power.max())
    ratio = np.array(face["irradiance_w_m2_nm"])[known] / power[known]
    fit = np.polynomial.Polynomial.fit(nm[known], ratio, 5)(nm[known])
    assert np.abs(ratio / fit - 1).max() < 0.05


def test_every_place_has_a_still_without_the_chart() -> None:
    places = {record["place"] for record in TRUTH["stills"]}
    assert {record["place"] for record in TRUTH["composed"]} == places
    for record in TRUTH["composed"]:
        assert "boxes" not in record
        assert abs(record["stops_over_meter"]) < 2.5
