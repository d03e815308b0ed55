"""A session at a scout: the stills on the page, the looks with all their versions, saving and reading again.

No socket and no page in it: :mod:`lookdev.watch.server` shows it.
"""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from lookdev.errors import LookdevError, RequestError
from lookdev.looks.toml_file import find_looks, look_of_text
from lookdev.lut.look_files import look_files
from lookdev.lut.received import ReceivedLut, open_look, split_request
from lookdev.pages.pitch_model import hero_score
from lookdev.render.preview import do_preview
from lookdev.render.tasks import Task
from lookdev.stills.jpeg import encode
from lookdev.watch.live_still import EDGE_PX, LiveStill, Picture, open_still
from lookdev.watch.look_text import LookText, line_of, read_text, what_changed, write_text

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.survey.survey import Survey, SurveyedStill

PLACES = 3
MOST_VERSIONS = 200
_THUMBNAIL_PX = 168
_QUALITY, _THUMBNAIL_QUALITY = 95, 85
_TRIED, _TRY_PX = 8, 360


@dataclass(frozen=True)
class Fault:
    """What is wrong with a text of a look: its line, from 1, and the words for it."""

    line: int
    words: str


@dataclass(frozen=True, eq=False)
class Version:
    """A look as it stood on the disk at some time of the session.

    Attributes
    ----------
    number : counts from 0 for each look.
    text : as :class:`LookText` holds it; empty for a look that is only shown.
    title : what changed since the version before.
    fault : what is wrong with it, or None.
    """

    number: int
    text: str
    title: str
    fault: Fault | None = None


@dataclass(eq=False)
class LiveLook:
    """A look of the session.

    Attributes
    ----------
    request, path : as it was asked for, and the file.
    name : its title where it reads, told apart from its like by the file's name.
    is_text : whether the page may edit it; a received LUT is only shown.
    versions : the newest last.
    round : goes up whenever the pictures of it may have changed.
    """

    request: Path
    path: Path
    name: str
    is_text: bool
    stands: LookText
    versions: list[Version]
    look: LookLike | None = None
    round: int = 0

    @property
    def newest(self) -> Version:
        """The version on the disk."""
        return self.versions[-1]

    def version(self, number: int) -> Version | None:
        """The version of that number, if it is still kept."""
        return next((v for v in self.versions if v.number == number), None)


@dataclass(frozen=True)
class Saved:
    """What became of a save.

    ``outcome`` : "saved"; "asked" where the file was changed meanwhile and nothing was written; "failed".
    """

    outcome: Literal["saved", "asked", "failed"]
    words: str = ""


