"""The papers of a handoff: check frame, proof, sheet, READ_ME and manifest."""

from __future__ import annotations

from collections.abc import Sequence

from lookdev.files import write_json, write_whole
from lookdev.jobs.handoff_parts import STILL_BITS, Parts
from lookdev.jobs.handoff_standards import day_of
from lookdev.lut.check_frame import write_check_frame, write_check_values
from lookdev.lut.media_hash_list import write_hash_list
from lookdev.lut.package import MANIFEST, digest_file, write_manifest, write_sums
from lookdev.lut.proof import prove
from lookdev.lut.read_me import Contents, read_me_text
from lookdev.outputs import without_places
from lookdev.survey.survey import Survey


def write_checks(parts: Parts) -> None:
    """Write ``check`` and ``proof``."""
    from lookdev.pages.proof_page import write_proof

    folder, request, made = parts.folder, parts.request, parts.made
    look, source, target = request.look, request.source, request.target
    alone = made.cdls[0][1]
    proof = prove(look, source, target, made.cubes[0], alone, made.cubes[1 : len(request.sizes)])
    write_check_frame(folder / "check", proof.patches, source)
    write_check_values(folder / "check" / "check_values.csv", proof.values)
    write_proof(proof, folder / "proof" / "proof.pdf", folder / "proof" / "proof.png", paper=request.paper)
    write_json(folder / "proof" / "proof.json", proof.numbers())


def write_read_me(parts: Parts, standards: Sequence[str]) -> None:
    """Write READ_ME.txt; ``standards`` : what was written by open standards, in words."""
    request, made = parts.request, parts.made
    look, source, target = request.look, request.source, request.target
    errors = without_places(made.errors, request.scout.folder)
    contents = Contents(
        look,
        source,
        target,
        parts.slug,
        made.cubes,
        made.cdls,
        parts.places,
        errors,
        made.settled.lines(),
        made.before_display,
        made.plain,
        list(standards),
        request.still_edge,
        made.monitors,
        STILL_BITS,
    )
    write_whole(parts.folder / "READ_ME.txt", read_me_text(contents))


def write_record(parts: Parts) -> None:
    """Write the sums, the hash list and manifest.json, last of all."""
    from lookdev import __version__

    folder, request = parts.folder, parts.request
    look = request.look
    head: dict[str, object] = {
        "version": __version__,
        "look": look.title,
        "look_fingerprint": look.fingerprint(),
        "encoding_in": request.source.name,
        "encoding_out": request.target.name,
    }
    write_sums(folder)
    if day := day_of(request.scout.date):
        write_hash_list(folder, f"{parts.slug}_handoff", day)
    write_manifest(folder, head)
    parts.made.manifest_sha256 = digest_file(folder / MANIFEST)


def write_sheets(parts: Parts, surveyed: Survey) -> None:
    """Write ``sheet``."""
    from lookdev.jobs.graded import plan_tasks
    from lookdev.pages.from_batch import build_sheets
    from lookdev.render.preview import do_preview

    folder, look, made = parts.folder / "sheet", parts.request.look, parts.made
    tasks = plan_tasks(surveyed, (look,), folder)
    sheets = build_sheets(
        surveyed,
        (look,),
        lambda stills: {still.name: do_preview(tasks[still.name]) for still in stills},
        folder,
        parts.request.paper,
        lambda done, total, text: None,
        made.settled.by_location,
    )
    for picture in folder.glob(
        "*.png"
    ):  # the PDF is the sheet; its pages as pictures are five times as large
        picture.unlink()
    made.errors += sheets.errors
