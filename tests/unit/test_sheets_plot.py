"""Plots: round ticks, data where the axes say, words that keep out of each other's way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lookdev.colorimetry.illuminants import illuminant_xy
from lookdev.colorimetry.temperature import uv1976_from_xy
from lookdev.errors import SheetError
from lookdev.pages.chromaticity import chromaticity_plot, spectral_locus
from lookdev.pages.document import Document
from lookdev.pages.plot import Axis, Plot, clip_segment, round_ticks
from lookdev.pages.setting import Box


@given(st.floats(-1e3, 1e3), st.floats(1e-2, 1e4), st.integers(2, 12))
def test_ticks_are_inside_and_evenly_spaced(low, span, most):
    ticks = round_ticks(low, low + span, most)
    assert len(ticks) <= most + 1
    assert all(low - span * 1e-6 <= t <= low + span * (1 + 1e-6) for t in ticks)
    if len(ticks) > 2:
        assert np.diff(ticks) == pytest.approx(np.diff(ticks)[0], rel=1e-6)


def test_an_axis_may_run_backwards():
    assert round_ticks(1, 0, 3) == [1.0, 0.5, 0.0]


def test_an_axis_without_length_is_refused():
    with pytest.raises(SheetError, match="two different finite ends"):
        round_ticks(1.0, 1.0)


def test_segments_are_cut_at_the_box():
    box = Box(0, 0, 10, 10)
    assert clip_segment((-5, 5), (15, 5), box) == ((0, 5), (10, 5))
    assert clip_segment((-5, -5), (-1, 20), box) is None
    assert clip_segment((2, 2), (3, 3), box) == ((2, 2), (3, 3))


def test_a_point_lands_where_the_axes_say():
    doc = Document("t", surround=(255, 255, 255))
    page = doc.new_page()
    plot = Plot(page, 50, 50, 300, 200, Axis(0, 10), Axis(-1, 1))
    plot.points([2.5], [0.5], kind="square", size=4, fill=(255, 0, 0))
    red = np.argwhere((doc.png_pages()[0] == (255, 0, 0)).all(axis=-1)).mean(axis=0) * doc.pixel
    assert red == pytest.approx([plot.y_of(0.5), plot.x_of(2.5)], abs=0.3)
    f = plot.frame
    assert plot.x_of(2.5) == pytest.approx(f.left + f.width / 4)
    assert plot.y_of(0.5) == pytest.approx(f.top + f.height / 4)


def test_a_curve_with_gaps_and_values_outside_stays_in_the_frame():
    doc = Document("t", surround=(255, 255, 255))
    page = doc.new_page()
    plot = Plot(page, 50, 50, 300, 200, Axis(0, 1), Axis(0, 1))
    x = np.linspace(-1, 2, 50)
    y = np.where((x > 0.4) & (x < 0.6), np.nan, x * 3 - 1)
    plot.curve(x, y, colour=(0, 0, 255))
    blue = np.argwhere((doc.png_pages()[0] == (0, 0, 255)).all(axis=-1)) * doc.pixel
    f = plot.frame
    assert len(blue) > 50
    assert blue[:, 1].min() >= f.left - 1 and blue[:, 1].max() <= f.right + 1
    assert blue[:, 0].min() >= f.top - 1 and blue[:, 0].max() <= f.bottom + 1


def test_spectral_locus_against_published_chromaticities():
    """CIE 15:2018 table 6 (CIE 1931 observer): 520 nm x 0.0743, y 0.8338; 600 nm x 0.6270, y 0.3725."""
    locus = spectral_locus("xy")
    assert locus[520 - 380] == pytest.approx([0.0743, 0.8338], abs=2e-4)
    assert locus[600 - 380] == pytest.approx([0.6270, 0.3725], abs=2e-4)


SHARES = np.linspace(0, 1, 400)


@pytest.mark.parametrize("diagram", ["uv1976", "xy"])
def test_chromaticity_plot_with_crowded_lamps(diagram):
    names = ["D65", "D50", "D55", "A", "HP1", "FL2", "FL4", "LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5"]
    xy = np.array([illuminant_xy(n) for n in names])
    at = xy if diagram == "xy" else uv1976_from_xy(xy)
    doc = Document("t")
    page = doc.new_page("t", "s")
    plot = chromaticity_plot(
        page, 40, 60, 300, 300, diagram=diagram, marks=[(*p, n) for p, n in zip(at, names, strict=True)]
    )
    assert doc.faults() == []
    shown = " ".join(t.what for t in page.texts)
    assert all(name in shown for name in names), "a lamp's name was lost"
    assert plot.bottom < page.content.bottom


def test_kelvins_keep_clear_of_a_fixtures_gamut():
    corners = uv1976_from_xy(np.array([(0.60, 0.33), (0.30, 0.55), (0.17, 0.10)]))
    doc = Document("t")
    page = doc.new_page("t", "s")
    plot = chromaticity_plot(page, 40, 60, 300, 300, across=(0.0, 0.43), up=(0.15, 0.58), gamut=corners)
    edge = [
        a + (b - a) * t for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True) for t in SHARES
    ]
    words = [t for t in page.texts if t.what.endswith(" K")]
    assert len(words) >= 4
    for u, v in edge:
        x, y = plot.x_of(u), plot.y_of(v)
        assert not any(t.left < x < t.right and t.top < y < t.bottom for t in words)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-0.5, 1.5), st.floats(-0.5, 1.5), st.text(max_size=20)), max_size=15),
    st.text(max_size=60),
    st.text(max_size=60),
)
def test_words_on_a_plot_never_overlap(marks, title, label):
    doc = Document("t")
    page = doc.new_page("t")
    plot = Plot(page, 50, 60, 260, 200, Axis(0, 1, label), Axis(0, 1, "up"), title=title)
    plot.points([m[0] for m in marks], [m[1] for m in marks], labels=[m[2] for m in marks])
    plot.curve([0, 1], [0, 1], label=label)
    assert doc.faults() == []