class Session:
    """Stills and looks of a page. Safe between threads.

    Parameters
    ----------
    stills : as :func:`choose_stills` and :func:`open_still` give them; at least one.
    looks : look files, folders of them, or ``FILE.cube@IN:OUT``; one with a mistake comes in.

    Raises
    ------
    RequestError : there is no such look, or none in a folder.
    """

    def __init__(self, stills: Sequence[LiveStill], looks: Sequence[Path | str]) -> None:
        self.stills = tuple(stills)
        self._lock = threading.RLock()
        self._smalls: dict[tuple[int, int], bytes] = {}
        self._folders = tuple(dict.fromkeys(Path(look) for look in looks if Path(look).is_dir()))
        self.looks: tuple[LiveLook, ...] = tuple(_opened(request) for request in _requests(looks))
        self._name()
        for look in self.looks:
            self._read(look, "as it was opened")

    # pictures

    def draft(self, look: int, text: str) -> LookLike | Fault:
        """The look that ``text`` would be in the file of look number ``look``, or what is wrong with it."""
        path = self.looks[look].path
        try:
            return look_of_text(text, path)
        except LookdevError as error:
            return _fault(error, text, path)

    def look_of(self, look: int, version: int) -> LookLike | None:
        """The look of a kept version; None where there is none, or it has a fault."""
        with self._lock:
            live = self.looks[look]
            kept = live.version(version)
            if kept is None:
                return None
            if kept is live.newest or not live.is_text:
                return live.look if kept is live.newest else None
        made = self.draft(look, kept.text)
        return None if isinstance(made, Fault) else made

    def picture(self, still: int, look: LookLike, quick: bool = False) -> Picture:
        """Still number ``still`` through a look, sRGB code values (h, w, 3)."""
        return self.stills[still].graded(look, quick)

    def small(self, look: int, version: int) -> bytes | None:
        """JPEG of the first still in a version, for the strip; None where it has a fault."""
        if (look, version) not in self._smalls:
            made = self.look_of(look, version)
            if made is None:
                return None
            self._smalls[look, version] = _small(self.picture(0, made, quick=True))
        return self._smalls[look, version]

    # files

    def save(self, look: int, text: str, began_with: int, over: bool = False) -> Saved:
        """Write ``text`` into the file of look number ``look``, whole.

        Parameters
        ----------
        began_with : number of the version that the text was made from. Where another stands on the disk now,
            nothing is written and the outcome is "asked", unless ``over``.
        """
        with self._lock:
            live = self.looks[look]
            if not live.is_text:
                return Saved("failed", f"{live.path.name} is a received LUT: it is shown, not written")
            self._read(live, "saved elsewhere")
            if live.newest.number != began_with and live.newest.text != text and not over:
                return Saved("asked", f"{live.path.name} was saved elsewhere meanwhile")
            try:
                write_text(live.path, text, live.stands)
            except LookdevError as error:
                return Saved("failed", str(error))
            self._read(live, "")
            return Saved("saved")

    def files(self) -> dict[Path, tuple[int, ...]]:
        """Every file that looks are read from, and the looks, by number, that it is for."""
        found: dict[Path, list[int]] = {}
        with self._lock:
            for number, live in enumerate(self.looks):
                for file in dict.fromkeys((live.path, *look_files(live.request))):
                    found.setdefault(file.absolute(), []).append(number)
        return {path: tuple(numbers) for path, numbers in found.items()}

    def new_looks(self) -> list[int]:
        """Take up the look files that came into the folders asked for; gives their numbers."""
        with self._lock:
            known = {live.path.absolute() for live in self.looks}
            names = {live.name.casefold() for live in self.looks}
            came = [p for folder in self._folders for p in _inside(folder) if p.absolute() not in known]
            found = []
            for path in came:
                with suppress(LookdevError):  # it went again
                    found.append(_opened(path))
            for live in found:
                if live.name.casefold() in names:
                    live.name = f"{live.name} ({live.path.name})"
                self._read(live, "came while this page was open")
            first = len(self.looks)
            self.looks = (*self.looks, *found)
            return list(range(first, len(self.looks)))

    def read_again(self, looks: Iterable[int]) -> list[int]:
        """Read looks again from the disk; gives those that are not as they were."""
        with self._lock:
            return [number for number in looks if self._read(self.looks[number], "saved elsewhere")]

    def _read(self, live: LiveLook, how: str) -> bool:
        """Read one look; a new version where its text is new. Whether anything is other than before."""
        text = live.stands
        fault: Fault | None = None
        look: LookLike | None = None
        try:
            if live.is_text:
                text = read_text(live.path)
                look = look_of_text(text.text, live.path)
            else:
                look = open_look(live.request)
        except LookdevError as error:
            fault = _fault(error, text.text, live.path)
        known = live.versions[-1] if live.versions else None
        same_look = (look.fingerprint() if look else None) == (live.look.fingerprint() if live.look else None)
        if known is not None and text == live.stands and known.fault == fault and same_look:
            return False
        before, live.stands, live.look = live.stands.text, text, look
        live.round += 1
        title = how if known is None else self._title(live, before, text.text, how)
        number = known.number + 1 if known is not None else 0
        live.versions.append(Version(number, text.text, title, fault))
        del live.versions[1 : max(1, len(live.versions) - MOST_VERSIONS)]  # the one it began with stays
        return True

    def _title(self, live: LiveLook, before: str, after: str, how: str) -> str:
        words = (
            what_changed(before, after) if live.is_text and before != after else "a file that it is made of"
        )
        return f"{words} ({how})" if how else words

    def _name(self) -> None:
        counts = Counter(live.name.casefold() for live in self.looks)
        for live in self.looks:
            if counts[live.name.casefold()] > 1:
                live.name = f"{live.name} ({live.path.name})"


