"""CSV as every table of ours goes out: RFC 4180, UTF-8 with a byte-order mark, no cell that is a formula."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"
"""Byte-order mark (U+FEFF), without which spreadsheets take UTF-8 for another encoding."""

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def csv_text(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV, with a byte-order mark before its first heading.

    Parameters
    ----------
    head : the headings.
    rows : one cell a heading; None is an empty cell. Text that a spreadsheet would run as a formula gets an
        apostrophe before it and stays text; numbers with a sign stay numbers.

    >>> csv_text(["name", "duv"], [["=1+1", -0.003], ["-20", None]]).lstrip(MARK)
    "name,duv\\r\\n'=1+1,-0.003\\r\\n-20,\\r\\n"
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_cell(name) for name in head])
    writer.writerows([_cell(value) for value in row] for row in rows)
    return MARK + out.getvalue()


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, str) and value.startswith(_FORMULA) and not _is_number(value):
        return "'" + value
    return value


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False
