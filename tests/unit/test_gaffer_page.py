"""Our lamps and filters, the light to add, what to pack, and the sun on the page of a place."""

from __future__ import annotations

import io
import json
import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from lookdev.errors import MeterError
from lookdev.meter.again import again_data, place_again
from lookdev.meter.fixture import dial, nearest_reachable, outline, reaches
from lookdev.meter.log import Reading
from lookdev.meter.notes import location_notes, reading_notes, scout_notes
from lookdev.meter.notes_words import colour_words, exposure_words
from lookdev.meter.pick_list import pick_list
from lookdev.meter.scout import Plan, Scout, load_scout
from lookdev.pages.light_page import Extra, light_document, pick_document
from lookdev.survey.survey import survey

TOML = """title = "Low Ferry"
date = 2031-03-04
shoot_date = 2031-05-20
latitude = 59.0
longitude = 3.5
time_zone = "Europe/Oslo"
[plan]
exposure_index = 800
frame_rate_fps = 24
shutter_angle_deg = 180
t_stop = 2.8
key_to_fill = 4
balance_k = 4300
[[lamps]]
name = "fresnel"
cct_k = 3200
[[lamps]]
name = "panel"
emitters = [[0.69, 0.31], [0.17, 0.70], [0.14, 0.05], [0.46, 0.41]]
[[filters]]
name = "our straw"
mired = 185
stops = 0.9
"""
LOG = """stills,location,source,x,y,cct_k,duv,lux,time,role
a.jpg,Quay,HP1,,,,,42,16:30,key
,Quay,bounce,,,5600,0.002,8,,fill
,Loft,window,,,6500,0.003,900,15:10,
"""


def scout_of(folder: Path, toml: str = TOML, log: str = LOG, exif: Image.Exif | None = None) -> Scout:
    (folder / "scout.toml").write_text(toml)
    (folder / "meter.csv").write_text(log)
    data = io.BytesIO()
    picture = Image.fromarray(np.full((60, 90, 3), 120, np.uint8))
    picture.save(data, "JPEG", **({"exif": exif.tobytes()} if exif is not None else {}))
    (folder / "a.jpg").write_bytes(data.getvalue())
    return load_scout(folder)


def words_of(document: object) -> str:
    pages = PdfReader(io.BytesIO(document.pdf_bytes())).pages  # type: ignore[attr-defined]
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_our_lamps_by_their_lights(tmp_path: Path) -> None:
    scout = scout_of(tmp_path)
    quay, loft = scout_notes(scout)
    document = light_document("Low Ferry", quay, scout.plan)
    assert document.faults() == []
    text = words_of(document)
    for words in ("What to put on our lamps", "on fresnel", "on panel", "or theirs, to 4300 K", "our straw",
                  "No gel moves it there", "gel our lamps to it instead", "Light to add, for T2.8 and 4 : 1",
                  "local codes", "safety bond"):  # fmt: skip
        assert words in text, words
    assert "fresnel" not in [n.reading.source for n in (*quay.readings, *loft.readings)]
    assert len(quay.lights) == 2 and all(len(n.on_ours) == 2 for n in quay.lights)


def test_many_lights_are_rows_of_one_table(tmp_path: Path) -> None:
    """Twelve lights: twelve rows, not 132 sentences."""
    rows = "".join(f",Hall,lamp {n},,,{2500 + 300 * n},,100,,\n" for n in range(12))
    scout = scout_of(tmp_path, log=LOG.splitlines()[0] + "\n" + rows)
    (hall,) = scout_notes(scout)
    document = light_document("Low Ferry", hall, scout.plan)
    assert document.faults() == []
    text = words_of(document)
    assert text.count("What to put on our lamps") == 1
    assert len(document.pages) <= 8


def test_the_light_to_add_is_worked_out_to_the_end(tmp_path: Path) -> None:
    """ISO 2720 with C = 280: T2.8 at EI 800, 1/48 s needs 131.7 lx. The filter by label takes 0.9 stops, and
    twice the light to a stop: 89.7 lx missing are 89.7 * 2^0.9 before it. The fill is wanted at a quarter."""
    quay, _ = scout_notes(scout_of(tmp_path))
    key, fill = quay.budget
    needed = 280 * 2.8**2 * 48 / 800
    assert key.wanted_lux == pytest.approx(needed)
    assert key.add_lux == pytest.approx(needed - 42)
    on_fresnel = next(n for n in key.lamps if n.lamp == "fresnel")
    match = quay.lights[0].ours[0]
    assert match.filters == ("our straw",)
    assert on_fresnel.before_gel_lux == pytest.approx((needed - 42) * 2**0.9, rel=1e-6)
    assert fill.wanted_lux == pytest.approx(needed / 4)
    assert fill.add_lux == pytest.approx(needed / 4 - 8)
    assert key.over_stops == pytest.approx(math.log2(42 / needed))


