"""The compiled look against the stages that define it; its elementary functions against the C library's."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import get_encoding
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Grade, Pipeline
from lookdev.looks.stages.balance import Cast
from lookdev.looks.toml_file import load_look
from lookdev.render import compiled

ROOT = Path(__file__).parents[2]
SHIPPED = {path.stem: load_look(path) for path in sorted((ROOT / "looks").glob("*.toml"))}
LAMP = Cast((0.446, 0.4075), (0.3325, 0.3478), "a lamp under daylight balance")
FAMILIES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
ENDS = [
    ("sRGB", "sRGB"),
    ("Adobe RGB", "Display P3"),
    ("BT.709", "BT.2020"),
    ("P3-D65", "Gamma 2.6"),
    ("ACEScct", "BT.709"),
    ("ACEScg", "sRGB"),
    ("Linear BT.2020", "Linear BT.2020"),
    ("sRGB", "ACEScct"),
    ("BT.2100 HLG", "BT.709 narrow"),
    ("BT.709", "BT.2100 PQ"),
]
A_MILLIONTH_OF_A_CODE = 4e-9


def any_look(seed: int) -> Look:
    """A look with every stage but the CDL set at random over its whole range."""
    rng = np.random.default_rng(seed)
    some = rng.choice(FAMILIES, 4, replace=False)
    tones = ("shadows", "midtones", "highlights")
    return Look.model_validate(
        {
            "title": f"any {seed}",
            "exposure": {"stops": rng.uniform(-3, 3)},
            "balance": {
                "keep": rng.uniform(0, 1),
                "mired": rng.uniform(-100, 100),
                "duv": rng.uniform(-0.03, 0.03),
            },
            "curve": {
                "contrast": rng.uniform(0.5, 3),
                "toe": rng.uniform(0, 1),
                "shoulder": rng.uniform(0, 1),
                "black": rng.uniform(0, 0.1),
                "pivot": rng.uniform(0.02, 1),
            },
            "colour": {
                "saturation": rng.uniform(0, 3),
                "families": {
                    str(name): {
                        "shift": rng.uniform(-60, 60),
                        "chroma": rng.uniform(0, 2),
                        "value": rng.uniform(-0.3, 0.3),
                    }
                    for name in some
                },
            },
            "toning": {
                name: {
                    "hue": f"{rng.uniform(0, 10):.1f}{rng.choice(FAMILIES)}",
                    "amount": rng.uniform(0, 0.15),
                }
                for name in tones
            },
        }
    )


def signals(pipeline: Pipeline, count: int) -> NDArray[np.float64]:
    """Random signals, greys and corners; for linear light from below zero to six stops above grey."""
    rng = np.random.default_rng(7)
    grey = np.repeat(rng.random((count // 10, 1)), 3, axis=1)
    corners = np.array(list(np.ndindex(2, 2, 2)), dtype=float)
    x = np.concatenate([rng.random((count, 3)), grey, corners])
    is_linear = float(pipeline.source.decode(np.full(3, 0.25))[0]) == 0.25
    return x**3 * 12.0 - 0.05 if is_linear else x


def assert_same(pipeline: Pipeline, count: int) -> None:
    x = signals(pipeline, count)
    wanted = pipeline(x)
    twin = compiled.CompiledPipeline(pipeline)
    got = twin(x)
    apart = np.max(np.abs(got - wanted) / np.maximum(np.abs(wanted), 1.0), axis=1)
    assert np.quantile(apart, 0.9999) < A_MILLIONTH_OF_A_CODE
    assert apart.max() < 3 * A_MILLIONTH_OF_A_CODE
    assert twin._edge.limit == pytest.approx(pipeline.limit, abs=1e-8)


@pytest.mark.parametrize("name", sorted(SHIPPED))
@pytest.mark.parametrize(("source", "target"), ENDS)
def test_the_shipped_looks_are_the_same_in_compiled_code(name: str, source: str, target: str) -> None:
    for cast, stops in ((None, 0.0), (LAMP, 0.7)):
        grade = Grade(SHIPPED[name], cast, stops)
        assert_same(Pipeline(grade, get_encoding(source), get_encoding(target)), 20_000)


@pytest.mark.parametrize("seed", range(40))
def test_any_look_is_the_same_in_compiled_code(seed: int) -> None:
    source, target = ENDS[seed % len(ENDS)]
    grade = Grade(any_look(seed), LAMP if seed % 2 else None, 0.0)
    assert_same(Pipeline(grade, get_encoding(source), get_encoding(target)), 20_000)


def test_each_stage_alone_is_the_same() -> None:
    """A look with one stage at a time, so that a stage that is left out cannot hide behind the others."""
    stages = {"exposure", "balance", "curve", "colour", "toning"}
    assert set(Look.model_fields) == {"title", "note", "cdl", *stages}  # a new one is wanted here too
    whole = any_look(3).model_dump()
    srgb = get_encoding("sRGB")
    for stage in sorted(stages):
        look = Look.model_validate({"title": stage, stage: whole[stage]})
        pipeline = Pipeline(Grade(look, LAMP), srgb, srgb)
        assert_same(pipeline, 20_000)
        assert not np.allclose(pipeline([[0.3, 0.5, 0.6]]), [[0.3, 0.5, 0.6]], atol=1e-3), stage


def test_the_same_colour_is_the_same_wherever_it_stands_in_the_list() -> None:
    """The loops take several colours at once and the last ones singly: that must not show."""
    x = signals(Pipeline(Grade(any_look(1)), get_encoding("sRGB"), get_encoding("sRGB")), 1500)
    twin = compiled.CompiledPipeline(
        Pipeline(Grade(any_look(1), LAMP), get_encoding("sRGB"), get_encoding("sRGB"))
    )
    whole = twin(x)
    for start, end in ((0, 1), (1, 3), (5, 517), (7, 1400), (511, 513)):
        assert np.array_equal(twin(x[start:end]), whole[start:end])


def test_a_cdl_and_a_received_lut_are_called_as_they_are() -> None:
    look = Look.model_validate({"title": "cdl", "cdl": {"slope": (1.1, 1.0, 0.9)}})
    pipeline = Pipeline(Grade(look), get_encoding("sRGB"), get_encoding("sRGB"))
    assert compiled.in_compiled_code(pipeline) is pipeline
    assert isinstance(
        compiled.in_compiled_code(Pipeline(Grade(SHIPPED["wet_wool"]), pipeline.source, pipeline.target)),
        compiled.CompiledPipeline,
    )


def test_the_identity_gives_the_very_values_back() -> None:
    plain = Pipeline(Grade(Look(title="nothing")), get_encoding("sRGB"), get_encoding("sRGB"))
    x = np.random.default_rng(0).random((100, 3))
    assert np.array_equal(compiled.CompiledPipeline(plain)(x), x)


def test_elementary_functions_against_the_c_library() -> None:
    rng = np.random.default_rng(11)
    positive = [*(2.0 ** rng.uniform(-300, 300, 2000)), *rng.uniform(0.5, 2.0, 2000), 1.0, 2.0, math.sqrt(2)]
    for x in positive:
        assert compiled.log2(x) == pytest.approx(math.log2(x), rel=1e-13, abs=1e-15)
        assert compiled.cbrt(x) == pytest.approx(float(np.cbrt(x)), rel=1e-13)
        assert compiled.cbrt(-x) == pytest.approx(-float(np.cbrt(x)), rel=1e-13)
    assert abs(compiled.cbrt(0.0)) < 1e-99
    for x in [*rng.uniform(-1000, 1000, 2000), *rng.uniform(-2, 2, 2000), 0.0, 0.5, -0.5, 1.0]:
        assert compiled.exp2(x) == pytest.approx(2.0**x, rel=1e-13)
    for x in [*rng.uniform(-math.pi / 2, math.pi / 2, 4000), 0.0, math.pi / 2, -math.pi / 2]:
        assert compiled.sine(x) == pytest.approx(math.sin(x), abs=1e-13)
        assert compiled.cosine(x) == pytest.approx(math.cos(x), abs=1e-13)
    for y, x in [*rng.normal(size=(4000, 2)), (0.0, 1.0), (1.0, 0.0), (0.0, 0.0), (1.0, 1.0), (-1.0, -1.0)]:
        assert compiled.angle(y, x) == pytest.approx(math.atan2(y, x), abs=1e-13)


def test_light_beyond_all_bounds_stays_finite() -> None:
    pipeline = Pipeline(Grade(SHIPPED["wet_wool"], LAMP), get_encoding("ACEScg"), get_encoding("sRGB"))
    wild = np.array([[1e12, -1e3, 0.0], [0.0, 0.0, 0.0], [-1.0, -1.0, -1.0], [65504.0, 65504.0, 65504.0]])
    got = compiled.CompiledPipeline(pipeline)(wild)
    assert np.isfinite(got).all()
    assert got == pytest.approx(pipeline(wild), abs=1e-8)
