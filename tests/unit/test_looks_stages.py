"""The stages of a look: what each promises, for every setting of its parameters."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from lookdev.colorimetry.adaptation import xy_from_xyz, xyz_from_xy
from lookdev.colorimetry.difference import ciede2000, lab_from_working
from lookdev.colorimetry.oklab import oklab_from_working, working_from_oklab
from lookdev.colorimetry.rgb_spaces import BT709, D65_XY, DISPLAY_P3, WORKING, matrix_between
from lookdev.colorimetry.temperature import (
    DUV_LIMIT,
    balance_white_xy,
    is_cct_meaningful,
    mired_duv_from_xy,
    uv1960_from_xy,
    xy_from_cct,
)
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.rendering import MID_GREY, SCENE_WHITE, lift_curve, render_curve
from lookdev.looks.stages.balance import Balance, kept_white, resolve_balance
from lookdev.looks.stages.base import Metered, Stage
from lookdev.looks.stages.cdl import CDL, cdl_signal
from lookdev.looks.stages.colour import HALF_CHROMA, Colour, Families
from lookdev.looks.stages.curve import Curve
from lookdev.looks.stages.exposure import Exposure
from lookdev.looks.stages.gamut import bring_inside, chroma_ratio, gamut_limit
from lookdev.looks.stages.tone import Tone, Tones
from lookdev.looks.steps import join, run

settings.register_profile("busy", deadline=None)  # two cores and other work beside the tests
settings.load_profile("busy")

CURVES = st.builds(
    Curve,
    contrast=st.floats(0.5, 3),
    toe=st.floats(0, 1),
    shoulder=st.floats(0, 1),
    black=st.floats(0, 0.1),
    pivot=st.floats(0.02, 1),
)
STOPS = np.linspace(-20, 16, 3601)
NEGATIVES = -np.logspace(4, -12, 400)


def act(stage: Stage, colours: np.ndarray) -> np.ndarray:
    """Colours (..., 3) through a stage, in the space in which it acts."""
    step = stage.step(Metered())
    return colours if step is None else run([step], colours)


def bend(light: np.ndarray, curve: Curve) -> np.ndarray:
    """Light of any shape through the curve."""
    return light if curve.is_identity else act(curve, np.stack([light] * 3, axis=-1))[..., 0]


def curve_stops(stops: np.ndarray, curve: Curve) -> np.ndarray:
    """Stops from the pivot out, without ``black``, for stops from the pivot in."""
    plain = curve.model_copy(update={"black": 0.0})
    return np.log2(bend(curve.pivot * 2.0**stops, plain) / curve.pivot)


# --- rendering


@given(st.floats(-1e6, 1e6))
def test_rendering_round_trip(light: float) -> None:
    assert float(lift_curve(render_curve(light))) == pytest.approx(light, rel=1e-12, abs=1e-12)


def test_rendering_round_trip_on_the_display_range() -> None:
    y = np.linspace(0, 1, 100_001)
    assert np.abs(render_curve(lift_curve(y)) - y).max() < 1e-14


def test_rendering_fixed_points() -> None:
    assert render_curve([0, MID_GREY, SCENE_WHITE]).tolist() == pytest.approx([0, 0.18, 1.0], abs=1e-15)
    assert pytest.approx(MID_GREY * 16) == SCENE_WHITE  # four stops


def test_rendering_increases_and_has_no_kink() -> None:
    x = np.linspace(-1, 6, 70_001)
    slope = np.diff(render_curve(x)) / np.diff(x)
    assert slope.min() > 0
    assert np.abs(np.diff(slope)).max() < 2e-3  # C1: a kink would jump by more than the bend at mid grey
    for joint in (MID_GREY, SCENE_WHITE):
        h = 1e-6
        left = (render_curve(joint) - render_curve(joint - h)) / h
        right = (render_curve(joint + h) - render_curve(joint)) / h
        assert float(right - left) == pytest.approx(0, abs=1e-5)


# --- curve


@given(CURVES)
def test_curve_increases_from_far_below_black_to_far_above_white(curve: Curve) -> None:
    light = np.concatenate([NEGATIVES, [0.0], curve.pivot * 2.0**STOPS])
    out = bend(light, curve)
    assert np.all(np.isfinite(out))
    step = np.diff(out)
    assert np.all(step >= 0)
    # strictly, but where two results are one float apart because `black` was added to them
    assert np.all(step[np.diff(light) > 1e-9] > 0)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20), st.floats(0.02, 1))
def test_curve_at_its_defaults_changes_nothing(values: list, pivot: float) -> None:
    light = np.array(values)
    assert bend(light, Curve(pivot=pivot)) is light
    # and without the short cut, to rounding
    near = Curve(pivot=pivot, toe=1e-15)
    assert np.abs(curve_stops(STOPS, near) - STOPS).max() < 1e-12


@given(CURVES)
def test_slope_at_the_pivot_is_contrast_and_the_pivot_stays(curve: Curve) -> None:
    plain = curve.model_copy(update={"black": 0.0})
    assert float(bend(np.array(curve.pivot), curve)) == pytest.approx(curve.pivot, rel=1e-12)
    h = 1e-5
    up, down = bend(curve.pivot * 2.0 ** np.array([h, -h]), plain)
    assert np.log2(up / down) / (2 * h) == pytest.approx(curve.contrast, rel=1e-5)


@given(CURVES)
def test_curve_has_no_kink(curve: Curve) -> None:
    slope = np.diff(curve_stops(STOPS, curve)) / np.diff(STOPS)
    # smoothsteps over 4 stops and more: at most 1.5 / 4 of a change of slope (3 at most) per stop
    assert np.abs(np.diff(slope)).max() < 0.012
    # and in linear light through the floor and through zero
    floor = curve.pivot * 2.0**-12
    for joint in (floor, 0.0):
        h = floor * 1e-7
        left, middle, right = bend(joint + np.array([-h, 0, h]), curve.model_copy(update={"black": 0}))
        assert (right - middle) == pytest.approx(middle - left, rel=2e-3)


@given(CURVES)
def test_black_lifts_the_floor(curve: Curve) -> None:
    assert float(bend(np.array([0.0]), curve)[0]) == pytest.approx(
        min(curve.black, 0.9 * curve.pivot), abs=1e-15
    )


# --- exposure


@given(st.floats(-10, 10))
def test_a_stop_doubles(stops: float) -> None:
    light = np.array([0.18, -0.02, 3.0])
    assert np.allclose(act(Exposure(stops=stops), light), light * 2.0**stops, rtol=1e-15)
    for own, matched in ((stops, 0.0), (stops / 2, stops / 2)):
        step = Exposure(stops=own).step(Metered(exposure_stops=matched + 1.0))
        wanted = 2 * 2.0**stops * light
        assert np.allclose(run([step] if step else [], light), wanted, rtol=1e-14)


# --- balance

LAMPS = st.builds(xy_from_cct, st.floats(1800, 12000), st.floats(-0.015, 0.015))
CAMERAS = st.floats(2800, 8000)


@given(LAMPS, CAMERAS, st.floats(0, 1))
def test_keep_leaves_that_share_in_mired_and_duv(lamp: np.ndarray, camera_k: float, keep: float) -> None:
    cast = Cast(tuple(lamp), tuple(balance_white_xy(camera_k)))
    result = resolve_balance(Balance(keep=keep), cast)
    before = np.array(mired_duv_from_xy(cast.picture_xy))
    neutral = np.array(mired_duv_from_xy(D65_XY))
    if abs(before[1]) > DUV_LIMIT or not 20 < before[0] < 1200 or result.limited:
        return
    # where a grey card goes: through the matrix, not through the function that planned it
    card = result.matrix @ WORKING.from_xyz @ xyz_from_xy(cast.picture_xy)
    after = np.array(mired_duv_from_xy(xy_from_xyz(WORKING.to_xyz @ card)))
    expected = neutral + keep * (before - neutral)
    assert after[0] == pytest.approx(expected[0], abs=0.02)
    assert after[1] == pytest.approx(expected[1], abs=2e-5)


@given(LAMPS, CAMERAS, st.sampled_from(["Bradford", "CAT02", "CAT16"]))
def test_keep_nothing_makes_the_card_neutral_at_its_own_luminance(
    lamp: np.ndarray, camera_k: float, method: str
) -> None:
    cast = Cast(tuple(lamp), tuple(balance_white_xy(camera_k)))
    result = resolve_balance(Balance(keep=0.0, method=method), cast)
    if not result.limited:
        card = result.matrix @ WORKING.from_xyz @ xyz_from_xy(cast.picture_xy)
        assert np.abs(card - 1).max() < 1e-9


@given(LAMPS, CAMERAS)
def test_keep_all_is_the_identity(lamp: np.ndarray, camera_k: float) -> None:
    cast = Cast(tuple(lamp), tuple(balance_white_xy(camera_k)))
    assert np.array_equal(resolve_balance(Balance(), cast).matrix, np.eye(3))


@given(st.floats(0, 1), st.sampled_from([(0.70, 0.29), (0.17, 0.70), (0.14, 0.05)]))
def test_kept_white_off_the_locus_lies_on_the_way_to_neutral(keep: float, xy: tuple[float, float]) -> None:
    """Straight in CIE 1960 u, v, where mired and Duv mean nothing: the primaries of a colour-mixing lamp."""
    assert not is_cct_meaningful(xy)
    neutral, cast = uv1960_from_xy(D65_XY), uv1960_from_xy(xy)
    got = uv1960_from_xy(kept_white(xy, keep))
    assert got == pytest.approx(neutral + keep * (cast - neutral), abs=1e-9)


@pytest.mark.parametrize("xy", [(0.5736, 0.4262), (0.17, 0.01), (0.70, 0.29), (0.08, 0.83), (0.24, 0.23)])
def test_a_lamp_that_cannot_be_made_neutral_is_said_to_be_so(xy: tuple) -> None:
    result = resolve_balance(Balance(keep=0.0), Cast(xy, D65_XY))
    assert np.all(np.isfinite(result.matrix))
    assert 0 <= result.keep <= 1
    assert result.limited == (result.keep > 0)
    assert isinstance(result.words(), str)


@given(st.floats(-150, 300), st.floats(-0.05, 0.05))
def test_shift_of_a_look(mired: float, duv: float) -> None:
    result = resolve_balance(Balance(mired=mired, duv=duv), None)
    got = np.array(mired_duv_from_xy(result.final_xy))
    if mired > -120 and abs(duv) < 0.02:
        expected = np.array(mired_duv_from_xy(D65_XY)) + np.array([mired, duv])
        assert got == pytest.approx(expected, abs=1e-3)
    assert np.all(np.isfinite(result.matrix))


# --- colour

FAMILIES = st.dictionaries(
    st.sampled_from(["R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP"]),
    st.fixed_dictionaries(
        {"hue_deg": st.floats(-60, 60), "chroma": st.floats(0, 4), "lightness": st.floats(-0.3, 0.3)}
    ),
)
LABS = np.random.default_rng(11).uniform((0, -0.3, -0.3), (1.1, 0.3, 0.3), (500, 3))


def test_saturation_nought_is_neutral() -> None:
    rgb = np.random.default_rng(1).uniform(-0.5, 4, (1000, 3))
    out = working_from_oklab(act(Colour(saturation=0.0), oklab_from_working(rgb)))
    assert np.ptp(out, axis=-1).max() < 1e-6 * np.abs(out).max()


@given(st.floats(0, 3))
def test_saturation_keeps_lightness_and_hue(factor: float) -> None:
    out = act(Colour(saturation=factor), LABS)
    assert np.array_equal(out[:, 0], LABS[:, 0])
    assert np.allclose(out[:, 1] * LABS[:, 2], out[:, 2] * LABS[:, 1])


@given(FAMILIES)
def test_families_leave_neutrals_alone(rows: dict) -> None:
    greys = np.stack([np.linspace(-0.2, 1.5, 50), np.zeros(50), np.zeros(50)], axis=-1)
    assert np.abs(act(Colour(families=Families.model_validate(rows)), greys) - greys).max() < 1e-15


@given(FAMILIES)
def test_families_are_continuous_round_the_circle_and_through_grey(rows: dict) -> None:
    colour = Colour(families=Families.model_validate(rows))
    hue = np.linspace(-np.pi, np.pi, 7201)
    ring = np.stack([0 * hue + 0.6, 0.1 * np.cos(hue), 0.1 * np.sin(hue)], axis=-1)
    steps = np.diff(act(colour, ring), axis=0)
    assert np.abs(steps).max() < 4e-3
    assert np.abs(act(colour, ring[:1]) - act(colour, ring[-1:])).max() < 1e-9


def test_a_family_acts_fully_at_its_middle_and_not_on_the_next_but_one() -> None:
    from lookdev.colorimetry.munsell import FAMILY_HUE_DEGREES

    hue = np.radians(FAMILY_HUE_DEGREES)
    middles = np.stack([0 * hue + 0.6, 0.1 * np.cos(hue), 0.1 * np.sin(hue)], axis=-1)
    out = act(Colour.model_validate({"families": {"Y": {"chroma": 0.5}}}), middles)
    whole = 0.1 * 0.1 / (0.1 * 0.1 + HALF_CHROMA**2)
    assert np.hypot(out[:, 1], out[:, 2]) == pytest.approx([0.1, 0.1, 0.1 - 0.05 * whole] + [0.1] * 7)


def test_families_set_in_gently_from_grey() -> None:
    """Noise of chroma is never raised by more than an eighth over what the factor says."""
    chroma = np.linspace(0, 0.4, 4001)
    hue = np.radians(55.53)
    rising = np.stack([0 * chroma + 0.6, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)
    out = act(Colour.model_validate({"families": {"YR": {"chroma": 3.0}}}), rising)
    slope = np.diff(np.hypot(out[:, 1], out[:, 2])) / np.diff(chroma)
    assert slope.min() >= 1.0 - 1e-6
    assert slope.max() <= 1.0 + 2.0 * 1.125 + 1e-6


SEAMS = (
    {"YR": {"chroma": 1.5}},
    {"R": {"chroma": 1.4, "hue_deg": 6}, "YR": {"chroma": 1.6}},
    {"R": {"lightness": 0.06}, "YR": {"hue_deg": 8, "chroma": 1.2}},
)


@pytest.mark.parametrize("families", SEAMS)
@pytest.mark.parametrize("chroma", [0.03, 0.05, 0.07, 0.09])
def test_skin_runs_across_r_and_yr_without_a_seam(families: dict, chroma: float) -> None:
    """A cheek from ruddy to sallow, 5 to 75 degrees in Oklab: no step of CIEDE2000 over 1.5 of its own,
    the look's own mean gain on it taken out."""
    hue = np.radians(np.linspace(5, 75, 281))
    cheek = np.stack([0 * hue + 0.68, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)
    before, after = lab_steps(cheek), lab_steps(act(Colour.model_validate({"families": families}), cheek))
    assert (after / before).max() <= 1.5 * max(1.0, float(np.mean(after / before)))


def lab_steps(oklab: np.ndarray) -> np.ndarray:
    """CIEDE2000 from each colour to the next."""
    lab = lab_from_working(working_from_oklab(oklab))
    return np.asarray(ciede2000(lab[1:], lab[:-1]))


def test_colour_identity() -> None:
    assert Colour().is_identity
    assert act(Colour(), LABS) is LABS


# --- tone


def tones(*rows: tuple[float, float]) -> Tones:
    """Tones at a stop, with a reach, towards 5B."""
    keys = ("at_stops", "reach_stops")
    pull = {"towards": "5B", "chroma": 0.15}
    made = [Tone.model_validate(dict(zip(keys, row, strict=True)) | pull) for row in rows]
    return Tones(tones=tuple(made))


def weights(stage: Tones, stops: np.ndarray) -> np.ndarray:
    """How much of the pull a grey gets, so many stops over mid grey."""
    lightness = np.cbrt(0.18 * 2.0**stops)
    grey = np.stack([lightness, 0 * lightness, 0 * lightness], axis=-1)
    return np.asarray(np.hypot(*act(stage, grey)[:, 1:].T) / 0.15)


def test_a_tone_stands_where_it_says_and_ends_where_it_says() -> None:
    for at, reach in ((-3.0, 2.0), (0.0, 4.0), (3.5, 1.0)):
        off = np.array([-1.0, -0.5, 0.0, 0.5, 1.0, 1.5])
        assert weights(tones((at, reach)), at + reach * off) == pytest.approx(
            [0, 0.5, 1, 0.5, 0, 0], abs=0.09 if at < 0 else 1e-9
        )  # from four stops under mid grey down, all fade towards black


def test_tones_as_far_apart_as_they_reach_are_a_whole() -> None:
    stops = np.linspace(-3, 4, 101)
    row = tones(*((float(at), 1.0) for at in range(-4, 6)))
    assert weights(row, stops) == pytest.approx(np.ones(101), abs=1e-9)


def test_tones_keep_black_black_and_lightness() -> None:
    deep = tones((-8.0, 12.0), (0.0, 12.0))
    assert np.array_equal(act(deep, np.zeros((1, 3))), np.zeros((1, 3)))
    assert np.array_equal(act(deep, LABS)[:, 0], LABS[:, 0])
    below = act(deep, np.array([[-0.3, 0.0, 0.0]]))
    assert np.array_equal(below, [[-0.3, 0, 0]])


def test_a_tone_leaves_pure_lamps_alone_and_paint_not() -> None:
    """A tenth of white in a pure light and it gets the whole pull, with none nothing, and more in between."""
    stage = tones((2.0, 4.0))
    for pure in np.eye(3):
        white = np.array([0.0, 0.02, 0.04, 0.06, 0.1])[:, None]
        lab = oklab_from_working(0.72 * (pure + white * (1.0 - pure)))
        pulls = np.hypot(*(act(stage, lab) - lab)[:, 1:].T)
        assert pulls[0] < 1e-6 and np.all(np.diff(pulls[:4]) > 0)
        grey = act(stage, lab[4:] * [1.0, 0.0, 0.0])[0]
        assert pulls[4] == pytest.approx(np.hypot(*grey[1:]))


def test_tones_are_smooth_and_between_nought_and_one() -> None:
    stops = np.linspace(-14, 10, 24_001)
    for at, reach in ((-8.0, 12.0), (-3.0, 1.0), (8.0, 1.0)):
        weight = weights(tones((at, reach)), stops)
        assert weight.min() >= 0
        assert weight.max() <= 1
        slope = np.diff(weight) / np.diff(stops)
        assert np.abs(np.diff(slope)).max() < 0.02  # no kink


# --- CDL: ASC CDL v1.2, out = (in * slope + offset) ** power; luma weights of BT.709


@pytest.mark.parametrize(
    ("signal", "slope", "offset", "power", "saturation", "out"),
    [
        ([0.25, 0.5, 0.75], [2, 1, 1], [0, 0.1, 0], [1, 1, 2], 1, [0.5, 0.6, 0.5625]),
        ([1, 0, 0], [1, 1, 1], [0, 0, 0], [1, 1, 1], 0, [0.2126] * 3),
        ([0, 1, 0], [1, 1, 1], [0, 0, 0], [1, 1, 1], 0, [0.7152] * 3),
        ([0, 0, 1], [1, 1, 1], [0, 0, 0], [1, 1, 1], 2, [-0.0722, -0.0722, 1.9278]),
        ([0.1, 0.1, 0.1], [1, 1, 1], [-0.2, -0.2, -0.2], [2, 2, 2], 1, [-0.1] * 3),
    ],
)
def test_cdl(signal: list, slope: list, offset: list, power: list, saturation: float, out: list) -> None:
    assert cdl_signal(signal, slope, offset, power, saturation) == pytest.approx(out)


@pytest.mark.parametrize("encoding", ["ACEScct", "sRGB", "BT.709", "Linear BT.2020"])
def test_cdl_acts_in_the_encoding_it_names(encoding: str) -> None:
    from lookdev.colorimetry.encodings import get_encoding

    scene = np.random.default_rng(2).uniform(0.01, 2, (200, 3))
    near = CDL(slope=(1 + 1e-12, 1.0, 1.0), encoding=encoding)
    assert np.abs(run(join([near.step(Metered())]), scene) - scene).max() < 1e-9
    moved = run(
        join([CDL(offset=(0.05, 0.05, 0.05), encoding=encoding).step(Metered())]), np.full((1, 3), 0.18)
    )
    e = get_encoding(encoding)
    grey = e.to_working(e.from_working([0.18] * 3) + 0.05)
    assert np.allclose(moved, lift_curve(grey) if e.state == "output" else grey)


# --- gamut


@pytest.mark.parametrize("space", [BT709, DISPLAY_P3])
def test_gamut_leaves_the_inside_alone_when_nothing_is_pushed_out(space: object) -> None:
    inside = np.random.default_rng(8).uniform(0, 1, (2000, 3)) @ matrix_between(space, WORKING).T
    assert gamut_limit(inside, space) == 1.0
    assert bring_inside(inside, space, 1.0) is inside


@pytest.mark.parametrize("space", [BT709, DISPLAY_P3])
@pytest.mark.parametrize("limit", [1.001, 1.3, 4.0])
def test_gamut_brings_inside_along_hue_and_lightness(space: object, limit: float) -> None:
    rgb = np.random.default_rng(9).uniform(-0.1, 1.0, (4000, 3))
    out = bring_inside(rgb, space, limit)
    display = out @ matrix_between(WORKING, space).T
    lab, new = oklab_from_working(rgb), oklab_from_working(out)
    between = (lab[:, 0] > 0) & (lab[:, 0] < 1)
    blue = oklab_from_working(np.array([0.0, 0, 1]) @ matrix_between(space, WORKING).T)
    turned = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]) - np.arctan2(blue[2], blue[1]))
    near = np.abs((turned + 180) % 360 - 180) < 6  # the hue of blue, where a little is let out and cut later
    assert display[between & ~near].min() > -2e-6
    assert np.all(display[between & near].min(axis=1) > -0.1 * lab[between & near, 0] ** 3)
    assert display[between].max() < 1 + 2e-6
    assert np.abs(new[between, 0] - lab[between, 0]).max() < 1e-9
    cross = new[:, 1] * lab[:, 2] - new[:, 2] * lab[:, 1]
    assert np.abs(cross[between]).max() < 1e-9
    chroma, old = np.hypot(new[:, 1], new[:, 2]), np.hypot(lab[:, 1], lab[:, 2])
    assert np.all(chroma[between] <= old[between] + 1e-9)


