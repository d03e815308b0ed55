"""A wedge: a look at several values of a key, or from one look to another, on a few stills of a scout."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookdev.errors import RequestError, one_line
from lookdev.jobs.common import (
    Line,
    Tell,
    check_folder,
    compile_on_first_use,
    counter,
    need_stills,
    unheard,
    writing,
)
from lookdev.jobs.graded import StillOptions, preview_task
from lookdev.looks.keys import file_with_numbers, look_text
from lookdev.looks.toml_file import load_look
from lookdev.looks.wedge import Wedge, between, parse_variation, wedge_of
from lookdev.names import still_stems
from lookdev.outputs import inputs_of, refuse_any_scout, refuse_scout
from lookdev.render.in_flight import worker_count
from lookdev.survey.survey import Survey, SurveyedStill, survey

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lookdev.looks.model import Look
    from lookdev.meter.scout import Scout
    from lookdev.pages.wedge_page import WedgePage
    from lookdev.paint.faces import Face
    from lookdev.render.preview import Preview

    Picture = NDArray[np.uint8]

MOST_STILLS = 12
HEROES = 3
CELL_PX = 1100
JPEG_QUALITY = 92
TOLD_APART = 0.5
"""Mean CIEDE2000 under which two pictures are hardly told apart (common practice: 1, of patches)."""


@dataclass(frozen=True)
class WedgeRequest:
    """What was asked for.

    Attributes
    ----------
    scout, look : the look's file.
    vary : one or two of ``KEY = VALUES``.
    towards : with it and without ``vary``, from the look to this one in ``steps``.
    stills : names in the scout, or parts of them; none: the best still of three places.
    take : the sign of a cell that becomes a look file of its own, ``take_to``.
    """

    scout: Scout
    look: Path
    out: Path
    vary: tuple[str, ...] = ()
    towards: Path | None = None
    steps: int = 5
    stills: tuple[str, ...] = ()
    take: str | None = None
    take_to: Path | None = None
    paper: str = "a4"
    workers: int | None = None


@dataclass(frozen=True)
class Step:
    """How far two neighbours are apart on a still: mean CIEDE2000."""

    still: str
    one: str
    two: str
    mean: float


@dataclass(frozen=True)
class WedgeResult:
    """``written`` : the PDF, a JPEG a still, the look that was taken. ``steps`` between neighbours."""

    wedge: Wedge
    written: list[Path]
    taken: Path | None
    steps: list[Step]
    errors: list[str]


def run(request: WedgeRequest, tell: Tell = unheard) -> WedgeResult:
    """Make the pages.

    Raises
    ------
    RequestError : the request is wrong; nothing has been written.
    """
    wedge = made_wedge(request)
    if request.take is not None:
        wedge.cell(request.take)  # there, before a file is named after it
    taken = take_path(request)
    text = taken_text(request, wedge, taken) if taken is not None else ""
    refuse_scout(request.scout.folder, request.out)
    surveyed = survey(request.scout)
    need_stills(surveyed)
    chosen = chosen_stills(surveyed, request.stills)
    check_folder(request.out)
    stems = still_stems([still.name for still in chosen])
    pdf = request.out / "wedge.pdf"
    jpegs = [request.out / f"wedge_{stems[still.name]}.jpg" for still in chosen]
    reads = [request.look, *([request.towards] if request.towards is not None else [])]
    inputs = inputs_of(request.scout, more=reads)
    errors: list[str] = []
    files = [pdf, *jpegs, *([taken] if taken is not None else [])]
    with writing(request.out, inputs, files, verb="wedge", tell=tell):
        compile_on_first_use(tell)
        looks = [cell.look for cell in wedge.cells]
        step = counter(tell)
        pages: list[WedgePage] = []
        steps: list[Step] = []
        kept: list[Path] = []
        with ThreadPoolExecutor(worker_count(request.workers)) as pool:
            from lookdev.render.preview import do_preview

            tasks = [preview_task(s, looks, (CELL_PX, CELL_PX), StillOptions()) for s in chosen]
            previews = pool.map(do_preview, tasks)
            for number, (still, preview, jpeg) in enumerate(zip(chosen, previews, jpegs, strict=True), 1):
                step(number, len(chosen), one_line(still.name))
                if preview.error is not None or preview.as_it_stood is None:
                    errors.append(preview.error or f"{still.name}: cannot be shown")
                    continue
                page, apart = _page(wedge, still, preview, _faces(surveyed, still, looks))
                pages.append(page)
                steps += apart
                kept.append(jpeg)
        written = _write(request, wedge, pages, pdf, kept) if pages else []
        if taken is not None:
            from lookdev.files import write_whole

            write_whole(taken, text)
            written.append(taken)
    for line in errors:
        tell(Line(line))
    return WedgeResult(wedge, written, taken, steps, errors)


def made_wedge(request: WedgeRequest) -> Wedge:
    """The looks of the wedge."""
    look = load_look(request.look)
    if request.towards is not None:
        if request.vary:
            raise RequestError("both keys to vary and a second look", wanted="--vary, or --between")
        return between(look, load_look(request.towards), request.steps)
    return wedge_of(look, [parse_variation(text, look) for text in request.vary])


def take_path(request: WedgeRequest) -> Path | None:
    """Where the look that is taken goes; None if none is."""
    if request.take is None:
        return None
    path = request.take_to or request.out / f"{request.look.stem}_{request.take.strip().lower()}.toml"
    if path.suffix.lower() != ".toml":
        raise RequestError("a look is a .toml file", file=path, wanted=f"{path.name}.toml")
    refuse_any_scout(path.parent)
    if path.exists():
        raise RequestError("is there already", file=path, wanted="another name (--take-to FILE.toml)")
    if not path.parent.is_dir() and path.parent != request.out:
        raise RequestError("no such folder", file=path.parent, wanted="a folder that is there")
    return path


def taken_text(request: WedgeRequest, wedge: Wedge, path: Path) -> str:
    """The look file of the cell that is taken: the file it came from with its numbers in it."""
    cell = wedge.cell(request.take or "")
    if not cell.values:
        if cell.itself:
            raise RequestError(
                "is one of the two looks itself", found=cell.sign, wanted="a cell between them"
            )
        return look_text(cell.look)
    title = cell.look.title if not cell.itself else f"{cell.look.title}, {cell.head}"[:120]
    return file_with_numbers(request.look, dict(cell.values), title, path.resolve().parent)


def chosen_stills(surveyed: Survey, wanted: Sequence[str]) -> list[SurveyedStill]:
    """The stills that were asked for, by name or a part of it; else the best of the first three places.

    Raises
    ------
    RequestError : a name fits none, or several; or too many.
    """
    usable = list(surveyed.usable)
    if not wanted:
        return _heroes(usable)
    found: list[SurveyedStill] = []
    for name in wanted:
        fits = [s for s in usable if s.name == name] or [
            s for s in usable if name.casefold() in s.name.casefold()
        ]
        if len(fits) != 1:
            names = ", ".join(s.name for s in fits[:4])
            raise RequestError(
                "no such still" if not fits else "fits several stills",
                found=name,
                wanted=names or "a still of the scout",
            )
        found.append(fits[0])
    if len(found) > MOST_STILLS:
        raise RequestError("so many stills", found=len(found), wanted=f"at most {MOST_STILLS}")
    return list({still.name: still for still in found}.values())


def _heroes(usable: Sequence[SurveyedStill]) -> list[SurveyedStill]:
    """The best still of each of three places: as the pitch judges them."""
    from lookdev.pages.pitch_model import hero_score
    from lookdev.render.preview import do_preview

    places: dict[str, list[SurveyedStill]] = {}
    for still in usable:
        places.setdefault(still.location, []).append(still)
    found = []
    for stills in list(places.values())[:HEROES]:
        scores = []
        for still in stills[:3]:
            small = do_preview(preview_task(still, (), (480, 480))).as_it_stood if len(stills) > 1 else None
            scores.append(hero_score(small) if small is not None else 0.0)
        found.append(stills[int(np.argmax(scores))])
    return found


def _faces(surveyed: Survey, still: SurveyedStill, looks: Sequence[Look]) -> list[tuple[Face, ...]]:
    """The six complexions in each look under the (first) light of the still's place; empty without one."""
    from lookdev.pages.place_faces import faces_here

    found = faces_here(surveyed, still.location, looks)[: len(looks)]
    return [each.faces for each in found] or [()] * len(looks)


