"""The CDLs of a handoff by scene: which correction is for which scene or shot, where the log says so."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from lookdev.files import write_whole
from lookdev.lut.cdl import CdlFit, ccc_text
from lookdev.text.csv_out import csv_text


@dataclass(frozen=True)
class SceneCorrection:
    """A scene or shot at a place, and the CDL for it; ``own_id`` : its id in the collection by scene."""

    scene: str
    place: str
    identifier: str
    own_id: str
    fit: CdlFit


def scenes_of(text: str | None) -> list[str]:
    """The scenes in a cell of the log, in order.

    >>> scenes_of("12; 14A/3, 12")
    ['12', '14A/3']
    """
    parts = (" ".join(part.split()) for part in re.split(r"[;,|\\n]+", text or ""))
    return list(dict.fromkeys(part for part in parts if part))


def by_scene(
    cdls: Sequence[tuple[str, CdlFit]], scenes: Mapping[str, Iterable[str]]
) -> list[SceneCorrection]:
    """Every scene with the CDL of its place, in the order of ``cdls``; ``scenes`` by place.

    A scene's id is its name; one that plays at several places has each place's label behind it.
    """
    found = [
        (scene, fit.place, identifier, fit)
        for identifier, fit in cdls
        if fit.place is not None
        for scene in scenes.get(fit.place, ())
    ]
    often = Counter(scene for scene, _, _, _ in found)
    return [
        SceneCorrection(
            scene,
            place,
            identifier,
            scene if often[scene] == 1 else f"{scene}@{identifier.partition('@')[2] or place}",
            fit,
        )
        for scene, place, identifier, fit in found
    ]


def write_scenes(folder: Path, slug: str, found: Sequence[SceneCorrection], note: str, viewing: str) -> None:
    """Write scenes.csv and SLUG.scenes.ccc, whose ids are the scenes; nothing where the log has none."""
    if not found:
        return
    rows = [[each.scene, each.place, each.identifier, each.own_id] for each in found]
    head = ["scene", "location", "cdl_id", "id_in_scenes_ccc"]
    write_whole(folder / "scenes.csv", csv_text(head, rows))
    collection = [(each.own_id, each.fit) for each in found]
    write_whole(folder / f"{slug}.scenes.ccc", ccc_text(collection, note, viewing))
