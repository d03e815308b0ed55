"""Contact pages of a scout: every still under a lettered grid, with the chart that is found in it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.errors import LookdevError, StillError
from lookdev.jobs.common import Progress, Tell, check_folder, unheard
from lookdev.outputs import inputs_of, refuse_scout, writing

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout
    from lookdev.pages.contact import ContactStill


def run(scout: Scout, out: Path, tell: Tell = unheard) -> tuple[list[Path], list[str]]:
    """Write ``contact_01.png`` and on into a folder; the files, and what could not be read, a line each.

    Raises
    ------
    RequestError : the folder cannot be written to, or lies in the scout.
    """
    from lookdev.files import write_whole
    from lookdev.pages.contact import A_PAGE, contact_pages
    from lookdev.survey.patch import ROWS, columns
    from lookdev.survey.survey import survey

    refuse_scout(scout.folder, out)
    check_folder(out)
    stills, errors = [], []
    surveyed = survey(scout)
    count = -(-len(surveyed.stills) // (A_PAGE[0] * A_PAGE[1]))
    files = [out / f"contact_{n + 1:02d}.png" for n in range(count)]
    with writing(out, inputs_of(scout), files):
        for done, still in enumerate(surveyed.stills, 1):
            try:
                stills.append(_still(still.path, still.name, still.patch))
            except LookdevError as error:
                errors.append(str(error))
            tell(Progress(done, len(surveyed.stills), still.name))
        pages = contact_pages(stills, columns(), ROWS)
        for path, page in zip(files, pages, strict=False):
            write_whole(path, _png(page))
    return files[: len(pages)], errors


def _still(path: Path, name: str, patch: tuple[int, int, int, int] | None) -> ContactStill:
    import numpy as np

    from lookdev.errors import one_line
    from lookdev.pages.contact import STILL_PX, ContactStill
    from lookdev.render.thumbnail import as_srgb, reduced_to_box
    from lookdev.stills.reader import read_still
    from lookdev.survey.chart import find_grey

    still = read_still(path)
    small = reduced_to_box(still.pixels, still.encoding, (STILL_PX, STILL_PX))
    shown = np.asarray(as_srgb(small, still.encoding), dtype=np.uint8)
    height, width = still.full_size
    outlines, words = [], [one_line(name), f"{width} x {height}"]
    try:
        found = find_grey(still)
    except StillError:
        found = None
    if found is not None:
        outlines.append(tuple((x / width, y / height) for x, y in found.corners))
        words.append('chart found: grey = "chart"')
    if patch is not None:
        x, y, w, h = patch
        corners = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
        outlines.append(tuple((a / width, b / height) for a, b in corners))
        words.append(f"grey patch sampled: {x},{y},{w},{h}")
    return ContactStill(shown, "   ".join(words), tuple(outlines))


def _png(page: object) -> bytes:
    import io

    buffer = io.BytesIO()
    page.save(buffer, "PNG")  # type: ignore[attr-defined]
    return buffer.getvalue()
