"""A .cube of ours, read and applied by colour-science (``colour.read_LUT``), and the other way round."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.encodings import ACESCCT, ACESCG, BT709, SRGB
from lookdev.colorimetry.library import colour_science
from lookdev.looks.model import Look
from lookdev.lut.bake import bake_cube, bake_curve
from lookdev.lut.cube import read_cube, write_cube
from lookdev.lut.interpolation import lookup_trilinear

LOOK = Look.model_validate({"title": "Łódź test", "curve": {"contrast": 1.2}, "colour": {"saturation": 0.6}})


@pytest.mark.parametrize("size", [17, 33])
def test_colour_science_reads_the_same_table_and_gives_the_same_pixels(tmp_path: Path, size: int) -> None:
    colour = colour_science()
    lut = bake_cube(LOOK.transform(ACESCCT, BT709), size, title=LOOK.title)
    write_cube(tmp_path / "look.cube", lut)
    theirs = colour.read_LUT(str(tmp_path / "look.cube"))
    assert theirs.size == size
    np.testing.assert_allclose(theirs.table, lut.table, atol=0.51 * 10.0**-lut.decimals)
    lut = read_cube(tmp_path / "look.cube")
    np.testing.assert_allclose(theirs.table, lut.table, atol=1e-12)
    x = np.random.default_rng(1).random((400, 3))
    tetrahedral = theirs.apply(x, interpolator=colour.algebra.table_interpolation_tetrahedral)
    np.testing.assert_allclose(tetrahedral, lut(x), atol=1e-6)
    np.testing.assert_allclose(theirs.apply(x), lookup_trilinear(lut.table, x), atol=1e-6)


def test_colour_science_reads_the_shaper_in_front_of_a_linear_cube(tmp_path: Path) -> None:
    colour = colour_science()
    lut = bake_cube(LOOK.transform(ACESCG, SRGB), 17)
    write_cube(tmp_path / "linear.cube", lut)
    theirs = colour.io.read_LUT_ResolveCube(str(tmp_path / "linear.cube"))
    shaper, cube = theirs.sequence
    assert shaper.size == 65536 and cube.size == 17
    np.testing.assert_allclose(shaper.domain[:, 0], [0.0, 16.0])
    np.testing.assert_allclose(cube.table, lut.table, atol=0.51 * 10.0**-lut.decimals)
    np.testing.assert_allclose(cube.table, read_cube(tmp_path / "linear.cube").table, atol=1e-12)


def test_we_read_what_colour_science_writes(tmp_path: Path) -> None:
    colour = colour_science()
    table = colour.LUT3D.linear_table(9) ** 1.5 * 1.2 - 0.1
    domain = np.array([[-0.1, 0.0, 0.0], [1.5, 1.2, 1.0]])
    colour.write_LUT(colour.LUT3D(table, "theirs", domain), str(tmp_path / "theirs.cube"), decimals=9)
    ours = read_cube(tmp_path / "theirs.cube")
    assert ours.title == "theirs"
    assert (ours.domain_min, ours.domain_max) == ((-0.1, 0.0, 0.0), (1.5, 1.2, 1.0))
    np.testing.assert_allclose(ours.table, table, atol=1e-8)


def test_a_1d_cube_is_read_as_one(tmp_path: Path) -> None:
    lut = bake_curve(Look(title="plain").transform(SRGB, BT709), 256)
    write_cube(tmp_path / "curve.cube", lut)
    theirs = colour_science().read_LUT(str(tmp_path / "curve.cube"))
    x = np.random.default_rng(2).random((50, 3))
    np.testing.assert_allclose(theirs.apply(x), lut(x), atol=1e-6)
