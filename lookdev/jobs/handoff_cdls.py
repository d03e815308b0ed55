"""The CDLs of a handoff: the look alone and at each place, as .cc, .ccc and .cdl, and by scene."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from lookdev.files import write_whole
from lookdev.jobs.handoff_parts import PLAIN, Parts
from lookdev.lut.cdl import ccc_text, cdl_text, fit_cdl, write_cc
from lookdev.lut.scenes import by_scene, scenes_of, write_scenes
from lookdev.survey.footage import FootagePlace
from lookdev.survey.survey import Survey

Array = NDArray[np.float64]


def write_cdls(
    parts: Parts, samples: Mapping[str | None, Sequence[Array]], scenes: Mapping[str, list[str]]
) -> None:
    """Write ``cdl``.

    ``samples`` : colours (n, 3) of the reference stills, in the footage's encoding, by place; all by None.
    ``scenes`` : by place.
    """
    request, made, slug, tell = parts.request, parts.made, parts.slug, parts.tell
    folder, places, labels = parts.folder / "cdl", parts.places, parts.labels
    look, source, target = request.look, request.source, request.target
    tell("CDL")
    seen = np.concatenate(samples[None]) if None in samples else None
    alone = fit_cdl(look, source, target, scout_inputs=seen)
    made.cdls.append((slug, alone))
    for place in places:
        tell(f"CDL for {place.name}")
        own = np.concatenate(samples[place.name]) if place.name in samples else None
        fit = fit_cdl(
            look,
            source,
            target,
            scout_inputs=own,
            cast=place.cast,
            place=place.name,
            balance=place.balance_words,
            start=alone.cdl,
        )
        made.cdls.append((f"{slug}@{labels[place.name]}", fit))
    behind = f"the plain rendering of {source.name} to {request.shown.name}: luts/{PLAIN}.clf"
    if made.plain is not None:
        behind += f" or luts/{made.plain.path.name}"
    for identifier, fit in made.cdls:
        write_cc(folder / f"{identifier}.cc", fit, identifier, behind)
    note = f"{look.title}, nearest CDL in {source.name}; each says how near"
    write_whole(folder / f"{slug}.ccc", ccc_text(made.cdls, note, behind))
    write_scenes(folder, slug, by_scene(made.cdls, scenes), note, behind)
    by_name = {fit.place: (identifier, fit) for identifier, fit in made.cdls}
    decisions = [
        (f"stills/ungraded/{s.name}.tif", *by_name[s.place.name if s.place is not None else None])
        for s in made.stills
    ]
    if decisions:
        write_whole(folder / f"{slug}.cdl", cdl_text(decisions, note, behind))


def scenes_by_place(surveyed: Survey, places: Sequence[FootagePlace]) -> dict[str, list[str]]:
    """The scenes that the log names for the stills of each place."""
    named = {s.name: scenes_of(s.reading.scene) for s in surveyed.usable if s.reading is not None}
    return {
        place.name: list(dict.fromkeys(scene for still in place.stills for scene in named.get(still, ())))
        for place in places
    }
