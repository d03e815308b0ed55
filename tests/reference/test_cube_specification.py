"""Cube LUT Specification 1.0 (Adobe Systems, 2013): the file format, rule by rule."""

from __future__ import annotations

import numpy as np
import pytest

from lookdev.errors import LutError
from lookdev.lut.cube import CubeLut, cube_bytes, identity_cube, parse_cube


def test_red_changes_fastest() -> None:
    """Specification, "Table data": the red coordinate varies fastest."""
    lines = cube_bytes(identity_cube(2)).decode("ascii").splitlines()
    assert lines[-8:] == [
        "0.000000 0.000000 0.000000",
        "1.000000 0.000000 0.000000",
        "0.000000 1.000000 0.000000",
        "1.000000 1.000000 0.000000",
        "0.000000 0.000000 1.000000",
        "1.000000 0.000000 1.000000",
        "0.000000 1.000000 1.000000",
        "1.000000 1.000000 1.000000",
    ]


def test_header_lines() -> None:
    """Keywords, one a line, before the data; a title in quotes; comments start with #."""
    lut = CubeLut(identity_cube(2).table, title='A "quoted" title', comments=("look: x",))
    head = cube_bytes(lut).decode("ascii").splitlines()[:5]
    assert head == [
        "# look: x",
        "TITLE \"A 'quoted' title\"",
        "LUT_3D_SIZE 2",
        "DOMAIN_MIN 0 0 0",
        "DOMAIN_MAX 1 1 1",
    ]


def test_lines_stay_under_250_bytes_and_ascii() -> None:
    lut = CubeLut(identity_cube(2).table, title="Łódź · Øst 東 café" * 20, comments=("word " * 200,))
    raw = cube_bytes(lut)
    assert raw.isascii() and max(map(len, raw.split(b"\n"))) <= 250


def test_the_specifications_1d_example() -> None:
    """A 1D table with its own domain, values interpolated linearly between points."""
    text = 'TITLE "Demo"\nLUT_1D_SIZE 3\nDOMAIN_MIN 0.0 0.0 0.0\nDOMAIN_MAX 1.0 2.0 3.0\n'
    text += "0 0 0\n0.5 0.5 0.5\n1 1 1\n"
    lut = parse_cube(text)
    assert lut.kind == "1D" and lut.title == "Demo"
    assert lut([0.5, 1.0, 1.5]).tolist() == [0.5, 0.5, 0.5]
    assert lut([0.25, 0.5, 0.75]).tolist() == [0.25, 0.25, 0.25]


def test_defaults_without_domain_and_title() -> None:
    lut = parse_cube("LUT_3D_SIZE 2\n" + "0 0 0\n" * 7 + "1 1 1\n")
    assert (lut.domain_min, lut.domain_max, lut.title) == ((0, 0, 0), (1, 1, 1), "")


@pytest.mark.parametrize(
    ("keyword", "size"), [("LUT_3D_SIZE", 257), ("LUT_3D_SIZE", 1), ("LUT_1D_SIZE", 65537)]
)
def test_sizes_that_the_specification_forbids(keyword: str, size: int) -> None:
    with pytest.raises(LutError, match=r"line 1: .*out of range"):
        parse_cube(f"{keyword} {size}\n")


def test_output_may_leave_0_to_1() -> None:
    """ "Table data": values outside [0, 1] are allowed and kept."""
    lut = parse_cube("LUT_1D_SIZE 2\n-0.25 0 0\n1 1.5 1\n")
    assert lut([0.0, 1.0, 0.0]).tolist() == [-0.25, 1.5, 0.0]
    assert np.array_equal(parse_cube(cube_bytes(lut).decode()).table, lut.table)
