"""Looks learned from frames that other programs graded, seen on frames that were held back.

The graders: ffmpeg's filters (imageio-ffmpeg's binary) and Pillow's ImageEnhance, ImageOps and Image.convert,
each named below with the settings used. CIEDE2000 by ``colorimetry.difference`` (Sharma 2005).

The goal (issue on developing a look): by keys alone a mean of at most 1.5, with the rest at most 0.8 and a
95th percentile of at most 2.5. Missed by keys alone, and marked so: colorbalance at these settings (1.77,
with the rest 0.7 and 2.4) and selectivecolor (1.56; 0.6, 1.6), by the darkest frame of four, the loading
dock's office: a third of it is darker than code 0.3, of the two frames learned from 0.3% is darker than half
of that. Learned from the pixels of the four themselves the same keys reach 1.2 and 1.1.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageEnhance, ImageOps

from lookdev.colorimetry.encodings import SRGB
from lookdev.looks.learn.colours import Colours, differences, graded, joined
from lookdev.looks.learn.fit import fit
from lookdev.looks.learn.pairs import Picture, make_pair
from lookdev.looks.learn.rest import beyond, learn_rest, rest_differences

Pixels = NDArray[np.uint8]

FRAMES = Path(__file__).parents[2] / "sample_frames"
LEARNED_FROM = ("01_ferry_hall_wide.jpg", "14_harbour_office_room.jpg")
HELD_BACK = (
    "05_loading_dock_office.jpg",
    "06_net_loft_gable.jpg",
    "11_car_deck_side.jpg",
    "12_chart_room_table.jpg",
)


def ffmpeg(filters: str) -> Callable[[Pixels], Pixels]:
    def grade(frame: Pixels) -> Pixels:
        height, width, _ = frame.shape
        raw = ("-f", "rawvideo", "-pix_fmt", "rgb24")
        command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", *raw, "-s", f"{width}x{height}", "-i", "-"]
        done = subprocess.run(
            [*command, "-vf", filters, *raw, "-"], input=frame.tobytes(), stdout=-1, check=True
        )
        return np.frombuffer(done.stdout, np.uint8).reshape(frame.shape)

    return grade


def pillow(change: Callable[[Image.Image], Image.Image]) -> Callable[[Pixels], Pixels]:
    return lambda frame: np.asarray(change(Image.fromarray(frame)))


GRADERS: dict[str, Callable[[Pixels], Pixels]] = {
    "eq": ffmpeg("eq=contrast=1.18:brightness=-0.04:saturation=0.72:gamma=1.05:gamma_b=1.1"),
    "colorbalance": ffmpeg("format=gbrp,colorbalance=rs=-.15:bs=.15:rm=.05:gm=-.03:bm=-.05:rh=.12:bh=-.12"),
    "curves": ffmpeg("format=gbrp,curves=m='0/0.03 0.25/0.2 0.75/0.8 1/0.97':b='0/0.05 0.5/0.5 1/0.93'"),
    "huesaturation": ffmpeg(
        "format=gbrp,huesaturation=hue=8:saturation=-0.3:colors=r+y,huesaturation=saturation=0.3:colors=b+c"
    ),
    "colorchannelmixer": ffmpeg(
        "format=gbrp,colorchannelmixer=rr=.9:rg=.15:rb=-.05:gr=.05:gg=.9:gb=.05:br=.1:bg=.05:bb=.8"
    ),
    "hue": ffmpeg("hue=h=12:s=0.8"),
    "colortemperature": ffmpeg("format=gbrp,colortemperature=temperature=4800:mix=1"),
    "colorlevels": ffmpeg("format=gbrp,colorlevels=rimin=0.03:gimin=0.02:romax=0.95:bomax=0.9:bomin=0.04"),
    "selectivecolor": ffmpeg(
        "format=gbrp,selectivecolor=reds='.1 -.15 -.2 .05':neutrals='.06 0 -.08 0':blues='.2 .1 -.1 0'"
        ":blacks='.1 0 -.12 .1'"
    ),
    "vibrance": ffmpeg("format=gbrp,vibrance=intensity=0.8"),
    "exposure": ffmpeg("format=gbrpf32le,exposure=exposure=0.4:black=0.02,format=gbrp"),
    "monochrome": ffmpeg("monochrome=cb=.1:cr=-.1:size=1.2"),
    "Pillow, colour": pillow(lambda image: ImageEnhance.Color(image).enhance(0.5)),
    "Pillow, toned": pillow(
        lambda image: ImageOps.colorize(image.convert("L"), "#0a0806", "#fff4e0", mid="#8a7050")
    ),
    "Pillow, matrix": pillow(
        lambda image: image.convert("RGB", (1.05, 0.1, -0.1, 4, -0.05, 1.0, 0.0, 2, 0.0, 0.15, 0.75, 12))
    ),
}
BY_KEYS_MISSED = {"colorbalance", "selectivecolor"}


def frame(name: str) -> Pixels:
    with Image.open(FRAMES / name) as image:
        small = image.convert("RGB")
        small.thumbnail((480, 480), Image.Resampling.LANCZOS)
        return np.asarray(small)


def pixels(before: Pixels, after: Pixels) -> Colours:
    one, two = (np.asarray(p[::2, ::2].reshape(-1, 3) / 255.0) for p in (before, after))
    return Colours(SRGB, SRGB, one, two, np.full(len(one), 1.0 / len(one)))


@cache
def held_back(name: str) -> tuple[float, float, float, float]:
    """CIEDE2000 on frames not learned from: mean as it stood, by keys, with the rest, and its 95%."""
    grade = GRADERS[name]
    pairs = []
    for each in LEARNED_FROM:
        before = frame(each)
        after = grade(before)
        pairs.append(make_pair(Picture(before / 255.0, SRGB, each), Picture(after / 255.0, SRGB, each)))
    several = [beyond(each) for each in joined([pair.colours for pair in pairs])]
    fitted = fit(several)
    offsets = learn_rest(fitted.look, several)
    rows = []
    for each in HELD_BACK:
        before = frame(each)
        seen = pixels(before, grade(before))
        alone, both = (
            differences(graded(fitted.look, seen), seen),
            rest_differences(fitted.look, offsets, seen),
        )
        rows.append(
            (differences(seen.before, seen).mean(), alone.mean(), both.mean(), np.percentile(both, 95))
        )
    untouched, alone, both, most = np.mean(rows, axis=0)
    print(f"\n{name}: {untouched:.2f} before, {alone:.2f} by keys, {both:.2f} with the rest, 95th {most:.2f}")
    return float(untouched), float(alone), float(both), float(most)


@pytest.mark.parametrize("name", GRADERS)
def test_with_the_rest(name: str) -> None:
    _, _, both, most = held_back(name)
    assert both <= 0.8
    assert most <= 2.5


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(n, marks=pytest.mark.xfail(strict=True, reason="1.77 and 1.56: frames without darks"))
        if n in BY_KEYS_MISSED
        else n
        for n in GRADERS
    ],
)
def test_by_keys_alone(name: str) -> None:
    assert held_back(name)[1] <= 1.5
