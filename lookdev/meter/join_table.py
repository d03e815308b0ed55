"""The join table: still, reading, rung, minutes apart; and the log again with every join made explicit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import LookdevError
from lookdev.meter.cells import ESTIMATED, TAKEN_OUT
from lookdev.meter.ladder import Facts, Step, climb, count_words
from lookdev.text import numbers
from lookdev.text.csv_out import csv_text

if TYPE_CHECKING:
    from lookdev.meter.reading import Reading
    from lookdev.meter.scout import Scout

HEAD = ("still", "reading", "by", "apart", "location", "light")
COLUMNS = (
    "stills", "location", "source", "cct_k", "duv", "x", "y", "lux", "camera_balance_k", "spectrum", "grey",
    "time", "date", "role", "note",
)  # fmt: skip


@dataclass(frozen=True)
class JoinTable:
    """Every still of a scout with its reading.

    Attributes
    ----------
    stills, steps : in the same order. faults : stills whose head could not be read, a line each.
    """

    stills: tuple[Facts, ...]
    steps: tuple[Step, ...]
    readings: tuple[Reading, ...]
    faults: tuple[str, ...] = ()

    @property
    def warnings(self) -> tuple[str, ...]:
        """The count, where a reading or a still is alone, and every doubt once."""
        count = count_words(self.steps, self.readings)
        return (*([count] if count else []), *dict.fromkeys(d for s in self.steps for d in s.doubts))

    def rows(self) -> list[tuple[str, ...]]:
        """The table's cells as words, a row a still, columns as in ``HEAD``; guessed rungs end in ``?``."""
        return [_row(still, step) for still, step in zip(self.stills, self.steps, strict=True)]

    def data(self) -> list[dict[str, Any]]:
        """The table for programs, a record a still."""
        return [
            {
                "still": still.name,
                "reading": step.reading.place if step.reading is not None else None,
                "rung": step.rung or None,
                "guessed": step.is_guessed,
                "minutes_apart": step.minutes_apart,
                "location": step.reading.location if step.reading is not None else None,
                "uncertain": list(step.reading.uncertain) if step.reading is not None else [],
                "conventions": list(step.reading.conventions) if step.reading is not None else [],
                "doubts": list(step.doubts),
            }
            for still, step in zip(self.stills, self.steps, strict=True)
        ]

    def as_csv(self) -> str:
        """The log as ``meter.csv`` with every join made explicit: each reading's stills by their paths."""
        named: dict[int, list[str]] = {}
        for still, step in zip(self.stills, self.steps, strict=True):
            if step.reading is not None:
                named.setdefault(id(step.reading), []).append(still.name)
        return csv_text(COLUMNS, [_cells(r, named.get(id(r), [])) for r in self.readings])


def join_table(scout: Scout) -> JoinTable:
    """Join the readings of a scout to its stills; of a still no more than its head is read."""
    from lookdev.stills.reader import read_info

    stills, faults = [], []
    for path in scout.stills:
        name = path.relative_to(scout.folder).as_posix()
        try:
            _, metadata = read_info(path)
            stills.append(Facts(name, metadata.date, metadata.camera))
        except LookdevError as error:
            faults.append(str(error))
            stills.append(Facts(name))
    readings = scout.log.readings
    steps = climb(stills, readings, scout.clock_offset_min, scout.join_window_min)
    return JoinTable(tuple(stills), tuple(steps), readings, tuple(faults))


def _row(still: Facts, step: Step) -> tuple[str, ...]:
    reading = step.reading
    if reading is None:
        return still.name, "none", "", "", "", "; ".join(step.doubts)
    apart = "" if step.minutes_apart is None else f"{numbers.signed(step.minutes_apart, 0)} min"
    by = step.rung + ("?" if step.is_guessed else "")
    return (
        still.name,
        f"{reading.place}, {reading.name}",
        by,
        apart,
        reading.location or "",
        light_of(reading),
    )


def light_of(reading: Reading) -> str:
    """A reading's colour and light in words; ``~`` before a guess; conventions in brackets."""
    parts = []
    if reading.x is not None and reading.y is not None:
        parts.append(("~" if "x" in reading.uncertain else "") + numbers.x_y(reading.x, reading.y))
    elif reading.cct_k is not None:
        duv = "" if reading.duv is None else f" {numbers.duv(reading.duv)}"
        parts.append(("~" if "cct_k" in reading.uncertain else "") + numbers.kelvin(reading.cct_k) + duv)
    elif reading.illuminant is not None:
        parts.append(f"CIE {reading.illuminant}")
    if reading.illuminance_lux is not None:
        about = "~" if "illuminance_lux" in reading.uncertain else ""
        parts.append(about + numbers.lux(reading.illuminance_lux))
    return ", ".join(parts) + "".join(f" ({words})" for words in reading.conventions)


def _cells(reading: Reading, stills: Sequence[str]) -> tuple[object, ...]:
    def plain(value: float | None) -> str | None:
        return None if value is None else f"{value:.10g}"

    remarks = [reading.note] if reading.note else []
    if reading.uncertain:
        remarks.append("uncertain: " + ", ".join(reading.uncertain))
    remarks += reading.conventions
    patch = reading.grey
    grey = ",".join(str(v) for v in patch) if isinstance(patch, tuple) else patch
    spectrum = None if reading.spectrum is None else Path(reading.spectrum).name
    camera = plain(reading.camera_balance_k)
    if reading.camera_balance_auto:
        said = reading.camera_balance_origin
        camera = said if said in (TAKEN_OUT, ESTIMATED) else "auto"
    return (
        "; ".join(stills or reading.stills), reading.location, reading.source, plain(reading.cct_k),
        plain(reading.duv), plain(reading.x), plain(reading.y), plain(reading.illuminance_lux), camera,
        spectrum, grey, reading.time, reading.date, reading.role, "; ".join(remarks) or None,
    )  # fmt: skip
