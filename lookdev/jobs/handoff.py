"""The handoff: one folder with all that a colourist needs of one look, and its zip.

The look as LUTs in the encoding of the footage, as an editable CDL, as a process list; a frame to check them
with; the proof; reference stills before and after; the sheet; the look in plain words; a manifest. Each of
these has a file of its own beside this one.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from lookdev.errors import LookdevError, RequestError
from lookdev.jobs.choices import settle_for_one
from lookdev.jobs.common import (
    Line,
    Tell,
    check_cube_size,
    compile_on_first_use,
    counter,
    need_stills,
    unheard,
)
from lookdev.jobs.handoff_cdls import scenes_by_place, write_cdls
from lookdev.jobs.handoff_luts import (
    monitor_ends,
    write_look,
    write_luts,
    write_place_casts,
    write_process_list,
)
from lookdev.jobs.handoff_papers import write_checks, write_read_me, write_record, write_sheets
from lookdev.jobs.handoff_parts import Handoff, HandoffRequest, Parts
from lookdev.jobs.handoff_standards import write_standards
from lookdev.jobs.handoff_stills import write_differences, write_reference_stills
from lookdev.jobs.own_colours import own_colours
from lookdev.lut.package import HASH_LISTS, MANIFEST, STAGE, files_below, write_zip
from lookdev.lut.shared import shared_places
from lookdev.lut.swap import finish, is_decided, look_at, part_of, swap
from lookdev.names import look_names
from lookdev.outputs import check_outputs, inputs_of, refuse_scout, writing
from lookdev.survey.footage import footage_labels, footage_places
from lookdev.survey.survey import Survey, survey

Count = Callable[[int, int, str], None]

_FOLDERS = (
    "aces",
    HASH_LISTS,
    "look",
    "luts",
    "cdl",
    "check",
    "proof",
    "sheet",
    "stills/graded",
    "stills/ungraded",
)


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
    with writing(request.out, inputs, planned, as_one=True):
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
    steps = len(request.sizes) + 5 + bool(monitor_ends(source, target))
    total = len(surveyed.usable) + 2 * len(places) + steps
    count = 0

    def tell(text: str) -> None:
        nonlocal count
        count += 1
        step(count, total, text)

    parts = Parts(folder, slug, request, places, labels, made, tell)
    write_look(folder / "look", slug, look)
    by_place = write_luts(parts, own)
    samples = write_reference_stills(parts, surveyed, by_place)
    write_cdls(parts, samples, scenes_by_place(surveyed, places))
    tell("CLF, check frame and proof")
    write_place_casts(parts, by_place)
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
    write_process_list(parts)
    write_checks(parts)
    tell("sheets")
    write_sheets(parts, surveyed)
    write_differences(parts)
    write_read_me(parts, standards)
    tell("manifest")
    write_record(parts)
