"""The page: what is drawn is where it says, the same bytes each time, and pictures keep their pixels."""

from __future__ import annotations

import io

import numpy as np
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from lookdev.errors import SheetError
from lookdev.pages import setting
from lookdev.pages.document import MISSING_NOTE, Document
from lookdev.pages.setting import BODY, HEADING, LABEL, SURROUND, Column, Style, unit_rgb

NAME = "Łódź · Øst 東 café"


def noise(height: int, width: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)


def small_document(**options) -> Document:
    doc = Document(NAME, foot="foot", **options)
    page = doc.new_page(NAME, "Comparison sheet")
    x, y = page.content.left, page.content.top
    y = page.text(x, y, NAME, HEADING, width=300)
    page.table(x, y, [Column("Source", 120), Column("CCT", 60, "right")], [["sodium lamp", "1960 K"]])
    page.image(x + 300, y + 40, noise(80, 120))
    doc.new_page("second")
    return doc


@pytest.mark.parametrize(("paper", "millimetres"), [("a4", (297, 210)), ("letter", (279.4, 215.9))])
@pytest.mark.parametrize("landscape", [True, False])
def test_page_size_is_the_paper_within_a_pixel(paper, millimetres, landscape):
    """ISO 216 A4 is 210 mm by 297 mm; US Letter is 8.5 in by 11 in."""
    box = (
        pypdf.PdfReader(io.BytesIO(small_document(paper=paper, landscape=landscape).pdf_bytes()))
        .pages[0]
        .mediabox
    )
    wanted = millimetres if landscape else millimetres[::-1]
    assert [float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4] == pytest.approx(
        wanted, abs=25.4 / 200
    )


def test_surround_is_neutral_and_of_lightness_50():
    from lookdev.colorimetry.difference import lab_from_working
    from lookdev.colorimetry.encodings import SRGB

    lightness, a, b = lab_from_working(SRGB.to_working(np.array(SURROUND) / 255.0))
    assert lightness == pytest.approx(50.0, abs=0.5)
    assert abs(a) < 0.01 and abs(b) < 0.01


def test_small_text_is_legible_on_the_surround():
    """WCAG 2.2, success criterion 1.4.3: 4.5 : 1 for text, 3 : 1 for large text."""
    from lookdev.colorimetry.transfer_functions import srgb_decode

    def luminance(colour) -> float:
        return float(srgb_decode(np.array(unit_rgb(colour))) @ [0.2126, 0.7152, 0.0722])

    ground = luminance(SURROUND)
    for name, style in vars(setting).items():
        if isinstance(style, Style):
            light, dark = sorted([luminance(style.colour), ground], reverse=True)
            assert (light + 0.05) / (dark + 0.05) >= (4.5 if sum(style.colour) == 0 else 4.4), name
            assert style.size >= 7.0, name


def test_same_drawing_gives_the_same_bytes_and_no_date():
    first, second = small_document().pdf_bytes(), small_document().pdf_bytes()
    assert first == second
    assert (
        pypdf.PdfReader(io.BytesIO(first)).metadata.creation_date.year == 2000
    )  # reportlab's invariant date


def test_text_of_the_pdf_is_text_in_embedded_fonts():
    reader = pypdf.PdfReader(io.BytesIO(small_document().pdf_bytes()))
    text = reader.pages[0].extract_text()
    assert NAME in text and "1960 K" in text and "1 / 2" in text
    fonts = reader.pages[0]["/Resources"]["/Font"]
    used = [f.get_object() for f in fonts.values()]
    assert {str(f["/BaseFont"]).split("+")[-1] for f in used} == {
        "LookdevSans-Regular",
        "LookdevSans-SemiBold",
        "LookdevHan-Regular",
    }
    assert all("/FontFile2" in f["/FontDescriptor"].get_object() for f in used)


@settings(max_examples=12, deadline=None)
@given(st.floats(40, 500), st.floats(60, 400), st.integers(1, 90), st.integers(1, 90))
def test_a_picture_keeps_its_pixels_in_the_png(x, y, height, width):
    doc = Document("t")
    picture = noise(height, width, height * 100 + width)
    box = doc.new_page().image(x, y, picture)
    left, top = round(box.left / doc.pixel), round(box.top / doc.pixel)
    png = doc.png_pages()[0]
    assert np.array_equal(png[top : top + height, left : left + width], picture)
    assert tuple(png[top, left - 1]) == SURROUND


def test_a_picture_is_lossless_in_the_pdf():
    doc = Document("t")
    picture = noise(60, 90)
    doc.new_page().image(50, 50, picture)
    (image,) = pypdf.PdfReader(io.BytesIO(doc.pdf_bytes())).pages[0].images
    assert np.array_equal(np.asarray(image.image.convert("RGB")), picture)


def test_swatch_has_the_very_colour_up_to_its_edge():
    doc = Document("t")
    page = doc.new_page()
    page.swatch(100.1, 100.1, 30.2, 20.3, (0.2, 0.4, 0.6))
    png = doc.png_pages()[0]
    pixel = doc.pixel
    part = png[round(100.1 / pixel) : round(120.4 / pixel), round(100.1 / pixel) : round(130.3 / pixel)]
    assert (part == (51, 102, 153)).all()


def pages(count: int) -> Document:
    doc = Document("Pages", dpi=36)
    for _ in range(count):
        doc.new_page("Low Ferry", "Pages")
    return doc


