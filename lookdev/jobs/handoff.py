"""The handoff: one folder with all that a colourist needs of one look, and its zip.

The look as LUTs in the encoding of the footage, as an editable CDL, as a process list; a frame to check them
with; the proof; reference stills before and after; the sheet; the look in plain words; a manifest.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import BT709, Encoding, with_range
from lookdev.errors import LookdevError, RequestError
from lookdev.files import safe_name, write_json, write_whole
from lookdev.jobs.choices import Settled, settle_for_one
from lookdev.jobs.common import (
    Line,
    Tell,
    check_cube_size,
    compile_on_first_use,
    counter,
    need_stills,
    unheard,
)
from lookdev.jobs.handoff_standards import write_standards
from lookdev.jobs.own_colours import of_stills, own_colours, to_footage
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import LookLike
from lookdev.lut.bake import CubeReport, export_cube
from lookdev.lut.cdl import CdlFit, ccc_text, cdl_text, fit_cdl, write_cc
from lookdev.lut.check_frame import write_check_frame, write_check_values, write_frame_tiff
from lookdev.lut.clf import clf_text, write_clf
from lookdev.lut.cube import CubeLut, read_cube
from lookdev.lut.error import Difference, appearance, difference
from lookdev.lut.naming import cube_tail, lut_file
from lookdev.lut.package import (
    MANIFEST,
    STAGE,
    digest_file,
    files_below,
    write_manifest,
    write_sums,
    write_zip,
)
from lookdev.lut.proof import prove
from lookdev.lut.read_me import Contents, read_me_text
from lookdev.lut.rebuild import PLAIN_TITLE, write_casts
from lookdev.lut.scenes import by_scene, scenes_of, write_scenes
from lookdev.lut.shared import shared_places
from lookdev.lut.swap import finish, is_decided, look_at, part_of, swap
from lookdev.names import Names, look_names, still_stems
from lookdev.outputs import check_outputs, inputs_of, refuse_scout, without_places, writing
from lookdev.survey.footage import (
    FootagePlace,
    footage_cast,
    footage_labels,
    footage_places,
)
from lookdev.survey.survey import Survey, SurveyedStill, survey
from lookdev.text.csv_out import csv_text

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout
    from lookdev.stills.still import Still

Array = NDArray[np.float64]
Count = Callable[[int, int, str], None]

_SAMPLES_PER_STILL = 600
STILL_EDGE = 360
"""Sixteen-bit stills hardly compress: at this size a whole scout's package stays under 40 MB."""
FINE_SIZE = 65
MONITOR_SIZE = 33
PLAIN = "plain_rendering"


@dataclass(frozen=True)
class HandoffRequest:
    """What was asked for.

    ``sizes`` of the look's own .cube, the first one also for each location; ``still_edge`` long edge of the
    reference stills in pixels; ``choices`` the director's, as text; ``reads`` further files that are read:
    the look's.
    """

    scout: Scout
    look: LookLike
    source: Encoding
    target: Encoding
    out: Path
    sizes: tuple[int, ...] = (65, 33, 17)
    only: tuple[str, ...] = ()
    paper: str = "a4"
    still_edge: int = STILL_EDGE
    choices: str | None = None
    reads: tuple[Path, ...] = ()


@dataclass(frozen=True)
class ReferenceStill:
    """One still of the package: its names, its place, and how far LUT and look are apart on it.

    ``from_sheet`` : how far the graded still, which stands as footage, is from the picture on the sheet.
    """

    name: str
    location: str
    place: FootagePlace | None
    cube: str
    apart: Difference
    from_sheet: Difference


@dataclass(frozen=True)
class _ReadBack:
    """A .cube of the package as whoever gets it reads it: the file, not the table that it was made from."""

    file_name: str
    table: CubeLut

    @classmethod
    def of(cls, path: Path) -> _ReadBack:
        return cls(path.name, read_cube(path))


