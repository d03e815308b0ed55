"""``[skin]``: what it holds, what it catches, and that no edge shows.

Skins: the six of ``colorimetry.skins``, and the measured CES15 and CES18 (IES TM-30-20 / CIE 224:2017) and
TCS15 (CIE 2024), as colour-science carries them. Surfaces: the sample scout's own (truth.json: a chart as
published, its walls), and the Munsell notations of which the scout's brick, wood and sand-coloured boards are
made; those of dry sand are common practice of soil charts. Illuminants: CIE 15:2018.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.make_skin_reflectances import WAVELENGTHS_NM, measured_skins
from lookdev.colorimetry.munsell_notation import parse_notation, xyz_from_munsell
from lookdev.colorimetry.oklab import oklab_from_working
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.colorimetry.skins import skin_names, skin_reflectances, skin_wavelengths_nm
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline
from lookdev.looks.rendering import render_curve
from lookdev.looks.stages.balance import Cast
from lookdev.looks.stages.base import Metered
from lookdev.looks.stages.skin import skin_weight
from lookdev.looks.steps import join, run
from lookdev.looks.toml_file import load_look
from lookdev.paint.seams import seam_words, skin_seam
from lookdev.paint.spectra import illuminant_weights, on_grid

SRGB, LOG = get_encoding("sRGB"), get_encoding("ACEScct")
ROOT = Path(__file__).parents[2]
TRUTH = ROOT / "sample_frames" / "truth.json"


def scene(reflectance: np.ndarray, lamp: str = "D65") -> np.ndarray:
    """Scene light of reflectances (..., 85) in a camera balanced to the lamp, white at 1."""
    weights = illuminant_weights(lamp)
    white = weights.sum(axis=0)
    balanced = weights @ adaptation_matrix((white[0] / white.sum(), white[1] / white.sum()), D65_XY).T
    return np.asarray(reflectance @ balanced @ WORKING.from_xyz.T / balanced[:, 1].sum())


MODELS = dict(zip(skin_names(), on_grid(skin_wavelengths_nm(), skin_reflectances()), strict=True))
SKINS = {
    **MODELS,
    **{name: on_grid(WAVELENGTHS_NM, values) for name, values in measured_skins().items()},
}
LOOKS = {
    "nearly monochrome": {"colour": {"saturation": 0.05}},
    "drained": {"colour": {"saturation": 0.38}},
    "cold": {"balance": {"mired": -35}},
    "warm": {"balance": {"mired": 35}},
    "green": {"balance": {"duv": 0.008}},
}


def look(parameters: dict, **skin: float) -> Look:
    return Look.model_validate({"title": "t", **parameters, "skin": skin})


def through(one: Look, colours: np.ndarray) -> np.ndarray:
    return run(join(one.steps(Metered())), colours)


def chroma_and_hue(colours: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    lab = oklab_from_working(colours)
    return np.hypot(lab[..., 1], lab[..., 2]) / lab[..., 0], np.degrees(np.arctan2(lab[..., 2], lab[..., 1]))


def test_at_its_defaults_nothing_changes_to_the_bit() -> None:
    codes = np.random.default_rng(1).random((4096, 3))
    for parameters in LOOKS.values():
        plain = Pipeline(Look.model_validate({"title": "t", **parameters}), SRGB, SRGB)
        assert np.array_equal(Pipeline(look(parameters), SRGB, SRGB)(codes), plain(codes))


def test_a_look_without_colour_of_its_own_has_nothing_to_hold() -> None:
    """Exposure, the kept cast and the curve go on; the same steps, to the bit: footage, whose rendering
    leaves skin its colour, and a still without an exposure or a curve."""
    codes = np.random.default_rng(2).random((4096, 3))
    parameters = {"exposure": {"stops": 0.5}, "balance": {"keep": 0.4}, "curve": {"contrast": 1.2}}
    cast = Cast((0.45, 0.41), (0.3127, 0.329))
    plain = Pipeline(Look.model_validate({"title": "t", **parameters}), LOG, SRGB, cast)
    assert np.array_equal(Pipeline(look(parameters, hold=0.8), LOG, SRGB, cast)(codes), plain(codes))
    parameters = {"balance": {"keep": 0.4}}
    plain = Pipeline(Look.model_validate({"title": "t", **parameters}), SRGB, SRGB, cast)
    assert np.array_equal(Pipeline(look(parameters, hold=0.8), SRGB, SRGB, cast)(codes), plain(codes))
    assert Pipeline(look({}, hold=0.8), SRGB, SRGB).is_identity


def shown(scene_light: np.ndarray) -> np.ndarray:
    """Oklab of scene light in a still: rendered by channels, as cameras do."""
    return oklab_from_working(render_curve(scene_light))


def test_brightening_a_still_does_not_bleach_held_skin() -> None:
    """Rendering by channels takes colour out of what is light: 0.8 stops more leave the lightest skin 0.80 of
    its chroma over lightness, and the darkest all; held, the still's own is nearly kept."""
    skins = scene(np.stack(list(MODELS.values())))

    def left(hold: float, stops: float) -> np.ndarray:
        one = look({"exposure": {"stops": stops}}, hold=hold)
        after = shown(run(join(one.steps(Metered(source=SRGB))), skins))
        before = shown(skins)
        ratios = [np.hypot(lab[:, 1], lab[:, 2]) / lab[:, 0] for lab in (after, before)]
        return np.asarray(ratios[0] / ratios[1])

    bleached, half, held = (left(hold, 0.8) for hold in (0.0, 0.5, 1.0))
    print(bleached.round(2), half.round(2), held.round(2))
    assert bleached.min() < 0.81 and bleached.max() / bleached.min() > 1.2
    assert held.min() > 0.9 and held.max() < 1.08 and held.max() / held.min() < 1.15
    assert np.all((half - bleached) * (held - half) >= 0)
    darker = [left(hold, -0.8) for hold in (0.0, 1.0)]
    assert np.abs(darker[1] - darker[0]).max() < 0.04  # a darker still gets back what its camera took


