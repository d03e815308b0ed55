"""`lookdev paint`: which paint reads right, under the lamp, through the camera and the look."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from lookdev.cli.options import Looks, Only, Paper, PaperChoice
from lookdev.text.table import print_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from contextlib import AbstractContextManager

    from lookdev.colorimetry.encodings import Encoding
    from lookdev.meter.scout import Scout
    from lookdev.paint.chip import ChipSet
    from lookdev.paint.predict import Site, SiteTable, Viewing

app = typer.Typer(
    name="paint",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode="markdown",
    help="""Paint that reads right through the grade, for the art department.

`predict` tells what chips become; `match` finds the chip for a colour on screen; `palette` reads the
colours of a graded still. Exit status: 0 all done; 1 some inputs failed, each named, the rest is done; 2 the
request itself was wrong, nothing written.""",
)

MOST_ON_PAGES = 24
"""Chips up to which a whole deck gets pages unasked."""

ScoutArgument = Annotated[Path, typer.Argument(metavar="SCOUT", help="The scout: meter.csv and stills.")]
ChipsOption = Annotated[
    Path | None,
    typer.Option("--chips", help="Your fan deck as CSV: name, code, and spectrum, L a b, munsell or hex."),
]
OutOption = Annotated[
    Path | None,
    typer.Option("--out", "-o", help="Folder for swatch sheet and tables; default: paint, never in a scout."),
]
BalanceOption = Annotated[
    float | None,
    typer.Option(
        "--balance", min=1000, max=25000, help="Camera balance in kelvin, in place of the scout's own."
    ),
]
LevelOption = Annotated[
    float,
    typer.Option("--level", min=-10, max=10, help="Stops of light on the wall against the grey card."),
]
WallOption = Annotated[
    tuple[float, float] | None,
    typer.Option(
        "--wall-xy", help="Chromaticity x y metered at the wall itself, where it differs from the card."
    ),
]
EncodingOption = Annotated[
    str | None,
    typer.Option(
        "--encoding-in",
        help="What holds the picture before the look: the footage planned in scout.toml, unless given.",
        show_default=False,
    ),
]
AsStillOption = Annotated[
    bool,
    typer.Option(
        "--as-still",
        help="Predict what the scout's stills show, with the stills camera's balance, not the footage.",
    ),
]
AnyColourOption = Annotated[
    bool,
    typer.Option(
        "--any-colour", help="Without --chips: search also colours that no matt paint has; they are marked."
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="For programs: the answer as JSON.")]


@app.command()
def predict(
    scout: ScoutArgument,
    chips: ChipsOption = None,
    chip: Annotated[
        list[str] | None,
        typer.Option(
            "--chip", help="One chip: a name or code in --chips, a Munsell notation, or #hex. Repeatable."
        ),
    ] = None,
    looks: Looks = None,
    only: Only = None,
    out: OutOption = None,
    balance: BalanceOption = None,
    level: LevelOption = 0.0,
    wall_xy: WallOption = None,
    encoding_in: EncodingOption = None,
    as_still: AsStillOption = False,
    pages: Annotated[
        bool, typer.Option("--pages", help="The painter's pages of all chips, however many.")
    ] = False,
    paper: PaperChoice = Paper.a4,
    as_json: JsonOption = False,
) -> int:
    """What chips become on screen, at each place through each look: tables, and the painter's pages.

    Tables (CSV, JSON, a workbook) always; pages for the chips that `--chip` names, and for a deck of up to
    24. Without --looks every look of the scout is tried.

    `lookdev paint predict SCOUT --chips fan_deck.csv --looks looks --out paint`

    `lookdev paint predict SCOUT --chip "5YR 6/4" --looks looks/slack_water.toml --only "Net loft"`
    """
    from lookdev.cli.common import looks_for, say
    from lookdev.errors import RequestError
    from lookdev.files import write_whole
    from lookdev.paint import table as tables_of
    from lookdev.paint.painter import pick_list, place_pages
    from lookdev.paint.predict import predict_sites
    from lookdev.sheets.painter_page import painter_document
    from lookdev.sheets.swatch_page import save

    out = _check_out(scout, out)
    opened, sites, errors, encoding = _sites(scout, only, balance, level, wall_xy, encoding_in, as_still)
    tried = looks_for(opened, looks)
    wanted, chip_errors, warnings = _wanted_chips(chips, chip)
    errors += chip_errors
    for line in [*errors, *warnings]:
        say(line)
    if not sites:
        raise RequestError("nothing to predict", wanted="a reading and a chip that can be used")
    found = predict_sites(wanted, sites, tried, encoding)
    with_pages = pages or bool(chip) or len(wanted) <= MOST_ON_PAGES
    if not with_pages:
        say(f"{len(wanted)} chips: tables only; pages for those that --chip names, or for all with --pages")
    rows = tables_of.all_rows(found)
    files = [out / f"predict.{end}" for end in ("csv", "json", "xlsx")]
    with _writing(out, "painter", files, opened, looks, chips):
        write_whole(files[0], tables_of.as_csv(found, rows))
        write_whole(files[1], answer := tables_of.as_json(found, rows))
        write_whole(files[2], tables_of.as_workbook(found, rows))
        written = [*files]
        if with_pages:
            document = painter_document(
                f"{opened.title} · paint", place_pages(found), pick_list(found), paper
            )
            written += save(document, out / "painter")
    if as_json:
        parsed = json.loads(answer)
        parsed |= {"written": [str(p) for p in written], "failed": errors, "warnings": warnings}
        typer.echo(json.dumps(parsed, indent=2, ensure_ascii=False))
    else:
        if with_pages:
            _print_predictions(found)
        _print_written(written)
    return 1 if errors else 0


@app.command()
def match(
    scout: ScoutArgument,
    target: Annotated[
        str,
        typer.Argument(
            metavar="TARGET",
            help="The colour wanted on screen: #hex, lab:L,a,b, a Munsell notation, or a patch STILL:x,y,w,h",
        ),
    ],
    card: Annotated[
        str | None,
        typer.Option(
            "--card",
            metavar="x,y,w,h",
            help="The 18% grey card in the target's still: tells how it was exposed.",
        ),
    ] = None,
    looks: Looks = None,
    chips: ChipsOption = None,
    any_colour: AnyColourOption = False,
    only: Only = None,
    count: Annotated[int, typer.Option("--count", min=1, max=200, help="How many chips to name.")] = 8,
    out: OutOption = None,
    balance: BalanceOption = None,
    level: LevelOption = 0.0,
    wall_xy: WallOption = None,
    encoding_in: EncodingOption = None,
    as_still: AsStillOption = False,
    paper: PaperChoice = Paper.a4,
    as_json: JsonOption = False,
) -> int:
    """Which chip reads as a wanted colour. With several locations or looks: the best in the worst of them.

    `lookdev paint match SCOUT "#8a6f5c" --looks looks/slack_water.toml --only "Net loft"`

    `lookdev paint match SCOUT "graded/loft_01.jpg:820,440,60,60" --looks looks/slack_water.toml`

    Without --chips the Munsell colours (ASTM D1535) that a matt paint can have are searched.
    """
    from lookdev.cli.common import looks_for, say
    from lookdev.errors import RequestError
    from lookdev.files import write_whole
    from lookdev.paint.match import match as find
    from lookdev.paint.predict import Viewing
    from lookdev.paint.report import match_csv, match_json, match_page
    from lookdev.paint.target import parse_target
    from lookdev.sheets.swatch_page import match_sheet, save

    out = _check_out(scout, out)
    wanted = parse_target(target, scout, card)
    opened, sites, errors, encoding = _sites(scout, only, balance, level, wall_xy, encoding_in, as_still)
    tried = looks_for(opened, looks)
    from_deck, chip_errors, warnings = _deck(chips, any_colour)
    errors += chip_errors
    for line in [*errors, *warnings]:
        say(line)
    if not sites:
        raise RequestError("no light to match under", wanted="a reading that can be used in meter.csv")
    viewings = [Viewing(site, look, encoding) for site in sites for look in tried]
    if wanted.card_lab is not None:
        viewings = [_exposed(viewings, wanted.card_lab, level)]
    elif wanted.from_still:
        warnings.append(
            "the still is taken as exposed so that a grey card reads 18%; else give --card or --level"
        )
        say(warnings[-1])
    found = find(wanted.lab, viewings, from_deck, count)
    answer = match_json(found, wanted, from_deck, viewings)
    page = match_page(found, wanted, from_deck, viewings)
    document = match_sheet(f"{opened.title} · paint match", page, paper)
    table = out / "match.csv"
    more = [wanted.still] if wanted.still is not None else []
    with _writing(out, "match", table, opened, looks, chips, more):
        written = save(document, out / "match")
        write_whole(table, match_csv(answer))
        written.append(table)
    if as_json:
        answer |= {"written": [str(p) for p in written], "failed": errors, "warnings": warnings}
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False))
    else:
        _print_match(answer)
        _print_written(written)
    return 1 if errors else 0


@app.command()
def palette(
    still: Annotated[Path, typer.Argument(metavar="STILL", help="A graded still.")],
    chips: ChipsOption = None,
    any_colour: AnyColourOption = False,
    colours: Annotated[int, typer.Option("--colours", min=2, max=9, help="How many colours at most.")] = 6,
    out: OutOption = None,
    paper: PaperChoice = Paper.a4,
    as_json: JsonOption = False,
) -> int:
    """The dominant colours of a graded still, with their shares, Munsell notations and nearest chips.

    `lookdev paint palette out/graded/Net_loft/loft_01__slack_water.jpg --chips fan_deck.csv`
    """
    import numpy as np

    from lookdev.cli.common import say
    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.errors import RequestError
    from lookdev.files import write_json
    from lookdev.looks.rendering import render_curve
    from lookdev.paint.palette import palette as find
    from lookdev.paint.report import palette_json, palette_page
    from lookdev.sheets.page import as_uint8
    from lookdev.sheets.swatch_page import palette_sheet, save
    from lookdev.stills.reader import read_still

    out = _check_out(None, out, still)
    if not still.exists():
        raise RequestError("no such still", file=still, wanted="a graded still")
    deck, errors, warnings = _deck(chips, any_colour)
    for line in [*errors, *warnings]:
        say(line)
    picture = read_still(still, max_edge_px=900)
    light = picture.encoding.to_working(picture.signal())
    if picture.encoding.state != "output":
        light = render_curve(light)
        warnings.append(f"{still.name}: scene light, shown through the rendering")
        say(warnings[-1])
    found = find(light, deck, colours)
    answer = palette_json(still.name, found, deck)
    shown = as_uint8(np.clip(get_encoding("sRGB").from_working(light), 0, 1))
    document = palette_sheet(f"Palette · {still.stem}", palette_page(still.name, shown, found, deck), paper)
    stem = f"palette_{still.stem}"
    table = out / f"{stem}.json"
    with _writing(out, stem, table, None, None, chips, [still]):
        written = save(document, out / stem)
        write_json(table, answer)
        written.append(table)
    if as_json:
        answer |= {"written": [str(p) for p in written], "failed": errors, "warnings": warnings}
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False))
    else:
        rows = [
            [f"{100 * c.share:.1f}%", c.hex, c.munsell, "; ".join(f"{n} ({d:.1f})" for n, d in c.chips)]
            for c in found
        ]
        print_table(["share", "hex", "Munsell", "nearest chips as made (CIEDE2000)"], rows)
        _print_written(written)
    return 1 if errors else 0


def _check_out(scout: Path | None, out: Path | None, still: Path | None = None) -> Path:
    """The output folder, as told or the default, outside every scout."""
    from lookdev.outputs import default_folder, refuse_any_scout, refuse_scout

    folder = out if out is not None else default_folder("paint", still.parent if still is not None else scout)
    if scout is not None:
        refuse_scout(scout, folder)
    else:
        refuse_any_scout(folder)
    return folder


def _writing(
    out: Path,
    stem: str,
    tables: Path | Sequence[Path],
    scout: Scout | None,
    looks: list[str] | None,
    chips: Path | None,
    more: Sequence[Path] = (),
) -> AbstractContextManager[None]:
    """Leave to write a document and its table."""
    from lookdev.outputs import inputs_of, writing

    inputs = inputs_of(scout, looks or (), [*more, *([chips] if chips is not None else [])])
    listed = [tables] if isinstance(tables, Path) else list(tables)
    return writing(out, inputs, listed, [(out / stem).with_suffix(end) for end in (".pdf", ".png")])


def _sites(
    scout: Path,
    only: list[str] | None,
    balance: float | None,
    level: float,
    wall_xy: tuple[float, float] | None,
    encoding_in: str | None,
    as_still: bool,
) -> tuple[Any, list[Site], list[str], Encoding]:
    """The scout, its sites, what could not be used, and what holds the picture before the look."""
    from lookdev.cli.common import cube_ends, open_scout, say
    from lookdev.paint.sites import sites_of

    opened = open_scout(scout)
    encoding = cube_ends(encoding_in, None, None if as_still else opened.plan.footage_encoding)[0]
    if encoding_in is None and not as_still and opened.plan.footage_encoding is None:
        say("no footage_encoding in scout.toml: paint is predicted through an sRGB still (or --encoding-in)")
    sites, errors = sites_of(opened, tuple(only or ()), balance, level, as_still)
    if wall_xy is not None:
        sites = _metered_at_the_wall(sites, wall_xy)
    for site in sites:
        for warning in site.warnings:
            say(f"{site.name}: {warning}")
    return opened, sites, [*(str(e) for e in opened.log.errors), *errors], encoding


def _metered_at_the_wall(sites: list[Site], xy: tuple[float, float]) -> list[Site]:
    from dataclasses import replace

    from lookdev.errors import RequestError
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


def _wanted_chips(path: Path | None, names: list[str] | None) -> tuple[ChipSet, list[str], list[str]]:
    """The chips to predict: all of a file, or those named."""
    import difflib

    import numpy as np

    from lookdev.errors import ChipError, RequestError
    from lookdev.paint.chip import ChipSet
    from lookdev.paint.chip_file import chip_from_text

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
    from dataclasses import replace

    from lookdev.errors import RequestError
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


def _print_predictions(found: Sequence[SiteTable]) -> None:
    from lookdev.paint.report import site_facts
    from lookdev.paint.table import rows_of
    from lookdev.paint.words import what_changed

    for table in found:
        typer.echo(f"\n{table.site.name}")
        for fact in site_facts(table.site):
            typer.echo(f"  {fact}")
        lines = []
        for i, (chip, row) in enumerate(zip(table.chips.chips, rows_of(table), strict=True)):
            made = [table.made_munsell[i], f"LRV {table.lrv_percent[i]:.0f}%", str(row[11]), ""]
            lines.append([chip.label, "as made", *made, ""])
            for k, title in enumerate(table.looks):
                said = table.within[k, i]
                sure = "" if not chip.estimated else f", 9 in 10 within {said:.1f}"
                lines.append(
                    ["", title, "", str(row[17 + 7 * k]), str(row[18 + 7 * k]),
                     f"{table.difference[k, i]:.1f}{sure if said == said else ', how sure not known'}",
                     what_changed(table.made[i], table.screen[k, i])]
                )  # fmt: skip
        print_table(["chip", "seen", "Munsell", "", "in words", "CIEDE2000", "change from as made"], lines)


def _print_match(answer: dict[str, Any]) -> None:
    for place in dict.fromkeys(v["place"] for v in answer["viewings"]):
        here = [v for v in answer["viewings"] if v["place"] == place]
        looks = ", ".join(v["look"] for v in here)
        typer.echo(f"{place} ({looks}): {here[0]['light']}; {here[0]['trust']}")
    target = answer["target"]
    typer.echo(f"target {target['from']}: {target['hex']}, Munsell {target['munsell']}")
    rows = [
        [
            str(c["rank"]),
            " · ".join(t for t in (c["chip"], c["code"]) if t),
            f"{c['worst_ciede2000']:.1f}",
            "; ".join(f"{s['ciede2000']:.1f}" for s in c["on_screen"][:6]) if len(c["on_screen"]) > 1 else "",
            max(c["on_screen"], key=lambda s: s["ciede2000"])["residual"],
        ]
        for c in answer["ranked"]
    ]
    print_table(["", "chip", "CIEDE2000", "each", "against the target"], rows)
    for sentence in answer["verdict"]:
        typer.echo(sentence)


def _print_written(paths: Sequence[Path]) -> None:
    for path in paths:
        typer.echo(f"wrote {path}")
