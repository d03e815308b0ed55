"""Clipped light under a balance: ramps of a card and of brick from dark to far past the end of a JPEG.

Lamps: CIE 15:2018 chromaticities. A JPEG of ours stands in for the camera's: rendered channel by channel,
clipped.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.illuminants import illuminant_xy
from lookdev.colorimetry.oklab import oklab_from_working
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline
from lookdev.looks.rendering import render_curve
from lookdev.looks.stages.balance import resolve_balance
from lookdev.looks.steps import join, run
from lookdev.looks.toml_file import load_look

LAMPS = {"A": 3200, "HP1": 3200, "FL2": 5600, "HP4": 5600, "LED-B3": 5600, "D65": 3200, "FL11": 5600}
STOPS = np.arange(-4.0, 12.0, 0.0625)
SHIPPED = sorted((Path(__file__).resolve().parents[2] / "looks").glob("*.toml"))
KEPT = [Look.model_validate({"title": f"keep {k}", "balance": {"keep": k}}) for k in (0.0, 0.35, 0.55, 1.0)]
LOOKS = [*KEPT, *map(load_look, SHIPPED)]


def still_of(lamp: str, surface: tuple[float, float, float], clip: bool = True) -> tuple[np.ndarray, Cast]:
    """Code values (n, 3), or scene light where nothing clips, of a surface at :data:`STOPS`, and the cast."""
    x, y = illuminant_xy(lamp)
    camera = balance_white_xy(LAMPS[lamp])
    cast = Cast((float(x), float(y)), (float(camera[0]), float(camera[1])))
    px, py = cast.picture_xy
    white = np.array([px / py, 1.0, (1 - px - py) / py]) @ WORKING.from_xyz.T
    scene = white * np.array(surface) * 2.0 ** STOPS[:, None]
    return (np.clip(SRGB.from_working(render_curve(scene)), 0, 1) if clip else scene), cast


def lab_of(signal: np.ndarray) -> np.ndarray:
    return lab_from_xyz(SRGB.to_working(signal) @ WORKING.to_xyz.T, D65_XY)


@pytest.mark.parametrize("lamp", LAMPS)
@pytest.mark.parametrize("look", LOOKS, ids=lambda look: look.title)
def test_a_card_goes_to_white_as_it_clips(look: Look, lamp: str) -> None:
    codes, cast = still_of(lamp, (0.18, 0.18, 0.18))
    lab = lab_of(look.transform(SRGB, SRGB, cast)(codes))
    clips = int(np.argmax((codes >= 0.999).any(axis=1)))
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    least = np.minimum.accumulate(chroma[clips:])
    assert np.all(chroma[clips:] <= least + 0.5)  # half a unit of CIELAB chroma: what 8 bits would hide
    assert np.all(np.diff(lab[:, 0]) > -1e-6)
    before, after = lab[clips, 1:], lab[clips:, 1:]
    crossed = (after @ before < 0) & (np.hypot(*after.T) > 1.0)
    assert not crossed.any()  # never to the complement
    white = lab[-1]
    assert ciede2000(white, np.array([white[0], 0.0, 0.0])) < 3.0


BRICK, WOOD, SKIN = (0.26, 0.155, 0.09), (0.3, 0.2, 0.12), (0.45, 0.33, 0.25)


@pytest.mark.parametrize(
    ("lamp", "surface"),
    [
        *((lamp, BRICK) for lamp in ("HP1", "A", "FL2", "LED-B3")),
        *((lamp, WOOD) for lamp in ("HP1", "A", "FL2", "LED-B3")),
        ("HP1", SKIN),  # under the others two of its channels end together
    ],
)
def test_brick_stays_brick(lamp: str, surface: tuple[float, float, float]) -> None:
    """Oklab hue of the balanced light within 15 degrees of its own, while one channel is clipped and no other
    near it. A plain matrix turns it by up to 90 degrees."""
    look = LOOKS[0]
    codes, cast = still_of(lamp, surface)
    scene, _ = still_of(lamp, surface, clip=False)
    transform = look.transform(SRGB, SRGB, cast)
    assert isinstance(transform, Pipeline)
    plain = resolve_balance(look.balance, cast).matrix.T
    true = hue_of(scene @ plain)
    one = ((codes >= 0.999).sum(axis=1) == 1) & ((codes >= 0.86).sum(axis=1) == 1)
    turned = [turn(hue_of(light), true)[one] for light in (
        run(join(transform.grade), transform.scene(codes)), transform.scene(codes) @ plain)]  # fmt: skip
    print(f"{lamp}: turned by {turned[0].max():.0f} degrees, by a plain matrix {turned[1].max():.0f}")
    assert one.sum() >= 2
    assert turned[0].max() < 15.0


def hue_of(light: np.ndarray) -> np.ndarray:
    lab = oklab_from_working(light)
    return np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))


def turn(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.abs((one - other + 180) % 360 - 180)


def test_nothing_changes_where_nothing_is_full() -> None:
    codes = np.random.default_rng(8).uniform(0, 0.859, (4000, 3))
    _, cast = still_of("HP1", (0.18, 0.18, 0.18))
    look = LOOKS[1]
    transform = look.transform(SRGB, SRGB, cast)
    assert isinstance(transform, Pipeline)
    scene = transform.scene(codes)
    plain = scene @ resolve_balance(look.balance, cast).matrix.T
    np.testing.assert_allclose(run(join(transform.grade), scene), plain, rtol=1e-9, atol=1e-9)


def test_it_sets_in_smoothly() -> None:
    """C1: along ramps of codes the slope makes no jump that grows as the ramp is looked at more closely."""
    _, cast = still_of("HP1", (0.18, 0.18, 0.18))
    transform = LOOKS[0].transform(SRGB, SRGB, cast)
    assert isinstance(transform, Pipeline)
    rng = np.random.default_rng(9)
    for _ in range(40):
        start, end = rng.uniform(0.3, 1, (2, 3))
        jumps = []
        for count in (2001, 8001):
            t = np.linspace(0, 1, count)[:, None]
            scene = run(join(transform.grade), transform.scene(start + t * (end - start)))
            slope = np.diff(scene, axis=0) * (count - 1)
            jumps.append(np.abs(np.diff(slope, axis=0)).max())
        assert jumps[1] < 0.5 * jumps[0] + 1e-6
