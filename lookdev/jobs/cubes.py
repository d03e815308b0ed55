"""Looks as .cube files: each alone, and with the balance of each metered place of a scout."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.errors import LookdevError, RequestError
from lookdev.jobs.common import (
    Line,
    Tell,
    check_cube_size,
    check_folder,
    counter,
    cube_ends,
    unheard,
    writing,
)
from lookdev.jobs.own_colours import Array, of_stills, own_colours
from lookdev.lut.bake import CubeReport, export_cube
from lookdev.lut.naming import cube_tail, lut_file
from lookdev.lut.shared import shared_places
from lookdev.names import Names, look_names
from lookdev.outputs import inputs_of, refuse_any_scout, refuse_scout
from lookdev.survey.footage import FootagePlace, footage_labels, footage_places
from lookdev.survey.survey import Survey, survey

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout

CURVE_POINTS = 1024


@dataclass(frozen=True)
class CubesRequest:
    """What was asked for.

    Attributes
    ----------
    looks : to write.
    out : folder for the files; or, where one look in one size is all, a file whose name ends in .cube.
    scout : write each look with the balance of each of its places too; None for the looks alone.
    encoding_in, encoding_out : by name; without them the scout's footage encoding, else sRGB, to BT.709 (to
        sRGB from sRGB).
    range_in, range_out : "full" or "narrow"; None as the encoding says.
    sizes : points a side, of 17, 33 and 65.
    one_dimensional : a 1D LUT of 1024 points, for a look that treats each channel alone.
    domain : code values in at the table's two ends.
    only : locations of the scout, by name.
    reads : files that the looks were read from; nothing is written over them.
    """

    looks: tuple[LookLike, ...]
    out: Path
    scout: Scout | None = None
    encoding_in: str | None = None
    encoding_out: str | None = None
    range_in: str | None = None
    range_out: str | None = None
    sizes: tuple[int, ...] = (65,)
    one_dimensional: bool = False
    domain: tuple[float, float] = (0.0, 1.0)
    only: tuple[str, ...] = ()
    reads: tuple[Path, ...] = ()

    def ends(self) -> tuple[Encoding, Encoding]:
        """The encodings in and out.

        Raises
        ------
        RequestError : one is not known, or has no such range.
        """
        from lookdev.colorimetry.encodings import with_range

        footage = self.scout.plan.footage_encoding if self.scout is not None else None
        source, target = cube_ends(self.encoding_in, self.encoding_out, footage)
        return with_range(source, self.range_in), with_range(target, self.range_out)


@dataclass(frozen=True)
class WrittenCube:
    """One .cube: of which look, with the balance of which place (None: none), and what was measured; ``file``
    is its path below the folder of all of them."""

    look: LookLike
    place: FootagePlace | None
    report: CubeReport
    file: str = ""

    def numbers(self, place_key: str) -> dict[str, object]:
        """For JSON; the place's name under ``place_key``."""
        place = self.place.name if self.place is not None else None
        against = self.place.balance_words if self.place is not None else None
        numbers = self.report.numbers() | {"file": self.file}
        readings = list(self.place.readings) if self.place is not None else []
        return {
            "look": self.look.title,
            place_key: place,
            "holds_for": against,
            "readings": readings,
            **numbers,
        }


@dataclass(frozen=True)
class CubesResult:
    """``written`` in order; ``errors`` : one line for each thing that could not be done."""

    written: list[WrittenCube] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class CubeJob:
    """One .cube to write; ``file`` is its path below the folder of all of them."""

    look: LookLike
    place: FootagePlace | None
    size: int
    path: Path
    file: str = ""

    @property
    def words(self) -> str:
        """For a progress line."""
        return f"cube {self.look.title}" + (f", {self.place.name}" if self.place is not None else "")


