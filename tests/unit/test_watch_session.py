"""The live page's session: the same pixels as a preview, versions, saving, files that go wrong."""

from __future__ import annotations

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from watched_look import LOOK

from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import LookError, RequestError
from lookdev.looks.toml_file import load_look, look_of_text
from lookdev.lut.bake import bake_cube
from lookdev.lut.cube import write_cube
from lookdev.meter.scout import load_scout
from lookdev.pages.pitch_model import hero_score
from lookdev.render.grader import Output
from lookdev.render.preview import do_preview
from lookdev.render.tasks import Task
from lookdev.survey.survey import Survey, survey
from lookdev.watch.live_still import shown_at
from lookdev.watch.look_text import line_of, read_text, what_changed
from lookdev.watch.session import Fault, Session, choose_stills, open_stills

ROOT = Path(__file__).parents[2]
EDGE = 320  # the page's 1600 differ in nothing but the time they take


@pytest.fixture(scope="module")
def surveyed() -> Survey:
    return survey(load_scout(ROOT / "sample_frames"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(ROOT / "looks", tmp_path / "looks")
    (tmp_path / "looks" / "slack_water.toml").write_text(LOOK, encoding="utf-8")
    return tmp_path / "looks"


@pytest.fixture
def session(surveyed: Survey, folder: Path) -> Session:
    return Session(open_stills(choose_stills(surveyed)[:1], EDGE), [folder])


def number_of(session: Session, file: str) -> int:
    return next(n for n, look in enumerate(session.looks) if look.path.name == file)


@pytest.mark.parametrize(
    "name",
    ["01_ferry_hall_wide.jpg", "07_net_loft_bench.dng", "09_cabin_table.heic", "10_car_deck_lanes.exr"],
)
def test_the_pixels_are_those_of_the_graded_preview(surveyed: Survey, name: str) -> None:
    """8-bit, raw, Display P3 and linear float: what a batch makes its sheets from, to the code."""
    (still,) = choose_stills(surveyed, [name])
    look = load_look(ROOT / "looks" / "slack_water.toml")
    output = Output(look, Path("x.jpg"), still.cast, still.exposure_stops)
    preview = do_preview(Task(still.path, (output,), thumbnail_box=(EDGE, EDGE), light_xy=still.light_xy))
    (live,) = open_stills([still], EDGE)
    assert preview.as_it_stood is not None and preview.graded[0] is not None
    assert np.array_equal(live.as_it_stood(), preview.as_it_stood)
    for _ in range(2):  # and again, from the same memory
        assert np.array_equal(live.graded(look), preview.graded[0])
    assert np.abs(live.as_it_stood().astype(int) - preview.graded[0]).mean() > 3  # the look does something


def test_the_hero_of_each_of_three_places(surveyed: Survey) -> None:
    chosen = choose_stills(surveyed)
    assert len({still.location for still in chosen}) == 3
    for still in chosen:  # each the hero of its place
        scores = {}
        for other in surveyed.at(still.location):
            small = do_preview(
                Task(other.path, thumbnail_box=(360, 360), light_xy=other.light_xy)
            ).as_it_stood
            assert small is not None
            scores[other.name] = hero_score(small)
        assert scores[still.name] == max(scores.values())
    assert [s.name for s in choose_stills(surveyed, ["02_ferry_hall_counter"])] == [
        "02_ferry_hall_counter.jpg"
    ]
    with pytest.raises(RequestError, match=r"01_ferry_hall_wide\.jpg \(the nearest\)"):
        choose_stills(surveyed, ["01_ferry_hall_wde.jpg"])


def test_a_draft_is_the_look_that_the_saved_file_is(session: Session, folder: Path) -> None:
    look = number_of(session, "slack_water.toml")
    text = session.looks[look].newest.text.replace("keep = 0.35", "keep = 0.80")
    draft = session.draft(look, text)
    assert not isinstance(draft, Fault)
    before = session.picture(0, draft)
    assert read_text(folder / "slack_water.toml").text != text  # a draft writes nothing
    assert session.save(look, text, 0).outcome == "saved"
    assert (folder / "slack_water.toml").read_text(encoding="utf-8") == text
    saved = session.look_of(look, session.looks[look].newest.number)
    assert saved is not None and np.array_equal(session.picture(0, saved), before)
    assert [v.title for v in session.looks[look].versions] == ["as it was opened", "balance.keep 0.35 to 0.8"]
    first = session.look_of(look, 0)
    assert first is not None and first.fingerprint() == look_of_text(LOOK, "x").fingerprint()


def test_comments_line_ends_and_mark_of_the_file_stay(surveyed: Survey, tmp_path: Path) -> None:
    path = tmp_path / "dusk.toml"
    path.write_bytes(b"\xef\xbb\xbf# mine\r\n[curve]\r\ncontrast = 1.2  # a little\r\n")
    session = Session(open_stills(choose_stills(surveyed)[:1], EDGE), [path])
    text = session.looks[0].newest.text
    assert text == "# mine\n[curve]\ncontrast = 1.2  # a little\n"
    assert session.save(0, text.replace("1.2", "1.3"), 0).outcome == "saved"
    assert path.read_bytes() == b"\xef\xbb\xbf# mine\r\n[curve]\r\ncontrast = 1.3  # a little\r\n"
    assert [p.name for p in tmp_path.iterdir()] == ["dusk.toml"]


def test_what_was_saved_elsewhere_is_never_written_over_unasked(session: Session, folder: Path) -> None:
    look, path = number_of(session, "slack_water.toml"), folder / "slack_water.toml"
    theirs = path.read_text().replace("mired = -12", "mired = -30")
    path.write_text(theirs)
    mine = session.looks[look].newest.text.replace("mired = -12", "mired = 40")
    assert session.save(look, mine, 0).outcome == "asked"
    assert path.read_text() == theirs
    assert session.looks[look].newest.title == "balance.mired -12 to -30 (saved elsewhere)"
    assert session.save(look, mine, 0, over=True).outcome == "saved"
    assert path.read_text() == mine
    assert [v.number for v in session.looks[look].versions] == [0, 1, 2]  # theirs can be taken back


def test_a_look_file_that_goes_wrong_meanwhile(session: Session, folder: Path) -> None:
    look, path = number_of(session, "slack_water.toml"), folder / "slack_water.toml"
    text = session.looks[look].newest.text
    path.unlink()
    assert session.read_again([look]) == [look]
    fault = session.looks[look].newest.fault
    assert fault is not None and "cannot be read" in fault.words
    assert session.looks[look].newest.text == text  # what it said is not lost
    assert session.save(look, text, session.looks[look].newest.number).outcome == "saved"
    assert path.read_text(encoding="utf-8") == text and session.looks[look].newest.fault is None
    path.unlink()
    path.mkdir()
    saved = session.save(look, text + "# more", 0, over=True)
    assert saved.outcome == "failed" and "slack_water.toml" in saved.words
    assert path.is_dir() and not list(path.iterdir())
    path.rmdir()
    path.write_bytes(b"\xff\xfe\x00")
    session.read_again([look])
    fault = session.looks[look].newest.fault
    assert fault is not None and "UTF-8" in fault.words


def test_a_received_lut_is_shown_and_not_written(surveyed: Survey, tmp_path: Path) -> None:
    write_cube(
        tmp_path / "theirs.cube",
        bake_cube(load_look(ROOT / "looks/slack_water.toml").transform(SRGB, SRGB), 17),
    )
    stand_in = tmp_path / "answer.toml"
    stand_in.write_text('cube = "theirs.cube@sRGB:sRGB"\n')
    session = Session(open_stills(choose_stills(surveyed)[:1], EDGE), [tmp_path])
    assert not session.looks[0].is_text and session.looks[0].look is not None
    assert session.save(0, "title = 'x'", 0, over=True).outcome == "failed"
    assert stand_in.read_text() == 'cube = "theirs.cube@sRGB:sRGB"\n'
    assert set(session.files()) == {stand_in, tmp_path / "theirs.cube"}


def test_a_look_follows_the_one_that_it_is_based_on(surveyed: Survey, tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text("[curve]\ncontrast = 1.1\n")
    (tmp_path / "night.toml").write_text('based_on = "base.toml"\n[exposure]\nstops = -1\n')
    session = Session(open_stills(choose_stills(surveyed)[:1], EDGE), [tmp_path / "night.toml"])
    assert session.files() == {tmp_path / "night.toml": (0,), tmp_path / "base.toml": (0,)}
    before = session.look_of(0, 0)
    (tmp_path / "base.toml").write_text("[curve]\ncontrast = 1.6\n")
    assert session.read_again([0]) == [0]
    after = session.look_of(0, session.looks[0].newest.number)
    assert before is not None and after is not None and before.fingerprint() != after.fingerprint()
    (tmp_path / "base.toml").write_text("[curve]\ncontrast = 99\n")
    session.read_again([0])
    fault = session.looks[0].newest.fault
    assert fault is not None and fault.line == 1 and "base.toml" in fault.words


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("[balance]\nkeep = 2\n", 2, "out of range"),
        (
            "title = 'x'\n\n[colour]\nsaturation = 1\n\n[colour.families.G]\nchroma = 1\nshfit = 2\n",
            8,
            "unknown key",
        ),
        ("[curve]\ncontrast = 1.1\n[cruve]\n", 3, "unknown key"),
        ("[curve]\ncontrast 1.1\n", 2, ""),
        ("curve.contrast = 1\ncurve.toe = 'x'\n", 2, "wrong value"),
        ("[cdl]\nslope = [1, 1]\n", 2, "wrong value"),
        ("[[tone]] # cold\nat_stops = -3\ntowards = '5Q'\nchroma = 0.01\n", 3, "a Munsell hue"),
    ],
)
def test_an_error_has_the_line_that_it_is_about(session: Session, text: str, line: int, words: str) -> None:
    fault = session.draft(0, text)
    assert isinstance(fault, Fault)
    assert fault.line == line and words in fault.words
    assert ".toml" not in fault.words  # the page shows the very file


def test_a_look_that_comes_into_the_folder(session: Session, folder: Path) -> None:
    """It is taken up at the end, so that no other's number moves; a broken one with its fault."""
    before = [look.path.name for look in session.looks]
    assert session.new_looks() == []
    (folder / "aft.toml").write_text(LOOK, encoding="utf-8")
    (folder / "broken.toml").write_text("title = ", encoding="utf-8")
    (folder / "notes.txt").write_text("no look", encoding="utf-8")
    count = len(before)
    assert session.new_looks() == [count, count + 1]
    assert [look.path.name for look in session.looks] == [*before, "aft.toml", "broken.toml"]
    assert session.looks[count].name == "Slack water (aft.toml)"
    assert session.looks[count].newest.fault is None and session.looks[count + 1].newest.fault is not None
    assert session.new_looks() == []
    assert (folder / "aft.toml").absolute() in session.files()
    saved = session.save(count, LOOK.replace("0.35", "0.2"), 0)
    assert saved.outcome == "saved" and "keep = 0.2" in (folder / "aft.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["15_harbour_office_desk.tif", "10_car_deck_lanes.exr"])
def test_the_quick_picture_of_a_slow_still(surveyed: Survey, name: str, folder: Path) -> None:
    """Worked out from 8-bit codes: it stands in for a moment, and is the whole one but for their steps."""
    still = open_stills(choose_stills(surveyed, (name,)), EDGE)[0]
    look = load_look(folder / "slack_water.toml")
    assert still.is_slow
    quick, whole = still.graded(look, quick=True), still.graded(look)
    off = np.abs(quick.astype(int) - whole.astype(int))
    assert quick.shape == whole.shape and off.mean() < 1.5 and np.percentile(off, 99) <= 6


@pytest.mark.parametrize("name", ["01_ferry_hall_wide.jpg", "03_loading_dock_wide.jpg"])
def test_the_quick_picture_stands_in_for_a_moment(surveyed: Survey, name: str) -> None:
    """Of an 8-bit still it has its size, and few colours are a code or two off."""
    still = open_stills(choose_stills(surveyed, (name,)), EDGE)[0]
    for path in sorted((ROOT / "tests" / "fixed_looks").glob("*.toml")):
        quick, whole = (still.graded(load_look(path), quick).astype(int) for quick in (True, False))
        assert quick.shape == whole.shape and not still.is_slow
        off = np.abs(quick - whole)
        assert off.mean() < 0.3 and np.percentile(off, 99) <= 3 and off.max() <= 12, path.name


@pytest.mark.parametrize("size", [(546, 365), (800, 534), (130, 87), (1, 1), (1600, 1)])
def test_a_picture_as_large_as_it_is_shown(size: tuple[int, int]) -> None:
    """The mean stays, and it is near to what OpenCV's area average makes of it."""
    random = np.random.default_rng(4)
    smooth = cv2.resize(random.uniform(0, 255, (9, 13, 3)).astype(np.float32), (1600, 1068))
    picture = np.clip(smooth, 0, 255).astype(np.uint8)
    shown = shown_at(picture, size)
    wanted = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    assert shown.shape == wanted.shape and np.abs(shown.astype(int) - wanted).max() <= 3
    assert np.array_equal(shown_at(picture, (1700, 1200)), picture)


def test_half_a_letter_and_too_much_text(session: Session, folder: Path) -> None:
    before = {p: p.read_bytes() for p in folder.iterdir()}
    for text in ("note = '\ud800'", "# " + "x" * 200_001):
        assert isinstance(session.draft(0, text), Fault)
        assert session.save(0, text, 0).outcome == "failed"
    assert {p: p.read_bytes() for p in folder.iterdir()} == before


def test_a_look_from_text() -> None:
    assert look_of_text("[balance]\nkeep = 0.3", "night.toml") == look_of_text(
        'title = "Night"\nbalance.keep = 0.3', "x"
    )
    with pytest.raises(LookError, match="circle"):
        look_of_text('based_on = "slack_water.toml"', ROOT / "looks" / "slack_water.toml")


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("", "", "nothing"),
        ("a = 1", "a = 1 # so", "words and order"),
        ("a = 1\nb = 2\nc = 3", "a = 2\nb = 3\nc = 4", "a 1 to 2, b 2 to 3 and 1 more"),
        ("[[tone]]\nx = 1", "[[tone]]\nx = 1\n[[tone]]\nx = 2", "tone 2.x 2"),
        ("[curve]\ntoe = 1", "", "curve.toe taken out"),
        ("a = 1", "a =", "does not read"),
    ],
)
def test_what_changed_in_a_few_words(before: str, after: str, words: str) -> None:
    assert what_changed(before, after) == words


def test_the_line_of_a_key_in_a_list_of_tables() -> None:
    text = "[[tone]]\nat_stops = 1\n[[tone]]\nat_stops = 99\n"
    assert line_of(LookError("out of range", key="tone.2.at_stops"), text, Path("x")) == 4
    assert line_of(LookError("missing", key="tone.2.towards"), text, Path("x")) == 3


def test_without_its_packages_the_page_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    import lookdev.jobs.watch as job

    monkeypatch.setattr(job, "NEEDED", ("starlette", "no_such_package"))
    with pytest.raises(RequestError, match=r"no no_such_package'?; wanted pip install .lookdev\[watch\]"):
        job.open_page(job.WatchRequest(load_scout(ROOT / "sample_frames"), (ROOT / "looks",)))
