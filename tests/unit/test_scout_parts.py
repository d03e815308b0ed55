"""Stills of a scout that are no files: ``[[view]]`` of panoramas, and moments of clips."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lookdev.cli.main import main
from lookdev.errors import MeterError
from lookdev.jobs.contact import run as contact
from lookdev.meter.scout import load_scout
from lookdev.stills.part import Moment, View
from lookdev.survey.survey import Survey, survey

HEAD = "stills,location,source,cct_k,camera_balance_k,grey\n"
NOTE = "Quay\nsodium 2100K 40lx 21:15\nclip.mov@00:07 {more}\n"


def panorama(path: Path, width: int = 512, colour: tuple[int, int, int] = (90, 90, 90)) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = np.full((width // 2, width, 3), colour, np.uint8)
    pixels[:, : width // 2] = [c // 2 for c in colour]
    Image.fromarray(pixels).save(path, quality=95)


def view(still: str, name: str, **numbers: float) -> str:
    return f'[[view]]\nstill = "{still}"\nname = "{name}"\n' + "".join(
        f"{k} = {v}\n" for k, v in numbers.items()
    )


def scout_of(folder: Path, rows: str, plan: str) -> Survey:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "meter.csv").write_text(HEAD + rows, encoding="utf-8")
    (folder / "scout.toml").write_text(plan, encoding="utf-8")
    return survey(load_scout(folder))


def test_a_view_is_a_still_of_its_own_and_goes_where_its_panorama_goes(tmp_path: Path) -> None:
    panorama(tmp_path / "A/pano.jpg")
    rows = "A/pano.jpg,Quay,lamp,3200,5600,\nOther,Loft,window,6500,5600,\n"
    found = scout_of(tmp_path, rows, view("pano.jpg", "To the loft", pan_deg=90, lens_mm=12))
    assert [still.name for still in found.stills] == ["A/pano.jpg", "A/pano.jpg@To the loft"]
    flat = found.still("A/pano.jpg@To the loft")
    assert (flat.location, flat.rung) == ("Quay", "name")  # it looks at the loft, and stands on the quay
    assert flat.cast == found.still("A/pano.jpg").cast is not None
    assert flat.size == (95, 169)  # 512 / (2 pi) pixels a radian, times 14.0 / 12 and 24.9 / 12
    assert flat.part == View(90, lens_mm=12)
    assert flat.read().full_size == (95, 169)


@pytest.mark.parametrize("typed", ["To the ramp", "pano.jpg@To the ramp", "A/pano.jpg@to the RAMP"])
def test_a_reading_of_its_own_is_typed_by_its_name(tmp_path: Path, typed: str) -> None:
    panorama(tmp_path / "A/pano.jpg")
    rows = f"pano.jpg,Quay,lamp,3200,5600,\n{typed},Ramp,window,6500,5600,\n"
    found = scout_of(tmp_path, rows, view("pano.jpg", "To the ramp") + view("pano.jpg", "Out", pan_deg=180))
    assert {still.name: still.location for still in found.stills} == {
        "A/pano.jpg": "Quay",
        "A/pano.jpg@Out": "Quay",
        "A/pano.jpg@To the ramp": "Ramp",
    }


def test_a_patch_typed_for_the_panorama_lies_in_the_panorama(tmp_path: Path) -> None:
    """The left half is of another colour than the right, and the view looks to the right."""
    path = tmp_path / "pano.png"
    pixels = np.zeros((256, 512, 3), np.uint8)
    pixels[:, :256], pixels[:, 256:] = (120, 100, 80), (60, 70, 90)
    Image.fromarray(pixels).save(path)
    rows = 'pano.png,Quay,lamp,3200,auto,"10,10,50,50"\n'
    found = scout_of(tmp_path, rows, view("pano.png", "Right", pan_deg=90) + "[plan]\nbalance_k = 3200\n")
    whole, flat = found.stills
    assert whole.road == flat.road == "patch"
    assert whole.cast is not None and flat.cast is not None
    assert flat.cast.picture_xy == whole.cast.picture_xy
    assert whole.patch == (10, 10, 50, 50) and flat.patch is None
    rows += 'Right,Quay,lamp,3200,auto,"10,10,20,20"\n'
    own = scout_of(
        tmp_path, rows, view("pano.png", "Right", pan_deg=90) + "[plan]\nbalance_k = 3200\n"
    ).stills[1]
    assert own.cast is not None and own.cast.picture_xy != whole.cast.picture_xy
    assert own.patch == (10, 10, 20, 20)


def test_a_view_of_what_is_not_there_is_a_line_and_the_rest_is_done(tmp_path: Path) -> None:
    panorama(tmp_path / "A/pano.jpg")
    panorama(tmp_path / "B/pano.jpg", colour=(80, 90, 90))
    Image.new("RGB", (64, 48), (9, 9, 9)).save(tmp_path / "flat.jpg")
    plan = (view("pamo.jpg", "One") + view("pano.jpg", "Two") + view("flat.jpg", "Three")
            + view("A/pano.jpg", "Four") + view("A/pano.jpg", "four"))  # fmt: skip
    found = scout_of(tmp_path, "*,Quay,lamp,3200,5600,\n", plan)
    lines = "\n".join(found.errors)
    assert "view 'One' is of a still that is not there; found 'pamo.jpg'; wanted" in lines
    assert "view 'Two' is of several stills; found 'pano.jpg'; wanted one path, such as A/pano.jpg" in lines
    assert "is no panorama that views can be taken of; found '64 x 48 pixels'" in lines
    assert "two views of one name; found 'four'" in lines
    assert len(found.errors) == 4
    assert [still.name for still in found.usable] == [
        "A/pano.jpg",
        "A/pano.jpg@Four",
        "B/pano.jpg",
        "flat.jpg",
    ]


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ({"pan_deg": 700}, "pan_deg"),
        ({"tilt_deg": 91}, "tilt_deg"),
        ({"roll_deg": -200}, "roll_deg"),
        ({"lens_mm": 0}, "lens_mm"),
        ({"lens_mm": 2}, "see up to 160 degrees, not 162"),
        ({"lens": 18}, "lens_mm"),
    ],
)
def test_nonsense_is_answered_in_words(tmp_path: Path, numbers: dict[str, float], words: str) -> None:
    panorama(tmp_path / "pano.jpg")
    with pytest.raises(MeterError, match=words):
        scout_of(tmp_path, "", view("pano.jpg", "One", **numbers))


def test_a_name_that_files_cannot_bear_is_refused(tmp_path: Path) -> None:
    panorama(tmp_path / "pano.jpg")
    with pytest.raises(MeterError, match="a name without @"):
        scout_of(tmp_path, "", view("pano.jpg", "this/that"))


def test_moments_of_a_clip_stand_in_its_place(tmp_path: Path) -> None:
    """The log and scout.toml name them; a clip that nobody names is its middle. None is opened for that."""
    for name in ("A/clip.mov", "B/clip.mov", "other.mp4"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(name.encode())
    (tmp_path / "meter.txt").write_text(NOTE.format(more="A/clip.mov@1:02"))
    (tmp_path / "scout.toml").write_text(
        '[stills]\nmoments = ["clip.mov@7s", "other.mp4@soon", "no.mp4@00:01"]\n'
    )
    scout = load_scout(tmp_path)
    assert [(still.name, still.part) for still in scout.parts] == [
        ("A/clip.mov@00:07", Moment(7.0)),
        ("A/clip.mov@01:02", Moment(62.0)),
        ("B/clip.mov@00:07", Moment(7.0)),
        ("other.mp4", None),
    ]
    told = [str(error) for error in scout.log.errors]
    assert ["no moment of a clip" in line for line in told] == [True, True]
    assert "found 'other.mp4@soon'" in told[0] and "found 'no.mp4@00:01'" in told[1]
    found = survey(scout)
    assert found.still("A/clip.mov@01:02").rung == "name"
    assert all("broken or cut short" in str(still.error) for still in found.stills)


def test_batch_makes_views_and_resumes_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scout = tmp_path / "scout"
    panorama(scout / "pano.jpg")
    plan = view("pano.jpg", "Left", pan_deg=-90, lens_mm=8) + view("pano.jpg", "Right", pan_deg=90, lens_mm=8)
    scout_of(scout, "pano.jpg,Quay,lamp,3200,5600,\n", plan)
    (scout / "cut.mov").write_bytes(b"\0\0\0\x14ftypqt  \0\0\0\0qt  " + bytes(300))  # broken off: one line
    (tmp_path / "look.toml").write_text('title = "Dusk"\n[exposure]\nstops = -0.5\n')
    words = ["batch", str(scout), "--looks", str(tmp_path / "look.toml"), "--out", str(tmp_path / "out")]

    def graded() -> dict[str, tuple[bytes, int]]:
        files = sorted((tmp_path / "out" / "graded").rglob("*.jpg"))
        return {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in files}

    with pytest.raises(SystemExit) as end:
        main(words)
    assert end.value.code == 1
    told = [line for line in capsys.readouterr().err.splitlines() if "cut.mov: this clip" in line]
    assert len(told) == 1 and "broken or cut short" in told[0]
    first = graded()
    assert list(first) == ["pano_Left__dusk.jpg", "pano_Right__dusk.jpg", "pano__dusk.jpg"]
    left, right = (
        np.asarray(Image.open(tmp_path / f"out/graded/Quay/pano_{side}__dusk.jpg"))
        for side in ("Left", "Right")
    )
    assert left.shape == right.shape == (143, 254, 3)
    assert right.mean() > 1.5 * left.mean()
    summary = json.loads((tmp_path / "out/summary.json").read_text())
    assert [still["file"] for still in summary["locations"][0]["stills"]] == [
        "pano.jpg", "pano.jpg@Left", "pano.jpg@Right",
    ]  # fmt: skip
    with pytest.raises(SystemExit) as end:
        main([*words, "--resume"])
    assert end.value.code == 1
    assert graded() == first  # nothing was written again
    (scout / "scout.toml").write_text(plan.replace("-90", "-80"))
    with pytest.raises(SystemExit):
        main([*words, "--resume"])
    changed = [name for name, was in graded().items() if was != first[name]]
    assert changed == ["pano_Left__dusk.jpg"]  # of the view that was turned, and of no other
    capsys.readouterr()


def test_the_contact_page_shows_eight_directions_whose_text_makes_views(tmp_path: Path) -> None:
    scout = tmp_path / "scout"
    panorama(scout / "pano.jpg")
    Image.new("RGB", (64, 48), (90, 90, 90)).save(scout / "flat.jpg")
    scout_of(scout, "*,Quay,lamp,3200,5600,\n", "")
    made = contact(load_scout(scout), tmp_path / "contact")
    assert [path.name for path in made.files] == ["contact_01.png", "directions_01.png", "views.toml"]
    text = (tmp_path / "contact" / "views.toml").read_text()
    assert text == made.views
    views = survey(load_scout(scout)).scout
    (scout / "scout.toml").write_text(text)
    parts = [still.part for still in load_scout(scout).parts if still.part is not None]
    assert [part.pan_deg for part in parts if isinstance(part, View)] == [0, 45, 90, 135, 180, -135, -90, -45]
    assert views.parts[0].part is None
    assert len(survey(load_scout(scout)).usable) == 10
    assert Image.open(tmp_path / "contact" / "directions_01.png").width > 2000


def test_a_png_without_camera_data_is_marked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    exif = Image.Exif()
    exif[0x010F] = "Phone"
    Image.new("RGB", (64, 48), (90, 90, 90)).save(tmp_path / "plan.png")
    Image.new("RGB", (64, 48), (80, 90, 90)).save(tmp_path / "still.png", exif=exif)
    Image.new("RGB", (64, 48), (70, 90, 90)).save(tmp_path / "bare.jpg")
    scout_of(tmp_path, "*,Quay,lamp,3200,5600,\n", "")
    with pytest.raises(SystemExit):
        main(["log", str(tmp_path), "--json"])
    joins = json.loads(capsys.readouterr().out)["joins"]
    assert {j["still"]: j["marks"] for j in joins} == {
        "bare.jpg": [], "plan.png": ["PNG without camera data"], "still.png": [],
    }  # fmt: skip
    with pytest.raises(SystemExit):
        main(["log", str(tmp_path)])
    table = capsys.readouterr().out.splitlines()
    assert [("PNG without camera data" in line) for line in table[1:]] == [False, True, False]
    assert "in the picture" in table[0] and " K, Duv" in table[1]


def test_the_patch_that_was_sampled_is_printed_on_the_contact_page(tmp_path: Path) -> None:
    """Of a picture that is grey but for its patch, the patch's colour stands twice: in it, and below it."""
    pixels = np.full((600, 900, 3), 100, np.uint8)
    pixels[150:250, 300:450] = (150, 60, 30)
    scout = tmp_path / "scout"
    scout.mkdir()
    Image.fromarray(pixels).save(scout / "a.png")
    scout_of(scout, 'a.png,Quay,lamp,3200,auto,"310,160,120,80"\n', "[plan]\nbalance_k = 3200\n")
    made = contact(load_scout(scout), tmp_path / "contact")
    page = np.asarray(Image.open(made.files[0]).convert("RGB")).astype(int)
    rows = np.flatnonzero(np.any(np.all(np.abs(page - (150, 60, 30)) <= 2, axis=-1), axis=1))
    assert np.count_nonzero(np.diff(rows) > 100) == 1
