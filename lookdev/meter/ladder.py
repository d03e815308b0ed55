"""Which reading is for which still: a ladder of rungs, tried in one order.

The still's name; a number or range; a pattern; a folder; the location's words in a folder's or file's name;
the nearest time on the same day, which the location narrows; one reading and one location in all. Where two
readings tie on one rung, the later rungs decide; where those cannot, the later reading is used, and said.
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

from lookdev.meter.naming import FILE, FOLDER, GLOB, NUMBER, PATH, STEM, folded, lead, match_rank
from lookdev.meter.reading import Reading
from lookdev.names import split_name

NAME_RUNG, NUMBER_RUNG, PATTERN_RUNG, FOLDER_RUNG = "name", "number", "pattern", "folder"
LOCATION_RUNG, TIME_RUNG, ONLY_RUNG = "location", "time", "only reading"
RUNGS = (NAME_RUNG, NUMBER_RUNG, PATTERN_RUNG, FOLDER_RUNG, LOCATION_RUNG, TIME_RUNG, ONLY_RUNG)
GUESSED = (LOCATION_RUNG, TIME_RUNG, ONLY_RUNG)
"""Rungs that nobody typed: marked in the join table."""

DEFAULT_WINDOW_MIN = 20.0
_RUNG_OF = {PATH: NAME_RUNG, FILE: NAME_RUNG, STEM: NAME_RUNG, NUMBER: NUMBER_RUNG, GLOB: PATTERN_RUNG,
            FOLDER: FOLDER_RUNG}  # fmt: skip
DAY_MIN = 1440.0
_NAME_LIKE = re.compile(r"(?=.*[^\W\d_])(?=.*[\d_-])\S{4,}")  # letters, and a number or two words made one


@dataclass(frozen=True)
class Facts:
    """What a still says of itself: its path in the scout, when it was taken (ISO 8601, local), the camera."""

    name: str
    taken: str | None = None
    camera: str | None = None


@dataclass(frozen=True)
class Step:
    """What the ladder found for one still.

    Attributes
    ----------
    reading : or None.
    rung : one of ``RUNGS``; empty without a reading.
    minutes_apart : still's time less reading's, where both have one.
    doubts : what is doubtful about it, a line each.
    """

    reading: Reading | None = None
    rung: str = ""
    minutes_apart: float | None = None
    doubts: tuple[str, ...] = ()


def climb(
    stills: Sequence[Facts],
    readings: Sequence[Reading],
    clock_offset_min: Mapping[str, float] | None = None,
    window_min: float = DEFAULT_WINDOW_MIN,
) -> list[Step]:
    """The reading of every still, in their order.

    Parameters
    ----------
    clock_offset_min : camera (or a part of its name; "" for every other) to the minutes that are added to the
        time in its files to get the time in the log.
    window_min : how far apart still and reading may be where nothing but the time joins them.

    Examples
    --------
    >>> dock = Reading(row=2, location="Loading dock", cct_k=1950, time="21:15")
    >>> step, = climb([Facts("CARD_A/IMG_2041.JPG", "2031-03-04T21:31:00")], [dock])
    >>> step.rung, step.minutes_apart
    ('time', 16.0)
    """
    return _Ladder(stills, readings, clock_offset_min or {}, window_min).climb()


def _word_of(still_name: str) -> str | None:
    """A still's name without its ending, where a line of a log can mean nothing else by it.

    >>> _word_of("day1/Hall_mixed.jpg"), _word_of("hall.jpg")
    ('hall_mixed', None)
    """
    stem = folded(split_name(still_name)[0]).rsplit("/", 1)[-1].rsplit(".", 1)[0]
    return stem if _NAME_LIKE.fullmatch(stem) else None


def _words_of(reading: Reading) -> frozenset[str]:
    """A line's own words."""
    return frozenset(folded(f"{reading.source or ''} {reading.note or ''}").replace(",", " ").split())