@dataclass
class Handoff:
    """What was made; ``kept``: files in the folder that no handoff wrote; ``settled``: what was chosen.

    ``before_display`` : the look alone, from the footage's encoding to the same, to stand before whatever
    shows it. ``monitors`` : in narrow range, for boxes and monitors. ``plain`` : the plain rendering, which
    shows footage without a look. ``manifest_sha256`` : of manifest.json; to be told by another way than the
    package itself.
    """

    folder: Path
    archive: Path
    cubes: list[CubeReport] = field(default_factory=list)
    before_display: CubeReport | None = None
    plain: CubeReport | None = None
    monitors: list[CubeReport] = field(default_factory=list)
    manifest_sha256: str = ""
    cdls: list[tuple[str, CdlFit]] = field(default_factory=list)
    stills: list[ReferenceStill] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    settled: Settled = field(default_factory=Settled)


_FOLDERS = ("aces", "look", "luts", "cdl", "check", "proof", "sheet", "stills/graded", "stills/ungraded")


def run(request: HandoffRequest, tell: Tell = unheard) -> Handoff:
    """Make the folder and the zip; they take their names only when all of it is there, and both together.

    A link is followed. An earlier handoff in the folder is replaced, file by file of its manifest; whatever
    else lies there stays, and is named in ``kept``.

    Raises
    ------
    RequestError : scout and output folder lie in each other, or the folder or the zip's place holds something
        that is not an earlier handoff.
    """
    for size in request.sizes:
        check_cube_size(size, "--size")
    scout, out = request.scout.folder.resolve(), request.out.resolve()
    refuse_scout(request.scout.folder, request.out)
    if out in scout.parents:
        raise RequestError(
            "the scout lies inside the output folder",
            file=request.out,
            wanted="a folder beside it (--out DIR)",
        )
    beside = out if request.out.name in ("", "..") else request.out
    beside = beside.with_name(f"{beside.name}.zip")
    archive = beside.resolve()
    inputs = inputs_of(request.scout, more=request.reads)
    slug = look_names([request.look.title])[0]
    surveyed = survey(request.scout, request.only)
    need_stills(surveyed)
    settled = settle_for_one(surveyed, request.look, request.choices)
    planned = [archive, part_of(archive), *(out / name / "x" for name in _FOLDERS), out / MANIFEST]
    with writing(request.out, inputs, planned):
        try:
            finish(out)  # of a run that was killed
            earlier = look_at(out, archive)
            made = Handoff(request.out, beside, errors=list(surveyed.errors), settled=settled)
            made.kept = earlier.strangers
            stage = out / STAGE / "files"
            stage.mkdir(parents=True)
            compile_on_first_use(tell)  # the request was found good
            _fill(stage, slug, request, surveyed, made, counter(tell))
            write_zip(stage, part_of(archive), f"{slug}_handoff")
            check_outputs(inputs, out, [out / name for name, _ in files_below(stage)])
            swap(out, archive, earlier)
        except OSError as error:
            raise LookdevError(f"cannot be written: {error.strerror or error}", file=request.out) from error
        finally:
            if not is_decided(out):
                shutil.rmtree(out / STAGE, ignore_errors=True)
                part_of(archive).unlink(missing_ok=True)
    for line in (*settled.warnings, *made.errors):
        tell(Line(line))
    for name in made.kept:
        tell(Line(f"{made.folder / name}: no handoff wrote this file; kept"))
    return made


