"""The reference stills of a handoff: as footage before and after the look, and how far LUTs are off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import Encoding
from lookdev.errors import LookdevError
from lookdev.files import write_whole
from lookdev.jobs.handoff_parts import STILL_BITS, Handoff, HandoffRequest, Parts, ReferenceStill
from lookdev.jobs.own_colours import to_footage
from lookdev.lut.bake import CubeReport
from lookdev.lut.check_frame import write_frame_tiff
from lookdev.lut.cube import CubeLut, read_cube
from lookdev.lut.error import appearance, difference
from lookdev.names import still_stems
from lookdev.survey.footage import FootagePlace, footage_cast
from lookdev.survey.survey import Survey, SurveyedStill
from lookdev.text.csv_out import csv_text

if TYPE_CHECKING:
    from lookdev.stills.still import Still

Array = NDArray[np.float64]

_SAMPLES_PER_STILL = 600


@dataclass(frozen=True)
class _ReadBack:
    """A .cube of the package as whoever gets it reads it: the file, not the table that it was made from."""

    file_name: str
    table: CubeLut

    @classmethod
    def of(cls, path: Path) -> _ReadBack:
        return cls(path.name, read_cube(path))


def write_reference_stills(
    parts: Parts, surveyed: Survey, by_place: Mapping[str | None, CubeReport]
) -> dict[str | None, list[Array]]:
    """Write ``stills``; gives colours (n, 3) of them in the footage's encoding, by place, and all by None."""
    request, made = parts.request, parts.made
    stems = still_stems([name for _, name in surveyed.every_still])
    samples: dict[str | None, list[Array]] = {}
    read_back = {key: _ReadBack.of(report.path) for key, report in by_place.items()}
    at = {name: place for place in parts.places for name in place.stills}
    for still in surveyed.usable:
        parts.tell(still.name)
        try:
            _reference_still(
                parts.folder / "stills",
                still,
                stems[still.name],
                request,
                at.get(still.name) if still.cast is not None else None,
                read_back,
                made,
                samples,
            )
        except LookdevError as error:
            made.errors.append(str(error))
    return samples


def write_differences(parts: Parts) -> None:
    """Write stills/differences.csv."""
    write_whole(parts.folder / "stills" / "differences.csv", _differences_csv(parts.made.stills))


def _reference_still(
    folder: Path,
    surveyed: SurveyedStill,
    stem: str,
    request: HandoffRequest,
    place: FootagePlace | None,
    cubes: dict[str | None, _ReadBack],
    made: Handoff,
    samples: dict[str | None, list[Array]],
) -> None:
    from lookdev.render.reference import grade_reference

    still = surveyed.read(max_edge_px=request.still_edge)
    cast, stops = surveyed.cast, surveyed.exposure_stops
    footage = footage_cast(surveyed, request.scout.plan) if cast is not None else None
    before = _at_still_bits(
        grade_reference(
            still.pixels, to_footage(surveyed, still.encoding, request.source, request.scout.plan), bits=16
        ),
        request.source,
    )
    graded = request.look.transform(request.source, request.target, footage)
    after = _at_still_bits(grade_reference(before, graded, bits=16), request.target)
    approved = request.look.transform(still.encoding, request.target, cast, stops)
    name = f"{stem}.tif"
    note = f"{stem}, {surveyed.location}"
    _write_tiff(folder / "ungraded" / name, before, request.source, f"{note}, ungraded", still)
    _write_tiff(
        folder / "graded" / name, after, request.target, f"{note}, through {request.look.title}", still
    )
    key = place.name if place is not None else None
    thinned = slice(None, None, max(1, before.size // 3 // 20000))
    flat, wanted = (frame.reshape(-1, 3)[thinned] / 65535.0 for frame in (before, after))
    sheet = grade_reference(still.pixels.reshape(-1, 1, 3)[thinned], approved, bits=16)[:, 0] / 65535.0
    shown = appearance(wanted, request.target)
    cube = cubes[key]
    got = cube.table(flat)
    if request.target.state == "output":
        got = np.clip(got, 0.0, 1.0)
    deltas = ciede2000(shown, appearance(got, request.target))
    on_sheet = difference(flat, np.asarray(ciede2000(shown, appearance(sheet, request.target))))
    made.stills.append(
        ReferenceStill(stem, surveyed.location, place, cube.file_name, difference(flat, deltas), on_sheet)
    )
    thin = flat[:: max(1, len(flat) // _SAMPLES_PER_STILL)]
    for each in {key, None}:
        samples.setdefault(each, []).append(thin)


def _at_still_bits(frame: NDArray[np.generic], encoding: Encoding) -> NDArray[np.uint16]:
    """16-bit codes on those of STILL_BITS, over the whole range; linear light is left as it is."""
    codes = frame.astype(np.uint16)
    if encoding.is_linear:
        return codes
    steps = 2**STILL_BITS - 1
    on_steps = np.rint(np.rint(np.arange(65536) * (steps / 65535)) * (65535 / steps)).astype(np.uint16)
    return np.asarray(on_steps[codes])


def _write_tiff(path: Path, frame: NDArray[np.generic], encoding: Encoding, note: str, still: Still) -> None:
    from lookdev.errors import StillError
    from lookdev.stills.icc import profile_bytes

    try:
        profile = profile_bytes(encoding) if encoding.state == "output" else None
    except StillError:
        profile = None
    write_frame_tiff(path, frame.astype(np.uint16), f"{note}, {encoding.name}", profile)


def _differences_csv(stills: list[ReferenceStill]) -> str:
    head = ["still", "location", "cube", "mean_ciede2000", "p95_ciede2000", "largest_ciede2000"]
    head += ["from_sheet_mean_ciede2000", "from_sheet_p95_ciede2000"]
    rows = []
    for still in stills:
        d = still.apart
        sheet = still.from_sheet
        numbers = (f"{v:.4f}" for v in (d.mean, d.p95, d.maximum, sheet.mean, sheet.p95))
        rows.append([still.name, still.location, still.cube, *numbers])
    return csv_text(head, rows)