@pytest.mark.parametrize("hue", range(0, 360, 15))
@pytest.mark.parametrize("lightness", [0.2, 0.5, 0.8, 0.95])
def test_gamut_never_reverses_chroma(hue: int, lightness: float) -> None:
    chroma = np.linspace(0, 0.5, 1001)
    ray = np.stack(
        [0 * chroma + lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))], axis=-1
    )
    rgb = working_from_oklab(ray)
    limit = gamut_limit(rgb, BT709)
    out = oklab_from_working(bring_inside(rgb, BT709, limit))
    got = np.hypot(out[:, 1], out[:, 2])
    assert np.all(np.diff(got) > -1e-6)
    assert np.abs(np.diff(got)).max() < 1e-3  # and no jump: the input goes by steps of 0.0005


def test_chroma_ratio_is_one_at_the_edge() -> None:
    edge = np.array([[1.0, 0, 0], [0, 1, 0], [0, 1, 1], [1, 0, 0.5]]) @ matrix_between(BT709, WORKING).T
    assert chroma_ratio(edge, BT709) == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize("space", [BT709, DISPLAY_P3, WORKING])
@pytest.mark.parametrize("lightness", [0.3, 0.4, 0.452, 0.5, 0.7])
def test_gamut_treats_neighbouring_hues_alike(space: object, lightness: float) -> None:
    hue = np.radians(np.arange(0, 360, 0.02))
    ring = np.stack([0 * hue + lightness, 0.2 * np.cos(hue), 0.2 * np.sin(hue)], axis=-1)
    edge = 0.2 / chroma_ratio(working_from_oklab(ring), space)
    step = np.abs(np.diff(edge))
    assert step.max() < 3e-3  # at blue it was 0.035


