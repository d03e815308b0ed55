"""Choices as directors send them back: mailed, quoted, broken, retyped."""

from __future__ import annotations

import pytest

from lookdev.pages.choices import Choice, choices_text, read_choices
from lookdev.pages.pitch_model import PitchLook, codes, to_shape
from lookdev.text.frame import frame_ratio

PLACES = ["LOADING DOCK 3", "NET LOFT"]
LOOKS = [
    PitchLook("Slack water", "", "SLACK WATER", "39793fb37233"),
    PitchLook("First ferry", "", "FIRST FERRY", "0123456789ab"),
]


def test_what_the_page_writes_comes_back() -> None:
    made = (
        Choice("LOADING DOCK 3", "SLACK WATER", "less cold", "39793fb37233"),
        Choice("NET LOFT", None, "see it again"),
    )
    back = read_choices(choices_text("Low Ferry", made), PLACES, LOOKS)
    assert back.choices == made
    assert back.not_understood == ()


@pytest.mark.parametrize(
    "text",
    [
        "> > LOADING DOCK 3 · SLACK WATER · 39793fb37233\r\n",
        "Loading dock 3: Slack water",
        "loading dock 3 - slack water",
        "LOADING\N{NO-BREAK SPACE}DOCK 3 | SLACK WATER | 39793FB37233",
        "LOADING DOCK 3 · a name that was changed · 39793fb37233",
    ],
)
def test_mail_and_people_change_it(text: str) -> None:
    (choice,) = read_choices(text, PLACES, LOOKS).choices
    assert (choice.place, choice.look, choice.changed) == ("LOADING DOCK 3", "SLACK WATER", False)


def test_a_look_that_changed_since_is_named() -> None:
    (choice,) = read_choices("NET LOFT · FIRST FERRY · ffffffffffff", PLACES, LOOKS).choices
    assert choice.look == "FIRST FERRY" and choice.changed


def test_words_that_mail_broke_are_whole_and_the_last_choice_counts() -> None:
    text = "NET LOFT · FIRST FERRY\nNET LOFT · SLACK WATER\n    words: colder, and\n    darker\n"
    assert read_choices(text, PLACES, LOOKS).choices == (
        Choice("NET LOFT", "SLACK WATER", "colder, and darker"),
    )


def test_what_is_not_understood_is_given_back() -> None:
    back = read_choices(
        "Hello!\nNET LOFT · NO SUCH LOOK\nELSEWHERE · SLACK WATER\nwords: whose?\n", PLACES, LOOKS
    )
    assert back.choices == ()
    assert back.not_understood == (
        "Hello!",
        "NET LOFT · NO SUCH LOOK",
        "ELSEWHERE · SLACK WATER",
        "words: whose?",
    )


def test_codes_are_words_and_none_comes_twice() -> None:
    names = ["Hall, A", "Hall, B", "Hall, B", "🎬", "<script>", "东京, x"]
    assert codes(names) == ["HALL A", "HALL B", "HALL B 2", "UNNAMED", "SCRIPT", "东京"]


@pytest.mark.parametrize(
    ("text", "ratio"), [("2.39:1", 2.39), ("1.85", 1.85), ("16:9", 16 / 9), ("4x3", 4 / 3), ("2,39", 2.39)]
)
def test_frames_as_they_are_typed(text: str, ratio: float) -> None:
    assert frame_ratio(text) == pytest.approx(ratio)


@pytest.mark.parametrize("text", ["", "wide", "0", "16:0", "9:1", "1:9"])
def test_no_frame(text: str) -> None:
    with pytest.raises(ValueError):
        frame_ratio(text)


@pytest.mark.parametrize("shift", [-1.0, 0.0, 1.0])
@pytest.mark.parametrize("size", [(6000, 4000), (3000, 4000), (101, 97), (2000, 500)])
def test_a_crop_lies_in_the_still(size: tuple[int, int], shift: float) -> None:
    left, top, width, height = to_shape(size, 2.39, shift)
    assert left >= 0 and top >= 0 and left + width <= size[0] and top + height <= size[1]
    assert width / height == pytest.approx(2.39, rel=0.02)
