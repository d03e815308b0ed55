"""Logs kept in a workbook, as openpyxl and odfpy write them, read by python-calamine."""

from __future__ import annotations

import datetime
from pathlib import Path

import openpyxl
import pytest
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from lookdev.errors import MeterError
from lookdev.meter.log import read_meter_log
from lookdev.meter.scout import find_meter_log


def workbook(path: Path, rows: list[list[object]], merge: str | None = None, before: bool = False) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    if before:
        sheet.append(["nothing here"])
        sheet = book.create_sheet("Readings")
    for row in rows:
        sheet.append(row)
    if merge:
        sheet.merge_cells(merge)
    book.save(path)
    return path


ROWS: list[list[object]] = [
    ["Scout Velmsund", None, None, None, None, None, None],
    [],
    ["Bilder", "Drehort", "Lichtquelle", "Farbtemperatur", "Beleuchtungsstärke", "Uhrzeit", "Weißabgleich"],
    [2041, "Laderampe 3", "HPS", 1953, 42.125, datetime.time(21, 15), 3200],
    ["2042-44", None, "HPS", 1956.5, 50, datetime.time(21, 24), "auto"],
    ["IMG_2050", "Netzboden", "Fenster", 5935, 1310, datetime.time(11, 5), 5200],
]


def check(path: Path) -> None:
    log = read_meter_log(path)
    assert [str(e) for e in log.errors] == []
    got = [(r.stills, r.location, r.cct_k, r.illuminance_lux, r.time) for r in log.readings]
    assert got == [
        (("2041",), "Laderampe 3", 1953, 42.125, "21:15"),
        (("2042-44",), "Laderampe 3", 1956.5, 50, "21:24"),
        (("IMG_2050",), "Netzboden", 5935, 1310, "11:05"),
    ]
    assert [r.row for r in log.readings] == [4, 5, 6]
    assert [r.camera_balance_k for r in log.readings] == [3200, None, 5200]


def test_xlsx(tmp_path: Path) -> None:
    check(workbook(tmp_path / "meter.xlsx", ROWS))


def test_xlsx_on_its_second_sheet(tmp_path: Path) -> None:
    check(workbook(tmp_path / "meter.xlsx", ROWS, before=True))


def test_merged_cells_repeat_their_value(tmp_path: Path) -> None:
    rows: list[list[object]] = [
        ["place", "lamp", "lux"],
        ["Hall", "tubes", 310],
        [None, None, 370],
        ["Loft", "", 9],
    ]
    log = read_meter_log(workbook(tmp_path / "meter.xlsx", rows, merge="B2:B3"))
    assert [(r.location, r.source, r.illuminance_lux) for r in log.readings] == [
        ("Hall", "tubes", 310),
        ("Hall", "tubes", 370),
        ("Loft", None, 9),
    ]


def test_ods(tmp_path: Path) -> None:
    document = OpenDocumentSpreadsheet()
    table = Table(name="Sheet")
    for row in ROWS:
        line = TableRow()
        for value in row:
            if isinstance(value, int | float):
                cell = TableCell(valuetype="float", value=value)
            elif isinstance(value, datetime.time):
                cell = TableCell(valuetype="time", timevalue=f"PT{value.hour:02d}H{value.minute:02d}M00S")
            else:
                cell = TableCell(valuetype="string")
                cell.addElement(P(text=value or ""))
            line.addElement(cell)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    document.save(str(tmp_path / "meter.ods"))
    check(tmp_path / "meter.ods")


def test_numbers_typed_as_text_beside_real_numbers(tmp_path: Path) -> None:
    rows: list[list[object]] = [
        ["location", "x", "y", "lux"],
        ["A", "0,384", "0,389", "1.310"],
        ["B", 0.3, 0.3, 2.5],
    ]
    log = read_meter_log(workbook(tmp_path / "meter.xlsx", rows))
    assert [(r.x, r.illuminance_lux) for r in log.readings] == [(0.384, 1310), (0.3, 2.5)]


def test_a_workbook_renamed(tmp_path: Path) -> None:
    workbook(tmp_path / "meter.xlsx", ROWS).rename(tmp_path / "meter.csv")
    with pytest.raises(MeterError, match=r"or this workbook under its own name, meter\.xlsx"):
        read_meter_log(tmp_path / "meter.csv")


