"""The 24-patch chart and a lone grey card are found by themselves: in every still of the sample scout, and
nowhere where there is none.

Truth: sample_frames/truth.json, from the scene's geometry.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.encodings import SRGB
from lookdev.stills.reader import read_still
from lookdev.stills.still import Still
from lookdev.stills.writer import write_still
from lookdev.survey.card import find_card, find_neutral
from lookdev.survey.chart import find_grey
from lookdev.survey.patch import patch_xy
from lookdev.survey.resolve import patch_of

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


def painted_over(still: Still, *boxes: tuple[int, ...]) -> Still:
    """The still with boxes x, y, w, h in the colour of what lies up and left of them."""
    pixels = still.pixels.copy()
    for x, y, w, h in boxes:
        pixels[y : y + h, x : x + w] = pixels[max(0, y - 3), max(0, x - 3)]
    return replace(still, pixels=pixels)


def around(boxes: list[list[int]], margin: int) -> tuple[int, int, int, int]:
    left, top = (min(box[i] for box in boxes) - margin for i in (0, 1))
    right, bottom = (max(box[i] + box[i + 2] for box in boxes) + margin for i in (0, 1))
    return left, top, right - left, bottom - top


ALONE = [name for name in STILLS if name[:2] in ("01", "04", "06", "10", "12")]


@pytest.mark.parametrize("name", ALONE)
def test_a_lone_grey_card_is_found_and_nothing_else(name: str) -> None:
    """The chart is painted over, then the card too. So in all fifteen, of which these take their time."""
    still, boxes = read_still(FRAMES / name), STILLS[name]
    alone = painted_over(still, around(list(boxes["chart"].values()), 6))
    found = find_card(alone)
    assert found is not None and found.name == "grey card"
    x, y, w, h = found.grey_box
    left, top, wide, high = boxes["grey_card"]
    assert left <= x and x + w <= left + wide and top <= y and y + h <= top + high
    assert w * h > 0.2 * wide * high
    truth = patch_xy(still, (left, top, wide, high))
    assert patch_xy(still, found.grey_box) == pytest.approx(truth, abs=0.002)
    assert find_card(painted_over(alone, around([boxes["grey_card"]], 12))) is None


def test_chart_stands_for_the_card_where_there_is_no_chart() -> None:
    name = ALONE[2]
    still, boxes = read_still(FRAMES / name), STILLS[name]
    alone = painted_over(still, around(list(boxes["chart"].values()), 6))
    box, words = patch_of("chart", alone)
    assert words == ", grey card found in the picture"
    assert box == find_card(alone).grey_box  # type: ignore[union-attr]


@pytest.mark.parametrize("edit", ["coloured", "clipped", "two", "faint", "textured"])
def test_what_only_looks_like_a_card_is_none(tmp_path: Path, edit: str) -> None:
    """A drawn card is found; of another colour, white, one of two, faint or patterned, it is not."""
    rng = np.random.default_rng(2)

    def drawn(
        level: tuple[float, ...], *, twice: bool = False, wall: float = 40, pattern: float = 0.0
    ) -> Still:
        light = np.full((600, 900, 3), wall, dtype=np.float64)
        light[400:] = 200
        light[:, :80] = (120, 110, 100)
        for left in (300, 500)[: 1 + twice]:
            light[150:270, left : left + 100] = level
            light[150:270, left : left + 100] += pattern * (np.arange(100) // 12 % 2)[None, :, None]
        noisy = np.clip(light + rng.normal(0, 0.8, light.shape), 0, 255).round().astype(np.uint8)
        write_still(tmp_path / "drawn.png", noisy, SRGB)
        return read_still(tmp_path / "drawn.png")

    grey = (118.0, 118.0, 118.0)
    found = find_card(drawn(grey))
    assert found is not None and abs(found.grey_box[0] + found.grey_box[2] / 2 - 350) < 4
    made = {
        "coloured": lambda: drawn((160.0, 110.0, 60.0)),
        "clipped": lambda: drawn((255.0, 255.0, 255.0)),
        "two": lambda: drawn(grey, twice=True),
        "faint": lambda: drawn(grey, wall=108),
        "textured": lambda: drawn(grey, pattern=25.0),
    }
    assert find_card(made[edit]()) is None


REAL = FRAMES.parent.parent / "shared" / "real_stills"


@pytest.mark.skipif(not REAL.is_dir(), reason="the real stills are not part of the repository")
def test_nothing_is_found_in_real_stills_without_a_chart_or_card() -> None:
    for path in sorted(REAL.glob("*.jpg")):
        assert find_neutral(read_still(path)) is None, path.name
