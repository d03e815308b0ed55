"""The pitch in a real browser: by finger, by keyboard, on a phone, a tablet and a large screen."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import lookdev
from lookdev.cli.main import main
from lookdev.pages.pitch_html import write_pitch_html
from lookdev.pages.pitch_model import Pitch, PitchLook, PitchPlace, to_shape

SIZES = [(360, 640), (1024, 1366), (3840, 2160)]


def look_shown(page: Any) -> str:
    return str(page.locator("#looks input:checked").evaluate("i => i.nextSibling.textContent"))


def badge(page: Any) -> str:
    return "" if page.locator("#badge").is_hidden() else str(page.locator("#badge").text_content())


def drag(page: Any, by: float, hold_ms: int = 0) -> None:
    box = page.locator("#stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by / 2, y)
    page.mouse.move(x + by, y)
    if hold_ms:
        page.wait_for_timeout(hold_ms)
    page.mouse.up()


def choose_and_export(page: Any) -> str:
    page.locator("#back").click()
    page.locator("#send").click()
    return str(page.locator("#text").input_value())


def test_a_place_by_finger(open_page: Any) -> None:
    page = open_page()
    assert page.locator(".tile").count() == 3
    page.locator(".tile").first.click()
    assert page.locator("#place-name").text_content() == "Loading dock 3, Østkai"
    assert "42 lux" in page.locator("#light").text_content()
    assert look_shown(page) == "Slack water"
    drag(page, -160)
    assert look_shown(page) == "Stove light"
    drag(page, 160)
    assert look_shown(page) == "Slack water"
    box = page.locator("#stage").bounding_box()
    page.mouse.move(box["x"] + 50, box["y"] + 50)
    page.mouse.down()
    page.wait_for_selector("#badge:not([hidden])")
    assert badge(page) == "As it stood"
    assert page.locator("#over img").get_attribute("alt").endswith("As it stood")
    page.mouse.up()
    page.wait_for_selector("#badge", state="hidden")
    assert page.locator("#over img").get_attribute("alt").endswith("Slack water")


def test_the_wipe_stands_where_it_is_put(open_page: Any) -> None:
    page = open_page()
    page.locator(".tile").nth(1).click()
    page.locator("#wipe").click()
    page.locator("#against").select_option(label="Wet wool")
    assert badge(page) == "Wet wool | Slack water"
    page.locator("#at").fill("25")
    image = page.locator("#over img").bounding_box()
    edge = page.locator("#edge").bounding_box()
    assert abs(edge["x"] - (image["x"] + image["width"] * 0.25)) < 2
    box = page.locator("#stage").bounding_box()
    left, width = image["x"] - box["x"], image["width"]
    rows = slice(int(image["y"] - box["y"]) + 5, int(image["y"] - box["y"] + image["height"]) - 60)

    def part(start: float, stop: float) -> Any:
        return pixels(page.locator("#stage"))[rows, int(left + width * start) : int(left + width * stop)]

    other, same = part(0.05, 0.2), part(0.3, 0.9)
    page.locator("#at").fill("0")
    assert float(np.abs(part(0.05, 0.2) - other).mean()) > 3  # there the other look was seen
    assert np.array_equal(part(0.3, 0.9), same)


def pixels(locator: Any) -> Any:
    """What is on the screen there, sRGB code values as floats."""
    return np.asarray(Image.open(io.BytesIO(locator.screenshot())).convert("RGB"), np.float64)


def test_the_panorama_turns_under_the_finger(open_page: Any) -> None:
    page = open_page()
    page.locator(".tile").nth(2).click()
    before = page.locator("#over .band").evaluate("b => b.style.backgroundPositionX")
    drag(page, -120)
    assert page.locator("#over .band").evaluate("b => b.style.backgroundPositionX") == "-120px" != before
    assert look_shown(page) == "Slack water"


def test_a_choice_stays_on_the_device_and_leaves_as_text(
    open_page: Any, scout: Path, look_files: list[Path], tmp_path: Path
) -> None:
    page = open_page()
    page.locator(".tile").first.click()
    drag(page, -160)
    page.locator("#choose").click()
    page.locator("#words").fill("colder, <b>darker</b>")
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    assert page.locator("#count").text_content() == "1 of 3 places chosen"
    assert "Stove light, chosen" in page.locator(".tile").first.text_content()
    page.locator("#send").click()
    text = page.locator("#text").input_value()
    assert re.search(r"^LOADING DOCK 3 · STOVE LIGHT · [0-9a-f]{12}$", text, re.M)
    with page.expect_download() as download:
        page.locator("#save").click()
    assert download.value.suggested_filename == "choices.txt"
    saved = tmp_path / "choices.txt"
    download.value.save_as(saved)
    assert saved.read_text(encoding="utf-8") == text

    looks = [argument for path in look_files for argument in ("--looks", str(path))]
    out = tmp_path / "given"
    assert run("pitch", str(scout), *looks, "--choices", str(saved), "--out", str(out)) == 0
    package = tmp_path / "package"
    more = (
        "--encoding",
        "ACEScct",
        "--size",
        "17",
        "--still-edge",
        "64",
        "--choices",
        str(out / "choices.toml"),
    )
    assert run("handoff", str(scout), "--look", str(look_files[1]), *more, "--out", str(package)) == 0
    read_me = " ".join((package / "READ_ME.txt").read_text(encoding="utf-8").split())
    assert 'chosen for Loading dock 3, Østkai: Stove light ("colder, <b>darker</b>")' in read_me


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        main(list(arguments))
    return int(stop.value.code or 0)


def test_by_keyboard_alone(open_page: Any) -> None:
    page = open_page()
    keys = page.keyboard
    keys.press("Tab")
    keys.press("Enter")
    page.wait_for_selector("#place:not([hidden])")
    keys.press("ArrowRight")
    assert look_shown(page) == "Stove light"
    keys.down("Space")
    assert badge(page) == "As it stood"
    keys.up("Space")
    assert badge(page) == ""
    keys.press("Enter")
    assert page.locator("#choose").get_attribute("aria-pressed") == "true"
    keys.press("PageDown")
    assert page.locator("#place-name").text_content() == "Net loft, Østkai"
    keys.press("w")
    assert badge(page) == "As it stood | Slack water"
    keys.press("Escape")
    page.wait_for_selector("#wall:not([hidden])")
    assert page.evaluate("document.activeElement.textContent").startswith("Net loft")
    for _ in range(8):
        if page.evaluate("document.activeElement.id") == "send":
            break
        keys.press("Tab")
    keys.press("Enter")
    assert "LOADING DOCK 3 · STOVE LIGHT" in page.locator("#text").input_value()
    keys.press("Escape")
    assert page.locator("#leave").evaluate("d => d.open") is False


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_on_every_screen(open_page: Any, width: int, height: int) -> None:
    page = open_page(width=width, height=height)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.locator(".tile").first.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.wait_for_function("document.querySelector('#over img').getBoundingClientRect().width > 50")
    picture = page.locator("#over img").bounding_box()
    assert picture["x"] >= -0.5 and picture["x"] + picture["width"] <= width + 0.5
    assert abs(picture["width"] / picture["height"] - 2.39) < 0.05
    assert picture["width"] > min(0.9 * width, 1500)
    for control in page.locator("#place button, #place .looks label, #words").all():
        if control.is_visible():
            assert control.bounding_box()["height"] >= 43.5  # WCAG 2.2, 2.5.5 target size: 44 CSS pixels


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_no_serious_fault_of_access(open_page: Any, width: int, height: int) -> None:
    """axe-core's rules, for WCAG 2 A and AA and good practice."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is missing"
    )
    page = open_page(width=width, height=height)

    def serious() -> list[str]:
        found = axe.Axe().run(page).response["violations"]
        return [f"{v['id']}: {v['help']}" for v in found if v["impact"] in ("serious", "critical")]

    assert serious() == []
    page.locator(".tile").first.click()
    page.locator("#wipe").click()
    assert serious() == []
    page.locator("#back").click()
    page.locator("#send").click()
    assert serious() == []