def test_a_table_renamed_to_a_workbook(tmp_path: Path) -> None:
    (tmp_path / "meter.xlsx").write_text("location,lux\nA,1\n")
    with pytest.raises(MeterError, match="is not a workbook"):
        read_meter_log(tmp_path / "meter.xlsx")


def test_a_password(tmp_path: Path) -> None:
    """ECMA-376 part 2 workbooks under a password are a compound file with a stream EncryptedPackage."""
    head = (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
        + b"\0" * 1000
        + "EncryptedPackage".encode("utf-16-le")
        + b"\0" * 500
    )
    (tmp_path / "meter.xlsx").write_bytes(head)
    with pytest.raises(MeterError, match=r"meter\.xlsx: is protected by a password"):
        read_meter_log(tmp_path / "meter.xlsx")


def test_a_workbook_without_headings(tmp_path: Path) -> None:
    with pytest.raises(MeterError, match="no heading row"):
        read_meter_log(workbook(tmp_path / "meter.xlsx", [["a", 1, 2, 3], ["b", 2, 3, 4]]))


@pytest.mark.parametrize("cut", [4, 200, 2000])
def test_a_workbook_cut_short(tmp_path: Path, cut: int) -> None:
    path = workbook(tmp_path / "meter.xlsx", ROWS)
    path.write_bytes(path.read_bytes()[:cut])
    with pytest.raises(MeterError, match=r"^meter\.xlsx: is no workbook") as caught:
        read_meter_log(path)
    assert str(caught.value).isprintable()


def test_two_logs_are_refused_with_both_names(tmp_path: Path) -> None:
    workbook(tmp_path / "meter.xlsx", ROWS)
    (tmp_path / "Meter.TXT").write_text("Dock\nHPS 1950K\n")
    with pytest.raises(MeterError, match=r"more than one log; found 'Meter\.TXT, meter\.xlsx'"):
        find_meter_log(tmp_path)


HEADS = {
    "German": "Bild;Ort;Quelle;Farbtemperatur;Duv;Beleuchtungsstärke;Weißabgleich;Uhrzeit;Notiz",
    "French": "Fichier;Lieu;Lumière;Température de couleur;Duv;Éclairement;BdB;Heure;Remarques",
    "Spanish": "Archivo;Localización;Luz;Temperatura de color;Duv;Iluminancia;Balance de blancos;Hora;Notas",
    "Italian": "Immagine;Luogo;Sorgente;Temperatura di colore;Duv;Illuminamento;Bilanciamento;Ora;Note",
}


@pytest.mark.parametrize("language", HEADS)
def test_headings_in_other_languages(tmp_path: Path, language: str) -> None:
    (tmp_path / "meter.csv").write_text(
        HEADS[language] + "\na.jpg;X;lamp;3200;0,002;40,5;5600;21h15;hm\n", "utf-8"
    )
    log = read_meter_log(tmp_path / "meter.csv")
    assert log.errors == ()
    r = log.readings[0]
    assert (r.stills, r.location, r.source, r.note) == (("a.jpg",), "X", "lamp", "hm")
    assert (r.cct_k, r.duv, r.illuminance_lux, r.camera_balance_k, r.time) == (
        3200,
        0.002,
        40.5,
        5600,
        "21:15",
    )


@pytest.mark.parametrize(
    ("head", "cell", "duv"),
    [("+/- green", "+4", 0.0032), ("+/- green", "-4", -0.0032), ("CC", "8M", -0.0064), ("tint", "5G", 0.004)],
)
def test_points_of_green_and_magenta_become_duv_and_say_so(
    tmp_path: Path, head: str, cell: str, duv: float
) -> None:
    (tmp_path / "meter.csv").write_text(f"location;cct;{head}\nA;3800;{cell}\n")
    log = read_meter_log(tmp_path / "meter.csv")
    assert log.errors == () and log.readings[0].duv == pytest.approx(duv)
    assert "0.0008 a point, common practice" in log.readings[0].conventions[0]


def test_a_bare_number_of_tint_could_be_either(tmp_path: Path) -> None:
    (tmp_path / "meter.csv").write_text("location;cct;tint\nA;3800;8\n")
    assert "green or magenta?" in str(read_meter_log(tmp_path / "meter.csv").errors[0])
