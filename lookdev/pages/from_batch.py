"""Comparison sheets of a survey: what stands on each, and the files."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookdev.errors import LookdevError, SheetError
from lookdev.looks.cast import Cast
from lookdev.looks.stages.balance import describe_white, resolve_balance
from lookdev.names import location_names
from lookdev.pages.comparison import comparison_sheet
from lookdev.pages.place_faces import faces_here
from lookdev.pages.sheet_model import AS_IT_STOOD, AS_METERED, Light, LookColumn, Row, SheetModel
from lookdev.render.preview import Picture, Preview
from lookdev.text.numbers import fixed

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.log import Reading
    from lookdev.meter.scout import Plan
    from lookdev.render.tasks import TaskResult
    from lookdev.survey.survey import Survey, SurveyedStill

Step = Callable[[int, int, str], None]
Looks = Sequence["LookLike"]
Load = Callable[[list["SurveyedStill"]], Mapping[str, Preview]]
Draw = Callable[..., list[Path]]

_AT_ONCE = 2  # one page is filtered and packed while another is set


class Sheets:
    """What came of drawing.

    ``written`` : files. ``errors`` : one line for each that failed. ``answers`` : by still, how far each
    received LUT is from the look that it answers, by the LUT's place in the list.
    """

    def __init__(self) -> None:
        self.written: list[Path] = []
        self.errors: list[str] = []
        self.answers: dict[str, dict[int, str]] = {}

    def add(self, other: Sheets) -> None:
        """Take in what came of another."""
        self.written += other.written
        self.errors += other.errors


def preview_of(result: TaskResult) -> Preview:
    """The small pictures that a batch left of a still."""
    if result.error is not None or result.as_it_stood is None:
        return Preview(error=result.error or "no picture")
    try:
        graded = tuple(_picture(o.thumbnail) for o in result.outputs)
        stood = _picture(result.as_it_stood)
    except SheetError as error:
        return Preview(error=str(error))
    return Preview(stood, graded, result.encoding, result.encoding_origin, result.warnings)


def stood_of(result: TaskResult) -> Picture | None:
    """Of these the one as it stood alone; None where there is none that can be read."""
    try:
        return _picture(result.as_it_stood) if result.error is None else None
    except SheetError:
        return None


def _picture(path: Path | None) -> Picture | None:
    import simplejpeg

    if path is None:
        return None
    try:
        data = path.read_bytes()
    except OSError as error:  # somebody tidied up meanwhile
        raise SheetError(f"cannot be read: {error.strerror or error}", file=path) from error
    try:
        return np.asarray(simplejpeg.decode_jpeg(data), dtype=np.uint8)
    except ValueError as error:
        raise SheetError("is damaged", file=path) from error


def build_sheets(
    survey: Survey,
    looks: Looks,
    load: Load,
    folder: Path,
    paper: str,
    step: Step,
    chosen: Mapping[str, int] | None = None,
) -> Sheets:
    """Draw the overview and a sheet per location.

    ``chosen`` : which look leads at a location, by its place in the list.

    ``load`` gives the small pictures of some stills, by name. It is asked for a first still of each location,
    then, in a thread of its own, for one location at a time, and for the next while pages are drawn: the
    overview is there at once, and a long day's pictures are never all in memory.
    """
    done = Sheets()
    locations = survey.shot_locations
    names = location_names(survey.every_location)
    total = len(locations) + 1
    groups = [[still for still in survey.usable if still.location == place] for place in locations]
    known = first_pictures(load, groups)
    with ThreadPoolExecutor(_AT_ONCE, thread_name_prefix="sheets") as artists:
        drawing: deque[Future[Sheets]] = deque()

        def draw(number: int, name: str, kind: Draw, model: Callable[[], SheetModel], stem: Path) -> None:
            while len(drawing) >= _AT_ONCE:
                done.add(drawing.popleft().result())
            step(number, total, f"sheet {name}")
            drawing.append(artists.submit(draw_sheet, model, stem, paper, kind))

        places = overview_places(groups, known)
        if places and is_whole(survey):
            model = partial(overview_model, survey, looks, places, chosen or {})
            draw(1, "overview", comparison_sheet, model, folder / "overview")
        for number, (location, group, pictures) in enumerate(
            zip(locations, groups, _one_ahead(load, groups, known), strict=True), 2
        ):
            stills = [still for still in group if pictures[still.name].as_it_stood is not None]
            if stills:
                done.answers |= {still.name: answer_words(looks, pictures[still.name]) for still in stills}
                model = partial(
                    location_model, survey, looks, pictures, location, stills, (chosen or {}).get(location)
                )
                draw(number, location, comparison_sheet, model, folder / names[location])
        for last in drawing:
            done.add(last.result())
    return done


def is_whole(survey: Survey) -> bool:
    """Whether all locations were chosen: a part of the scout gets no overview, which is of the whole."""
    return survey.locations == survey.every_location


def sheet_files(survey: Survey, folder: Path) -> list[Path]:
    """The first pages of all sheets that :func:`build_sheets` may write, PDF and PNG."""
    labels = location_names(survey.every_location)
    names = ["overview"] if is_whole(survey) else []
    names += [labels[location] for location in survey.shot_locations]
    return [folder / f"{name}{suffix}" for name in names for suffix in (".pdf", ".png")]


def first_pictures(load: Load, groups: list[list[SurveyedStill]]) -> dict[str, Preview]:
    """Small pictures of the first still of each group that can be read, and of those before it."""
    known: dict[str, Preview] = {}
    turn = 0
    while wanted := [
        group[turn]
        for group in groups
        if turn < len(group) and all(known[p.name].as_it_stood is None for p in group[:turn])
    ]:
        known |= load(wanted)
        turn += 1
    return known


def _one_ahead(
    load: Load, groups: list[list[SurveyedStill]], known: Mapping[str, Preview]
) -> Iterator[Mapping[str, Preview]]:
    """The pictures of each group, in order; the next ones are loading while some are in use."""

    def rest(group: list[SurveyedStill]) -> dict[str, Preview]:
        here = {p.name: known[p.name] for p in group if p.name in known}
        return here | dict(load([p for p in group if p.name not in here]))

    with ThreadPoolExecutor(1, thread_name_prefix="previews") as loader:
        coming = None
        for group in groups:
            ready, coming = coming, loader.submit(rest, group)
            if ready is not None:
                yield ready.result()
        if coming is not None:
            yield coming.result()


def draw_sheet(
    model: Callable[[], SheetModel], stem: Path, paper: str, kind: Draw = comparison_sheet
) -> Sheets:
    """Draw one sheet into ``stem`` with .pdf and .png; what goes wrong is told, not raised."""
    done = Sheets()
    names = (stem.with_name(f"{stem.name}{suffix}") for suffix in (".pdf", ".png"))
    try:
        done.written += kind(model(), *names, paper)
    except LookdevError as error:
        done.errors.append(str(error))
    return done


def _columns(
    looks: Looks, has_metered: bool, lead: int | None = None
) -> tuple[tuple[LookColumn, ...], list[int]]:
    """Column heads, and which looks they show: the first column is the look of its name at its defaults.

    ``lead`` was chosen: it comes first, and says so.
    """
    keep = [i for i, look in enumerate(looks) if not is_as_it_stood(look)]
    keep.sort(key=lambda i: i != lead)
    heads = [
        LookColumn(
            f"{looks[i].title}, chosen" if i == lead else looks[i].title,
            tuple(looks[i].key_parameters()),
            looks[i].note,
        )
        for i in keep
    ]
    stood = [LookColumn(AS_IT_STOOD)]
    if has_metered:
        stood.append(LookColumn(AS_METERED, note="As it stood, at the exposure that the meter calls for."))
    return (*stood, *heads), keep


def is_as_it_stood(look: LookLike) -> bool:
    return bool(getattr(look, "is_identity", False)) and look.title.casefold() == AS_IT_STOOD.casefold()


def _taken_out(look: LookLike, cast: Cast | None) -> str:
    balance = look.acting.balance
    if balance is None:
        return ""
    return resolve_balance(balance, cast).words() if cast is not None else "balance untouched"


def location_model(
    survey: Survey,
    looks: Looks,
    pictures: Mapping[str, Preview],
    location: str,
    stills: list[SurveyedStill],
    lead: int | None = None,
) -> SheetModel:
    """One location's sheet as data; ``lead`` is the look that was chosen there."""
    from lookdev.meter.log import readings_at
    from lookdev.meter.notes_words import short_location_note, short_note
    from lookdev.meter.plain_light import source_words

    has_metered = any(still.exposure_stops for still in stills)
    columns, keep = _columns(looks, has_metered, lead)
    scout, readings = survey.scout, _readings(stills)
    kinds = {source_words(reading) for reading in readings}
    rows = tuple(
        _row(looks, still, pictures[still.name], keep, len(kinds) > 1, has_metered) for still in stills
    )
    lights = tuple(_light(reading) for reading in readings)
    notes = [short_note(reading, scout.plan, scout.kit) for reading in readings]
    notes.append(short_location_note(location, readings_at(location, scout.log.readings), scout.plan))
    said = tuple(n for n in notes if n)
    light = light_words(readings, scout.plan)
    alone = (survey.join_words,) if survey.join_words and not readings else ()
    return SheetModel(
        scout.title, location, columns, rows, lights, said, alone,
        light=light, repeated=1 + has_metered, faces=faces_here(survey, location, [looks[i] for i in keep]),
    )  # fmt: skip


