"""``lookdev looks``: what two looks differ in."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Annotated

import typer

from lookdev.cli.options import Only


def looks(
    one: Annotated[Path, typer.Argument(help="A look: a .toml file.")],
    two: Annotated[Path, typer.Argument(help="The look to compare it with.")],
    scout: Annotated[
        Path | None,
        typer.Option("--scout", help="Compare on this scout's stills; without it on colours all over sRGB."),
    ] = None,
    only: Only = None,
    as_json: Annotated[bool, typer.Option("--json", help="For programs.")] = False,
) -> None:
    """Say what two looks differ in: in words, by key, and in CIEDE2000 on a scout's stills.

    `lookdev looks cold.toml warm.toml --scout day1`
    """
    from lookdev.cli.common import told
    from lookdev.jobs.common import open_scout
    from lookdev.jobs.mix import DifferencesRequest, differences
    from lookdev.text.numbers import MINUS

    opened = open_scout(scout) if scout is not None else None
    request = DifferencesRequest(one, two, opened, tuple(only or ()))
    with told(quiet=as_json) as tell:
        found = differences(request, tell)

    def shown(value: float) -> str:
        return "none" if math.isnan(value) else f"{value:g}".replace("-", MINUS)

    if as_json:
        answer = {
            "looks": [found.one.title, found.two.title],
            "words": [{"stage": s, "one": a, "two": b} for s, a, b in found.words],
            "keys": {key: [None if math.isnan(v) else v for v in (a, b)] for key, a, b in found.numbers},
            "mean_de00": round(found.mean, 3),
            "p95_de00": round(found.p95, 3),
            "stills": [
                {"still": s.still, "mean_de00": round(s.mean, 3), "p95_de00": round(s.p95, 3)}
                for s in found.stills
            ],
            "errors": found.errors,
        }
        print(json.dumps(answer, indent=2, ensure_ascii=False))
        raise typer.Exit(1 if found.errors else 0)
    if not found.words:
        print(f"{found.one.title} and {found.two.title} do the same.")
    for stage, mine, theirs in found.words:
        print(f"{stage}\n  {found.one.title}: {mine}\n  {found.two.title}: {theirs}")
    if found.numbers:
        print("by key: " + ", ".join(f"{key} {shown(a)} → {shown(b)}" for key, a, b in found.numbers))
    for still in found.stills:
        print(f"{still.still}: ΔE00 {still.mean:.1f} on the mean, 95% below {still.p95:.1f}")
    where = "all stills" if scout is not None else "colours all over sRGB, no lamp's cast in them"
    print(f"{where}: ΔE00 {found.mean:.1f} on the mean, 95% below {found.p95:.1f}")
    raise typer.Exit(1 if found.errors else 0)
