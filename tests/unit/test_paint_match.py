"""Matching: the right chip first, honest words where there is none, the palette, targets."""

from dataclasses import replace

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.errors import RequestError
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.stages.balance import Balance
from lookdev.looks.stages.colour import Colour
from lookdev.paint.chip import munsell_set
from lookdev.paint.light import light_from_illuminant
from lookdev.paint.match import find_ideal, match
from lookdev.paint.palette import dominant, palette
from lookdev.paint.predict import Site, Viewing, lab_from_signal, level_of_card
from lookdev.paint.spectra import GRID_NM, illuminant_weights
from lookdev.paint.surfaces import optimal_reflectances
from lookdev.paint.target import parse_target

LAMPS = ("D65", "A", "FL2", "FL11", "HP1", "HP5", "LED-B3")


def viewing(lamp, look=None, balance_k=4300.0):
    light = light_from_illuminant(lamp)
    camera = tuple(float(v) for v in balance_white_xy(balance_k))
    look = look or Look(title="held", balance=Balance(keep=0.35), colour=Colour(saturation=0.8))
    return Viewing(Site(lamp, light, camera, "test", Cast(light.xy, camera)), look)


@pytest.mark.parametrize("lamp", LAMPS)
@pytest.mark.parametrize("notation", ["5YR 6/4", "10G 5/4", "5PB 4/6", "7.5R 4/8", "N 6.5"])
def test_a_chip_is_found_again_under_every_lamp(lamp, notation):
    deck, view = munsell_set(), viewing(lamp)
    row = [c.name for c in deck.chips].index(notation)
    found = match(view.screen(deck.reflectances[row])[1][0], [view], deck)
    assert found.ranked[0].row == row
    assert found.ranked[0].worst < 1e-6
    assert "reads as the target" in found.verdict[0]


def test_ideal_between_the_chips_is_named():
    view = viewing("D65", Look(title="plain"), 6500)
    deck = munsell_set().subset(range(0, 2734, 40))
    target = lab_from_signal(np.array([0.55, 0.42, 0.33]))
    found = match(target, [view], deck)
    assert found.ranked[0].worst > 1
    assert found.ideal is not None and found.ideal.worst < 0.1
    assert any("The ideal is Munsell" in s for s in found.verdict)
    assert found.reachable


def test_no_surface_can_be_said():
    # a vivid green-blue on screen, under a sodium lamp whose cast is kept: nothing reflects it
    view = viewing("HP1", Look(title="plain"), 3200)
    found = match(lab_from_signal(np.array([0.1, 0.5, 0.9])), [view], munsell_set())
    assert not found.reachable
    assert any("No surface of any kind can" in s for s in found.verdict)


def test_a_look_without_colour_makes_chips_alike():
    grey = Look(title="grey", balance=Balance(keep=0.0), colour=Colour(saturation=0.0))
    view = viewing("FL2", grey)
    deck = munsell_set()
    row = [c.name for c in deck.chips].index("5B 5/6")
    found = match(view.screen(deck.reflectances[row])[1][0], [view], deck)
    assert found.alike > 30 and found.alike_apart > 30
    text = " ".join(found.verdict)
    assert "paints alike" in text and "hue says little" in text


def test_several_places_rank_by_the_worst():
    deck = munsell_set()
    views = [viewing(lamp) for lamp in ("A", "FL2", "D65")]
    target = lab_from_signal(np.array([0.5, 0.45, 0.4]))
    found = match(target, views, deck)
    worst = [r.worst for r in found.ranked]
    assert worst == sorted(worst)
    assert all(len(r.differences) == 3 and r.worst == max(r.differences) for r in found.ranked)
    alone = match(target, views[:1], deck)
    assert alone.ranked[0].worst <= found.ranked[0].worst


def test_same_question_same_answer():
    views = [viewing("A"), viewing("HP1")]
    target = lab_from_signal(np.array([0.3, 0.5, 0.4]))
    one, two = (match(target, views, munsell_set()) for _ in range(2))
    assert one.ranked == two.ranked and one.verdict == two.verdict
    assert np.array_equal(one.ideal.reflectance, two.ideal.reflectance)