def test_what_a_still_gets_back_fades_out_of_skin_without_a_seam() -> None:
    for stops in (-1.0, 0.5, 1.0):
        for curve in ({}, {"contrast": 1.2, "toe": 0.3, "shoulder": 0.4}):
            one = {"exposure": {"stops": stops}, "curve": curve}
            alone = skin_seam(look(one))  # 1.63 by a stop more, of strong colours
            assert skin_seam(look(one, hold=0.8)) <= max(1.5, 1.02 * alone)


@pytest.mark.parametrize("lamp", ["D65", "D50", "FL11", "LED-B3"])
def test_every_skin_is_held(lamp: str) -> None:
    """In light in which skin looks as by day, all the complexions alike, from shade to sun."""
    names = [*MODELS, "CES15", "CES18", "TCS15"]
    weights = np.array([[skin_weight(scene(SKINS[n], lamp) * 2.0**s) for s in (-2, 0, 1)] for n in names])
    print(lamp, dict(zip(names, weights.min(axis=1).round(2), strict=True)))
    assert weights.min() > 0.85
    assert weights[:, 1].min() > 0.93


@pytest.mark.parametrize("name", LOOKS)
@pytest.mark.parametrize("hold", [0.0, 0.3, 0.6, 1.0])
def test_the_share_that_is_held_is_what_is_asked_for(name: str, hold: float) -> None:
    """Chroma of each skin: its share of what the look takes is given back, exposure and curve go on."""
    skins = scene(np.stack(list(MODELS.values())))
    held = oklab_from_working(through(look(LOOKS[name], hold=hold), skins))
    graded = oklab_from_working(through(look(LOOKS[name]), skins))
    stood = oklab_from_working(skins)
    stood *= held[:, :1] / stood[:, :1]
    got = np.sum((held - graded)[:, 1:] * (stood - graded)[:, 1:], axis=1)
    share = got / np.sum((stood - graded)[:, 1:] ** 2, axis=1)
    assert np.allclose(held[:, 0], graded[:, 0], atol=1e-9)
    assert np.all(share <= hold + 1e-9) and np.all(share >= 0.94 * hold)


def test_a_cold_look_leaves_skin_its_hue() -> None:
    skins = scene(np.stack(list(MODELS.values())))
    cold = {"balance": {"mired": -45}, "colour": {"saturation": 0.7}}
    _, stood = chroma_and_hue(skins)
    _, dead = chroma_and_hue(through(look(cold), skins))
    _, alive = chroma_and_hue(through(look(cold, hold=0.7), skins))
    assert np.abs(dead - stood).max() > 20
    assert np.abs(alive - stood).max() < 10
    grey = np.full((1, 3), 0.18)
    assert np.allclose(through(look(cold, hold=0.7), grey), through(look(cold), grey))  # the light stays cold


