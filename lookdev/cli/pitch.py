"""``lookdev pitch``: the pages that sell a look."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lookdev.cli.options import Choices, Looks, MaxPixels, Only, Salvage, ScoutFolder, Workers

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout


def pitch(
    scout: ScoutFolder,
    looks: Looks = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the pages; default: SCOUT_pitch beside the scout."),
    ] = None,
    only: Only = None,
    numbers: Annotated[
        bool, typer.Option("--numbers", help="Add an appendix with readings and parameters.")
    ] = False,
    choices: Choices = None,
    workers: Workers = None,
    salvage: Salvage = False,
    max_pixels: MaxPixels = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was made as JSON.")] = False,
) -> None:
    """Make the pages that sell a look to a director: pitch.pdf and pitch.html.

    One page a place, in the film's frame and in the look that is proposed, with two or three alternates;
    before and after; the run of colour through the film; a page to tick. pitch.html is one file for a tablet:
    it opens without a network, and the choices made on it leave as text. frames/ has the big frame of each
    place as a JPEG.

    `[pitch]` in scout.toml says the film's frame, the looks in order, which still stands for a place, what is
    proposed, and your own words. Without it the first still of each place that is wide, sharp and well
    exposed stands for it, and the first look is proposed.

    With `--choices FILE` (or `-`, and the text pasted) no page is made: what the director sent back is read
    and written as choices.toml into OUT, which `batch`, `sheet` and `handoff` take.

    Examples: `lookdev pitch day1 --looks looks --out pitch`, `lookdev pitch day1 -l looks --choices
    choices.txt --out pitch`.
    """
    from lookdev.cli.common import told
    from lookdev.errors import one_line
    from lookdev.jobs.common import looks_for, open_scout
    from lookdev.jobs.pitch import PitchRequest, run
    from lookdev.lut.look_files import files_of_looks
    from lookdev.text.table import print_table

    opened = open_scout(scout)
    folder = out or scout.resolve().with_name(scout.resolve().name + "_pitch")
    if choices is not None:
        _take(opened, looks, folder, choices, as_json)
        return
    request = PitchRequest(
        opened,
        looks_for(opened, looks),
        folder,
        tuple(only or ()),
        numbers,
        workers,
        salvage,
        max_pixels,
        reads=files_of_looks(looks),
    )
    with told() as tell:
        result = run(request, tell)
    if as_json:
        answer = {
            "pages": [str(path) for path in result.written],
            "frames": [str(path) for path in result.frames],
            "places": result.places,
            "errors": result.errors,
        }
        print(json.dumps(answer, ensure_ascii=False))
    else:
        columns = ("code", "still", "why", "proposed")
        print_table(
            ["place", "still", "how it was chosen", "proposed"],
            [[one_line(str(place[name])) for name in columns] for place in result.places],
        )
        for path in (*result.written, *result.frames):
            print(path)
    raise typer.Exit(1 if result.errors else 0)


def _take(scout: Scout, looks: list[str] | None, out: Path, choices: Path, as_json: bool) -> None:
    """The director's choices: read, written as choices.toml, told."""
    from lookdev.cli.common import told
    from lookdev.jobs.choices import ChoicesRequest, choices_from, run
    from lookdev.jobs.common import looks_for
    from lookdev.lut.look_files import files_of_looks

    text = choices_from(choices)
    assert text is not None
    reads = (*files_of_looks(looks), *((choices,) if str(choices) != "-" else ()))
    with told() as tell:
        result = run(ChoicesRequest(scout, looks_for(scout, looks), out, text, reads), tell)
    lines = result.settled.lines()
    if as_json:
        print(json.dumps({"choices": lines, "file": str(result.written)}, ensure_ascii=False))
    else:
        for line in lines:
            print(line)
        print(result.written)
