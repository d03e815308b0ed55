"""The names of illuminants are those that colour-science has a chromaticity and a spectrum for."""

from __future__ import annotations

import pytest

from lookdev.colorimetry.illuminants import find_illuminant, illuminant_names, nearest_names
from lookdev.colorimetry.library import colour_science


def test_names_are_the_librarys() -> None:
    colour = colour_science()
    wanted = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    assert illuminant_names() == [name for name in wanted if name in colour.SDS_ILLUMINANTS]
    assert all(find_illuminant(name) == name for name in illuminant_names())
    assert not any(nearest_names(name) for name in illuminant_names())


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        ("FL99", ("FL9", "FL8")),
        ("FL13", ("FL3", "FL1")),
        ("FL3.16", ("FL3.6", "FL3.1")),
        ("F7", ("FL7", "FL6")),
        ("HP9", ("HP5", "HP4")),
        ("CIE illuminant hp 6", ("HP5", "HP4")),
        ("D93", ("D75", "D65")),
        ("ID75", ("ID65", "ID50")),
        ("led b9", ("LED-B5", "LED-B4")),
        ("LED-BH7", ("LED-BH1",)),
    ],
)
def test_a_name_of_the_shape_of_an_illuminants(typed: str, near: tuple[str, ...]) -> None:
    assert nearest_names(typed) == near


@pytest.mark.parametrize(
    "words", ["", "window", "LED panel 3", "LED 2", "HMI 1", "5600 K", "F2.8", "D", "door 2", "D5600", "HP²"]
)
def test_free_words_are_free_words(words: str) -> None:
    assert nearest_names(words) == ()
