"""Measured text: fallback by glyph, wrapping, shortening."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lookdev.pages import fonts

NAME = "Łódź · Øst 東 café"
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=60)


def test_every_character_of_the_name_has_a_glyph():
    assert fonts.missing_characters(NAME) == ""
    assert "".join(piece for _, piece in fonts.runs(NAME)) == NAME
    assert {name for name, piece in fonts.runs(NAME) if "東" in piece} == {"LookdevHan"}


def test_a_decomposed_name_is_composed():
    assert fonts.clean("cafe\u0301") == "café"


@pytest.mark.parametrize("char", ["🎬", "א", "ع", "한"])
def test_a_character_without_a_glyph_is_shown_by_its_number(char):
    shown = "".join(piece for _, piece in fonts.runs(f"Quay {char}"))
    assert shown == f"Quay [U+{ord(char):04X}]"


def test_control_characters_and_lone_surrogates_do_not_reach_the_page():
    assert fonts.clean("a\x00b\x1b[31m\tc\ud800") == "ab[31m c\N{REPLACEMENT CHARACTER}"


def test_figures_have_one_width_so_that_columns_of_numbers_align():
    assert len({fonts.text_width(d, 8.0) for d in "0123456789"}) == 1


def test_width_against_the_font_s_own_advance_widths():
    """Source Sans 3: figures are 497/1000 em at the regular weight (its hmtx table, 1000 units per em)."""
    assert fonts.text_width("0", 1000.0) == pytest.approx(497, abs=1)
    assert fonts.text_width("東", 10.0) == 10.0  # Han characters are one em wide


@settings(max_examples=200, deadline=None)
@given(WORDS, st.floats(20.0, 300.0), st.sampled_from([7.0, 9.0, 19.0]))
def test_wrapped_lines_fit_and_lose_nothing(text, width, size):
    lines = fonts.wrap(text, size, width)
    for line in lines:
        assert fonts.text_width(line, size) <= width + 1e-6 or len(line) == 1
    kept = "".join("".join(lines).split())
    assert kept == "".join("".join(fonts.clean(part) for part in text.split("\n")).split())


@settings(max_examples=100, deadline=None)
@given(WORDS, st.floats(10.0, 200.0))
def test_shortened_text_fits(text, width):
    short = fonts.shorten(text, 8.0, width)
    assert fonts.text_width(short, 8.0) <= width or short == "…"


def test_wrap_keeps_a_number_with_its_unit():
    assert fonts.wrap("lamp at 1960\u00a0K", 8.0, fonts.text_width("lamp at 1960", 8.0) + 1) == [
        "lamp at",
        "1960\u00a0K",
    ]
