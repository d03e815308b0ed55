"""A log as a table: a heading row that we know, then a reading a row; from CSV or from a workbook's sheet.

A row that cannot be read is an error; the other rows are used.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from lookdev.errors import MeterError
from lookdev.meter import cells, guards
from lookdev.meter.decimals import RUN, WORDS, Marks, decide, is_open, plain_number, readings_of
from lookdev.meter.guards import Tolerance
from lookdev.meter.headings import HEADINGS, column_name, nearest_column
from lookdev.meter.reading import MeterLog, Reading, illuminant_in
from lookdev.meter.text_table import SEPARATORS, Exact, Row, is_blank, split_rows

HEADING_WITHIN = 30
"""The heading row is looked for among so many rows; titles above it are passed over."""

NUMBERS = ("x", "y", "duv", "lux", "fc", "cct_k", "camera_balance_k", "green_points")
KELVINS = ("cct_k", "camera_balance_k")
REPEATED = ("location", "date")
"""In a workbook a blank below one of these repeats it, as people leave it out under the first."""


@dataclass(frozen=True)
class Heading:
    """Column name to cell index, number of cells in the heading row, column name to the heading as typed."""

    columns: dict[str, int]
    width: int
    names: dict[str, str]


@dataclass(frozen=True)
class Table:
    """Data rows under a heading; ``errors`` are what is wrong in the heading."""

    rows: tuple[Row, ...]
    heading: Heading
    errors: tuple[MeterError, ...] = ()


def text_table(text: str, file: str) -> Table:
    """The table in a text, by the separator that gives the most headings we know.

    Raises
    ------
    MeterError : it is empty or has no heading row.
    """
    tables = [_filled(split_rows(text, separator)) for separator in SEPARATORS]
    return _under(max(tables, key=lambda rows: _heading_row(rows)[0]), file)


def has_headings(text: str, at_least: int = 2) -> bool:
    """Whether a text is a table that we know, rather than a note."""
    head = "\n".join(text.splitlines()[:HEADING_WITHIN])
    return any(_heading_row(_filled(split_rows(head, s)))[0] >= at_least for s in SEPARATORS)


def sheet_table(sheets: Iterable[tuple[str, list[Row]]], file: str) -> Table:
    """The table in a workbook: its first sheet with a heading row that we know; blanks below repeat.

    Raises
    ------
    MeterError : no sheet has one.
    """
    first: MeterError | None = None
    for _, rows in sheets:
        try:
            table = _under(_filled(rows), file)
        except MeterError as error:
            first = first or error
            continue
        return replace(table, rows=tuple(_repeated(table.rows, table.heading)))
    raise first or MeterError("has no sheet", file=file, wanted="a table with a heading row")


def _filled(rows: Iterable[Row]) -> list[Row]:
    return [row for row in rows if not is_blank(row)]


def _heading_row(rows: Sequence[Row]) -> tuple[int, int]:
    """(headings that we know, index) of the row that has the most."""
    best = (0, 0)
    for index, row in enumerate(rows[:HEADING_WITHIN]):
        known = len({column_name(c) for c in row.cells} - {None})
        if known > best[0]:
            best = (known, index)
    return best


def _under(rows: Sequence[Row], file: str) -> Table:
    if not rows:
        raise MeterError("is empty", file=file, wanted="a heading row such as stills,location,cct_k,lux")
    known, index = _heading_row(rows)
    if known == 0 or (known == 1 and sum(bool(c) for c in rows[index].cells) > 3):
        raise MeterError(
            "no heading row",
            file=file,
            row=rows[0].number,
            found=",".join(rows[0].cells)[:60],
            wanted="headings such as stills,location,source,cct_k,duv,x,y,lux",
        )
    heading = rows[index]
    below = rows[index + 1 :]
    columns: dict[str, int] = {}
    errors: list[MeterError] = []
    for place, cell in enumerate(heading.cells):
        name = column_name(cell)
        where: dict[str, Any] = {"file": file, "row": heading.number, "column": cell or str(place + 1)}
        if name is None:
            if cell and not cell.startswith("#"):
                near = nearest_column(cell)
                wanted = f"{near} (the nearest)" if near else "one of " + ", ".join(HEADINGS)
                errors.append(MeterError("unknown column, not used", wanted=wanted, **where))
            elif not cell and any(place < len(r.cells) and r.cells[place] for r in below):
                wanted = "one of " + ", ".join(HEADINGS)
                errors.append(MeterError("a column without a heading, not used", wanted=wanted, **where))
        elif name in columns:
            first = heading.cells[columns[name]]
            if any(_at(r, place) not in ("", _at(r, columns[name])) for r in below) or not below:
                errors.append(
                    MeterError(f"a second column for {name}, not used", wanted=f"only {first!r}", **where)
                )
        else:
            columns[name] = place
    return Table(
        tuple(below),
        Heading(columns, len(heading.cells), {n: heading.cells[i] for n, i in columns.items()}),
        tuple(errors),
    )


def _at(row: Row, place: int) -> str:
    return row.cells[place] if place < len(row.cells) else ""


def _repeated(rows: Iterable[Row], heading: Heading) -> Iterator[Row]:
    above: dict[int, str] = {}
    places = [heading.columns[name] for name in REPEATED if name in heading.columns]
    for row in rows:
        line = list(row.cells)
        for place in places:
            if place < len(line):
                line[place] = above[place] = line[place] or above.get(place, "")
        yield Row(row.number, tuple(line), row.fault)


def marks_of(table: Table) -> Marks:
    """The decimal mark of a table, decided from every number in it that was typed as text."""
    typed: dict[str, list[str]] = {name: [] for name in NUMBERS}
    for row in table.rows:
        for name, place in table.heading.columns.items():
            cell = _at(row, place)
            if name in typed and not isinstance(cell, Exact):
                typed[name] += RUN.findall(cell)
    every = [number for found in typed.values() for number in found]
    return decide(every, [number for name in KELVINS for number in typed[name]])


def read_table(table: Table, path: Path, tolerance: Tolerance) -> MeterLog:
    """The readings of a table; what is wrong or doubtful in it is in ``errors`` and ``warnings``."""
    marks = marks_of(table)
    errors: list[MeterError] = list(table.errors)
    warnings: list[str] = []
    if marks.because and marks.decimal is not None:
        warnings.append(f"{path.name}: read with {WORDS[marks.decimal]}: {marks.because}")
    readings: list[Reading] = []
    places: dict[str, str] = {}
    for row in table.rows:
        reader = _RowReader(row, table.heading, path, tolerance, places, marks)
        reading = reader.read()
        errors += reader.errors
        warnings += reader.warnings
        if reading is not None:
            readings.append(reading)
    return MeterLog(tuple(readings), tuple(errors), tuple(warnings), path)


class _RowReader:
    """Reads one row; collects every fault in it, not only the first."""

    def __init__(
        self,
        row: Row,
        heading: Heading,
        path: Path,
        tolerance: Tolerance,
        places: dict[str, str],
        marks: Marks,
    ) -> None:
        self.row, self.heading, self.path, self.tolerance, self.places = row, heading, path, tolerance, places
        self.marks = marks
        self.errors: list[MeterError] = []
        self.warnings: list[str] = []

    def read(self) -> Reading | None:
        if self.row.fault is not None:
            self._error(self.row.fault, None, None, "every quote closed on its own row")
            return None
        if any(self.row.cells[self.heading.width :]):
            self._too_wide()
            return None
        text = {name: self._text(name) for name in ("location", "source", "note", "scene")}
        lux, fc = self._illuminance("lux"), self._illuminance("fc")
        balance = self._cell("camera_balance_k", cells.camera_balance)
        duv, conventions = self._duv()
        reading = Reading(
            row=self.row.number,
            file=self.path.name,
            stills=self._cell("stills", cells.patterns) or (),
            location=self._place(text["location"]),
            source=text["source"],
            cct_k=self._cell("cct_k", cells.cct),
            duv=duv,
            x=self._cell("x", cells.chromaticity),
            y=self._cell("y", cells.chromaticity),
            illuminance_lux=lux if lux is not None else fc,
            camera_balance_k=balance[0] if balance else None,
            camera_balance_auto=balance is not None and balance[0] is None,
            camera_balance_origin=balance[1] if balance else None,
            illuminant=illuminant_in(text["source"]),
            spectrum=self._spectrum(),
            grey=self._cell("grey", cells.grey_box),
            note=text["note"],
            scene=text["scene"],
            time=self._cell("time", cells.clock),
            role=self._cell("role", cells.role),
            date=self._cell("date", cells.day) or self._date_in_time(),
            conventions=conventions,
        )
        fault = None if self.errors else guards.fault_of_chromaticity(reading)
        if fault is not None:
            self._error(*fault)
        if self.errors:
            return None
        for line in guards.agreement(reading, self.tolerance, lux, fc):
            self._warn(line)
        return reading

    def _duv(self) -> tuple[float | None, tuple[str, ...]]:
        """Duv as typed, else from points of green or magenta, with the convention in words."""
        duv = self._cell("duv", cells.duv)
        own = "green" in self._heading_of("green_points").casefold()
        points = self._cell("green_points", lambda raw: cells.green_points(raw, bare_is_green=own))
        if duv is not None or points is None:
            return duv, ()
        value, words = cells.duv_of_points(points)
        return value, (words,)

    def _heading_of(self, name: str) -> str:
        return self.heading.names.get(name, "")

    def _date_in_time(self) -> str | None:
        try:
            return cells.day(self._raw("time"))
        except cells.CellError:
            return None

    def _error(self, problem: str, column: str | None, found: object, wanted: str | None) -> None:
        self.errors.append(
            MeterError(
                problem, file=self.path.name, row=self.row.number, column=column, found=found, wanted=wanted
            )
        )

    def _warn(self, text: str) -> None:
        self.warnings.append(f"{self.path.name}, row {self.row.number}: {text}")

    def _raw(self, name: str) -> str:
        place = self.heading.columns.get(name)
        return self.row.cells[place] if place is not None and place < len(self.row.cells) else ""

    def _text(self, name: str) -> str | None:
        text = " ".join(unicodedata.normalize("NFC", self._raw(name)).split())
        return text or None

    def _place(self, text: str | None) -> str | None:
        """One spelling a place: the first one, when only case differs."""
        return None if text is None else self.places.setdefault(text.casefold(), text)

    def _cell(self, name: str, read: Any) -> Any:
        raw = self._raw(name)
        if not raw.strip() if name == "stills" else cells.is_empty(raw):
            return None
        plain = self._plain(name, raw)
        if plain is None:
            return None
        try:
            return read(plain)
        except cells.CellError as error:
            self._error(error.problem, name, raw, error.wanted)
            return None

    def _plain(self, name: str, raw: str) -> str | None:
        """A cell's numbers by the file's decimal mark; None, and an error, for one that stays open."""
        if name not in NUMBERS or isinstance(raw, Exact):
            return raw
        out, end = "", 0
        for run in RUN.finditer(raw):
            number = run.group()
            plain = number if name in KELVINS and is_open(number) else plain_number(number, self.marks)
            if plain is None:
                thousands, decimal = readings_of(number)
                both = ""
                if self.marks.both:
                    both = f"; this file has {self.marks.both[0]} as well as {self.marks.both[1]}"
                self._error("could mean two numbers", name, raw, f"{thousands} or {decimal}{both}")
                return None
            out += raw[end : run.start()] + plain
            end = run.end()
        return out + raw[end:]

    def _illuminance(self, unit: str) -> float | None:
        value = self._cell(unit, lambda raw: cells.illuminance(raw, unit))
        return None if value is None else float(value)

    def _too_wide(self) -> None:
        extra = [c for c in self.row.cells[self.heading.width :] if c]
        halves = sum(c.isdigit() and len(c) > 2 for c in self.row.cells)
        hint = "; with decimal commas, separate the cells by semicolons" if halves > 1 else ""
        wanted = f"one cell a heading, a cell that holds a separator in quotes{hint}"
        self._error("more cells than headings", None, ",".join(extra), wanted)

    def _spectrum(self) -> Path | None:
        raw = self._raw("spectrum")
        if cells.is_empty(raw):
            return None
        from lookdev.meter.spectrum import read_spectrum

        path = self.path.parent / raw.replace("\\", "/")
        try:
            read_spectrum(path)
        except (MeterError, OSError) as error:  # a name that no file can have is the system's to refuse
            words = error.strerror if isinstance(error, OSError) else str(error)
            self._error(words or "cannot be read", "spectrum", raw, None)
            return None
        return path
