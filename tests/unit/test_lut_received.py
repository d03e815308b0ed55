"""A LUT that came in stands in for a look."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import ACESCCT, BT709, DISPLAY_P3, SRGB, get_encoding
from lookdev.colorimetry.rgb_spaces import ACES_AP0, WORKING, matrix_between
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Transform
from lookdev.looks.rendering import render_curve
from lookdev.looks.stages.balance import Balance, resolve_balance
from lookdev.looks.stages.cdl import CDL
from lookdev.lut.answers import compared_pairs, difference_words, picture_difference, still_differences
from lookdev.lut.bake import bake_cube
from lookdev.lut.cdl import fit_cdl, write_cc
from lookdev.lut.cube import CubeLut, identity_cube, write_cube
from lookdev.lut.error import appearance, picture_inputs
from lookdev.lut.received import ReceivedLut, open_look, open_looks, split_request
from lookdev.pages.from_batch import _taken_out

LAMP = Cast((0.446, 0.4075), (0.3325, 0.3478), "a lamp under daylight balance")
GRADE = Look.model_validate({"title": "Grade", "curve": {"contrast": 1.2}, "colour": {"saturation": 0.6}})


@pytest.fixture(scope="module")
def answer_cube() -> CubeLut:
    return bake_cube(GRADE.transform(ACESCCT, BT709), 65, title="Answer")


@pytest.fixture
def theirs(tmp_path: Path, answer_cube: CubeLut) -> Path:
    write_cube(tmp_path / "theirs.cube", answer_cube)
    return tmp_path / "theirs.cube"


def test_between_its_own_encodings_it_is_the_table(theirs: Path) -> None:
    received = open_look(f"{theirs}@ACEScct:BT.709")
    assert isinstance(received, ReceivedLut) and received.title == "Answer"
    x = np.random.default_rng(1).random((100, 3))
    transform = received.transform(ACESCCT, BT709)
    assert isinstance(transform, Transform)
    assert np.array_equal(transform(x), np.clip(received.lut(x), 0, 1))


@pytest.mark.parametrize("target", [SRGB, DISPLAY_P3, get_encoding("BT.2100 PQ")])
def test_on_a_still_it_gives_what_its_look_gives(theirs: Path, target) -> None:
    x = picture_inputs(SRGB)[:2000]
    received = open_look(f"{theirs}@ACEScct:BT.709").transform(SRGB, target)(x)
    light = GRADE.transform(ACESCCT, BT709)(ACESCCT.from_working(_scene(x)))
    wanted = appearance(light, BT709)
    assert np.percentile(ciede2000(appearance(received, target), wanted), 95) < 0.5


def _scene(x):
    from lookdev.looks.rendering import lift_curve

    return lift_curve(SRGB.to_working(x))


def test_an_identity_cube_leaves_a_still_alone(tmp_path: Path) -> None:
    write_cube(tmp_path / "i.cube", identity_cube(33))
    transform = open_look(f"{tmp_path / 'i.cube'}@sRGB:sRGB").transform(SRGB, SRGB)
    codes = np.random.default_rng(2).integers(0, 256, (5000, 3)) / 255
    assert np.abs(transform(codes) - codes).max() < 1e-12


@pytest.mark.parametrize(
    "source", ["ACES2065-1", "Linear BT.2020", "S-Log3 S-Gamut3", "sRGB", "Display P3", "BT.2020"]
)
@pytest.mark.parametrize(("cast", "stops"), [(None, 0.0), (LAMP, 0.7)])
def test_an_identity_cube_is_what_a_look_that_does_nothing_is(
    tmp_path: Path, source: str, cast: Cast | None, stops: float
) -> None:
    """The same lift, limiter and rendering, for light that no display holds and where one balances, too.

    (AP0's blue corner at 8 gave [0, 0, 255] where the look gave [0, 100, 160]: a pure one made up by
    clipping.)
    """
    encoding = get_encoding(source)
    write_cube(tmp_path / "i.cube", identity_cube(33))
    (tmp_path / "i.toml").write_text('cube = "i.cube@sRGB:sRGB"\nkeep = 0.2\n')
    scene = np.concatenate([_saturated(), np.random.default_rng(4).uniform(-0.05, 3.0, (300, 3))])
    x = encoding.from_working(scene if encoding.state == "scene" else render_curve(scene))
    x = x if encoding.state == "scene" else np.clip(x, 0.0, 1.0)
    look = Look.model_validate({"title": "nothing else", "balance": {"keep": 0.2}})
    wanted = look.transform(encoding, SRGB, cast, stops)(x)
    got = open_look(tmp_path / "i.toml").transform(encoding, SRGB, cast, stops)(x)
    assert np.abs(got - wanted).max() < 1e-9


def _saturated() -> np.ndarray:
    """Scene light of the corners of ACES AP0, most of which lie outside every display's gamut."""
    corners = np.array([c for c in np.ndindex(2, 2, 2) if sum(c)], dtype=float)
    return (
        np.concatenate([level * corners for level in (0.05, 0.5, 1.0, 8.0)])
        @ matrix_between(ACES_AP0, WORKING).T
    )