class _Ladder:
    def __init__(
        self,
        stills: Sequence[Facts],
        readings: Sequence[Reading],
        offsets: Mapping[str, float],
        window_min: float,
    ) -> None:
        self.stills, self.readings, self.offsets, self.window = stills, readings, offsets, window_min
        self.locations = list(dict.fromkeys(r.location for r in readings if r.location is not None))
        # a view is where its panorama is, whatever it looks at
        self.at = [located(split_name(still.name)[0], self.locations) for still in stills]
        self.words = [_words_of(reading) for reading in readings]
        self.ranks: list[dict[int, int]] = [self._ranks(still) for still in stills]
        self.doubtful: dict[int, str] = {}
        self._settle_same_names()
        self.named = {r for ranks in self.ranks for r in ranks}

    def climb(self) -> list[Step]:
        return [self._step(i) for i in range(len(self.stills))]

    def _ranks(self, still: Facts) -> dict[int, int]:
        """Reading's index to how closely it names a still."""
        found, word = {}, _word_of(still.name)
        for k, reading in enumerate(self.readings):
            rank = max((match_rank(still.name, p) for p in reading.stills), default=0)
            rank = rank or (STEM if word in self.words[k] else 0)
            if rank:
                found[k] = rank
        return found

    def _settle_same_names(self) -> None:
        """A bare name that lies in several folders means the one whose location or time is the reading's."""
        by_base: dict[str, list[int]] = {}
        for i, still in enumerate(self.stills):
            by_base.setdefault(still.name.rsplit("/", 1)[-1].casefold(), []).append(i)
        for group in by_base.values():
            if len(group) < 2:
                continue
            for k, reading in enumerate(self.readings):
                here = [i for i in group if self.ranks[i].get(k, 0) in (FILE, STEM, NUMBER)]
                if any(self.ranks[i].get(k) == PATH for i in group):
                    for i in here:  # one of them is meant by its whole path
                        del self.ranks[i][k]
                    continue
                if len(here) < 2:
                    continue
                meant = [i for i in here if reading.location is not None and self.at[i] == reading.location]
                if not meant:
                    apart = {i: self._apart(i, reading) for i in here}
                    timed = {i: abs(m) for i, m in apart.items() if m is not None}
                    if timed and sum(m == min(timed.values()) for m in timed.values()) == 1:
                        meant = [min(timed, key=lambda i: timed[i])]
                for i in here:
                    if i not in meant:
                        del self.ranks[i][k]
                        if not meant:
                            name = self.stills[i].name
                            base = name.rsplit("/", 1)[-1]
                            self.doubtful[i] = (
                                f"{reading.file}, {reading.place}: '{base}' is the name of several stills: "
                                f"give its path, such as {name}"
                            )

    def _step(self, i: int) -> Step:
        ranks = self.ranks[i]
        if ranks:
            best = max(ranks.values())
            return self._choose(i, [k for k, rank in ranks.items() if rank == best], _RUNG_OF[best])
        place = self.at[i]
        if place is not None:
            here = [k for k, r in enumerate(self.readings) if r.location == place]
            return self._choose(i, here, LOCATION_RUNG)
        near = self._near(i)
        if near:
            return self._choose(i, near, TIME_RUNG)
        doubts = (self.doubtful[i],) if i in self.doubtful else ()
        free = [k for k in range(len(self.readings)) if k not in self.named]
        best_lead = max((lead(self.readings[k]) for k in free), default=(0, 0))
        free = [k for k in free if lead(self.readings[k]) == best_lead]
        if len(free) == 1 and len(self.locations) <= 1 and not doubts and not self._is_far(i, free[0]):
            return Step(self.readings[free[0]], ONLY_RUNG, self._apart(i, self.readings[free[0]]))
        return Step(doubts=doubts)

    def _choose(self, i: int, among: Sequence[int], rung: str) -> Step:
        """One of several readings that one rung gives, by what later rungs say."""
        best = max(lead(self.readings[k]) for k in among)
        left = [k for k in among if lead(self.readings[k]) == best]
        if len(left) > 1 and any(self.readings[k].location == self.at[i] is not None for k in left):
            left = [k for k in left if self.readings[k].location == self.at[i]]
        apart = {k: self._apart(i, self.readings[k]) for k in left}
        timed = {k: abs(m) for k, m in apart.items() if m is not None}
        if len(left) > 1 and timed:
            nearest = min(timed.values())
            left = [k for k in left if timed.get(k) == nearest]
        chosen = self.readings[left[-1]]
        doubts: tuple[str, ...] = ()
        if len(left) > 1:
            places = " and ".join(self.readings[k].place for k in left[-3:])
            doubts = (f"{chosen.file}: {places} tie by {rung}; used the later, {chosen.place}",)
        return Step(chosen, rung, apart[left[-1]], doubts)

    def _near(self, i: int) -> list[int]:
        """The readings within the window of a still's time; those of the key, with colour, if there are."""
        apart = {k: self._apart(i, r) for k, r in enumerate(self.readings)}
        near = [k for k, m in apart.items() if m is not None and abs(m) <= self.window]
        best = max((lead(self.readings[k]) for k in near), default=(0, 0))
        return [k for k in near if lead(self.readings[k]) == best]

    def _is_far(self, i: int, k: int) -> bool:
        """Whether both have a date and it is not the same day."""
        date, taken = self.readings[k].date, self.stills[i].taken
        return date is not None and taken is not None and not taken[:10].endswith(date)

    def _apart(self, i: int, reading: Reading) -> float | None:
        """Minutes from a reading to a still, the camera's clock put right; None where either has no time."""
        still = self.stills[i]
        if still.taken is None or reading.time is None:
            return None
        try:
            taken = datetime.datetime.fromisoformat(still.taken).replace(tzinfo=None)
        except ValueError:
            return None
        taken += datetime.timedelta(minutes=self._offset(still.camera))
        minutes = taken.hour * 60 + taken.minute + taken.second / 60
        metered = int(reading.time[:2]) * 60 + int(reading.time[3:])
        if reading.date is None:
            return round((minutes - metered + DAY_MIN / 2) % DAY_MIN - DAY_MIN / 2, 2)
        day = reading.date if len(reading.date) == 10 else f"{taken.year:04d}-{reading.date}"
        try:
            days = (taken.date() - datetime.date.fromisoformat(day)).days
        except ValueError:
            return None
        return round(minutes - metered + days * DAY_MIN, 2)

    def _offset(self, camera: str | None) -> float:
        name = (camera or "").casefold()
        known = [key for key in self.offsets if key and key.casefold() in name]
        return self.offsets[max(known, key=len)] if known else self.offsets.get("", 0.0)


