"""``meter.csv``: what the colour meter read, a reading a row.

Columns in any order: ``stills`` ``location`` ``source`` ``cct_k`` ``duv`` ``x`` ``y`` ``lux`` ``fc``
``camera_balance_k`` ``spectrum`` ``grey`` ``note`` ``time`` ``role``; other headings that are understood are
in :mod:`lookdev.meter.columns`. A row that cannot be read is an error; the other rows are used.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import MeterError
from lookdev.meter import cells
from lookdev.meter.columns import HEADINGS, column_name, nearest_column
from lookdev.meter.text_table import SEPARATORS, Row, is_blank, read_text, split_rows

if TYPE_CHECKING:
    from lookdev.meter.light import Part

XY = tuple[float, float]

NOWHERE = "No location"
"""What readings without a location are listed under."""


@dataclass(frozen=True)
class Tolerance:
    """What two ways of saying one thing may differ by before it is worth a warning.

    Handheld colour meters state about 0.003 in x, y for illuminant A, which is 4 mired there; and 5% to 7% in
    illuminance, but lux and foot-candles of one reading are one number twice, so 3% covers the rounding.
    """

    mired: float = 6.0
    duv: float = 0.003
    illuminance: float = 0.03


@dataclass(frozen=True)
class Reading:
    """One row of the meter log.

    Attributes
    ----------
    row : as a spreadsheet counts, from 1.
    stills : names or globs of the stills that it is for.
    location, source, note : as typed.
    cct_k, duv, x, y : as metered.
    illuminance_lux : from ``lux`` or ``fc``.
    camera_balance_k : what the camera was set to; ``camera_balance_origin`` in words;
        ``camera_balance_auto`` when it was on automatic, which no reading can correct.
    illuminant : the CIE illuminant that ``source`` names, or None.
    mixture : the lights that ``source`` says are mixed, by share of the illuminance; see
        :mod:`lookdev.meter.light`.
    spectrum : file of the spectrum, or None.
    grey : patch x, y, w, h in pixels of the upright still.
    time : "HH:MM"; role : "key", "fill" or another word.
    """

    row: int = 0
    stills: tuple[str, ...] = ()
    location: str | None = None
    source: str | None = None
    cct_k: float | None = None
    duv: float | None = None
    x: float | None = None
    y: float | None = None
    illuminance_lux: float | None = None
    camera_balance_k: float | None = None
    camera_balance_auto: bool = False
    camera_balance_origin: str | None = None
    illuminant: str | None = None
    mixture: tuple[Part, ...] = ()
    spectrum: Path | None = None
    grey: tuple[int, int, int, int] | None = None
    note: str | None = None
    time: str | None = None
    role: str | None = None

    @cached_property
    def white_xy(self) -> XY | None:
        """Chromaticity: x, y as metered, else CCT (with Duv), else the spectrum, else the CIE illuminant."""
        if self.x is not None and self.y is not None:
            return self.x, self.y
        if self.cct_k is not None:
            from lookdev.colorimetry.temperature import xy_from_cct

            return _pair(xy_from_cct(self.cct_k, self.duv or 0.0))
        if self.spectrum is not None:
            from lookdev.meter.spectrum import read_spectrum

            return read_spectrum(self.spectrum).xy
        if self.illuminant is not None:
            from lookdev.colorimetry.illuminants import illuminant_xy

            return _pair(illuminant_xy(self.illuminant))
        if self.mixture:
            from lookdev.meter.light import mixed_xy

            known = [(p.share, p.reading.white_xy) for p in self.mixture]
            return mixed_xy([(share, xy) for share, xy in known if xy is not None])
        return None

    @property
    def white_origin(self) -> str:
        """Which of the four the chromaticity is from, in words; empty if there is none."""
        if self.x is not None and self.y is not None:
            return "x, y as metered"
        if self.cct_k is not None:
            return "CCT and Duv as metered" if self.duv is not None else "CCT as metered, Duv taken as 0"
        if self.spectrum is not None:
            return f"spectrum {self.spectrum.name}"
        if self.mixture:
            return "the mixture"
        return f"CIE illuminant {self.illuminant}" if self.illuminant is not None else ""

    @cached_property
    def cct_duv(self) -> tuple[float, float] | None:
        """CCT in kelvin and Duv of ``white_xy``; see :attr:`is_cct_meaningful`."""
        from lookdev.colorimetry.temperature import cct_duv_from_xy

        return None if self.white_xy is None else cct_duv_from_xy(self.white_xy)

    @cached_property
    def is_cct_meaningful(self) -> bool:
        """Whether the light is near enough to the locus for a CCT (CIE 15:2018: |Duv| up to 0.05)."""
        from lookdev.colorimetry.temperature import is_cct_meaningful

        return self.white_xy is not None and is_cct_meaningful(self.white_xy)

    @property
    def illuminance_fc(self) -> float | None:
        """Illuminance in foot-candles."""
        return None if self.illuminance_lux is None else self.illuminance_lux / cells.LUX_PER_FC

    @property
    def name(self) -> str:
        """Words for a list: its source, else its role, else its row; with the time if there is one."""
        words = self.source or self.role or f"row {self.row}"
        return f"{words}, {self.time}" if self.time else words


@dataclass(frozen=True)
class MeterLog:
    """Readings in the order of the rows; what was wrong (``errors``) or doubtful (``warnings``)."""

    readings: tuple[Reading, ...] = ()
    errors: tuple[MeterError, ...] = ()
    warnings: tuple[str, ...] = ()
    path: Path | None = field(default=None, compare=False)


def read_meter_log(path: Path, tolerance: Tolerance | None = None) -> MeterLog:
    """Read a meter log.

    Rows that cannot be read are in ``errors``, with file, row, column, what was found and what is wanted; so
    are columns that are not known. The rest is in ``readings``.

    Raises
    ------
    MeterError : there is no table at all: the file cannot be opened, is not text, or has no heading row.
    """
    path = Path(path)
    text, encoding = read_text(path)
    rows, heading, errors = _table(text, path.name)
    warnings = [f"{path.name}: not UTF-8; read as Windows code page 1252"] if encoding == "cp1252" else []
    readings: list[Reading] = []
    places: dict[str, str] = {}
    for row in rows:
        reader = _RowReader(row, heading, path, tolerance or Tolerance(), places)
        reading = reader.read()
        errors += reader.errors
        warnings += reader.warnings
        if reading is not None:
            readings.append(reading)
    readings = with_mixtures(readings, path.name, warnings)
    return MeterLog(tuple(readings), tuple(errors), tuple(warnings), path)


@dataclass(frozen=True)
class _Heading:
    """Column name to cell index, and the number of cells in the heading row."""

    columns: dict[str, int]
    width: int


def _table(text: str, file: str) -> tuple[list[Row], _Heading, list[MeterError]]:
    """Data rows, the heading, and what is wrong in it."""
    best: tuple[int, list[Row], int] | None = None
    for separator in SEPARATORS:
        rows = split_rows(text, separator)
        for index, row in enumerate([r for r in rows if not is_blank(r)][:12]):
            known = len({column_name(c) for c in row.cells} - {None})
            if best is None or known > best[0]:
                best = (known, [r for r in rows if not is_blank(r)], index)
    if best is None:
        raise MeterError("is empty", file=file, wanted="a heading row such as stills,location,cct_k,lux")
    known, rows, index = best
    if known == 0 or (known == 1 and len(rows[index].cells) > 3):
        raise MeterError(
            "no heading row",
            file=file,
            row=rows[0].number,
            found=",".join(rows[0].cells)[:60],
            wanted="headings such as stills,location,source,cct_k,duv,x,y,lux",
        )
    heading = rows[index]
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
            elif not cell and any(place < len(r.cells) and r.cells[place] for r in rows[index + 1 :]):
                wanted = "one of " + ", ".join(HEADINGS)
                errors.append(MeterError("a column without a heading, not used", wanted=wanted, **where))
        elif name in columns:
            first = heading.cells[columns[name]]
            errors.append(
                MeterError(f"a second column for {name}, not used", wanted=f"only {first!r}", **where)
            )
        else:
            columns[name] = place
    return rows[index + 1 :], _Heading(columns, len(heading.cells)), errors


class _RowReader:
    """Reads one row; collects every fault in it, not only the first."""

    def __init__(
        self, row: Row, heading: _Heading, path: Path, tolerance: Tolerance, places: dict[str, str]
    ) -> None:
        self.row, self.heading, self.path, self.tolerance, self.places = row, heading, path, tolerance, places
        self.errors: list[MeterError] = []
        self.warnings: list[str] = []

    def read(self) -> Reading | None:
        if self.row.fault is not None:
            self._error(self.row.fault, None, None, "every quote closed on its own row")
            return None
        if any(self.row.cells[self.heading.width :]):
            self._too_wide()
            return None
        text = {name: self._text(name) for name in ("location", "source", "note")}
        lux, fc = self._illuminance("lux"), self._illuminance("fc")
        balance = self._cell("camera_balance_k", cells.camera_balance)
        reading = Reading(
            row=self.row.number,
            stills=self._cell("stills", cells.patterns) or (),
            location=self._place(text["location"]),
            source=text["source"],
            cct_k=self._cell("cct_k", cells.cct),
            duv=self._cell("duv", cells.duv),
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
            time=self._cell("time", cells.clock),
            role=self._cell("role", cells.role),
        )
        if self.errors:
            return None
        self._check_light(reading)
        if self.errors:
            return None
        self._compare_illuminance(lux, fc)
        self._compare_white(reading)
        self._check_source(reading)
        return reading

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
        try:
            return read(raw)
        except cells.CellError as error:
            self._error(error.problem, name, raw, error.wanted)
            return None

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
        except MeterError as error:
            self._error(str(error), "spectrum", raw, None)
            return None
        return path

    def _check_light(self, reading: Reading) -> None:
        if (reading.x is None) != (reading.y is None):
            missing = "y" if reading.y is None else "x"
            self._error("half a chromaticity", missing, None, "both x and y, or neither")
        elif reading.x is not None and reading.y is not None and not is_possible((reading.x, reading.y)):
            found = f"x {reading.x:g}, y {reading.y:g}"
            hint = "a chromaticity inside the spectral locus"
            if is_possible((reading.y, reading.x)):
                hint += "; x and y may have changed places"
            self._error("no light has this chromaticity", "x", found, hint)
        if reading.duv is not None and reading.cct_k is None and reading.x is None:
            self._error("Duv without a CCT", "cct_k", None, "kelvin from 1000 to 25000, or x and y")

    def _check_source(self, reading: Reading) -> None:
        from lookdev.colorimetry.illuminants import nearest_names

        near = nearest_names(reading.source or "")
        if near:
            none = "" if _has_colour(reading) else ", and this row has no colour"
            self._warn(
                f"source '{reading.source}' looks like a CIE illuminant but is none: "
                f"taken as free words{none}; nearest: {', '.join(near)}"
            )

    def _compare_illuminance(self, lux: float | None, fc: float | None) -> None:
        if lux is None or fc is None:
            return
        difference = fc / lux - 1
        if abs(difference) > self.tolerance.illuminance:
            self._warn(
                f"lux and fc disagree: {lux:g} lux is {lux / cells.LUX_PER_FC:.1f} fc, the log says "
                f"{fc / cells.LUX_PER_FC:.1f} fc ({difference:+.0%}); used the lux"
            )

    def _compare_white(self, reading: Reading) -> None:
        if reading.cct_k is None or reading.x is None or reading.cct_duv is None:
            return
        if not reading.is_cct_meaningful:
            self._warn(
                f"CCT {reading.cct_k:.0f} K has no meaning at x {reading.x:g}, y {reading.y:g} "
                f"(Duv {reading.cct_duv[1]:+.3f}); used x, y"
            )
            return
        cct, duv = reading.cct_duv
        off = 1e6 / reading.cct_k - 1e6 / cct
        if abs(off) > self.tolerance.mired:
            self._warn(
                f"CCT {reading.cct_k:.0f} K and x {reading.x:g}, y {reading.y:g} (which is {cct:.0f} K) "
                f"disagree by {abs(reading.cct_k - cct):.0f} K ({abs(off):.0f} mired; tolerance "
                f"{self.tolerance.mired:g}); used x, y"
            )
        if reading.duv is not None and abs(reading.duv - duv) > self.tolerance.duv:
            self._warn(
                f"Duv {reading.duv:+.4f} and x {reading.x:g}, y {reading.y:g} (which is Duv {duv:+.4f}) "
                f"disagree by {abs(reading.duv - duv):.4f} (tolerance {self.tolerance.duv:g}); used x, y"
            )


def with_mixtures(readings: Sequence[Reading], file: str, warnings: list[str]) -> list[Reading]:
    """The readings, those whose source is a mixture with its parts found; what is doubtful in
    ``warnings``."""
    from lookdev.meter.mixture import mixture_of

    out = []
    for reading in readings:
        parts, doubts = mixture_of(reading, readings)
        warnings += [f"{file}, row {reading.row}: {doubt}" for doubt in doubts]
        out.append(replace(reading, mixture=parts) if parts else reading)
    return out


def _pair(xy: Any) -> XY:
    return float(xy[0]), float(xy[1])


def illuminant_in(source: str | None) -> str | None:
    """The CIE illuminant that a source's words are, if they are one (``HP1``, ``CIE illuminant D55``)."""
    if source is None:
        return None
    compact = "".join(c for c in source.casefold() if c.isalnum())
    if len(compact) > 48 or not compact.isascii():
        return None
    from lookdev.colorimetry.illuminants import find_illuminant

    return find_illuminant(source)