def light_words(readings: Sequence[Reading], plan: Plan) -> str:
    """The lights of a place in plain words, one sentence each, two at most.

    Readings of one source count once.
    """
    from lookdev.meter.plain_light import light_sentence, source_words

    first: dict[str, Reading] = {}
    for reading in readings:
        first.setdefault(source_words(reading), reading)
    said = [light_sentence(reading, plan) for reading in list(first.values())[:2]]
    rest = len(first) - len(said)
    return " ".join([*said, f"And {rest} more."] if rest else said)


def overview_places(
    groups: list[list[SurveyedStill]], known: Mapping[str, Preview]
) -> list[tuple[str, list[Reading], SurveyedStill, Preview]]:
    """What stands in the overview's rows: location, its readings, its first still that can be read."""
    places = []
    for group in groups:
        shown = [p for p in group if p.name in known and known[p.name].as_it_stood is not None]
        if shown:
            places.append((shown[0].location, _readings(group), shown[0], known[shown[0].name]))
    return places


def overview_model(
    survey: Survey,
    looks: Looks,
    places: list[tuple[str, list[Reading], SurveyedStill, Preview]],
    chosen: Mapping[str, int],
) -> SheetModel:
    """The overview as data: a location a row, with its light in words and its first still."""
    columns, keep = _columns(looks, False)
    rows = tuple(
        Row(
            light_words(readings, survey.scout.plan),
            tuple(_light(reading).line() for reading in readings),
            _cells(still, first, keep, False),
            captions=("", *("chosen" if chosen.get(location) == i else "" for i in keep)),
            heading=f"{location}: {looks[chosen[location]].title}, chosen"
            if location in chosen
            else location,
        )
        for location, readings, still, first in places
    )
    alone = (survey.join_words,) if survey.join_words else ()
    return SheetModel(survey.scout.title, "Overview", columns, rows, warnings=alone, noun="location")


