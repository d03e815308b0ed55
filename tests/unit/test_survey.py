"""A scout resolved once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import RequestError
from lookdev.looks.rendering import SCENE_WHITE, render_curve
from lookdev.meter.ladder import Step
from lookdev.meter.scout import load_scout
from lookdev.survey.survey import UNLOGGED, Survey, SurveyedStill, survey

HEAD = "stills,location,source,cct_k,camera_balance_k\n"


def scout_of(folder: Path, stills: list[str], rows: str, plan: str = "") -> Survey:
    for number, name in enumerate(stills):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        Image.new("RGB", (32, 24), (90, 90, 90 + 20 * number)).save(folder / name)
    (folder / "meter.csv").write_text(HEAD + rows, encoding="utf-8")
    (folder / "scout.toml").write_text(plan, encoding="utf-8")
    return survey(load_scout(folder))


def test_a_still_is_its_path_in_the_scout(tmp_path):
    """The same file name on two cards: a bare name is nobody's, and each still says so."""
    found = scout_of(tmp_path, ["a/IMG_1.jpg", "b/IMG_1.jpg", "c.jpg"], "IMG_1.jpg,Loft,lamp,3200,5600\n")
    first = found.still("a/IMG_1.jpg")
    assert first.reading is None and first.location == UNLOGGED and first.cast is None
    assert "row 2: 'IMG_1.jpg' is the name of several stills: give its path" in first.warnings[0]
    assert "a/IMG_1.jpg" in first.warnings[0]
    assert not any("several" in line for line in found.still("c.jpg").warnings)


@pytest.mark.parametrize("name", ["a/IMG_1.jpg", "a/IMG_1", "A/img_1.JPG"])
def test_its_path_names_the_one_still(tmp_path, name):
    found = scout_of(tmp_path, ["a/IMG_1.jpg", "b/IMG_1.jpg"], f"{name},Loft,lamp,3200,5600\n")
    assert found.still("a/IMG_1.jpg").reading is not None
    assert found.still("b/IMG_1.jpg").reading is None
    assert [place.stills for place in found.places()] == [("a/IMG_1.jpg",)]


def test_a_still_at_the_top_is_called_by_its_bare_name(tmp_path):
    found = scout_of(tmp_path, ["IMG_1.jpg", "b/IMG_1.jpg"], "IMG_1.jpg,Loft,lamp,3200,5600\n")
    assert found.still("IMG_1.jpg").rung == "name"
    assert found.still("b/IMG_1.jpg").reading is None


def test_a_picture_and_its_raw_file_are_one_still_to_a_bare_name(tmp_path):
    found = scout_of(tmp_path, ["a/IMG_1.jpg", "a/IMG_1.png"], "IMG_1,Loft,lamp,3200,5600\n")
    assert all(still.reading is not None for still in found.stills)


def test_a_pattern_says_itself_that_it_is_for_many(tmp_path):
    found = scout_of(tmp_path, ["a/IMG_1.jpg", "b/IMG_1.jpg"], "IMG_*,Loft,lamp,3200,5600\n")
    assert [still.rung for still in found.stills] == ["pattern"] * 2


def test_select_takes_the_part_that_a_survey_of_it_would(tmp_path):
    rows = "a.jpg,Loft,lamp,3200,5600\nb.jpg,Dock,lamp,2000,5600\n"
    whole = scout_of(tmp_path, ["a.jpg", "b.jpg", "c.jpg"], rows)
    assert whole.locations == ("Loft", "Dock", UNLOGGED)
    part = whole.select(["dock"])
    assert part == survey(whole.scout, ["dock"])
    assert [still.name for still in part.stills] == ["b.jpg"] and part.every_still == whole.every_still
    assert [reading.location for reading in part.readings] == ["Dock"]
    with pytest.raises(RequestError, match="no such location"):
        whole.select(["Pier"])


def test_a_join_of_ones_own_is_followed_to_the_letter(tmp_path):
    """The seam: stills, readings and the scout in; for each still a reading, why, and how far apart."""
    whole = scout_of(tmp_path, ["a.jpg", "b.jpg"], "a.jpg,Loft,lamp,3200,5600\n")

    def backwards(stills, readings, scout):
        assert [still.info[0] for still in stills] == [(24, 32)] * 2 and scout is whole.scout
        return [Step(), Step(readings[0], "the nearest in time", 12.0)]

    found = survey(whole.scout, join=backwards)
    assert (found.still("b.jpg").rung, found.still("b.jpg").minutes_apart) == ("the nearest in time", 12.0)
    assert found.still("a.jpg").reading is None and found.still("b.jpg").cast is not None