# the words of a location in a path ------------------------------------------------------------------------

_LETTERS = str.maketrans({"ø": "o", "Ø": "o", "ł": "l", "Ł": "l", "đ": "d", "æ": "ae", "œ": "oe", "ß": "ss",
                          "Æ": "ae", "Œ": "oe", "ı": "i"})  # fmt: skip
_SMALL = frozenset(
    ("the", "of", "at", "in", "on", "and", "der", "die", "das", "le", "la", "les", "de", "du", "el", "il")
)
SHARE_OF_WORDS = 0.5
"""So much of a location's words must stand in a path for the path to mean it."""


@lru_cache(maxsize=4096)
def words_of(text: str) -> tuple[str, ...]:
    """Words without case, accents and marks between them; ``CamelCase`` is two.

    >>> words_of("Loading dock 3, Østkai"), words_of("03_loadingDock-wide")
    (('loading', 'dock', '3', 'ostkai'), ('03', 'loading', 'dock', 'wide'))
    """
    split = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])", " ", text)
    plain = unicodedata.normalize("NFKD", split.translate(_LETTERS).casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return tuple(re.findall(r"\d+|[^\W\d_]+", plain.replace("'", "")))


def _squashed(text: str) -> str:
    return "".join(words_of(text))


def located(name: str, locations: Sequence[str]) -> str | None:
    """The location whose words stand in a still's path; None for none, or for two as well as each other.

    >>> located("DAY1/03_loading_dock/IMG_1.jpg", ["Loading dock 3, Østkai", "Net loft, Østkai"])
    'Loading dock 3, Østkai'
    """
    parts = re.sub(r"\.[A-Za-z0-9]{2,5}$", "", name).split("/")
    have = {word for part in parts for word in words_of(part)}
    solid = [_squashed(part) for part in parts]
    score: dict[str, tuple[float, int]] = {}
    for place in locations:
        words = [w for w in words_of(place) if w not in _SMALL and len(w) > 1 and not w.isdigit()]
        if not words:  # a letter or a number alone stands in too many names
            continue
        others = {w for other in locations if other != place for w in words_of(other)}
        whole = len(words_of(place)) > 1 and any(_squashed(place) in part for part in solid)
        met = [w for w in words if w in have]
        told = whole or any(w not in others for w in met)
        share = 1.0 if whole else len(met) / len(words)
        if told and share >= SHARE_OF_WORDS:
            score[place] = (share, len(_squashed(place)) if whole else len(met))
    if not score:
        return None
    best = max(score.values())
    found = [place for place, value in score.items() if value == best]
    return found[0] if len(found) == 1 else None


# what came of it ------------------------------------------------------------------------------------------


class HasReading(Protocol):
    """A step of the ladder, or what came of one."""

    @property
    def reading(self) -> Reading | None: ...


def unmatched(steps: Iterable[HasReading], readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """The readings that no still is for: not used, and not beside a used one at its location."""
    used = [step.reading for step in steps if step.reading is not None]
    places = {r.location for r in used if r.location is not None}
    stills = {p for r in used for p in r.stills}
    return tuple(
        r
        for r in readings
        if not any(r is u for u in used) and r.location not in places and not (stills & set(r.stills))
    )


def count_words(steps: Sequence[HasReading], readings: Sequence[Reading]) -> str:
    """What came of the join in one line, empty where every reading and every still found its other.

    >>> count_words([Step()], [Reading(row=2)])
    '0 readings used; 1 matches no still (row 2); 1 still has none'
    """
    used = len({id(step.reading) for step in steps if step.reading is not None})
    alone = unmatched(steps, readings)
    bare = sum(step.reading is None for step in steps)
    if not readings or (not alone and not bare):
        return ""
    parts = [f"{used} reading{'s' * (used != 1)} used"]
    if alone:
        rest = ", …" if len(alone) > 4 else ""
        where = ", ".join(r.place for r in alone[:4]) + rest
        parts.append(f"{len(alone)} match{'es' * (len(alone) == 1)} no still ({where})")
    if bare:
        parts.append(f"{bare} still{'s have' if bare != 1 else ' has'} none")
    return "; ".join(parts)
