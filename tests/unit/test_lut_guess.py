"""Thirty LUTs of known making, their words taken away: what they take is guessed, and never wrongly with
confidence. Ten plain renderings, ten looks, ten of a foreign tone curve; encodings, displays, sizes drawn."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.encodings import BT709, get_encoding, with_range
from lookdev.colorimetry.rgb_spaces import matrix_between
from lookdev.looks.model import Look
from lookdev.looks.rendering import lift_curve
from lookdev.looks.toml_file import load_look
from lookdev.lut.bake import bake_cube
from lookdev.lut.cube import CubeLut, identity_cube, lattice_points
from lookdev.lut.guess import guesses
from lookdev.lut.inspection import inspection
from lookdev.lut.likeness import SURE, Guesses

TAKES = (
    *("ACEScct", "ARRI LogC3 ARRI Wide Gamut 3", "ARRI LogC4 ARRI Wide Gamut 4", "S-Log3 S-Gamut3.Cine"),
    *("S-Log3 S-Gamut3", "V-Log V-Gamut", "Canon Log 2 Cinema Gamut", "Canon Log 3 Cinema Gamut"),
    *("Log3G10 REDWideGamutRGB", "Apple Log Profile ITU-R BT.2020", "F-Log2 F-Gamut C", "N-Log N-Gamut"),
    *("D-Log DJI D-Gamut", "Blackmagic Film Generation 5 Blackmagic Wide Gamut", "sRGB"),
)
GIVES = ("BT.709", "BT.709", "sRGB", "P3-D65", "BT.2020", "BT.2100 PQ", "BT.2100 HLG")
LOOKS = sorted((Path(__file__).parent.parent / "fixed_looks").glob("*.toml"))
PLAIN = Look(title="plain")


def foreign(source: str, target: str, size: int, rng: np.random.Generator) -> CubeLut:
    """Exposure, contrast and saturation of its own, then a curve by channel in the display's primaries: an
    exponential shoulder, an extended Reinhard (2002) curve, a rational S-curve; coefficients from memory."""
    one, other = get_encoding(source), get_encoding(target)
    light = one.decode(lattice_points(size).reshape(-1, 3)) @ matrix_between(one.space, other.space).T
    light = lift_curve(light) if one.state == "output" else light
    luma = (light @ [0.2126, 0.7152, 0.0722])[:, None]
    light = np.maximum(luma + rng.uniform(0.75, 1.2) * (light - luma), 0.0)
    x = 0.18 * (light / 0.18 * 2.0 ** rng.normal(0, 0.4)) ** rng.uniform(0.95, 1.4)
    peak, kind = other.peak, rng.integers(3)
    curve = (
        peak * (1.0 - np.exp(-x / peak)),
        x * (1.0 + x / (6.0 * peak) ** 2) / (1.0 + x / peak),
        peak * (x * (2.51 * x + 0.03)) / (x * (2.43 * x + 0.59) + 0.14),
    )[kind]
    shown = np.clip(other.encode(np.clip(curve, 0.0, peak)), 0.0, 1.0)
    return CubeLut(np.round(shown, 6).reshape(size, size, size, 3))


@cache
def thirty() -> tuple[tuple[str, Guesses], ...]:
    rng = np.random.default_rng(20)
    made = []
    for number in range(30):
        source, target = TAKES[number % len(TAKES)], GIVES[rng.integers(len(GIVES))]
        size = (17, 17, 33)[rng.integers(3)]
        if number % 3 == 0:
            lut = foreign(source, target, size, rng)
        else:
            look = PLAIN if number % 3 == 1 else load_look(LOOKS[rng.integers(len(LOOKS))])
            lut = bake_cube(look.transform(get_encoding(source), get_encoding(target)), size)
        made.append((source, guesses(CubeLut(np.round(lut.table, 6)))))
    return tuple(made)


def test_at_least_twenty_four_of_thirty_first_guesses_are_right() -> None:
    right = [source == found.first.name for source, found in thirty()]
    print(f"\nfirst guesses right: {sum(right)} of {len(right)}, sure: {sum(f.sure for _, f in thirty())}")
    for (source, found), hit in zip(thirty(), right, strict=True):
        if not hit:
            print(f"  {source}: {found.words()}")
    assert sum(right) >= 24


def test_none_is_wrong_with_confidence() -> None:
    for source, found in thirty():
        if found.sure:
            assert found.first.name == source
            assert found.words() == f"takes {source}"
        elif found.known:
            assert "cannot" in found.words()


def test_beliefs_are_shares() -> None:
    for _, found in thirty():
        assert sum(like.belief for like in found.takes) == pytest.approx(1.0)
        assert sum(found.outputs.values()) == pytest.approx(1.0)
        assert found.takes == tuple(sorted(found.takes, key=lambda like: -like.belief))


@pytest.mark.parametrize("name", ["BT.2100 PQ", "BT.2100 HLG", "BT.2100 PQ 4000"])
def test_hdr_outputs_are_named(name: str) -> None:
    lut = bake_cube(PLAIN.transform(get_encoding("ARRI LogC4 ARRI Wide Gamut 4"), get_encoding(name)), 33)
    found = inspection(CubeLut(lut.table))
    kind = name.split()[1]
    assert any(f"output is {kind}" in line for line in found.expects())
    assert found.guess is not None and max(found.guess.outputs, key=found.guess.outputs.get) == kind


def test_two_that_are_as_likely_are_both_named() -> None:
    """A cube from one display to another of nearly the same curve says nothing sure of its own."""
    found = guesses(bake_cube(Look(title="g", colour={"saturation": 0.8}).transform(BT709, BT709), 17))
    assert not found.sure and "cannot tell" in found.words()
    assert {"sRGB", "BT.709"} & {like.name for like in found.as_likely} and found.first.belief < SURE


def test_a_look_alone_is_no_display_and_nothing_sure() -> None:
    """What stands before a display transform: near nothing on grey, in any encoding."""
    cct = get_encoding("ACEScct")
    for path in LOOKS:
        found = guesses(bake_cube(load_look(path).transform(cct, cct), 17))
        assert not found.sure and max(found.outputs, key=found.outputs.get) == "the same"


def test_linear_input_is_known_by_its_range() -> None:
    lut = bake_cube(PLAIN.transform(get_encoding("ACEScg"), BT709), 33)
    first = guesses(CubeLut(lut.table, shaper=lut.shaper)).first
    assert first.name == "ACEScg"


def test_a_narrow_log_is_known() -> None:
    source = with_range(get_encoding("V-Log V-Gamut"), "narrow")
    found = inspection(CubeLut(bake_cube(PLAIN.transform(source, BT709), 33).table))
    assert found.range_in == "narrow" and found.guess is not None
    assert found.guess.first.name == "V-Log V-Gamut"
    full = inspection(CubeLut(bake_cube(PLAIN.transform(get_encoding("V-Log V-Gamut"), BT709), 33).table))
    assert full.range_in == "full"


def test_nothing_is_guessed_of_the_identity() -> None:
    found = inspection(identity_cube(17))
    assert found.guess is None and "identity" in found.lines()[0][1]