def _fill(
    folder: Path, slug: str, request: HandoffRequest, surveyed: Survey, made: Handoff, step: Count
) -> None:
    look, source, target = request.look, request.source, request.target
    places = shared_places(look, footage_places(surveyed), source, target)
    own = own_colours(surveyed, source)
    names = (place.name for place in places)
    labels = dict(zip(names, footage_labels(places, surveyed.every_location), strict=True))
    stems = still_stems([name for _, name in surveyed.every_still])
    work = surveyed.usable
    total = len(work) + 2 * len(places) + len(request.sizes) + 5 + bool(_monitor_ends(source, target))
    count = 0

    def tell(text: str) -> None:
        nonlocal count
        count += 1
        step(count, total, text)

    _write_look(folder / "look", slug, look)
    by_place: dict[str | None, CubeReport] = {}
    files = Names()
    for size in request.sizes:
        tell(f"{size}³ LUT")
        name = lut_file(files, slug, "", cube_tail(source, target, size))
        path = folder / "luts" / name
        made.cubes.append(export_cube(look, source, target, path, size=size, own=of_stills(own, None)))
    by_place[None] = made.cubes[0]
    for place in places:
        tell(f"LUT for {place.name}")
        name = lut_file(files, slug, labels[place.name], cube_tail(source, target, request.sizes[0]))
        path = folder / "luts" / name
        report = export_cube(
            look,
            source,
            target,
            path,
            size=request.sizes[0],
            cast=place.cast,
            place=place.name,
            balance=place.balance_words,
            own=of_stills(own, place.stills),
            readings=place.readings,
        )
        made.cubes.append(report)
        by_place[place.name] = report
    if ends := _monitor_ends(source, target):
        tell("LUTs for monitors")
        _write_monitors(folder / "luts" / "monitor", slug, look, ends, labels, places, made)
    tell("the look before the display, and the plain rendering")
    _write_apart(folder / "luts", slug, request, files, made)
    samples: dict[str | None, list[Array]] = {}
    read_back = {key: _ReadBack.of(report.path) for key, report in by_place.items()}
    at = {name: place for place in places for name in place.stills}
    for still in work:
        tell(still.name)
        try:
            _reference_still(
                folder / "stills",
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
    scenes = _scenes(surveyed, places)
    _write_cdls(folder / "cdl", slug, request, labels, places, samples, scenes, made, tell)
    tell("CLF, check frame and proof")
    casts: dict[str, list[Cast]] = {}
    for place in places:
        file = by_place[place.name].path.relative_to(folder).as_posix()
        casts.setdefault(file, []).append(place.cast)
    for place, report in zip(places, made.monitors[1:], strict=False):  # there are none for light
        casts[report.path.relative_to(folder).as_posix()] = [place.cast]
    write_casts(folder, casts)
    standards = write_standards(
        folder,
        slug,
        look,
        source,
        target,
        by_place,
        made.cdls,
        made.plain,
        made.before_display,
        request.scout.date,
    )
    alone = made.cdls[0][1]
    text = clf_text(
        look,
        source,
        target,
        slug,
        size=request.sizes[0],
        notes=[look.describe(), "no location's balance is in it"],
    )
    write_clf(folder / "luts" / f"{slug}.clf", text)
    proof = prove(look, source, target, made.cubes[0], alone, made.cubes[1 : len(request.sizes)])
    write_check_frame(folder / "check", proof.patches, source)
    write_check_values(folder / "check" / "check_values.csv", proof.values)
    from lookdev.pages.proof_page import write_proof

    write_proof(proof, folder / "proof" / "proof.pdf", folder / "proof" / "proof.png", paper=request.paper)
    write_json(folder / "proof" / "proof.json", proof.numbers())
    tell("sheets")
    _write_sheets(folder / "sheet", surveyed, look, request.paper, made)
    write_whole(folder / "stills" / "differences.csv", _differences_csv(made.stills))
    errors = without_places(made.errors, request.scout.folder)
    contents = Contents(
        look,
        source,
        target,
        slug,
        made.cubes,
        made.cdls,
        places,
        errors,
        made.settled.lines(),
        made.before_display,
        made.plain,
        standards,
        request.still_edge,
        made.monitors,
    )
    write_whole(folder / "READ_ME.txt", read_me_text(contents))
    tell("manifest")
    from lookdev import __version__

    head: dict[str, object] = {
        "version": __version__,
        "look": look.title,
        "look_fingerprint": look.fingerprint(),
        "encoding_in": source.name,
        "encoding_out": target.name,
    }
    write_sums(folder)
    write_manifest(folder, head)
    made.manifest_sha256 = digest_file(folder / MANIFEST)


def _write_apart(folder: Path, slug: str, request: HandoffRequest, files: Names, made: Handoff) -> None:
    """The look without what shows it, and what shows it without the look: .cube and CLF each."""
    look, source, shown = request.look, request.source, _shown(request)
    name = lut_file(files, slug, "", cube_tail(source, source, FINE_SIZE))
    if (folder / name).exists():  # the package is from an encoding to the same: it is its LUT
        made.before_display = next(r for r in made.cubes if r.path.name == name)
    else:
        made.before_display = export_cube(look, source, source, folder / name, size=FINE_SIZE)
    plain = Look(title=PLAIN_TITLE)
    name = lut_file(files, PLAIN, "", cube_tail(source, shown, FINE_SIZE))
    made.plain = export_cube(plain, source, shown, folder / name, size=FINE_SIZE)
    behind = f"for {source.name} before the show's own display transform; its range is held to the encoding's"
    for one, target, stem, note in (
        (look, source, f"{slug}.before_display", f"the look alone, {behind}"),
        (plain, shown, PLAIN, f"no look: {source.name} shown as {shown.name}; what the CDLs stand before"),
    ):
        text = clf_text(one, source, target, stem, size=FINE_SIZE, notes=[one.describe(), note])
        write_clf(folder / f"{stem}.clf", text)


def _monitor_ends(source: Encoding, target: Encoding) -> tuple[Encoding, Encoding] | None:
    """Both ends in narrow range, as boxes and monitors on a cable take it; None where there is no such thing,
    or the package is in it anyway."""
    if source.is_linear or target.state != "output" or "narrow" in (source.code_range, target.code_range):
        return None
    return with_range(source, "narrow"), with_range(target, "narrow")


def _write_monitors(
    folder: Path,
    slug: str,
    look: LookLike,
    ends: tuple[Encoding, Encoding],
    labels: Mapping[str, str],
    places: Sequence[FootagePlace],
    made: Handoff,
) -> None:
    """The look alone and at each place, in 33 points and narrow range."""
    names, tail = Names(), cube_tail(*ends, MONITOR_SIZE)
    path = folder / lut_file(names, slug, "", tail)
    made.monitors.append(export_cube(look, *ends, path, size=MONITOR_SIZE))
    for place in places:
        path = folder / lut_file(names, slug, labels[place.name], tail)
        report = export_cube(
            look,
            *ends,
            path,
            size=MONITOR_SIZE,
            cast=place.cast,
            place=place.name,
            balance=place.balance_words,
            readings=place.readings,
        )
        made.monitors.append(report)


def _shown(request: HandoffRequest) -> Encoding:
    """What the plain rendering gives: the package's own target, or BT.709 where that is no picture."""
    return request.target if request.target.state == "output" else BT709


def _write_look(folder: Path, slug: str, look: LookLike) -> None:
    """The look's own file, whole: what it was based on is in it."""
    if isinstance(look, Look):
        from lookdev.looks.keys import look_text

        write_whole(folder / f"{slug}.toml", look_text(look))
        return
    from lookdev.lut.cube import write_cube
    from lookdev.lut.received import ReceivedLut

    if isinstance(look, ReceivedLut):
        name = safe_name(look.file_name or f"{slug}.cube")
        if isinstance(look.lut, CubeLut):
            write_cube(folder / name, look.lut)
        else:
            write_whole(folder / name, look.lut.raw)
        request = {"cube": f"{name}@{look.source.name}:{look.target.name}", "title": look.title}
        extra: dict[str, object] = {"keep": look.keep} if look.keep != 1.0 else {}
        import tomlkit

        write_whole(folder / f"{slug}.toml", tomlkit.dumps({**request, **extra}))


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
    before = grade_reference(
        still.pixels, to_footage(surveyed, still.encoding, request.source, request.scout.plan), bits=16
    )
    graded = request.look.transform(request.source, request.target, footage)
    after = grade_reference(before, graded, bits=16)
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


def _write_tiff(path: Path, frame: NDArray[np.generic], encoding: Encoding, note: str, still: Still) -> None:
    from lookdev.errors import StillError
    from lookdev.stills.icc import profile_bytes

    try:
        profile = profile_bytes(encoding) if encoding.state == "output" else None
    except StillError:
        profile = None
    write_frame_tiff(path, frame.astype(np.uint16), f"{note}, {encoding.name}", profile)


def _write_cdls(
    folder: Path,
    slug: str,
    request: HandoffRequest,
    labels: Mapping[str, str],
    places: list[FootagePlace],
    samples: dict[str | None, list[Array]],
    scenes: Mapping[str, list[str]],
    made: Handoff,
    tell: Callable[[str], None],
) -> None:
    look, source, target = request.look, request.source, request.target
    tell("CDL")
    seen = np.concatenate(samples[None]) if None in samples else None
    alone = fit_cdl(look, source, target, scout_inputs=seen)
    made.cdls.append((slug, alone))
    for place in places:
        tell(f"CDL for {place.name}")
        own = np.concatenate(samples[place.name]) if place.name in samples else None
        fit = fit_cdl(
            look,
            source,
            target,
            scout_inputs=own,
            cast=place.cast,
            place=place.name,
            balance=place.balance_words,
            start=alone.cdl,
        )
        made.cdls.append((f"{slug}@{labels[place.name]}", fit))
    behind = f"the plain rendering of {source.name} to {_shown(request).name}: luts/{PLAIN}.clf"
    if made.plain is not None:
        behind += f" or luts/{made.plain.path.name}"
    for identifier, fit in made.cdls:
        write_cc(folder / f"{identifier}.cc", fit, identifier, behind)
    note = f"{look.title}, nearest CDL in {source.name}; each says how near"
    write_whole(folder / f"{slug}.ccc", ccc_text(made.cdls, note, behind))
    write_scenes(folder, slug, by_scene(made.cdls, scenes), note, behind)
    by_name = {fit.place: (identifier, fit) for identifier, fit in made.cdls}
    decisions = [
        (f"stills/ungraded/{s.name}.tif", *by_name[s.place.name if s.place is not None else None])
        for s in made.stills
    ]
    if decisions:
        write_whole(folder / f"{slug}.cdl", cdl_text(decisions, note, behind))


def _scenes(surveyed: Survey, places: Sequence[FootagePlace]) -> dict[str, list[str]]:
    """The scenes that the log names for the stills of each place."""
    named = {s.name: scenes_of(s.reading.scene) for s in surveyed.usable if s.reading is not None}
    return {
        place.name: list(dict.fromkeys(scene for still in place.stills for scene in named.get(still, ())))
        for place in places
    }


def _write_sheets(folder: Path, surveyed: Survey, look: LookLike, paper: str, made: Handoff) -> None:
    from lookdev.jobs.graded import plan_tasks
    from lookdev.pages.from_batch import build_sheets
    from lookdev.render.preview import do_preview

    tasks = plan_tasks(surveyed, (look,), folder)
    sheets = build_sheets(
        surveyed,
        (look,),
        lambda stills: {still.name: do_preview(tasks[still.name]) for still in stills},
        folder,
        paper,
        lambda done, total, text: None,
        made.settled.by_location,
    )
    for picture in folder.glob(
        "*.png"
    ):  # the PDF is the sheet; its pages as pictures are five times as large
        picture.unlink()
    made.errors += sheets.errors


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