def is_possible(xy: XY, slack: float = 0.003) -> bool:
    """Whether a light can have this chromaticity: inside the spectral locus, or outside by a meter's error.

    >>> is_possible((0.3127, 0.3290)), is_possible((0.70, 0.40)), is_possible((0.1, 0.1))
    (True, False, False)
    """
    import numpy as np

    locus = _spectral_locus()
    x_1, y_1 = locus.T
    x_2, y_2 = np.roll(locus, -1, axis=0).T
    x, y = xy
    crosses = (y_1 > y) != (y_2 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x_1 + (y - y_1) * (x_2 - x_1) / (y_2 - y_1)
    if np.count_nonzero(crosses & (x < at)) % 2:
        return True
    dx, dy = x_2 - x_1, y_2 - y_1
    length = np.maximum(dx * dx + dy * dy, 1e-18)
    t = np.clip(((x - x_1) * dx + (y - y_1) * dy) / length, 0.0, 1.0)
    return bool(np.min(np.hypot(x_1 + t * dx - x, y_1 + t * dy - y)) <= slack)


@lru_cache(maxsize=1)
def _spectral_locus() -> Any:
    """x, y (n, 2) of the spectral locus, where the observer sees anything to speak of."""
    from lookdev.colorimetry.temperature import observer_1nm

    _, bars = observer_1nm()
    seen = bars.sum(axis=1) > 1e-4
    return bars[seen, :2] / bars[seen].sum(axis=1, keepdims=True)


# which reading is for which still ---------------------------------------------------------------------------


def _folded(name: str) -> str:
    return unicodedata.normalize("NFC", name.replace("\\", "/")).casefold()


def match_rank(still_name: str, pattern: str) -> int:
    """How closely ``pattern`` names a still: 4 path, 3 file name, 2 without the suffix, 1 a glob, 0 not.

    >>> match_rank("day1/loft_01.jpg", "LOFT_01"), match_rank("day1/loft_01.jpg", "loft_*")
    (2, 1)
    """
    full, wanted = _folded(still_name), _folded(pattern)
    base = full.rsplit("/", 1)[-1]
    if full == wanted:
        return 4
    if base == wanted:
        return 3
    if wanted in (base.rsplit(".", 1)[0], full.rsplit(".", 1)[0]):
        return 2
    return int(fnmatchcase(full, wanted) or fnmatchcase(base, wanted))


def reading_for(still_name: str, readings: Iterable[Reading]) -> Reading | None:
    """The reading that a still is balanced from, or None.

    An exact name beats a glob. Among equals, a ``fill`` or other secondary role gives way to the key; a
    reading without colour gives way to one with it; then the later row wins, as the later reading does.
    """
    best: tuple[tuple[int, int, int, int], Reading] | None = None
    for order, reading in enumerate(readings):
        rank = max((match_rank(still_name, p) for p in reading.stills), default=0)
        if rank == 0:
            continue
        lead = int(reading.role is None or reading.role == "key")
        colour = int(_has_colour(reading))
        key = (rank, lead, colour, order)
        if best is None or key > best[0]:
            best = (key, reading)
    return best[1] if best is not None else None


def _has_colour(reading: Reading) -> bool:
    given = (reading.x, reading.cct_k, reading.spectrum, reading.illuminant, reading.grey)
    return bool(reading.mixture) or any(v is not None for v in given)


def readings_at(location: str, readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """The readings of one location (or of ``NOWHERE``), in the order of the log."""
    return tuple(r for r in readings if (r.location or NOWHERE) == location)


def in_time_order(readings: Iterable[Reading]) -> list[tuple[int, Reading]]:
    """(minutes, reading) of those with a time; a log that runs past midnight goes on counting over 24 h.

    >>> [m for m, _ in in_time_order([Reading(time="23:30"), Reading(time="00:40")])]
    [1410, 1480]
    """
    timed = [(int(r.time[:2]) * 60 + int(r.time[3:]), r) for r in readings if r.time is not None]
    minutes = [m for m, _ in timed]
    falls = [i for i in range(1, len(minutes)) if minutes[i] < minutes[i - 1]]
    if len(falls) == 1 and minutes[falls[0] - 1] >= 18 * 60 and minutes[falls[0]] < 12 * 60:
        start = falls[0]
        if minutes[-1] < minutes[0]:
            timed = [(m + (1440 if i >= start else 0), r) for i, (m, r) in enumerate(timed)]
    return sorted(timed, key=lambda pair: (pair[0], pair[1].row))
