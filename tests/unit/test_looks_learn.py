"""Learning a look: keys and back, the metric, registration, a look of ours learned back, clear refusals."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import SRGB, get_encoding
from lookdev.errors import LookdevError
from lookdev.looks.learn.colours import differences, graded, near_ciede2000
from lookdev.looks.learn.fit import Problem, defaults, fit, solve, told_apart
from lookdev.looks.learn.keys import TONES, all_keys, look_of, rounded, vector_of
from lookdev.looks.learn.pairs import Picture, left_map, make_pair
from lookdev.looks.learn.register import register
from lookdev.looks.learn.rest import regression, with_rest
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline

HERE = Path(__file__).parents[2]


def frame(name: str, edge: int = 420) -> NDArray[np.float64]:
    with Image.open(HERE / "sample_frames" / name) as image:
        small = image.convert("RGB")
        small.thumbnail((edge, edge), Image.Resampling.LANCZOS)
        return np.asarray(small) / 255.0


def coded(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.round(np.clip(signal, 0, 1) * 255) / 255)


HALL = frame("01_ferry_hall_wide.jpg")
OFFICE = frame("14_harbour_office_room.jpg")


def toned(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    return coded(np.clip(signal, 0, 1) ** np.array([0.9, 1.0, 1.15]) * np.array([1.0, 0.97, 0.9]))


def test_keys_there_and_back() -> None:
    rng = np.random.default_rng(4)
    keys = all_keys()
    vector = np.array([k.default + 0.2 * k.unit * rng.uniform(-1, 1) for k in keys])
    vector = np.clip(vector, [k.low for k in keys], [k.high for k in keys])
    assert np.allclose(vector_of(look_of(vector, "there and back")), vector, atol=1e-5)


def test_defaults_are_the_identity() -> None:
    assert look_of(defaults(), "as it stood").is_identity
    assert rounded(defaults())[0] == {}


def test_metric_is_ciede2000_of_small_steps() -> None:
    rng = np.random.default_rng(5)
    one = np.stack([rng.uniform(5, 98, 400), rng.uniform(-70, 70, 400), rng.uniform(-70, 70, 400)], axis=1)
    step = rng.normal(0, 0.02, (400, 3))
    near = np.linalg.norm(np.einsum("nij,nj->ni", near_ciede2000(one), step), axis=1)
    assert near == pytest.approx(ciede2000(one, one + step), rel=0.05)


def test_solver_agrees_with_scipy() -> None:
    """scipy.optimize.least_squares on the same residuals, few keys: the cost is no lower by 1%."""
    from scipy.optimize import least_squares

    pair = make_pair(Picture(HALL, SRGB, "a"), Picture(toned(HALL), SRGB, "b"))
    problem = Problem([pair.colours], "sRGB")
    active = [k for k, key in enumerate(all_keys()) if key.name in ("exposure.stops", "balance.mired")]
    ours = solve(problem, defaults(), active, 12, enough=1e-6)

    def cost(part: NDArray[np.float64]) -> float:
        vector = defaults()
        vector[active] = part * problem.units[active]
        return problem.cost(problem.residuals(vector), vector)

    theirs = least_squares(
        lambda part: np.sqrt(cost(part)) * np.ones(1), ours[active] / problem.units[active]
    )
    assert problem.cost(problem.residuals(ours), ours) <= 1.01 * cost(theirs.x)


QUIET = {
    "exposure": {"stops": 0.15},
    "balance": {"mired": -6.0},
    "curve": {"contrast": 1.05, "toe": 0.2, "shoulder": 0.3},
    "colour": {"saturation": 0.92, "families": {"B": {"chroma": 1.12}, "PB": {"chroma": 1.08}}},
}
WARM = {
    "exposure": {"stops": -0.15},
    "balance": {"mired": 8.0},
    "curve": {"contrast": 1.12, "toe": 0.15, "shoulder": 0.45},
    "colour": {"saturation": 1.04, "families": {"R": {"chroma": 1.08}, "GY": {"chroma": 0.75}}},
}
NEARLY_GREY = {
    "exposure": {"stops": -0.1},
    "curve": {"contrast": 1.32, "toe": 0.25, "shoulder": 0.45, "black": 0.002},
    "colour": {"saturation": 0.07},
}


COLD = {
    "exposure": {"stops": -0.3},
    "balance": {"mired": -12.0},
    "curve": {"contrast": 1.14, "toe": 0.3, "shoulder": 0.3, "black": 0.003},
    "colour": {
        "saturation": 0.72,
        "families": {"YR": {"chroma": 1.1}, "G": {"chroma": 0.7, "hue_deg": 8.0}, "GY": {"chroma": 0.65}},
    },
    "tone": [{"at_stops": -3.5, "reach_stops": 5.0, "towards": "5B", "chroma": 0.018}],
}


@pytest.mark.parametrize(
    "tables",
    [QUIET, WARM, NEARLY_GREY, COLD],
    ids=["quiet", "warm", "nearly grey", "cold"],
)
def test_our_own_looks_learned_back(tables: dict[str, object]) -> None:
    look = Look.model_validate({"title": "hidden"} | tables)
    pairs = []
    for signal in (HALL, OFFICE):
        after = coded(Pipeline(look, SRGB, SRGB)(signal))
        pairs.append(make_pair(Picture(signal, SRGB, "a"), Picture(after, SRGB, "b")))
    fitted = fit([pair.colours for pair in pairs])
    found = np.mean(
        [p.colours.weight @ differences(graded(fitted.look, p.colours), p.colours) for p in pairs]
    )
    print(f"\nmean {found:.2f}: {fitted.look.describe()}")
    assert found <= 0.3
    if any(tone.at_stops not in [at for at, _ in TONES] for tone in look.tone):
        look = look.model_copy(update={"tone": ()})  # the keys of tones stand elsewhere: no key is its like
    hidden = vector_of(look)
    problem = Problem([pair.colours for pair in pairs], fitted.cdl_encoding)
    problem.measure_limits(fitted.vector)
    used = [int(k) for k in np.flatnonzero(hidden != defaults())]
    off = dict(zip(all_keys(), np.abs(hidden - fitted.vector), strict=True))
    for key, step, apart in told_apart(problem, fitted.vector, used):
        assert off[key] <= step or not apart, key.words


@pytest.mark.parametrize(
    ("turn", "scale", "shift"),
    [(0.0, 1.0, (0, 0)), (0.0, 0.7, (9, 4)), (1.5, 1.2, (-30, 12)), (0.0, 1.0, (40, 25))],
)
def test_registration(turn: float, scale: float, shift: tuple[int, int]) -> None:
    """A graded frame that was turned, scaled and shifted is found again within half a pixel."""
    grey = Picture(HALL, SRGB, "a").grey
    other = Picture(toned(HALL), SRGB, "b").grey
    height, width = grey.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, scale)
    matrix[:, 2] += shift
    moved = np.asarray(cv2.warpAffine(other, matrix, (width, height)), dtype=np.uint8)
    found = register(grey, moved)
    corners = np.array([[60, 40, 1], [width - 60, 40, 1], [width / 2, height - 50, 1]])
    assert found.likeness > 0.6
    assert np.abs(corners @ found.matrix.T - corners @ matrix.T).max() < 0.5


def test_another_size_a_crop_and_a_retouched_corner() -> None:
    after = toned(HALL)
    after[:60, :80] = (0.1, 0.6, 0.2)
    after = coded(cv2.resize(after[20:-10, 30:-5], None, fx=1.3, fy=1.3, interpolation=cv2.INTER_CUBIC))
    pair = make_pair(Picture(HALL, SRGB, "a"), Picture(after, SRGB, "b"))
    fitted = fit([pair.colours])
    off = pair.differences(fitted.look, every=1)
    shown, share = left_map(off)
    inside = off[100:-40, 120:-40]
    assert np.nanmean(inside) < 1.0
    corner = (60 - 20) * (80 - 30) / ((HALL.shape[0] - 30) * (HALL.shape[1] - 35))  # what the crop left of it
    assert share == pytest.approx(corner, rel=0.15)
    assert shown[30:50, 40:70].min() > 60


def test_other_frames_black_even_and_identical_ones_are_refused() -> None:
    hall, office = Picture(HALL, SRGB, "hall"), Picture(toned(OFFICE[: HALL.shape[0]]), SRGB, "office")
    with pytest.raises(LookdevError, match=r"^office: is no version of hall: their contours do not meet"):
        make_pair(hall, office)
    with pytest.raises(LookdevError, match=r"^black: is black: nothing can be learned"):
        make_pair(hall, Picture(np.zeros_like(HALL), SRGB, "black"))
    with pytest.raises(LookdevError, match=r"^grey: is one even colour"):
        make_pair(Picture(np.full_like(HALL, 0.5), SRGB, "grey"), hall)
    with pytest.raises(LookdevError, match=r"^same: shows the same as hall: there is nothing to learn"):
        make_pair(hall, Picture(HALL.copy(), SRGB, "same"))


def test_other_encodings_are_read_as_what_they_are() -> None:
    """The same frame in Display P3 is the same: nothing to learn; a graded one gives the same look."""
    p3 = get_encoding("Display P3")
    as_p3 = Pipeline(look_of(defaults(), "as it stood"), SRGB, p3)
    with pytest.raises(LookdevError, match="nothing to learn"):
        make_pair(Picture(HALL, SRGB, "a"), Picture(coded(as_p3(HALL)), p3, "b"))
    after = coded(as_p3(toned(HALL)))
    pair = make_pair(Picture(HALL, SRGB, "a"), Picture(after, p3, "b"))
    fitted = fit([pair.colours])
    assert np.nanmean(pair.differences(fitted.look)) < 1.0


def test_lattice_regression_goes_through_what_is_linear() -> None:
    """Garcia and Gupta 2009: with second differences penalised, what is straight is met, and goes on."""
    rng = np.random.default_rng(6)
    at = rng.uniform(0.2, 0.6, (800, 3))
    slope = np.array([[0.1, 0.0, 0.02], [0.0, -0.1, 0.0], [0.03, 0.0, 0.05]])
    lattice = regression(at, at @ slope, np.full(800, 1 / 800), 9, 1e-3, 1e-9)
    far = rng.uniform(0.0, 1.0, (200, 3))
    assert with_rest(far, lattice) == pytest.approx(far + far @ slope, abs=2e-3)


def test_a_key_that_others_stand_in_for_is_not_told_apart() -> None:
    """The same offset of all channels in ACEScct (17.52 stops to one, S-2016-001) is an exposure."""
    after = coded(np.clip(HALL * 0.8, 0, 1))
    pair = make_pair(Picture(HALL, SRGB, "a"), Picture(after, SRGB, "b"))
    keys = all_keys()
    vector = defaults()
    vector[[k for k, key in enumerate(keys) if key.name == "cdl.offset"]] = -0.3 / 17.52
    problem = Problem([pair.colours], "ACEScct")
    exposure = next(k for k, key in enumerate(keys) if key.name == "exposure.stops")
    alone = {key.words: apart for key, _, apart in told_apart(problem, vector)}
    together = {key.words: apart for key, _, apart in told_apart(problem, vector, [exposure])}
    assert all(alone.values())
    assert not together["exposure.stops"]
    assert len(together) == len(alone) + 1


def test_the_legend_leaves_the_map_as_it_is() -> None:
    from lookdev.pages.map_legend import with_legend

    grey = np.arange(600 * 300, dtype=np.uint32).reshape(300, 600).astype(np.uint8)
    shown = with_legend(grey, 20.0, 5.0)
    assert shown.shape[0] > 300 and np.array_equal(shown[:300], grey)
    assert shown[300:].max() > 200
    assert with_legend(grey[:, :100], 20.0, 5.0).shape == (300, 100)


def test_sums_go_on_one_thread_and_then_as_before() -> None:
    """What is learned does not hang on the number of cores."""
    from threadpoolctl import threadpool_info, threadpool_limits

    from lookdev.jobs.learn import one_thread_for_sums

    def threads() -> list[int]:
        return [int(each["num_threads"]) for each in threadpool_info() if each["user_api"] == "blas"]

    with one_thread_for_sums():
        inside = threads()
    assert inside and set(inside) == {1}
    with threadpool_limits(limits=2, user_api="blas"):
        before = threads()
        with one_thread_for_sums():
            assert set(threads()) == {1}
        assert threads() == before