def test_further_pages_of_a_longer_document_go(tmp_path):
    pages(5).save(tmp_path / "s.pdf", tmp_path / "s.png")
    assert sorted(p.name for p in tmp_path.glob("*.png")) == [
        "s.png", "s_2.png", "s_3.png", "s_4.png", "s_5.png",
    ]  # fmt: skip
    pages(2).save(tmp_path / "s.pdf", tmp_path / "s.png")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["s.pdf", "s.png", "s_2.png"]


def test_nothing_of_anyone_else_goes(tmp_path):
    """A picture of one's own, a page drawn upon, a page under another number, another sheet's first page."""
    others = {}
    for name in ("own", "drawn", "moved", "first"):
        folder = tmp_path / name
        pages(3).save(folder / "s.pdf", folder / "s.png")
        others[name] = folder / "s_3.png"
    Image.new("RGB", (20, 20), "red").save(others["own"])
    with Image.open(others["drawn"]) as page:
        info = PngInfo()
        for key, text in page.text.items():  # an editor that keeps the words of a file it changed
            info.add_text(key, text)
        page.putpixel((5, 5), (255, 0, 0))
        page.save(others["drawn"], pnginfo=info)
    others["moved"].write_bytes(others["moved"].with_name("s_2.png").read_bytes())
    others["first"].write_bytes(others["first"].with_name("s.png").read_bytes())
    for path in others.values():
        before = path.read_bytes()
        pages(2).save(path.with_name("s.pdf"), path.with_name("s.png"))
        assert path.read_bytes() == before


def test_saved_files(tmp_path):
    paths = small_document().save(tmp_path / "s.pdf", tmp_path / "s.png")
    assert [p.name for p in paths] == ["s.pdf", "s.png", "s_2.png"]
    with Image.open(tmp_path / "s.png") as png:
        assert png.size == (2339, 1654) and round(png.info["dpi"][0]) == 200 and "srgb" in png.info


def test_faults_are_found():
    doc = Document("t")
    page = doc.new_page()
    page.text(50, 50, "one text", BODY)
    page.text(52, 52, "another", BODY)
    page.text(780, 300, "a text that runs off the paper", BODY)
    page.image(60, 50, noise(10, 10))
    assert len([f for f in doc.faults() if "text over text" in f]) == 1
    assert len([f for f in doc.faults() if "leaves the page" in f]) == 1
    assert len([f for f in doc.faults() if "over a picture" in f]) == 2


def test_the_module_s_box_is_where_the_ink_is():
    """The recorded box of a text holds all of its ink: render and look."""
    doc = Document("t", surround=(255, 255, 255))
    page = doc.new_page()
    page.text(100, 100, "ŻÅgjpqy東 Éß|", Style(24))
    ink = np.argwhere((doc.png_pages()[0][: 1654 - 110] < 128).any(axis=-1)) * doc.pixel
    box = page.texts[0]
    assert ink[:, 0].min() >= box.top - 0.75 and ink[:, 0].max() <= box.bottom + 0.75
    assert ink[:, 1].min() >= box.left - 0.75 and ink[:, 1].max() <= box.right + 0.75


def test_a_missing_glyph_is_explained_in_the_foot():
    doc = Document("t")
    doc.new_page("Quay 🎬")
    text = pypdf.PdfReader(io.BytesIO(doc.pdf_bytes())).pages[0].extract_text()
    assert "[U+1F3AC]" in text and MISSING_NOTE in text


def test_fitting_shrinks_then_wraps_then_shortens():
    page = Document("t").new_page()
    page.text(50, 50, "a moderately long text", BODY, width=80)
    assert len(page.texts) == 1 and page.texts[0].right <= 130.01
    page.text(50, 100, "a very much longer text that cannot stand in one line", BODY, width=80)
    assert len(page.texts) > 2 and all(t.right <= 130.01 for t in page.texts)
    page.text(50, 200, "a very much longer text " * 4, BODY, width=80, overflow="ellipsis")
    assert page.texts[-1].what.endswith("…") and page.texts[-1].right <= 130.01


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.text(max_size=80), min_size=3, max_size=3), min_size=1, max_size=20))
def test_tables_never_overlap(rows):
    doc = Document("t")
    page = doc.new_page("title", "subject")
    columns = [Column("One", 90), Column("Two", 60, "right"), Column("Three", 200, "centre")]
    table = page.table(page.content.left, page.content.top, columns, rows)
    assert doc.faults() == []
    assert table.bottom <= page.content.bottom + 0.1
    assert table.rows == len(rows) or table.rows < len(rows)


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=400), st.text(max_size=400))
def test_title_strip_never_overlaps(title, subject):
    doc = Document("t")
    page = doc.new_page(title, subject)
    page.text(page.content.left, page.content.top, "first line", LABEL)
    assert doc.faults() == []


def test_bad_input_is_named():
    with pytest.raises(SheetError, match="unknown paper; found 'A3'; wanted a4 or letter"):
        Document("t", paper="A3")
    page = Document("t").new_page()
    with pytest.raises(SheetError, match="uint8"):
        page.image(0, 0, np.zeros((4, 4, 3), np.float32))
    with pytest.raises(SheetError, match="one cell a column"):
        page.table(0, 0, [Column("", 20)], [["a", "b"]])
    with pytest.raises(SheetError, match="unknown marker"):
        page.marker(1, 1, "star")
