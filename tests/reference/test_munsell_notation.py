"""Munsell notation against colour-science's own conversions and its published doc values.

Sources: ASTM D1535-08e1 (value and luminance); the renotation of Newhall, Nickerson and Judd 1943; the values
in colour-science's documentation of munsell_value_ASTMD1535, munsell_colour_to_xyY, xyY_to_munsell_colour.
"""

import warnings

import numpy as np
import pytest

from lookdev.colorimetry import munsell_notation as m
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.make_munsell_renotation import FILE, renotation_csv


def test_file_is_what_the_maker_writes():
    assert FILE.read_text("utf-8") == renotation_csv()


@pytest.mark.parametrize(
    ("value", "y"),
    # ASTM D1535-08e1: luminance factor in percent
    [
        (1, 1.1796), (2, 3.0477), (3, 6.3908), (4, 11.700), (5, 19.272),
        (6, 29.301), (7, 41.985), (8, 57.619), (9, 76.697),
    ],
)  # fmt: skip
def test_value_and_luminance(value, y):
    assert 100 * m.luminance_factor(value) == pytest.approx(y, abs=0.005)
    assert m.value_from_luminance(y / 100) == pytest.approx(value, abs=0.002)


def test_every_real_renotation_colour_comes_back():
    table = m.renotation()
    real = table.real
    assert real.sum() == 2734
    xyy = m.xyy_from_munsell(table.hue[real], table.value[real], table.chroma[real])
    assert np.abs(xyy[:, :2] - table.xy[real]).max() < 1e-12
    back = m.munsell_from_xyy(xyy)
    assert np.abs((back[:, 0] - table.hue[real] + 50) % 100 - 50).max() < 1e-3
    assert np.abs(back[:, 1] - table.value[real]).max() < 1e-9
    assert np.abs(back[:, 2] - table.chroma[real]).max() < 1e-2


def test_forward_against_colour_science():
    colour, table = colour_science(), m.renotation()
    rng = np.random.default_rng(7)
    rows = rng.choice(np.flatnonzero(table.real & (table.chroma >= 4)), 40, replace=False)
    hue = (table.hue[rows] + rng.uniform(-1.2, 1.2, 40)) % 100
    value = np.clip(table.value[rows] + rng.uniform(-0.4, 0.4, 40), 1, 9)
    chroma = table.chroma[rows] - rng.uniform(0, 2, 40)
    theirs = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for h, v, c in zip(hue, value, chroma, strict=True):
            theirs.append(colour.munsell_colour_to_xyY(f"{m.hue_name(h, 4)} {v:.4f}/{c:.4f}"))
    off = np.abs(m.xyy_from_munsell(hue, value, chroma) - np.array(theirs))
    assert off.max() < 0.006 and off.mean() < 3e-4  # they go straight or round between hues; we go round
    back = m.munsell_from_xyy(np.array(theirs))
    assert np.abs((back[:, 0] - hue + 50) % 100 - 50).max() < 0.2  # steps of the circle of 100
    assert np.abs(back[:, 1] - value).max() < 1e-3
    assert np.abs(back[:, 2] - chroma).max() < 0.4
    assert np.abs(back[:, 2] - chroma).mean() < 0.05


def test_documented_example_of_colour_science():
    # xyY_to_munsell_colour([0.38736945, 0.35751656, 0.59362000]) is 4.2YR 8.1/5.3
    hue, value, chroma = m.munsell_from_xyy([0.38736945, 0.35751656, 0.59362000])[0]
    assert hue == pytest.approx(14.2, abs=0.1)
    assert value == pytest.approx(8.1, abs=0.05)
    assert chroma == pytest.approx(5.3, abs=0.1)


@pytest.mark.parametrize(
    ("text", "hue", "value", "chroma"),
    [
        ("5YR 6/4", 15, 6, 4),
        ("7.5 yr 6.5/4.2", 17.5, 6.5, 4.2),
        ("2,5PB 4,5/6", 72.5, 4.5, 6),
        ("10RP5/8", 0, 5, 8),
        ("N 5.5", 0, 5.5, 0),
        ("n9.5/", 0, 9.5, 0),
        ("N 4/0", 0, 4, 0),
    ],
)
def test_notations_as_people_write_them(text, hue, value, chroma):
    assert m.parse_notation(text) == m.Munsell(hue, value, chroma)


@pytest.mark.parametrize(
    "text", ["", "5XR 6/4", "5YR 6", "5YR 11/4", "11YR 6/4", "N 12", "N", "5YR 6/400", "YR/4"]
)
def test_not_a_notation(text):
    with pytest.raises(ValueError):
        m.parse_notation(text)


def test_highest_real_chroma():
    # the renotation's 5R at value 4 ends at chroma 14 (real), its 5Y at value 8 at 16 or more
    table = m.renotation()
    for hue, value in ((5.0, 4.0), (25.0, 8.0), (65.0, 5.0)):
        rows = table.real & (table.hue == hue) & (table.value == value)
        assert m.highest_real_chroma(hue, value)[0] == table.chroma[rows].max()
