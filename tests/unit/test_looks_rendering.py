"""The rendering of light that no camera has rendered: hue and chroma held, lamps that roll off, a peak."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000, lab_from_working, lab_from_xyz
from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.oklab import oklab_from_working, working_from_oklab
from lookdev.colorimetry.rgb_spaces import ACES_AP1, BT709, D65_XY, WORKING, matrix_between
from lookdev.colorimetry.skins import skin_reflectances
from lookdev.looks.model import Look
from lookdev.looks.rendering import SCENE_WHITE, render_curve, show_light
from lookdev.looks.toml_file import load_look

LOOKS = sorted((Path(__file__).resolve().parents[2] / "looks").glob("*.toml"))


def chroma_and_hue(rgb: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    lab = lab_from_working(rgb)
    return np.hypot(lab[..., 1], lab[..., 2]), np.degrees(np.arctan2(lab[..., 2], lab[..., 1]))


@cache
def skins_in_daylight() -> np.ndarray:
    """Scene light (6, 3) of the model skins under D65, by a spectral sum of this test's own."""
    colour = colour_science()
    shape = colour.SpectralShape(380, 780, 5)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    xyz = (skin_reflectances() * light) @ observer / (light @ observer[:, 1])
    return np.asarray(xyz @ WORKING.from_xyz.T)


def test_greys_go_along_the_one_curve() -> None:
    greys = np.concatenate([[0.0, -0.05], 0.18 * 2.0 ** np.arange(-10, 8, 0.25)])
    shown = show_light(np.repeat(greys[:, None], 3, axis=1))
    np.testing.assert_allclose(shown, np.repeat(render_curve(greys)[:, None], 3, axis=1), atol=1e-9)


def test_skin_keeps_its_chroma_and_its_hue() -> None:
    """Issue: at most 5% lost below 60% of display white, hue within 2 degrees (CIELAB)."""
    before, turned = chroma_and_hue(skins_in_daylight())
    after, hue = chroma_and_hue(show_light(skins_in_daylight()))
    print("chroma kept", np.round(after / before, 3), "hue", np.round(hue - turned, 2))
    assert np.all(after > 0.95 * before)
    assert np.all(np.abs(hue - turned) < 2.0)


def test_mid_tones_all_round_keep_chroma_and_hue() -> None:
    """Oklab hues all round, of surfaces' chroma, shown at up to 60% of white."""
    angle = np.radians(np.arange(0, 360, 5.0))
    for lightness in np.cbrt([0.05, 0.1, 0.18, 0.3, 0.45, 0.6]):
        for chroma in (0.03, 0.06):
            lab = np.stack(
                [np.full_like(angle, lightness), chroma * np.cos(angle), chroma * np.sin(angle)], -1
            )
            shown = oklab_from_working(show_light(working_from_oklab(lab)))
            kept = np.hypot(shown[:, 1], shown[:, 2]) / chroma
            assert kept.min() > 0.95, (lightness, chroma, kept.min())
            turn = np.angle(np.exp(1j * (np.arctan2(shown[:, 2], shown[:, 1]) - angle)), deg=True)
            assert np.abs(turn).max() < 0.1


def test_lightness_rises_and_nothing_is_no_number() -> None:
    rng = np.random.default_rng(5)
    base = rng.normal(size=(300, 3)) * 0.3 + 0.2
    shown = np.stack([show_light(base * 2.0**stops) for stops in np.arange(-6, 10, 0.25)])
    assert np.all(np.isfinite(shown))
    bright = base.min(axis=1) > 0
    lightness = oklab_from_working(shown)[..., 0][:, bright]
    assert np.all(np.diff(lightness, axis=0) > 0)


