"""Steps: joining and running them; the compiled functions against mpmath and against the array ones."""

from __future__ import annotations

import math
import pickle

import mpmath
import numpy as np
import pytest
from oracle.cases import LAMP, any_look

from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.encodings import Power, encoding_names, get_encoding
from lookdev.colorimetry.oklab import oklab_from_working, working_from_oklab
from lookdev.compilation import Kernel, compiled
from lookdev.looks import signal
from lookdev.looks.elementary import angle, cbrt, cosine, exp2, log2, sine
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline
from lookdev.looks.stages.base import Metered, Stage
from lookdev.looks.steps import BLOCK, OKLAB, WORKING, Space, Step, by_array, join, mixing, run

COLOURS = np.random.default_rng(3).uniform(-0.2, 3.0, (500, 3))
DOUBLE, HALF = mixing(np.eye(3) * 2.0), mixing(np.eye(3) * 0.5)


# --- joining


def test_neighbouring_matrices_are_multiplied_and_those_that_undo_each_other_go() -> None:
    turned = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
    (one,) = join([DOUBLE, mixing(turned)])
    assert np.array_equal(one.matrix, 2.0 * turned)  # the first one acts first
    assert np.array_equal(run([one], [1.0, 2.0, 3.0]), [4.0, 6.0, 2.0])
    assert join([DOUBLE, HALF]) == ()


def test_conversions_are_put_in_once_where_the_space_changes() -> None:
    same = by_array(lambda lab: lab, OKLAB)
    steps = join([DOUBLE, same, same, HALF])
    assert sum(step is same for step in steps) == 2
    assert np.allclose(run(steps, COLOURS), COLOURS, atol=1e-12)
    to_oklab = join([], WORKING, OKLAB)
    assert np.allclose(run(to_oklab, COLOURS), oklab_from_working(COLOURS), atol=1e-13)
    lab = oklab_from_working(COLOURS)
    assert np.allclose(run(join([], OKLAB, WORKING), lab), working_from_oklab(lab), atol=1e-12)


def test_a_step_may_leave_colours_in_another_space() -> None:
    log = Space("log", None, (by_array(np.exp),), (by_array(np.log),))
    steps = join([by_array(np.log, WORKING, log), by_array(lambda v: v + 1.0, log)])
    light = np.abs(COLOURS) + 0.1
    assert np.allclose(run(steps, light), light * math.e)


def test_a_step_that_undoes_the_one_before_takes_it_away() -> None:
    up = Step(_plus_one)
    down = Step(_minus_one, undoes=up)
    assert join([up, down]) == ()
    assert join([up, Step(_minus_one)]) != ()


def _plus_one(x, y, z):
    for channel in (x, y, z):
        channel += 1.0


def _minus_one(x, y, z):
    for channel in (x, y, z):
        channel -= 1.0


# --- running


def test_the_same_colour_is_the_same_wherever_it_stands() -> None:
    """Loops take several colours at once and the last ones singly: that must not show."""
    srgb = get_encoding("sRGB")
    x = np.random.default_rng(7).random((BLOCK + 1500, 3))
    transform = Pipeline(any_look(1), srgb, srgb, LAMP)
    whole = transform(x)
    for start, end in ((0, 1), (1, 3), (5, 517), (7, 1400), (BLOCK - 1, BLOCK + 1), (3, BLOCK + 900)):
        assert np.array_equal(transform(x[start:end]), whole[start:end])


@pytest.mark.parametrize("cut", [np.s_[::2], np.s_[:, ::-1], np.s_[::-1], np.s_[7], np.s_[:0], np.s_[None]])
def test_colours_may_lie_anyhow_in_memory_and_are_left_alone(cut: object) -> None:
    kept = COLOURS.copy()
    given = COLOURS[cut]
    assert np.array_equal(run([DOUBLE], given), 2.0 * given)
    assert np.array_equal(COLOURS, kept)
    frozen = given.copy()
    frozen.flags.writeable = False
    assert np.array_equal(run([DOUBLE], frozen), 2.0 * given)
    assert run([DOUBLE], given.astype(np.float32)).dtype == np.float64


def test_without_steps_the_very_values_come_back() -> None:
    assert run((), COLOURS) is COLOURS


