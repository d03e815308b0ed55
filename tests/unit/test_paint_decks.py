"""Decks as art departments have them: workbooks, five languages, polar and screen colours, few warnings."""

import numpy as np
import openpyxl
import pytest

from lookdev.colorimetry.difference import ciede2000
from lookdev.paint.chip_file import read_chips
from lookdev.paint.chip_headings import column

ROWS = [("Wet rope", "V-101", 60.0, 12.0, 20.0), ("Tide", "V-102", 51.5, -2.0, -24.0)]


def as_csv(path, head, rows):
    path.write_text("\n".join(",".join(map(str, r)) for r in [head, *rows]), encoding="utf-8")
    return path


def workbook(path, head, rows):
    """Written by another library than reads it: openpyxl."""
    book = openpyxl.Workbook()
    book.active.append(["Our range, spring"])
    book.active.append([])
    for row in (head, *rows):
        book.active.append(list(row))
    book.save(path)
    return path


def open_document(path, head, rows):
    """OpenDocument by odfpy."""
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book = OpenDocumentSpreadsheet()
    table = Table(name="deck")
    for row in (head, *rows):
        line = TableRow()
        for value in row:
            number = isinstance(value, float)
            cell = TableCell(valuetype="float", value=value) if number else TableCell(valuetype="string")
            cell.addElement(P(text=str(value)))
            line.addElement(cell)
        table.addElement(line)
    book.spreadsheet.addElement(table)
    book.save(str(path))
    return path


@pytest.mark.parametrize(("write", "name"), [(workbook, "deck.xlsx"), (open_document, "deck.ods")])
def test_a_workbook_is_the_same_deck_as_its_csv(tmp_path, write, name):
    head = ("name", "code", "L", "a", "b")
    theirs = read_chips(write(tmp_path / name, head, ROWS))
    ours = read_chips(as_csv(tmp_path / "deck.csv", head, ROWS))
    assert [c.label for c in theirs.chips.chips] == ["Wet rope · V-101", "Tide · V-102"]
    assert np.array_equal(theirs.chips.reflectances, ours.chips.reflectances)
    assert not theirs.errors


def test_a_damaged_workbook_is_one_plain_error(tmp_path):
    from lookdev.errors import ChipError

    (tmp_path / "deck.xlsx").write_bytes(b"PK\x03\x04 not a workbook")
    with pytest.raises(ChipError, match=r"deck\.xlsx"):
        read_chips(tmp_path / "deck.xlsx")


@pytest.mark.parametrize(
    "head",
    [
        ("Farbname", "Farbcode", "L*", "a*", "b*"),
        ("Nom", "Référence", "L*", "a*", "b*"),
        ("Nombre", "Código", "L*", "a*", "b*"),
        ("Nome", "Codice", "L*", "a*", "b*"),
        ("PAINT", "REF.", "L", "A", "B"),
    ],
)
def test_headings_in_five_languages(tmp_path, head):
    read = read_chips(as_csv(tmp_path / "deck.csv", head, ROWS))
    assert not read.errors and [c.code for c in read.chips.chips] == ["V-101", "V-102"]


def test_polar_colours_are_the_same_colours(tmp_path):
    """CIE 15: C* is the length of a*, b*, h its angle."""
    polar = [
        (name, code, L, np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360) for name, code, L, a, b in ROWS
    ]
    one = read_chips(as_csv(tmp_path / "one.csv", ("name", "code", "L", "C", "h°"), polar))
    two = read_chips(as_csv(tmp_path / "two.csv", ("name", "code", "L", "a", "b"), ROWS))
    assert not one.errors
    assert np.abs(one.chips.reflectances - two.chips.reflectances).max() < 1e-6


@pytest.mark.parametrize(
    ("head", "cells"),
    [
        (("name", "hex"), ("#8a6f5c",)),
        (("name", "rgb"), ('"138, 111, 92"',)),
        (("name", "rgb"), ("rgb(138 111 92)",)),
        (("name", "R", "G", "B"), (138, 111, 92)),
        (("Farbe", "Rot", "Grün", "Blau"), (138, 111, 92)),
    ],
)
def test_screen_colours_are_read_and_marked_a_last_resort(tmp_path, head, cells):
    read = read_chips(as_csv(tmp_path / "deck.csv", head, [("Wall", *cells)]))
    (chip,) = read.chips.chips
    assert chip.kind == "hex" and chip.as_typed == "#8a6f5c"
    # sRGB 8a6f5c is CIELAB 48.9, 7.7, 14.6 for D65 (CSS Color 4 arithmetic, as in test_paint_match)
    assert ciede2000(read.chips.lab("D65")[0], np.array([48.9, 7.7, 14.6])) < 0.2
    assert any("last resort" in w for w in read.warnings)


@pytest.mark.parametrize("bad", ["300, 20, 20", "12, 12", "#12345", "red"])
def test_no_screen_colour(tmp_path, bad):
    path = as_csv(tmp_path / "deck.csv", ("name", "hex"), [("Good", "#808080"), ("Bad", f'"{bad}"')])
    read = read_chips(path)
    assert len(read.errors) == 1 and "row 3" in str(read.errors[0])


def test_one_warning_a_kind_not_a_row(tmp_path):
    rows = [(f"Paint {k}", 40 + k / 10, 5, 5) for k in range(300)]
    read = read_chips(as_csv(tmp_path / "deck.csv", ("name", "L", "a", "b"), rows))
    assert len(read.chips) == 300 and not read.errors
    assert len(read.warnings) == 2  # no illuminant; no observer
    assert all("and 299 more rows" in w for w in read.warnings)


def test_a_harmless_extra_column_is_no_failure(tmp_path):
    head = ("name", "L", "a", "b", "shelf")
    read = read_chips(as_csv(tmp_path / "deck.csv", head, [("Wall", 50, 1, 2, "B4")]))
    assert not read.errors
    assert any("shelf" in w for w in read.warnings)


def test_headings_that_could_be_two_things():
    assert column("B") == "b" and column("h") == "h" and column("R450") is None
    assert column("shelf") is None
