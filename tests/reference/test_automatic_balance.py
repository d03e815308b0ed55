"""Every road to neutral gives one meaning to ``keep``: the sample scout's JPEGs as a phone balances them.

Each JPEG is balanced again by 0, 50, 80 and 100% of its lamp's cast, in scene light and in cones, as cameras
do, then taken through the tool by each road; the grey card is compared with that of the camera on a fixed
balance. Truth: sample_frames/truth.json. ``pytest -s`` prints the table that the README states.
"""

from __future__ import annotations

import csv
import json
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.looks.model import Look
from lookdev.looks.rendering import lift_curve, render_curve
from lookdev.looks.stages.balance import kept_white
from lookdev.meter.ladder import Facts, climb
from lookdev.meter.scout import load_scout
from lookdev.stills.reader import read_still
from lookdev.survey.resolve import Resolved, resolve_still

FRAMES = Path(__file__).resolve().parents[2] / "sample_frames"
STILLS: dict[str, dict[str, Any]] = {
    r["file"]: r
    for r in json.loads((FRAMES / "truth.json").read_text(encoding="utf-8"))["stills"]
    if r["file"].endswith(".jpg")
}
SHARES = (0.0, 0.5, 0.8, 1.0)
KEEPS = (0.0, 0.25, 0.5, 1.0)
ROADS = {
    "patch": {"camera_balance_k": "auto", "grey": "BOX"},
    "assumed": {"camera_balance_k": "neutralised"},
    "estimated": {"camera_balance_k": "estimate"},
}


@lru_cache(maxsize=1)
def rows() -> dict[str, dict[str, str]]:
    with (FRAMES / "meter.csv").open(encoding="utf-8") as file:
        return {row["stills"]: row for row in csv.DictReader(file)}


def as_a_phone_would(name: str, share: float, out: Path) -> None:
    """The JPEG again, ``share`` of its cast taken out by the camera, without what the first camera wrote."""
    still = read_still(FRAMES / name)
    scout = load_scout(FRAMES)
    cast = resolve_still(climb([Facts(name)], scout.log.readings)[0].reading, scout.plan, still).cast
    assert cast is not None
    taken = adaptation_matrix(cast.picture_xy, kept_white(cast.picture_xy, 1.0 - share))
    light = lift_curve(still.encoding.to_working(still.signal()))
    light = light @ (WORKING.from_xyz @ taken @ WORKING.to_xyz).T
    codes = np.clip(SRGB.from_working(render_curve(light)), 0, 1) * 255 + 0.5
    Image.fromarray(codes.astype(np.uint8)).save(out / name, quality=95, subsampling=0)


