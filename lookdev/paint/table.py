"""Predictions of a whole deck as tables: CSV, JSON and a workbook, one row a chip and place."""

from __future__ import annotations

import io
import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.paint.predict import SiteTable, signal_from_lab
from lookdev.paint.words import colour_names
from lookdev.text.csv_out import csv_text

Array = NDArray[np.float64]

CHIP_COLUMNS = (
    "chip", "code", "place", "light", "from", "munsell", "lrv_percent", "made_L", "made_a", "made_b",
    "made_hex", "made_in_words", "metamerism", "inconstancy",
)  # fmt: skip
LOOK_COLUMNS = ("L", "a", "b", "hex", "in_words", "ciede2000_from_made", "nine_in_ten_within")

FROM_WORDS = {
    "spectrum": "measured",
    "CIELAB": "estimated from L a b",
    "Munsell": "estimated from Munsell",
    "hex": "estimated from a screen colour (last resort)",
}


def headings(tables: Sequence[SiteTable]) -> list[str]:
    """Names of the columns: the chip's, then each look's with its title before them."""
    looks = tables[0].looks if tables else ()
    return [*CHIP_COLUMNS, *(f"{title}: {column}" for title in looks for column in LOOK_COLUMNS)]


def rows_of(table: SiteTable) -> Iterator[list[str | float | None]]:
    """The rows of one site, numbers as numbers, None where nothing is known."""
    made_names = colour_names(table.made)
    made_hex = _hexes(signal_from_lab(table.made))
    made = np.round(table.made, 1) + 0.0
    screen = np.round(table.screen, 1) + 0.0
    hexes = [_hexes(signal) for signal in table.signal]
    names = [colour_names(lab) for lab in table.screen]
    for i, chip in enumerate(table.chips.chips):
        row: list[str | float | None] = [
            chip.name, chip.code, table.site.name, table.site.light.name, FROM_WORDS[chip.kind],
            table.made_munsell[i], round(float(table.lrv_percent[i]), 1), *made[i].tolist(), made_hex[i],
            made_names[i], _rounded(table.metamerism[i]), round(float(table.inconstancy[i]), 2),
        ]  # fmt: skip
        for k in range(len(table.looks)):
            row += [
                *screen[k, i].tolist(), hexes[k][i], names[k][i], round(float(table.difference[k, i]), 2),
                _rounded(float(table.within[k, i])),
            ]  # fmt: skip
        yield row


def _rounded(value: float | None) -> float | None:
    return None if value is None or np.isnan(value) else round(value, 2)


def _hexes(signal: Array) -> list[str]:
    codes = np.floor(np.clip(signal, 0, 1) * 255 + 0.5).astype(int)
    return [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in codes.tolist()]


def all_rows(tables: Sequence[SiteTable]) -> list[list[list[str | float | None]]]:
    """:func:`rows_of` of every site, for the three writers."""
    return [list(rows_of(table)) for table in tables]


Rows = Sequence[Sequence[Sequence[str | float | None]]]


def as_csv(tables: Sequence[SiteTable], rows: Rows) -> str:
    """The long road for spreadsheets and scripts: one row a chip and place."""
    return csv_text(headings(tables), (row for part in rows for row in part))


def as_json(tables: Sequence[SiteTable], rows: Rows) -> str:
    """The chips once, then each place's rows, a chip a row in the same order; names of columns beside them.

    ``{"chip_columns": […], "chips": [[…]], "places": [{"place": …, "light": …, "columns": […],
    "rows": [[…]]}]}``, for programs.
    """
    encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
    every = headings(tables)
    made, seen = _made_and_seen(every)
    parts = []
    for table, part in zip(tables, rows, strict=True):
        lines = ",\n".join(encode([row[i] for i in seen]) for row in part)
        light = table.site.light
        about = {
            "name": light.name,
            "xy": [round(v, 5) for v in light.xy],
            "kind": light.kind,
            "spectrum": light.origin,
            "trust": light.trust,
        }
        camera = {"xy": [round(v, 5) for v in table.site.camera_xy], "origin": table.site.camera_origin}
        head = f'"place": {encode(table.site.name)}, "light": {encode(about)}, "camera": {encode(camera)}'
        parts.append(f'{{{head}, "columns": {encode([every[i] for i in seen])}, "rows": [\n{lines}\n]}}')
    chips = ",\n".join(encode([row[i] for i in made]) for row in rows[0])
    head = f'"chip_columns": {encode([every[i] for i in made])}, "chips": [\n{chips}\n]'
    return "{" + head + ', "places": [\n' + ",\n".join(parts) + "\n]}\n"


def _made_and_seen(every: Sequence[str]) -> tuple[list[int], list[int]]:
    """Columns that belong to a chip anywhere, and those that a place gives it."""
    made = [i for i, name in enumerate(every[: len(CHIP_COLUMNS)]) if name not in _OF_A_PLACE]
    here = [every.index(name) for name in ("metamerism", "inconstancy")]
    return made, [*here, *range(len(CHIP_COLUMNS), len(every))]


def as_workbook(tables: Sequence[SiteTable], rows: Rows) -> bytes:
    """An Office Open XML workbook (ISO/IEC 29500): a sheet of the chips as made, then one a place."""
    import datetime

    import xlsxwriter  # type: ignore[import-untyped]

    out = io.BytesIO()
    options: dict[str, Any] = {"in_memory": True, "constant_memory": True}
    book = xlsxwriter.Workbook(out, options)
    book.set_properties({"created": datetime.datetime(2000, 1, 1)})
    bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
    every = headings(tables)
    made = _made_and_seen(every)[0]
    seen = [i for i, name in enumerate(every) if name in ("chip", "code", *_OF_A_PLACE)]
    seen += [i for i, name in enumerate(every) if i >= len(CHIP_COLUMNS) and not name.endswith(_LAB)]
    _sheet(book, "as made", [every[i] for i in made], ([row[i] for i in made] for row in rows[0]), bold)
    taken = {"as made"}
    for table, part in zip(tables, rows, strict=True):
        title = _sheet_name(table.site.name, taken)
        _sheet(book, title, [every[i] for i in seen], ([row[i] for i in seen] for row in part), bold)
    book.close()
    return out.getvalue()


_OF_A_PLACE = ("place", "light", "metamerism", "inconstancy")
_LAB = (": L", ": a", ": b")


def _sheet_name(name: str, taken: set[str]) -> str:
    """A sheet's name as the format allows: 31 characters, none of ``[]:*?/\\``, each once."""
    plain = "".join(" " if c in "[]:*?/\\" else c for c in name).strip("' ")[:31] or "place"
    title, k = plain, 2
    while title.casefold() in taken:
        title, k = f"{plain[:27]} {k}", k + 1
    taken.add(title.casefold())
    return title


def _sheet(
    book: Any, name: str, head: Sequence[str], rows: Iterable[Sequence[str | float | None]], bold: Any
) -> None:
    sheet = book.add_worksheet(name)
    sheet.freeze_panes(1, 2)
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, len(head), 13)
    for column, title in enumerate(head):
        sheet.write_string(0, column, title, bold)
    for line, row in enumerate(rows, 1):
        for column, value in enumerate(row):
            if isinstance(value, str):
                if value:
                    sheet.write_string(line, column, value)
            elif value is not None:
                sheet.write_number(line, column, value)
