"""The sample scout as an experiment with a known answer: balance, exposure and chart against the truth.

Lamps: CIE 15:2018. Chart: "BabelColor Average" reflectances. Light: rendered by wavelength with mitsuba.
Truth: sample_frames/truth.json. ``pytest -s tests/reference/test_sample_truth_balance.py`` prints the tables.
"""

from __future__ import annotations

import json
import re
import shutil
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.colorimetry.temperature import mired_duv_from_xy
from lookdev.looks.model import Look
from lookdev.looks.rendering import lift_curve
from lookdev.looks.stages.base import Metered
from lookdev.looks.steps import join, run
from lookdev.meter.exposure import match_stops
from lookdev.meter.ladder import Facts, climb
from lookdev.meter.scout import Plan, load_scout
from lookdev.stills.reader import read_still
from lookdev.stills.still import Still
from lookdev.survey.resolve import patch_xy, resolve_still

FRAMES = Path(__file__).resolve().parents[2] / "sample_frames"
TRUTH: dict[str, Any] = json.loads((FRAMES / "truth.json").read_text(encoding="utf-8"))
STILLS: dict[str, dict[str, Any]] = {r["file"]: r for r in TRUTH["stills"]}
EXACT = [n for n, r in STILLS.items() if r["camera"] == "exact"]
CARD = 0.18


@lru_cache(maxsize=4)
def still(name: str) -> Still:
    return read_still(FRAMES / name)


def scene_mean(name: str, box: list[int]) -> np.ndarray:
    """Mean scene light, linear BT.2020, in a box."""
    shot = still(name)
    x, y, w, h = box
    light = shot.encoding.to_working(shot.signal()[y : y + h, x : x + w])
    if shot.encoding.state == "output":
        light = lift_curve(light)
    return np.asarray(light.reshape(-1, 3).mean(axis=0))


def cast_of(name: str, folder: Path = FRAMES) -> Any:
    scout = load_scout(folder)
    resolved = resolve_still(climb([Facts(name)], scout.log.readings)[0].reading, scout.plan, still(name))
    return resolved


def graded(name: str, box: list[int], keep: float = 0.0, folder: Path = FRAMES) -> np.ndarray:
    look = Look(title="balance", balance={"keep": keep})
    return run(join(look.steps(Metered(cast_of(name, folder).cast))), scene_mean(name, box))


def lab(rgb: np.ndarray, white_y: float) -> np.ndarray:
    """CIELAB under D65 with the luminance ``white_y`` as white."""
    return np.asarray(lab_from_xyz(np.asarray(rgb) @ WORKING.to_xyz.T / white_y, D65_XY))


def neutral_error(rgb: np.ndarray) -> float:
    """CIEDE2000 between a card and the neutral of its own luminance, the card set to 18 %."""
    y = float(rgb @ WORKING.to_xyz[1])
    return float(ciede2000(lab(rgb, y / CARD), lab(np.full(3, y), y / CARD)))


@pytest.mark.parametrize("name", EXACT)
def test_grey_card_is_neutral(name: str) -> None:
    """(a) exact camera, keep 0: within 1.0 from 8-bit files, 0.3 from the float file (issue's bounds)."""
    error = neutral_error(graded(name, STILLS[name]["boxes"]["grey_card"]))
    print(f"{name:32} grey card, CIEDE2000 from neutral: {error:.3f}")
    assert error < (0.3 if name.endswith(".exr") else 1.0)


def code_steps(name: str) -> np.ndarray:
    """What half a code value of the file moves a card by, in mired and Duv (2,), the worst of the channels.

    8-bit files: half of 1/255; the TIFF has ten significant bits; half floats have eleven.
    """
    shot = still(name)
    x, y, w, h = STILLS[name]["boxes"]["grey_card"]
    codes = shot.signal()[y : y + h, x : x + w].reshape(-1, 3).mean(axis=0)
    half = {".tif": 0.5 / 1023, ".exr": float(codes.max()) * 2.0**-12}.get(Path(name).suffix, 0.5 / 255)
    moved = np.concatenate([[codes], codes + half * np.eye(3), codes - half * np.eye(3)])
    light = shot.encoding.to_working(moved)
    if shot.encoding.state == "output":
        light = lift_curve(light)
    xyz = light @ WORKING.to_xyz.T
    points = np.array([mired_duv_from_xy(p[:2] / p.sum()) for p in xyz])
    return np.asarray(np.abs(points[1:] - points[0]).max(axis=0))


