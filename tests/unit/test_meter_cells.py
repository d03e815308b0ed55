"""Single cells of a meter log."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.meter import cells

TIMES = [
    ("17:05", "17:05"), ("5:05 pm", "17:05"), ("5.05PM", "17:05"), ("17h05", "17:05"), ("17h", "17:00"),
    ("1705", "17:05"), ("630", "06:30"), ("6am", "06:00"), ("12 am", "00:00"), ("12pm", "12:00"),
    ("17:05:30", "17:05"), ("2031-03-04T17:05", "17:05"), ("2031/03/04 5:05 p.m.", "17:05"),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "clock"), TIMES)
def test_clock(typed: str, clock: str) -> None:
    assert cells.clock(typed) == clock


@pytest.mark.parametrize("typed", ["25:00", "17:65", "noon", "5", "13pm", "17:5", "0pm", "-1:00", "17:05 x"])
def test_not_a_time(typed: str) -> None:
    with pytest.raises(cells.CellError):
        cells.clock(typed)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("0,3127", 0.3127),
        ("1 200", 1200),
        ("1'200.5", 1200.5),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        (".5", 0.5),
    ],
)
def test_numbers(typed: str, value: float) -> None:
    assert cells.number(typed, "") == value


@pytest.mark.parametrize(
    "typed", ["", "nan", "inf", "1e999", "1_000", "0x10", "1.2.3", "--1", "one", "1/2", "5+", "۵x"]
)
def test_not_a_number(typed: str) -> None:
    with pytest.raises(cells.CellError):
        cells.number(typed, "")


@pytest.mark.parametrize(
    ("typed", "unit", "lux"),
    [
        ("900", "lux", 900),
        ("1.2 klx", "lux", 1200),
        ("100 fc", "lux", 1076.391),
        ("100", "fc", 1076.391),
        ("900lx", "fc", 900),
    ],
)
def test_illuminance(typed: str, unit: str, lux: float) -> None:
    assert cells.illuminance(typed, unit) == pytest.approx(lux, abs=1e-3)


def test_a_thousand_or_one_and_a_bit() -> None:
    with pytest.raises(cells.CellError) as caught:
        cells.illuminance("1,200", "lux")
    assert caught.value.wanted == "1200 or 1.200"


def test_kilokelvin_gets_a_hint() -> None:
    with pytest.raises(cells.CellError) as caught:
        cells.cct("3.2")
    assert "3200 for 3.2" in caught.value.wanted


@given(st.floats(-1e9, 1e9))
def test_what_is_written_is_read(value: float) -> None:
    assert cells.number(repr(value), "") == value
    assert cells.number(repr(value).replace(".", ","), "") == value


@given(st.text(max_size=30))
def test_no_text_breaks_a_reader(text: str) -> None:
    readers = (
        cells.cct,
        cells.duv,
        cells.chromaticity,
        cells.clock,
        cells.grey_box,
        cells.camera_balance,
        cells.role,
    )
    for reader in (
        *readers,
        cells.patterns,
        lambda t: cells.illuminance(t, "lux"),
        lambda t: cells.number(t, ""),
    ):
        try:
            value = reader(text)
        except cells.CellError as error:
            assert error.problem
        else:
            assert not isinstance(value, float) or math.isfinite(value)