def _page(
    wedge: Wedge, still: SurveyedStill, preview: Preview, faces: Sequence[tuple[Face, ...]]
) -> tuple[WedgePage, list[Step]]:
    from lookdev.pages.wedge_page import WedgeCell, WedgePage

    across = len(wedge.rows[0])
    pictures = preview.graded
    labs = [_lab(picture) for picture in pictures]
    steps: list[Step] = []

    def apart(here: int, there: int) -> float | None:
        mine, theirs = labs[here], labs[there]
        if mine is None or theirs is None:
            return None
        from lookdev.colorimetry.difference import ciede2000

        mean = float(np.mean(ciede2000(mine, theirs)))
        steps.append(Step(still.name, wedge.cells[there].sign, wedge.cells[here].sign, mean))
        return mean

    rows = []
    for j, row in enumerate(wedge.rows):
        cells = []
        for i, cell in enumerate(row):
            at = j * across + i
            words = []
            if i:
                words.append(_said(apart(at, at - 1), wedge.cells[at - 1].sign))
            if j:
                words.append(_said(apart(at, at - across), wedge.cells[at - across].sign))
            head = f"{cell.sign} · {cell.head}" + (
                " · the look itself" if cell.itself and cell.values else ""
            )
            said = ", ".join(w for w in words if w)
            cells.append(WedgeCell(head, said, pictures[at], cell.itself, faces[at]))
        rows.append(tuple(cells))
    assert preview.as_it_stood is not None
    size = preview.as_it_stood.shape
    subject = f"{wedge.title}: {wedge.words}"
    return WedgePage(f"{still.location}, {still.name}", subject, (size[0], size[1]), tuple(rows)), steps


def _said(mean: float | None, sign: str) -> str:
    if mean is None:
        return ""
    hardly = ", hardly told apart" if mean < TOLD_APART else ""
    return f"ΔE00 {mean:.1f} from {sign}{hardly}"


def _lab(picture: Picture | None) -> NDArray[np.float64] | None:
    """CIELAB of every third pixel each way of an sRGB picture."""
    if picture is None:
        return None
    from lookdev.colorimetry.encodings import SRGB
    from lookdev.lut.error import appearance

    return appearance(picture[::3, ::3].reshape(-1, 3) / 255.0, SRGB)


def _write(
    request: WedgeRequest, wedge: Wedge, pages: list[WedgePage], pdf: Path, jpegs: list[Path]
) -> list[Path]:
    import simplejpeg

    from lookdev.files import write_whole
    from lookdev.pages.wedge_page import wedge_document

    document = wedge_document(f"{request.scout.title} · wedge of {wedge.title}", pages, request.paper)
    data = document.pdf_bytes()
    write_whole(pdf, data)
    for path, pixels in zip(jpegs, document.png_pages(data), strict=True):
        write_whole(path, bytes(simplejpeg.encode_jpeg(pixels, quality=JPEG_QUALITY, colorsubsampling="444")))
    return [pdf, *jpegs]
