"""Three suggestions of a look that makes a scout look like a reference picture of another place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import LookdevError, RequestError
from lookdev.files import write_whole
from lookdev.jobs.common import (
    Line,
    Tell,
    compile_on_first_use,
    counter,
    need_stills,
    unheard,
)
from lookdev.outputs import inputs_of, refuse_any_scout, writing
from lookdev.text.numbers import signed, unsigned

if TYPE_CHECKING:
    from lookdev.looks.model import Look
    from lookdev.meter.scout import Scout
    from lookdev.survey.survey import Survey, SurveyedStill

Array = NDArray[np.float64]

EDGE_PX = 160
MOST_STILLS = 48
"""Of the scout, as many from every place: more cost time and say nothing new."""


@dataclass(frozen=True)
class LikeRequest:
    """What was asked for.

    Attributes
    ----------
    references : pictures in the look that is wanted, of whatever places; several are taken to be in one look.
    scout, only : the scout, or some of its locations.
    out : NAME.toml: the suggestions are NAME_1.toml to NAME_3.toml.
    title : of the looks; after the file's name unless given.
    replace : whether looks that are there already may be written over.
    """

    references: tuple[Path, ...]
    scout: Scout
    out: Path
    only: tuple[str, ...] = ()
    title: str | None = None
    replace: bool = False


@dataclass(frozen=True)
class Suggested:
    """A look that was suggested.

    Attributes
    ----------
    look, path : it, and its file.
    words : what kind of suggestion it is.
    largest_step, largest_step_before : CIEDE2000 between neighbours of smooth ramps of 256 codes, in the look
        and as they are.
    """

    look: Look
    path: Path
    words: str
    largest_step: float
    largest_step_before: float


@dataclass(frozen=True)
class LikeResult:
    """``seen`` : (what, reference, scout balanced, the scout in each suggestion), in words; ``errors`` one
    line a still that could not be read."""

    suggestions: list[Suggested]
    seen: list[tuple[str, ...]]
    stills: int
    errors: list[str] = field(default_factory=list)

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        return {
            "suggestions": [
                {
                    "file": str(each.path),
                    "what": each.words,
                    "look": each.look.describe(),
                    "largest_step_de00": round(each.largest_step, 3),
                    "largest_step_as_it_is_de00": round(each.largest_step_before, 3),
                }
                for each in self.suggestions
            ],
            "seen": [list(row) for row in self.seen],
            "stills": self.stills,
            "failed": self.errors,
        }


def run(request: LikeRequest, tell: Tell = unheard) -> LikeResult:
    """Find the three looks and write them.

    Raises
    ------
    RequestError : the request is wrong.
    LookdevError : a reference cannot be read, or is black or of one even colour.
    """
    from lookdev.jobs.learn import one_thread_for_sums
    from lookdev.looks.learn.impression import impression
    from lookdev.looks.learn.like import largest_step, suggest
    from lookdev.survey.survey import survey

    files = _check(request)
    references = np.stack([_reference(path) for path in request.references])
    surveyed = survey(request.scout, request.only)
    need_stills(surveyed)
    compile_on_first_use(tell)
    pictures, errors = _balanced(surveyed, tell)
    with one_thread_for_sums():
        found = suggest(references, pictures)
    title = request.title or request.out.stem.replace("_", " ").strip().capitalize() or "Like"
    made = []
    for number, (each, path) in enumerate(zip(found, files, strict=True), 1):
        names = {"title": f"{title[:100]}, suggestion {number}", "note": _note(request)}
        look = each.look.model_copy(update=names)
        made.append(Suggested(look, path, each.words, *largest_step(look)))
    _write(request, made)
    means = [impression(p).mean(axis=0) for p in (references, pictures)]
    return LikeResult(made, _seen([*means, *(each.impression for each in found)]), len(pictures), errors)


def _check(request: LikeRequest) -> list[Path]:
    if not request.references:
        raise RequestError("like what?", wanted="--like REFERENCE.jpg")
    if request.out.suffix.lower() != ".toml":
        raise RequestError("a look is written as .toml", file=request.out, wanted="--out NAME.toml")
    refuse_any_scout(request.out.parent)
    files = [request.out.with_name(f"{request.out.stem}_{number}.toml") for number in (1, 2, 3)]
    there = [path for path in files if path.exists()]
    if there and not request.replace:
        raise RequestError(
            "is there already, and may have been worked on",
            file=there[0],
            wanted="another name, or --replace",
        )
    return files


def _reference(path: Path) -> Array:
    from lookdev.jobs.learn import picture
    from lookdev.looks.learn.like import sampled
    from lookdev.render.thumbnail import reduced_to_box

    found = picture(path).displayed
    found.check()
    small = reduced_to_box(np.asarray(found.shown, np.float32), found.encoding, (EDGE_PX, EDGE_PX))
    return sampled(np.clip(small, 0.0, 1.0))


def _balanced(surveyed: Survey, tell: Tell) -> tuple[Array, list[str]]:
    """The scout's stills (s, n, 3), sRGB code values, what was metered taken out; and what went wrong."""
    from lookdev.jobs.graded import preview_task
    from lookdev.looks.learn.like import sampled
    from lookdev.looks.model import Look
    from lookdev.render.preview import do_preview

    plain = Look.model_validate({"title": "balanced", "balance": {"keep": 0.0}})
    chosen, found, errors = _spread(surveyed.usable), [], list(surveyed.errors)
    step = counter(tell)
    for number, still in enumerate(chosen, 1):
        preview = do_preview(preview_task(still, (plain,), (EDGE_PX, EDGE_PX)))
        shown = preview.graded[0] if preview.graded else None
        if shown is None:
            errors.append(preview.error or f"{still.name}: cannot be shown")
            tell(Line(errors[-1]))
            continue
        found.append(sampled(shown / 255.0))
        step(number, len(chosen), still.name)
    if not found:
        raise LookdevError(errors[0] if errors else "no still that can be read")
    return np.stack(found), errors


