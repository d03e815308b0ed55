"""The log of a scout, however it is kept: a note, a workbook or a table.

``note`` reads a note as typed on a phone, ``workbook`` opens .xlsx and .ods, ``table`` reads rows under
headings (``headings``: five languages), ``decimals`` decides a file's decimal mark, ``cells`` knows what one
cell may hold and ``guards`` whether a reading is plausible. ``naming`` says which stills are meant.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from lookdev.colorimetry.spectral_locus import is_possible
from lookdev.meter.guards import Tolerance
from lookdev.meter.naming import match_rank
from lookdev.meter.reading import NOWHERE, MeterLog, Reading, illuminant_in, in_time_order, readings_at
from lookdev.meter.table import has_headings, read_table, sheet_table, text_table
from lookdev.meter.text_table import read_text
from lookdev.meter.workbook import SUFFIXES as WORKBOOK_SUFFIXES
from lookdev.meter.workbook import read_sheets

__all__ = [
    "LOG_SUFFIXES",
    "NOTE_SUFFIXES",
    "NOWHERE",
    "MeterLog",
    "Reading",
    "Tolerance",
    "illuminant_in",
    "in_time_order",
    "is_possible",
    "match_rank",
    "read_meter_log",
    "readings_at",
]  # fmt: skip

NOTE_SUFFIXES = (".txt", ".md")
LOG_SUFFIXES = (*NOTE_SUFFIXES, ".csv", ".tsv", *WORKBOOK_SUFFIXES)


def read_meter_log(path: Path, tolerance: Tolerance | None = None) -> MeterLog:
    """Read a log: ``.csv`` and ``.tsv`` as a table, ``.xlsx`` and ``.ods`` as a workbook, else as a note.

    A ``.txt`` or ``.md`` whose first rows hold headings is a table too. Rows that cannot be read are in
    ``errors``, with file, row, column, what was found and what is wanted; so are columns that are not known;
    words and numbers of a note that were not understood are in ``warnings``. The rest is in ``readings``.

    Raises
    ------
    MeterError : there is no log at all: the file cannot be opened, is not text, or has no heading row.
    """
    path, tolerance = Path(path), tolerance or Tolerance()
    suffix = path.suffix.casefold()
    if suffix in WORKBOOK_SUFFIXES:
        return _with_mixtures(read_table(sheet_table(read_sheets(path), path.name), path, tolerance))
    is_note = suffix in NOTE_SUFFIXES
    if is_note:
        from lookdev.meter.note import MAX_NOTE_BYTES, read_note

        text, encoding = read_text(path, MAX_NOTE_BYTES)
        is_note = not has_headings(text)
    else:
        text, encoding = read_text(path)
    log = (
        read_note(text, path, tolerance)
        if is_note
        else read_table(text_table(text, path.name), path, tolerance)
    )
    log = _with_mixtures(log)
    if encoding == "cp1252":
        log = replace(
            log, warnings=(f"{path.name}: not UTF-8; read as Windows code page 1252", *log.warnings)
        )
    return log


def _with_mixtures(log: MeterLog) -> MeterLog:
    """The log with the parts found of those readings whose source is a mixture, and what is doubtful."""
    from lookdev.meter.mixture import by_place_and_source, mixture_of

    known = by_place_and_source(log.readings)
    out, warnings = [], list(log.warnings)
    for reading in log.readings:
        parts, doubts = mixture_of(reading, known)
        warnings += [f"{reading.file}, {reading.place}: {doubt}" for doubt in doubts]
        out.append(replace(reading, mixture=parts) if parts else reading)
    return replace(log, readings=tuple(out), warnings=tuple(warnings))
