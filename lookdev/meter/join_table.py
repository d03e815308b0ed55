"""The log of a scout written again, with every join made explicit; a reading's light in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.meter.cells import ESTIMATED, TAKEN_OUT
from lookdev.meter.join import join_by_ladder
from lookdev.meter.ladder import Step
from lookdev.names import split_name
from lookdev.text import numbers
from lookdev.text.csv_out import csv_text

if TYPE_CHECKING:
    from lookdev.meter.reading import Reading
    from lookdev.meter.scout import Scout
    from lookdev.meter.scout_parts import ScoutStill
    from lookdev.stills.still import Metadata

COLUMNS = (
    "stills", "location", "source", "cct_k", "duv", "x", "y", "lux", "camera_balance_k", "spectrum", "grey",
    "time", "date", "role", "scene", "note",
)  # fmt: skip


@dataclass(frozen=True)
class JoinTable:
    """Every still of a scout, by name, with its step of the ladder, in the same order."""

    stills: tuple[str, ...]
    steps: tuple[Step, ...]
    readings: tuple[Reading, ...]

    def as_csv(self) -> str:
        """The log as ``meter.csv`` with every join made explicit: each reading's stills by their paths."""
        named: dict[int, list[str]] = {}
        for still, step in zip(self.stills, self.steps, strict=True):
            if step.reading is not None:
                file, part = split_name(still)
                own = not part or not any(
                    other == file and theirs.reading is step.reading
                    for other, theirs in zip(self.stills, self.steps, strict=True)
                )  # a view goes where its panorama goes
                if own:
                    named.setdefault(id(step.reading), []).append(still)
        return csv_text(COLUMNS, [_cells(r, named.get(id(r), [])) for r in self.readings])


def join_table(scout: Scout) -> JoinTable:
    """Join the readings of a scout to its stills; of a still no more than its head is read."""
    stills = [_Head(still) for still in scout.parts]
    readings = scout.log.readings
    return JoinTable(tuple(s.name for s in stills), tuple(join_by_ladder(stills, readings, scout)), readings)


class _Head:
    """A still of a scout as the join asks for it."""

    def __init__(self, still: ScoutStill) -> None:
        self.still, self.name = still, still.name

    @property
    def info(self) -> tuple[tuple[int, int], Metadata]:
        from lookdev.stills.reader import read_info

        return read_info(self.still.path, part=self.still.part)


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
        spectrum, grey, reading.time, reading.date, reading.role, reading.scene,
        "; ".join(remarks) or None,
    )  # fmt: skip
