"""Comparison sheets: nothing overlaps, nothing is lost, whatever the scout brings."""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import replace

import cv2
import numpy as np
import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import SheetError
from lookdev.pages import comparison
from lookdev.pages.comparison import READABLE_EDGE, comparison_sheet, draw_comparison, picture_edge_px
from lookdev.pages.document import Document
from lookdev.pages.sheet_model import (
    AS_IT_STOOD,
    AS_METERED,
    Light,
    LookColumn,
    Row,
    SheetModel,
    write_duv,
    write_foot_candles,
    write_lux,
)

LANDSCAPE, PORTRAIT, PANORAMA, SQUARE, CINEMA, TOWER = (
    (40, 60),
    (60, 40),
    (40, 80),
    (50, 50),
    (27, 64),
    (120, 20),
)
SODIUM = Light("sodium lamp", 1960, 0.0010, (0.533, 0.415), 120, 3200)
PARAMETERS = ("−0.4 stops", "keeps 35 % of the cast", "contrast 1.18", "saturation 0.55")


def picture(shape: tuple[int, int], tint: int = 0) -> np.ndarray:
    rows, columns = np.indices(shape)
    return np.stack([rows * 3 % 256, columns * 3 % 256, np.full(shape, tint * 25 % 256)], axis=-1).astype(
        np.uint8
    )


def row(name: str, shape: tuple[int, int], count: int, **more) -> Row:
    return Row(name, ("1/60 s", "f/2.8", "ISO 800"), tuple(picture(shape, i) for i in range(count)), **more)


def model(shapes, looks: int = 3, **more) -> SheetModel:
    columns = (LookColumn(AS_IT_STOOD), *(LookColumn(f"Look {i}", PARAMETERS) for i in range(1, looks + 1)))
    taken = ("", *(f"{10 * i} % of the cast taken out" for i in range(1, looks + 1)))
    options = {"production": "Low Ferry", "location": "Net loft", "lights": (SODIUM,)} | more
    rows = tuple(row(f"still_{n:02d}.jpg", s, looks + 1, taken_out=taken) for n, s in enumerate(shapes))
    return SheetModel(columns=columns, rows=rows, **options)


def text_of(doc: Document) -> str:
    pages = pypdf.PdfReader(io.BytesIO(doc.pdf_bytes())).pages
    return " ".join(" ".join(p.extract_text() for p in pages).replace("\u00a0", " ").split())


def sizes_px(doc: Document) -> list[tuple[int, int]]:
    return [(round(b.height / doc.pixel), round(b.width / doc.pixel)) for p in doc.pages for b in p.pictures]


def judged(doc: Document) -> list:
    """The pages with pictures; behind them come the numbers."""
    return [page for page in doc.pages if page.pictures]


def coverage(page) -> float:
    """Pictures' share of the page below its head."""
    area = sum(box.width * box.height for box in page.pictures)
    return area / (page.content.width * page.content.height)


SETS = {
    "landscape": [LANDSCAPE] * 3,
    "single": [LANDSCAPE],
    "portrait": [PORTRAIT] * 2,
    "panorama": [PANORAMA] * 4,
    "two panoramas": [PANORAMA] * 2,
    "mixed": [PORTRAIT, LANDSCAPE, LANDSCAPE],
    "many": [LANDSCAPE] * 9,
}


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("looks", [1, 2, 3, 4, 5, 8])
@pytest.mark.parametrize("shapes", SETS)
def test_sheets_are_sound_complete_and_full(paper, looks, shapes):
    sheet = model(SETS[shapes], looks)
    doc = draw_comparison(sheet, paper)
    assert doc.faults() == []
    pages = judged(doc)
    for page in pages:
        # two pictures of 3:2, side by side over the whole width of a letter page, are 0.54 of it
        assert coverage(page) >= (0.53 if (paper, len(page.pictures)) == ("letter", 2) else 0.55)
        lines = Counter(round(box.top, 2) for box in page.pictures)
        assert max(lines.values()) <= 1 + 4  # as it stood, and four looks
    stood = sum(1 for page in pages for box in page.pictures) - len(sheet.rows) * looks
    assert stood >= len(sheet.rows) and stood % len(sheet.rows) == 0  # on every page it begins again
    shown = text_of(doc)
    for wanted in ("Low Ferry", "Net loft", AS_IT_STOOD, "sodium lamp", "1960 K", "+0.0010", "120", "11.1"):
        assert wanted in shown
    assert "3200 K" in shown
    for r in sheet.rows:
        assert r.title in shown and shown.count("1/60 s") == len(sheet.rows)
    for i in range(1, looks + 1):
        assert f"Look {i}" in shown
        assert f"{10 * i} % of the cast taken out" in shown
    assert f"1 / {len(doc.pages)}" in shown