def test_a_broken_still_stays_in_with_its_error(tmp_path):
    whole = scout_of(tmp_path, ["a.jpg"], "*.jpg,Loft,lamp,3200,5600\n")
    (tmp_path / "b.jpg").write_bytes(b"\xff\xd8 no more")
    found = survey(load_scout(tmp_path))
    assert [still.error is None for still in found.stills] == [True, False]
    assert len(found.errors) == 1 and "b.jpg" in found.errors[0]
    assert [place.stills for place in found.places()] == [("a.jpg",)] and whole.errors == ()


def test_where_there_are_no_stills_the_readings_make_the_places(tmp_path):
    found = scout_of(tmp_path, [], ",Loft,lamp,3200,5600\n,Dock,lamp,2000,\n")
    assert [(place.name, place.stills) for place in found.places()] == [("Loft", ())]


def test_a_bad_patch_is_a_warning_and_the_still_goes_the_way_it_would_without(tmp_path: Path) -> None:
    """A field of the contact page; a patch outside; the assumption; and what keep is then a share of."""

    from lookdev.survey.join_words import join_rows

    for name in ("a.jpg", "b.jpg", "c.jpg"):
        Image.new("RGB", (240, 160), (150, 130, 110)).save(tmp_path / name)
    (tmp_path / "meter.csv").write_text(
        "stills,location,cct_k,duv,camera_balance_k,grey\n"
        "a.jpg,Dock,2000,0.001,auto,F5-G6\n"
        'b.jpg,Dock,2000,0.001,5600,"900,10,20,20"\n'
        "c.jpg,Dock,2000,0.001,neutralised,\n",
        encoding="utf-8",
    )
    (tmp_path / "scout.toml").write_text("[plan]\nbalance_k = 4300\n", encoding="utf-8")
    by_patch, fixed, assumed = survey(load_scout(tmp_path)).stills
    assert (by_patch.road, by_patch.patch) == ("patch", (50, 40, 20, 20))
    assert fixed.road == "fixed" and any("outside" in line for line in fixed.warnings)
    assert assumed.road == "assumed" and by_patch.cast is not None
    wholes = {still.cast.whole_xy for still in (by_patch, fixed, assumed) if still.cast is not None}
    assert len(wholes) == 1
    rows = join_rows(survey(load_scout(tmp_path)))
    assert [row[5] for row in rows] == ["patch", "fixed", "assumed"]


def test_byte_identical_copies_are_named_and_graded_once(tmp_path):
    """A card that was copied twice, under other names too; the one that the log names stays."""
    found = scout_of(tmp_path, ["a/IMG_1.jpg", "c.jpg"], "IMG_1 (1).jpg,Loft,lamp,3200,5600\n")
    (tmp_path / "b").mkdir()
    for copy in ("b/IMG_1.jpg", "a/IMG_1 (1).jpg"):
        (tmp_path / copy).write_bytes((tmp_path / "a/IMG_1.jpg").read_bytes())
    found = survey(load_scout(tmp_path))
    assert [still.name for still in found.stills] == ["a/IMG_1 (1).jpg", "c.jpg"]
    once = found.stills[0]
    assert once.copies == ("a/IMG_1.jpg", "b/IMG_1.jpg") and once.location == "Loft"
    assert found.still("b/IMG_1.jpg") is once
    assert any("byte for byte, as a/IMG_1.jpg, b/IMG_1.jpg: graded once" in line for line in found.warnings)
    assert found.every_still == (("Loft", "a/IMG_1 (1).jpg"), (UNLOGGED, "c.jpg"))
    assert found.join_words == "1 reading used; 1 still has none"


def test_copies_that_the_log_has_different_readings_for_all_stay(tmp_path):
    rows = "a/1.jpg,Loft,lamp,3200,5600\nb/1.jpg,Dock,lamp,2100,5600\n"
    scout_of(tmp_path, ["a/1.jpg"], rows)
    for copy in ("b/1.jpg", "c.jpg"):
        (tmp_path / copy).parent.mkdir(exist_ok=True)
        (tmp_path / copy).write_bytes((tmp_path / "a/1.jpg").read_bytes())
    found = survey(load_scout(tmp_path))
    assert [(still.location, still.name) for still in found.stills] == [
        ("Loft", "a/1.jpg"),
        ("Dock", "b/1.jpg"),
    ]
    assert found.still("a/1.jpg").copies == ("b/1.jpg", "c.jpg")
    assert found.still("b/1.jpg").copies == ("a/1.jpg", "c.jpg")


def test_files_of_one_size_that_differ_at_their_end_are_no_copies(tmp_path):
    for name, last in (("a.tif", b"1"), ("b.tif", b"2"), ("c.tif", b"1")):
        (tmp_path / name).write_bytes(b"II*\0" + bytes(200_000) + last)
    (tmp_path / "d.tif").write_bytes(b"II*\0")
    found = survey(load_scout(tmp_path))
    assert [still.name for still in found.stills] == ["a.tif", "b.tif", "d.tif"]


