"""A look compiled to a .cube: exactness, names, comments, errors, linear input."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.encodings import ACESCCT, ACESCG, BT709, SRGB, encoding_names, get_encoding
from lookdev.errors import RequestError
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.lut.bake import bake_cube, bake_curve, export_cube, is_separable
from lookdev.lut.cube import identity_cube, lattice_points, read_cube
from lookdev.lut.error import lut_error, picture_inputs, spread_points
from lookdev.lut.interpolation import lookup_tetrahedral, lookup_trilinear
from lookdev.lut.naming import cube_tail, lut_file
from lookdev.names import Names

PLAIN = Look(title="as it stood")
LOGS = [
    n
    for n in encoding_names()
    if get_encoding(n).state == "scene"
    and not get_encoding(n).is_linear
    and 0 <= get_encoding(n).from_working(np.zeros(3)).min() < 1  # no light lies under ACEScc's code 0
]
GRADE = Look.model_validate(
    {"title": "Grade", "curve": {"contrast": 1.2, "shoulder": 0.3}, "colour": {"saturation": 0.6}}
)


@pytest.mark.parametrize(
    "name", ["sRGB", "BT.709", "BT.2100 PQ", "ACEScct", "S-Log3 S-Gamut3", "BT.709 narrow"]
)
def test_the_identity_look_is_an_identity_cube(name: str) -> None:
    encoding = get_encoding(name)
    lut = bake_cube(PLAIN.transform(encoding, encoding), 17)
    wanted = identity_cube(17).table
    if name == "BT.2100 PQ":  # which has codes over the peak that pictures are rendered to
        wanted = np.minimum(wanted, encoding.from_working(np.full(3, encoding.peak))[0])
    assert np.array_equal(lut.table, wanted)


def test_the_points_are_the_look() -> None:
    """All but those round black."""
    transform = GRADE.transform(ACESCCT, BT709)
    table, look = bake_cube(transform, 9).table, transform(lattice_points(9))
    apart = np.argwhere((table != look).any(axis=-1))
    assert 0 < len(apart) <= 8 and apart.max() == 1


@pytest.mark.parametrize(
    ("source", "target", "size"),
    [
        *((name, "BT.709", 17) for name in LOGS),
        *(("ACEScct", target, size) for target in ("BT.709", "PQ") for size in (33, 65)),
        ("S-Log3 S-Gamut3.Cine", "BT.709", 65),
        ("ARRI LogC4 ARRI Wide Gamut 4 narrow", "BT.709", 33),
    ],
)
def test_no_light_is_black(source: str, target: str, size: int) -> None:
    """25 to 43 codes of 1023 came out, as no point stood at a log encoding's code of no light."""
    encoding = get_encoding(source)
    transform = PLAIN.transform(encoding, get_encoding(target))
    lut, no_light = bake_cube(transform, size), encoding.from_working(np.zeros((1, 3)))
    wanted = transform(no_light)
    for read in (lut, lambda signal: lookup_trilinear(lut.table, signal)):
        assert np.abs(read(no_light) - wanted).max() * 1023 <= 2.0
    greys = np.repeat(np.linspace(np.ceil(no_light.max() * (size - 1)) / (size - 1), 1, 99)[:, None], 3, 1)
    plain = transform(lattice_points(size))
    np.testing.assert_allclose(
        lut(greys), lookup_tetrahedral(plain, greys), atol=1e-9
    )  # from there on as was


def test_error_falls_with_size_and_is_what_it_says() -> None:
    transform = GRADE.transform(SRGB, SRGB)
    means = []
    for size in (9, 17, 33):
        whole, picture = lut_error(bake_cube(transform, size), transform)
        assert whole.mean <= whole.p95 <= whole.p99 <= whole.maximum
        assert picture.mean < 0.5
        means.append(whole.mean)
    assert means[0] > 2 * means[1] > 4 * means[2] > 0


def test_no_error_where_the_look_is_the_identity() -> None:
    transform = PLAIN.transform(SRGB, SRGB)
    whole, picture = lut_error(bake_cube(transform, 17), transform)
    assert whole.maximum < 1e-9 and picture.maximum < 1e-9