def test_enough_light_wants_none() -> None:
    plan = Plan(exposure_index=800, t_stop=2.8)
    (line,) = location_notes("Loft", [Reading(source="sky", cct_k=6500, illuminance_lux=900)], plan).budget
    assert line.is_enough and line.add_lux == 0 and line.lamps == ()
    assert location_notes("Loft", [Reading(illuminance_lux=900)], Plan()).budget == ()


def test_what_to_pack(tmp_path: Path) -> None:
    scout = scout_of(tmp_path)
    notes = scout_notes(scout)
    lines = pick_list(notes)
    straw = next(line for line in lines if line.item == "our straw")
    assert (straw.on, straw.is_ours, straw.places) == ("fresnel", True, ("Quay",))
    assert not any(line.on == "HP1" for line in lines)  # no gel moves it: none is packed for it
    assert any(line.on == "window" and not line.is_ours for line in lines)
    document = pick_document("Low Ferry", lines, scout.kit, len(notes))
    assert document.faults() == []
    assert "our straw" in words_of(document) and "local codes" in words_of(document)


def test_a_filter_from_a_transmittance_file(tmp_path: Path) -> None:
    """A neutral sheet of 25% takes two stops and moves nothing (definition of a stop)."""
    (tmp_path / "grey.csv").write_text("".join(f"{n},25\n" for n in range(380, 781, 5)))
    toml = TOML + '[[filters]]\nname = "grey"\ntransmittance = "grey.csv"\n'
    found = next(f for f in scout_of(tmp_path, toml).kit.filters if f.name == "grey")
    assert found.stops == pytest.approx(2.0, abs=1e-6)
    assert abs(found.mired) < 1e-6 and abs(found.duv) < 1e-9


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[[lamps]]\nname = "x"\n', "one of cct_k, x and y, spectrum, emitters"),
        ('[[lamps]]\nname = "fresnel"\ncct_k = 5600\n', "different names"),
        ('[[lamps]]\nname = "x"\nemitters = [[0.3, 0.3], [0.4, 0.4]]\n', "emitters"),
        ('[[lamps]]\nname = "x"\nspectrum = "none.csv"\n', "none.csv"),
        ('[[filters]]\nname = "x"\nmired = 20\n', "stops"),
        ('[[filters]]\nname = "x"\n', "transmittance"),
        ('[[filters]]\nname = "x"\nmired = 20\nstop = 1\n', "stops (the nearest)"),
    ],
)
def test_what_is_wrong_with_a_lamp_or_filter_is_said(more: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(MeterError) as caught:
        scout_of(tmp_path, TOML + more)
    assert words in str(caught.value)


def test_four_emitters_reach_what_their_outline_holds() -> None:
    square = [(0.2, 0.2), (0.5, 0.2), (0.5, 0.45), (0.2, 0.45), (0.35, 0.3)]
    assert len(outline(square)) == 4
    assert reaches(square, (0.45, 0.4)) and not reaches(square, (0.55, 0.3))
    assert nearest_reachable(square, (0.45, 0.4)) == (0.45, 0.4)
    found = dial("signal", (0.60, 0.3), square)
    assert (
        found.reachable is False
        and found.nearest_xy is not None
        and found.nearest_xy[0] == pytest.approx(0.5)
    )


def test_precision_that_means_something() -> None:
    plan = Plan(exposure_index=100, t_stop=8, frame_rate_fps=24, shutter_angle_deg=180)
    note = reading_notes(Reading(source="candle", cct_k=1900, illuminance_lux=0.5), plan)
    assert note.exposure is not None
    assert exposure_words(note.exposure).startswith("under T0.7")
    text = words_of(light_document("", location_notes("", [note.reading], plan), plan))
    assert "EI 102400" not in text and "no EI up to 25600" in text
    blue = reading_notes(Reading(source="sky", x=0.2403, y=0.2345), plan)
    if blue.cct_k is not None:
        assert colour_words(blue).startswith("over 25000 K")


def position(latitude: tuple[str, float], longitude: tuple[str, float]) -> Image.Exif:
    from PIL.TiffImagePlugin import IFDRational

    def angle(value: float) -> tuple[IFDRational, ...]:
        whole = int(value)
        return (IFDRational(whole), IFDRational(round((value - whole) * 60_000), 1000), IFDRational(0))

    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2031:03:04 16:30:00"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2], gps[3], gps[4] = latitude[0], angle(latitude[1]), longitude[0], angle(longitude[1])
    return exif


def stills_of(scout: Scout, location: str) -> list[Path]:
    return [still.path for still in survey(scout).at(location)]


def test_the_light_of_a_still_comes_again(tmp_path: Path) -> None:
    scout = scout_of(tmp_path, exif=position(("N", 1.0), ("E", 1.0)))
    found = place_again(scout, "Quay", stills_of(scout, "Quay"))
    assert found.best is not None and found.best.name == "a.jpg"
    assert found.best.moment.strftime("%Y-%m-%d %H:%M %z") == "2031-03-04 16:30 +0100"
    assert len(found.moments) == 1  # the reading of the same hour says nothing new
    loft = place_again(scout, "Loft", stills_of(scout, "Loft"))
    assert loft.best is not None and loft.best.name == "window, 15:10"
    quay, _ = scout_notes(scout)
    document = light_document("Low Ferry", quay, scout.plan, extra=Extra(None, found))
    assert document.faults() == []
    text = words_of(document)
    assert "On 20 May this light comes at " in text and "Clouds, buildings and terrain are not known" in text
    assert "UTC+1 on the scout, UTC+2 on the shoot" in text


def test_the_stills_own_position_is_used_and_never_written(tmp_path: Path) -> None:
    toml = "\n".join(line for line in TOML.splitlines() if not line.startswith(("latitude", "longitude")))
    toml = toml.replace("Europe/Oslo", "Etc/GMT+12")
    south = scout_of(tmp_path, toml, exif=position(("S", 41.2875), ("W", 174.7811)))
    found = place_again(south, "Quay", stills_of(south, "Quay"))
    assert found.best is not None
    written = json.dumps(again_data(found))
    quay, _ = scout_notes(south)
    written += words_of(light_document("Low Ferry", quay, south.plan, extra=Extra(None, found)))
    for secret in ("41.2", "174.7", "-41", "−41"):
        assert secret not in written
    here = TOML.replace("Europe/Oslo", "Etc/GMT+12").replace("longitude = 3.5", "longitude = -174.0")
    north = place_again(scout_of(tmp_path, here), "Quay", stills_of(south, "Quay"))
    assert north.best is not None
    assert abs(north.best.sun.azimuth_deg - found.best.sun.azimuth_deg) > 10


def test_what_is_missing_for_the_sun_is_said(tmp_path: Path) -> None:
    lines = TOML.splitlines()
    no_place = "\n".join(line for line in lines if not line.startswith(("latitude", "longitude")))
    assert "no position" in place_again(scout_of(tmp_path, no_place), "Quay", ()).doubts[0]
    no_zone = "\n".join(line for line in lines if not line.startswith("time_zone"))
    assert "no time_zone" in place_again(scout_of(tmp_path, no_zone), "Quay", ()).doubts[0]
    no_date = TOML.replace("date = 2031-03-04", 'date = "a Tuesday"', 1)
    assert "no date" in place_again(scout_of(tmp_path, no_date), "Quay", ()).doubts[0]
    no_shoot = "\n".join(line for line in lines if not line.startswith("shoot_date"))
    assert place_again(scout_of(tmp_path, no_shoot), "Quay", ()).doubts == ()
    with pytest.raises(MeterError, match="Europe/Oslo"):
        scout_of(tmp_path, TOML.replace("Europe/Oslo", "Europe/Osloo"))
    with pytest.raises(MeterError, match="latitude"):
        scout_of(tmp_path, TOML.replace("latitude = 59.0", "latitude = 95.0"))


def test_cards_stand_in_the_order_of_the_log(tmp_path: Path) -> None:
    """A short card does not slip in before a long one that began the next column."""
    rows = "".join(
        f",Hall,lamp {n},,,{3000 + 200 * n},,{50 * n + 10},,{'a note ' * (25 if n % 2 else 1)}\n"
        for n in range(9)
    )
    scout = scout_of(tmp_path, log="stills,location,source,x,y,cct_k,duv,lux,time,note\n" + rows)
    (hall,) = scout_notes(scout)
    document = light_document("Low Ferry", hall, scout.plan)
    placed = []
    for number, page in enumerate(document.pages):
        for box in page.texts:
            if box.what.startswith("lamp ") and box.what[5:].isdigit():
                placed.append((number, box.left > page.width / 2, box.top, int(box.what[5:])))
    cards = [lamp for *_, lamp in sorted(placed)][-9:]
    assert cards == list(range(9))


def test_a_lamp_that_cannot_match_is_given_no_lux(tmp_path: Path) -> None:
    log = "location,source,x,y,lux\nQuay,signal lamp,0.69,0.30,12\n"
    (quay,) = scout_notes(scout_of(tmp_path, log=log))
    assert [n.is_reachable for n in quay.budget[0].lamps] == [False, False]
    assert "does not match it" in words_of(light_document("Low Ferry", quay, Plan(t_stop=2.8)))


def test_no_time_zone_is_needed_where_a_still_has_its_own(tmp_path: Path) -> None:
    """GPS time 15:30:00 UTC beside 16:30:00 by the camera: clocks at UTC+1 (arithmetic)."""
    exif = position(("N", 59.0), ("E", 3.5))
    gps = exif.get_ifd(0x8825)
    gps[7], gps[29] = (15.0, 30.0, 0.0), "2031:03:04"
    toml = "\n".join(line for line in TOML.splitlines() if not line.startswith("time_zone"))
    scout = scout_of(tmp_path, toml, exif=exif)
    found = place_again(scout, "Quay", stills_of(scout, "Quay"))
    assert found.best is not None
    assert found.best.moment.strftime("%Y-%m-%d %H:%M %z") == "2031-03-04 16:30 +0100"
