"""One LUT a place, named for narrow lists: readings that a look can hardly tell apart share one."""

from __future__ import annotations

import re

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import ACESCCT, BT709, encoding_names, get_encoding
from lookdev.colorimetry.temperature import xy_from_cct
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.lut.error import appearance, picture_inputs
from lookdev.lut.naming import cube_tail, lut_file
from lookdev.lut.shared import APART, shared_places
from lookdev.names import Names
from lookdev.survey.footage import FootagePlace

NEUTRAL = Look.model_validate({"title": "n", "balance": {"keep": 0.0}})
CAMERA = (0.3127, 0.3290)


def place(location: str, kelvin: float) -> FootagePlace:
    x, y = xy_from_cct(kelvin)
    cast = Cast((float(x), float(y)), CAMERA, f"{kelvin:g} K")
    return FootagePlace(f"{location}, {kelvin:g}", location, cast, (f"{kelvin:g}.jpg",), "6504K", "")


def test_those_that_share_are_within_half_a_difference_and_the_others_are_not() -> None:
    places = [place("Hall", k) for k in (2900, 2920, 2940, 3400, 5600)] + [place("Quay", 2910)]
    found = shared_places(NEUTRAL, places, ACESCCT, BT709)
    assert [p.location for p in found] == ["Hall", "Hall", "Hall", "Quay"]
    assert found[0].stills == ("2920.jpg", "2900.jpg", "2940.jpg") and len(found[0].readings) == 3
    assert found[-1] == places[-1] and not found[-1].readings
    codes = picture_inputs(ACESCCT)[::40]

    def shown(one: FootagePlace) -> np.ndarray:
        return appearance(NEUTRAL.transform(ACESCCT, BT709, one.cast)(codes), BT709)

    for member in places[:3]:
        assert np.percentile(ciede2000(shown(member), shown(found[0])), 95) < APART
    assert np.percentile(ciede2000(shown(found[1]), shown(found[0])), 95) > APART


def test_a_look_that_keeps_the_cast_has_one_a_location() -> None:
    places = [place("Hall", 2900), place("Hall", 5600), place("Quay", 4000)]
    found = shared_places(Look(title="i"), places, ACESCCT, BT709)
    assert [p.name for p in found] == ["Hall", "Quay, 4000"]


@pytest.mark.parametrize("source", encoding_names())
def test_names_are_ascii_and_under_sixty_characters(source: str) -> None:
    names, seen = Names(), set()
    for size in (17, 65):
        for target in ("BT.709", "BT.709 narrow", "BT.2100 PQ 4000 narrow", source):
            tail = cube_tail(get_encoding(source), get_encoding(target), size)
            for label in ("", "Łódź_Øst_東_café_4300K", "Harbour_office_Velmsund_window_daylight_4300K"):
                for slug in ("slack_water", "a_look_with_a_very_long_name_indeed"):
                    seen.add(lut_file(names, slug, label, tail))
    assert len(seen) == 2 * 4 * 3 * 2
    assert all(re.fullmatch(r"[A-Za-z0-9_.@-]{8,59}", name) for name in seen)
