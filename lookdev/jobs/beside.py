"""What a batch makes beside the graded stills: .cube files, sheets, the pitch, while stills are still read.

Each thing is made as soon as all that it shows is there, by the threads that do the stills, and is noted in
the journal under a key over that content: ``--resume`` makes again what has changed, and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import LookdevError
from lookdev.jobs.common import Line, Progress, Tell
from lookdev.jobs.cubes import CubeJob, write_one
from lookdev.jobs.pitch import PitchMade, PitchWork, PlaceDone, pitch_files
from lookdev.names import location_names
from lookdev.outputs import inputs_of
from lookdev.pages.from_batch import (
    answer_words,
    draw_sheet,
    is_whole,
    location_model,
    overview_model,
    overview_places,
    preview_of,
    stood_of,
)
from lookdev.render.journal import content_key, tool_version
from lookdev.render.made import Made, keep, recall
from lookdev.stills.ahead import has_looked, will_look
from lookdev.stills.digest import file_sha256

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.jobs.choices import Settled
    from lookdev.jobs.graded import StillOptions
    from lookdev.jobs.pitch_plan import Spot
    from lookdev.looks.pipeline import LookLike
    from lookdev.render.executor import Run
    from lookdev.render.tasks import TaskResult
    from lookdev.stills.still import Still
    from lookdev.survey.survey import Survey, SurveyedStill


@dataclass
class Beside:
    """What came of it: ``cubes`` as numbers, ``sheets`` as files, ``answers`` by still (see Sheets), the
    ``pitch``, and a line for each thing that failed."""

    cubes: list[Mapping[str, object]] = field(default_factory=list)
    sheets: list[Path] = field(default_factory=list)
    answers: dict[str, dict[int, str]] = field(default_factory=dict)
    pitch: PitchMade = field(default_factory=lambda: PitchMade([], [], []))
    errors: list[str] = field(default_factory=list)


@dataclass
class _Drawn:
    files: list[Path]
    answers: dict[str, dict[int, str]]
    errors: list[str]


class BesideWork:
    """The things beside, as a batch's stills come.

    Parameters
    ----------
    run : the batch's threads and journal.
    surveyed, looks, settled, out, paper, options : as in the batch.
    names : of all stills that are done, by path.
    cubes, ends : LUTs to write, and between which encodings.
    """

    def __init__(
        self,
        run: Run,
        surveyed: Survey,
        looks: tuple[LookLike, ...],
        settled: Settled,
        out: Path,
        paper: str,
        options: StillOptions,
        workers: int,
        cubes: Sequence[CubeJob],
        ends: tuple[Encoding, Encoding],
    ) -> None:
        self._run, self._survey, self._looks, self._settled = run, surveyed, looks, settled
        self._out, self._paper, self._options, self._ends = out, paper, options, ends
        self._results: dict[str, TaskResult] = {}
        self._scout = _scout_key(surveyed)
        self._shown = [(look.fingerprint(), look.title, look.note, look.describe()) for look in looks]
        self._groups = {
            place: [still for still in surveyed.usable if still.location == place]
            for place in surveyed.shot_locations
        }
        self._cube_jobs = list(cubes)
        self._cubes: list[Future[dict[str, object] | str]] = []
        self._sheets: dict[str, Future[_Drawn]] = {}
        self._whole: Future[_Drawn] | None = None
        self._pitch = PitchWork(
            surveyed, looks, out / "pitch", options, workers,
            chosen=settled.fingerprints, seen=lambda still: stood_of(self._results[still.name]),
        )  # fmt: skip
        first = pitch_files(out / "pitch")[0]
        self._pitch_may_stand = bool(run.journal.records_for([first]))
        self._places: dict[int, Future[PlaceDone]] = {}

    def warn(self, tell: Tell) -> None:
        """Say what is asked of the pitch that is not there."""
        self._pitch.warn(tell)

    def begin(self, idle: int) -> None:
        """Begin places of the pitch that need no looking for, on threads that no still keeps busy."""
        known = [i for i, spot in enumerate(self._pitch.spots) if spot.why]
        for i in known[: max(0, idle)] if not self._pitch_may_stand else ():
            will_look(self._pitch.spots[i].stills[0].path)
            self._places[i] = self._run.also(partial(self._look, self._pitch.spots[i]))

    def _look(self, spot: Spot) -> PlaceDone:
        try:
            return self._pitch.place(spot)
        finally:
            has_looked(spot.stills[0].path)

    def see(self, name: str, still: Still) -> None:
        """Look at a still as it was read, in the thread that did; see :meth:`PitchWork.see`."""
        if not self._pitch_may_stand:
            self._pitch.see(name, still)

    def still_done(self, name: str, result: TaskResult) -> None:
        """Take in a still; what has all its stills now is begun."""
        self._results[name] = result
        place = self._survey.still(name).location
        if place not in self._sheets and self._all_done(self._groups[place]):
            self._sheets[place] = self._run.also(partial(self._location_sheet, place))
        if not self._pitch_may_stand:
            self._begin_places()
        if self._all_done(self._survey.usable):
            self._begin_overview()  # before the last of the .cube, which are quickly done
        share = -(-len(self._cube_jobs) * len(self._results) // max(1, len(self._survey.usable)))
        self._begin_cubes(share)

    def finish(self, tell: Tell) -> Beside:
        """The rest, and what came of all."""
        done = Beside()
        self._begin_overview()
        self._begin_cubes(len(self._cube_jobs))
        done.pitch = self._finished_pitch(tell)
        done.errors += done.pitch.errors
        self._collect_sheets(done, tell)
        for count, (job, cube) in enumerate(zip(self._cube_jobs, self._cubes, strict=True), 1):
            made = cube.result()
            if isinstance(made, str):
                done.errors.append(made)
                tell(Line(made))
            else:
                done.cubes.append(made)
            tell(Progress(count, len(self._cubes), job.words))
        return done

    # ---- .cube

    def _begin_cubes(self, count: int) -> None:
        for job in self._cube_jobs[len(self._cubes) : count]:
            self._cubes.append(self._run.also(partial(self._cube, job)))

    def _cube(self, job: CubeJob) -> dict[str, object] | str:
        place = None
        if job.place is not None:
            place = (job.place.name, job.place.cast, job.place.balance_words, job.place.readings)
        look = job.look
        shown = (look.fingerprint(), look.title, look.describe())
        ends = [(end.name, end.standard) for end in self._ends]
        key = content_key("cube", tool_version(), shown, place, ends, job.size)

        def make() -> Made:
            return Made([job.path], write_one(job, self._ends))

        try:
            said = self._recalled(job.path, key, make).said
        except LookdevError as error:
            return str(error)
        return dict(said)

    # ---- sheets

    def _location_sheet(self, place: str) -> _Drawn:
        group, stem = self._groups[place], self._stem(place)
        lead = self._settled.by_location.get(place)
        key = self._key("sheet", group, place, lead, self._paper)
        errors: list[str] = []

        def make() -> Made:
            pictures = {still.name: self._preview(still, errors) for still in group}
            stills = [still for still in group if pictures[still.name].as_it_stood is not None]
            if not stills:
                return Made([])
            model = partial(location_model, self._survey, self._looks, pictures, place, stills, lead)
            drawn = draw_sheet(model, stem, self._paper)
            errors.extend(drawn.errors)
            answers = {still.name: answer_words(self._looks, pictures[still.name]) for still in stills}
            plain = {name: {str(i): words for i, words in mine.items()} for name, mine in answers.items()}
            return Made(drawn.written, plain)

        return self._drawn(stem, key, make, errors)

    def _overview(self) -> _Drawn:
        key = self._key("overview", self._survey.usable, self._settled.by_location, self._paper)
        errors: list[str] = []

        def make() -> Made:
            known = {}
            for group in self._groups.values():
                for still in group:
                    known[still.name] = self._preview(still, [])
                    if known[still.name].as_it_stood is not None:
                        break
            places = overview_places(list(self._groups.values()), known)
            if not places:
                return Made([])
            model = partial(overview_model, self._survey, self._looks, places, self._settled.by_location)
            drawn = draw_sheet(model, self._stem(None), self._paper)
            errors.extend(drawn.errors)
            return Made(drawn.written)

        return self._drawn(self._stem(None), key, make, errors)

    def _drawn(self, stem: Path, key: str, make: Callable[[], Made], errors: list[str]) -> _Drawn:
        made = self._recalled(stem.with_name(f"{stem.name}.pdf"), key, make, errors)
        answers = {name: {int(i): words for i, words in m.items()} for name, m in (made.said or {}).items()}
        return _Drawn(made.files, answers, errors)

    def _stem(self, place: str | None) -> Path:
        folder = self._out / "sheets"
        return folder / (location_names(self._survey.every_location)[place] if place else "overview")

    def _preview(self, still: SurveyedStill, errors: list[str]) -> Any:
        result = self._results[still.name]
        preview = preview_of(result)
        if preview.error and result.error is None:
            errors.append(preview.error)
        return preview

    def _begin_overview(self) -> None:
        if self._whole is None and is_whole(self._survey) and self._survey.usable:
            self._whole = self._run.also(self._overview)

    def _collect_sheets(self, done: Beside, tell: Tell) -> None:
        coming = [("overview", self._whole)] if self._whole is not None else []
        coming += [(place, self._sheets[place]) for place in self._groups if place in self._sheets]
        for count, (name, future) in enumerate(coming, 1):
            drawn = future.result()
            done.sheets += drawn.files
            done.answers |= drawn.answers
            for line in drawn.errors:
                tell(Line(line))
            done.errors += drawn.errors
            tell(Progress(count, len(coming), f"sheet {name}"))

    # ---- the pitch

    def _begin_places(self) -> None:
        for i, spot in enumerate(self._pitch.spots):
            if i not in self._places and self._all_done(spot.stills):
                self._places[i] = self._run.also(partial(self._pitch.place, spot))

    def _finished_pitch(self, tell: Tell) -> PitchMade:
        key = self._key("pitch", self._survey.usable, self._settled.fingerprints, self._survey.every_still)
        files = pitch_files(self._out / "pitch")
        errors: list[str] = []

        def make() -> Made:
            self._begin_places()
            places = (self._places[i].result() for i in range(len(self._pitch.spots)))
            made = self._pitch.finish(places, tell)
            errors.extend(made.errors)
            return Made([*made.written, *made.frames], made.places)

        made = self._recalled(files[0], key, make, errors)
        pages, frames = made.files[: len(files)], made.files[len(files) :]
        return PitchMade(pages, made.said, errors, self._pitch.warnings, frames)

    # ---- all

    def _all_done(self, stills: Sequence[SurveyedStill]) -> bool:
        return all(still.name in self._results for still in stills)

    def _recalled(self, first: Path, key: str, make: Callable[[], Made], errors: Sequence[str] = ()) -> Made:
        """What an earlier run made of the same, or what ``make`` makes; kept where nothing failed."""
        known = recall(self._run.journal, self._out, first, key)
        if known is not None:
            return known
        made = make()
        if made.files:  # what is not whole is ours, but nothing to build on
            keep(self._run.journal, "" if errors else key, made.files, made.said)
        return made

    def _key(self, kind: str, stills: Sequence[SurveyedStill], *more: object) -> str:
        """Over all that a page of these stills shows."""
        parts = [_still_key(still, self._results[still.name]) for still in stills]
        options = [self._options.exact, self._options.salvage, self._options.max_pixels]
        target = self._options.target.name if self._options.target is not None else None
        return content_key(
            kind, tool_version(), self._scout, self._shown, parts, options, target,
            self._survey.every_location, *more,
        )  # fmt: skip


def _scout_key(surveyed: Survey) -> list[str]:
    """Content of what a scout says beside its stills: log, scout.toml, spectra."""
    scout = surveyed.scout
    stills = set(scout.stills)
    return [file_sha256(p) for p in inputs_of(scout).files if p not in stills and p.is_file()]


def _still_key(still: SurveyedStill, result: TaskResult) -> list[object]:
    of_survey = (
        still.name, still.location, still.reading.row if still.reading is not None else None, still.rung,
        still.minutes_apart, still.size, still.cast, still.exposure_stops, still.warnings, still.road,
        still.patch,
    )  # fmt: skip
    outputs = [(o.key, o.thumbnail_sha256, o.error) for o in result.outputs]
    return [*of_survey, result.still_sha256, result.stood_sha256, outputs, result.facts(), result.error]
