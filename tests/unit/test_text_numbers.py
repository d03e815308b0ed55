"""One reading reads the same wherever it stands: sheet, overview, light page, table, a still's line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lookdev.looks.stages.balance import describe_white
from lookdev.meter.log import Reading
from lookdev.meter.notes import reading_notes
from lookdev.meter.notes_words import colour_words
from lookdev.meter.scout import Plan
from lookdev.pages.from_batch import _light
from lookdev.pages.sheet_model import write_cct, write_duv
from lookdev.text import numbers

ROOT = Path(__file__).parents[2] / "lookdev"


@pytest.mark.parametrize("cct_k", [1950, 3994, 3996, 4305, 6504])
@pytest.mark.parametrize("duv", [0.0, -0.00004, 0.0031, -0.0123])
def test_one_reading_is_written_one_way(cct_k: float, duv: float) -> None:
    reading = Reading(cct_k=cct_k, duv=duv, illuminance_lux=18654.2)
    said = numbers.cct_duv(cct_k, duv)
    assert said.startswith(f"{cct_k} K, Duv ") and "-" not in said
    light = _light(reading)
    assert f"{write_cct(light.cct_k)}, Duv {write_duv(light.duv)}".replace("\u00a0", " ") == said
    assert colour_words(reading_notes(reading, Plan(), spectral=False)) == said
    assert reading.white_xy is not None
    assert describe_white(reading.white_xy) == said
    assert "18654" in light.line() and "18654" in numbers.lux(reading.illuminance_lux)


def test_nothing_is_minus_zero_and_minus_is_the_true_one() -> None:
    for write in (numbers.fixed, numbers.signed, numbers.unsigned):
        assert write(-1e-9, 3).strip("0.") == ""
        assert write(-2.5, 1) == "\u22122.5"


@pytest.mark.parametrize(("value", "text"), [(1e-5, "0.00001"), (0.0123, "0.0123"), (104321, "104321")])
def test_no_powers_of_ten(value: float, text: str) -> None:
    assert numbers.plain(value) == text


def test_nobody_else_writes_kelvin_duv_or_a_true_minus() -> None:
    own = re.compile(r":\.0f\}[ \u00a0]?K\b|:\+\.\df\}|, \"(−|\\N\{MINUS SIGN\})\"\)")
    found = {
        f"{path.relative_to(ROOT).as_posix()}: {match[0]}"
        for path in ROOT.rglob("*.py")
        for match in own.finditer(path.read_text("utf-8"))
    }
    assert not found
