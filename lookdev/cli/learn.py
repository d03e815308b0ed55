"""`lookdev learn`: a look from frames that were graded by hand, or suggestions from a reference picture."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lookdev.cli.options import Only

if TYPE_CHECKING:
    from lookdev.jobs.learn import LearnResult
    from lookdev.jobs.like import LikeResult


def learn(
    scout: Annotated[
        Path | None, typer.Argument(help="With --like: the scout that is to look like it.")
    ] = None,
    before: Annotated[
        list[Path] | None,
        typer.Option("--before", "-b", help="A frame as it stood; may be repeated, one --after to each."),
    ] = None,
    after: Annotated[
        list[Path] | None, typer.Option("--after", "-a", help="The same frame as it was graded by hand.")
    ] = None,
    out: Annotated[Path, typer.Option("--out", "-o", help="The look to write, NAME.toml.")] = Path(
        "learned.toml"
    ),
    like: Annotated[
        list[Path] | None,
        typer.Option(
            "--like", help="A picture of another place in the look that is wanted; may be repeated, one look."
        ),
    ] = None,
    only: Only = None,
    rest: Annotated[
        bool,
        typer.Option(
            "--rest",
            help="Write what no key says as NAME_rest.cube, and NAME_with_rest.toml, a look that is both.",
        ),
    ] = False,
    title: Annotated[
        str | None, typer.Option("--title", help="Title of the look; default: after its file.")
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over a look that is there already.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="For programs: what was learned, as JSON.")] = False,
) -> int:
    """Learn a look from a frame that was graded by hand, in whatever program, or from a reference picture.

    `lookdev learn --before hall.jpg --after hall_graded.jpg --before quay.jpg --after quay_graded.jpg --out
    ours.toml --rest`

    Two or three pairs of different places teach more than one. The frames may differ in size and crop. What
    no look can do (a vignette, a mask, a retouched corner) is shown white in NAME_left.png.

    `lookdev learn day1 --like reference.jpg --out like.toml`

    writes three suggestions, like_1.toml to like_3.toml: guesses, as nobody knows what of the reference is
    its look and what its place. The first is the one to begin with.
    """
    from lookdev.cli.common import told
    from lookdev.errors import RequestError
    from lookdev.jobs.learn import LearnRequest, run

    if like:
        if before or after or rest:
            raise RequestError("--like goes without --before, --after and --rest")
        return _like(scout, like, out, only, title, replace, as_json)
    if scout is not None or only:
        raise RequestError("a scout goes with --like", found=str(scout or "--only"), wanted="--like PICTURE")
    request = LearnRequest(tuple(before or ()), tuple(after or ()), out, rest, title, replace)
    with told(quiet=as_json) as tell:
        result = run(request, tell)
    if as_json:
        typer.echo(json.dumps(result.numbers(), indent=2, ensure_ascii=False))
    else:
        _print(result)
    return 1 if result.errors else 0


def _like(
    folder: Path | None,
    references: list[Path],
    out: Path,
    only: list[str] | None,
    title: str | None,
    replace: bool,
    as_json: bool,
) -> int:
    from lookdev.cli.common import told
    from lookdev.errors import RequestError
    from lookdev.jobs.common import open_scout
    from lookdev.jobs.like import LikeRequest, run

    if folder is None:
        raise RequestError("which scout?", wanted="lookdev learn SCOUT --like PICTURE")
    request = LikeRequest(tuple(references), open_scout(folder), out, tuple(only or ()), title, replace)
    with told(quiet=as_json) as tell:
        result = run(request, tell)
    if as_json:
        typer.echo(json.dumps(result.numbers(), indent=2, ensure_ascii=False))
    else:
        _print_like(result, folder)
    return 1 if result.errors else 0


def _print_like(result: LikeResult, folder: Path) -> None:
    from lookdev.text.numbers import unsigned
    from lookdev.text.table import print_table

    print_table(("seen", "reference", "scout, balanced", "in 1", "in 2", "in 3"), result.seen)
    typer.echo("\nSuggestions: what of the reference is its look and what its place, nobody knows.")
    for number, each in enumerate(result.suggestions, 1):
        typer.echo(f"\n{number}, {each.words}\n   {each.look.describe()}")
        steps = f"{unsigned(each.largest_step, 2)}, {unsigned(each.largest_step_before, 2)} without"
        typer.echo(f"   largest step of a smooth ramp of 256 codes: CIEDE2000 {steps}")
        typer.echo(f"   {each.path}")
    looks = " ".join(f"-l {each.path}" for each in result.suggestions)
    typer.echo(f"\nTo see them: lookdev sheet {folder} {looks}")


def _print(result: LearnResult) -> None:
    from lookdev.text.numbers import plain, rough
    from lookdev.text.table import print_table

    typer.echo(f"{result.look.title}: {result.look.describe()}\n")
    head = (
        "frame",
        "as it stood",
        "the look",
        "with its rest",
        "held back",
        "held back, rest",
        "not a look's",
    )
    print_table(
        head,
        [
            (
                pair.name,
                pair.untouched.words(),
                pair.keys.words(),
                pair.both.words(),
                pair.held_keys.words() if pair.held_keys else "",
                pair.held_both.words() if pair.held_both else "",
                f"{100 * pair.share_left:.1f}%",
            )
            for pair in result.pairs
        ],
    )
    typer.echo("\nCIEDE2000. Held back: learned from the other pairs alone.")
    if len(result.pairs) == 1:
        typer.echo("One pair: nothing could be held back. A second pair shows how far the look carries.")
    if result.keys:
        typer.echo("")
        print_table(
            ("key", "learned", "least step seen", ""),
            [
                (
                    key.key,
                    plain(key.value),
                    rough(key.just_noticeable),
                    "" if key.told_apart else "not told apart",
                )
                for key in result.keys
            ],
        )
        typer.echo(
            "Least step seen: mean CIEDE2000 1 over these frames, all else left. Not told apart: other keys"
        )
        typer.echo("do the same to these frames, and share what was done.")
    if any(pair.share_left > 0 for pair in result.pairs):
        typer.echo(
            "\nMaps (_left.png): the lighter, the more of the grade is no look's; counted from CIEDE2000 5."
        )
    for path in result.written:
        typer.echo(str(path))