def _spread(stills: Sequence[SurveyedStill]) -> list[SurveyedStill]:
    """At most :data:`MOST_STILLS`, first one of every place, then another."""
    places: dict[str, list[SurveyedStill]] = {}
    for still in stills:
        places.setdefault(still.location, []).append(still)
    rounds = [
        one[k] for k in range(max(map(len, places.values()))) for one in places.values() if k < len(one)
    ]
    kept = {still.name for still in rounds[:MOST_STILLS]}
    return [still for still in stills if still.name in kept]


def _note(request: LikeRequest) -> str:
    names = ", ".join(path.name for path in request.references)
    return f"A suggestion, from what {names} looks like; of the place in it nothing is known."


def _write(request: LikeRequest, made: Sequence[Suggested]) -> None:
    from lookdev.looks.keys import look_text

    with writing(
        request.out.parent,
        inputs_of(request.scout, more=request.references),
        [each.path for each in made],
    ):
        for number, each in enumerate(made, 1):
            remark = f"Suggestion {number} of 3, {each.words}.\n{_WHY}"
            write_whole(each.path, look_text(each.look, remark))


_WHY = """[exposure], [curve]: quantiles of the reference's light, in stops, against the scout's.
[balance], [[tone]]: what greyish things look like in its shadows, its middle and its highlights.
[colour]: how much colour there is, and in which hues.
Each held back by how much places differ in it."""


def _seen(impressions: Sequence[Array]) -> list[tuple[str, ...]]:
    """The impressions in words, a row a thing: the reference's, the scout's, and in each suggestion."""
    from lookdev.looks.learn.impression import CAST, CHROMA, LIGHT

    light = [each[LIGHT] for each in impressions]
    cast = [each[CAST] for each in impressions]
    return [
        ("middle, stops from white", *(signed(float(v[3]), 1) for v in light)),
        ("shadows (a tenth), stops", *(signed(float(v[1]), 1) for v in light)),
        ("highlights (a tenth), stops", *(signed(float(v[5]), 1) for v in light)),
        ("greys in shadows", *(_tint(v[0], v[1]) for v in cast)),
        ("greys in the middle", *(_tint(v[2], v[3]) for v in cast)),
        ("greys in highlights", *(_tint(v[4], v[5]) for v in cast)),
        ("colour, mean chroma", *(unsigned(float(np.exp(each[CHROMA][4])), 3) for each in impressions)),
    ]


def _tint(a: float, b: float) -> str:
    """An Oklab pull as the look file says it: a Munsell hue and a chroma."""
    from lookdev.looks.learn.keys import hue_text

    chroma = float(np.hypot(a, b))
    if chroma < 0.002:
        return "neutral"
    return f"{hue_text(float(np.degrees(np.arctan2(b, a))), digits=0)} {unsigned(chroma, 3)}"
