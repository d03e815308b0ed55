"""Looks between looks, written as a look; and what two looks differ in, in words and on a scout's stills."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookdev.errors import RequestError
from lookdev.files import write_whole
from lookdev.jobs.common import Line, Tell, compile_on_first_use, counter, unheard
from lookdev.looks.keys import look_text
from lookdev.looks.mix import check_share, mixed
from lookdev.looks.model import Look, checked_title
from lookdev.looks.toml_file import load_look
from lookdev.outputs import inputs_of, refuse_any_scout, writing

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout

COMPARED_PX = 480


@dataclass(frozen=True)
class MixRequest:
    """``share`` of the way, 0 to 1.5, from the look in file ``one`` to that in ``two``, into file ``out``."""

    one: Path
    two: Path
    share: float
    out: Path
    title: str | None = None


def mix(request: MixRequest) -> Look:
    """Write the mix; returns it.

    Raises
    ------
    RequestError : the request is wrong; nothing has been written.
    """
    one, two = load_look(request.one), load_look(request.two)
    check_share(request.share)
    per_cent = round(100 * request.share)
    title = checked_title(request.title or f"{one.title} to {two.title}, {per_cent}%"[:120])
    found = mixed(one, two, request.share, title)
    out = request.out
    if out.suffix.lower() != ".toml":
        raise RequestError("a look is a .toml file", file=out, wanted=f"{out.name}.toml")
    refuse_any_scout(out.parent)
    if not out.parent.is_dir():
        raise RequestError("no such folder", file=out.parent, wanted="a folder that is there")
    if out.exists():
        raise RequestError("is there already", file=out, wanted="another name")
    with writing(out.parent, inputs_of(more=[request.one, request.two]), [out]):
        write_whole(out, look_text(found, f"{per_cent}% of the way from {one.title} to {two.title}"))
    return found


@dataclass(frozen=True)
class DifferencesRequest:
    """Two look files, and the scout on whose stills they are compared; None: on colours all over sRGB."""

    one: Path
    two: Path
    scout: Scout | None = None
    only: tuple[str, ...] = ()


@dataclass(frozen=True)
class OnStill:
    """CIEDE2000 between the two looks over a still's pixels."""

    still: str
    location: str
    mean: float
    p95: float


@dataclass(frozen=True)
class Differences:
    """``words``: (stage, what the one does, what the other does) where they differ; ``numbers``: (key, one,
    two); ``stills`` measured; ``mean`` and ``p95`` over all of them."""

    one: Look
    two: Look
    words: list[tuple[str, str, str]]
    numbers: list[tuple[str, float, float]]
    stills: list[OnStill]
    mean: float
    p95: float
    errors: list[str]


def differences(request: DifferencesRequest, tell: Tell = unheard) -> Differences:
    """What two looks differ in. Nothing is written.

    Raises
    ------
    LookError : a look cannot be read.
    RequestError : the scout has no stills.
    """
    from lookdev.looks.keys import numbers_of

    one, two = load_look(request.one), load_look(request.two)
    mine, theirs = numbers_of(one), numbers_of(two)
    keys = [key for key in {**mine, **theirs} if mine.get(key) != theirs.get(key)]
    absent = float("nan")
    changed = [(key, mine.get(key, absent), theirs.get(key, absent)) for key in keys]
    stills, apart, errors = _on_stills(request, one, two, tell)
    every = np.concatenate(apart) if apart else np.zeros(1)
    mean, p95 = float(every.mean()), float(np.percentile(every, 95))
    return Differences(one, two, in_words(one, two), changed, stills, mean, p95, errors)


def in_words(one: Look, two: Look) -> list[tuple[str, str, str]]:
    """(stage, words of the one, words of the other) for each stage in which the two differ."""
    found = []
    others = two.acting.named_stages
    for name, mine in one.acting.named_stages.items():
        theirs = others[name]
        if mine != theirs:
            one_does, two_does = ("; ".join(stage.words()) or "nothing" for stage in (mine, theirs))
            found.append((name, one_does, two_does))
    return found


def _on_stills(
    request: DifferencesRequest, one: Look, two: Look, tell: Tell
) -> tuple[list[OnStill], list[np.ndarray], list[str]]:
    from lookdev.colorimetry.difference import ciede2000
    from lookdev.colorimetry.encodings import SRGB
    from lookdev.lut.error import appearance, picture_inputs

    if request.scout is None:
        colours = picture_inputs(SRGB)[:4000]
        labs = [appearance(look.transform(SRGB, SRGB)(colours), SRGB) for look in (one, two)]
        return [], [ciede2000(*labs)], []
    from lookdev.jobs.common import need_stills
    from lookdev.jobs.graded import preview_task
    from lookdev.render.preview import do_preview
    from lookdev.survey.survey import survey

    surveyed = survey(request.scout, request.only)
    need_stills(surveyed)
    compile_on_first_use(tell)
    step, errors = counter(tell), list(surveyed.errors)
    found: list[OnStill] = []
    apart: list[np.ndarray] = []
    for number, still in enumerate(surveyed.usable, 1):
        preview = do_preview(preview_task(still, (one, two), (COMPARED_PX, COMPARED_PX)))
        step(number, len(surveyed.usable), still.name)
        first, second = preview.graded if len(preview.graded) == 2 else (None, None)
        if first is None or second is None:
            errors.append(preview.error or f"{still.name}: cannot be shown")
            continue
        shown = [appearance(p.reshape(-1, 3)[::7] / 255.0, SRGB) for p in (first, second)]
        off = ciede2000(*shown)
        apart.append(off)
        found.append(OnStill(still.name, still.location, float(off.mean()), float(np.percentile(off, 95))))
    for line in errors:
        tell(Line(line))
    return found, apart, errors