def live_jpeg(picture: Picture) -> bytes:
    """A picture as the page shows it first: quality 95, every pixel with its own colour (4:4:4)."""
    return encode(picture, _QUALITY, "4:4:4")


def _small(picture: Picture) -> bytes:
    import cv2

    scale = _THUMBNAIL_PX / max(picture.shape[:2])
    size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return encode(np.asarray(small, dtype=np.uint8), _THUMBNAIL_QUALITY, "4:4:4")


def choose_stills(survey: Survey, names: Sequence[str] = ()) -> tuple[SurveyedStill, ...]:
    """The stills to show: those named, by path in the scout or file name; else the hero of three places.

    Raises
    ------
    RequestError : a still that is not there or cannot be read, or there is none at all.
    """
    if names:
        return tuple({still.name: still for still in (_named(survey, name) for name in names)}.values())
    places: dict[str, list[SurveyedStill]] = {}
    for still in survey.usable:
        places.setdefault(still.location, []).append(still)
    if not places:
        raise RequestError("no still that can be read", file=survey.scout.folder, wanted="pictures")
    return tuple(_hero(stills) for stills in list(places.values())[:PLACES])


def _hero(stills: list[SurveyedStill]) -> SurveyedStill:
    """The still that stands best for its place, of the first few; the first of equals."""
    few = stills[:_TRIED]
    return few[0] if len(few) == 1 else max(few, key=_score)


def _score(still: SurveyedStill) -> float:
    box = (_TRY_PX, _TRY_PX)
    preview = do_preview(Task(still.path, thumbnail_box=box, light_xy=still.light_xy, part=still.part))
    return -1.0 if preview.as_it_stood is None else hero_score(preview.as_it_stood)


def open_stills(stills: Iterable[SurveyedStill], edge_px: int = EDGE_PX) -> tuple[LiveStill, ...]:
    """Decode the stills, each once.

    Raises
    ------
    StillError : one cannot be read.
    """
    return tuple(open_still(still, edge_px) for still in stills)


def _named(survey: Survey, name: str) -> SurveyedStill:
    alike = [s for s in survey.stills if name in (s.name, Path(s.name).name, Path(s.name).stem)]
    still = alike[0] if len(alike) == 1 else survey.still(name)
    if still.error is not None:
        raise RequestError("this still cannot be used", found=name, wanted="another one; " + still.error)
    return still


def _requests(looks: Sequence[Path | str]) -> list[Path]:
    found: list[Path] = []
    for look in looks:
        path, encodings = split_request(str(look))
        found += [Path(look)] if encodings is not None else find_looks([path])
    return list(dict.fromkeys(found))


def _inside(folder: Path) -> list[Path]:
    try:
        return find_looks([folder])
    except (LookdevError, OSError):  # there is none any more, or no folder
        return []


def _opened(request: Path) -> LiveLook:
    path = split_request(str(request))[0]
    is_text, name = path.suffix.lower() == ".toml", path.stem.replace("_", " ")
    try:
        look = open_look(request)
        name, is_text = look.title, is_text and not isinstance(look, ReceivedLut)
    except LookdevError:
        if not is_text:
            raise
    return LiveLook(request, path, name, is_text, LookText(""), [])


def _fault(error: LookdevError, text: str, path: Path) -> Fault:
    line = line_of(error, text, path)
    state = {k: v for k, v in error.__dict__.items() if k not in ("problem", "line")}
    if error.file is not None and Path(error.file) == path:
        state["file"] = None
    return Fault(line, str(LookdevError(error.problem, **state)))
