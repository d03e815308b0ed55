"""``lookdev watch``: the live page."""

from __future__ import annotations

from typing import Annotated

import typer

from lookdev.cli.options import Looks, Only, ScoutFolder


def watch(
    scout: ScoutFolder,
    looks: Looks = None,
    stills: Annotated[
        list[str] | None,
        typer.Option(
            "--stills",
            help="A still to show, by its file name; may be repeated. Default: the hero of three places.",
        ),
    ] = None,
    only: Only = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page, or only print its address.")
    ] = True,
) -> int:
    """The live page: stills in a look, and the look's file beside them, redrawn as it is typed or saved.

    With the caret in a number, the up and down arrows change it by its natural step (with Shift ten times
    that), as does a drag to the side. Ctrl+S saves, with your comments; hold F2 for the version before. Every
    version of the session stands in a strip and comes back by a click. A file saved in another editor shows
    at once.

    The page is served to this machine alone, at an address that nobody can guess. Nothing is written but the
    look that you save. Ctrl-C ends it.

    Examples: `lookdev watch day1 --looks looks`, `lookdev watch day1 -l looks/dusk.toml --stills IMG_2041`.
    """
    from lookdev.cli.common import say, told
    from lookdev.jobs.common import open_scout
    from lookdev.jobs.watch import WatchRequest, run

    request = WatchRequest(open_scout(scout), tuple(looks or ()), tuple(stills or ()), tuple(only or ()))

    def opened(address: str) -> None:
        typer.echo(address)
        say("Ctrl-C ends it.")
        if browser:
            import webbrowser

            webbrowser.open(address)

    try:
        with told() as tell:
            run(request, tell, opened)
    except KeyboardInterrupt:
        say("lookdev: the page is closed; every look is as it was saved last")
    return 0
