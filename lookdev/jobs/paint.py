"""Paint: what chips become, which chip reads as a wanted colour, what stays apart, a still's colours.

Four requests through one door: :func:`run` takes any of them and gives the result of its kind.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from lookdev.errors import ChipError, RequestError
from lookdev.files import write_json, write_whole
from lookdev.jobs.common import Line, Tell, cube_ends, unheard, writing
from lookdev.jobs.paint_requests import (
    MOST_ON_PAGES,
    ApartRequest,
    ApartResult,
    MatchRequest,
    MatchResult,
    OnScreenRequest,
    PaintResult,
    PaletteRequest,
    PaletteResult,
    PredictRequest,
    PredictResult,
)
from lookdev.names import Names
from lookdev.outputs import inputs_of, refuse_any_scout, refuse_scout
from lookdev.survey.survey import survey

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.paint.chip import ChipSet
    from lookdev.paint.predict import Site, Viewing


@overload
def run(request: PredictRequest, tell: Tell = ...) -> PredictResult: ...
@overload
def run(request: MatchRequest, tell: Tell = ...) -> MatchResult: ...
@overload
def run(request: PaletteRequest, tell: Tell = ...) -> PaletteResult: ...
@overload
def run(request: ApartRequest, tell: Tell = ...) -> ApartResult: ...


def run(
    request: PredictRequest | MatchRequest | PaletteRequest | ApartRequest, tell: Tell = unheard
) -> PaintResult:
    """Do what is asked.

    Raises
    ------
    RequestError : the request is wrong; nothing has been written.
    """
    if isinstance(request, PredictRequest):
        return _predict(request, tell)
    if isinstance(request, MatchRequest):
        return _match(request, tell)
    if isinstance(request, ApartRequest):
        return _apart(request, tell)
    return _palette(request, tell)


def _predict(request: PredictRequest, tell: Tell) -> PredictResult:
    from lookdev.pages.paint_places import pick_list, place_pages
    from lookdev.pages.painter_page import painter_document
    from lookdev.pages.swatch_page import save
    from lookdev.paint import table as tables_of
    from lookdev.paint.predict import predict_sites

    out = request.out
    refuse_scout(request.scout.folder, out)
    sites, errors, encoding = _sites(request, tell)
    wanted, chip_errors, warnings = _wanted_chips(request.chips, request.chip)
    errors += chip_errors
    for line in [*errors, *warnings]:
        tell(Line(line))
    if not sites:
        raise RequestError("nothing to predict", wanted="a reading and a chip that can be used")
    found = predict_sites(wanted, sites, request.looks, encoding)
    with_pages = request.pages or bool(request.chip) or len(wanted) <= MOST_ON_PAGES
    if not with_pages:
        words = "tables only; pages for those that --chip names, or for all with --pages"
        tell(Line(f"{len(wanted)} chips: {words}"))
    rows = tables_of.all_rows(found)
    files = [out / f"predict.{end}" for end in ("csv", "json", "xlsx")]
    with _writing(request, tell, out / "painter", files):
        write_whole(files[0], tables_of.as_csv(found, rows))
        write_whole(files[1], answer := tables_of.as_json(found, rows))
        write_whole(files[2], tables_of.as_workbook(found, rows))
        written = [*files]
        if with_pages:
            title = f"{request.scout.title} · paint"
            document = painter_document(title, place_pages(found), pick_list(found), request.paper)
            written += save(document, out / "painter")
    return PredictResult(written, errors, warnings, found, with_pages, json.loads(answer))


def _match(request: MatchRequest, tell: Tell) -> MatchResult:
    from lookdev.pages.paint_report import match_csv, match_json, match_page
    from lookdev.pages.swatch_page import match_sheet, save
    from lookdev.paint.match import match
    from lookdev.paint.predict import Viewing
    from lookdev.paint.target import parse_target
    from lookdev.paint.ways_out import ways_out

    out = request.out
    refuse_scout(request.scout.folder, out)
    wanted = parse_target(request.target, request.scout.folder, request.card)
    sites, errors, encoding = _sites(request, tell)
    deck, chip_errors, warnings = _deck(request.chips, request.any_colour)
    errors += chip_errors
    for line in [*errors, *warnings]:
        tell(Line(line))
    if not sites:
        raise RequestError("no light to match under", wanted="a reading that can be used in meter.csv")
    viewings = [Viewing(site, look, encoding) for site in sites for look in request.looks]
    if wanted.card_lab is not None:
        viewings = [_exposed(viewings, wanted.card_lab, request.level_stops)]
    elif wanted.from_still:
        warnings.append(
            "the still is taken as exposed so that a grey card reads 18%; else give --card or --level"
        )
        tell(Line(warnings[-1]))
    found = match(wanted.lab, viewings, deck, request.count)
    if not found.reachable:
        worst = viewings[int(np.argmax(found.ranked[0].differences))]
        ways = ways_out(found.target_lab, worst, request.looks, deck, kit=request.scout.kit)
        words = "; ".join(f"{w.change}: {w.chip} within {w.ciede2000:.1f}" for w in ways)
        none = "no other look tried, no common gel and no lamp of ours betters it"
        found = replace(found, verdict=(*found.verdict, f"At {worst.name}: {words or none}."))
    answer = match_json(found, wanted, deck, viewings)
    page = match_page(found, wanted, deck, viewings)
    document = match_sheet(f"{request.scout.title} · paint match", page, request.paper)
    table = out / "match.csv"
    with _writing(request, tell, out / "match", [table], wanted.still):
        written = save(document, out / "match")
        write_whole(table, match_csv(answer))
    return MatchResult([*written, table], errors, warnings, answer)


def _palette(request: PaletteRequest, tell: Tell) -> PaletteResult:
    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.looks.rendering import render_curve
    from lookdev.pages.paint_report import palette_json, palette_page
    from lookdev.pages.setting import as_uint8
    from lookdev.pages.swatch_page import palette_sheet, save
    from lookdev.paint.palette import palette
    from lookdev.stills.reader import read_still

    still, out = request.still, request.out
    refuse_any_scout(out)
    if not still.exists():
        raise RequestError("no such still", file=still, wanted="a graded still")
    deck, errors, warnings = _deck(request.chips, request.any_colour)
    for line in [*errors, *warnings]:
        tell(Line(line))
    picture = read_still(still, max_edge_px=900)
    light = picture.encoding.to_working(picture.signal())
    if picture.encoding.state != "output":
        light = render_curve(light)
        warnings.append(f"{still.name}: scene light, shown through the rendering")
        tell(Line(warnings[-1]))
    found = palette(light, deck, request.colours)
    answer = palette_json(still.name, found, deck)
    shown = as_uint8(np.clip(get_encoding("sRGB").from_working(light), 0, 1))
    page = palette_page(still.name, shown, found, deck)
    stem = out / Names().file(f"palette_{still.stem}", "_99.json").removesuffix("_99.json")
    table = stem.with_name(f"{stem.name}.json")
    with _writing(request, tell, stem, [table], still):
        written = save(palette_sheet(f"Palette · {still.stem}", page, request.paper), stem)
        write_json(table, answer)
    return PaletteResult([*written, table], errors, warnings, found, answer)


def _apart(request: ApartRequest, tell: Tell) -> ApartResult:
    from lookdev.paint.apart import joined, looks_that_part, model_skins, pair_json, pairs
    from lookdev.paint.chip_file import read_chips
    from lookdev.paint.predict import predict_sites
    from lookdev.text.csv_out import csv_text

    if len(request.surfaces) + (request.skins is not None) < 2:
        raise RequestError(
            "nothing to tell apart",
            found=", ".join(request.surfaces) or None,
            wanted="a wall and a costume, or skins (--skins models)",
        )
    refuse_scout(request.scout.folder, request.out)
    sites, errors, encoding = _sites(request, tell)
    wanted, chip_errors, warnings = _wanted_chips(request.chips, request.surfaces)
    errors += chip_errors
    if request.skins == "models":
        wanted = joined([wanted, model_skins()])
    elif request.skins is not None:
        read = read_chips(request.skins)
        wanted = joined([wanted, read.chips])
        errors += [str(e) for e in read.errors]
        warnings += read.warnings
    for line in [*errors, *warnings]:
        tell(Line(line))
    if not sites:
        raise RequestError("nothing to tell apart", wanted="a reading that can be used")
    found = pairs(predict_sites(wanted, sites, request.looks, encoding), len(request.surfaces))
    table = request.out / "apart.csv"
    rows = [pair_json(p) for p in found]
    skins = request.skins if isinstance(request.skins, Path) else None
    with _writing(request, tell, request.out / "apart", [table], skins):
        write_whole(table, csv_text(list(rows[0]), [list(row.values()) for row in rows]))
    return ApartResult([table], errors, warnings, found, looks_that_part(found))


def _writing(
    request: OnScreenRequest | PaletteRequest,
    tell: Tell,
    stem: Path,
    tables: Sequence[Path],
    still: Path | None = None,
) -> AbstractContextManager[None]:
    """Leave to write a document and its tables."""
    scout, looks = (None, ()) if isinstance(request, PaletteRequest) else (request.scout, request.reads)
    more = [path for path in (*looks, request.chips, still) if path is not None]
    pages = [stem.with_name(f"{stem.name}{end}") for end in (".pdf", ".png")]
    return writing(request.out, inputs_of(scout, more=more), tables, pages, verb="paint", tell=tell)


def _sites(request: OnScreenRequest, tell: Tell) -> tuple[list[Site], list[str], Encoding]:
    """The walls, what could not be used, and what holds the picture before the look."""
    from lookdev.paint.sites import sites_of

    scout = request.scout
    footage = None if request.as_still else scout.plan.footage_encoding
    encoding = cube_ends(request.encoding_in, None, footage)[0]
    if request.encoding_in is None and not request.as_still and footage is None:
        words = "paint is predicted through an sRGB still (or --encoding-in)"
        tell(Line(f"no footage_encoding in scout.toml: {words}"))
    surveyed = survey(scout, request.only)
    sites, errors = sites_of(surveyed, request.balance_k, request.level_stops, request.as_still)
    if request.wall_xy is not None:
        sites = _metered_at_the_wall(sites, request.wall_xy)
    for site in sites:
        for warning in site.warnings:
            tell(Line(f"{site.name}: {warning}"))
    return sites, [*(str(e) for e in scout.log.errors), *errors], encoding


def _metered_at_the_wall(sites: list[Site], xy: tuple[float, float]) -> list[Site]:
    from lookdev.meter.log import is_possible
    from lookdev.paint.light import metered_at_the_wall

    if len(sites) != 1:
        raise RequestError(
            "a reading at a wall belongs to one place",
            key="--wall-xy",
            found=f"{len(sites)} places",
            wanted="--only LOCATION",
        )
    if not is_possible(xy):
        raise RequestError(
            "no light has this chromaticity",
            key="--wall-xy",
            found=f"{xy[0]:g} {xy[1]:g}",
            wanted="x y as metered",
        )
    return [replace(sites[0], light=metered_at_the_wall(sites[0].light, xy))]


def _deck(path: Path | None, any_colour: bool = False) -> tuple[ChipSet, list[str], list[str]]:
    """The chips of a file, or the built-in set; errors and warnings, a line each."""
    from lookdev.paint.chip import munsell_set, paintable_set
    from lookdev.paint.chip_file import read_chips

    if path is None:
        return munsell_set() if any_colour else paintable_set(), [], []
    read = read_chips(path)
    return read.chips, [str(e) for e in read.errors], list(read.warnings)


def _wanted_chips(path: Path | None, names: Sequence[str]) -> tuple[ChipSet, list[str], list[str]]:
    """The chips to predict: all of a file, or those named."""
    import difflib

    from lookdev.paint.chip import ChipSet
    from lookdev.paint.draft import chip_from_text

    if path is None and not names:
        raise RequestError("no chip", wanted='--chips FILE.csv, or --chip "5YR 6/4"')
    deck, errors, warnings = _deck(path) if path is not None else (None, [], [])
    if not names:
        assert deck is not None
        return deck, errors, warnings
    chips, spectra = [], []
    for name in names:
        rows = [] if deck is None else [
            i for i, c in enumerate(deck.chips) if name.casefold() in (c.name.casefold(), c.code.casefold())
        ]  # fmt: skip
        if deck is not None and rows:
            chips.append(deck.chips[rows[0]])
            spectra.append(deck.reflectances[rows[0]])
            continue
        try:
            one, spectrum = chip_from_text(name)
        except ChipError as error:
            have = [] if deck is None else [c.name for c in deck.chips]
            near = difflib.get_close_matches(name, have, n=1, cutoff=0.5)
            wanted = f"{near[0]} (the nearest)" if near else "a name in --chips, such as 5YR 6/4, or #8a6f5c"
            raise RequestError("no such chip", found=name, wanted=wanted) from error
        chips.append(one)
        spectra.append(spectrum)
    return (
        ChipSet(deck.title if deck is not None else "chips", tuple(chips), np.stack(spectra)),
        errors,
        warnings,
    )


def _exposed(viewings: list[Viewing], card_lab: Any, level: float) -> Viewing:
    """The one viewing, at the exposure that the card in the graded still shows."""
    from lookdev.paint.predict import level_of_card

    if len(viewings) != 1:
        raise RequestError(
            "a graded still has one place and one look",
            key="--card",
            found=f"{len(viewings)} places and looks",
            wanted="--only LOCATION and --looks LOOK",
        )
    stops = level + level_of_card(viewings[0], card_lab)
    return replace(viewings[0], site=replace(viewings[0].site, level_stops=stops))
