"""What stands on the sheets of a batch, and in which order its stills are asked for."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lookdev.jobs.graded import plan_tasks
from lookdev.looks.model import Look
from lookdev.meter.scout import load_scout
from lookdev.pages import from_batch
from lookdev.pages.from_batch import Sheets, build_sheets, first_pictures, overview_places
from lookdev.render.preview import Preview, do_preview
from lookdev.survey.survey import Survey, SurveyedStill, survey

LOOK = Look.model_validate({"title": "Flat", "curve": {"contrast": 0.8}})
ROWS = "stills,location,source,cct_k,duv,lux,camera_balance_k"


@pytest.fixture
def surveyed(tmp_path: Path) -> Survey:
    """Three places of three stills each, whose colour says where and which they are."""
    scout = tmp_path / "scout"
    scout.mkdir()
    rows = [ROWS]
    for place in range(3):
        rows.append(f"{place}_*.png,Place {place},lamp,3200,0,{100 + place},3200")
        for i in range(3):
            Image.new("RGB", (60, 40), (40 * place + 20, 40 * i + 20, 90)).save(scout / f"{place}_{i}.png")
    (scout / "meter.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return survey(load_scout(scout))


def groups_of(surveyed: Survey) -> list[list[SurveyedStill]]:
    return [list(surveyed.at(name)) for name in surveyed.locations]


class Loader:
    """Gives the small pictures, notes what it is asked for, and fails for some."""

    def __init__(self, surveyed: Survey, broken: tuple[str, ...] = ()) -> None:
        self.tasks = plan_tasks(surveyed, (LOOK,), Path("out"))
        self.broken, self.asked = broken, []  # type: ignore[var-annotated]

    def __call__(self, stills: list[SurveyedStill]) -> dict[str, Preview]:
        self.asked.append([still.name for still in stills])
        return {still.name: self._one(still.name) for still in stills}

    def _one(self, name: str) -> Preview:
        return Preview(error="broken") if name in self.broken else do_preview(self.tasks[name])


def sheets_of(surveyed: Survey, load: Loader, folder: Path) -> Sheets:
    return build_sheets(surveyed, (LOOK,), load, folder, "a4", lambda *_: None)


def test_a_first_still_of_each_place_is_asked_for_then_the_places_in_turn(
    surveyed: Survey, tmp_path: Path
) -> None:
    load = Loader(surveyed)
    sheets = sheets_of(surveyed, load, tmp_path / "sheets")
    assert not sheets.errors
    assert load.asked[0] == ["0_0.png", "1_0.png", "2_0.png"]
    assert load.asked[1:] == [[f"{place}_1.png", f"{place}_2.png"] for place in range(3)]
    stems = [path.stem for path in sheets.written if path.suffix == ".pdf"]
    assert stems == ["overview", "Place_0", "Place_1", "Place_2"]


def test_where_the_first_still_is_broken_the_next_stands_for_its_place(surveyed: Survey) -> None:
    load = Loader(surveyed, broken=("1_0.png", "1_1.png", "2_0.png", "2_1.png", "2_2.png"))
    groups = groups_of(surveyed)
    known = first_pictures(load, groups)
    assert load.asked == [["0_0.png", "1_0.png", "2_0.png"], ["1_1.png", "2_1.png"], ["1_2.png", "2_2.png"]]
    places = overview_places(groups, known)
    assert [name for name, *_ in places] == ["Place 0", "Place 1"]
    for (*_, shown), first in zip(places, ("0_0.png", "1_2.png"), strict=True):
        with Image.open(surveyed.scout.folder / first) as image:
            assert shown.as_it_stood is not None
            assert tuple(shown.as_it_stood[5, 5]) == image.getpixel((5, 5))


def test_a_still_that_breaks_is_left_out_of_its_sheet_and_stops_nothing(
    surveyed: Survey, tmp_path: Path
) -> None:
    sheets = sheets_of(surveyed, Loader(surveyed, ("0_1.png",)), tmp_path / "sheets")
    assert not sheets.errors and sum(path.suffix == ".pdf" for path in sheets.written) == 4


def test_errors_come_in_the_order_of_the_sheets(
    surveyed: Survey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Though two are drawn at a time: here the second is done before the first."""
    second_done = threading.Event()
    draw = from_batch.comparison_sheet

    def slow(model: object, pdf: Path, png: Path, paper: str) -> list[Path]:
        if "Place_0" in pdf.name:
            assert second_done.wait(20)
        try:
            return draw(model, pdf, png, paper)
        finally:
            if "Place_1" in pdf.name:
                second_done.set()

    monkeypatch.setattr(from_batch, "comparison_sheet", slow)
    (tmp_path / "sheets").mkdir()
    for name in ("Place_0.pdf", "Place_1.pdf"):
        (tmp_path / "sheets" / name).mkdir()  # so that it cannot be written
    sheets = sheets_of(surveyed, Loader(surveyed), tmp_path / "sheets")
    assert [name for line in sheets.errors for name in ("Place_0", "Place_1") if name in line] == [
        "Place_0",
        "Place_1",
    ]
    assert [path.stem for path in sheets.written if path.suffix == ".pdf"] == ["overview", "Place_2"]


