"""The pitch: pages that sell a look, as a PDF and as one file for the browser."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import LookdevError, one_line
from lookdev.files import write_whole
from lookdev.jobs.choices import settle
from lookdev.jobs.common import (
    Line,
    Progress,
    Tell,
    check_folder,
    compile_on_first_use,
    need_stills,
    unheard,
    writing,
)
from lookdev.jobs.graded import StillOptions, preview_task
from lookdev.jobs.pitch_plan import PitchPlanned, Spot, frame_names, plan_pitch, shift_of
from lookdev.jobs.read_ahead import ReadAhead
from lookdev.outputs import inputs_of, refuse_scout
from lookdev.pages.pitch_model import Picture, Pitch, PitchPlace, framed, hero_score, to_shape
from lookdev.pages.pitch_place import drawn_place
from lookdev.render.in_flight import worker_count
from lookdev.survey.survey import Survey, SurveyedStill, survey

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout
    from lookdev.paint.faces import Faces
    from lookdev.render.preview import Preview
    from lookdev.stills.still import Still

PAGE_WIDE_PX = 2200  # 220 dpi of a page that is 10 inches wide
SCREEN_PX = 1920
TRY_PX = 360
GOOD_ENOUGH = 0.8
"""Of the best still's score: the first that reaches this stands for the place (taste)."""
LENS_MM = 5.0


@dataclass(frozen=True)
class PitchRequest:
    """What was asked for.

    ``numbers`` : an appendix with readings and parameters. ``choices`` : the director's, as text; they are
    proposed, and said to be chosen. The other names as in :class:`lookdev.jobs.batch.BatchRequest`.
    """

    scout: Scout
    looks: tuple[LookLike, ...]
    out: Path
    only: tuple[str, ...] = ()
    numbers: bool = False
    workers: int | None = None
    salvage: bool = False
    max_pixels: int | None = None
    choices: str | None = None
    reads: tuple[Path, ...] = ()


@dataclass(frozen=True)
class PitchResult:
    """``written`` : pitch.pdf, pitch.html. ``places`` : as in summary.json. ``errors`` : a line each.
    ``frames`` : a JPEG a place, the frame on its page."""

    survey: Survey
    written: list[Path]
    places: list[dict[str, Any]]
    errors: list[str]
    frames: list[Path] = field(default_factory=list)


def run(request: PitchRequest, tell: Tell = unheard) -> PitchResult:
    """Make the pitch.

    Raises
    ------
    RequestError : the request is wrong; nothing has been written.
    """
    refuse_scout(request.scout.folder, request.out)
    surveyed = survey(request.scout, request.only, salvage=request.salvage, max_pixels=request.max_pixels)
    need_stills(surveyed)
    settled = settle(surveyed, request.looks, request.choices)
    check_folder(request.out)
    errors = list(surveyed.errors)
    options = StillOptions(salvage=request.salvage, max_pixels=request.max_pixels)
    files = [*pitch_files(request.out), *frame_files(surveyed, request.out).values()]
    with writing(request.out, inputs_of(request.scout, more=request.reads), files, verb="pitch", tell=tell):
        for line in (*surveyed.warnings, *settled.warnings, *errors):
            tell(Line(line))
        compile_on_first_use(tell)
        made = make_pitch(
            surveyed, request.looks, request.out, options, worker_count(request.workers), tell,
            chosen=settled.fingerprints, numbers=request.numbers,
        )  # fmt: skip
    return PitchResult(surveyed, made.written, made.places, errors + made.errors, made.frames)


def pitch_files(folder: Path) -> list[Path]:
    """The files of a pitch that show all of it."""
    return [folder / "pitch.pdf", folder / "pitch.html"]


def frame_files(surveyed: Survey, folder: Path) -> dict[str, Path]:
    """Where the frame of each place goes, by the place's name."""
    return {place: folder / "frames" / name for place, name in frame_names(surveyed).items()}


@dataclass(frozen=True)
class PitchMade:
    """What came of it: files, the places as JSON-ready data, a line for each thing that failed, and one for
    each that was asked for in scout.toml and is not there. ``frames`` : files too, one a place."""

    written: list[Path]
    places: list[dict[str, Any]]
    errors: list[str]
    warnings: tuple[str, ...] = ()
    frames: list[Path] = field(default_factory=list)


