"""The 24-patch chart is found by itself: in every still of the sample scout, and nowhere where there is none.

Truth: sample_frames/truth.json, from the scene's geometry.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lookdev.stills.reader import read_still
from lookdev.survey.chart import find_grey
from lookdev.survey.patch import patch_xy

FRAMES = Path(__file__).resolve().parents[2] / "sample_frames"
STILLS = {
    r["file"]: r["boxes"] for r in json.loads((FRAMES / "truth.json").read_text(encoding="utf-8"))["stills"]
}


@pytest.mark.parametrize("name", list(STILLS))
def test_every_chart_is_found_and_its_neutral_5_is_the_grey_patch(name: str) -> None:
    """What is sampled lies within the patch to 2 px, and has its chromaticity to 0.004 in x and y."""
    still = read_still(FRAMES / name)
    found = find_grey(still)
    assert found is not None
    x, y, w, h = found.grey_box
    left, top, wide, high = STILLS[name]["chart"]["neutral 5 (.70 D)"]
    print(f"{name:28} off {found.off:.3f}, {found.grey_box} in {left, top, wide, high}")
    assert left - 2 <= x and x + w <= left + wide + 2 and top - 2 <= y and y + h <= top + high + 2
    truth = patch_xy(still, (left, top, wide, high))
    assert patch_xy(still, found.grey_box) == pytest.approx(truth, abs=0.004)


@pytest.mark.parametrize("name", [n for n in STILLS if n.endswith(".jpg")])
def test_none_is_found_where_it_is_painted_over(name: str) -> None:
    """The same rooms without it: shelves, windows, tiles and panels are no charts."""
    still = read_still(FRAMES / name)
    boxes = np.array(list(STILLS[name]["chart"].values()))
    x0, y0 = boxes[:, :2].min(axis=0) - 12
    x1, y1 = (boxes[:, :2] + boxes[:, 2:]).max(axis=0) + 12
    pixels = still.pixels.copy()
    pixels[y0:y1, x0:x1] = pixels[y0 - 6 : y0 - 2, x0:x1].mean(axis=(0, 1)).astype(np.uint8)
    assert find_grey(replace(still, pixels=pixels)) is None
