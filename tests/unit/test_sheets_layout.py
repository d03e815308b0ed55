"""Where pictures stand on sheets, as numbers: sizes, gaps, margins, how pages are filled."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.jobs.graded import thumbnail_edge_px
from lookdev.sheets.comparison import draw_comparison
from lookdev.sheets.layout import (
    FIRST_GAP,
    GAP,
    READABLE_EDGE,
    columns,
    fair_width,
    per_line,
    spread,
    worth_of_size,
)
from lookdev.sheets.overview import draw_overview
from lookdev.sheets.page import MARGIN, RASTER_DPI, Box, Document, Page
from lookdev.sheets.sheet_model import AS_IT_STOOD, Light, LookColumn, Row, SheetModel

LANDSCAPE, PORTRAIT, PANORAMA, SQUARE = (40, 60), (60, 40), (40, 80), (50, 50)
SHAPES = {
    "landscape": [LANDSCAPE] * 6,
    "portrait": [PORTRAIT] * 6,
    "panorama": [PANORAMA] * 6,
    "mixed": [LANDSCAPE, PORTRAIT, PANORAMA, LANDSCAPE, SQUARE, PORTRAIT],
}
SODIUM = Light("sodium lamp", 1960, 0.0010, (0.533, 0.415), 120, 3200)
PARAMETERS = ("−0.4 stops", "keeps 35 % of the cast", "contrast 1.18", "saturation 0.55")
SMALLEST_IN_OVERVIEW = 72.0  # an inch, up to six locations and eight looks
DPI = 72  # pictures are small then, and a pixel is a point


def sheet(shapes, looks: int, words: str = "mired, Duv") -> SheetModel:
    heads = (LookColumn(AS_IT_STOOD), *(LookColumn(f"Look {i}", PARAMETERS) for i in range(1, looks + 1)))
    rows = tuple(
        Row(
            f"still_{n}.jpg",
            ("1/60 s · f/2.8 · ISO 800", "in the picture: 2710 K, Duv +0.0012"),
            (np.full((*shape, 3), 90, np.uint8),) * (looks + 1),
            ("", *(f"+{100 + n} {words} +0.0012 taken out" for _ in range(looks))),
        )
        for n, shape in enumerate(shapes)
    )
    return SheetModel("Low Ferry", "Net loft", heads, rows, (SODIUM,))


def overview(shapes, looks: int) -> SheetModel:
    scale = 14 if len(shapes) == 1 else 1  # one location's pictures have the samples to fill a page
    base = sheet([(h * scale, w * scale) for h, w in shapes], looks)
    rows = tuple(Row(f"Place {n}", (SODIUM.line(),), r.pictures) for n, r in enumerate(base.rows, 1))
    return SheetModel("Low Ferry", "Overview", base.columns, rows)


def edges(doc: Document) -> list[float]:
    return [max(box.width, box.height) for page in doc.pages for box in page.pictures]


def lines_of(page: Page) -> list[list[Box]]:
    """Pictures by the line that they stand in, from left to right."""
    lines = defaultdict(list)
    for box in page.pictures:
        lines[round(box.top, 3)].append(box)
    return [sorted(lines[top], key=lambda b: b.left) for top in sorted(lines)]


def assert_inside_the_margins(doc: Document) -> None:
    for page in doc.pages:
        for box in page.pictures:
            assert box.left >= page.content.left - 0.6 * doc.pixel
            assert box.right <= page.content.right + 0.6 * doc.pixel
            assert page.content.top <= box.top and box.bottom <= page.content.bottom + doc.pixel
        for box in page.texts:
            assert box.left >= MARGIN - 0.1 and box.right <= page.width - MARGIN + 0.1
            assert box.bottom <= page.height - MARGIN + 8


def assert_even_gaps(doc: Document, group: int) -> None:
    """Steps from picture to picture are equal, but for one more step after "as it stood"."""
    for page in doc.pages:
        for line in lines_of(page):
            for start in range(0, len(line), group):
                lefts = [box.left for box in line[start : start + group]]
                steps = [b - a for a, b in pairwise(lefts)]
                if len(steps) > 1:
                    assert max(steps[1:]) - min(steps[1:]) <= 0.01
                    assert -1.01 * doc.pixel <= steps[0] - steps[1] <= FIRST_GAP - GAP + 1.01 * doc.pixel


def blanks(page: Page) -> tuple[float, float]:
    """Widest blank over the pictures, and the blank under them, as shares of the content's height."""
    top, box = min(b.top for b in page.pictures), page.content
    words = sorted(
        (t for t in page.texts if box.top - 4 <= t.top and t.bottom <= top + 1), key=lambda t: t.top
    )
    bottoms = np.maximum.accumulate([t.bottom for t in words])
    above = max([0.0, *(t.top - bottom for t, bottom in zip(words[1:], bottoms, strict=False))])
    above = max(above, top - bottoms[-1])
    last = max(b.bottom for b in [*page.pictures, *(t for t in page.texts if t.top < box.bottom)])
    return float(above / box.height), (box.bottom - last) / box.height


