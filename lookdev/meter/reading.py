"""One metered light, and what follows from its numbers alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from lookdev.errors import LookdevError
from lookdev.text.numbers import LUX_PER_FC

XY = tuple[float, float]

NOWHERE = "No location"
"""What readings without a location are listed under."""


@dataclass(frozen=True)
class Reading:
    """One row of the meter log.

    Attributes
    ----------
    row : row (of a note: line) of the log, as a spreadsheet counts, from 1; ``file`` its name, ``by_line``
        whether it is a note.
    stills : names, numbers, ranges, globs or folders of the stills that it is for.
    location, source, note : as typed; ``scene`` too: the scenes or scenes and shots that are to play there.
    cct_k, duv, x, y : as metered.
    illuminance_lux : from ``lux`` or ``fc``.
    camera_balance_k : what the camera was set to; ``camera_balance_origin`` in words;
        ``camera_balance_auto`` when it was on automatic, which no reading alone can correct; the origin is
        then "neutralised" where it is said to have taken the cast out, "estimate" where that is asked for.
    illuminant : the CIE illuminant that ``source`` names, or None.
    mixture : the lights that ``source`` says are mixed, by share of the illuminance; see
        :mod:`lookdev.meter.light`.
    spectrum : file of the spectrum, or None.
    grey : patch x, y, w, h in pixels of the upright still, fields of the contact page, or "chart".
    time : "HH:MM"; role : "key", "fill" or another word.
    date : "2031-03-04", or "03-04" where no year was typed.
    uncertain : the fields that were typed as a guess (``~2100``, ``ca. 40 lx``).
    conventions : by which convention a number was worked out, in words.
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
    grey: tuple[int, int, int, int] | str | None = None
    note: str | None = None
    scene: str | None = None
    time: str | None = None
    role: str | None = None
    date: str | None = None
    uncertain: tuple[str, ...] = ()
    conventions: tuple[str, ...] = ()
    file: str = "meter.csv"
    by_line: bool = False

    @property
    def place(self) -> str:
        """Where it stands in the log: "row 3", or "line 3" of a note."""
        return f"{'line' if self.by_line else 'row'} {self.row}"

    @property
    def has_colour(self) -> bool:
        """Whether anything says what colour the light has: a metered value, an illuminant or a patch."""
        given = (self.x, self.cct_k, self.spectrum, self.illuminant, self.grey)
        return bool(self.mixture) or any(v is not None for v in given)

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
            from lookdev.colorimetry.temperature import mixed_xy

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
        return None if self.illuminance_lux is None else self.illuminance_lux / LUX_PER_FC

    @property
    def name(self) -> str:
        """Words for a list: its source, else its role, else its row; with the time if there is one."""
        words = self.source or self.role or self.place
        return f"{words}, {self.time}" if self.time else words


@dataclass(frozen=True)
class Part:
    """One light of a mixture: ``share`` of the illuminance, from 0 to 1, and the reading that describes
    it."""

    name: str
    share: float
    reading: Reading


@dataclass(frozen=True)
class MeterLog:
    """Readings in the order of the rows; what was wrong (``errors``) or doubtful (``warnings``)."""

    readings: tuple[Reading, ...] = ()
    errors: tuple[LookdevError, ...] = ()
    warnings: tuple[str, ...] = ()
    path: Path | None = field(default=None, compare=False)


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
