"""``lookdev mix``: a look between two looks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def mix(
    one: Annotated[Path, typer.Argument(help="The look from which it goes: a .toml file.")],
    two: Annotated[Path, typer.Argument(help="The look to which it goes.")],
    share: Annotated[float, typer.Option("--share", help="How much of the way: 0 to 1, up to 1.5 beyond.")],
    out: Annotated[Path, typer.Option("--out", "-o", help="The look file to write.")],
    title: Annotated[str | None, typer.Option("--title", help="Its title.")] = None,
) -> None:
    """Write a look that lies between two: each number goes in the way natural to it.

    `lookdev mix cold.toml warm.toml --share 0.3 --out between.toml`

    Stops, mired, Duv and degrees go straight, factors in the logarithm, the curve by the stops that come out.
    """
    from lookdev.jobs.mix import MixRequest
    from lookdev.jobs.mix import mix as run

    found = run(MixRequest(one, two, share, out, title))
    print(f"{out}: {found.title}")
    print(f"  {found.describe()}")
