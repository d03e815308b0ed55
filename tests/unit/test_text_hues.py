"""Hue names, one set: ASTM D1535's ten families; sRGB's primaries are called by their own names."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.munsell import FAMILIES
from lookdev.looks.model import Look
from lookdev.lut.words import colour_words, plain_words
from lookdev.paint.words import what_changed
from lookdev.text.hues import FAMILY_NAMES, family_words, hue_word, lab_hue_word

ROOT = Path(__file__).parents[2] / "lookdev"


def test_every_family_has_one_name_in_the_standards_order() -> None:
    assert tuple(FAMILY_NAMES) == FAMILIES
    assert len(set(FAMILY_NAMES.values())) == 10
    assert [hue_word(5 + 10 * i) for i in range(10)] == list(FAMILY_NAMES.values())
    assert (
        hue_word(10.0) == "red" and hue_word(10.1) == "orange"
    )  # 10R is the end of the reds (D1535, fig. 1)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_look_and_a_paint_call_a_family_by_the_same_name(family: str) -> None:
    look = Look.model_validate({"title": "x", "colour": {"families": {family: {"chroma": 0.5}}}})
    assert plain_words(look) == [f"{family_words(family)} down 50%"]
    assert family_words(family) == FAMILY_NAMES[family] + "s"


@pytest.mark.parametrize(
    ("lab", "name"),  # sRGB's primaries and secondaries in CIELAB, IEC 61966-2-1 through CIE 15:2018
    [
        ((53.2, 80.1, 67.2), "red"),
        ((97.1, -21.6, 94.5), "yellow"),
        ((87.7, -86.2, 83.2), "green"),
        ((91.1, -48.1, -14.1), "blue-green"),
        ((32.3, 79.2, -107.9), "blue"),
        ((60.3, 98.2, -60.8), "purple"),
    ],
)
def test_screen_primaries(lab: tuple[float, float, float], name: str) -> None:
    assert lab_hue_word(float(np.degrees(np.arctan2(lab[2], lab[1])))) == name
    assert colour_words(lab).endswith(name)


def test_every_angle_has_a_name_of_the_set() -> None:
    names = {lab_hue_word(angle) for angle in range(-720, 720)}
    assert names == set(FAMILY_NAMES.values())


def test_a_tint_is_named_from_the_set() -> None:
    assert what_changed([50, 0, 0], [50, 8, 20]).endswith("tinted orange")


def test_no_second_set_of_names() -> None:
    own = re.compile(
        r"\"(yellow-green|green-yellow|blue-greens?|violet-blues?|purple-blues?|magentas|teal)\""
    )
    found = {p.relative_to(ROOT).as_posix() for p in ROOT.rglob("*.py") if own.search(p.read_text("utf-8"))}
    assert found == {"text/hues.py", "paint/words.py"}  # the latter: what a painter calls a paint, "teal"
