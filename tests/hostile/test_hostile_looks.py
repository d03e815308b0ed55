"""Look files made to break the reader: each ends in one short line, quickly, in little memory."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest
from hostile.guard import no_hang
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lookdev.errors import LookdevError
from lookdev.looks.toml_file import load_look

SOUND = b"""title = "Slack water"
[exposure]
stops = -0.4
[balance]
keep = 0.35
mired = -12
[curve]
contrast = 1.18
black = 0.004
[colour.families.YR]
chroma = 0.85
[[tone]]
at_stops = -3
towards = "5B"
chroma = 0.03
[cdl]
slope = [1.0, 1.0, 1.0]
encoding = "ACEScct"
"""

CASES = {
    "hexadecimal integer too long to print": b"[curve]\ncontrast = 0x" + b"F" * 20_000,
    "integer past a float": b"[curve]\ncontrast = " + b"9" * 400,
    "integer past the digits allowed": b"[curve]\ncontrast = " + b"9" * 10_000,
    "3000 dotted parts": b"[curve]\ncontrast" + b".a" * 3000 + b" = 1",
    "90,000 dotted parts": b"a" + b".a" * 90_000 + b" = 1",
    "dotted parts in quotes": b'"a"' + b" . 'a'" * 30_000 + b" = 1",
    "dotted parts in a table head": b"[a" + b".a" * 90_000 + b"]",
    "dotted parts in an inline table": b"curve = {a" + b".a" * 90_000 + b" = 1}",
    "arrays in arrays": b"x = " + b"[" * 3000 + b"]" * 3000,
    "arrays in arrays, fewer": b"[curve]\ncontrast = " + b"[" * 200 + b"]" * 200,
    "tables in tables": b"x = " + b"{a=" * 3000 + b"1" + b"}" * 3000,
    "key with a line break": b'"a\\nb" = 1',
    "key with terminal escapes": b'"\\u001b[2J" = 1',
    "family with a line break": b'[colour.families."x\\ny"]\nchroma = 1',
    "key of 100,000 characters": b'"' + b"k" * 100_000 + b'" = 1',
    "value of 100,000 characters": b'[balance]\nmethod = "' + b"k" * 100_000 + b'"',
    "title of two lines": b'title = """a\nb"""',
    "title that turns the writing round": 'title = "a\u202eb"'.encode(),
    "null in based_on": b'based_on = "a\\u0000b"',
    "based_on longer than any name": b'based_on = "' + b"a" * 5000 + b'"',
    "based_on a folder": b'based_on = "."',
    "based_on a device": b'based_on = "/dev/zero"',
    "too large": b"#" * 200_001,
    "bytes of nothing": bytes(range(256)),
    "zeros": bytes(1000),
    "quotes without end": b'"' * 9999,
    "dots": b"a = 1\n" + b"." * 150_000,
    "spaces and dots": b"a = 1\n" + b" ." * 75_000,
    "array of tables": b"[[curve]]\ncontrast = 1",
    "date": b"[curve]\ncontrast = 2020-01-01",
}


@pytest.mark.parametrize("name", CASES)
def test_one_line_no_hang_and_small(name: str, tmp_path: Path) -> None:
    path = tmp_path / "hostile.toml"
    path.write_bytes(CASES[name])
    tracemalloc.start()
    try:
        with no_hang(), pytest.raises(LookdevError) as caught:
            load_look(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 200e6
    line = str(caught.value)
    assert line.isprintable()
    assert len(line.removeprefix(str(path))) < 400
    assert str(path) in line


def test_a_long_note_full_of_dots_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "note.toml"
    note = "Cold light. Grey walls. " * 50 + "\n" + "." * 80 + "\n..."
    path.write_text(f'note = """{note}"""\n', encoding="utf-8")
    assert load_look(path).is_identity


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, len(SOUND) - 1), st.integers(0, 12), st.binary(max_size=6))
def test_damage_anywhere(tmp_path: Path, at: int, cut: int, put: bytes) -> None:
    path = tmp_path / "damaged.toml"
    path.write_bytes(SOUND[:at] + put + SOUND[at + cut :])
    try:
        load_look(path)
    except LookdevError as error:
        assert str(error).isprintable()
        assert str(path) in str(error)
