"""Prediction: light, camera, look, screen."""

import pickle
from dataclasses import replace

import numpy as np
import pytest

from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.rgb_spaces import D65_XY
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.errors import MeterError
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.stages.balance import Balance
from lookdev.meter.log import Reading
from lookdev.paint.chip import Chip, ChipSet, munsell_set
from lookdev.paint.light import light_from_illuminant, light_of
from lookdev.paint.metamerism import adapted_lab
from lookdev.paint.predict import Site, Viewing, hex_of, lab_from_signal, predict, signal_from_lab
from lookdev.paint.spectra import GRID_NM, illuminant_weights
from lookdev.paint.words import what_changed


def site(lamp, balance_k=4300.0, level=0.0):
    light = light_from_illuminant(lamp)
    camera = tuple(float(v) for v in balance_white_xy(balance_k))
    return Site(lamp, light, camera, "test", Cast(light.xy, camera), level)


PLAIN = Look(title="as it stood")
NEUTRAL = Look(title="neutral", balance=Balance(keep=0.0))


@pytest.mark.parametrize("lamp", ["D65", "A", "FL2", "HP1", "LED-B3"])
def test_grey_card_reads_18_percent_and_neutral_when_the_cast_is_taken_out(lamp):
    card = np.full((1, len(GRID_NM)), 0.18)
    here = site(lamp)
    assert here.scene(card)[0] @ get_encoding("BT.2020").space.to_xyz[1] == pytest.approx(0.18, abs=1e-12)
    _, lab = Viewing(here, NEUTRAL, get_encoding("Linear BT.2020")).screen(card)
    assert np.hypot(*lab[0, 1:]) < 0.2
    assert lab[0, 0] == pytest.approx(49.5, abs=0.8)


def test_daylight_and_a_daylight_camera_change_nothing():
    deck = munsell_set().subset(range(0, 2753, 101))
    here = Site("noon", light_from_illuminant("D65"), D65_XY)
    light = here.scene(deck.reflectances)
    plain = deck.reflectances @ illuminant_weights("D65")
    from lookdev.colorimetry.rgb_spaces import WORKING

    assert np.abs(light @ WORKING.to_xyz.T - plain).max() < 2e-4


def test_level_is_in_stops():
    one = site("A").scene(munsell_set().reflectances[:5])
    assert np.allclose(site("A", level=1.0).scene(munsell_set().reflectances[:5]), 2 * one)


def test_the_still_and_the_prediction_go_through_the_same_function():
    # the colour of a still's pixel through the look is the prediction of the chip that made the pixel
    deck, here = munsell_set().subset(range(0, 2753, 211)), site("FL2")
    look = Look(title="held back", balance=Balance(keep=0.3, mired=-10))
    camera, _ = Viewing(here, None).screen(deck.reflectances)
    graded = look.transform(get_encoding("sRGB"), get_encoding("sRGB"), here.cast)(camera)
    predicted, _ = Viewing(here, look).screen(deck.reflectances)
    assert np.abs(graded - predicted).max() < 1e-12


def test_a_flat_grey_never_moves_to_the_eye():
    grey = ChipSet("greys", (Chip("grey"),), np.full((1, len(GRID_NM)), 0.4))
    for lamp in ("A", "HP1", "FL2"):
        found = predict(grey, site(lamp), (PLAIN,))[0]
        assert found.inconstancy < 0.05
        assert np.hypot(*adapted_lab(grey.reflectances, site(lamp).light.weights)[0, 1:]) < 0.1


def test_estimated_chips_say_how_far_they_are_known_and_measured_ones_do_not():
    row = [c.name for c in munsell_set().chips].index("5YR 6/4")
    estimated = munsell_set().subset([row])
    measured = ChipSet("deck", (Chip("wall"),), estimated.reflectances)
    one, two = (predict(c, site("HP1"), (PLAIN,))[0] for c in (estimated, measured))
    assert one.screen_within[0] > 0.5
    assert two.screen_within[0] == 0.0
    assert one.screen[0] == pytest.approx(two.screen[0])
    assert one.metamerism is not None and one.metamerism > 0.5


@pytest.mark.parametrize(
    ("reading", "kind", "words"),
    [
        (Reading(source="FL2", illuminant="FL2"), "illuminant", "good for lamps of this kind"),
        (Reading(source="window", cct_k=6500, duv=0.003), "daylight", "right for daylight"),
        (Reading(source="practical", cct_k=2900), "Planckian", "right for daylight, tungsten"),
        (Reading(source="LED tube", cct_k=4000), "daylight", "doubtful"),
        (Reading(source="arc", x=0.42, y=0.47), "adaptation", "rough"),
    ],
)
def test_what_stands_for_the_lamp(reading, kind, words):
    light = light_of(reading)
    assert light.kind == kind
    assert words in light.trust
    if reading.white_xy is not None:
        assert light.xy == pytest.approx(reading.white_xy, abs=2e-5)


def test_a_reading_that_contradicts_its_lamp_is_said():
    assert "contradicted" in light_of(Reading(source="HP1", illuminant="HP1", x=0.31, y=0.33)).trust
    assert "turned" in light_of(Reading(source="A", illuminant="A", x=0.455, y=0.405)).origin


