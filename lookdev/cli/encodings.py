"""`lookdev encodings`: the names of every encoding, with standard, state and range."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding


def encodings(
    word: Annotated[str, typer.Argument(help="Only those with this word in their name or standard.")] = "",
    every: Annotated[bool, typer.Option("--all", help="The cameras' logs too.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="For programs: a JSON list.")] = False,
) -> int:
    """List the encodings that `cube`, `handoff` and `inspect` know: the standards' own, with `--all` the
    cameras' logs too. A word is looked for in all of them.

    **State** is output (a picture for a display) or scene (light, or a camera's log of it). **Grey** is the
    code of mid grey (18%), **top** the light at code 1 where mid grey is 0.18. A log encoding may also be put
    together with any gamut that colour-science registers: its name, then the gamut's. Part of a name will do
    where no other has it. `narrow` behind a name means codes 64 to 940 of 10 bits.
    """
    from lookdev.colorimetry.encodings import encoding_names, get_encoding
    from lookdev.colorimetry.log_encodings import plain_key

    rows: list[dict[str, object]] = []
    for name in encoding_names(cameras=every or bool(word)):
        encoding = get_encoding(name)
        said = word.casefold() in f"{name} {encoding.standard}".casefold()
        if not said and (plain_key(word) or word) not in plain_key(name):
            continue
        grey, top = _grey_and_top(encoding)
        linear = encoding.name.startswith("Linear") or encoding.name in ("ACEScg", "ACES2065-1")
        rows.append(
            {
                "name": name,
                "state": encoding.state,
                "primaries": encoding.space.name,
                "mid_grey_code": round(grey, 4),
                "light_at_code_1": round(top, 3),
                "ranges": ["full"] if linear else ["full", "narrow"],
                "standard": encoding.standard,
            }
        )
    if as_json:
        typer.echo(json.dumps(rows, indent=2, ensure_ascii=False))
        return 0
    if not rows:
        typer.echo(f"no encoding has {word!r} in its name or standard")
        return 0
    wide = max(len(str(row["name"])) for row in rows)
    typer.echo(f"{'name':{wide}}  {'state':6}  {'range':13} {'grey':>6}  {'top':>7}  standard")
    for row in rows:
        ranges = "/".join(row["ranges"])  # type: ignore[arg-type]
        typer.echo(
            f"{row['name']:{wide}}  {row['state']:6}  {ranges:13} {row['mid_grey_code']:6.4f}"
            f"  {row['light_at_code_1']:7.2f}  {row['standard']}"
        )
    if not (every or word):
        more = len(encoding_names()) - len(rows)
        typer.echo(f"and {more} logs of cameras: `lookdev encodings --all`, or with a word of the name")
    return 0


def _grey_and_top(encoding: Encoding) -> tuple[float, float]:
    """The code of mid grey, and the light at code 1."""
    import numpy as np

    from lookdev.colorimetry.log_encodings import registered

    known = registered().get(encoding.name)
    if known is not None:  # its formulas take a second to load
        return known.mid_grey_code, known.light_at_code_1
    grey, top = encoding.encode(np.full((1, 3), 0.18)), encoding.decode(np.ones((1, 3)))
    return float(grey[0, 0]), float(top[0, 0])
