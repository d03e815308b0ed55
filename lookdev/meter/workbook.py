"""Workbooks as a table of text: Office Open XML (ISO/IEC 29500) and OpenDocument (ISO/IEC 26300)."""

from __future__ import annotations

import datetime
import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lookdev.errors import MeterError
from lookdev.meter.text_table import MAX_LINES, Exact, Row, too_many_rows

SUFFIXES = (".xlsx", ".ods", ".xlsm", ".xls")
MAX_BYTES = 32_000_000
MAX_COLUMNS = 500
_MAX_CELLS = 10_000_000
_MAX_UNPACKED_BYTES = 400_000_000
_CELL = re.compile(rb"<(?:\w+:)?c\s[^<>]*?\br\s*=\s*[\"']([A-Za-z]{1,7})(\d{1,18})[\"'][^<>]*(?<!/)>")
_LONGEST_TAG = 1000


def read_sheets(path: Path) -> Iterator[tuple[str, list[Row]]]:
    """Name and rows of each sheet, the first first; merged cells repeat their value.

    Raises
    ------
    MeterError : it cannot be opened, is protected by a password, is damaged, or has too many rows.
    """
    import python_calamine

    name = path.name
    try:
        if path.stat().st_size > MAX_BYTES:
            raise MeterError(
                "is too large", file=name, wanted=f"a workbook of at most {MAX_BYTES // 1_000_000} MB"
            )
        head = path.read_bytes()
    except OSError as error:
        raise MeterError(f"cannot be read: {error.strerror or error}", file=name) from error
    if "EncryptedPackage".encode("utf-16-le") in head:
        raise _protected(name)
    if not head.startswith((b"PK", b"\xd0\xcf\x11\xe0")):
        raise MeterError("is not a workbook", file=name, wanted="a workbook, or a table named meter.csv")
    if head.startswith(b"PK"):
        _check_extent(path)
    try:
        book = python_calamine.CalamineWorkbook.from_path(str(path))
        titles = list(book.sheet_names)
    except python_calamine.PasswordError:
        raise _protected(name) from None
    except Exception as error:  # the reader has errors of its own and lets some of its parser's through
        if b"encryption-data" in head or "password" in str(error).casefold():
            raise _protected(name) from None
        raise _damaged(name, error) from None
    for title in titles:
        try:
            sheet = book.get_sheet_by_name(title)
            if sheet.total_height > MAX_LINES:
                raise too_many_rows(name, sheet.total_height)
            if sheet.total_width > MAX_COLUMNS:
                raise MeterError(
                    f"has more than {MAX_COLUMNS} columns", file=name, wanted="one log, a reading a row"
                )
            rows = sheet.to_python(skip_empty_area=False)
            merged = sheet.merged_cell_ranges or []
        except MeterError:
            raise
        except Exception as error:
            raise _damaged(name, error) from None
        yield title, _as_text(rows, merged)


def _check_extent(path: Path) -> None:
    """Refuse a sheet that reaches so far out that its table fits into no memory: the reader ends the process.

    Office Open XML (ISO/IEC 29500-1, 18.3.1.4): each cell says where it stands, such as XFD1048576.
    """
    unpacked = 0
    try:
        with zipfile.ZipFile(path) as book:
            for item in book.infolist():
                if not item.filename.lower().endswith(".xml"):
                    continue
                across = down = 0
                tail = b""
                with book.open(item) as member:
                    while block := member.read(1 << 20):
                        unpacked += len(block)
                        if unpacked > _MAX_UNPACKED_BYTES:
                            raise MeterError(
                                "is too large", file=path.name, wanted="one log, a reading a row"
                            )
                        for letters, row in _CELL.findall(tail + block):
                            across, down = max(across, _column(letters)), max(down, int(row))
                        tail = block[-_LONGEST_TAG:]
                if across * down > _MAX_CELLS:
                    raise MeterError(
                        "reaches too far",
                        file=path.name,
                        found=f"{down} rows, {across} columns",
                        wanted="one log, a reading a row",
                    )
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, NotImplementedError, RuntimeError):
        return  # the reader says what is wrong with it


def _column(letters: bytes) -> int:
    """A column's number by its letters.

    >>> _column(b"A"), _column(b"XFD")
    (1, 16384)
    """
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def _protected(name: str) -> MeterError:
    return MeterError(
        "is protected by a password", file=name, wanted="the workbook saved without one, or as meter.csv"
    )


def _damaged(name: str, error: Exception) -> MeterError:
    return MeterError(f"is no workbook that can be read ({str(error)[:120]})", file=name)


def _as_text(rows: list[list[Any]], merged: list[Any]) -> list[Row]:
    table = [[cell_text(value) for value in row] for row in rows]
    for (top, left), (bottom, right) in merged:
        if top >= len(table) or left >= len(table[top]):
            continue
        value = table[top][left]
        for line in table[top : bottom + 1]:
            for place in range(left, min(right + 1, len(line))):
                line[place] = value
    return [Row(n, tuple(line)) for n, line in enumerate(table, 1)]


def cell_text(value: object) -> str:
    """A cell's value as a person would have typed it, numbers with a decimal point.

    >>> cell_text(3200.0), cell_text(0.3841), cell_text(datetime.time(21, 15)), cell_text(None)
    ('3200', '0.3841', '21:15', '')
    """
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float | int):
        return Exact(int(value) if float(value).is_integer() and abs(value) < 1e15 else repr(value))
    if isinstance(value, datetime.datetime):
        if value.time() == datetime.time():
            return value.date().isoformat()
        return value.strftime("%H:%M") if value.year < 1910 else value.isoformat(" ", "minutes")
    if isinstance(value, datetime.timedelta):
        minutes = int(value.total_seconds() // 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
    if isinstance(value, datetime.time):
        return value.strftime("%H:%M")
    if isinstance(value, datetime.date):
        return value.isoformat()
    return str(value).strip()
