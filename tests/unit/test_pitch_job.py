"""The pitch of a scout: which still stands for a place, in which frame, looks and order, and what is said."""

from __future__ import annotations

import hashlib
from pathlib import Path

import cv2
import numpy as np
import pytest

import lookdev
from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import MeterError
from lookdev.jobs.common import Line, Progress
from lookdev.jobs.pitch_plan import place_codes, plan_pitch
from lookdev.looks.model import Look
from lookdev.meter.exposure import expose
from lookdev.meter.plain_light import light_sentence, need_words
from lookdev.meter.reading import Reading
from lookdev.meter.scout import Plan
from lookdev.pages.pitch_model import Picture, hero_score, to_shape
from lookdev.stills.writer import write_still

WARM = Look(title="Slack water").model_copy(update={"note": "Cold shadows."})
LOOKS = tuple(Look.model_validate({"title": t, "exposure": {"stops": s}}) for t, s in (
    ("Slack water", -0.5), ("Stove light", 0.4), ("As it stood", 0.0), ("Wet wool", 0.1)))  # fmt: skip


def sharp(width: int = 360, height: int = 240, seed: int = 1) -> Picture:
    rng = np.random.default_rng(seed)
    blocks = rng.integers(20, 220, (height // 12, width // 12, 3), dtype=np.uint8)
    return np.asarray(cv2.resize(blocks, (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)


def make(folder: Path, more: str = "") -> Path:
    folder.mkdir(exist_ok=True)
    blurred = cv2.GaussianBlur(sharp(), (0, 0), 25)
    burnt = np.clip(sharp().astype(int) * 3 + 120, 0, 255).astype(np.uint8)
    for name, picture in {
        "dock_1.png": blurred, "dock_2.png": burnt, "dock_3.png": sharp(), "dock_4.png": sharp(seed=2),
        "loft_1.png": sharp(200, 300), "loft_2.png": sharp(300, 200), "deck.png": sharp(480, 240),
    }.items():  # fmt: skip
        write_still(folder / name, np.ascontiguousarray(picture), SRGB)
    (folder / "meter.csv").write_text(
        "stills,location,source,time,lux,cct_k\n"
        'dock_*,"Dock, Østkai",HP1,21:15,42,\nloft_*,"Loft, Østkai",window,11:05,900,6500\n'
        "deck*,Deck,,,,\n"
    )
    (folder / "scout.toml").write_text(f'title = "Crossing"\n{more}')
    return folder


def pitch_of(folder: Path, out: Path, only: tuple[str, ...] = ()) -> tuple[lookdev.PitchResult, list[str]]:
    told: list[str] = []

    def tell(what: Line | Progress) -> None:
        told.extend([what.text] if isinstance(what, Line) else [])

    request = lookdev.PitchRequest(lookdev.open_scout(folder), LOOKS, out, only)
    return lookdev.pitch(request, tell), told


def hashes(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()}


def test_the_first_that_is_wide_sharp_and_well_exposed_stands_for_its_place(tmp_path: Path) -> None:
    folder = make(tmp_path / "day")
    before = hashes(folder)
    result, _ = pitch_of(folder, tmp_path / "out")
    assert result.errors == []
    heroes = {place["code"]: (place["still"], place["why"]) for place in result.places}
    assert heroes["DOCK"] == ("dock_3.png", "the first of 4 that is wide, sharp and well exposed")
    assert heroes["LOFT"] == ("loft_2.png", "the only one that is wider than high")
    assert heroes["DECK"] == ("deck.png", "the only still")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["frames", "pitch.html", "pitch.pdf"]
    assert hashes(folder) == before


def test_the_frame_of_each_place_is_a_file_too(tmp_path: Path) -> None:
    """The very JPEG that stands on the place's page, in the film's shape."""
    folder, out = (
        make(tmp_path / "day", '[pitch]\nframe = "2.39:1"\npropose = "stove light"\n'),
        tmp_path / "out",
    )
    result, _ = pitch_of(folder, out)
    names = {place["code"]: place["frame"] for place in result.places}
    assert names == {
        "DOCK": "frames/Dock_Østkai.jpg",
        "LOFT": "frames/Loft_Østkai.jpg",
        "DECK": "frames/Deck.jpg",
    }
    assert sorted(result.frames) == sorted(out / name for name in names.values())
    pdf = (out / "pitch.pdf").read_bytes()
    for path in result.frames:
        assert path.read_bytes() in pdf
    height, width = cv2.imread(str(out / names["DOCK"])).shape[:2]
    assert (width, height) == (360, round(360 / 2.39))
    again, _ = pitch_of(folder, tmp_path / "part", ("Deck",))
    assert [path.name for path in again.frames] == ["Deck.jpg"]


def test_how_neutral_was_found_is_nothing_for_a_director(tmp_path: Path) -> None:
    """The comparison sheet says it in one line; no page of the pitch, and nothing in its one file, does."""
    import pypdfium2

    folder = make(tmp_path / "day", "[plan]\ncamera_balance_k = 5600\n")
    pitch_of(folder, tmp_path / "out")
    survey = lookdev.survey(lookdev.open_scout(folder))
    origins = {still.cast.origin for still in survey.stills if still.cast is not None}
    assert origins
    pdf = pypdfium2.PdfDocument(tmp_path / "out" / "pitch.pdf")
    text = " ".join(page.get_textpage().get_text_bounded() for page in pdf)
    text += (tmp_path / "out" / "pitch.html").read_text(encoding="utf-8")
    assert "Dock" in text
    for words in (*origins, "neutral from", "camera balance", "grey patch"):
        assert words not in " ".join(text.split()), words


def test_the_same_scout_gives_the_same_bytes(tmp_path: Path) -> None:
    folder = make(tmp_path / "day", '[pitch]\nframe = "2.39:1"\n')
    for name in ("one", "two"):
        pitch_of(folder, tmp_path / name)
    assert hashes(tmp_path / "one") == hashes(tmp_path / "two")


def test_scout_toml_says_what_is_pitched(tmp_path: Path) -> None:
    more = (
        '[pitch]\nframe = "2.39:1"\nlooks = ["wet wool", "Slack Water"]\norder = ["Loft", "dock, østkai"]\n'
        'hero = { Dock = "dock_1" }\npropose = { "Loft, Østkai" = "slack water" }\n'
        'words = { Deck = "She leaves." }\n'
    )
    survey = lookdev.survey(lookdev.open_scout(make(tmp_path / "day", more)))
    planned = plan_pitch(survey, LOOKS)
    assert planned.warnings == ()
    assert [look.code for look in planned.called] == ["WET WOOL", "SLACK WATER"]
    spots = {spot.code: spot for spot in planned.spots}
    assert (spots["DOCK"].stills[0].name, spots["DOCK"].why) == ("dock_1.png", "named in scout.toml")
    assert (spots["DOCK"].proposed, spots["LOFT"].proposed) == (0, 1)
    assert spots["DECK"].words == "She leaves."
    assert [planned.spots[i].code for i in planned.order] == ["LOFT", "DOCK"]


def test_what_is_not_there_is_named_with_the_nearest(tmp_path: Path) -> None:
    more = (
        '[pitch]\nlooks = ["Slack wter"]\norder = ["Lofd"]\nhero = { Dock = "dock_9.png" }\n'
        'shift = { "nowhere.jpg" = 0.5 }\npropose = "Soot"\n'
    )
    survey = lookdev.survey(lookdev.open_scout(make(tmp_path / "day", more)))
    planned = plan_pitch(survey, LOOKS)
    assert len(planned.called) == 3  # all that change anything
    for key, typed in (("looks", "Slack wter"), ("order", "Lofd"), ("hero", "dock_9.png"),
                       ("shift", "nowhere.jpg"), ("propose", "Soot")):  # fmt: skip
        assert any(key in line and repr(typed) in line for line in planned.warnings), key
    assert len(planned.warnings) == 5


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [('frame = "flat"', "2.39:1"), ("frame = 12", "2.39:1"), ('surround = "pink"', "grey"),
     ('shift = { "a.jpg" = 3 }', "1"), ("herro = 1", "hero")],
)  # fmt: skip
def test_a_slip_in_pitch_is_said(tmp_path: Path, typed: str, wanted: str) -> None:
    folder = make(tmp_path / "day", f"[pitch]\n{typed}\n")
    with pytest.raises(MeterError, match=r"scout\.toml") as error:
        lookdev.open_scout(folder)
    assert wanted in str(error.value)


def test_codes_are_the_same_for_a_part_of_the_scout(tmp_path: Path) -> None:
    folder = make(tmp_path / "day")
    whole = place_codes(lookdev.survey(lookdev.open_scout(folder)))
    part = place_codes(lookdev.survey(lookdev.open_scout(folder), ["Deck"]))
    assert part == whole == {"Dock, Østkai": "DOCK", "Loft, Østkai": "LOFT", "Deck": "DECK"}
    assert len(set(whole.values())) == len(whole)


def test_stills_without_a_log_stand_for_themselves(tmp_path: Path) -> None:
    folder = tmp_path / "snaps"
    folder.mkdir()
    for seed, name in enumerate(("lamps_warm.png", "tower day.png")):
        write_still(folder / name, sharp(seed=seed), SRGB)
    result, _ = pitch_of(folder, tmp_path / "out")
    assert [place["place"] for place in result.places] == ["Lamps warm", "Tower day"]


def test_a_still_that_cannot_be_read_gives_way_to_the_next(tmp_path: Path) -> None:
    folder = make(tmp_path / "day")
    data = (folder / "dock_3.png").read_bytes()
    (folder / "dock_3.png").write_bytes(data[: len(data) // 2])
    result, told = pitch_of(folder, tmp_path / "out")
    assert [p["still"] for p in result.places if p["code"] == "DOCK"] == ["dock_4.png"]
    assert any("dock_3.png" in line for line in result.errors)
    assert any("dock_3.png" in line for line in told)


def test_a_soft_or_burnt_still_scores_lower() -> None:
    picture = sharp()
    burnt = np.clip(picture.astype(int) * 3 + 120, 0, 255).astype(np.uint8)
    for worse in (cv2.GaussianBlur(picture, (0, 0), 25), burnt, (picture // 20).astype(np.uint8)):
        assert hero_score(np.asarray(worse)) < 0.8 * hero_score(picture)


def test_the_frame_keeps_the_width_and_is_moved_by_shift() -> None:
    assert to_shape((3000, 2000), 2.39) == (0, 372, 3000, 1255)
    assert to_shape((3000, 2000), 2.39, -1.0)[1] == 0
    assert sum(to_shape((3000, 2000), 2.39, 1.0)[1::2]) == 2000
    assert to_shape((3000, 2000), 4 / 3) == (166, 0, 2667, 2000)


# ISO 2720 at index 800, 1/48 s, C = 250: T2.8 needs 250 * 2.8^2 * 48 / 800 = 118 lux
@pytest.mark.parametrize(
    ("lux", "lens", "words"),
    [(42.0, None, "a fast lens or more light"), (42.0, 1.4, "a fast lens or more light"),
     (42.0, 2.8, "a fast lens and more light"), (10.0, None, "a fast lens and more light"),
     (118.0, None, "enough light, as planned"), (300.0, None, "light to spare")],
)  # fmt: skip
def test_what_the_light_asks_for(lux: float, lens: float | None, words: str) -> None:
    plan = Plan(exposure_index=800, frame_rate_fps=24, shutter_angle_deg=180, t_stop=2.8, lens_t_stop=lens)
    assert need_words(expose(lux, plan)) == words


def test_the_light_is_said_in_words_and_never_in_codes() -> None:
    plan = Plan(exposure_index=800, t_stop=2.8)
    dock = Reading(source="HP1", illuminant="HP1", time="21:15", illuminance_lux=42.0)
    assert light_sentence(dock, plan) == "Sodium at night, 42 lux: a fast lens or more light."
    tubes = Reading(source="FL2", illuminant="FL2", time="06:40", illuminance_lux=310.0)
    assert light_sentence(tubes, Plan()) == "Fluorescent tubes in the morning, 310 lux."
    assert light_sentence(Reading(source="north window"), plan) == "North window."
    assert light_sentence(Reading(cct_k=2900.0), plan) == "Warm light."
    assert light_sentence(None, plan) == ""
