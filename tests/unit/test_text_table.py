"""Tables for the terminal: nothing lost at any width, nothing broken by what a name holds."""

from __future__ import annotations

import random
import subprocess
import sys

import pytest
from rich.cells import cell_len

from lookdev.text.table import _is_plain, _laid_out, table_text

HEAD = ["place", "empty", "stop"]
ROWS = [["Łódź · Øst 東", "", "T2.8"], ["[bold]not markup[/]", "", "T4"]]


def test_one_line_a_row_and_no_empty_column() -> None:
    lines = table_text(HEAD, ROWS).splitlines()
    assert lines[0].split() == ["place", "stop"]
    assert len(lines) == 3 and "[bold]not markup[/]" in lines[2]
    starts = {cell_len(line[: line.index("T")]) for line in lines[1:]}
    assert len(starts) == 1
    assert not any(line.endswith(" ") for line in lines)


def test_a_long_row_is_not_cut_where_there_is_no_width() -> None:
    assert "x" * 5000 in table_text(["a", "b"], [["x" * 5000, "y"]])


@pytest.mark.parametrize("width", [20, 40, 80])
def test_wrapped_to_the_width_every_letter_stands(width: int) -> None:
    text = table_text(["a", "b"], [["k" * 70, "v" * 45]], width)
    assert max(map(len, text.splitlines())) <= width
    assert text.count("k") == 70 and text.count("v") == 45


def test_without_rows_the_headings_stand() -> None:
    assert table_text(HEAD, []).split() == HEAD


def test_a_name_that_the_terminal_cannot_write_is_no_error() -> None:
    code = "from lookdev.text.table import print_table; print_table(['a'], [['caf\\udce9 東']])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, env={"PYTHONIOENCODING": "ascii"}, check=False
    )
    assert done.returncode == 0 and b"caf\\udce9 \\u6771" in done.stdout


@pytest.mark.parametrize("seed", range(20))
def test_plain_lines_are_the_librarys(seed: int) -> None:
    rng = random.Random(seed)
    words = [
        "",
        "1960 K · Duv −0.002",
        "Ålesund, quai “B”…",
        "東",
        "e\u0301",
        "a",
        "Net loft",
        "T2.8",
        " x ",
        "[b]no[/b]",
        ":smile:",
        "https://a.b/c",
        "x" * 130,
        "1,5",
    ]
    columns = rng.randint(1, 5)
    head = [rng.choice(words) for _ in range(columns)]
    rows = [[rng.choice(words) for _ in range(columns)] for _ in range(rng.randint(0, 4))]
    keep = [k for k in range(columns) if any(row[k] for row in rows)] or list(range(columns))
    assert table_text(head, rows) == _laid_out(head, rows, keep, None)


def test_plain_characters_are_one_column_wide() -> None:
    plain = [chr(code) for code in range(0x3000) if _is_plain(chr(code))]
    assert len(plain) > 600
    assert {cell_len(c) for c in plain} == {1}