def run(request: CubesRequest, tell: Tell = unheard) -> CubesResult:
    """Write the .cube files.

    Raises
    ------
    RequestError : the request is wrong, or a 1D LUT was asked of a look that mixes channels.
    """
    for size in request.sizes:
        check_cube_size(size, "--size")
    surveyed = None
    errors: list[str] = []
    if request.scout is not None:
        refuse_scout(request.scout.folder, _folder(request.out))
        surveyed = survey(request.scout, request.only)
        errors += surveyed.errors
        for line in errors:
            tell(Line(line))
    else:
        if request.only:
            raise RequestError(
                "--only needs a scout", wanted="lookdev cube SCOUT --looks LOOKS --only LOCATION"
            )
        refuse_any_scout(_folder(request.out))
    ends = request.ends()
    sizes = (CURVE_POINTS,) if request.one_dimensional else tuple(dict.fromkeys(request.sizes))
    jobs = cube_jobs(surveyed, request.looks, _folder(request.out), ends, sizes)
    if request.out.suffix.lower() == ".cube":
        jobs = [_one_file(jobs, request.out)]
    check_folder(_folder(request.out))
    written: list[WrittenCube] = []
    step, inputs = counter(tell), inputs_of(request.scout, more=request.reads)
    own = own_colours(surveyed, ends[0]) if surveyed is not None else {}
    with writing(_folder(request.out), inputs, [job.path for job in jobs], verb="cube", tell=tell):
        for count, job in enumerate(jobs, 1):
            try:
                written.append(_write(job, ends, request.one_dimensional, request.domain, own))
            except RequestError:
                raise
            except LookdevError as error:
                errors.append(str(error))
                tell(Line(str(error)))
            step(count, len(jobs), job.words)
    return CubesResult(written, errors)


def write_one(job: CubeJob, ends: tuple[Encoding, Encoding]) -> dict[str, object]:
    """Write a LUT of a batch; its numbers for summary.json.

    Raises
    ------
    LookdevError : it could not be written.
    """
    return _write(job, ends).numbers("balance")


def cube_jobs(
    surveyed: Survey | None,
    looks: Sequence[LookLike],
    folder: Path,
    ends: tuple[Encoding, Encoding],
    sizes: tuple[int, ...],
) -> list[CubeJob]:
    """Each look alone, and with the balance of each metered place, in each size; and into which file.

    A place's balance is that which footage needs: against the plan's, or else the stills camera's. Readings
    of a location that a look can hardly tell apart share one. In a scout each look has a folder.
    """
    every = footage_places(surveyed) if surveyed is not None else []
    names, jobs = Names(), []
    for look, slug in zip(looks, look_names(look.title for look in looks), strict=True):
        places = shared_places(look, every, *ends)
        labels = footage_labels(places, surveyed.every_location if surveyed is not None else ())
        below = f"{slug}/" if surveyed is not None else ""
        for place, label in ((None, ""), *zip(places, labels, strict=True)):
            for size in sizes:
                file = below + lut_file(names, slug, label, cube_tail(*ends, size))
                jobs.append(CubeJob(look, place, size, folder / file, file))
    return jobs


def _folder(out: Path) -> Path:
    return out.parent if out.suffix.lower() == ".cube" else out


def _one_file(jobs: Sequence[CubeJob], path: Path) -> CubeJob:
    """The only job there is, into the file that was asked for."""
    from dataclasses import replace

    if len(jobs) != 1:
        raise RequestError(
            "one file cannot hold them",
            key="--out",
            found=f"{len(jobs)} LUTs for {path.name}",
            wanted="a folder; or one look and one --size, without a scout",
        )
    if path.is_dir():
        raise RequestError("is a folder", file=path, wanted="a file to write, NAME.cube")
    return replace(jobs[0], path=path, file=path.name)


def _write(
    job: CubeJob,
    ends: tuple[Encoding, Encoding],
    one_dimensional: bool = False,
    domain: tuple[float, float] = (0.0, 1.0),
    own: Mapping[str, Array] | None = None,
) -> WrittenCube:
    place = job.place
    report = export_cube(
        job.look,
        *ends,
        job.path,
        size=job.size,
        cast=place.cast if place is not None else None,
        place=place.name if place is not None else None,
        balance=place.balance_words if place is not None else "",
        one_dimensional=one_dimensional,
        domain=domain,
        own=of_stills(own or {}, None if place is None else place.stills),
        readings=place.readings if place is not None else (),
    )
    return WrittenCube(job.look, place, report, job.file)