def make_pitch(
    surveyed: Survey,
    looks: tuple[LookLike, ...],
    folder: Path,
    options: StillOptions,
    workers: int,
    tell: Tell,
    *,
    chosen: Mapping[str, str] | None = None,
    numbers: bool = False,
    seen: Callable[[SurveyedStill], Picture | None] | None = None,
) -> PitchMade:
    """Make the pages of a survey in ``folder``, which the caller holds.

    ``seen`` gives a small picture of a still as it stood, where there is one already.
    """
    work = PitchWork(surveyed, looks, folder, options, workers, chosen=chosen, numbers=numbers, seen=seen)
    work.warn(tell)
    with ThreadPoolExecutor(workers, thread_name_prefix="pitch") as pool:
        return work.finish(pool.map(work.place, work.spots), tell)


PlaceDone = tuple[PitchPlace | None, list[str]]


class PitchWork:
    """A pitch in parts: places, in any thread and order, then its files. Parameters as in make_pitch."""

    def __init__(
        self,
        surveyed: Survey,
        looks: tuple[LookLike, ...],
        folder: Path,
        options: StillOptions,
        workers: int,
        *,
        chosen: Mapping[str, str] | None = None,
        numbers: bool = False,
        seen: Callable[[SurveyedStill], Picture | None] | None = None,
    ) -> None:
        self._surveyed, self._folder, self._workers, self._with_numbers = surveyed, folder, workers, numbers
        self._planned = plan_pitch(surveyed, looks, chosen)
        self._frames = frame_files(surveyed, folder)
        self._maker = _Maker(surveyed, self._planned, options, seen)

    @property
    def spots(self) -> tuple[Spot, ...]:
        """The places, each with the stills that may stand for it."""
        return self._planned.spots

    @property
    def warnings(self) -> tuple[str, ...]:
        """What [pitch] asks for that is not there."""
        return self._planned.warnings

    def warn(self, tell: Tell) -> None:
        """Say it."""
        for line in self.warnings:
            tell(Line(line))

    def see(self, name: str, whole: Still) -> None:
        """A still as it was read whole: where it is the first that may stand for its place, its picture for
        the page is made at once, so that it need not be read again."""
        self._maker.see(name, whole)

    def place(self, spot: Spot) -> PlaceDone:
        """A place with its pictures; its stills are read, and its frame is written."""
        place, errors = self._maker.place(spot)
        if place is not None and place.drawn is not None:
            try:
                write_whole(self._frames[spot.name], place.drawn.frame)
            except LookdevError as error:
                return place, [*errors, str(error)]
        return place, errors

    def finish(self, done: Iterable[PlaceDone], tell: Tell) -> PitchMade:
        """Write the files, of the places in the order of ``spots``."""
        from lookdev.pages.pitch_html import write_pitch_html
        from lookdev.pages.pitch_pdf import write_pitch_pdf

        places: list[PitchPlace] = []
        at: dict[int, int] = {}
        errors: list[str] = []
        total = len(self.spots) + 2
        for number, (spot, (place, failed)) in enumerate(zip(self.spots, done, strict=True)):
            errors += failed
            for line in failed:
                tell(Line(line))
            if place is not None:
                at[number] = len(places)
                places.append(place)
            tell(Progress(number + 1, total, f"pitch {one_line(spot.name)}"))
        if not places:
            return PitchMade([], [], errors, self._planned.warnings)
        scout = self._surveyed.scout
        pitch = Pitch(
            scout.title,
            scout.date or "",
            self._planned.called,
            tuple(places),
            tuple(at[i] for i in self._planned.order if i in at),
            scout.pitch.surround,
            self._maker.numbers(places) if self._with_numbers else (),
            tuple(f for f in map(self._maker.faces, places) if f[1]) if self._with_numbers else (),
        )
        pdf, html = pitch_files(self._folder)
        with ThreadPoolExecutor(1) as beside:
            page = beside.submit(write_pitch_html, pitch, html, self._workers)
            write_pitch_pdf(pitch, pdf, self._workers)
            tell(Progress(total - 1, total, pdf.name))
            page.result()
        tell(Progress(total, total, html.name))
        frames = {place.name: self._frames[place.name] for place in pitch.in_order()}
        told = [_data(pitch, place, frames[place.name]) for place in pitch.in_order()]
        there = [path for path in frames.values() if path.is_file()]
        return PitchMade([pdf, html], told, errors, self._planned.warnings, there)


