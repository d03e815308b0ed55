"""A log's decimal mark is decided for the whole file."""

from __future__ import annotations

from pathlib import Path

import pytest

from lookdev.meter.log import MeterLog, read_meter_log


def log_of(folder: Path, text: str) -> MeterLog:
    (folder / "meter.csv").write_text(text, encoding="utf-8")
    return read_meter_log(folder / "meter.csv")


def test_thousands_points_in_a_file_of_decimal_commas(tmp_path: Path) -> None:
    log = log_of(tmp_path, "location;cct;x;y;lux\nHall;3.994;0,3841;0,3894;1.310\nDock;1.953;;;42,5\n")
    assert [(r.cct_k, r.illuminance_lux) for r in log.readings] == [(3994, 1310), (1953, 42.5)]
    assert (log.readings[0].x, log.errors, log.warnings) == (0.3841, (), ())


def test_thousands_commas_in_a_file_of_decimal_points(tmp_path: Path) -> None:
    log = log_of(tmp_path, 'location;cct;x;y;lux\nHall;"3,994";0.3841;0.3894;"1,310"\nDock;;;;1.310\n')
    assert [(r.cct_k, r.illuminance_lux) for r in log.readings] == [(3994, 1310), (None, 1.31)]


def test_a_colour_temperature_decides_what_the_file_does_not(tmp_path: Path) -> None:
    log = log_of(tmp_path, "location;cct;lux\nHall;3.994;1.310\n")
    assert [(r.cct_k, r.illuminance_lux) for r in log.readings] == [(3994, 1310)]
    assert log.warnings == (
        "meter.csv: read with decimal commas: 3.994 K is no light, so '.' stands between thousands here",
    )


def test_what_nothing_decides_is_an_error_with_both(tmp_path: Path) -> None:
    log = log_of(tmp_path, "location;lux\nHall;1.310\nLoft;900\n")
    assert [r.illuminance_lux for r in log.readings] == [900]
    assert [str(e) for e in log.errors] == [
        "meter.csv, row 2, column lux: could mean two numbers; found '1.310'; wanted 1310 or 1.310"
    ]


def test_a_file_with_both_marks_says_so_where_it_matters(tmp_path: Path) -> None:
    log = log_of(tmp_path, "location;x;y;lux\nA;0,38;0,39;\nB;0.38;0.39;\nC;;;1.310\n")
    assert [r.x for r in log.readings] == [0.38, 0.38]
    assert "this file has 0.38 as well as 0,38" in str(log.errors[0])


@pytest.mark.parametrize("cell", ["1.310,5", "1'310,5", "1 310,5", "1310,5"])
def test_thousands_by_any_mark(tmp_path: Path, cell: str) -> None:
    assert log_of(tmp_path, f"location;lux\nA;{cell}\n").readings[0].illuminance_lux == 1310.5