def test_two_sheets_at_a_time_have_the_bytes_of_one_at_a_time(
    surveyed: Survey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = []
    for at_once in (1, 2):
        monkeypatch.setattr(from_batch, "_AT_ONCE", at_once)
        folder = tmp_path / f"sheets_{at_once}"
        sheets = sheets_of(surveyed, Loader(surveyed), folder)
        found.append({path.name: path.read_bytes() for path in sheets.written})
    assert found[0] == found[1] and sum(name.endswith(".pdf") for name in found[0]) == 4


def test_a_preview_that_is_no_picture_is_an_error(surveyed: Survey) -> None:
    task = plan_tasks(surveyed, (LOOK,), Path("out"))["0_0.png"]
    missing = replace(task, still=surveyed.scout.folder / "missing.png")
    assert "missing.png" in (do_preview(missing).error or "")
    assert np.all(do_preview(task).as_it_stood == (20, 20, 90))


def test_a_part_of_the_scout_leaves_the_overview_of_the_whole_alone(surveyed: Survey, tmp_path: Path) -> None:
    whole = sheets_of(surveyed, Loader(surveyed), tmp_path / "sheets")
    before = (tmp_path / "sheets" / "overview.pdf").read_bytes()
    part = surveyed.select(["Place 1"])
    made = sheets_of(part, Loader(part), tmp_path / "sheets")
    assert (tmp_path / "sheets" / "overview.pdf").read_bytes() == before
    assert {path.stem for path in made.written if path.suffix == ".pdf"} == {"Place_1"}
    assert len(whole.written) > len(made.written)
    assert not any("overview" in path.name for path in from_batch.sheet_files(part, tmp_path))


def test_as_it_stood_is_the_still_as_it_came_and_as_metered_a_column_of_its_own(surveyed: Survey) -> None:
    one = replace(surveyed.stills[0], exposure_stops=1.0)
    pictures = {one.name: do_preview(plan_tasks(surveyed, (LOOK,), Path("out"))[one.name])}
    model = from_batch.location_model(surveyed, (LOOK,), pictures, one.location, [one])
    assert [column.title for column in model.columns] == ["As it stood", "As metered", "Flat"]
    assert model.repeated == 2
    stood, metered, _ = model.rows[0].pictures
    assert stood is not None and metered is not None
    assert tuple(stood[5, 5]) == (20, 20, 90)
    assert metered[5, 5].mean() > 1.2 * stood[5, 5].mean()  # a stop more
    plain = from_batch.location_model(surveyed, (LOOK,), pictures, one.location, [surveyed.stills[0]])
    assert [column.title for column in plain.columns] == ["As it stood", "Flat"]
