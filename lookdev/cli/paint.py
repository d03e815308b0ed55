"""`lookdev paint`: which paint reads right, under the lamp, through the camera and the look."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from lookdev.cli.common import told
from lookdev.cli.options import Looks, Only, Paper, PaperChoice
from lookdev.text.numbers import fixed
from lookdev.text.table import print_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lookdev.paint.predict import SiteTable


app = typer.Typer(
    name="paint",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode="markdown",
    help="""Paint that reads right through the grade, for the art department.

`predict` tells what chips become; `match` finds the chip for a colour on screen; `apart` tells whether
wall, costume and skin merge; `palette` reads the colours of a graded still. Exit status: 0 all done; 1
some inputs failed, each named, the rest is done; 2 the request itself was wrong, nothing written.""",
)

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
    from lookdev.jobs.paint import run
    from lookdev.jobs.paint_requests import PredictRequest

    shared = _on_screen(scout, looks, out, chips, only, balance, level, wall_xy, encoding_in, as_still)
    with told() as tell:
        result = run(PredictRequest(**shared, chip=tuple(chip or ()), pages=pages, paper=paper.value), tell)
    if as_json:
        typer.echo(json.dumps(result.data(), indent=2, ensure_ascii=False))
    else:
        if result.with_pages:
            _print_predictions(result.predictions)
        _print_written(result.written)
    return 1 if result.errors else 0


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
    from lookdev.jobs.paint import run
    from lookdev.jobs.paint_requests import MatchRequest

    shared = _on_screen(scout, looks, out, chips, only, balance, level, wall_xy, encoding_in, as_still)
    request = MatchRequest(
        **shared, target=target, card=card, count=count, any_colour=any_colour, paper=paper.value
    )
    with told() as tell:
        result = run(request, tell)
    if as_json:
        typer.echo(json.dumps(result.data(), indent=2, ensure_ascii=False))
    else:
        _print_match(result.answer)
        _print_written(result.written)
    return 1 if result.errors else 0


@app.command()
def apart(
    scout: ScoutArgument,
    surface: Annotated[
        list[str],
        typer.Argument(
            metavar="WALL COSTUME…",
            help="Two surfaces or more: names or codes in --chips, Munsell notations, #hex. The wall first.",
        ),
    ],
    chips: ChipsOption = None,
    skins: Annotated[
        str,
        typer.Option(
            "--skins",
            metavar="models|none|FILE",
            help="Skins to hold against each surface: six models, light to dark; none; or a chip file of "
            "measured spectra.",
        ),
    ] = "models",
    looks: Looks = None,
    only: Only = None,
    out: OutOption = None,
    balance: BalanceOption = None,
    level: LevelOption = 0.0,
    wall_xy: WallOption = None,
    encoding_in: EncodingOption = None,
    as_still: AsStillOption = False,
    as_json: JsonOption = False,
) -> int:
    """Do wall, costumes and skins stay apart on screen? CIEDE2000 and L* of each pair, and which merge.

    `lookdev paint apart SCOUT "5BG 5/4" "10BG 4/4" --looks looks`

    Also pairs that match in daylight and part under the lamp, and the looks through which a pair that merges
    stays apart.
    """
    from lookdev.jobs.paint import run
    from lookdev.jobs.paint_requests import ApartRequest

    shared = _on_screen(scout, looks, out, chips, only, balance, level, wall_xy, encoding_in, as_still)
    held: Path | Literal["models"] | None = "models"
    if skins != "models":
        held = None if skins == "none" else Path(skins)
    with told() as tell:
        result = run(ApartRequest(**shared, surfaces=tuple(surface), skins=held), tell)
    if as_json:
        typer.echo(json.dumps(result.data(), indent=2, ensure_ascii=False))
    else:
        rows = [
            [p.one, p.two, p.place, p.look, f"{p.ciede2000:.1f}", fixed(p.lightness, 0),
             f"{p.in_daylight:.1f}", p.words]
            for p in result.pairs
        ]  # fmt: skip
        print_table(["", "", "place", "look", "CIEDE2000", "L*", "in daylight", ""], rows)
        for sentence in result.merging:
            typer.echo(sentence)
        _print_written(result.written)
    return 1 if result.errors else 0


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
    from lookdev.jobs.paint import run
    from lookdev.jobs.paint_requests import PaletteRequest
    from lookdev.outputs import default_folder

    folder = out if out is not None else default_folder("paint", still.parent)
    with told() as tell:
        result = run(PaletteRequest(still, folder, chips, colours, paper.value, any_colour), tell)
    if as_json:
        typer.echo(json.dumps(result.data(), indent=2, ensure_ascii=False))
    else:
        rows = [
            [f"{100 * c.share:.1f}%", c.hex, c.munsell, "; ".join(f"{n} ({d:.1f})" for n, d in c.chips)]
            for c in result.colours
        ]
        print_table(["share", "hex", "Munsell", "nearest chips as made (CIEDE2000)"], rows)
        _print_written(result.written)
    return 1 if result.errors else 0


def _on_screen(
    scout: Path,
    looks: list[str] | None,
    out: Path | None,
    chips: Path | None,
    only: list[str] | None,
    balance: float | None,
    level: float,
    wall_xy: tuple[float, float] | None,
    encoding_in: str | None,
    as_still: bool,
) -> dict[str, Any]:
    """What the questions about paint on screen share, from what was typed."""
    from lookdev.jobs.common import looks_for, open_scout
    from lookdev.lut.look_files import files_of_looks
    from lookdev.outputs import default_folder

    opened = open_scout(scout)
    return {
        "scout": opened,
        "looks": looks_for(opened, looks),
        "out": out if out is not None else default_folder("paint", scout),
        "chips": chips,
        "only": tuple(only or ()),
        "balance_k": balance,
        "level_stops": level,
        "wall_xy": wall_xy,
        "encoding_in": encoding_in,
        "as_still": as_still,
        "reads": files_of_looks(looks),
    }


def _print_predictions(found: Sequence[SiteTable]) -> None:
    from lookdev.pages.paint_report import site_facts
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