def _data(pitch: Pitch, place: PitchPlace, frame: Path) -> dict[str, Any]:
    return {
        "place": place.name,
        "code": place.code,
        "still": place.still,
        "frame": f"{frame.parent.name}/{frame.name}",
        "why": place.why,
        "proposed": pitch.looks[place.proposed].title,
        "chosen": place.chosen,
        "light": place.light,
    }


class _Maker:
    """Pictures and words of one place after another."""

    def __init__(
        self,
        surveyed: Survey,
        planned: PitchPlanned,
        options: StillOptions,
        seen: Callable[[SurveyedStill], Picture | None] | None,
    ) -> None:
        self.seen = seen
        self.survey, self.planned, self.options = surveyed, planned, options
        self.settings = surveyed.scout.pitch
        self._read_ahead = ReadAhead(planned.spots)

    def see(self, name: str, whole: Still) -> None:
        """As :meth:`PitchWork.see`."""
        from lookdev.render.preview import small_of_whole

        if self._read_ahead.wants(name, whole.kind):
            still = self.survey.still(name)
            task = preview_task(still, (), self._box(still), self.options)
            with suppress(LookdevError, MemoryError):  # of the pitch, which says so when it comes to it
                self._read_ahead.keep(name, small_of_whole(task, whole, self._cut(still)))

    def place(self, spot: Spot) -> tuple[PitchPlace | None, list[str]]:
        """The place with its pictures; None, and what was wrong, where no still of it can be read."""
        errors: list[str] = []
        first = self._read_ahead.take(spot.stills[0].name)
        for still, why in self._ranked(spot, errors):
            panorama, cut = _is_panorama(still), self._cut(still)
            small = first if still is spot.stills[0] else None
            preview = self._preview(still, self._box(still), self.planned.looks, cut, small)
            if preview.error is not None or preview.as_it_stood is None:
                errors.append(preview.error or f"{still.name}: no picture")
                continue
            graded = tuple(p for p in preview.graded if p is not None)
            stood, *pictures = (preview.as_it_stood, *graded)
            if cut is None:
                stood, *pictures = map(self._shape(still), (stood, *pictures))
            place = PitchPlace(
                spot.name, spot.code, self._held(stood), tuple(
                    p if i == spot.proposed else self._held(p) for i, p in enumerate(pictures)
                ), spot.proposed, self._light(still), spot.words, spot.chosen, panorama, still.name, why,
            )  # fmt: skip
            count = len(self.planned.spots)
            return drawn_place(place, self.planned.called, self.settings.surround, count), errors
        return None, errors

    def _ranked(self, spot: Spot, errors: list[str]) -> list[tuple[SurveyedStill, str]]:
        """The stills that may stand for a place, the best to try first, each with why."""
        if spot.why:
            return [(still, spot.why) for still in spot.stills]
        scores: list[float] = []
        for still in spot.stills:
            small = self.seen(still) if self.seen is not None else None
            if small is None:
                preview = self._preview(still, (TRY_PX, TRY_PX), ())
                errors += [preview.error] if preview.error is not None else []
                small = preview.as_it_stood
            scores.append(hero_score(small) if small is not None else -1.0)
        best = max(scores)
        first = next(i for i, score in enumerate(scores) if score >= GOOD_ENOUGH * best)
        count = len(scores)
        wide = "wide, " if spot.stills[first].size[1] > spot.stills[first].size[0] else ""
        why = f"the first of {count} that is {wide}sharp and well exposed"
        rest = sorted((i for i in range(count) if i != first and scores[i] >= 0), key=lambda i: -scores[i])
        return [(spot.stills[i], why) for i in (first, *rest) if scores[i] >= 0]

    def _preview(
        self,
        still: SurveyedStill,
        box: tuple[int, int],
        looks: tuple[LookLike, ...],
        cut: Callable[[Picture], Picture] | None = None,
        small: Still | None = None,
    ) -> Preview:
        from lookdev.render.preview import do_preview

        return do_preview(preview_task(still, looks, box, self.options), cut, small)

    def _cut(self, still: SurveyedStill) -> Callable[[Picture], Picture] | None:
        """What of a still is graded; None for all, where the frame is drawn on it."""
        return self._shape(still) if self.settings.crop else None

    def _shape(self, still: SurveyedStill) -> Callable[[Picture], Picture]:
        return partial(self._framed, still=still, panorama=_is_panorama(still))

    def _box(self, still: SurveyedStill) -> tuple[int, int]:
        """Width and height to which the whole still is reduced, so that its crop is as wide as its place."""
        height, width = still.size
        across, ratio = width, width / height
        if self.settings.frame is not None and self.settings.crop and not _is_panorama(still):
            ratio = self.settings.frame
            across = to_shape((width, height), ratio)[2]
        long_side = PAGE_WIDE_PX if ratio >= 2.05 else SCREEN_PX
        scale = min(1.0, long_side / max(across, across / ratio))
        return max(1, math.ceil(width * scale)), max(1, math.ceil(height * scale))

    def _framed(self, picture: Picture, still: SurveyedStill, panorama: bool) -> Picture:
        if self.settings.frame is None or panorama:
            return picture
        shift = shift_of(self.survey, still)
        return framed(picture, self.settings.frame, shift, crop=self.settings.crop)

    def _held(self, picture: Picture) -> Picture:
        """A picture that is never shown page-wide: no more pixels than a screen takes."""
        from lookdev.pages.thumbnails import fit_size, resize_srgb

        if max(picture.shape[:2]) <= SCREEN_PX:
            return picture
        return resize_srgb(picture, fit_size(picture.shape[:2], (SCREEN_PX, SCREEN_PX)))

    def _light(self, still: SurveyedStill) -> str:
        """One sentence on the light, and when it comes again."""
        from lookdev.meter.again import place_again
        from lookdev.meter.plain_light import is_daylight, light_sentence
        from lookdev.meter.sun import again_line
        from lookdev.names import split_name

        scout = self.survey.scout
        own = place_again(scout, still.location, [still.path])
        moment = next((m for m in own.moments if m.name == split_name(still.name)[0]), None)
        sentences = [light_sentence(still.reading, scout.plan, moment)]
        if still.reading is not None and is_daylight(still.reading):
            stills = [s.path for s in self.survey.at(still.location)]
            best = place_again(scout, still.location, stills).best
            sentences += [again_line(best)] if best is not None else []
        return " ".join(sentence for sentence in sentences if sentence)

    def faces(self, place: PitchPlace) -> tuple[str, tuple[Faces, ...]]:
        """The six complexions at a place, through the looks of the pitch, that which is proposed first."""
        from lookdev.pages.place_faces import faces_here

        looks = sorted(self.planned.looks, key=lambda look: look is not self.planned.looks[place.proposed])
        return place.name, faces_here(self.survey, self.survey.still(place.still).location, looks)

    def numbers(self, places: list[PitchPlace]) -> tuple[str, ...]:
        """The appendix, a line each: readings and stills, then the looks' parameters."""
        from lookdev.text import numbers
        from lookdev.text.numbers import fixed

        lines = []
        for place in places:
            still = self.survey.still(place.still)
            parts = [f"{place.still}: {place.why}"]
            if still.reading is not None:
                reading = still.reading
                if reading.cct_duv is not None and reading.is_cct_meaningful:
                    parts.append(_cct(*reading.cct_duv))
                parts.append(numbers.lux(reading.illuminance_lux))
            if still.exposure_stops:
                parts.append(f"matched to the meter by {fixed(still.exposure_stops, 1)} stops in the looks")
            lines.append(f"{place.name} ({place.code}). " + "; ".join(parts))
        for look, known in zip(self.planned.looks, self.planned.called, strict=True):
            lines.append(f"{look.title} ({known.code}, {known.fingerprint}). {look.describe()}")
        return tuple(lines)


def _cct(cct_k: float, duv: float) -> str:
    from lookdev.text.numbers import cct_duv

    return cct_duv(cct_k, duv)


def _is_panorama(still: SurveyedStill) -> bool:
    """Whether the picture goes all round: twice as wide as high, and through no lens that sees less.

    A fisheye of a 360 degree camera has a focal length of a millimetre or two.
    """
    height, width = still.size
    if still.part is not None:
        return False
    focal = still.metadata.focal_length_mm if still.metadata is not None else None
    return abs(width / height - 2.0) < 0.02 and (focal is None or focal < LENS_MM)
