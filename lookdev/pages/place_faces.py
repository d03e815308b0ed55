"""The six complexions at a place of a survey, through each look, as its stills show them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from lookdev.errors import LookdevError
from lookdev.paint.faces import Faces, faces_at, look_alike
from lookdev.paint.sites import sites_of

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.survey.survey import Survey

MOST_LIGHTS = 2
"""Lights of a place that faces are shown under; ``lookdev faces`` shows all."""


def faces_here(survey: Survey, location: str, looks: Sequence[LookLike]) -> tuple[Faces, ...]:
    """A look each, under the lights of the place that differ to an eye; () where no light was metered."""
    from lookdev.colorimetry.encodings import SRGB

    try:
        sites, _ = sites_of(survey.select([location]), through_still=True)
        rows: list[list[Faces]] = []
        for site in sites:
            row = [faces_at(site, look, SRGB) for look in looks]
            alike = any(look_alike(row, other) for other in rows)
            if row and not alike and len(rows) < MOST_LIGHTS:
                rows.append(row)
    except LookdevError:
        return ()
    if len(rows) == 1:
        return tuple(rows[0])
    return tuple(replace(f, look=f"{f.look}, {f.light}") for row in rows for f in row)
