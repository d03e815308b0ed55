"""Searching for a surface, and saying "none can" only where it is proven."""

import importlib

import numpy as np
import pytest

from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.stages.balance import Balance
from lookdev.looks.stages.colour import Colour
from lookdev.paint.chip import munsell_set
from lookdev.paint.light import light_from_illuminant
from lookdev.paint.match import NEAR, match
from lookdev.paint.measured import measured_surfaces
from lookdev.paint.predict import Site, Viewing, lab_from_signal
from lookdev.paint.surfaces import (
    MOST_BENT,
    nearest_surface,
    optimal_reflectances,
    proven_impossible,
    worst_of,
)


def viewing(lamp, look=None, balance_k=4300.0):
    light = light_from_illuminant(lamp)
    camera = tuple(float(v) for v in balance_white_xy(balance_k))
    look = look or Look(title="held", balance=Balance(keep=0.35), colour=Colour(saturation=0.8))
    return Viewing(Site(lamp, light, camera, "test", Cast(light.xy, camera)), look)


@pytest.mark.parametrize(
    ("lamps", "lab"),
    [
        (("FL11", "HP1"), (36.9, 11.7, 4.4)),
        (("FL11", "HP1"), (41.0, 26.0, -13.4)),
        (("FL11", "HP1"), (40.1, 28.7, -12.3)),
        (("A", "HP1", "LED-B3"), (55.1, -28.2, 28.2)),
    ],
)
def test_a_surface_that_a_narrow_search_misses_is_found(lamps, lab):
    """The first edition said "No one surface can" of each of these; a smooth reflectance reads near."""
    views = [viewing(lamp) for lamp in lamps]
    found = match(lab, views, munsell_set().subset(range(0, 2753, 9)))
    assert found.reachable and not found.proven
    assert not any("No one surface" in s or "No surface" in s for s in found.verdict)
    assert worst_of(np.array(lab), views, found.ideal.reflectance[None])[0] <= NEAR
    assert found.ideal.reflectance.min() >= 0 and found.ideal.reflectance.max() <= 1
    # smooth: no second difference over 20 nm beyond what measured surfaces show
    assert np.abs(np.diff(found.ideal.reflectance[::4], n=2)).max() <= MOST_BENT + 1e-6


def test_measured_surfaces_bend_no_more_than_the_search_allows():
    from lookdev.paint.spectra import GRID_NM
    from lookdev.paint.surfaces import KNOTS_NM, MOST_BENT

    spectra = measured_surfaces().reflectances
    knots = np.stack([np.interp(KNOTS_NM, GRID_NM, s) for s in spectra])
    assert np.quantile(np.abs(np.diff(knots, n=2, axis=1)).max(axis=1), 0.99) <= MOST_BENT


@pytest.mark.parametrize("seed", range(4))
def test_what_a_surface_does_is_never_called_impossible(seed):
    """Surfaces of every kind, optimal ones too, read as a target in all places: no proof may be found."""
    rng = np.random.default_rng(seed)
    lamps = ("D65", "A", "FL2", "FL11", "HP1", "LED-B3")
    views = [viewing(lamp) for lamp in rng.choice(lamps, 3, replace=False)]
    measured = measured_surfaces().reflectances
    edge = optimal_reflectances(4)
    picked = np.concatenate(
        [measured[rng.integers(0, len(measured), 12)], edge[rng.integers(0, len(edge), 4)]]
    )
    tried = 0
    for surface in picked:
        labs = np.array([v.screen(surface[None])[1][0] for v in views])
        target = labs.mean(axis=0)
        if worst_of(target, views, surface[None])[0] <= NEAR:
            tried += 1
            assert not proven_impossible(target, views, NEAR)
    for surface, view in zip(picked, views * 6, strict=False):
        tried += 1
        assert not proven_impossible(view.screen(surface[None])[1][0], [view], NEAR)
    assert tried > 15


def test_the_edge_of_the_solid_proves_that_a_colour_cannot_be():
    # a vivid green-blue on screen under a sodium lamp whose cast is kept: nothing reflects it
    view = viewing("HP1", Look(title="plain"), 3200)
    target = lab_from_signal(np.array([0.1, 0.5, 0.9]))
    assert proven_impossible(target, [view], NEAR)
    assert worst_of(target, [view], optimal_reflectances(1)).min() > NEAR


def test_two_places_that_ask_opposite_things_are_proven_apart():
    """One wall cannot read as the same mid grey where the light differs by two stops: the reflectance would
    have to be two."""
    from dataclasses import replace

    view = viewing("D65", Look(title="plain"), 6500)
    bright = Viewing(replace(view.site, level_stops=2.0), view.look)
    target = np.array([55.0, 0.0, 0.0])
    assert proven_impossible(target, [view, bright], NEAR)
    found = match(target, [view, bright], munsell_set())
    assert found.proven and not found.reachable
    assert any("object-colour solid of each" in s for s in found.verdict)


def test_not_found_is_not_called_impossible(monkeypatch):
    """Where neither a surface nor a proof is found the words say so."""
    module = importlib.import_module("lookdev.paint.match")  # lookdev.paint itself is the job

    monkeypatch.setattr(module, "proven_impossible", lambda *_: False)
    view = viewing("HP1", Look(title="plain"), 3200)
    found = match(lab_from_signal(np.array([0.1, 0.5, 0.9])), [view], munsell_set())
    assert not found.reachable and not found.proven
    text = " ".join(found.verdict)
    assert "No paint that we tried" in text and "no proof" in text
    assert "surface of any kind" not in text


def test_search_is_the_same_each_time():
    views = [viewing("A"), viewing("FL11")]
    seeds = munsell_set().reflectances[::500]
    one, two = (nearest_surface(np.array([50.0, 10, 10]), views, seeds) for _ in range(2))
    assert np.array_equal(one[0], two[0]) and one[1] == two[1]