def test_light_beyond_all_bounds_stays_finite() -> None:
    transform = Pipeline(any_look(5), get_encoding("ACEScg"), get_encoding("sRGB"), LAMP)
    wild = np.array([[1e12, -1e3, 0.0], [0.0, 0.0, 0.0], [-1.0, -1.0, -1.0], [65504.0, 65504.0, 65504.0]])
    out = transform(wild)
    assert np.isfinite(out).all()
    assert out.min() >= 0.0
    assert out.max() <= 1.0


# --- stages


def test_every_stage_of_a_look_is_found_and_acts_alone() -> None:
    names = [n for n, f in Look.model_fields.items() if isinstance(f.get_default(), Stage | tuple)]
    assert names == ["exposure", "balance", "curve", "colour", "tone", "cdl", "skin"]  # as they act
    whole = any_look(3).model_dump() | {"cdl": {"slope": (1.2, 1.0, 0.9)}}
    srgb = get_encoding("sRGB")
    for name in names[:-1]:  # skin acts on what the others do
        look = Look.model_validate({"title": name, name: whole[name]})
        assert not look.is_identity
        stages = getattr(look, name) if name == "tone" else [getattr(look, name)]
        assert look.key_parameters() == [phrase for stage in stages for phrase in stage.words()] != []
        assert len(look.steps(Metered(LAMP))) == 1
        transform = look.transform(srgb, srgb, LAMP)
        assert not np.allclose(transform([[0.3, 0.5, 0.6]]), [[0.3, 0.5, 0.6]], atol=1e-3), name


def test_a_stage_is_told_where_the_still_clips() -> None:
    """Display white is lifted to 2.88, four stops over mid grey; a stop of exposure doubles that."""
    from lookdev.looks.stages.exposure import Exposure

    told = []

    class Listener(Stage):
        def step(self, metered: Metered) -> None:
            told.append(metered)

    class Listening(Look):
        first: Listener = Listener()
        more: Exposure = Exposure(stops=1.0)
        last: Listener = Listener()

    srgb, log = get_encoding("sRGB"), get_encoding("ACEScct")
    assert Pipeline(Listening(title="x"), srgb, log, LAMP, 0.5).grade
    assert told[0].clip_levels == pytest.approx((2.88 * 2**0.5,) * 3)
    assert told[1].clip_levels == pytest.approx((2 * 2.88 * 2**0.5 * 2**0.5,) * 3)
    assert (told[0].source, told[0].target, told[0].cast, told[0].exposure_stops) == (srgb, log, LAMP, 0.5)
    told.clear()
    assert Pipeline(Listening(title="x"), log, srgb).grade
    assert told[0].clip_levels is None


def test_steps_and_what_is_made_of_them_can_be_sent_to_another_process() -> None:
    srgb = get_encoding("sRGB")
    transform = Pipeline(any_look(2), srgb, get_encoding("BT.2100 PQ"), LAMP, 0.5)
    x = np.random.default_rng(1).random((50, 3))
    wanted = transform(x)
    assert np.array_equal(pickle.loads(pickle.dumps(transform))(x), wanted)
    steps = pickle.loads(pickle.dumps(transform.steps))
    assert np.array_equal(run(steps, x), wanted)


# --- transfer functions: the compiled ones against those that the published values are checked with


@pytest.mark.parametrize(
    ("function", "low", "high"),
    [
        (tf.srgb_decode, -3.0, 3.0),
        (tf.srgb_encode, -3.0, 60.0),
        (tf.bt1886_decode, -3.0, 3.0),
        (tf.bt1886_encode, -3.0, 60.0),
        (tf.acescct_decode, -1.0, 2.0),
        (tf.acescct_encode, -5.0, 70000.0),
        (Power(2.6), -3.0, 3.0),
        (Power(563 / 256, True), -3.0, 60.0),
    ],
)
def test_compiled_transfer_functions(function: object, low: float, high: float) -> None:
    (step,) = signal._transfer(function)
    rng = np.random.default_rng(17)
    near_zero = rng.normal(size=(1000, 3)) * 10.0 ** rng.uniform(-12, 0, (1000, 1))
    x = np.concatenate([rng.uniform(low, high, (3000, 3)), near_zero, np.zeros((1, 3))])
    wanted = function(x)
    assert np.max(np.abs(run([step], x) - wanted) / np.maximum(np.abs(wanted), 1.0)) < 2e-13