def scout_of(folder: Path, name: str, columns: dict[str, str]) -> Path:
    """A scout with one still's row, and the sample scout's plan."""
    row = rows()[name] | columns
    lines = [",".join(row), ",".join(f'"{v}"' for v in row.values())]
    (folder / "meter.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "scout.toml").write_bytes((FRAMES / "scout.toml").read_bytes())
    return folder


def resolved(folder: Path, name: str) -> tuple[Resolved, Any]:
    scout, still = load_scout(folder), read_still(folder / name)
    return resolve_still(climb([Facts(name)], scout.log.readings)[0].reading, scout.plan, still), still


def greys(told: Resolved, still: Any, box: list[int]) -> np.ndarray:
    """CIELAB (keeps, 3) of the card on screen, through looks that only keep."""
    x, y, w, h = box
    signal = still.signal()[y : y + h, x : x + w].reshape(-1, 3)
    out = []
    for keep in KEEPS:
        look = Look.model_validate({"title": "keep", "balance": {"keep": keep}})
        shown = look.transform(still.encoding, SRGB, told.cast)(signal)
        out.append((SRGB.to_working(shown) @ WORKING.to_xyz.T).mean(axis=0))
    return np.asarray(lab_from_xyz(np.stack(out), D65_XY))


@lru_cache(maxsize=32)
def fixed_greys(name: str) -> np.ndarray:
    told, still = resolved(FRAMES, name)
    assert told.road == "fixed"
    return greys(told, still, STILLS[name]["boxes"]["grey_card"])


Found = dict[tuple[str, float, str], np.ndarray]


@pytest.fixture(scope="module")
def cards(tmp_path_factory: pytest.TempPathFactory) -> Found:
    """CIELAB (keeps, 3) of the card by still, share and road."""
    found: Found = {}
    for name in STILLS:
        box = STILLS[name]["boxes"]["grey_card"]
        grey = ",".join(map(str, box))
        for share in SHARES:
            folder = tmp_path_factory.mktemp("phone")
            as_a_phone_would(name, share, folder)
            for road, columns in ROADS.items():
                scout_of(folder, name, {k: v.replace("BOX", grey) for k, v in columns.items()})
                told, still = resolved(folder, name)
                assert told.road == road, told.warnings
                found[name, share, road] = greys(told, still, box)
    return found


@pytest.mark.parametrize("name", [n for n in STILLS if STILLS[n]["camera"] == "exact"])
def test_a_patch_leaves_what_the_fixed_camera_does(name: str, cards: Found) -> None:
    """Within CIEDE2000 1.5 at keep 0, 0.25, 0.5 and 1 (the issue's bound), whatever the phone took out."""
    for share in SHARES:
        assert ciede2000(cards[name, share, "patch"], fixed_greys(name)).max() < 1.5


@pytest.mark.parametrize("name", [n for n in STILLS if STILLS[n]["camera"] == "sensor"])
def test_a_real_sensor_by_patch(name: str, cards: Found) -> None:
    """A sensor that sees the lamp otherwise than the meter does leaves the card off neutral when fixed
    (README's experiment: 0.6 to 6.1), which a patch takes out: so its stills are held to each other, within
    1.5, and to the fixed camera's within what that is off neutral, and 1.5."""
    off = ciede2000(fixed_greys(name)[0], fixed_greys(name)[0] * [1, 0, 0])
    for share in SHARES:
        assert ciede2000(cards[name, share, "patch"], cards[name, 0.0, "patch"]).max() < 1.5
        assert ciede2000(cards[name, share, "patch"], fixed_greys(name)).max() < 1.5 + off


@pytest.mark.parametrize("name", [n for n in STILLS if STILLS[n]["camera"] == "exact"])
def test_the_assumption_holds_where_it_is_true(name: str, cards: Found) -> None:
    """A phone that did take all of it out: as by patch."""
    assert ciede2000(cards[name, 1.0, "assumed"], fixed_greys(name)).max() < 1.5


def table(cards: Found) -> list[tuple[str, str, list[float], list[float]]]:
    """Road, share, median and largest CIEDE2000 over all JPEGs at each keep."""
    out = []
    for road in ROADS:
        for share in SHARES:
            off = np.stack([ciede2000(cards[n, share, road], fixed_greys(n)) for n in STILLS])
            out.append((road, f"{share:.0%}", np.median(off, axis=0).tolist(), off.max(axis=0).tolist()))
    return out


def test_the_table_in_the_readme_is_what_is_measured(cards: Found) -> None:
    """Each road by what the phone took out: median and largest CIEDE2000, at each keep."""
    readme = (FRAMES.parent / "README.md").read_text(encoding="utf-8")
    measured = table(cards)
    for road, share, median, largest in measured:
        cells = [f"{a:.1f} / {b:.1f}" for a, b in zip(median, largest, strict=True)]
        print(f"| {road} | {share} | " + " | ".join(cells) + " |")
    for road, share, median, largest in measured:
        row = re.search(rf"^\| {road} \| {share} \|(.*)\|$", readme, re.M)
        assert row is not None, (road, share)
        said = [float(v) for v in re.findall(r"[\d.]+", row[1])]
        assert said == pytest.approx(
            [v for pair in zip(median, largest, strict=True) for v in pair], abs=0.11
        )
