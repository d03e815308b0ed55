"""Predictions as the painter's pages: readings of a place merged, colours named in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.looks.stages.balance import describe_white
from lookdev.pages.painter_page import PaintRow, Pick, PlacePage, Seen
from lookdev.paint.chip import Chip
from lookdev.paint.predict import SiteTable, signal_from_lab
from lookdev.paint.table import FROM_WORDS
from lookdev.paint.words import colour_names

Array = NDArray[np.float64]

READ_ALIKE = 1.0
"""CIEDE2000 up to which two readings of a place share a column: not told apart side by side by most."""

LOUD = 6.0
"""CIEDE2000 between shop and screen from which a different name is said loud (taste: plain across a room)."""

MOST_COLUMNS = 4


def place_pages(tables: Sequence[SiteTable]) -> list[PlacePage]:
    """The pages of all places, in their order; a place with more columns than fit has several."""
    pages = []
    for location in dict.fromkeys(_location(t) for t in tables):
        here = [t for t in tables if _location(t) == location]
        columns = _columns(here)
        for start in range(0, max(len(columns), 1), MOST_COLUMNS):
            pages.append(_page(location, here, columns[start : start + MOST_COLUMNS]))
    return pages


def pick_list(tables: Sequence[SiteTable]) -> list[Pick]:
    """Each paint once, with the places it is for."""
    if not tables:
        return []
    first = tables[0]
    places = list(dict.fromkeys(_location(t) for t in tables))
    words = f"all {len(places)} places" if len(places) > 2 else " and ".join(places)
    signal = signal_from_lab(first.made)
    return [
        Pick(
            signal[i], chip.name, "" if chip.code == chip.name else chip.code, first.made_munsell[i],
            f"{first.lrv_percent[i]:.0f}", words,
        )
        for i, chip in enumerate(first.chips.chips)
    ]  # fmt: skip


def _location(table: SiteTable) -> str:
    return table.site.location or table.site.name


def _columns(here: Sequence[SiteTable]) -> list[tuple[str, SiteTable, int]]:
    """Heading, table and look of each column: readings that make no difference to any paint share one."""
    out: list[tuple[str, SiteTable, int]] = []
    for k, title in enumerate(here[0].looks):
        kept: list[SiteTable] = []
        for table in here:
            if not any(float(ciede2000(t.screen[k], table.screen[k]).max()) <= READ_ALIKE for t in kept):
                kept.append(table)
        for table in kept:
            lamp = f", under {table.site.light.name}" if len(kept) > 1 else ""
            out.append((f"on screen: {title}{lamp}", table, k))
    return out


def _page(
    location: str, here: Sequence[SiteTable], columns: Sequence[tuple[str, SiteTable, int]]
) -> PlacePage:
    lights = dict.fromkeys(f"{t.site.light.name}, {describe_white(t.site.light.xy)}" for t in here)
    camera = describe_white(here[0].site.camera_xy)
    facts = ["Light: " + "; ".join(lights) + f". Camera balanced to {camera}."]
    doubtful = dict.fromkeys(
        t.site.light.trust for t in here if t.site.light.kind not in ("spectrum", "illuminant")
    )
    facts += [f"The lamp's spectrum is assumed: {words}." for words in doubtful]
    first = here[0]
    made_names = colour_names(first.made)
    made_signal = signal_from_lab(first.made)
    names = [colour_names(table.screen[k]) for _, table, k in columns]
    rows = []
    for i, chip in enumerate(first.chips.chips):
        seen = tuple(Seen(table.signal[k, i], names[c][i]) for c, (_, table, k) in enumerate(columns))
        rows.append(
            PaintRow(
                title=chip.label,
                numbers=f"Munsell {first.made_munsell[i]} · LRV {first.lrv_percent[i]:.0f}%",
                known=_known(chip, [float(table.within[k, i]) for _, table, k in columns]),
                loud=_loud(
                    made_names[i],
                    [(names[c][i], float(t.difference[k, i])) for c, (_, t, k) in enumerate(columns)],
                ),
                made=Seen(made_signal[i], made_names[i]),
                seen=seen,
                remarks=chip.remarks,
            )
        )
    return PlacePage(location, tuple(facts), tuple(head for head, _, _ in columns), tuple(rows))


def _known(chip: Chip, within: Sequence[float]) -> str:
    """How the paint is known and how sure that makes it, once, in words."""
    where = FROM_WORDS[chip.kind]
    where = where[0].upper() + where[1:]
    if not chip.estimated:
        return f"{where}."
    if not within or any(np.isnan(w) for w in within):
        return f"{where}; how sure is not known, for the lamp's spectrum is not. Paint a sample first."
    most = max(within)
    how = "sure" if most <= 1.5 else "fairly sure" if most <= 3.0 else "a guide only: paint a sample first"
    return f"{where}; {how}: 9 in 10 such paints read within {most:.1f} (CIEDE2000)."


def _loud(made: str, seen: Sequence[tuple[str, float]]) -> str:
    apart = dict.fromkeys(name for name, off in seen if off >= LOUD and name != made)
    if not apart:
        return ""
    return f"{made[0].upper()}{made[1:]} in the shop, {' or '.join(apart)} on screen."