def assert_well_laid(doc: Document, columns: int, where: str) -> None:
    """No faults, margins kept, even gaps, no wide blank over the pictures or under them."""
    assert doc.faults() == [], where
    assert_inside_the_margins(doc)
    assert_even_gaps(doc, columns)
    for page in doc.pages:
        above, below = blanks(page)
        assert above <= 0.25 and below <= 0.35, where


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("kind", SHAPES)
def test_comparison_sheets_of_all_sizes(paper, kind):
    """1 to 8 looks by 1 to 6 stills: no picture too small to judge, even gaps, margins kept, pages alike."""
    for looks in range(1, 9):
        for stills in range(1, 7):
            doc = draw_comparison(sheet(SHAPES[kind][:stills], looks), paper, dpi=DPI)
            where = f"{looks} looks, {stills} stills"
            assert_well_laid(doc, looks + 1, where)
            assert min(edges(doc)) >= READABLE_EDGE - doc.pixel, where
            per_page = [len(page.pictures) // (looks + 1) for page in doc.pages]
            assert sum(per_page) == stills
            if kind != "mixed":
                assert max(per_page) - min(per_page) <= 1, where
                assert max(edges(doc)) - min(edges(doc)) < 0.01, where


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("kind", SHAPES)
def test_overviews_of_all_sizes(paper, kind):
    for looks in range(1, 9):
        for places in range(1, 7):
            doc = draw_overview(overview(SHAPES[kind][:places], looks), paper, dpi=DPI)
            where = f"{looks} looks, {places} locations"
            assert_well_laid(doc, looks + 1, where)
            assert min(edges(doc)) >= SMALLEST_IN_OVERVIEW - doc.pixel, where
            per_page = [len(page.pictures) // (looks + 1) for page in doc.pages]
            assert sum(per_page) == places and len(doc.pages) <= 3, where


@pytest.mark.parametrize("draw", [draw_comparison, draw_overview])
def test_lines_of_a_page_are_spread_evenly(draw):
    make = sheet if draw is draw_comparison else overview
    doc = draw(make([LANDSCAPE] * 6, 5), dpi=DPI)
    assert [len(page.pictures) for page in doc.pages] == [18, 18]
    for page in doc.pages:
        tops = [line[0].top for line in lines_of(page)]
        assert np.ptp(np.diff(tops)) <= 1.01 * doc.pixel
        assert page.content.bottom - page.pictures[-1].bottom < 0.16 * page.content.height


def test_a_single_portrait_with_five_looks_stands_three_by_two():
    doc = draw_comparison(sheet([PORTRAIT], 5), dpi=DPI)
    assert [len(line) for line in lines_of(doc.pages[0])] == [3, 3]
    assert min(edges(doc)) > 190


@pytest.mark.parametrize("shape", [LANDSCAPE, PORTRAIT, PANORAMA, SQUARE])
@pytest.mark.parametrize("looks", range(1, 10))
def test_a_single_still_fills_its_lines(shape, looks):
    """As many pictures in each line, the last line's gaps at most one a line."""
    doc = draw_comparison(sheet([shape], looks), dpi=DPI)
    counts = [len(line) for line in lines_of(doc.pages[0])]
    assert len(doc.pages) == 1 and sum(counts) == looks + 1
    assert len(set(counts[:-1])) <= 1 and counts[0] - counts[-1] < len(counts)


def test_a_portrait_with_one_look_is_as_large_as_the_page():
    doc = draw_comparison(sheet([PORTRAIT], 1))
    assert min(edges(doc)) > 0.75 * doc.pages[0].content.height


def test_words_under_a_picture_do_not_break_at_taken_out():
    """Three stills leave narrow pictures: what all of a line say is said once, under the first."""
    doc = draw_comparison(sheet([LANDSCAPE, PORTRAIT, LANDSCAPE], 5, "mired or so, Duv"))
    texts = [t.what for t in doc.pages[0].texts]
    assert not any(t.strip() in ("out", "taken out") for t in texts)
    assert texts.count("Taken out of the cast:") == 3
    assert sum(t.endswith("Duv +0.0012") and t.startswith("+10") for t in texts) == 15


def test_the_overview_says_how_many_locations_once():
    doc = draw_overview(overview([LANDSCAPE] * 5, 3), dpi=DPI)
    said = [t.what.replace("\u00a0", " ") for t in doc.pages[0].texts]
    assert sum("5 locations" in t for t in said) == 1


@given(st.integers(1, 12), st.integers(1, 12))
def test_lines_are_filled_as_evenly_as_can_be(count, lines):
    across = per_line(count, lines)
    assert across * lines >= count > (across - 1) * lines


@given(st.floats(0, 500), st.integers(1, 8))
def test_what_is_spread_is_what_there_was(spare, count):
    above, between = spread(spare, count)
    below = spare - above - between * (count - 1)
    assert min(above, between) >= 0 and 0 <= below <= 0.61 * spare + 1e-9
    assert spread(-1.0, count) == (0.0, 0.0)


@given(st.integers(1, 12), st.floats(5, 300), st.floats(300, 800), st.booleans())
def test_columns_stay_within_their_width(count, picture, width, has_gutter):
    picture = min(picture, fair_width(width, count))
    made = columns(34.0, width, count, picture, 0.36, least_words=90.0, has_gutter=has_gutter)
    assert made.count == count and made.margin >= 34.0 - 1e-6
    assert made.lefts[-1] + max(picture, made.words) <= 34.0 + width + 0.36
    assert made.lefts[0] >= made.margin + made.gutter - 0.36
    steps = np.diff(made.lefts)
    assert (steps >= made.words - 0.36).all() and np.ptp(steps[1:] if count > 2 else [0.0]) < 1e-6


def test_larger_pictures_are_worth_more_and_ever_less_so():
    sizes = np.array([40.0, 80.0, 95.0, 120.0, 150.0, 200.0, 380.0])
    worth = np.array([worth_of_size(float(s)) for s in sizes])
    slopes = np.diff(worth) / np.diff(np.log(sizes))
    assert (slopes > 0).all() and (np.diff(slopes) <= 1e-9).all()


def test_a_further_page_of_panoramas_has_each_title_once():
    """They stand in wide cells, with their titles under them; heads of narrow columns would be in the way."""
    doc = draw_comparison(sheet([LANDSCAPE, LANDSCAPE, PANORAMA], 4), dpi=DPI)
    assert [len(page.pictures) for page in doc.pages] == [10, 5]
    assert [sum(t.what.endswith("Look 1") for t in page.texts) for page in doc.pages] == [1, 1]


@pytest.mark.parametrize("kind", SHAPES)
def test_no_picture_of_a_batch_is_enlarged(kind):
    """A still's small pictures have the samples that its place on any sheet shows at 200 dots an inch."""
    for looks in range(1, 9):
        for stills in (1, 2, 3, 5, 6):
            sizes = [(s[0] * 50, s[1] * 50) for s in SHAPES[kind][:stills]]
            samples = [thumbnail_edge_px(size, stills, looks + 1) for size in sizes]
            doc = draw_comparison(sheet(SHAPES[kind][:stills], looks), dpi=DPI)
            for number, edge in enumerate(edges(doc)):
                assert edge * RASTER_DPI / DPI <= samples[number // (looks + 1)] + RASTER_DPI / DPI


@pytest.mark.parametrize("samples", [360, 500, 1100])
def test_an_overview_of_one_location_is_no_larger_than_its_samples(samples):
    pictures = (np.full((samples * 2 // 3, samples, 3), 90, np.uint8),) * 6
    base = overview([LANDSCAPE], 5)
    doc = draw_overview(replace(base, rows=(replace(base.rows[0], pictures=pictures),)))
    assert max(edges(doc)) <= samples * 72.0 / RASTER_DPI + doc.pixel
