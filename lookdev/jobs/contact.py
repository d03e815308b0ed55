"""Contact pages of a scout: every still under a lettered grid, with the chart that is found in it; for each
panorama eight directions to choose views from."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import LookdevError, StillError, one_line
from lookdev.jobs.common import Progress, Tell, check_folder, unheard, writing
from lookdev.outputs import inputs_of, refuse_scout

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout
    from lookdev.pages.contact import ContactStill
    from lookdev.survey.survey import Survey, SurveyedStill

DIRECTIONS = (
    "Ahead", "Ahead to the right", "To the right", "Behind to the right",
    "Behind", "Behind to the left", "To the left", "Ahead to the left",
)  # fmt: skip
DIRECTION_LENS_MM = 18.0
"""Of the eight views: 69 degrees across a gate of 24.9 mm, so that each meets its neighbours."""


@dataclass(frozen=True)
class Contact:
    """What was made: ``files``; ``errors``: what could not be read, a line each; ``found``: the chart or card
    that was found, by the still's name; ``views``: text for scout.toml, a ``[[view]]`` for each direction."""

    files: list[Path]
    errors: list[str]
    found: dict[str, str] = field(default_factory=dict)
    views: str = ""


def run(scout: Scout, out: Path, tell: Tell = unheard, surveyed: Survey | None = None) -> Contact:
    """Write ``contact_01.png`` and on into a folder, ``directions_01.png`` and on and ``views.toml``.

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
    surveyed = surveyed or survey(scout)
    panoramas = [still for still in surveyed.usable if goes_round(still)]
    count = -(-len(surveyed.stills) // (A_PAGE[0] * A_PAGE[1]))
    files = [out / f"contact_{n + 1:02d}.png" for n in range(count)]
    sides = [out / f"directions_{n + 1:02d}.png" for n in range(len(panoramas))]
    made = Contact([], [], views="\n".join(views_text(still.name) for still in panoramas))
    texts = [out / "views.toml"] if panoramas else []
    with writing(out, inputs_of(scout), [*files, *sides, *texts], verb="log", tell=tell):
        total = len(surveyed.stills) + len(panoramas)
        stills = []
        for done, still in enumerate(surveyed.stills, 1):
            try:
                shown, found = _still(still)
                stills.append(shown)
                if found is not None:
                    made.found[still.name] = found
            except LookdevError as error:
                made.errors.append(str(error))
            tell(Progress(done, total, still.name))
        for path, page in zip(files, contact_pages(stills, columns(), ROWS), strict=False):
            write_whole(path, _png(page))
            made.files.append(path)
        for done, (path, still) in enumerate(zip(sides, panoramas, strict=True), 1):
            try:
                page = contact_pages(_directions(still), "", 0, (2, 4))[0]
            except LookdevError as error:
                made.errors.append(str(error))
                continue
            write_whole(path, _png(page))
            made.files.append(path)
            tell(Progress(len(surveyed.stills) + done, total, still.name))
        for path in texts:
            write_whole(path, made.views)
            made.files.append(path)
    return made


def goes_round(still: SurveyedStill) -> bool:
    """Whether views can be taken of a still: a panorama by its mark, or by 2:1 and no lens that sees less."""
    from lookdev.stills.view import is_whole_panorama

    told = still.metadata
    if told is None or still.part is not None or not is_whole_panorama(still.size, told.projection):
        return False
    return told.projection is not None or told.focal_length_mm is None or told.focal_length_mm < 5.0


def views_text(still: str) -> str:
    """Eight ``[[view]]`` of a panorama, to paste into scout.toml.

    >>> print(views_text("pano.jpg")[:93])
    [[view]]
    still = "pano.jpg"
    name = "Ahead"
    pan_deg = 0
    tilt_deg = 0
    roll_deg = 0
    lens_mm = 18
    """
    from lookdev.stills.part import View

    gate = ", ".join(f"{side:g}" for side in View.gate_mm)
    return "\n".join(
        f"[[view]]\nstill = {json.dumps(still, ensure_ascii=False)}\nname = {json.dumps(name)}\n"
        f"pan_deg = {pan}\ntilt_deg = 0\nroll_deg = 0\nlens_mm = {DIRECTION_LENS_MM:g}\ngate_mm = [{gate}]\n"
        for name, pan in zip(DIRECTIONS, _pans(), strict=True)
    )


def _pans() -> list[int]:
    return [pan if pan <= 180 else pan - 360 for pan in range(0, 360, 45)]


def _directions(still: SurveyedStill) -> list[ContactStill]:
    import cv2

    from lookdev.pages.contact import STILL_PX, ContactStill
    from lookdev.stills.part import View
    from lookdev.stills.reader import read_still

    tiles = []
    for name, pan in zip(DIRECTIONS, _pans(), strict=True):
        view = View(pan_deg=pan, lens_mm=DIRECTION_LENS_MM)
        side = read_still(still.path, part=view, light_xy=still.light_xy)
        words = f"{name}: pan_deg = {pan}, lens_mm = {DIRECTION_LENS_MM:g}   {one_line(still.name)}"
        shown = _small(side)
        scale = STILL_PX / shown.shape[1]
        if scale > 1.0:  # a small panorama's views are as large as the others on the page
            shown = cv2.resize(shown, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
        tiles.append(ContactStill(shown, words))
    return tiles


def _small(still: Any, edge_px: int | None = None) -> Any:
    import numpy as np

    from lookdev.pages.contact import STILL_PX
    from lookdev.render.thumbnail import as_srgb, reduced_to_box

    edge = edge_px or STILL_PX
    small = reduced_to_box(still.pixels, still.encoding, (edge, edge))
    return np.asarray(as_srgb(small, still.encoding), dtype=np.uint8)


def _still(surveyed: SurveyedStill) -> tuple[ContactStill, str | None]:
    from dataclasses import replace

    from lookdev.pages.contact import CROP_PX, ContactStill
    from lookdev.survey.card import find_neutral

    still = surveyed.read()
    height, width = still.full_size
    outlines, words = [], [one_line(surveyed.name), f"{width} x {height}"]
    try:
        found = find_neutral(still)
    except StillError:
        found = None
    if found is not None:
        outlines.append(tuple((x / width, y / height) for x, y in found.corners))
        words.append(f'{found.name} found: grey = "chart"')
    crop = None
    if surveyed.patch is not None:
        x, y, w, h = surveyed.patch
        corners = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
        outlines.append(tuple((a / width, b / height) for a, b in corners))
        words.append(f"grey patch sampled: {x},{y},{w},{h}")
        crop = _small(replace(still, pixels=still.pixels[y : y + h, x : x + w].copy()), CROP_PX)
    shown = ContactStill(_small(still), "   ".join(words), tuple(outlines), crop)
    return shown, None if found is None else found.name


def _png(page: object) -> bytes:
    import io

    buffer = io.BytesIO()
    page.save(buffer, "PNG")  # type: ignore[attr-defined]
    return buffer.getvalue()