@pytest.mark.parametrize("keep", [0.25, 0.5, 0.75])
@pytest.mark.parametrize("name", EXACT)
def test_keep_leaves_its_share(name: str, keep: float) -> None:
    """(b) ``keep`` leaves its share of the distance in mired and Duv between the card as it stood and the
    card with the cast out, within 3 % of the distance.

    How well the card lies on neutral with the cast out is (a). Where the whole distance is next to nothing
    (a lamp on the Planckian locus has no Duv to take out) half a code value of the file is the bound: less
    than that no picture can show.
    """
    box = STILLS[name]["boxes"]["grey_card"]
    points = [graded(name, box, share) @ WORKING.to_xyz.T for share in (0.0, 1.0, keep)]
    out, before, after = (np.array(mired_duv_from_xy(p[:2] / p.sum())) for p in points)
    distance = np.abs(before - out)
    error = np.abs(after - (out + keep * (before - out)))
    bound = np.maximum(0.03 * distance, code_steps(name))
    print(
        f"{name:32} keep {keep:.2f}: off by {error[0]:.2f} of {distance[0]:.0f} mired, {error[1]:.5f} of "
        f"{distance[1]:.5f} Duv; bounds {bound[0]:.2f}, {bound[1]:.5f}"
    )
    assert np.all(error < bound)


def chart_errors(name: str) -> np.ndarray:
    """CIEDE2000 of the 24 patches, balanced, against the same chart in the same light's shape under D65."""
    record = STILLS[name]
    card = graded(name, record["boxes"]["grey_card"])
    level = CARD / float(card @ WORKING.to_xyz[1])
    found = np.stack([graded(name, box) * level for box in record["boxes"]["chart"].values()])
    wanted = np.array([record["chart_under_d65_xyz"][n] for n in record["boxes"]["chart"]])
    return np.asarray(ciede2000(lab(found, 1.0), lab_from_xyz(wanted, D65_XY)))


CHART_BOUNDS = {
    "D65": (1.5, 3.0),  # only the camera and the bounced light differ from the reference
    "A": (3.0, 6.0),  # one linear adaptation over 2500 K
    "A, sensor": (
        4.5,
        12.5,
    ),  # its 3600 K matrix takes reds too light: red 11 from the spectra alone, 11 found
    "LED-B3": (3.8, 7.0),  # a dip near 480 nm
    "HP4": (4.5, 7.5),  # metal halide lines
    "FL2": (6.0, 11.0),  # mercury lines, little red
    "HP1": (10.0, 21.0),  # next to nothing below 500 nm: blues and greens cannot come back
    "D65+A": (4.6, 8.5),  # two whites on one board: no one balance fits both ends of it
}
"""Mean and 95th percentile of CIEDE2000. One linear adaptation makes the card neutral; what a spiky lamp
leaves out of a patch no balance puts back: metamerism, not a fault. Bounds are about a quarter over the
real-sensor camera's figures when the frames were made; the exact camera lies below them."""


@pytest.mark.parametrize("name", list(STILLS))
def test_chart_against_d65(name: str) -> None:
    """(c) exact and (d) real-sensor camera: the table, and a bound by lamp."""
    errors = chart_errors(name)
    lamps = [v["spectrum"].removeprefix("CIE illuminant ") for v in STILLS[name]["lamps"].values()]
    name_of_lamp = "+".join(lamps)
    worst = CHART_BOUNDS.get(f"{name_of_lamp}, {STILLS[name]['camera']}", CHART_BOUNDS[name_of_lamp])
    print(
        f"{name:32} {'+'.join(lamps):8} {STILLS[name]['camera']:7} chart, CIEDE2000: "
        f"mean {errors.mean():5.2f}, 95th {np.percentile(errors, 95):5.2f}, max {errors.max():5.2f}"
    )
    assert errors.mean() < worst[0]
    assert np.percentile(errors, 95) < worst[1]


def test_the_table_in_the_readme_is_what_is_measured() -> None:
    """A row a still: which camera, the card off neutral, the chart's mean and 95th percentile, as printed."""
    readme = (FRAMES.parent / "README.md").read_text(encoding="utf-8")
    rows = re.findall(
        r"^\|[^|]+\|[^|]+\| (exact|sensor), [^|]+\| ([\d.]+) \| ([\d.]+) / ([\d.]+) \|$", readme, re.M
    )
    printed = sorted((camera, *map(float, figures)) for camera, *figures in rows)
    measured = []
    for name, record in STILLS.items():
        errors = chart_errors(name)
        card = neutral_error(graded(name, record["boxes"]["grey_card"]))
        measured.append((record["camera"], card, float(errors.mean()), float(np.percentile(errors, 95))))
    assert len(printed) == len(STILLS)
    for row, found in zip(printed, sorted(measured), strict=True):
        assert row[0] == found[0]
        assert row[1:] == pytest.approx(found[1:], abs=0.051) and abs(row[1] - found[1]) < 0.0051, (
            row,
            found,
        )


