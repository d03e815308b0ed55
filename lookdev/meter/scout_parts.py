"""Stills of a scout that are no files: ``[[view]]`` of panoramas, and moments of clips.

```toml
[[view]]
still = "pano.jpg"          # a panorama: its name, or its path in the scout
name = "To the ramp"
pan_deg = 30                # to the right of its middle
tilt_deg = -5               # up is positive
roll_deg = 0                # the camera turned clockwise
lens_mm = 18
gate_mm = [24.9, 14.0]

[stills]
moments = ["clip.mov@00:07"]   # as in the log; without one a clip's still is its middle
```
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from lookdev.errors import LookdevError, MeterError
from lookdev.meter.naming import FILE, match_rank
from lookdev.names import PART_MARK
from lookdev.stills.formats import CLIP_SUFFIXES
from lookdev.stills.part import Moment, Part, View, moment_words, seconds_of
from lookdev.stills.view import WIDEST_DEG

if TYPE_CHECKING:
    from lookdev.meter.reading import Reading

Millimetres = Annotated[float, Field(ge=1, le=200)]
LONGEST_NAME = 60


class ViewEntry(BaseModel):
    """One ``[[view]]`` of scout.toml."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    still: Annotated[str, Field(min_length=1)]
    name: Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
    pan_deg: Annotated[float, Field(ge=-360, le=360)] = 0.0
    tilt_deg: Annotated[float, Field(ge=-90, le=90)] = 0.0
    roll_deg: Annotated[float, Field(ge=-180, le=180)] = 0.0
    lens_mm: Annotated[float, Field(ge=1, le=2000)] = View.lens_mm
    gate_mm: tuple[Millimetres, Millimetres] = View.gate_mm

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if any(mark in self.name for mark in (PART_MARK, "/", "\\")) or not self.name.strip():
            raise ValueError(f"a name without {PART_MARK}, / and \\, not '{self.name}'")
        field_deg = math.degrees(2 * math.atan(max(self.gate_mm) / 2 / self.lens_mm))
        if field_deg > WIDEST_DEG:
            raise ValueError(
                f"a lens_mm and gate_mm that see up to {WIDEST_DEG:g} degrees, not {field_deg:.0f}: "
                f"'{self.name}'"
            )
        return self

    def view(self) -> View:
        """The same as the reader takes it."""
        return View(self.pan_deg, self.tilt_deg, self.roll_deg, self.lens_mm, self.gate_mm)


@dataclass(frozen=True)
class ScoutStill:
    """A still: ``path`` of its file, ``name`` by which it is called, ``part``: what of the file it is."""

    path: Path
    name: str
    part: Part | None = None


def scout_stills(
    files: Sequence[Path],
    folder: Path,
    views: Sequence[ViewEntry],
    moments: Sequence[str],
    readings: Sequence[Reading],
) -> tuple[tuple[ScoutStill, ...], tuple[LookdevError, ...]]:
    """Every still of a scout: files, views behind their panoramas, moments in the place of their clips.

    Also what could not be found, a line each: views of a still that is not there, moments of no clip.
    """
    names = {path.relative_to(folder).as_posix(): path for path in files}
    errors: list[LookdevError] = []
    parts: dict[str, dict[str, Part]] = {}
    for entry in views:
        try:
            name = _the_one(entry.still, names, f"view '{entry.name}'")
            if entry.name.casefold() in (known.casefold() for known in parts.get(name, {})):
                raise MeterError("two views of one name", file="scout.toml", key="view", found=entry.name)
            parts.setdefault(name, {})[entry.name] = entry.view()
        except MeterError as error:
            errors.append(error)
    clips = {name: path for name, path in names.items() if path.suffix.lower() in CLIP_SUFFIXES}
    asked = [(text, "scout.toml", "stills.moments") for text in moments]
    asked += [(p, r.file, r.place) for r in readings for p in r.stills if PART_MARK in p]
    for text, file, where in asked:
        clip, _, at = text.rpartition(PART_MARK)
        at_s = seconds_of(at)
        meant = [name for name in clips if match_rank(name, clip)]
        if at_s is None or not meant:
            if file == "scout.toml":
                wanted = "a clip of the scout and a time in it, such as clip.mov@00:07"
                errors.append(
                    MeterError("no moment of a clip", file=file, key=where, found=text, wanted=wanted)
                )
            continue  # of a pattern in the log that names nothing, the log's own warning tells
        for name in meant:
            parts.setdefault(name, {}).setdefault(moment_words(at_s), Moment(at_s))
    out: list[ScoutStill] = []
    for name, path in names.items():
        own = parts.get(name, {})
        if name not in clips or not own:
            out.append(ScoutStill(path, name))
        out += [ScoutStill(path, f"{name}{PART_MARK}{part}", what) for part, what in own.items()]
    return tuple(out), tuple(errors)


def _the_one(still: str, names: Iterable[str], who: str) -> str:
    """The name of the still that a line of scout.toml means.

    Raises
    ------
    MeterError : there is none, with the nearest; or there are several.
    """
    have = list(names)
    ranks = {name: match_rank(name, still) for name in have}
    best = max(ranks.values(), default=0)
    meant = [name for name in have if ranks[name] == best]
    if best == 0:
        near = difflib.get_close_matches(still, have, n=1, cutoff=0.5)
        wanted = f"{near[0]} (the nearest)" if near else "a still's name or path in the scout"
        raise MeterError(f"{who} is of a still that is not there", file="scout.toml", key="view.still",
                         found=still, wanted=wanted)  # fmt: skip
    if len(meant) > 1 or best < FILE - 2:
        raise MeterError(f"{who} is of several stills", file="scout.toml", key="view.still", found=still,
                         wanted=f"one path, such as {meant[0]}")  # fmt: skip
    return meant[0]