# No edge


@pytest.mark.parametrize("name", LOOKS)
def test_no_seam(name: str) -> None:
    """At the hold of 0.6: no step over 1.5 times the ramp's own."""
    assert skin_seam(look(LOOKS[name], hold=0.6)) <= 1.5


@pytest.mark.parametrize("path", sorted((ROOT / "looks").glob("*.toml")), ids=lambda path: path.stem)
def test_no_seam_in_a_shipped_look(path: Path) -> None:
    one = load_look(path)
    print(path.stem, round(skin_seam(one), 2))
    assert skin_seam(one) <= 1.5 and seam_words(one) is None


def test_no_seam_in_daylight() -> None:
    assert skin_seam(look({}, daylight=0.5)) <= 1.5


def test_a_seam_is_told_with_the_hold_that_leaves_none() -> None:
    far = {"balance": {"mired": -45}}
    told = seam_words(look(far, hold=1.0))
    assert told is not None and "can be seen as a seam" in told
    better = float(re.findall(r"hold = ([0-9.]+)", told)[0])
    assert 0.4 <= better < 1.0 and skin_seam(look(far, hold=better)) <= 1.5 < skin_seam(look(far, hold=1.0))
    assert seam_words(look(far)) is None
    wild = seam_words(look({"balance": {"mired": -80}}, hold=0.6))
    assert wild is not None and "without any hold" in wild


# What else it catches


def test_what_else_is_caught() -> None:
    """The table: brick, wood and sand by share of the hold. Skin comes in their colours too; they are nearest
    to it where they are palest."""
    truth = json.loads(TRUTH.read_text("utf-8"))["surfaces"]
    patches = {**truth["chart"]["reflectance"], **{n: w["reflectance"] for n, w in truth["walls"].items()}}
    wavelengths = truth["wavelengths_nm"]
    found = {n: float(skin_weight(scene(on_grid(wavelengths, r)))) for n, r in patches.items()}
    for name, notation in (
        ("brick", "2.5YR 4/5"), ("mortar", "7.5YR 6/2"), ("wood", "7.5YR 5/4"), ("dark wood", "5YR 3/3"),
        ("raw wood", "10YR 6/4"), ("boards", "10YR 6.5/3"), ("rust", "2.5YR 3/5"), ("net", "2.5YR 5/9"),
        ("dry sand", "10YR 6/3"), ("wet sand", "10YR 4/3"), ("straw", "2.5Y 7/4"),
    ):  # fmt: skip
        xyz = xyz_from_munsell(parse_notation(notation))
        found[name] = float(skin_weight(xyz @ WORKING.from_xyz.T))
    for name, weight in sorted(found.items(), key=lambda pair: -pair[1]):
        print(f"{weight:5.2f}  {name}")
    assert found["light skin"] > 0.95 and found["dark skin"] > 0.95
    neutral = [n for n in found if n.startswith(("white", "neutral", "black"))]
    assert len(neutral) == 6 and max(found[n] for n in neutral) < 0.05
    cool = ("blue sky", "foliage", "bluish green", "blue", "green", "cyan", "yellow green")
    assert max(found[n] for n in cool) < 0.01
    assert found["straw"] < 0.6 and found["cabin: upper wall"] < 0.3  # 2.5Y and on is no skin
    assert max(found[n] for n in ("red", "magenta", "yellow")) < 0.1


# The lamp's part


@pytest.mark.parametrize("lamp", ["FL2", "HP4", "A"])
def test_daylight_takes_back_what_the_lamp_did_to_hue(lamp: str) -> None:
    skins = np.stack(list(MODELS.values()))
    _, day = chroma_and_hue(scene(skins))
    _, here = chroma_and_hue(scene(skins, lamp))
    _, turned = chroma_and_hue(through(look({}, daylight=1.0), scene(skins, lamp)))
    print(lamp, (here - day).round(1), (turned - day).round(1))
    assert np.all(np.abs(turned - day) < 0.75 * np.abs(here - day))


def test_by_day_it_hardly_turns_skin() -> None:
    skins = scene(np.stack([SKINS[n] for n in SKINS]))
    _, day = chroma_and_hue(skins)
    chroma, turned = chroma_and_hue(through(look({}, daylight=1.0), skins))
    print((turned - day).round(2))
    assert np.abs(turned - day)[: len(MODELS)].max() < 1.5
    assert np.allclose(chroma, chroma_and_hue(skins)[0])
