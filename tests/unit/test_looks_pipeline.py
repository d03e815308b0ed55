"""The one look function: identity, agreement between encodings, no NaN, pickling."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.encodings import BT709, DISPLAY_P3, SRGB, encoding_names, get_encoding
from lookdev.colorimetry.rgb_spaces import D65_XY
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline, shared_transform
from lookdev.looks.signal import brightest
from lookdev.looks.stages.base import Metered
from lookdev.looks.steps import Step, join, run
from lookdev.looks.toml_file import find_looks, load_look
from lookdev.render.reference import grade_reference, to_codes

LOOKS = find_looks([Path(__file__).parents[2] / "looks"])
SODIUM = Cast((0.533, 0.415), (0.3324, 0.3474), "HP1 under daylight balance")
FAMILIES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
EXTREME = Look.model_validate(
    {
        "title": "everything at its end",
        "exposure": {"stops": 10.0},
        "balance": {"keep": 0.0, "mired": 300.0, "duv": 0.05},
        "curve": {"contrast": 3.0, "toe": 1.0, "shoulder": 1.0, "black": 0.1, "pivot": 0.02},
        "colour": {
            "saturation": 3.0,
            "families": {f: {"hue_deg": 60.0, "chroma": 4.0, "lightness": 0.3} for f in FAMILIES},
        },
        "tone": [
            {"at_stops": -8.0, "reach_stops": 12.0, "towards": "5B", "chroma": 0.15},
            {"at_stops": 8.0, "reach_stops": 1.0, "towards": "5YR", "chroma": 0.15},
        ],
        "cdl": {"slope": [16.0] * 3, "offset": [-4.0] * 3, "power": [16.0] * 3, "saturation": 4.0},
    }
)


class LongWay(Look):
    """The identity look with its short cut taken out."""

    def steps(self, metered: Metered) -> tuple[Step, ...]:
        return (Step(lambda x, y, z: None),)


@pytest.mark.parametrize("kind", [Look, LongWay])
def test_identity_gives_back_all_of_the_8_bit_colours(kind: type[Look]) -> None:
    # 2^24 colours, a plane of red at a time; the long way goes through decode, lift, rendering, encode
    pipeline = Pipeline(kind(title="as it stood"), SRGB, SRGB, SODIUM)
    assert bool(pipeline.steps) == (kind is LongWay)
    assert pipeline.limit == 1.0
    green, blue = np.meshgrid(np.arange(256, dtype=np.uint8), np.arange(256, dtype=np.uint8), indexing="ij")
    for red in range(256):
        plane = np.stack([np.full_like(green, red), green, blue], axis=-1)
        assert np.array_equal(grade_reference(plane, pipeline), plane), f"red {red}"


@pytest.mark.parametrize("name", encoding_names())
def test_identity_in_every_encoding(name: str) -> None:
    encoding = get_encoding(name)
    signal = np.random.default_rng(1).uniform(0, 1, (2000, 3))
    top = brightest(encoding)  # of PQ the code of its peak, else 1
    wanted = np.minimum(signal, top) if top < 1.0 else signal
    assert np.array_equal(Pipeline(Look(title="as it stood"), encoding, encoding)(signal), wanted)
    if encoding.state == "scene":  # the long way too, to a 16-bit code
        back = Pipeline(LongWay(title="as it stood"), encoding, encoding)(signal)
        assert np.abs(back - signal).max() < 0.5 / 65535


VALUES = np.array(
    [
        -3e38,
        -65504.0,
        -10.0,
        -1.0,
        -1e-3,
        -1e-300,
        -0.0,
        0.0,
        1e-300,
        1e-9,
        1e-3,
        0.18,
        1.0,
        50.0,
        65504.0,
        3e38,
    ]
)
GRID = np.stack(np.meshgrid(VALUES, VALUES, VALUES, indexing="ij"), axis=-1).reshape(-1, 3)


@pytest.mark.parametrize("name", encoding_names())
@pytest.mark.parametrize("look", [EXTREME, load_look(LOOKS[-1])], ids=lambda look: look.title)
def test_no_nan_from_any_finite_value_in_any_encoding(name: str, look: Look) -> None:
    encoding = get_encoding(name)
    with np.errstate(all="ignore"):
        shown = Pipeline(look, encoding, SRGB, SODIUM)(GRID)
        logged = Pipeline(look, get_encoding("Linear BT.2020"), encoding, SODIUM)(GRID)
    assert not np.isnan(shown).any()
    assert shown.min() >= 0
    assert shown.max() <= 1
    assert not np.isnan(logged).any()


@pytest.mark.parametrize("path", LOOKS, ids=lambda p: p.stem)
@pytest.mark.parametrize("cast", [None, SODIUM], ids=["unmetered", "sodium"])
def test_looks_of_ours(path: Path, cast: Cast | None) -> None:
    look = load_look(path)
    pipeline = Pipeline(look, SRGB, SRGB, cast)
    grey = np.repeat(np.arange(256)[:, None] / 255, 3, axis=1)
    out = pipeline(grey)
    luma = SRGB.to_working(out)[:, 1]
    assert np.all(np.diff(luma) > -1e-6)  # a grey ramp never turns back
    twin = pickle.loads(pickle.dumps(pipeline))
    assert np.array_equal(twin(grey), out)
    assert twin.is_identity == pipeline.is_identity
    assert np.abs(pipeline(grey[7]) - out[7]).max() < 1e-14  # one colour alone as among others
    assert pipeline(np.empty((0, 3))).shape == (0, 3)


def test_one_colour_of_two_encodings_is_graded_alike() -> None:
    look = load_look(LOOKS[-1])
    srgb = np.random.default_rng(5).uniform(0, 0.85, (5000, 3))  # what is full in one is not in the other
    p3 = DISPLAY_P3.from_working(SRGB.to_working(srgb))
    # before the gamut limit, which each takes from its own input cube
    one, two = Pipeline(look, SRGB, SRGB, SODIUM), Pipeline(look, DISPLAY_P3, SRGB, SODIUM)
    steps = join(one.grade)
    assert np.abs(run(steps, one.scene(srgb)) - run(join(two.grade), two.scene(p3))).max() < 1e-9
    two.limit = one.limit
    assert np.abs(one(srgb) - two(p3)).max() < 1e-6


def test_a_log_still_and_a_display_still_of_one_scene_agree() -> None:
    look = Look.model_validate({"title": "x", "curve": {"contrast": 1.2}, "exposure": {"stops": 0.5}})
    log = get_encoding("ACEScct")
    srgb = np.random.default_rng(6).uniform(0.05, 0.8, (500, 3))
    still, frame = Pipeline(look, SRGB, SRGB), Pipeline(look, log, SRGB)
    scene = still.scene(srgb)
    signal = log.from_working(scene)
    graded = run(join(frame.grade), frame.scene(signal))
    assert np.abs(graded - run(join(still.grade), scene)).max() < 1e-9


def test_a_stop_on_a_jpeg_rolls_into_the_shoulder() -> None:
    pipeline = Pipeline(Look.model_validate({"title": "x", "exposure": {"stops": 1.0}}), SRGB, SRGB)
    out = pipeline(np.full((1, 3), 0.9))
    assert 0.9 < float(out[0, 1]) < 1.0  # a plain factor of two would have clipped


def test_codes_round_half_up() -> None:
    assert to_codes(np.array([0.5 / 255, 0.499 / 255, -1.0, 2.0]), 8).tolist() == [1, 0, 0, 255]
    assert to_codes(np.array([1.0]), 16).tolist() == [65535]


def test_a_shared_transform_is_of_the_same_look_and_light_alone() -> None:
    look = Look.model_validate({"title": "one", "curve": {"contrast": 1.2}})
    cast = Cast((0.45, 0.41), D65_XY)
    one = shared_transform(look, SRGB, SRGB, cast, 0.5)
    assert shared_transform(look.model_copy(), SRGB, SRGB, Cast((0.45, 0.41), D65_XY), 0.5) is one
    other = Look.model_validate({"title": "one", "curve": {"contrast": 1.3}})
    for made in (
        shared_transform(other, SRGB, SRGB, cast, 0.5), shared_transform(look, SRGB, SRGB, None, 0.5),
        shared_transform(look, SRGB, SRGB, cast), shared_transform(look, SRGB, BT709, cast, 0.5),
    ):  # fmt: skip
        assert made is not one
    assert np.array_equal(one([0.2, 0.4, 0.6]), look.transform(SRGB, SRGB, cast, 0.5)([0.2, 0.4, 0.6]))