def test_numbers_stand_behind_on_white_and_pictures_on_grey():
    doc = draw_comparison(model([LANDSCAPE] * 3, 4))
    grey, white = (doc.png_pages()[i] for i in (0, len(doc.pages) - 1))
    assert tuple(grey[5, 5]) == (119, 119, 119) and tuple(white[5, 5]) == (255, 255, 255)
    first = pypdf.PdfReader(io.BytesIO(doc.pdf_bytes())).pages[0].extract_text()
    assert "1/60 s" not in first and "contrast 1.18" not in first


def test_four_pages_of_photographs_are_under_three_megabytes():
    rng = np.random.default_rng(4)
    fine = np.clip(128 + rng.normal(0, 30, (800, 1200, 3)), 0, 255).astype(np.uint8)
    fine = np.asarray(cv2.GaussianBlur(fine, (0, 0), 1.2))  # as fine as a lens draws
    columns = (LookColumn(AS_IT_STOOD), *(LookColumn(f"Look {i}") for i in range(4)))
    rows = tuple(Row(f"s{i}", (), (fine,) * 5) for i in range(9))
    doc = draw_comparison(SheetModel("t", "t", columns, rows))
    assert len(doc.pdf_bytes()) / len(judged(doc)) < 3e6 / 4


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_no_text_overlaps_or_leaves_the_page_whatever_is_written(data):
    words = st.one_of(
        st.text(max_size=30),
        st.text("abcdefghij_ -", max_size=120),
        st.sampled_from(["", "Łódź · Øst 東 café", "東京都港区" * 8, "W" * 90, "🎬 ע", "two\nlines"]),
    )
    looks = data.draw(st.integers(0, 8))
    count = looks + 1
    shapes = st.sampled_from([LANDSCAPE, PORTRAIT, PANORAMA, SQUARE, CINEMA, TOWER])
    rows = []
    for _ in range(data.draw(st.integers(1, 7))):
        shape = data.draw(shapes)
        pictures = tuple(
            None if data.draw(st.integers(0, 9)) == 0 else picture(shape, i) for i in range(count)
        )
        some = st.one_of(st.just(()), st.tuples(*[words] * count))
        details = tuple(data.draw(st.lists(words, max_size=4)))
        warnings = tuple(data.draw(st.lists(words, max_size=2)))
        rows.append(Row(data.draw(words), details, pictures, data.draw(some), data.draw(some), warnings))
    columns = tuple(
        LookColumn(data.draw(words), tuple(data.draw(st.lists(words, max_size=8)))) for _ in range(count)
    )
    number = st.one_of(st.none(), st.floats(0, 1e5))
    lights = tuple(
        Light(
            data.draw(words),
            data.draw(number),
            data.draw(number),
            None,
            data.draw(number),
            None,
            data.draw(words),
        )
        for _ in range(data.draw(st.integers(0, 8)))
    )
    notes, warnings = (tuple(data.draw(st.lists(words, max_size=2))) for _ in range(2))
    sheet = SheetModel(data.draw(words), data.draw(words), columns, tuple(rows), lights, notes, warnings)
    paper = data.draw(st.sampled_from(["a4", "letter"]))
    doc = draw_comparison(sheet, paper, dpi=72)
    assert doc.faults() == []
    made = sum(p is not None for r in rows for p in r.pictures)
    assert sum(len(p.pictures) for p in doc.pages) >= made


