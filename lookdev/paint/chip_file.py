"""Chip files: a CSV or a workbook (.xlsx, .ods) that people type or export from an instrument.

One chip a row, columns in any order: ``name``, ``code``, and one of

- a reflectance spectrum, a column a wavelength (``400``, ``410 nm``, ``R420`` …), as fraction or percent;
- a file of it (``spectrum``: rows of nm, value);
- CIELAB: ``L`` ``a`` ``b``, or ``L`` ``C`` ``h``, with ``illuminant`` and ``observer``;
- ``munsell``: ``5YR 6/4``;
- ``hex``: ``#8a6f5c``, or ``R`` ``G`` ``B`` 0 to 255: a last resort.

Headings may be English, German, French, Spanish or Italian (``paint.chip_headings``).

Or one chip a column: the first column ``nm``, then a column of reflectance for each chip, its name on top.
Where a row has several of these, the first in this list is used.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import xyz_from_lab
from lookdev.errors import ChipError, MeterError
from lookdev.meter import workbook
from lookdev.meter.cells import CellError, is_empty, number
from lookdev.meter.text_table import SEPARATORS, Row, is_blank, read_text, split_rows
from lookdev.paint.chip import Chip, ChipSet
from lookdev.paint.chip_headings import clean, column, is_nm, nearest, wavelength_nm
from lookdev.paint.draft import Draft, fill_hex, fill_munsell, recover
from lookdev.paint.spectra import GRID_NM, illuminant_weights, on_grid, white_xy

Array = NDArray[np.float64]

MAX_GAP_NM = 40.0
MAX_STEP_NM = 20.0
NEEDED_NM = (420.0, 680.0)
HELD_NM = (380.0, 730.0)
"""A spectrum must cover the first two; outside it the end values are held, which is said if the second two
are not covered."""

_KINDS = "a reflectance spectrum, L a b, L C h, munsell, or hex"


@dataclass(frozen=True, eq=False)
class ChipFile:
    """What a chip file holds: the chips that could be read, what was wrong, what was made good."""

    chips: ChipSet
    errors: tuple[ChipError, ...] = ()
    warnings: tuple[str, ...] = ()


def read_chips(path: Path) -> ChipFile:
    """Read a chip file.

    Rows that cannot be read are in ``errors`` with file, row, column, what was found and what is wanted.

    Raises
    ------
    ChipError : there is no table at all, or not one chip in it.
    """
    path = Path(path)
    reader = _Reader(path)
    try:
        if path.suffix.casefold() in workbook.SUFFIXES:
            readings = [(rows, "workbook") for _, rows in workbook.read_sheets(path)]
        else:
            text, encoding = read_text(path)
            if encoding == "cp1252":
                reader.warnings.append(f"{path.name}: not UTF-8; read as Windows code page 1252")
            readings = [(split_rows(text, separator), separator) for separator in SEPARATORS]
    except MeterError as error:
        raise _as_chip_error(error) from error
    rows, separator = _table(readings, path.name)
    if is_nm(rows[0].cells[0]) and len(rows[0].cells) > 1 and len(rows) > 2:
        reader.read_columns(rows)
    else:
        reader.read_rows(rows, separator)
    return reader.finish()


def _as_chip_error(error: MeterError) -> ChipError:
    return ChipError(
        error.problem,
        file=error.file,
        row=error.row,
        column=error.column,
        found=error.found,
        wanted=error.wanted,
    )


def _table(readings: Iterable[tuple[list[Row], str]], file: str) -> tuple[list[Row], str]:
    """Rows without blanks, heading first, of the sheet or separator that makes most sense of them."""
    best: tuple[int, list[Row], str] | None = None
    for every, separator in readings:
        rows = [r for r in every if not is_blank(r)]
        for index, row in enumerate(rows[:12]):
            known = sum(column(c) is not None or wavelength_nm(c) is not None for c in row.cells)
            if row.cells and is_nm(row.cells[0]):
                known += len(row.cells)
            if (best is None or known > best[0]) and (known > 1 or len(row.cells) <= 2):
                best = (known, rows[index:], separator)
    if best is None or not best[1]:
        raise ChipError("is empty", file=file, wanted=f"a heading row: name, code and {_KINDS}")
    if best[0] == 0:
        raise ChipError(
            "no heading row",
            file=file,
            row=best[1][0].number,
            found=",".join(best[1][0].cells)[:60],
            wanted=f"headings: name, code and {_KINDS}",
        )
    return best[1], best[2]


class _Reader:
    """Collects drafts, errors and warnings of one file."""

    def __init__(self, path: Path) -> None:
        self.path, self.file = path, path.name
        self.drafts: list[Draft] = []
        self.errors: list[ChipError] = []
        self.warnings: list[str] = []

    # one chip a row -----------------------------------------------------------------------------------------

    def read_rows(self, rows: list[Row], separator: str) -> None:
        columns: dict[str, int] = {}
        bands: dict[float, int] = {}
        percent_heading = False
        for place, cell in enumerate(rows[0].cells):
            nm, name = wavelength_nm(cell), column(cell)
            if name == "b" and {"red", "green"} <= set(columns) and "a" not in columns:
                name = "blue"
            if name is not None:
                columns.setdefault(name, place)
            elif nm is not None:
                if nm in bands:
                    self._error("a second column for one wavelength, not used", rows[0].number, cell)
                bands.setdefault(nm, place)
                percent_heading |= "%" in cell
            elif cell.strip():
                near = nearest(cell)
                self.warnings.append(
                    f"{self.file}: the column '{cell.strip()}' is not known, so not used"
                    + (f": is it {near}?" if near else "")
                )
        if not bands and not set(columns) & {"munsell", "hex", "L", "spectrum", "red"}:
            raise ChipError(
                "no column that holds a colour",
                file=self.file,
                row=rows[0].number,
                found=",".join(rows[0].cells)[:60],
                wanted=_KINDS,
            )
        for row in rows[1:]:
            if row.fault is not None:
                self._error(row.fault, row.number, wanted="every quote closed on its own row")
                continue
            if any(row.cells[len(rows[0].cells) :]):
                hint = "; with decimal commas, separate the cells by semicolons" if separator == "," else ""
                self._error(
                    "more cells than headings",
                    row.number,
                    found=len(row.cells),
                    wanted=f"one cell a heading{hint}",
                )
                continue
            self._row(row, columns, bands)
        self._scale(percent_heading)

    def _row(self, row: Row, columns: dict[str, int], bands: dict[float, int]) -> None:
        def cell(name: str) -> str:
            place = columns.get(name)
            text = row.cells[place] if place is not None and place < len(row.cells) else ""
            return "" if is_empty(text) else text.strip()

        draft = Draft(
            cell("name") or cell("code") or cell("munsell") or f"row {row.number}", cell("code"), row.number
        )
        spectrum = {
            nm: row.cells[i] for nm, i in bands.items() if i < len(row.cells) and not is_empty(row.cells[i])
        }
        try:
            if spectrum:
                self._measured(draft, spectrum, sorted(bands))
            elif cell("spectrum"):
                self._from_file(draft, cell("spectrum"))
            elif cell("L"):
                self._lab(draft, cell)
            elif cell("munsell"):
                self._munsell(draft, cell("munsell"))
            elif cell("hex"):
                self._hex(draft, cell("hex"))
            elif cell("red"):
                self._hex(draft, ",".join(cell(k) for k in ("red", "green", "blue")))
            else:
                raise ChipError("no colour", file=self.file, row=row.number, wanted=_KINDS)
        except ChipError as error:
            self.errors.append(error)
            return
        self.drafts.append(draft)

    def _number(self, text: str, row: int, column: str, wanted: str) -> float:
        try:
            return number(text.removesuffix("%"), wanted)
        except CellError as error:
            raise ChipError(
                error.problem, file=self.file, row=row, column=column, found=text, wanted=error.wanted
            ) from None

    def _measured(self, draft: Draft, cells: dict[float, str], bands: list[float]) -> None:
        nm = sorted(cells)
        values = [
            self._number(cells[n], draft.row, f"{n:g}", "a reflectance, fraction or percent") for n in nm
        ]
        missing = [n for n in bands if n not in cells and nm[0] < n < nm[-1]]
        if missing:
            draft.remarks.append(
                f"gap at {', '.join(f'{n:g}' for n in missing)} nm filled from its neighbours"
            )
        self._spectrum(draft, np.array(nm), np.array(values), MAX_GAP_NM if missing else MAX_STEP_NM)

    def _spectrum(self, draft: Draft, nm: Array, values: Array, widest: float) -> None:
        """Check and keep a spectrum; fraction or percent is settled later, for the whole file."""
        where: dict[str, Any] = {"file": self.file, "row": draft.row}
        low, high = NEEDED_NM
        if len(nm) < 2 or nm[0] > low or nm[-1] < high:
            raise ChipError(
                "the spectrum does not cover the visible range",
                found=f"{nm[0]:g} to {nm[-1]:g} nm",
                wanted=f"at least {low:g} to {high:g} nm",
                **where,
            )
        steps = np.where((nm[1:] > low) & (nm[:-1] < high), np.diff(nm), 0.0)
        if steps.max() > widest:
            at = int(np.argmax(steps))
            raise ChipError(
                "a gap in the spectrum",
                found=f"nothing between {nm[at]:g} and {nm[at + 1]:g} nm",
                wanted=f"steps of {MAX_STEP_NM:g} nm or less, gaps of up to {MAX_GAP_NM:g} nm",
                **where,
            )
        if values.min() < -0.01 * max(values.max(), 1e-9):
            at = int(np.argmin(values))
            raise ChipError(
                "negative reflectance", found=f"{values[at]:g} at {nm[at]:g} nm", wanted="0 or more", **where
            )
        if nm[0] > HELD_NM[0] or nm[-1] < HELD_NM[1]:
            draft.remarks.append(f"measured {nm[0]:g} to {nm[-1]:g} nm; end values held outside (ASTM E308)")
        draft.kind, draft.reflectance = "spectrum", np.maximum(on_grid(nm, values), 0.0)
        draft.as_typed = f"spectrum, {len(nm)} values"

    def _from_file(self, draft: Draft, name: str) -> None:
        from lookdev.meter.spectrum import read_spectrum

        try:
            spectrum = read_spectrum(self.path.parent / name.replace("\\", "/"))
        except MeterError as error:
            raise ChipError(
                str(error), file=self.file, row=draft.row, column="spectrum", found=name
            ) from None
        values = spectrum.values / 100.0 if spectrum.values.max() > 2.0 else spectrum.values
        self._spectrum(draft, spectrum.wavelengths_nm, values, MAX_STEP_NM)
        draft.as_typed = name
        draft.reflectance = None if draft.reflectance is None else self._fluorescent(draft, draft.reflectance)
        draft.conditions = ("scaled", 2)

    def _lab(self, draft: Draft, cell: Callable[[str], str]) -> None:
        from lookdev.colorimetry.illuminants import find_illuminant, illuminant_names

        polar = bool(cell("C") or cell("h")) and not (cell("a") or cell("b"))
        axes = ("L", "C", "h") if polar else ("L", "a", "b")
        for axis in axes:
            if not cell(axis):
                raise ChipError(
                    "half a CIELAB colour",
                    file=self.file,
                    row=draft.row,
                    column=axis,
                    wanted="L, a and b, or L, C and h",
                )
        lab = np.array(
            [self._number(cell(k).removesuffix("°"), draft.row, k, "a CIELAB number") for k in axes]
        )
        if polar:
            turn = np.radians(lab[2])
            lab = np.array([lab[0], lab[1] * np.cos(turn), lab[1] * np.sin(turn)])
        if not 0 <= lab[0] <= 100 or np.abs(lab[1:]).max() > 160:
            raise ChipError(
                "out of range",
                file=self.file,
                row=draft.row,
                column="L, a, b",
                found=", ".join(f"{v:g}" for v in lab),
                wanted="L 0 to 100, a and b -160 to 160",
            )
        asked = cell("illuminant")
        name = find_illuminant(asked) if asked else "D50"
        if name is None:
            near = difflib.get_close_matches(asked.upper(), illuminant_names(), n=1, cutoff=0.0)
            raise ChipError(
                "unknown illuminant",
                file=self.file,
                row=draft.row,
                column="illuminant",
                found=asked,
                wanted=f"a CIE illuminant such as {near[0]}",
            )
        observer = self._observer(cell("observer"), draft)
        said = [] if asked else ["no illuminant given: D50 taken"]
        said += [] if cell("observer") else ["no observer given: 2 degrees taken"]
        draft.remarks += said
        draft.kind, draft.conditions = "CIELAB", (name, observer)
        draft.as_typed = f"L {lab[0]:g} a {lab[1]:g} b {lab[2]:g}, {name}, {observer} degree"
        draft.xyz = xyz_from_lab(lab, white_xy(illuminant_weights(name, observer)))

    def _observer(self, text: str, draft: Draft) -> int:
        plain = re.sub(r"(deg(rees?)?|°|cie|observer)", "", text.casefold()).strip()
        known = {"": 2, "2": 2, "1931": 2, "10": 10, "1964": 10}
        if plain not in known:
            raise ChipError(
                "unknown observer",
                file=self.file,
                row=draft.row,
                column="observer",
                found=text,
                wanted="2 (CIE 1931) or 10 (CIE 1964)",
            )
        return known[plain]

    def _munsell(self, draft: Draft, text: str) -> None:
        fill_munsell(draft, text, self.file)

    def _hex(self, draft: Draft, text: str) -> None:
        fill_hex(draft, text, self.file)

    # one chip a column --------------------------------------------------------------------------------------

    def read_columns(self, rows: list[Row]) -> None:
        names = [clean(c) for c in rows[0].cells[1:]]
        table: list[dict[float, str]] = [{} for _ in names]
        bands: list[float] = []
        for row in rows[1:]:
            nm = self._number(
                row.cells[0].casefold().removesuffix("nm").strip(), row.number, "nm", "a wavelength in nm"
            )
            if not 200 <= nm <= 2500 or nm in bands:
                problem = "a wavelength twice" if nm in bands else "out of range"
                self._error(
                    problem,
                    row.number,
                    "nm",
                    found=row.cells[0],
                    wanted="each wavelength once, 200 to 2500 nm",
                )
                continue
            bands.append(nm)
            for place, cell in enumerate(row.cells[1 : len(names) + 1]):
                if not is_empty(cell):
                    table[place][nm] = cell
        for place, (name, cells) in enumerate(zip(names, table, strict=True)):
            if not name and not cells:
                continue
            draft = Draft(name or f"column {place + 2}", "", rows[0].number)
            try:
                if not cells:
                    raise ChipError(
                        "no values", file=self.file, column=name, wanted="a reflectance in each row"
                    )
                self._measured(draft, cells, sorted(bands))
            except ChipError as error:
                self.errors.append(error)
                continue
            self.drafts.append(draft)
        self._scale(False)

    # the whole file -----------------------------------------------------------------------------------------

    def _scale(self, percent_heading: bool) -> None:
        """Settle percent against fraction for the file, then values over 1."""
        measured = [d for d in self.drafts if d.reflectance is not None and d.conditions[0] != "scaled"]
        if not measured:
            return
        highest = max(float(d.reflectance.max()) for d in measured if d.reflectance is not None)
        scale = 1.0
        if percent_heading or highest > 2.0:
            scale = 0.01
            self.warnings.append(f"{self.file}: reflectances read as percent (highest value {highest:g})")
        for draft in measured:
            assert draft.reflectance is not None
            if scale * float(draft.reflectance.max()) > 2.0:
                self._error(
                    "reflectance out of range", draft.row, found=f"{draft.reflectance.max():g}",
                    wanted="a fraction up to 1, or percent up to 100",
                )  # fmt: skip
                draft.reflectance = None
                continue
            if scale < 1 and draft.reflectance.max() <= 1.2:
                draft.remarks.append(
                    f"highest value {draft.reflectance.max():g} in a file of percents: if that is a "
                    "fraction, write it as percent"
                )
            draft.reflectance = self._fluorescent(draft, draft.reflectance * scale)
        self.drafts = [d for d in self.drafts if d.reflectance is not None or d.xyz is not None]

    def _fluorescent(self, draft: Draft, reflectance: Array) -> Array:
        if reflectance.max() > 1.005:
            peak = float(GRID_NM[int(reflectance.argmax())])
            draft.remarks.append(
                f"over 1 ({reflectance.max():.2f} at {peak:g} nm): fluorescent or mis-scaled; "
                "how it glows under another lamp cannot be told from this"
            )
        return reflectance

    def _error(
        self,
        problem: str,
        row: int,
        column: str | None = None,
        found: object = None,
        wanted: str | None = None,
    ) -> None:
        self.errors.append(
            ChipError(problem, file=self.file, row=row, column=column, found=found, wanted=wanted)
        )

    def finish(self) -> ChipFile:
        """Recover what has only a colour, tell names apart, and hand over."""
        if not self.drafts:
            if self.errors:
                raise self.errors[0]
            raise ChipError("holds no chip", file=self.file, wanted=f"rows of name, code and {_KINDS}")
        self._tell_apart()
        chips, reflectances = recover(self.drafts)
        self.warnings += _one_a_kind(self.file, chips)
        title = self.path.stem.replace("_", " ")
        return ChipFile(ChipSet(title, chips, reflectances), tuple(self.errors), tuple(self.warnings))

    def _tell_apart(self) -> None:
        seen: dict[str, int] = {}
        for draft in self.drafts:
            key = f"{draft.name}|{draft.code}".casefold()
            if key in seen:
                self.warnings.append(
                    f"{self.file}, row {draft.row}: the name '{draft.name}' is taken by row {seen[key]}; "
                    f"kept as '{draft.name} (row {draft.row})'"
                )
                draft.name = f"{draft.name} (row {draft.row})"
            seen.setdefault(key, draft.row)


def _one_a_kind(file: str, chips: Sequence[Chip]) -> list[str]:
    """One warning for each kind of remark, with the first row it is about and how many more there are."""
    kinds: dict[str, list[tuple[Chip, str]]] = {}
    for chip in chips:
        for remark in chip.remarks:
            kinds.setdefault(re.sub(r"[\d.,]+", "#", remark), []).append((chip, remark))
    out = []
    for said in kinds.values():
        chip, remark = said[0]
        more = f" (and {len(said) - 1} more rows)" if len(said) > 1 else ""
        out.append(f"{file}, row {chip.row}, {chip.name}: {remark}{more}")
    return out