def test_the_picture_on_screen_is_the_graded_still(
    open_page: Any, scout: Path, look_files: list[Path]
) -> None:
    """Pixel for pixel, no scaling: the page against ``lookdev.grade``, which is the batch's pixels."""
    page = open_page(width=1700, height=1400)
    page.locator(".tile").nth(1).click()
    page.wait_for_function("document.querySelector('#over img').complete")
    surveyed = lookdev.survey(lookdev.open_scout(scout))
    (still,) = surveyed.at("Net loft, Østkai")
    for number, path in enumerate(look_files):
        if number:
            page.keyboard.press("ArrowRight")
        page.wait_for_function("document.querySelector('#over img').naturalWidth > 0")
        page.wait_for_timeout(100)
        graded, _ = lookdev.grade(still, lookdev.load_look(path))
        left, top, width, height = to_shape((graded.shape[1], graded.shape[0]), 2.39)
        wanted = graded[top : top + height, left : left + width].astype(np.float64)
        shown = pixels(page.locator("#over img"))
        assert (
            shown.shape[1] == wanted.shape[1] and 0 <= shown.shape[0] - height <= 1
        )  # half a pixel up or down
        apart = [
            np.abs(shown[y : y + height] - wanted)[4:-60, 4:-4] for y in range(shown.shape[0] - height + 1)
        ]
        assert min(float(each.mean()) for each in apart) < 2.0


@pytest.mark.parametrize(
    "name",
    [
        "<script>alert(1)</script>",
        "x" * 300,
        "מחסן דייגים",
        "Dock 🚢 </script>",
        '"><img src=x onerror=alert(1)>',
    ],
)
def test_no_name_does_harm(open_page: Any, tmp_path: Path, name: str) -> None:
    grey = np.full((100, 239, 3), 90, np.uint8)
    looks = (PitchLook(name, name, "ONE", "0" * 12), PitchLook("Two", "", "TWO", "1" * 12))
    place = PitchPlace(name, "DOCK", grey, (grey, grey), light=name, words=name)
    write_pitch_html(Pitch(name, name, looks, (place,)), tmp_path / "pitch.html")
    page = open_page(tmp_path / "pitch.html", width=360, height=640)
    assert page.title() == " ".join(name.split())
    assert page.locator("#film").text_content() == name
    page.locator(".tile").click()
    assert page.locator("#place-name").text_content() == name
    assert page.locator("img[src=x]").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.locator("#choose").click()
    assert "DOCK · ONE · 000000000000" in choose_and_export(page)


def test_reduced_motion_is_respected(open_page: Any) -> None:
    page = open_page(reduced_motion="reduce")
    assert page.locator(".tile .frame").first.evaluate("f => getComputedStyle(f).transitionDuration") == "0s"
