"""The .cube file and its interpolation: what must hold whatever the table."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lookdev.errors import LutError
from lookdev.lut.cube import (
    CubeLut,
    Shaper,
    cube_bytes,
    identity_cube,
    lattice_points,
    parse_cube,
    read_cube,
    write_cube,
)
from lookdev.lut.interpolation import lookup_1d, lookup_tetrahedral, lookup_trilinear

unit = st.floats(0, 1, allow_nan=False)


@pytest.mark.parametrize("size", [2, 17, 33, 65])
def test_the_identity_is_exact_for_every_8bit_code(size: int) -> None:
    codes = np.random.default_rng(0).integers(0, 256, (20000, 3)) / 255.0
    assert np.abs(identity_cube(size)(codes) - codes).max() < 1e-14


@given(arrays(np.float64, (3, 3, 3, 3), elements=st.floats(-4, 4)))
def test_table_points_come_back(table: np.ndarray) -> None:
    points = lattice_points(3)
    np.testing.assert_allclose(CubeLut(table)(points), table, atol=1e-12)


@given(arrays(np.float64, (3, 3, 3, 3), elements=unit), arrays(np.float64, (9, 3), elements=st.floats(-1, 2)))
def test_interpolation_stays_inside_the_table(table: np.ndarray, x: np.ndarray) -> None:
    for look in (lookup_tetrahedral, lookup_trilinear):
        out = look(table, x)
        assert out.min() >= table.min() - 1e-12 and out.max() <= table.max() + 1e-12


@given(arrays(np.float64, (5, 3), elements=unit), arrays(np.float64, (9,), elements=unit))
def test_grey_stays_grey_where_the_table_keeps_it(curve: np.ndarray, x: np.ndarray) -> None:
    grey = np.repeat(curve[:, :1], 3, axis=1)
    table = np.zeros((5, 5, 5, 3))
    table[range(5), range(5), range(5)] = grey
    out = lookup_tetrahedral(table, np.repeat(x[:, None], 3, axis=1))
    assert np.ptp(out, axis=1).max() < 1e-12


def test_1d_is_linear_between_points_and_flat_beyond() -> None:
    table = np.array([[0.0, 1.0, 5.0], [1.0, 0.0, 7.0], [4.0, 2.0, 9.0]])
    assert lookup_1d(table, [0.75, 0.25, -1.0]).tolist() == [2.5, 0.5, 5.0]


@settings(max_examples=40, deadline=None)
@given(
    arrays(np.float64, (2, 2, 2, 3), elements=st.floats(-100, 100, width=32)),
    st.text(max_size=40),
    st.floats(-1, 0),
    st.floats(0.5, 20),
)
def test_written_and_read(table: np.ndarray, title: str, low: float, high: float) -> None:
    lut = CubeLut(table, (low,) * 3, (high,) * 3, title=title)
    back = parse_cube(cube_bytes(lut).decode("ascii"))
    np.testing.assert_allclose(back.table, table, rtol=1e-8, atol=6e-7)
    np.testing.assert_allclose(
        [back.domain_min, back.domain_max], [lut.domain_min, lut.domain_max], rtol=1e-9
    )
    assert cube_bytes(back) == cube_bytes(parse_cube(cube_bytes(back).decode("ascii")))


def test_shaper_written_and_read() -> None:
    shaper = Shaper(np.linspace(0, 1, 9)[:, None].repeat(3, axis=1) ** 0.5, (0.0,) * 3, (4.0,) * 3)
    lut = CubeLut(identity_cube(3).table, title="linear in", shaper=shaper)
    back = parse_cube(cube_bytes(lut).decode("ascii"))
    assert back.shaper is not None and back.title == "linear in"
    x = np.random.default_rng(5).random((30, 3)) * 5
    np.testing.assert_allclose(back(x), lut(x), atol=1e-6)


def test_65_points_written_and_read_through_a_file(tmp_path: Path) -> None:
    """How long it takes is in tests/benchmarks."""
    lut = CubeLut(identity_cube(65).table ** 1.1)
    write_cube(tmp_path / "a.cube", lut)
    np.testing.assert_allclose(read_cube(tmp_path / "a.cube").table, lut.table, atol=5.1e-7)


def test_identity_files_hold_exact_numbers() -> None:
    """k / 16, k / 32 and k / 64 have at most six decimals: nothing is lost in the text."""
    for size in (17, 33, 65):
        back = parse_cube(cube_bytes(identity_cube(size)).decode())
        assert np.array_equal(back.table, identity_cube(size).table)


@pytest.mark.parametrize("decimals", [5, 6])
@pytest.mark.parametrize("low", [0.0, -0.3])  # below zero the text is made another way
def test_a_file_has_the_decimals_that_its_lut_says(decimals: int, low: float) -> None:
    lut = CubeLut(np.linspace(low, 1.0, 5**3 * 3).reshape(5, 5, 5, 3), decimals=decimals)
    rows = cube_bytes(lut).decode("ascii").splitlines()[-(5**3) :]
    wanted = [[f"{v:.{decimals}f}" for v in row] for row in lut.table.transpose(2, 1, 0, 3).reshape(-1, 3)]
    assert [row.split() for row in rows] == wanted


@pytest.mark.parametrize("block", [1, 7, 40, 1000])
def test_the_size_of_the_pieces_read_changes_nothing(monkeypatch: pytest.MonkeyPatch, block: int) -> None:
    from lookdev.lut import cube

    rows = [f"{r / 2} {g / 2} {b / 2}" for b in range(3) for g in range(3) for r in range(3)]
    rows[5] = "  1.0\t0.5   0.0 # a note"
    text = "# first\r\nLUT_3D_SIZE 3\r\n" + "\r\n".join([*rows[:20], "# amid", 'TITLE "t"', "", *rows[20:]])
    whole = parse_cube(text)
    monkeypatch.setattr(cube, "_FIRST_BLOCK", block)
    monkeypatch.setattr(cube, "_BLOCK", block)
    pieces = parse_cube(text)
    assert np.array_equal(pieces.table, whole.table) and np.array_equal(whole.table, identity_cube(3).table)
    assert pieces.comments == whole.comments == ("first", "amid") and pieces.title == "t"
    with pytest.raises(LutError, match=r"line 24: text where numbers should be; found 'x'"):
        parse_cube(text.replace('TITLE "t"', "0 x 0"))
    with pytest.raises(LutError, match=r"line 33: too many rows; found '28 rows'"):
        parse_cube(text + "\n0 0 0")


def straightforward(raw: bytes, size: int) -> np.ndarray:
    """The table of a file whose rows are the lines that begin with a number."""
    lines = [line.split(b"#")[0].split() for line in raw.splitlines()]
    numbers = [list(map(float, line)) for line in lines if line and line[0][:1] in b"-.0123456789"]
    table = np.empty((size, size, size, 3))
    for i, row in enumerate(numbers):
        table[i % size, i // size % size, i // size**2] = row
    return table


def big_file(size: int, ending: str = "\n", space: str = " ", keywords_last: bool = False) -> bytes:
    """Rows as they come from a program, a comment among them."""
    values = np.random.default_rng(size).normal(0.5, 0.4, (size**3, 3))
    rows = [space.join(f"{v:.9g}" for v in row) for row in values.tolist()]
    rows.insert(len(rows) // 2, "# half of it")
    rows.insert(len(rows) if keywords_last else 0, f"LUT_3D_SIZE {size}")
    return (ending.join(['TITLE "caf\u00e9"', *rows]) + ending).encode("utf-8")


FILES = [
    {},
    {"ending": "\r\n"},
    {"ending": "\r"},
    {"space": "\t"},
    {"space": "  "},
    {"keywords_last": True},
    {"ending": "\r\n", "space": "\t", "keywords_last": True},
]


@pytest.mark.parametrize("block", [1 << 9, 1 << 22])
@pytest.mark.parametrize("how", FILES)
def test_a_table_read_block_by_block_is_the_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: dict[str, object], block: int
) -> None:
    monkeypatch.setattr("lookdev.lut.cube._BLOCK", block)
    raw = big_file(17, **how)  # type: ignore[arg-type]
    (tmp_path / "a.cube").write_bytes(raw)
    lut = read_cube(tmp_path / "a.cube")
    assert np.array_equal(lut.table, straightforward(raw, 17))
    assert lut.table.flags.c_contiguous and lut.table.base is None
    assert (lut.title, lut.comments) == ("caf\u00e9", ("half of it",))


def test_a_shaper_does_not_hold_on_to_the_whole_table() -> None:
    shaper = Shaper(np.linspace(0, 1, 9)[:, None].repeat(3, axis=1))
    back = parse_cube(cube_bytes(CubeLut(identity_cube(5).table, shaper=shaper)).decode())
    assert back.shaper is not None and back.shaper.table.base is None
    assert np.array_equal(back.shaper.table, shaper.table) and np.array_equal(
        back.table, identity_cube(5).table
    )


@pytest.mark.parametrize("how", FILES)
def test_reading_takes_the_file_and_the_table_and_little_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: dict[str, object]
) -> None:
    """256 points in nine digits are 595 MB of text and 403 MB of table; 2 GB is the limit of a file's use."""
    monkeypatch.setattr("lookdev.lut.cube._BLOCK", 1 << 14)
    raw = big_file(33, **how)  # type: ignore[arg-type]
    (tmp_path / "a.cube").write_bytes(raw)
    tracemalloc.start()
    try:
        table = read_cube(tmp_path / "a.cube").table
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    growth = table.nbytes if how.get("keywords_last") else 0  # doubling, where the size is not known ahead
    assert peak < 1.2 * (len(raw) + table.nbytes) + 2 * growth
