"""The pitch's pages: pictures as fine as they must be, words that are words, names that do no harm."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdf
import pytest
from PIL import Image

from lookdev.colorimetry.difference import ciede2000, lab_from_working
from lookdev.colorimetry.encodings import SRGB
from lookdev.pages.pitch_html import pitch_html, room_of_a_place, screen_pictures
from lookdev.pages.pitch_model import Picture, Pitch, PitchLook, PitchPlace
from lookdev.pages.pitch_pdf import _sample, pitch_document
from lookdev.pages.pitch_place import drawn_place
from lookdev.stills.reader import read_still

ROOT = Path(__file__).parents[2]
LOOKS = tuple(
    PitchLook(title, "Cold shadows.", title.upper(), hashlib.sha256(title.encode()).hexdigest()[:12])
    for title in ("Slack water", "Stove light", "Wet wool", "First ferry")
)


@pytest.fixture(scope="module")
def picture() -> Picture:
    pixels = read_still(ROOT / "sample_frames" / "06_net_loft_gable.jpg").pixels
    return np.ascontiguousarray(pixels[: round(pixels.shape[1] / 2.39)])


def pitch_with(pictures: list[Picture], **more: object) -> Pitch:
    places = tuple(
        PitchPlace(f"Place {i}", f"PLACE {i}", p, (p,) * len(LOOKS), light="Sodium at dusk, 42 lux.")
        for i, p in enumerate(pictures)
    )
    return replace(Pitch("Low Ferry", "4 March", LOOKS, places), **more)  # type: ignore[arg-type]


def blocks(picture: Picture) -> np.ndarray:
    """CIELAB of what four by four pixels mix to."""
    rows, columns = picture.shape[0] // 4 * 4, picture.shape[1] // 4 * 4
    light = SRGB.to_working(picture[:rows, :columns] / 255.0)
    return np.asarray(lab_from_working(light.reshape(rows // 4, 4, columns // 4, 4, 3).mean(axis=(1, 3))))


def test_the_big_picture_has_220_dots_an_inch_and_the_colours_of_the_still(picture: Picture) -> None:
    wide = np.asarray(Image.fromarray(picture).resize((2200, 920), Image.Resampling.LANCZOS))
    data = pitch_document(pitch_with([wide])).pdf_bytes()
    page = pypdf.PdfReader(io.BytesIO(data)).pages[1]
    shown = max((image.image for image in page.images), key=lambda i: i.width)
    assert shown.width >= 220 * 10  # the page is 10 inches wide, and so is the picture
    got = np.asarray(shown.convert("RGB"))
    apart = ciede2000(blocks(got), blocks(wide))
    assert float(np.percentile(apart, 95)) < 1.0


def test_a_reduced_picture_has_220_dots_an_inch_both_ways(picture: Picture) -> None:
    """Three to two, so that words stand beside it: it is not as wide as the page, nor as the still."""
    large = np.asarray(Image.fromarray(picture[:, :366]).resize((1920, 1280), Image.Resampling.BICUBIC))
    page = pypdf.PdfReader(io.BytesIO(pitch_document(pitch_with([large])).pdf_bytes())).pages[1]
    for image in page.images:
        told = image.indirect_reference.get_object()
        assert image.image.size == (told["/Width"], told["/Height"])
        assert abs(image.image.width / image.image.height - 1.5) < 0.01
    shown = max((image.image for image in page.images), key=lambda i: i.width)
    assert shown.width == round((720 - 196) / 72 * 220)  # points that the page leaves it
    off = np.asarray(shown.convert("RGB").resize((120, 80)), float) - np.asarray(
        Image.fromarray(large).resize((120, 80)), float
    )
    assert np.abs(off).mean() < 2


def test_a_sample_of_a_jpegs_blocks_comes_out_as_in_the_picture(picture: Picture) -> None:
    """ITU-T T.81 A.2: blocks of 8 by 8 are coded one by one; unsubsampled, a pixel lies in one alone."""
    import simplejpeg

    large = np.asarray(Image.fromarray(picture).resize((901, 603), Image.Resampling.BICUBIC))
    sample = _sample(large)
    assert sample.size < large.size / 3
    alone, within = (
        simplejpeg.decode_jpeg(simplejpeg.encode_jpeg(np.ascontiguousarray(p), 90, colorsubsampling="444"))
        for p in (sample, large)
    )
    assert np.array_equal(alone, _sample(within))


@pytest.mark.parametrize("places", [1, 3, 8])
def test_a_place_drawn_by_itself_is_the_same_place(picture: Picture, places: int) -> None:
    large = np.asarray(Image.fromarray(picture).resize((1100, 460), Image.Resampling.BICUBIC))
    looks = tuple(np.asarray(np.clip(large * k, 0, 255), np.uint8) for k in (0.6, 0.9, 1.1, 1.2))
    whole = replace(pitch_with([large] * places).places[0], pictures=looks, proposed=2)
    drawn = drawn_place(whole, LOOKS, "dark", places)
    pitches = [pitch_with([], places=(place,) * places) for place in (whole, drawn)]
    one, other = (pypdf.PdfReader(io.BytesIO(pitch_document(p).pdf_bytes())) for p in pitches)
    assert len(one.pages) == len(other.pages)
    for a, b in zip(one.pages, other.pages, strict=True):
        assert a.extract_text() == b.extract_text()
        # by size: images are named after what they hold, and come in order of their names
        sizes = [np.array(sorted(i.image.size for i in page.images)).reshape(-1, 2) for page in (a, b)]
        assert np.abs(sizes[0] - sizes[1]).max(initial=0) <= 1  # 1100 x 460 is not quite 960 x 401
    biggest = [max((i for i in r.pages[1].images), key=lambda i: i.image.width).data for r in (one, other)]
    assert biggest[0] == biggest[1]
    assert max(drawn.stood.shape[:2]) == (1100 if places == 1 else 960 if places == 3 else 720)
    assert drawn.shown.shape == drawn.stood.shape and drawn.pictures[0].size == 0
    told = [json.loads(pitch_html(p).split('id="data">')[1].split("</script>")[0]) for p in pitches]
    for a, b in zip(told[0]["places"], told[1]["places"], strict=True):
        assert [p["webp"] for p in a["pictures"]] == [p["webp"] for p in b["pictures"]]
        assert a["stood"]["webp"] == b["stood"]["webp"]


@pytest.mark.parametrize("room", [4_000_000, 600_000, 150_000])
def test_the_pictures_of_a_place_take_what_they_may_and_not_much_less(picture: Picture, room: int) -> None:
    rng = np.random.default_rng(3)
    large = np.asarray(Image.fromarray(picture).resize((960, 540), Image.Resampling.BICUBIC))
    grainy = np.clip(large + rng.normal(0, 6, large.shape), 0, 255).astype(np.uint8)
    looks = tuple(np.asarray(np.clip(grainy * k, 0, 255), np.uint8) for k in (0.6, 0.9, 1.1, 1.2))
    place = replace(pitch_with([grainy]).places[0], pictures=looks)
    made = screen_pictures(place, room)
    total = sum(len(p.webp) + len(p.jpeg) for p in made)
    assert total <= room
    finest = sum(len(p.webp) + len(p.jpeg) for p in screen_pictures(place, 100_000_000))
    assert total == finest or total > 0.6 * room
    assert all(p.size == (960, 540) for p in made)
    assert room_of_a_place(12) * 12 * 4 / 3 < 15_000_000


def test_a_grainy_picture_keeps_its_colours_and_a_smooth_one_costs_less(picture: Picture) -> None:
    grain = np.random.default_rng(2).integers(0, 256, (368, 880, 3), dtype=np.uint8)
    smooth = np.asarray(Image.fromarray(picture).resize((880, 368), Image.Resampling.LANCZOS))
    sizes = []
    for given in (grain, smooth):
        data = pitch_document(pitch_with([given])).pdf_bytes()
        images = [image for page in pypdf.PdfReader(io.BytesIO(data)).pages for image in page.images]
        shown = max(images, key=lambda image: image.image.width)
        got = np.asarray(shown.image.convert("RGB"))
        assert float(np.percentile(ciede2000(blocks(got), blocks(given)), 95)) < 1.0
        sizes.append(len(shown.data))
    assert sizes[1] < sizes[0] / 3


def test_pages_are_a_screens_shape_and_their_words_are_words(picture: Picture) -> None:
    data = pitch_document(pitch_with([picture[::4, ::4]] * 2)).pdf_bytes()
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert len(reader.pages) == 6  # cover, two places, before and after, colour script, ticks
    for page in reader.pages:
        assert abs(float(page.mediabox.width) / float(page.mediabox.height) - 16 / 9) < 0.005
    words = [page.extract_text() for page in reader.pages]
    assert "Low Ferry" in words[0]
    assert all(text in words[1] for text in ("Place 0", "Slack water", "Sodium at dusk, 42 lux."))
    assert all(code in words[5] for code in ("PLACE 1", "SLACK WATER", "FIRST FERRY"))


SHAPES = {"wide": (239, 100), "three to two": (150, 100), "portrait": (75, 100), "square": (100, 100)}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("count", [1, 2, 5, 7, 13])
def test_nothing_lies_over_anything(shape: str, count: int) -> None:
    width, height = SHAPES[shape]
    pictures = [np.full((height * 2, width * 2, 3), 40 + 10 * i, np.uint8) for i in range(count)]
    for surround in ("dark", "grey"):
        assert pitch_document(pitch_with(pictures, surround=surround)).faults() == []


HARM = ("<script>alert(1)</script>", "מחסן דייגים <b>", "رصيف التحميل", "Dock 🚢 </script><!--", "x" * 300,
        "very long " * 30, "&amp; \" ' `", "\u202eDock", "")  # fmt: skip


@pytest.mark.parametrize("name", HARM)
def test_no_name_does_harm(name: str) -> None:
    grey = np.full((100, 239, 3), 90, np.uint8)
    look = PitchLook(name or "-", name, "CODE", "0" * 12)
    place = PitchPlace(name, name[:60], grey, (grey, grey), light=name, words=name)
    pitch = Pitch(name, name, (look, look), (place, place), numbers=(name,) * 3)
    document = pitch_document(pitch)
    assert document.faults() == []
    assert document.pdf_bytes().startswith(b"%PDF")
    page = pitch_html(pitch, budget_bytes=2_000_000)
    assert page.count("<script") == 2 and page.count("</script>") == 2
    data = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)
    assert data is not None
    assert json.loads(data[1])["places"][0]["name"] == name
    assert "<b>" not in page.split("<style>")[0]


def test_the_policy_allows_what_is_in_the_file_and_nothing_else(picture: Picture) -> None:
    """W3C Content Security Policy Level 3, 6.7.3.3: a digest of the element's text."""
    page = pitch_html(pitch_with([picture[::6, ::6]]), budget_bytes=2_000_000)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    assert policy[1].startswith("default-src 'none'")
    for tag in ("style", "script"):
        text = re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.S)
        digest = base64.b64encode(hashlib.sha256(text[-1].encode()).digest()).decode()
        assert len(text) == 1 and f"{tag}-src 'sha256-{digest}'" in policy[1]
    assert not re.search(r"https?://", page)


def test_the_page_stays_within_what_it_may_weigh(picture: Picture) -> None:
    rng = np.random.default_rng(3)
    noisy = np.clip(picture[::2, ::2] + rng.normal(0, 25, picture[::2, ::2].shape), 0, 255).astype(np.uint8)
    page = pitch_html(pitch_with([noisy] * 3), budget_bytes=3_000_000)
    assert len(page.encode()) < 3_000_000
