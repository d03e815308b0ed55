"""A look at part strength, and looks between looks."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle.cases import LAMP, SODIUM, any_look

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.temperature import balance_white_xy, xy_from_cct
from lookdev.errors import RequestError
from lookdev.looks.cast import Cast
from lookdev.looks.mix import mixed
from lookdev.looks.model import Look
from lookdev.looks.toml_file import find_looks, load_look
from lookdev.lut.error import appearance, picture_inputs

SRGB = get_encoding("sRGB")
SHIPPED = [load_look(path) for path in find_looks([Path(__file__).parents[2] / "looks"])]
FIXED = [load_look(path) for path in find_looks([Path(__file__).parents[1] / "fixed_looks"])]
COLOURS = picture_inputs(SRGB)[:1500]


def at(look: Look, strength: float) -> Look:
    return look.model_copy(update={"strength": strength})


def shown(look: Look, cast: Cast | None = SODIUM) -> np.ndarray:
    return np.asarray(look.transform(SRGB, SRGB, cast)(COLOURS))


@pytest.mark.parametrize("look", SHIPPED, ids=lambda look: look.title)
def test_nought_is_the_identity_and_one_the_look_to_the_bit(look: Look) -> None:
    assert np.array_equal(shown(at(look, 0.0)), COLOURS)
    assert at(look, 0.0).is_identity
    assert np.array_equal(shown(at(look, 1.0)), shown(look))
    assert at(look, 1.0).acting == look
    assert mixed(look, SHIPPED[1], 0.0).model_dump(exclude={"title", "note"}) == (
        look.model_dump(exclude={"title", "note"})
    )


@pytest.mark.parametrize("look", SHIPPED, ids=lambda look: look.title)
@pytest.mark.parametrize(
    ("cast", "most"), [(None, 1.5), (LAMP, 1.0), (SODIUM, 1.0)], ids=["no lamp", "a lamp", "sodium"]
)
def test_the_distance_from_the_identity_never_falls_along_the_wedge(
    look: Look, cast: Cast | None, most: float
) -> None:
    """Under a lamp to 1: a cast that is all out can go no further, and what a warm look adds beyond that goes
    back towards the picture as it stood (Stove light under a warm lamp: by 0.06 CIEDE2000 of 13)."""
    before = appearance(COLOURS, SRGB)
    apart = [
        float(np.mean(ciede2000(appearance(shown(at(look, s), cast), SRGB), before)))
        for s in np.linspace(0.0, most, 13)
    ]
    assert np.diff(apart).min() >= 0.0
    assert look.is_identity or apart[-1] > apart[1] > 0.2


@pytest.mark.parametrize("look", [*SHIPPED, *FIXED], ids=lambda look: look.title)
@pytest.mark.parametrize("cast", [None, LAMP, SODIUM], ids=["no lamp", "a lamp", "sodium"])
def test_beyond_one_it_goes_on_away_from_the_look(look: Look, cast: Cast | None) -> None:
    """Under a lamp the picture as it stood is no measure beyond 1 (see above): what holds of every look under
    every light is that more is further from the look as it is written; and, of those shipped, which take the
    cast out, from the picture without it."""
    strengths = np.linspace(1.0, 1.5, 7)
    pictures = [appearance(shown(at(look, s), cast), SRGB) for s in strengths]
    starts = [pictures[0]]
    if look in SHIPPED:
        balanced = Look.model_validate({"title": "out", "balance": {"keep": 0.0}})
        starts.append(appearance(shown(balanced, cast), SRGB))
    for start in starts:
        apart = [float(np.mean(ciede2000(picture, start))) for picture in pictures]
        assert np.diff(apart).min() >= 0.0


def test_each_number_goes_in_the_way_natural_to_it() -> None:
    """Stops and mired straight, factors in the logarithm (0.64 by half is 0.8), hue by angle."""
    look = Look.model_validate(
        {
            "title": "all",
            "strength": 0.5,
            "exposure": {"stops": -1.0},
            "balance": {"keep": 0.2, "mired": -30.0, "duv": 0.004},
            "curve": {"contrast": 1.2, "toe": 0.5, "pivot": 0.3, "black": 0.01},
            "colour": {"saturation": 0.64, "families": {"YR": {"hue_deg": -8.0, "chroma": 2.25}}},
            "tone": [{"at_stops": -3.0, "towards": "5B", "chroma": 0.02}],
            "cdl": {"slope": [1.44, 1, 1], "offset": [0.02, 0, 0], "encoding": "sRGB"},
            "skin": {"hold": 0.6, "daylight": 0.4},
        }
    ).acting
    assert look.strength == 1.0
    assert (look.exposure.stops, look.balance.keep, look.balance.mired) == (-0.5, 0.6, -15.0)
    assert look.balance.duv == 0.002
    assert (look.curve.contrast, look.curve.pivot, look.curve.black) == (1.1, 0.3, 0.005)
    assert look.curve.contrast * look.curve.toe == pytest.approx(0.5 * 1.2 * 0.5)
    assert look.colour.saturation == pytest.approx(0.8, abs=0.001)
    assert look.colour.families.YR.hue_deg == -4.0
    assert look.colour.families.YR.chroma == pytest.approx(1.5, abs=0.003)
    assert look.tone[0].chroma == 0.01
    assert look.cdl.slope == pytest.approx((1.2, 1, 1), abs=0.001)
    assert (look.cdl.offset[0], look.cdl.encoding) == (0.01, "sRGB")
    assert (look.skin.hold, look.skin.daylight) == (
        0.6,
        0.2,
    )  # half of what is done, the same share of it held


def test_the_curve_goes_straight_in_stops() -> None:
    """Grey at half strength lies halfway in stops between in and out of the whole look."""
    curve = {"contrast": 1.4, "toe": 0.6, "shoulder": 0.8, "pivot": 0.25}
    linear = get_encoding("Linear BT.2020")
    grey = np.repeat(0.18 * 2.0 ** np.linspace(-10, 6, 33)[:, None], 3, axis=1)
    look = Look.model_validate({"title": "c", "curve": curve})
    whole = look.transform(linear, linear)(grey)
    for share in (0.25, 0.5, 0.75, 1.25):
        part = at(look, share).transform(linear, linear)(grey)
        wanted = np.log2(grey) + share * (np.log2(whole) - np.log2(grey))
        assert np.abs(np.log2(part) - wanted).max() < 1e-9


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 200), st.integers(0, 200), st.floats(0, 1.5))
def test_a_mix_is_a_look_that_can_be_typed(one: int, two: int, share: float) -> None:
    mix = mixed(any_look(one), any_look(two), share, "mix")
    again = Look.model_validate(mix.model_dump())
    assert again == mix
    assert np.isfinite(shown(mix)).all()


def test_a_mix_of_two_looks_lies_between_them() -> None:
    fixed = Path(__file__).parents[1] / "fixed_looks"
    one, two = (load_look(fixed / f"{name}.toml") for name in ("first_ferry", "stove_light"))
    ends = appearance(shown(one), SRGB), appearance(shown(two), SRGB)
    whole = float(np.mean(ciede2000(*ends)))
    for share in (0.25, 0.5, 0.75):
        here = appearance(shown(mixed(one, two, share)), SRGB)
        to_one, to_two = (float(np.mean(ciede2000(here, end))) for end in ends)
        assert to_one == pytest.approx(share * whole, rel=0.25)
        assert to_two == pytest.approx((1 - share) * whole, rel=0.25)


def test_what_cannot_be_mixed_says_so() -> None:
    a = Look.model_validate({"title": "a", "cdl": {"slope": [1.1, 1, 1], "encoding": "ACEScct"}})
    b = Look.model_validate({"title": "b", "cdl": {"slope": [1.1, 1, 1], "encoding": "sRGB"}})
    with pytest.raises(RequestError, match="two CDLs in different encodings; found 'ACEScct, sRGB'"):
        mixed(a, b, 0.5)
    with pytest.raises(RequestError, match="share out of range"):
        mixed(a, b, 1.6)


@pytest.mark.parametrize("look", SHIPPED, ids=lambda look: look.title)
def test_it_starts_at_the_still_where_the_camera_was_set_to_another_balance(look: Look) -> None:
    """What is kept of a cast is a share of the production's, the still stands where its camera put it: part
    strength goes from there, and no step leads back."""
    before = appearance(COLOURS, SRGB)
    lamp, planned = tuple(xy_from_cct(2800.0)), tuple(balance_white_xy(4300.0))
    for camera_k in (3200.0, 5600.0, 8000.0):
        cast = Cast(lamp, tuple(balance_white_xy(camera_k)), whole=(lamp, planned))
        apart = [
            float(np.mean(ciede2000(appearance(shown(at(look, s), cast), SRGB), before)))
            for s in (0.0, 1e-4, *np.linspace(0.1, 0.9999, 10), 1.0)
        ]
        assert apart[1] < 0.05
        assert np.diff(apart).min() >= 0.0
        assert apart[-1] - apart[-2] < 0.05
