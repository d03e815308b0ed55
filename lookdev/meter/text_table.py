"""Tables as people type and export them: any encoding, separator and line end, comments, quoted cells.

Reads UTF-8 with or without a byte-order mark, UTF-16 and UTF-32 with a mark, UTF-16 without one, and Windows
code page 1252; cells separated by comma, semicolon, tab or ``|``; RFC 4180 quoting.
"""

from __future__ import annotations

import codecs
import csv
import io
from dataclasses import dataclass
from pathlib import Path

from lookdev.errors import MeterError
from lookdev.files import read_ordinary

MAX_BYTES = 16_000_000
MAX_LINES = 50_000  # every line may become a reading, and every reading is looked at more than once
SEPARATORS = (",", ";", "\t", "|")

_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_NOT_TEXT = {
    b"PK\x03\x04": "a spreadsheet or archive",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet",
    b"%PDF": "a PDF",
    b"\xff\xd8\xff": "a picture",
    b"\x89PNG": "a picture",
}


@dataclass(frozen=True)
class Row:
    """``number`` counts as a spreadsheet does, from 1. ``fault`` says why the cells could not be split."""

    number: int
    cells: tuple[str, ...]
    fault: str | None = None


class Exact(str):
    """A cell that was a number in its workbook: no decimal mark to wonder about."""

    __slots__ = ()


def too_many_rows(name: str, count: int) -> MeterError:
    """The error of a table that no scout has."""
    return MeterError("is too long", file=name, found=f"{count} lines", wanted=f"at most {MAX_LINES} lines")


def read_text(path: Path, limit_bytes: int = MAX_BYTES) -> tuple[str, str]:
    """Text of a file, and the name of its encoding.

    Raises
    ------
    MeterError : it cannot be opened, is too large, or is not text.
    """
    name = path.name
    try:
        if path.stat().st_size > limit_bytes:
            raise MeterError("is too large", file=name, wanted=f"at most {limit_bytes / 1e6:g} MB of text")
        raw = read_ordinary(path)
    except OSError as error:
        raise MeterError(f"cannot be read: {error.strerror or error}", file=name) from error
    lines = max(raw.count(b"\n"), raw.count(b"\r"))
    if lines > MAX_LINES:
        raise too_many_rows(name, lines)
    for magic, kind in _NOT_TEXT.items():
        if raw.startswith(magic):
            wanted = "a table saved as CSV"
            if magic == b"PK\x03\x04" and (b"xl/" in raw or b"opendocument.spreadsheet" in raw):
                right = ".xlsx" if b"xl/" in raw else ".ods"
                wanted += f", or this workbook under its own name, {path.stem}{right}"
            raise MeterError(f"is {kind}, not text", file=name, wanted=wanted)
    for mark, encoding in _MARKS:
        if raw.startswith(mark):
            return _decode(raw, encoding, name), encoding
    if b"\0" in raw:
        head = raw[:4000]
        for encoding, nulls in (("utf-16-le", head[1::2]), ("utf-16-be", head[0::2])):
            if nulls.count(0) > 0.4 * len(nulls):
                return _decode(raw, encoding, name), encoding
        raise MeterError("is not text (it holds zero bytes)", file=name, wanted="a table saved as CSV")
    try:
        return raw.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return raw.decode("cp1252", "replace"), "cp1252"


def _decode(raw: bytes, encoding: str, name: str) -> str:
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError:
        raise MeterError(f"is damaged {encoding.upper()} text", file=name, wanted="a CSV in UTF-8") from None


def split_rows(text: str, separator: str) -> list[Row]:
    """Every row, blank and comment rows included; a quote that never closes costs its own line only."""
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        return [Row(n, tuple(c.strip() for c in cells)) for n, cells in enumerate(reader, 1)]
    except csv.Error:
        return [_split_line(n, line, separator) for n, line in enumerate(text.splitlines(), 1)]


def _split_line(number: int, line: str, separator: str) -> Row:
    try:
        cells = next(csv.reader([line], delimiter=separator, strict=True), [])
        return Row(number, tuple(c.strip() for c in cells))
    except csv.Error as error:
        text = str(error)
        fault = (
            "a quote is opened and never closed" if "unexpected end" in text else f"broken quoting ({text})"
        )
        try:
            cells = next(csv.reader([line], delimiter=separator), [])
        except csv.Error:
            cells = []
        return Row(number, tuple(c.strip() for c in cells), fault)


def is_blank(row: Row) -> bool:
    """Whether a row has no text, is a comment (``#``), or is a spreadsheet's ``sep=`` line."""
    cells = [c for c in row.cells if c]
    if not cells:
        return row.fault is None
    return cells[0].startswith("#") or (row.number == 1 and cells[0].casefold().startswith("sep="))