@pytest.mark.parametrize("space", [BT709, DISPLAY_P3, WORKING])
def test_blue_itself_is_inside(space: object) -> None:
    blue = np.array([[0.0, 0, 1], [0.001, 0, 1], [0, 0, 0.2]]) @ matrix_between(space, WORKING).T
    assert chroma_ratio(blue, space).max() <= 1 + 1e-4
    assert np.abs(bring_inside(blue, space, 1.001) - blue).max() < 2e-3


# --- parameters


@pytest.mark.parametrize(
    "data",
    [
        {"curve": {"contrast": "1.2"}},
        {"curve": {"contrast": float("nan")}},
        {"balance": {"keep": 1.01}},
        {"balance": {"mired": -151}},
        {"exposure": {"stops": True}},
        {"cdl": {"power": [0, 1, 1]}},
        {"title": " \t"},
        {"title": "two\nlines"},
    ],
)
def test_parameters_refuse(data: dict) -> None:
    with pytest.raises(ValidationError):
        Look.model_validate({"title": "x", **data})


def test_a_look_is_frozen_and_its_fingerprint_is_of_what_acts() -> None:
    look = Look(title="One")
    with pytest.raises(ValidationError):
        look.title = "Two"  # type: ignore[misc]
    assert look.fingerprint() == Look(title="Two", note="other").fingerprint()
    assert look.fingerprint() != Look.model_validate({"title": "One", "curve": {"toe": 0.1}}).fingerprint()
