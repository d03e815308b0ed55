"""CSV out: RFC 4180 in UTF-8 with a byte-order mark (Unicode 15, 23.8); no cell that runs as a formula."""

from __future__ import annotations

import csv
import io

import pytest

from lookdev.text.csv_out import MARK, csv_text


def _back(text: str) -> list[list[str]]:
    """Read as a spreadsheet would, from the bytes of the file."""
    return list(csv.reader(io.StringIO(text.encode().decode("utf-8-sig"), newline=""), strict=True))


def test_quoting_and_line_ends_are_rfc_4180() -> None:
    text = csv_text(["a", "b"], [["x, y", 'say "this"'], ["two\nlines", "\u2212 8 Łódź"]])
    assert text == MARK + 'a,b\r\n"x, y","say ""this"""\r\n"two\nlines",\u2212 8 Łódź\r\n'
    assert text.encode().startswith(b"\xef\xbb\xbf")
    assert _back(text)[1:] == [["x, y", 'say "this"'], ["two\nlines", "\u2212 8 Łódź"]]


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-cmd", "@sum(a1)", "\tx", "\r=1", "=", "--1", "+"])
def test_words_that_a_spreadsheet_would_run_stay_words(text: str) -> None:
    assert _back(csv_text(["a"], [[text]]))[1] == ["'" + text]


@pytest.mark.parametrize("value", ["-12", "+0.0031", "-1.5e-3", -0.003, -7, "6/4", "#ffeedd", "5B"])
def test_numbers_and_plain_words_are_left_alone(value: object) -> None:
    assert _back(csv_text(["a"], [[value]]))[1] == [str(value)]


def test_headings_are_guarded_and_nothing_is_an_empty_cell() -> None:
    assert _back(csv_text(["=a", "b"], [[None, 0]])) == [["'=a", "b"], ["", "0"]]
