"""Does "9 in 10 within" hold? Counted on measured surfaces, whole sets left out.

Truth: the measured spectrum through lamp, camera and look. Said: what its colour alone would have given.
Sources: data sets of colour-science (see ``paint.measured``). Bound: the issue's own, 85 to 95%.
"""

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.stages.balance import Balance
from lookdev.looks.stages.colour import Colour
from lookdev.paint.chip import Chip, ChipSet, munsell_xyz
from lookdev.paint.light import light_from_illuminant
from lookdev.paint.measured import measured_surfaces
from lookdev.paint.predict import Site, Viewing, screen_within
from lookdev.paint.recovery import sigmoid_coefficients, sigmoid_reflectance
from lookdev.paint.spectra import illuminant_weights
from lookdev.paint.sureness import residuals_of, within

LAMPS = ("D65", "A", "FL2", "FL11", "HP1", "LED-B3")
LOOKS = (
    Look(title="plain"),
    Look(title="held", balance=Balance(keep=0.35, mired=-12), colour=Colour(saturation=0.7)),
    Look(title="grey", balance=Balance(keep=0.0), colour=Colour(saturation=0.1)),
)


def viewings():
    camera = tuple(float(v) for v in balance_white_xy(4300))
    for lamp in LAMPS:
        light = light_from_illuminant(lamp)
        for look in LOOKS:
            site = Site(lamp, light, camera, "test", Cast(light.xy, camera))
            yield Viewing(site, look, get_encoding("ACEScct"))


def coverage(truth, estimates, known, munsell=False):
    """Share of surfaces (per viewing) that lie within what is said of their estimate."""
    others = known.alternatives(estimates, munsell)
    out = []
    for v in viewings():
        said = within(v.site.scene(estimates), v.site.scene(others), v.lab)
        missed = ciede2000(v.screen(estimates)[1], v.screen(truth)[1])
        out.append(missed <= said)
    return np.array(out)


@pytest.mark.parametrize("illuminant", ["D50", "C"])
def test_colours_by_instrument_are_covered_nine_in_ten_whole_sets_left_out(illuminant, capsys):
    every = measured_surfaces()
    weights = illuminant_weights(illuminant)
    held, lines = [], []
    for name in dict.fromkeys(every.sets):
        truth = every.only(name).reflectances
        coefficients, left = sigmoid_coefficients(truth @ weights, weights)
        known = residuals_of(every.without(name), illuminant)
        part = coverage(truth[left < 0.5], sigmoid_reflectance(coefficients)[left < 0.5], known)
        held.append(part)
        lines.append(f"{illuminant}  {name:38} {part.shape[1]:4} surfaces  {100 * part.mean():5.1f}%")
    pooled = np.concatenate(held, axis=1)
    with capsys.disabled():
        print("\nwithin what is said, of 18 lamps and looks:", *lines, sep="\n")
        print(f"{illuminant}  all {pooled.shape[1]}: {100 * pooled.mean():.1f}%")
    assert 0.85 <= pooled.mean() <= 0.95


def test_munsell_papers_are_covered_nine_in_ten():
    """The 14 papers of CIE 13.3-1995 with the notations that the standard gives them."""
    every = measured_surfaces()
    papers = every.only("CIE 13.3-1995")
    weights = illuminant_weights("C")
    named = np.stack([munsell_xyz(str(n)) for n in papers.notations])
    estimates = sigmoid_reflectance(sigmoid_coefficients(named, weights)[0])
    known = residuals_of(every.without("CIE 13.3-1995"), "C")
    assert 0.85 <= coverage(papers.reflectances, estimates, known, munsell=True).mean() <= 0.95


def test_a_munsell_notation_in_daylight_is_not_known_to_nothing():
    """The first edition said "± 0.0" under D65; measured papers lie about 1 off, one in ten more than 2."""
    camera = (0.3127, 0.3290)
    light = light_from_illuminant("D65")
    view = Viewing(Site("noon", light, camera), Look(title="plain"))
    names = ("7.5R 6/4", "5Y 6/4", "5PB 6/8", "10P 6/8")
    weights = illuminant_weights("C")
    coefficients, _ = sigmoid_coefficients(np.stack([munsell_xyz(n) for n in names]), weights)
    chips = ChipSet(
        "papers",
        tuple(Chip(n, kind="Munsell", conditions=("C", 2)) for n in names),
        sigmoid_reflectance(coefficients),
    )
    said = screen_within(chips, view)
    assert all(1.0 < s < 3.0 for s in said)
