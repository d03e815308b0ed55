"""Faces: what six complexions become at each place of a scout through each look."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import LookdevError, RequestError
from lookdev.files import write_json
from lookdev.jobs.common import Line, Tell, counter, cube_ends, unheard, writing
from lookdev.outputs import inputs_of, refuse_scout, without_places
from lookdev.survey.survey import survey

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout
    from lookdev.paint.faces import Faces
    from lookdev.paint.predict import Site


@dataclass(frozen=True)
class FacesRequest:
    """What was asked for.

    Attributes
    ----------
    scout, looks : the places, and the looks.
    out : folder for the pages and faces.json; without one nothing is written.
    only : locations, by name.
    balance_k : camera balance in place of the scout's own.
    encoding_in : what holds the picture before the look; None for the footage planned in scout.toml, else
        sRGB.
    as_still : as the scout's stills show faces, with the stills camera's balance, not the footage.
    paper : "a4" or "letter".
    reads : files that the looks were read from; nothing is written over them.
    """

    scout: Scout
    looks: tuple[LookLike, ...]
    out: Path | None = None
    only: tuple[str, ...] = ()
    balance_k: float | None = None
    encoding_in: str | None = None
    as_still: bool = False
    paper: str = "a4"
    reads: tuple[Path, ...] = ()


@dataclass(frozen=True)
class FacesResult:
    """``places``: a row a place, in it the faces through each look; ``written`` files; ``data`` as in
    faces.json; ``errors`` a line each; ``seams`` a line for each look that leaves one beside held skin."""

    places: list[list[Faces]]
    written: list[Path]
    data: dict[str, Any]
    errors: list[str]
    seams: list[str]


def run(request: FacesRequest, tell: Tell = unheard) -> FacesResult:
    """Work the faces out, and write the pages where the request says a folder.

    Raises
    ------
    RequestError : the request is wrong; nothing has been written.
    """
    from lookdev.looks.model import Look
    from lookdev.pages.faces_page import faces_document
    from lookdev.paint.faces import faces_at, look_alike
    from lookdev.paint.seams import seam_words
    from lookdev.paint.sites import sites_of

    scout = request.scout
    if request.out is not None:
        refuse_scout(scout.folder, request.out)
    footage = None if request.as_still else scout.plan.footage_encoding
    encoding = cube_ends(request.encoding_in, None, footage)[0]
    sites, lines = sites_of(survey(scout, request.only), request.balance_k, 0.0, request.as_still)
    errors = [*(str(e) for e in scout.log.errors), *lines]
    found: list[tuple[Site, list[Faces]]] = []
    step = counter(tell)
    for count, site in enumerate(sites, 1):
        try:
            row = [faces_at(site, look, encoding) for look in request.looks]
        except LookdevError as error:
            errors.append(f"{site.name}: {error}")
        else:
            if not any(look_alike(row, other) for s, other in found if s.location == site.location):
                found.append((site, row))
        step(count, len(sites), site.name)
    seams = [words for look in request.looks if isinstance(look, Look) and (words := seam_words(look))]
    for line in errors:
        tell(Line(line))
    if not found:
        raise RequestError("no light to see faces under", wanted="a reading that can be used in meter.csv")
    used, places = _named(found)
    data = _data(request, encoding.name, used, places, errors) | {"seams": seams}
    written: list[Path] = []
    if request.out is not None:
        stem = request.out / "faces"
        pages = [stem.with_suffix(end) for end in (".pdf", ".png")]
        table = stem.with_suffix(".json")
        title = f"{scout.title} · faces"
        document = faces_document(title, places, [_note(s, encoding.name) for s in used], request.paper)
        with writing(
            request.out, inputs_of(scout, more=request.reads), [table], pages, verb="faces", tell=tell
        ):
            written = [*document.save(*pages), table]
            write_json(table, without_places(data, scout.folder, request.out))
    return FacesResult(places, written, data, errors, seams)


def _named(found: Sequence[tuple[Site, list[Faces]]]) -> tuple[list[Site], list[list[Faces]]]:
    """By the location alone where it is there once."""
    count = Counter(site.location for site, _ in found)
    sites, places = [], []
    for site, row in found:
        name = site.location if count[site.location] == 1 else site.name
        sites.append(replace(site, name=name))
        places.append([replace(faces, place=name) for faces in row])
    return sites, places


def _note(site: Site, encoding: str) -> str:
    light = site.light
    return (
        f"{light.name}: {light.origin} ({light.trust}). Camera balanced to {site.camera_origin}; "
        f"picture held in {encoding}. Faces exposed as a grey card in the same light."
    )


def _data(
    request: FacesRequest,
    encoding: str,
    sites: Sequence[Site],
    places: Sequence[Sequence[Faces]],
    errors: Sequence[str],
) -> dict[str, Any]:
    """faces.json."""
    from lookdev.paint.faces import FAR_DEG, UNEQUAL, VISIBLE_DEG

    return {
        "title": request.scout.title,
        "encoding": encoding,
        "said_in_words_over": {"hue_deg": [VISIBLE_DEG, FAR_DEG], "spread": UNEQUAL},
        "places": [
            {
                "place": site.name,
                "light": site.light.name,
                "spectrum": site.light.origin,
                "trust": site.light.trust,
                "camera": site.camera_origin,
                "looks": [faces.data() for faces in rows],
            }
            for site, rows in zip(sites, places, strict=True)
        ],
        "errors": list(errors),
    }