@pytest.mark.parametrize("look", [*LOOKS, None], ids=lambda p: p.stem if p else "plain")
def test_lamps_roll_off_evenly(look: Path | None) -> None:
    """At most 0.5 CIEDE2000 a 64th of a stop, all round the hues, up to 8 stops over mid grey."""
    source, target = get_encoding("ACEScct"), get_encoding("BT.709")
    made = load_look(look) if look else Look(title="plain")
    transform = made.transform(source, target)
    stops = np.arange(-2, 8, 1 / 64.0)
    worst = 0.0
    for hue in np.radians(np.arange(0, 360, 15.0)):
        for chroma in (0.05, 0.1, 0.15, 0.2):
            base = working_from_oklab([np.cbrt(0.18), chroma * np.cos(hue), chroma * np.sin(hue)])
            if base.min() < -0.02:
                continue
            light = base * (2.0**stops)[:, None]
            shown = target.to_working(transform(source.from_working(light)))
            lab = lab_from_xyz(shown @ WORKING.to_xyz.T, D65_XY)
            worst = max(worst, float(ciede2000(lab[1:], lab[:-1]).max()))
    print(f"{look.stem if look else 'plain'}: largest step {worst:.2f}")
    assert worst < 0.5


def lamps() -> np.ndarray:
    """Lights (n, 3), linear BT.2020: round the edges of BT.709, BT.2020 and AP1, with each corner, and single
    wavelengths, by the CIE 1931 observer as colour-science has it."""
    turn = np.arange(48) / 8
    ring = np.clip(np.stack([abs(turn - 3) - 1, 2 - abs(turn - 2), 2 - abs(turn - 4)], axis=-1), 0, 1)
    edges = [ring @ matrix_between(space, WORKING).T for space in (BT709, WORKING, ACES_AP1)]
    observer = colour_science().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    lines = observer[np.arange(430.0, 681.0, 10.0)]
    lines /= np.maximum(lines[:, 1:2], 0.25 * lines.max(axis=1, keepdims=True))
    return np.concatenate([*edges, lines @ WORKING.from_xyz.T])


@pytest.mark.parametrize("look", [*LOOKS, None], ids=lambda p: p.stem if p else "plain")
@pytest.mark.parametrize("ends", [("ACEScct", "BT.709"), ("S-Log3 S-Gamut3.Cine", "PQ")])
def test_the_purest_lamps_roll_off_evenly(look: Path | None, ends: tuple[str, str]) -> None:
    """The corner of BT.709's blue took a leap of 3.2, a blue line of the spectrum one of 25: its negative
    green outweighed the channels that the shoulder held back."""
    source, target = (get_encoding(name) for name in ends)
    transform = (load_look(look) if look else Look(title="plain")).transform(source, target)
    light = 0.18 * lamps()[:, None] * (2.0 ** np.arange(-2, 8, 1 / 64.0))[:, None]
    lab = lab_from_xyz(target.to_working(transform(source.from_working(light))) @ WORKING.to_xyz.T, D65_XY)
    steps = ciede2000(lab[:, 1:], lab[:, :-1])
    print(f"{look.stem if look else 'plain'}: largest step {steps.max():.2f}")
    assert steps.max() <= 0.5


@pytest.mark.parametrize("peak_cd_m2", [600.0, 1000.0, 4000.0])
def test_a_peak_keeps_highlights_apart(peak_cd_m2: float) -> None:
    """ITU-R BT.2408: diffuse white at 203 cd/m2. Up to white the same picture; above it more light."""
    peak = peak_cd_m2 / 203.0
    stops = np.array([4.0, 5.0, 6.0, 7.0, 9.0])
    shown = show_light(np.repeat(0.18 * 2.0 ** stops[:, None], 3, axis=1), peak)[:, 1]
    assert shown[0] == pytest.approx(1.0, abs=1e-9)
    assert np.all(shown[1:3] / shown[:2] > 1.08)
    assert np.all(np.diff(shown) > 0) and shown[-1] < peak
    below = np.repeat(np.linspace(0.01, SCENE_WHITE, 20)[:, None], 3, axis=1)
    np.testing.assert_allclose(show_light(below, peak), show_light(below), atol=1e-12)
