"""Wall against costume and skin: what merges, what parts, against sums made here."""

from dataclasses import replace

import numpy as np

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.stages.balance import Balance
from lookdev.looks.stages.colour import Colour
from lookdev.paint.apart import joined, looks_that_part, pairs
from lookdev.paint.chip import Chip, ChipSet, munsell_set
from lookdev.paint.light import light_from_illuminant
from lookdev.paint.measured import measured_surfaces
from lookdev.paint.predict import Site, Viewing, predict_sites
from lookdev.paint.recovery import sigmoid_coefficients, sigmoid_reflectance
from lookdev.paint.spectra import illuminant_weights

PLAIN = Look(title="plain", balance=Balance(keep=0.0))
GREY = Look(title="grey", balance=Balance(keep=0.0), colour=Colour(saturation=0.0))


def site(lamp):
    light = light_from_illuminant(lamp)
    camera = tuple(float(v) for v in balance_white_xy(4300))
    return Site(lamp, light, camera, "test", Cast(light.xy, camera))


def of(*names):
    have = [c.name for c in munsell_set().chips]
    return munsell_set().subset([have.index(n) for n in names])


def test_red_and_green_of_one_lightness_merge_in_black_and_white_only():
    found = pairs(predict_sites(of("5R 5/6", "5G 5/6"), [site("D65")], [PLAIN, GREY]))
    by_look = {p.look: p for p in found}
    assert by_look["grey"].merges and by_look["grey"].words == "these two merge, though not in daylight"
    assert not by_look["plain"].merges and by_look["plain"].words == ""
    (sentence,) = looks_that_part(found)
    assert "apart through plain" in sentence


def test_a_metameric_pair_matches_in_daylight_and_parts_under_the_lamp():
    """A measured surface and the smooth reflectance of its colour: one under D65 by construction."""
    d65 = illuminant_weights("D65")
    surfaces = measured_surfaces().reflectances
    smooth = sigmoid_reflectance(sigmoid_coefficients(surfaces @ d65, d65)[0])
    view = Viewing(site("FL11"), PLAIN)
    moved = ciede2000(view.screen(surfaces)[1], view.screen(smooth)[1])
    i = int(np.argmax(np.where(np.abs(surfaces @ d65 - smooth @ d65).max(axis=1) < 1e-6, moved, 0)))
    both = ChipSet("pair", (Chip("measured"), Chip("smooth")), np.stack([surfaces[i], smooth[i]]))
    (pair,) = pairs(predict_sites(both, [site("FL11")], [PLAIN]))
    assert pair.in_daylight < 0.1
    assert abs(pair.ciede2000 - moved[i]) < 1e-9
    assert pair.words == "match in daylight, part on screen" or pair.merges


def test_numbers_are_those_of_the_screen_and_only_the_wall_is_held_against_skins():
    wall, skins = of("5BG 5/4"), of("5YR 6/4", "5YR 4/4")
    tables = predict_sites(joined([wall, skins]), [site("HP1"), site("A")], [PLAIN], get_encoding("ACEScct"))
    found = pairs(tables, firsts=1)
    assert len(found) == 2 * 2 and {p.one for p in found} == {"5BG 5/4"}
    assert [p.ciede2000 for p in found] == sorted(p.ciede2000 for p in found)
    for p in found:
        view = Viewing(site(p.place), PLAIN, get_encoding("ACEScct"))
        one, two = (view.screen(of(n).reflectances)[1][0] for n in (p.one, p.two))
        assert abs(p.ciede2000 - float(ciede2000(one, two))) < 1e-9
        assert abs(p.lightness - (two[0] - one[0])) < 1e-9


def test_how_sure_is_not_known_where_the_lamp_is_not():
    here = site("A")
    here = replace(here, light=replace(here.light, kind="adaptation"))
    (pair,) = pairs(predict_sites(of("5R 5/6", "5G 5/6"), [here], [PLAIN]))
    assert pair.within is None