@pytest.mark.parametrize("name", encoding_names())
def test_the_way_through_every_encoding_and_back(name: str) -> None:
    encoding = get_encoding(name)
    scene = np.random.default_rng(5).uniform(0.01, 0.6, (200, 3))
    here = signal.passing(encoding)
    assert np.allclose(run(join([by_array(lambda v: v, here)]), scene), scene, rtol=1e-4, atol=1e-6)


def test_linear_encodings_are_those_whose_signal_is_light() -> None:
    linear = {"ACEScg", "Linear BT.2020", "ACES2065-1", "Linear BT.709"}
    assert {name for name in encoding_names() if get_encoding(name).is_linear} == linear


# --- elementary functions, each over its range, against mpmath at 40 digits


@compiled
def _log2(x, y, out):
    for i in range(x.size):
        out[i] = log2(x[i])


@compiled
def _exp2(x, y, out):
    for i in range(x.size):
        out[i] = exp2(x[i])


@compiled
def _cbrt(x, y, out):
    for i in range(x.size):
        out[i] = cbrt(x[i])


@compiled
def _sine(x, y, out):
    for i in range(x.size):
        out[i] = sine(x[i])


@compiled
def _cosine(x, y, out):
    for i in range(x.size):
        out[i] = cosine(x[i])


@compiled
def _angle(x, y, out):
    for i in range(x.size):
        out[i] = angle(x[i], y[i])


def _of(kernel: Kernel, x: list, y: list | None = None) -> np.ndarray:
    out = np.empty(len(x))
    kernel(np.array(x, dtype=float), np.array(y or x, dtype=float), out)
    return out


def _exactly(function: object, *arguments: list) -> np.ndarray:
    with mpmath.workdps(40):
        return np.array(
            [float(function(*map(mpmath.mpf, map(float, row)))) for row in zip(*arguments, strict=True)]
        )


def test_elementary_functions_against_multiple_precision() -> None:
    rng = np.random.default_rng(11)
    x = [*(2.0 ** rng.uniform(-990, 1000, 1500)), *rng.uniform(0.5, 2.0, 1500), 1.0, 2.0, 0.5, 2**0.5]
    x += [1.0 + 2.0**-52, 1.0 - 2.0**-53]
    wanted = _exactly(lambda v: mpmath.log(v, 2), x)
    np.testing.assert_allclose(_of(_log2, x), wanted, rtol=4e-15, atol=1e-16)
    tiny, x = [v for v in x if v < 1e-230], [v for v in x if 1e-230 <= v < 1e200]
    np.testing.assert_allclose(_of(_cbrt, x), _exactly(mpmath.cbrt, x), rtol=1e-13)
    np.testing.assert_allclose(_of(_cbrt, [-8.0, -0.001]), [-2.0, -0.1], rtol=1e-13)
    assert np.abs(_of(_cbrt, [*tiny, 0.0, -0.0])).max() < 1e-76
    x = [*rng.uniform(-1020, 1020, 1500), *rng.uniform(-2, 2, 1500), 0.0, 0.5, -0.5, 1.0, -1020.0, 1020.0]
    np.testing.assert_allclose(_of(_exp2, x), _exactly(lambda v: mpmath.mpf(2) ** v, x), rtol=1e-13)
    assert _of(_exp2, [1e9, -1e9]).tolist() == [2.0**1020, 2.0**-1020]
    half = math.pi / 2
    x = [*rng.uniform(-half, half, 2000), *rng.uniform(-1e-6, 1e-6, 100), 0.0, half, -half]
    np.testing.assert_allclose(_of(_sine, x), _exactly(mpmath.sin, x), rtol=0, atol=1e-13)
    np.testing.assert_allclose(_of(_cosine, x), _exactly(mpmath.cos, x), rtol=0, atol=1e-13)
    y, x = (
        [*rng.normal(size=3000), 0.0, 1.0, 1.0, -1.0, 1e-9],
        [*rng.normal(size=3000), 1.0, 0.0, 1.0, -1.0, -1.0],
    )
    np.testing.assert_allclose(_of(_angle, y, x), _exactly(mpmath.atan2, y, x), rtol=0, atol=1e-13)
    assert _of(_angle, [0.0], [0.0])[0] == 0.0


def test_what_is_for_kernels_alone_says_so() -> None:
    with pytest.raises(TypeError, match="for kernels"):
        log2(8.0)