def test_a_reading_without_light_is_an_error():
    with pytest.raises(MeterError, match="row 3"):
        light_of(Reading(row=3, source="lamp"))


def test_hex_and_lab_there_and_back():
    rng = np.random.default_rng(3)
    signal = rng.uniform(0, 1, (50, 3))
    assert np.abs(signal_from_lab(lab_from_signal(signal)) - signal).max() < 1e-6
    assert hex_of([0, 0.5, 1]) == "#0080ff"


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ((50, 0, 0), (50.3, 0.1, 0), "as it was"),
        ((50, 0, 0), (62, 0, 0), "lighter by 12 L*"),
        ((50, 20, 20), (50, 10, 10), "chroma down to 50%"),
        ((50, 20, 20), (50, 0.5, 0.5), "nearly neutral"),
        ((50, 0, 0), (50, 6, 10), "no longer neutral (C* 12), tinted orange"),
        ((60, 11, 20), (60, 2, 22), "hue from 5YR to 2Y"),
    ],
)
def test_changes_in_words(before, after, words):
    assert what_changed(before, after) == words


def test_site_pickles_with_its_light():
    here = site("A")
    again = pickle.loads(pickle.dumps(here))
    assert np.array_equal(again.scene_matrix, here.scene_matrix)


def test_camera_behind_a_grey_patch():
    from lookdev.paint.sites import camera_behind

    here = site("HP1", 3200)
    patch = Cast.from_patch(here.cast.picture_xy)
    assert camera_behind(here.light, patch) == pytest.approx(here.camera_xy, abs=1e-6)


def test_sites_are_named_apart():
    from lookdev.paint.sites import _named_apart

    def at(place, source):
        return Site(place, replace(light_from_illuminant("A"), name=source), D65_XY)

    sites = [at("Hall", "tubes"), at("Hall", "window"), at("Cabin", "A"), at("Cabin", "A"), at("Dock", "HP1")]
    names = [s.name for s in _named_apart(sites, ["a1", "a2", "b1", "b2", "c1"])]
    assert names == ["Hall, tubes", "Hall, window", "Cabin, b1", "Cabin, b2", "Dock"]


def test_the_wall_is_predicted_for_the_footage_not_for_the_stills_camera(tmp_path):
    """The plan's balance and encoding, as LUTs are worked out; the still's only when a still is asked for."""
    from lookdev.meter.scout import load_scout
    from lookdev.paint.sites import sites_of
    from lookdev.survey.survey import survey

    (tmp_path / "meter.csv").write_text(
        "location,source,x,y,cct_k,camera_balance_k\nDock,HP1,,,,3200\n", encoding="utf-8"
    )
    (tmp_path / "scout.toml").write_text(
        '[plan]\nbalance_k = 5600\nfootage_encoding = "ACEScct"\n', encoding="utf-8"
    )
    surveyed = survey(load_scout(tmp_path))
    (footage,), _ = sites_of(surveyed)
    (still,), _ = sites_of(surveyed, through_still=True)
    assert footage.camera_xy == pytest.approx(balance_white_xy(5600))
    assert still.camera_xy == pytest.approx(balance_white_xy(3200))
    assert footage.cast.camera_xy == footage.camera_xy
    assert "planned in scout.toml" in footage.camera_origin


@pytest.mark.parametrize(
    ("lab", "name"),
    [
        ((97, 0, 0), "white"), ((50, 0, 0), "mid grey"), ((8, 0, 0), "black"), ((45, -30, -8), "teal"),
        ((35, 12, 20), "dark brown"), ((60, -4, -9), "grey-blue"), ((50, 60, 40), "bright red"),
        ((88, 2, 14), "cream"), ((45, 0, 25), "olive"), ((75, 25, 5), "pink"),
    ],
)  # fmt: skip
def test_colour_names_are_what_a_painter_would_say(lab, name):
    """Common speech; no standard. Lab values chosen in the middle of what is called so."""
    from lookdev.paint.words import colour_names

    assert colour_names([lab]) == [name]


def test_shop_and_screen_are_said_loud_where_they_differ_and_readings_merge():
    """A strong teal under sodium reads grey; two like readings of a place share one column."""
    from lookdev.pages.paint_places import place_pages
    from lookdev.paint.predict import predict_sites

    names = [c.name for c in munsell_set().chips]
    chips = munsell_set().subset([names.index("5BG 5/8"), names.index("N 5")])
    one, two = (replace(site("HP1"), name=f"Dock, {k}", location="Dock") for k in "ab")
    (page,) = place_pages(predict_sites(chips, [one, two], (NEUTRAL,)))
    assert page.place == "Dock" and page.columns == ("on screen: neutral",)
    teal, grey = page.rows
    assert teal.loud.startswith("Bright teal in the shop, ") and grey.loud == ""
    assert "LRV 20%" in teal.numbers and "9 in 10" in teal.known
    # a lamp that differs gets a column of its own
    (page,) = place_pages(predict_sites(chips, [one, replace(site("D65"), location="Dock")], (NEUTRAL,)))
    assert len(page.columns) == 2 and "under" in page.columns[1]