def test_thirty_stills_paginate_evenly_with_one_size_of_picture():
    doc = draw_comparison(model([LANDSCAPE] * 30, 3))
    per_page = [len(p.pictures) // 4 for p in judged(doc)]
    assert sum(per_page) == 30
    assert max(per_page) - min(per_page) <= 1 and min(per_page) > 1, "an orphan row"
    assert "Net loft, continued" in text_of(doc)


def test_the_picture_on_the_page_is_the_picture_in_linear_light():
    """Stripes of black and white: half the light is sRGB 188, not 128 (IEC 61966-2-1)."""
    stripes = np.zeros((2400, 3600, 3), np.uint8)
    stripes[:, ::2] = 255
    doc = draw_comparison(SheetModel("t", "t", (LookColumn(AS_IT_STOOD),), (Row("s", (), (stripes,)),)))
    box = doc.pages[0].pictures[0]
    left, top = round(box.left / doc.pixel), round(box.top / doc.pixel)
    middle = doc.png_pages()[0][top + 20 : top + 100, left + 20 : left + 100] / 255.0
    assert abs(float(SRGB.to_working(middle).mean()) - 0.5) < 0.01


@pytest.mark.parametrize("stills", [1, 2, 3, 6])
@pytest.mark.parametrize("aspect", [1.5, 2 / 3, 4 / 3])  # of most sensors
def test_a_picture_of_the_size_that_is_asked_for_is_not_resampled(stills, aspect):
    edge = picture_edge_px([aspect] * stills, 4)
    short = round(edge / max(aspect, 1 / aspect))
    shape = (short, edge) if aspect > 1 else (edge, short)
    doc = draw_comparison(model([shape] * stills, looks=4))
    assert set(sizes_px(doc)) == {shape}


def test_two_millimetres_less_do_not_make_a_page_for_each_look():
    """One upright still among wide ones, two columns that begin each page, six looks: the looks stand beside
    each other, though the smallest picture is a little under what is asked for."""
    shapes = [(203, 360), (360, 240), (240, 360), (203, 360)]
    columns = (LookColumn(AS_IT_STOOD), LookColumn(AS_METERED), *(LookColumn(f"Look {i}") for i in range(6)))
    rows = tuple(row(f"s{i}.jpg", shape, 8) for i, shape in enumerate(shapes))
    pages = judged(draw_comparison(SheetModel("Low Ferry", "Dock", columns, rows, repeated=2)))
    assert [len(page.pictures) for page in pages] == [4 * (2 + 3)] * 2
    assert min(map(coverage, pages)) >= 0.55
    assert min(max(box.width, box.height) for page in pages for box in page.pictures) > 0.95 * READABLE_EDGE


@pytest.mark.parametrize(("room", "pages"), [(0.9, 1), (0.5, 2)])
def test_numbers_go_to_a_page_of_their_own_where_their_last_lines_would(monkeypatch, room, pages):
    """Under the faces, where they have room; else none of them: not one more page for a line or two."""

    def faces(start, _):
        page = start()
        return page, page.content.bottom - room * page.content.height

    monkeypatch.setattr(comparison, "faces_block", faces)
    sheet = model([LANDSCAPE] * 6, 4, faces=("six of them",))
    behind = [page for page in draw_comparison(sheet).pages if not page.pictures]
    assert len(behind) == pages
    lowest = max(box.bottom for box in behind[-1].texts if box.bottom < behind[-1].content.bottom)
    assert (lowest - behind[-1].content.top) / behind[-1].content.height > 0.4


def test_what_was_taken_out_goes_under_the_pictures_where_rows_differ():
    taken = (("", "half the cast taken out"), ("", "balance untouched"))
    rows = tuple(row(f"s{i}.jpg", LANDSCAPE, 2, taken_out=t) for i, t in enumerate(taken))
    sheet = SheetModel("t", "t", (LookColumn(AS_IT_STOOD), LookColumn("Look")), rows)
    shown = text_of(draw_comparison(sheet))
    assert shown.count("half the cast taken out") == 1 and shown.count("balance untouched") == 1


def test_warnings_and_missing_readings_are_said():
    broken = row("s.jpg", LANDSCAPE, 4, warnings=("The embedded profile is broken; read as sRGB.",))
    sheet = model([LANDSCAPE], 3, lights=(), warnings=("The camera was on automatic balance.",))
    sheet = replace(sheet, rows=(*sheet.rows, broken))
    shown = text_of(draw_comparison(sheet))
    assert "The embedded profile is broken; read as sRGB." in shown
    assert "The camera was on automatic balance." in shown
    assert "No meter reading for this location." in shown


def test_a_name_in_many_scripts_reads_right_in_the_pdf():
    shown = text_of(draw_comparison(model([LANDSCAPE] * 2, 2, location="Łódź · Øst 東 café")))
    assert "Łódź · Øst 東 café" in shown and "[U+" not in shown


@pytest.mark.parametrize(("locations", "pages"), [(1, 1), (4, 1), (9, 3), (30, 9)])
def test_an_overview_has_every_location_on_few_pages(locations, pages):
    sheet = model([LANDSCAPE] * locations, 4, location="Overview", lights=())
    rows = tuple(
        Row("Sodium at dusk.", (SODIUM.line(),), r.pictures, heading=f"Place {i}")
        for i, r in enumerate(sheet.rows, 1)
    )
    doc = draw_comparison(SheetModel(sheet.production, sheet.location, sheet.columns, rows, noun="location"))
    assert doc.faults() == [] and len(judged(doc)) <= pages
    assert min(coverage(page) for page in judged(doc)) >= 0.4
    shown = text_of(doc)
    assert all(f"Place {i}" in shown for i in range(1, locations + 1))
    assert shown.count("1960 K Duv +0.0010 · 120 lx, 11.1 fc") == locations


def test_files_are_the_same_bytes_each_time(tmp_path):
    sheet = model([LANDSCAPE] * 5, 1)
    for name in ("a", "b"):
        comparison_sheet(sheet, tmp_path / name / "s.pdf", tmp_path / name / "s.png", "letter")
    first, second = (sorted((tmp_path / name).iterdir()) for name in ("a", "b"))
    assert [p.name for p in first] == [p.name for p in second] and len(first) >= 3
    assert all(p.read_bytes() == q.read_bytes() for p, q in zip(first, second, strict=True))


def test_an_ill_formed_sheet_is_refused():
    with pytest.raises(SheetError, match="at least one still"):
        SheetModel("t", "t", (LookColumn("a"),), ())
    with pytest.raises(SheetError, match="one entry a column"):
        SheetModel("t", "t", (LookColumn("a"), LookColumn("b")), (row("s", LANDSCAPE, 1),))
    with pytest.raises(SheetError, match="unknown paper"):
        draw_comparison(model([LANDSCAPE]), "A3")


def test_numbers_as_they_are_written():
    """1 fc = 10.764 lx; three figures, all digits before the point; Duv with four decimals and its sign."""
    assert [write_lux(v) for v in (0.0123, 9.876, 123.4, 104321, None)] == [
        "0.0123",
        "9.88",
        "123",
        "104321",
        "",
    ]
    assert [write_foot_candles(v) for v in (1076.4, 10.764)] == ["100", "1"]
    assert [write_duv(v) for v in (0.001, -0.00312, 0.0, -0.00001)] == [
        "+0.0010",
        "−0.0031",
        "0.0000",
        "0.0000",
    ]


def test_absurdly_many_and_long_words_still_give_a_sound_sheet():
    long = "word " * 2000
    many = tuple(f"Warning {i}: " + "and so on " * 40 for i in range(20))
    sheet = model([LANDSCAPE] * 3, 3, production=long, location=long, notes=many, warnings=many)
    sheet = replace(sheet, rows=tuple(replace(r, title=long, warnings=many) for r in sheet.rows))
    doc = draw_comparison(sheet)
    assert doc.faults() == []
    assert "▲" in text_of(doc)


@pytest.mark.parametrize("count", [3, 5, 9])
def test_a_very_narrow_single_still_keeps_its_words_on_the_page(count):
    """Found by the random sheets: words under a narrow last picture ran off the paper."""
    columns = tuple(
        LookColumn(f"Look {i}", ("a longer phrase of a look", "another") * 2) for i in range(count)
    )
    doc = draw_comparison(SheetModel("t", "t", columns, (row("s.jpg", TOWER, count),)))
    assert doc.faults() == []


def test_one_upright_still_does_not_make_the_others_small():
    doc = draw_comparison(replace(model([LANDSCAPE, LANDSCAPE, PORTRAIT], 3), noun="location"))
    (page,) = judged(doc)
    heights = {round(box.height, 1) for box in page.pictures}
    assert max(heights) - min(heights) <= 1.0 and coverage(page) >= 0.55
