"""What a comparison sheet shows, as plain data: words, and pictures as uint8 sRGB arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import SheetError
from lookdev.pages.fonts import NO_BREAK
from lookdev.paint.faces import Faces
from lookdev.text import numbers

Picture = NDArray[np.uint8]

AS_IT_STOOD = "As it stood"
AS_METERED = "As metered"
"""As it stood, brought to the exposure that the meter calls for, and nothing else."""


@dataclass(frozen=True)
class Light:
    """One meter reading as the title strip shows it; what was not metered is None."""

    source: str
    cct_k: float | None = None
    duv: float | None = None
    xy: tuple[float, float] | None = None
    illuminance_lux: float | None = None
    camera_balance_k: float | None = None
    note: str = ""

    def line(self) -> str:
        """The reading in one short line, for an overview.

        >>> Light("window", 6480, 0.0031, illuminance_lux=850).line().replace(NO_BREAK, " ")
        'window · 6480 K Duv +0.0031 · 850 lx, 79 fc'
        """
        cct = write_cct(self.cct_k)
        duv = f"Duv{NO_BREAK}{write_duv(self.duv)}" if cct and self.duv is not None else ""
        xy = "" if cct or self.xy is None else f"x, y{NO_BREAK}{write_xy(self.xy)}"
        lux, foot_candles = write_lux(self.illuminance_lux), write_foot_candles(self.illuminance_lux)
        level = f"{lux}{NO_BREAK}lx, {foot_candles}{NO_BREAK}fc" if lux else ""
        return " · ".join(part for part in (self.source, f"{cct} {duv}".strip(), xy, level) if part)

    def whole_line(self) -> str:
        """All of the reading in a line: x, y, the camera's balance and the note too."""
        cct = write_cct(self.cct_k)
        parts = [self.line(), f"x, y{NO_BREAK}{write_xy(self.xy)}" if cct and self.xy is not None else ""]
        camera = write_cct(self.camera_balance_k)
        parts += [f"camera at {camera}" if camera else "", self.note]
        return " · ".join(part for part in parts if part)


@dataclass(frozen=True)
class LookColumn:
    """A column: title, key parameters in short phrases, the look's own note.

    The first column is the stills as they stood.
    """

    title: str
    parameters: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Row:
    """A still (or, in an overview, a location).

    Attributes
    ----------
    title : file name, small above the pictures. heading : place and time before it.
    details : camera settings and the like, short phrases.
    pictures : uint8 sRGB (h, w, 3), one a column; None where there is none.
    taken_out : what was taken out of the cast, one a column, "" for nothing to say. Where all rows agree it
        goes to the head of the column, else under each picture.
    captions : further words under each picture, one a column.
    warnings : whole sentences, shown beside the still.
    """

    title: str
    details: tuple[str, ...]
    pictures: tuple[Picture | None, ...]
    taken_out: tuple[str, ...] = ()
    captions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    heading: str = ""

    @property
    def aspect(self) -> float:
        """Width over height of the first picture there is; 3:2 if there is none."""
        shapes = [p.shape for p in self.pictures if p is not None]
        return shapes[0][1] / shapes[0][0] if shapes else 1.5


@dataclass(frozen=True)
class SheetModel:
    """One sheet: a location with its stills or, for the overview, a scout with its locations.

    ``light`` in words for the head; ``repeated`` so many first columns stand on every page (as it stood, and
    as metered); ``noun`` what a row is; ``faces`` six complexions here, a look each, for the page of numbers.

    Raises
    ------
    SheetError : no rows, no columns, or a row whose entries do not match the columns.
    """

    production: str
    location: str
    columns: tuple[LookColumn, ...]
    rows: tuple[Row, ...]
    lights: tuple[Light, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    light: str = ""
    repeated: int = 1
    noun: str = "still"
    faces: tuple[Faces, ...] = ()

    def __post_init__(self) -> None:
        count = len(self.columns)
        if not count or not self.rows:
            raise SheetError(
                "a comparison sheet needs at least one still and one column", found=self.location
            )
        for row in self.rows:
            lengths = {len(row.pictures), len(row.taken_out) or count, len(row.captions) or count}
            if lengths != {count}:
                found = f"{sorted(lengths)} at {row.title}"
                raise SheetError("a row of a sheet needs one entry a column", found=found, wanted=str(count))


def write_cct(cct_k: float | None) -> str:
    """Whole kelvin, with a no-break space; "" for None."""
    return numbers.kelvin(cct_k, NO_BREAK)


def write_duv(duv: float | None) -> str:
    """Duv with four decimals and its sign; "" for None.

    >>> write_duv(-0.00312)
    '−0.0031'
    """
    return "" if duv is None else numbers.fixed(duv, 4)


def write_xy(xy: tuple[float, float] | None) -> str:
    """x, y with four decimals; "" for None."""
    return "" if xy is None else numbers.pair(*xy)


def write_lux(illuminance_lux: float | None) -> str:
    """Lux with three significant figures and all digits before the point; "" for None."""
    return "" if illuminance_lux is None else numbers.plain(illuminance_lux)


def write_foot_candles(illuminance_lux: float | None) -> str:
    """Foot-candles (1 fc = 10.764 lx), as :func:`write_lux`; "" for None.

    >>> write_foot_candles(1076.4)
    '100'
    """
    return "" if illuminance_lux is None else numbers.plain(illuminance_lux / numbers.LUX_PER_FC)