def test_optimal_colours_are_the_edge_of_the_solid():
    # no chip lies outside the optimal colours: at any luminance their purity is the highest (MacAdam 1935)
    edge = optimal_reflectances(2)
    assert set(np.unique(edge)) == {0.0, 1.0}
    assert (np.abs(np.diff(edge, axis=1)).sum(axis=1) <= 2).all()
    weights = illuminant_weights("D65")
    from scipy.spatial import ConvexHull, Delaunay

    solid = edge @ weights
    hull = Delaunay(solid[ConvexHull(solid).vertices])
    inside = hull.find_simplex(munsell_set().reflectances[::23] @ weights) >= 0
    assert inside.all()


def test_ideal_is_a_surface_that_can_be():
    ideal = find_ideal(lab_from_signal(np.array([0.9, 0.2, 0.1])), [viewing("A")])
    assert ideal.reflectance.shape == GRID_NM.shape
    assert ideal.reflectance.min() >= 0 and ideal.reflectance.max() <= 1


def test_ten_places_and_four_looks_rank_together():
    """Worst case over forty viewings, the whole set; how long it takes is in tests/benchmarks."""
    deck = munsell_set()
    looks = [
        Look(title=f"look {k}", balance=Balance(keep=k / 4), colour=Colour(saturation=0.8)) for k in range(4)
    ]
    lamps = ("D65", "D50", "A", "FL2", "FL7", "FL11", "HP1", "HP4", "LED-B1", "LED-B3")
    views = [viewing(lamp, look) for lamp in lamps for look in looks]
    target = lab_from_signal(np.array([0.5, 0.4, 0.4]))
    found = match(target, views, deck, len(deck.chips))
    worst = np.max([ciede2000(v.screen(deck.reflectances)[1], target) for v in views], axis=0)
    np.testing.assert_allclose([r.worst for r in found.ranked], np.sort(worst), atol=1e-9)


def test_card_in_the_graded_still_tells_the_exposure():
    view = viewing("FL2")
    card = np.full((1, 85), 0.18)
    for stops in (-1.5, 0.0, 0.8):
        exposed = Viewing(replace(view.site, level_stops=stops), view.look)
        assert level_of_card(view, exposed.screen(card)[1][0]) == pytest.approx(stops, abs=1e-3)
    with pytest.raises(RequestError, match="tells nothing"):
        level_of_card(view, [0.0, 0, 0])


def test_palette_finds_the_colours_of_a_picture():
    from lookdev.colorimetry.encodings import get_encoding

    signal = np.zeros((60, 100, 3))
    signal[:, :60] = np.array([51, 77, 128]) / 255
    signal[:, 60:90] = np.array([204, 191, 179]) / 255
    signal[:, 90:] = np.array([179, 26, 26]) / 255
    light = get_encoding("sRGB").to_working(signal)
    means, shares = dominant(light, 5)
    assert shares == pytest.approx([0.6, 0.3, 0.1], abs=0.01)
    found = palette(light, munsell_set(), 5)
    assert [c.hex for c in found] == ["#334d80", "#ccbfb3", "#b31a1a"]
    assert found[2].munsell.startswith(("5", "6", "7", "8")) and "R" in found[2].munsell
    assert len(means) == 3


def test_palette_of_one_colour():
    light = np.full((20, 20, 3), 0.2)
    means, shares = dominant(light, 6)
    assert len(means) == 1 and shares[0] == 1.0


@pytest.mark.parametrize(
    ("text", "lab"),
    [
        ("#808080", (53.59, 0, 0)),
        ("8a6f5c", (48.9, 7.7, 14.6)),
        ("lab:54,9,14", (54, 9, 14)),
        ("54 9 -14", (54, 9, -14)),
        ("Lab(54, 9, −14.5)", (54, 9, -14.5)),
    ],
)
def test_targets(text, lab):
    assert parse_target(text).lab == pytest.approx(lab, abs=0.05)


@pytest.mark.parametrize("text", ["", "blue", "#12345", "lab:500,0,0", "nofile.jpg:1,2,3,4", "54 9"])
def test_not_a_target(text):
    with pytest.raises(RequestError):
        parse_target(text)
