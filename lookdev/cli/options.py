"""Arguments and options that several verbs share."""

from __future__ import annotations

import enum
from pathlib import Path
from typing import Annotated

import typer


class Paper(enum.StrEnum):
    """Paper of the pages, landscape."""

    a4 = "a4"
    letter = "letter"


ScoutFolder = Annotated[
    Path, typer.Argument(help="The scout: a folder of stills with meter.csv (and scout.toml).")
]
Looks = Annotated[
    list[str] | None,
    typer.Option(
        "--looks",
        "-l",
        help="A look (.toml), a folder of them, `shipped` or the title of a look that came with the program, "
        "or a received FILE.cube@IN:OUT; may be repeated. "
        "Default: SCOUT/looks.",
    ),
]
EncodingIn = Annotated[
    str | None,
    typer.Option(
        "--encoding-in",
        help="Encoding that the LUT takes, as `lookdev encodings` names it; default: footage_encoding of the "
        "scout's scout.toml, else sRGB.",
    ),
]
EncodingOut = Annotated[
    str | None,
    typer.Option("--encoding-out", help="Encoding that the LUT gives; default: BT.709, or sRGB from sRGB."),
]
RangeIn = Annotated[
    str | None,
    typer.Option(
        "--range-in", help="Code range in: full or narrow; default: full, unless the encoding says narrow."
    ),
]
RangeOut = Annotated[str | None, typer.Option("--range-out", help="Code range out, likewise.")]
Only = Annotated[list[str] | None, typer.Option("--only", help="Do this location alone; may be repeated.")]
PaperChoice = Annotated[Paper, typer.Option("--paper", help="Paper of the pages.")]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers",
        min=1,
        max=64,
        help="Stills in hand at the same time; default: as many as there are cores. Memory bounds them by "
        "itself.",
    ),
]
Choices = Annotated[
    Path | None,
    typer.Option(
        "--choices",
        metavar="FILE",
        help="What was chosen: choices.toml, or the text that was mailed or saved; - for standard input.",
    ),
]
Salvage = Annotated[
    bool,
    typer.Option(
        "--salvage", help="Use a truncated or damaged JPEG as far as it decodes, marked on every page."
    ),
]
MaxPixels = Annotated[
    int | None,
    typer.Option("--max-pixels", min=1, help="Largest still to open, in pixels; default 160 million."),
]