def _readings(stills: list[SurveyedStill]) -> list[Reading]:
    seen: dict[int, Reading] = {}
    for still in stills:
        if still.reading is not None:
            seen.setdefault(still.reading.row, still.reading)
    return list(seen.values())


def _light(reading: Reading) -> Light:
    from lookdev.colorimetry.temperature import cct_duv_from_xy, is_cct_meaningful

    xy = reading.white_xy
    cct = duv = None
    if xy is not None and is_cct_meaningful(xy):
        cct, duv = cct_duv_from_xy(xy)
    return Light(
        reading.source or "unnamed source",
        cct,
        duv,
        xy,
        reading.illuminance_lux,
        reading.camera_balance_k,
        reading.note or "",
    )


def _cells(
    still: SurveyedStill, preview: Preview, keep: list[int], has_metered: bool
) -> tuple[Picture | None, ...]:
    """The still as it came, as metered where the sheet says that, and in each look."""
    stood: tuple[Picture | None, ...] = (preview.as_it_stood,)
    if has_metered:
        stood = (*stood, _metered(preview.as_it_stood, still.exposure_stops))
    return (*stood, *(preview.graded[i] for i in keep))


def _metered(picture: Picture | None, stops: float) -> Picture | None:
    """A small picture at another exposure and otherwise as it stood."""
    from lookdev.colorimetry.encodings import SRGB
    from lookdev.looks.model import Look
    from lookdev.render.lattice import grade_fast

    if picture is None or not stops:
        return picture
    plain = Look(title=AS_METERED).transform(SRGB, SRGB, None, stops)
    return np.asarray(grade_fast(picture, plain, bits=8), dtype=np.uint8)


def _row(
    looks: Looks,
    still: SurveyedStill,
    preview: Preview,
    keep: list[int],
    many_sources: bool,
    has_metered: bool,
) -> Row:
    from lookdev.meter.plain_light import source_words
    from lookdev.stills.summary import camera_line

    cast = still.cast
    settings = camera_line(still.metadata) if still.metadata is not None else ""
    details = [settings] if settings else []
    if many_sources and still.reading is not None and still.reading.source:
        details.append(still.reading.source)
    if cast is not None:
        details.append(f"in the picture: {describe_white(cast.picture_xy)}")
        details.append(f"neutral from: {cast.origin}")
    if still.exposure_stops:
        details.append(f"matched to the meter: {fixed(still.exposure_stops, 1)} stop")
    if preview.encoding and preview.encoding != "sRGB":
        details.append(preview.encoding)
    taken = tuple(_taken_out(looks[i], cast) for i in keep)
    answers = answer_words(looks, preview)
    time = still.reading.time if still.reading is not None else None
    source = source_words(still.reading) if still.reading is not None and many_sources else None
    stood = ("",) * (1 + has_metered)
    return Row(
        still.name.encode("utf-8", "replace").decode(),
        tuple(details),
        _cells(still, preview, keep, has_metered),
        (*stood, *taken),
        (*stood, *(answers.get(i, "") for i in keep)) if answers else (),
        warnings=(*preview.warnings, *still.warnings),
        heading=", ".join(word for word in (time, source) if word),
    )


def answer_words(looks: Looks, preview: Preview) -> dict[int, str]:
    """How far each received LUT is from the look that it answers, on one still, by its place in the list."""
    from lookdev.lut.answers import difference_words, still_differences

    out: dict[int, str] = {}
    for answer, look, apart in still_differences(looks, preview.graded):
        words = difference_words(looks[look].title, apart)
        out[answer] = f"{out[answer]}; {words}" if answer in out else words
    return out
