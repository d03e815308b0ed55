"""A note as typed on a phone, a line a thought.

A line without numbers, one that ends in ``:``, one over a rule of dashes or after ``#`` is a location; what
follows is metered there. README has the grammar.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from lookdev.errors import MeterError, one_line
from lookdev.meter import guards
from lookdev.meter.decimals import WORDS
from lookdev.meter.guards import Tolerance
from lookdev.meter.note_line import Line, marks_of_note, read_line, tidied
from lookdev.meter.reading import MeterLog, Reading
from lookdev.text.numbers import LUX_PER_FC

MAX_NOTE_BYTES = 1_000_000
MAX_LINES = 20_000
MAX_LINE = 2_000

_LAMP_WORDS = (
    "tube tubes hps lps sodium tungsten halogen led leds fluo fluos fluorescent fluorescents hmi window "
    "windows sun sky daylight neon lamp lamps bulb bulbs candle candles practical practicals fl mercury "
    "panel röhre röhren leuchtstoffröhre leuchtstoffröhren leuchtstoff natrium fenster kerze kerzen "
    "glühbirne lampe lampen tageslicht sonne himmel halogenlampe neonröhre néon néons fenêtre fenêtres "
    "lampes soleil ciel bougie bougies tungstène ventana ventanas tubos tubo lámpara lámparas sol cielo "
    "vela velas sodio luz finestra finestre tubi lampada lampade sole luce candela candele "
)
_LAMPS = frozenset(_LAMP_WORDS.split())
_JOINING_WORDS = (
    "the a an and of in on at from through over by und der die das am im über durch aus et le la les de "
    "du des par sur y el los del por sobre e il i gli della dalla sopra da "
)
_JOINING = frozenset(_JOINING_WORDS.split())
_UNDERLINE = re.compile(r"\s*([-=_~*–—])\1{2,}\s*")
_DAY = re.compile(r"(?i)(?:day|tag|jour|día|dia|giorno)\s*\d+")


@dataclass
class _Draft:
    """A reading being put together from its lines."""

    line: Line
    values: dict[str, Any]
    words: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    stills: list[str] = field(default_factory=list)
    uncertain: list[str] = field(default_factory=list)
    conventions: list[str] = field(default_factory=list)

    def add(self, line: Line, words_too: bool = True) -> None:
        self.values |= {k: v for k, v in line.values.items() if k not in self.values}
        self.stills += line.stills
        self.notes += line.facts
        self.uncertain += line.uncertain
        self.conventions += line.conventions
        if words_too and line.words:
            self.words.append(line.words)


@dataclass
class _Section:
    """A location and the lines under it."""

    name: str | None
    line: Line | None = None
    lines: list[Line] = field(default_factory=list)


def read_note(text: str, path: Path, tolerance: Tolerance) -> MeterLog:
    """The readings of a note; words and numbers that were not understood are in ``warnings``, line by line.

    Raises
    ------
    MeterError : it is empty, or too long for a note.
    """
    lines, warnings = _lines(text, path.name)
    if not lines:
        raise MeterError(
            "is empty", file=path.name, wanted="a location a line, and under it what was metered"
        )
    sections, said = _sections(lines)
    lines = [line for line in lines if not _is_place(line)]  # their numbers stand in the location's name
    drafts, more = _drafts(sections)
    warnings += [f"{path.name}, {line}" for line in (*said, *more)]
    for line in lines:
        if line.unread:
            words = ", ".join(line.unread)
            where = f"{path.name}, line {line.number}"
            warnings.append(f"{where}: not understood: {words}; read: {line.understood()}")
    readings: list[Reading] = []
    errors: list[MeterError] = []
    places: dict[str, str] = {}
    for place, draft in drafts:
        name = None if place is None else places.setdefault(place.casefold(), place)
        reading = _reading(draft, name, path)
        fault = guards.fault_of_chromaticity(reading)
        if fault is not None and fault[0].startswith("Duv without"):
            where = f"{path.name}, {reading.place}"
            warnings.append(f"{where}: Duv without a colour temperature, not used")
            reading, fault = replace(reading, duv=None, conventions=()), None
        if fault is not None:
            problem, column, found, wanted = fault
            where = f"{path.name}, {reading.place}"
            errors.append(MeterError(problem, file=where, column=column, found=found, wanted=wanted))
            continue
        lux, fc = draft.values.get("lux"), draft.values.get("fc")
        said = guards.agreement(reading, tolerance, lux, None if fc is None else fc * LUX_PER_FC)
        warnings += [f"{path.name}, {reading.place}: {one_line(line)}" for line in said]
        readings.append(reading)
    return MeterLog(tuple(readings), tuple(errors), tuple(one_line(w) for w in warnings), path)


def _lines(text: str, file: str) -> tuple[list[Line], list[str]]:
    """Every line that says something, read; underlined ones marked as headings."""
    typed = text.replace("\ufeff", "").splitlines()
    if len(typed) > MAX_LINES:
        raise MeterError(f"has more than {MAX_LINES} lines", file=file, wanted="a note")
    marks = marks_of_note(text)
    warnings = []
    if marks.because and marks.decimal is not None:
        warnings.append(f"{file}: read with {WORDS[marks.decimal]}: {marks.because}")
    lines: list[Line] = []
    blank = True
    for number, raw in enumerate(typed, 1):
        if _UNDERLINE.fullmatch(raw):
            if lines and not blank and not (lines[-1].has_light and len(lines[-1].values) > 1):
                lines[-1].is_heading = True
            else:  # a line drawn under a reading divides, and makes no heading of it
                blank = True
            continue
        if not tidied(raw):
            blank = True
            continue
        if len(raw) > MAX_LINE:
            warnings.append(f"{file}, line {number}: not understood: a line of {len(raw)} characters")
            continue
        hashes = re.match(r"\s*#{1,6}\s+(?=\S)", raw)
        raw = raw[hashes.end() :] if hashes else raw
        line = read_line(number, raw, marks)
        line.after_blank = blank
        line.is_heading = hashes is not None or (
            tidied(raw).rstrip().endswith(":") and not line.has_light and not line.stills and bool(line.words)
        )
        lines.append(line)
        blank = False
    return lines, warnings


def _place_name(line: Line) -> str:
    """A location as typed, without bullets, emoji, its colon and a time or date behind it."""
    text = tidied(line.text)
    for name in ("time", "date"):
        if name in line.values:
            return line.words.strip(" ,;:-") or text
    return text.rstrip(" :,;-").strip("*_ ")


def _only_lamps(words: str) -> bool:
    found = [w for w in re.findall(r"[^\W\d_]+", words.casefold()) if w not in _JOINING]
    return bool(found) and all(w in _LAMPS for w in found)


def _has_lamp(words: str) -> bool:
    return any(w in _LAMPS for w in re.findall(r"[^\W\d_]+", words.casefold()))


def _is_place(line: Line) -> bool:
    """Whether a line names a location: words, and no number that means anything but a time or a date."""
    if line.is_heading:
        return True
    values = set(line.values) - {"time", "date"}
    if line.has_light or values or line.stills or line.facts or not line.words:
        return False
    return not (line.unread and _has_lamp(line.words))


def _sections(lines: Sequence[Line]) -> tuple[list[_Section], list[str]]:
    """The note cut at its locations; what was taken for a title or a remark is said."""
    said: list[str] = []
    has_places = any(_is_place(line) and not _is_title(lines, i) for i, line in enumerate(lines))
    sections = [_Section(None)]
    for i, line in enumerate(lines):
        after = lines[i + 1] if i + 1 < len(lines) else None
        here = sections[-1]
        if not _is_place(line):
            prefix = _prefix(line, has_places)
            if prefix is not None:
                sections.append(_Section(prefix, line, [_without_prefix(line, prefix)]))
            else:
                here.lines.append(line)
            continue
        if _is_title(lines, i):
            said.append(f"line {line.number}: '{tidied(line.text)}' taken as a title")
            here.lines.append(replace(line, words="", facts=[], unread=[]))
            continue
        if not line.is_heading and _is_source(line, after, here):
            here.lines.append(line)
            continue
        if not line.is_heading and _is_remark(line, after, here):
            said.append(f"line {line.number}: '{tidied(line.text)}' taken as a remark on what is above it")
            here.lines.append(replace(line, words="", facts=[tidied(line.text)]))
            continue
        sections.append(_Section(_place_name(line), line))
    return sections, said


def _is_title(lines: Sequence[Line], i: int) -> bool:
    """A number-less first line over another location, a date line, or ``Day 2``."""
    line = lines[i]
    if _DAY.fullmatch(tidied(line.text).rstrip(" :")):
        return True
    if "date" in line.values and "time" not in line.values:
        return True
    following = lines[i + 1] if i + 1 < len(lines) else None
    if i or following is None or not _is_place(following):
        return False
    third = lines[i + 2] if i + 2 < len(lines) else None
    return not _is_source(following, third, _Section("", line))


def _is_source(line: Line, after: Line | None, here: _Section) -> bool:
    """A lamp alone on its line, its numbers on the next."""
    if after is None or after.after_blank or not after.has_light or after.words or here.name is None:
        return False
    return _only_lamps(line.words)


def _is_remark(line: Line, after: Line | None, here: _Section) -> bool:
    """A number-less line with nothing under it, right below a reading."""
    above = any(old.has_light for old in here.lines)
    if not above or line.after_blank or "time" in line.values:
        return _is_second_line(line, here)
    return after is None or _is_place(after)


def _is_second_line(line: Line, here: _Section) -> bool:
    """The second line of a location that begins a paragraph and has nothing under it yet."""
    return (
        here.line is not None
        and not here.lines
        and here.line.after_blank
        and here.line.number > 1
        and not line.after_blank
        and line.number == here.line.number + 1
    )


_PREFIX = re.compile(r"\s*(?P<name>[^:;|,]*?[^\W\d_][^:;|,]*?)\s*(?P<mark>:|;|\||,| - | / )\s*(?P<rest>\S.*)")

_TIME_FIRST = re.compile(r"\s*\d{1,2}\s?[:.h]?\s?\d{2}\s?(?:am|pm|h|uhr)?(?![\w:.])[\s,;-]*", re.IGNORECASE)


def _prefix(line: Line, has_places: bool) -> str | None:
    """The location before a reading on its own line: ``Dock: HPS 1950K``; None where there is none."""
    if not line.has_light:
        return None
    text = tidied(line.text)
    if "time" in line.values:  # a line may begin with it
        text = _TIME_FIRST.sub("", text)
    found = _PREFIX.fullmatch(text)
    if found is None:
        return None
    name, rest = found["name"].strip(" -*"), found["rest"]
    from lookdev.meter.decimals import Marks

    head = read_line(line.number, name, Marks("."))
    if head.values or head.stills or head.facts or not head.words or _only_lamps(head.words):
        return None
    if has_places and (found["mark"] != ":" or not _has_lamp(rest) or _has_lamp(name)):
        return None
    return name


def _without_prefix(line: Line, prefix: str) -> Line:
    words = line.words
    for part in prefix.split():
        words = re.sub(rf"^{re.escape(part.strip(' ,.-/+'))}[\s,.:;/+-]*", "", words)
    return replace(line, words=words)


def _drafts(sections: Sequence[_Section]) -> tuple[list[tuple[str | None, _Draft]], list[str]]:
    """The readings of every location, and what was said about lines that belong to none."""
    out: list[tuple[str | None, _Draft]] = []
    said: list[str] = []
    date: str | None = None
    camera: Any = None
    for section in sections:
        drafts, orphans = _section_drafts(section)
        head = section.line.values if section.line is not None else {}
        for line in section.lines:
            date = line.values.get("date", date) if not line.has_light else date
        date = head.get("date", date)
        if section.name is None and not drafts:
            camera = next((o.values["camera"] for o in orphans if "camera" in o.values), camera)
            said += [
                f"line {o.number}: '{tidied(o.text)}' taken for every reading without a balance of its own"
                for o in orphans
                if "camera" in o.values
            ]
            orphans = [o for o in orphans if "camera" not in o.values]
        for draft in drafts:
            draft.values.setdefault("date", date)
            if "time" in head:
                draft.values.setdefault("time", head["time"])
            if camera is not None:
                draft.values.setdefault("camera", camera)
            out.append((section.name, draft))
        if section.name is not None and not drafts:
            line_number = section.line.number if section.line is not None else 0
            said.append(f"line {line_number}: '{section.name}' taken as a location; no reading under it")
        for line in orphans:
            if line.words or line.facts or set(line.values) - {"date"}:
                said.append(f"line {line.number}: '{tidied(line.text)}' belongs to no reading")
    return out, said


def _section_drafts(section: _Section) -> tuple[list[_Draft], list[Line]]:
    drafts: list[_Draft] = []
    items: list[tuple[str, Any]] = []
    waiting: list[Line] = []
    cameras: list[tuple[int, Any]] = []
    current: _Draft | None = None
    for line in (part for whole in section.lines for part in _readings_in(whole)):
        if line.has_light:
            if current is not None and _goes_with(line, current) and not waiting:
                current.add(line)
                continue
            current = _Draft(line, {})
            for early in waiting:
                current.add(early)
            waiting = []
            current.add(line)
            drafts.append(current)
            items.append(("R", current))
        elif line.stills:
            items.append(("S", line))
        elif "camera" in line.values and not (set(line.values) - {"camera", "date"}):
            cameras.append((len(drafts), line.values["camera"]))
            if current is not None:
                current.notes += [*line.facts, *([line.words] if line.words else [])]
            else:
                remark = [*line.facts, *([line.words] if line.words else [])]
                waiting.append(replace(line, values={}, words="", facts=remark))
        elif current is not None and not line.words and not (set(line.values) & set(current.values)):
            if line.values.keys() == {"role"}:
                waiting.append(line)
            else:
                current.add(line)
        elif current is not None and not line.values:
            current.notes += [*([line.words] if line.words else []), *line.facts]
        else:
            waiting.append(line)
    _give_stills(items, drafts)
    if not drafts and any(kind == "S" for kind, _ in items):
        for _, line in items:
            draft = _Draft(line, {})
            draft.add(line)
            drafts.append(draft)
    for draft in drafts:
        i = drafts.index(draft)
        before = [c for at, c in cameras if at <= i]
        later = [c for at, c in cameras if at > i]
        first_is_later = bool(cameras) and cameras[0][0] > 0
        own = (later or before[-1:]) if first_is_later else (before[-1:] or later)
        if own:
            draft.values.setdefault("camera", own[0])
    if not drafts and cameras:
        last = next(line for line in section.lines if "camera" in line.values)
        waiting = [w for w in waiting if w.number != last.number] + [last]
    return drafts, [w for w in waiting if w.words or w.facts or w.values]


def _goes_with(line: Line, draft: _Draft) -> bool:
    """Whether a line of numbers alone goes on with the reading above it."""
    if line.words or line.stills or line.after_blank or "role" in line.values:
        return False
    new, have = set(line.values), set(draft.values)
    colour = {"cct_k", "x", "y", "illuminant"}
    if new & colour and have & colour and new & have:
        return False
    return not new & have


def _give_stills(items: Sequence[tuple[str, Any]], drafts: Sequence[_Draft]) -> None:
    """Stills on a line of their own go to the reading above; where they come first, to those below them.

    One such line under several readings is for all of them.
    """
    kinds = [kind for kind, _ in items]
    if "R" not in kinds or "S" not in kinds:
        return
    if kinds[0] == "S":
        given: list[Line] = []
        fresh = True
        for kind, item in items:
            if kind == "S":
                given = [item] if not fresh else [*given, item]
                fresh = True
            else:
                fresh = False
                for line in given:
                    item.add(line, words_too=False)
        if kinds[-1] == "S":
            for line in given:
                drafts[-1].add(line, words_too=False)
        return
    after_all = kinds.count("R") == len(drafts) and "S" not in kinds[: len(drafts)]
    last: list[_Draft] = []
    for kind, item in items:
        if kind == "R":
            last = [item]
        else:
            for draft in drafts if after_all else last:
                draft.add(item, words_too=False)


_SPLIT = re.compile(r"\s*[;|]\s*|\s+/\s+|,\s+|\s+\+\s+|\s+(?=\b(?:key|fill)\b)", re.IGNORECASE)


def _readings_in(line: Line) -> Iterator[Line]:
    """The readings on one line, each with its own colour: ``key 3200 40fc, fill 2900 10fc``."""
    second = any("second" in text for text in line.unread)
    if not second and len(re.findall(r"(?i)\b(?:key|fill)\b", line.text)) < 2:
        yield line
        return
    from lookdev.meter.decimals import Marks

    parts = [p for p in _SPLIT.split(tidied(line.text)) if p.strip()]
    read = [read_line(line.number, part, Marks(".")) for part in parts]
    groups: list[Line] = []
    for part in read:
        starts = "cct_k" in part.values or "x" in part.values or "role" in part.values
        if groups and not (starts and ("cct_k" in groups[-1].values or "x" in groups[-1].values)):
            _merge(groups[-1], part)
        else:
            groups.append(part)
    if len(groups) < 2 or not all("cct_k" in g.values or "x" in g.values for g in groups):
        yield line
        return
    line.unread = [text for group in groups for text in group.unread]
    for i, group in enumerate(groups):
        group.after_blank = line.after_blank and i == 0
        shared = {k: v for k, v in line.values.items() if k in ("camera", "date", "time")}
        group.values = shared | group.values
        yield group


def _merge(first: Line, second: Line) -> None:
    first.values |= {k: v for k, v in second.values.items() if k not in first.values}
    first.stills += second.stills
    first.words = " ".join(w for w in (first.words, second.words) if w)
    first.facts += second.facts
    first.unread += second.unread
    first.uncertain += second.uncertain
    first.conventions += second.conventions


def _reading(draft: _Draft, place: str | None, path: Path) -> Reading:
    values = draft.values
    camera = values.get("camera")
    lux, fc = values.get("lux"), values.get("fc")
    source = unicodedata.normalize("NFC", " ".join(draft.words)) or None
    return Reading(
        row=draft.line.number,
        by_line=True,
        file=path.name,
        stills=tuple(dict.fromkeys(draft.stills)),
        location=place,
        source=source,
        cct_k=values.get("cct_k"),
        duv=values.get("duv"),
        x=values.get("x"),
        y=values.get("y"),
        illuminance_lux=lux if lux is not None else None if fc is None else fc * LUX_PER_FC,
        camera_balance_k=camera[0] if camera else None,
        camera_balance_auto=camera is not None and camera[0] is None,
        camera_balance_origin=camera[1] if camera else None,
        illuminant=values.get("illuminant"),
        note=", ".join(draft.notes) or None,
        time=values.get("time"),
        date=values.get("date"),
        role=values.get("role"),
        uncertain=tuple(dict.fromkeys(draft.uncertain)),
        conventions=tuple(draft.conventions),
    )