def test_spread_points_are_the_same_and_even() -> None:
    points = spread_points()
    assert points is spread_points() and points.min() >= 0 and points.max() < 1
    counts, _ = np.histogramdd(points, bins=(4, 4, 4), range=[(0, 1)] * 3)
    assert np.abs(counts / counts.mean() - 1).max() < 0.1


def test_linear_input_gets_a_shaper(tmp_path: Path) -> None:
    assert ACESCG.is_linear and not ACESCCT.is_linear
    transform = GRADE.transform(ACESCG, SRGB)
    lut = bake_cube(transform, 33)
    assert lut.shaper is not None and lut.input_max == (16.0, 16.0, 16.0)
    assert lut_error(lut, transform)[1].p95 < 1.5
    light = np.array([[0.18, 0.18, 0.18], [2.0, 2.0, 2.0], [0.01, 0.01, 0.01]])
    np.testing.assert_allclose(lut(light), transform(light), atol=4e-3)
    assert np.array_equal(lut(np.zeros(3)), transform(np.zeros(3)))
    dark = np.repeat(0.18 * 2.0 ** np.arange(-9.0, 6.0, 0.05)[:, None], 3, axis=1)
    plain = PLAIN.transform(ACESCG, BT709)
    assert np.abs(bake_cube(plain, 65)(dark) - plain(dark)).max() < 6 / 1023


def test_a_1d_lut_only_where_channels_stand_alone() -> None:
    display = PLAIN.transform(SRGB, BT709)
    assert is_separable(display)
    x = picture_inputs(SRGB)[:500]
    np.testing.assert_allclose(bake_curve(display, 4096)(x), display(x), atol=1e-4)
    with pytest.raises(RequestError, match="mixes the channels"):
        bake_curve(GRADE.transform(SRGB, SRGB))


def test_same_input_same_bytes_and_comments(tmp_path: Path) -> None:
    cast = Cast((0.44757, 0.40745), (0.3320, 0.3475), "test")
    for name in ("a.cube", "b.cube"):
        export_cube(GRADE, ACESCCT, BT709, tmp_path / name, size=17, cast=cast, place="Pier shed")
    raw = (tmp_path / "a.cube").read_bytes()
    assert raw == (tmp_path / "b.cube").read_bytes()
    comments = "\n".join(read_cube(tmp_path / "a.cube").comments)
    for words in (
        "look: Grade",
        "Pier shed is in it",
        "ACEScct, scene",
        "BT.709, output",
        "CIEDE2000",
        "99% below",
    ):
        assert words in comments


def test_balance_is_in_the_cube_of_a_place(tmp_path: Path) -> None:
    look = Look.model_validate({"title": "keeps none", "balance": {"keep": 0.0}})
    cast = Cast((0.44757, 0.40745), (0.3127, 0.3290), "CIE A under a camera at D65")
    alone = export_cube(look, SRGB, SRGB, tmp_path / "alone.cube", size=17)
    placed = export_cube(look, SRGB, SRGB, tmp_path / "placed.cube", size=17, cast=cast, place="Kitchen")
    warm = np.array([0.6, 0.45, 0.25])
    assert np.ptp(placed.lut(warm)) < 0.5 * np.ptp(alone.lut(warm))


def test_names_of_files() -> None:
    name = lut_file(
        Names(), "wet_wool", "Łódź · Øst 東 café", cube_tail(ACESCCT, get_encoding("BT.709 narrow"), 33)
    )
    assert name == "wet_wool@Lodz_-_Ost_u_cafe.ACEScct_to_BT.709_narrow.33.cube"


@pytest.mark.parametrize(("size", "domain"), [(1, (0, 1)), (257, (0, 1)), (17, (1, 1)), (17, (1, 0))])
def test_sizes_and_domains_that_make_no_sense(size: int, domain: tuple[float, float]) -> None:
    with pytest.raises(RequestError):
        bake_cube(PLAIN.transform(SRGB, SRGB), size, domain)


def test_a_wider_domain() -> None:
    transform = PLAIN.transform(ACESCCT, ACESCCT)
    lut = bake_cube(transform, 17, (-0.25, 1.5))
    x = np.array([[-0.2, 0.5, 1.4]])
    np.testing.assert_allclose(lut(x), x, atol=1e-12)