def test_both_cameras_saw_every_lamp() -> None:
    """(c) and (d) have a table for every location."""
    places = {r["place"] for r in STILLS.values()}
    for camera in ("exact", "sensor"):
        assert {r["place"] for r in STILLS.values() if r["camera"] == camera} == places


def makers() -> Any:
    """The camera models that the frames were taken with."""
    import sys

    if str(FRAMES) not in sys.path:
        sys.path.insert(0, str(FRAMES))
    from makers import cameras, spectra

    return cameras, spectra


def card_from_spectra(name: str) -> float:
    """Stops from 18 % at which the card must lie after exposure by the meter and balance, from spectra alone.

    Lamp, V(lambda), camera sensitivities, the camera's matrix, the balance: no picture. A meter reads
    luminance; a camera that is balanced for one white and looks at another does not quite, nor does a sensor
    that is no linear transform of the eye.
    """
    from lookdev.colorimetry.adaptation import adaptation_matrix

    cameras, spectra = makers()
    record = STILLS[name]
    k = record["camera_balance_k"]
    lamps = [v["spectrum"].removeprefix("CIE illuminant ") for v in record["lamps"].values()]
    parts = np.stack([spectra.lamp(n) / (spectra.lamp(n) @ spectra.observer()[:, 1]) for n in lamps])
    light = parts[0]
    if len(parts) == 2:  # the mix that comes nearest to the metered chromaticity
        shares = np.linspace(0, 1, 201)
        mixes = np.outer(shares, parts[0]) + np.outer(1 - shares, parts[1])
        xyz = mixes @ spectra.observer()
        xy = xyz[:, :2] / xyz.sum(axis=1, keepdims=True)
        target = [record["light_at_card"]["x"], record["light_at_card"]["y"]]
        light = mixes[int(np.argmin(np.hypot(*(xy - target).T)))]
    if record["camera"] == "exact":
        to_d65 = adaptation_matrix(tuple(record["camera_balance_xy"]), D65_XY)
        seen = to_d65 @ (light @ spectra.observer())
    else:
        matrix, neutral = cameras.sensor_matrix(k)
        seen = matrix @ (light / cameras.LUMENS @ cameras.sensitivities() / neutral)
    cast = cast_of(name).cast
    look = Look(title="balance", balance={"keep": 0.0})
    balanced = run(join(look.steps(Metered(cast))), CARD * WORKING.from_xyz @ seen)
    return float(np.log2(np.asarray(balanced) @ WORKING.to_xyz[1] / CARD))


@pytest.mark.parametrize("name", list(STILLS))
def test_metered_exposure_puts_the_card_at_18_percent(name: str) -> None:
    """(e) ISO 2720: the stops between EXIF exposure and the incident reading put the card at 18 %.

    Within 0.15 stop for the exact camera. What is off is the camera, not the meter or the arithmetic: every
    still lies within 0.05 stop of what the spectra alone ask for (``card_from_spectra``). The real sensor
    under high-pressure sodium is asked to be 0.22 stop short: it weighs the 570 nm to 620 nm lines less than
    V(lambda) does. A matrix between two illuminants, as cameras carry, leaves 0.21 of it. So the real sensor
    is held to 0.15 stop of what it can do.
    """
    scout = load_scout(FRAMES)
    assert scout.plan.match == "meter"
    reading = climb([Facts(name)], scout.log.readings)[0].reading
    assert reading is not None and reading.illuminance_lux is not None
    stops = match_stops(still(name).metadata, reading.illuminance_lux, scout.plan)
    assert stops is not None
    card = graded(name, STILLS[name]["boxes"]["grey_card"]) * 2.0**stops
    off = float(np.log2(card @ WORKING.to_xyz[1] / CARD))
    asked = card_from_spectra(name)
    camera = STILLS[name]["camera"]
    print(
        f"{name:32} {camera:7} shifted {stops:+.2f} stops, card {off:+.3f} stops from 18 %, "
        f"by the spectra {asked:+.3f}"
    )
    assert abs(off - asked) < 0.05
    assert abs(off if camera == "exact" else off - asked) < 0.15