def matched(folder: Path, lux: float, bright_share: float, plan: str = "") -> SurveyedStill:
    """A still at f/4, 1/50 s, ISO 800 of which a share lies 1.5 stops under white."""
    light = np.full((100, 100, 3), 0.18)
    light[: round(100 * bright_share)] = SCENE_WHITE * 2.0**-1.5
    codes = np.round(np.asarray(SRGB.from_working(render_curve(light))) * 255).astype(np.uint8)
    exif = Image.Exif()
    exif[0x010F] = "Phone"
    exif.get_ifd(0x8769).update({0x829A: 0.02, 0x829D: 4.0, 0x8827: 800})
    Image.fromarray(codes).save(folder / "a.png", exif=exif)
    row = f"stills,location,cct_k,camera_balance_k,lux\na.png,Loft,5600,5600,{lux:.2f}\n"
    (folder / "meter.csv").write_text(row, encoding="utf-8")
    (folder / "scout.toml").write_text(
        f'[plan]\nmatch = "meter"\ncalibration_constant = 250\n{plan}\n', encoding="utf-8"
    )
    return survey(load_scout(folder)).stills[0]


@pytest.mark.parametrize(
    ("share", "plan", "held"),
    [(0.04, "", False), (0.06, "", True), (0.06, "match_white_percent = 7", False), (0.0, "", False)],
)
def test_a_match_that_whitens_the_frame_is_held_back(tmp_path, share, plan, held):
    """ISO 2720: f/4, 1/50 s, ISO 800 is what 250 lux call for (C = 250)."""
    still = matched(tmp_path, 250 / 2**1.8, share, plan)
    told = [line for line in still.warnings if "held back" in line]
    assert still.exposure_stops == pytest.approx(0.0 if held else 1.8, abs=1e-3)
    assert bool(told) == held
    if held:
        assert (
            "calls for +1.8 stops, which puts 6% of the frame at white (match_white_percent = 5)" in told[0]
        )


def test_light_that_was_white_already_is_not_held_against_a_match(tmp_path):
    """Half a stop brings nothing to white that lay 1.5 under it; less light brings nothing at all."""
    assert matched(tmp_path, 250 / 2**0.5, 0.5).exposure_stops == pytest.approx(0.5, abs=1e-3)
    assert matched(tmp_path, 500, 0.5).exposure_stops == pytest.approx(-1.0, abs=1e-3)


def test_a_match_of_many_stops_is_held_back_unless_asked_for(tmp_path):
    still = matched(tmp_path, 250 / 8, 0.0)
    assert still.exposure_stops == 0.0
    assert any(
        "calls for +3.0 stops, more than match_limit_stops = 2: held back" in w for w in still.warnings
    )
    assert matched(tmp_path, 250 / 8, 0.0, "match_limit_stops = 3").exposure_stops == pytest.approx(
        3.0, abs=1e-3
    )


def test_the_road_to_neutral_stands_on_the_sheet(tmp_path):
    from lookdev.pages.from_batch import location_model
    from lookdev.render.preview import Preview

    found = scout_of(tmp_path, ["a.jpg"], "*,Loft,lamp,3200,5600\n")
    picture = np.zeros((24, 32, 3), np.uint8)
    model = location_model(found, (), {"a.jpg": Preview(picture)}, "Loft", list(found.stills))
    line = "neutral from: CCT as metered, Duv taken as 0, camera balance from meter.csv"
    assert line in model.rows[0].details


def test_what_did_not_find_each_other_stands_on_the_sheets_where_it_matters(tmp_path):
    from lookdev.pages.from_batch import location_model
    from lookdev.render.preview import Preview

    rows = "a.jpg,Loft,lamp,3200,5600\nc.jpg,Dock,lamp,2000,5600\n"
    found = scout_of(tmp_path, ["a.jpg", "b.jpg"], rows)
    words = "1 reading used; 1 matches no still (row 3); 1 still has none"
    assert found.join_words == words and words in found.warnings
    seen = {name: Preview(np.zeros((24, 32, 3), np.uint8)) for name in ("a.jpg", "b.jpg")}
    at = {
        place: location_model(found, (), seen, place, list(found.at(place))) for place in ("Loft", UNLOGGED)
    }
    assert at["Loft"].warnings == () and at[UNLOGGED].warnings == (words,)


def test_a_pipe_and_empty_files_are_not_waited_for(tmp_path):
    import os

    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(b"")
    os.mkfifo(tmp_path / "pipe.jpg")
    os.mkfifo(tmp_path / "pipe2.jpg")
    found = survey(load_scout(tmp_path))
    assert len(found.stills) == 4 and all(still.error is not None for still in found.stills)