def test_what_is_balanced_before_a_lut_is_said(theirs: Path) -> None:
    (theirs.parent / "kept.toml").write_text('cube = "theirs.cube@ACEScct:BT.709"\nkeep = 0.25\n')
    kept = open_look(theirs.parent / "kept.toml")
    assert kept.balance == Balance(keep=0.25)
    assert open_look(f"{theirs}@ACEScct:BT.709").balance is None  # what it does about a cast is in the table
    assert resolve_balance(kept.balance, LAMP).words() in _taken_out(kept, LAMP) != ""


def test_a_small_toml_names_it(theirs: Path) -> None:
    (theirs.parent / "answer.toml").write_text(
        'cube = "theirs.cube@ACEScct:BT.709"\ntitle = "Third answer"\nkeep = 0.25\n'
    )
    looks = open_looks([theirs.parent])
    assert [look.title for look in looks] == ["Third answer"]
    assert "25%" in " ".join(looks[0].key_parameters())
    x = picture_inputs(SRGB)[:50]
    cast = Cast((0.44757, 0.40745), (0.3127, 0.3290), "")
    assert not np.allclose(looks[0].transform(SRGB, SRGB, cast)(x), looks[0].transform(SRGB, SRGB)(x))
    one_stop = looks[0].transform(SRGB, SRGB, None, 1.0)(x)
    assert one_stop.mean() > looks[0].transform(SRGB, SRGB)(x).mean()


def test_it_pickles(theirs: Path) -> None:
    transform = open_look(f"{theirs}@ACEScct:BT.709").transform(SRGB, SRGB)
    again = pickle.loads(pickle.dumps(transform))
    x = picture_inputs(SRGB)[:50]
    assert np.array_equal(again(x), transform(x))


def test_fingerprints_tell_luts_and_encodings_apart(theirs: Path) -> None:
    one, two = open_look(f"{theirs}@ACEScct:BT.709"), open_look(f"{theirs}@ACEScct:sRGB")
    assert one.fingerprint() != two.fingerprint()
    assert one.fingerprint() == open_look(f"{theirs}@acescct:bt709").fingerprint()


def test_a_cdl_file_is_a_look(tmp_path: Path) -> None:
    look = Look(title="c", cdl=CDL(slope=(1.2, 1.0, 0.8), saturation=0.9))
    write_cc(tmp_path / "c.cc", fit_cdl(look, ACESCCT, BT709), "c")
    read = open_look(tmp_path / "c.cc")
    assert isinstance(read, Look) and read.cdl == look.cdl
    assert open_looks([f"{tmp_path / 'c.cc'}@V-Log"])[0].cdl.encoding == "V-Log V-Gamut"


@pytest.mark.parametrize(
    ("text", "path", "tail"),
    [
        ("a@b.toml", "a@b.toml", None),
        ("x.cube@A:B", "x.cube", "A:B"),
        ("d@1/x.CUBE@A:B", "d@1/x.CUBE", "A:B"),
        ("x.cube", "x.cube", None),
        ("x.cc@ACEScct", "x.cc", "ACEScct"),
    ],
)
def test_requests_are_split_at_the_last_at(text: str, path: str, tail: str | None) -> None:
    assert split_request(text) == (Path(path), tail)


def test_an_answer_is_held_against_the_look_it_answers(theirs: Path) -> None:
    (theirs.parent / "answer.toml").write_text(
        'cube = "theirs.cube@ACEScct:BT.709"\nanswers = "grade.toml"\n'
    )
    answer, other = open_look(theirs.parent / "answer.toml"), Look(title="Other")
    looks = (other, GRADE, answer)
    assert compared_pairs(looks) == [(2, 1)]
    assert compared_pairs((other, GRADE, open_look(f"{theirs}@ACEScct:BT.709"))) == [(2, 0), (2, 1)]
    assert compared_pairs((other, GRADE)) == []
    # mid tones: a still that a camera rendered is shown channel by channel, the LUT was made for light that
    # is not; towards white the two ways part (1.6 on the mean over all of the cube)
    x = np.random.default_rng(3).integers(40, 140, (20, 30, 3)) / 255
    pictures = [np.asarray(look.transform(SRGB, SRGB)(x) * 255 + 0.5, dtype=np.uint8) for look in looks]
    ((answered, against, apart),) = still_differences(looks, pictures)
    assert (looks[answered].title, looks[against].title) == ("Answer", "Grade") and apart.mean < 1.0
    assert picture_difference(pictures[0], pictures[1]).mean > 3 * apart.mean
    assert still_differences(looks, [None, None, None]) == []
    assert difference_words(looks[against].title, apart).startswith("from Grade: ΔE00 mean 0.")


def test_an_answer_with_the_looks_own_title_gets_its_files_name(theirs: Path) -> None:
    (theirs.parent / "answer.toml").write_text('title = "answer"\n[curve]\ncontrast = 1.1\n')
    looks = open_looks([theirs.parent / "answer.toml", f"{theirs}@ACEScct:BT.709"])
    assert [look.title for look in looks] == ["answer", "Answer (theirs.cube)"]
    assert open_looks([f"{theirs}@ACEScct:BT.709"])[0].title == "Answer"