@pytest.mark.parametrize("name", list(STILLS))
def test_the_meter_and_the_card_agree(name: str) -> None:
    """The meter is a white tile in a render of its own; the card's pixels are another render of that light.

    Bounds: three times what noise allows between them (card 1 % over its 16 texels, meter 0.3 %), plus the
    fall-off of light over the card (26 cm), which the 6 cm tile in its middle does not see: 1 %.
    """
    off = STILLS[name]["card_pixels_minus_meter"]
    print(
        f"{name:32} card against meter: {off['illuminance_share']:+.2%}, x {off['x']:+.5f}, y {off['y']:+.5f}"
    )
    assert abs(off["illuminance_share"]) < 3 * np.hypot(0.01 / 4, 0.003) + 0.01
    assert max(abs(off["x"]), abs(off["y"])) < 0.001


def other_log(folder: Path, name: str, columns: dict[str, str]) -> Path:
    """A scout with one still and one row."""
    shutil.copy(FRAMES / name, folder / name)
    row = {"stills": name, "camera_balance_k": f"{STILLS[name]['camera_balance_k']:.0f}", **columns}
    quoted = (f'"{v}"' for v in row.values())
    (folder / "meter.csv").write_text(",".join(row) + "\n" + ",".join(quoted) + "\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", ["01_ferry_hall_wide.jpg", "03_loading_dock_wide.jpg"])
def test_three_ways_of_giving_a_reading_agree(name: str, tmp_path: Path) -> None:
    """(f) x, y; CCT with Duv; a spectrum file: the same card and chart within CIEDE2000 0.5.

    The reading is the lamp itself, whose spectrum is published.
    """
    from lookdev.colorimetry.illuminants import illuminant_spectrum

    lamp = next(iter(STILLS[name]["lamps"].values()))
    nm, power = illuminant_spectrum(lamp["spectrum"].removeprefix("CIE illuminant "))
    ways = {
        "xy": {"x": f"{lamp['x']:.4f}", "y": f"{lamp['y']:.4f}"},
        "cct": {"cct_k": f"{lamp['cct_k']:.0f}", "duv": f"{lamp['duv']:.4f}"},
        "spectrum": {"spectrum": "lamp.csv"},
    }
    pictures = []
    for way, columns in ways.items():
        folder = tmp_path / way
        folder.mkdir()
        lines = "".join(f"{a:g},{b:g}\n" for a, b in zip(nm, power, strict=True))
        (folder / "lamp.csv").write_text("nm,value\n" + lines, encoding="utf-8")
        other_log(folder, name, columns)
        boxes = [STILLS[name]["boxes"]["grey_card"], *STILLS[name]["boxes"]["chart"].values()]
        pictures.append(lab(np.stack([graded(name, b, 0.0, folder) for b in boxes]), 1.0))
    assert ciede2000(pictures[0], pictures[1]).max() < 0.5
    assert ciede2000(pictures[0], pictures[2]).max() < 0.5


@pytest.mark.parametrize("name", list(STILLS))
def test_grey_patch_is_the_other_road_to_neutral(name: str, tmp_path: Path) -> None:
    """(g) ``grey = "x,y,w,h"`` makes the card neutral from any camera and file, even on automatic balance."""
    box = STILLS[name]["boxes"]["grey_card"]
    folder = other_log(tmp_path, name, {"camera_balance_k": "auto", "grey": ",".join(map(str, box))})
    assert neutral_error(graded(name, box, 0.0, folder)) < 0.05
    assert patch_xy(still(name), tuple(box)) == pytest.approx(cast_of(name, folder).cast.picture_xy)


def test_automatic_balance_is_refused_with_the_reason(tmp_path: Path) -> None:
    """(g) a meter reading alone cannot correct a camera that chose its own balance."""
    name = EXACT[0]
    folder = other_log(tmp_path, name, {"camera_balance_k": "auto", "x": "0.3721", "y": "0.3751"})
    resolved = cast_of(name, folder)
    assert resolved.cast is None
    assert any("automatic" in w for w in resolved.warnings)


def test_plan_constant_is_the_one_the_frames_were_exposed_with() -> None:
    """ISO 2720: exposed with C = 280, which is also the common constant of a flat receptor."""
    from lookdev.meter.exposure import constant_of

    assert constant_of(Plan()) == TRUTH["renderer"]["iso_2720_constant"]


def test_frames_truth_and_log_belong_together() -> None:
    """``render.py --check``: digests of the stills, meter log and boxes, without rendering."""
    import subprocess
    import sys

    done = subprocess.run(
        [sys.executable, str(FRAMES / "render.py"), "--check"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
