"""One line of a note: which numbers in it mean what, which words are left, what was not read.

Patterns are tried in a fixed order on the line with its numbers already written with a decimal point; what
one takes, the next does not see. What no pattern takes and holds a number is kept as not understood.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from lookdev.meter import cells
from lookdev.meter import note_patterns as patterns
from lookdev.meter.decimals import Marks, decide, is_open, mark_of, plain_number, readings_of
from lookdev.text import numbers
from lookdev.text.numbers import LUX_PER_FC

TAKEN = "\0"


@dataclass
class Line:
    """What was read in one line. ``values`` has the fields of :class:`~lookdev.meter.reading.Reading`."""

    number: int
    text: str
    values: dict[str, Any] = field(default_factory=dict)
    stills: list[str] = field(default_factory=list)
    words: str = ""
    facts: list[str] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    uncertain: list[str] = field(default_factory=list)
    conventions: list[str] = field(default_factory=list)
    after_blank: bool = False
    is_heading: bool = False

    @property
    def has_light(self) -> bool:
        """Whether it is a reading: a colour or an illuminance."""
        return any(k in self.values for k in ("cct_k", "x", "lux", "fc", "duv", "illuminant"))

    def understood(self) -> str:
        """What was read, for the line about what was not."""
        shown: dict[str, Callable[[Any], str]] = {
            "cct_k": numbers.kelvin, "lux": "{:g} lx".format, "fc": "{:g} fc".format,
            "duv": numbers.duv, "time": str,
        }  # fmt: skip
        parts = [write(self.values[k]) for k, write in shown.items() if k in self.values]
        if "x" in self.values:
            parts.insert(0, f"x {self.values['x']:g}, y {self.values['y']:g}")
        parts += self.stills + self.facts + ([f"'{self.words}'"] if self.words else [])
        return ", ".join(parts) or "nothing"


def marks_of_note(text: str) -> Marks:
    """The decimal mark of a note: from numbers that begin with 0 or the mark first, then from the rest."""
    runs = []
    for run in patterns.RUN.finditer(text):
        number = run.group()
        after = text[run.end() : run.end() + 6].casefold().lstrip()
        clock = after.startswith(("uhr", "h", "am", "pm", "a.m", "p.m"))
        if clock or re.fullmatch(r"\d{3,}(,\d{4,})+|\d+(\.\d+){2,}", number):
            continue
        runs.append((number, after))
    strong = [n for n, _ in runs if n[0] in ".,0"]
    found = decide(strong)
    if found.decimal is not None:
        return found
    kelvins = [n for n, after in runs if re.match(r"°?k(?![a-z])", after)]
    bare = [n for n, after in runs if is_open(n) and not re.match(patterns.UNIT, after)]
    return decide([n for n, _ in runs if not re.fullmatch(r"\d{1,2}\.\d\d", n)], kelvins or bare)


def tidied(text: str) -> str:
    """A line without emoji, bullets and bold marks; dashes, fractions and spaces as plain ones."""
    plain = unicodedata.normalize("NFKC", text).replace("\N{FRACTION SLASH}", "/")
    plain = plain.replace("\N{MINUS SIGN}", "-").replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    plain = re.sub("(?<=\\d)[\N{EN DASH}\N{EM DASH}](?=[\\dA-Za-z])", "-", plain)
    plain = re.sub("[\N{EN DASH}\N{EM DASH}\N{RIGHTWARDS ARROW}]", " - ", plain)
    kept = [c for c in plain if c == "°" or not _is_picture(c)]
    plain = "".join(kept).replace("**", "").replace("__", "").strip()
    plain = re.sub(r"^(?:[-*•·>◦]+\s+|\[[ xX]?\]\s*|\d{1,2}\)\s+)+", "", plain)
    return (
        " ".join(plain.replace("\t", "  ").split())
        if "\t" not in plain
        else re.sub(r"\s*\t\s*", " ; ", plain)
    )


def _is_picture(char: str) -> bool:
    return unicodedata.category(char) in ("So", "Sk", "Cs", "Co", "Cn", "Cf", "Cc") and char != "\t"


def read_line(number: int, text: str, marks: Marks) -> Line:
    """Read one line of a note."""
    line = Line(number, text.strip())
    return _Scanner(line, marks).read()


class _Scanner:
    def __init__(self, line: Line, marks: Marks) -> None:
        self.line, self.marks = line, marks
        self.rest = self._plain(tidied(line.text))
        self.given = line.values

    def read(self) -> Line:
        self.rest = re.sub(r"(?i)\bo'clock\b", "h", self.rest)
        self._take_names()
        for pattern in (patterns.XY_LABEL, patterns.XY_EACH, patterns.XY_PAIR):
            self._take(pattern, self._xy)
        self._take(patterns.DUV, self._duv)
        self._take(patterns.AUTO, self._auto)
        self._take(patterns.CAMERA, self._camera)
        self._take(patterns.DATE, self._date)
        for pattern in patterns.TIMES:
            self._take(pattern, self._time)
        self._take(patterns.LIGHT, self._light)
        self._take(patterns.LIGHT_LABEL, self._light)
        self._take(patterns.GEL, self._gel)
        for pattern in patterns.POINTS:
            self._take(pattern, self._points)
        self._take(patterns.WATTS, self._watts)
        self._take(patterns.STOP, self._stop)
        self._take(patterns.FACTS, self._fact)
        for pattern in patterns.CCTS:
            self._take(pattern, self._cct)
        self._take(patterns.BARE_CCT, self._bare)
        self._take(patterns.KILO, self._kilo)
        if "time" not in self.given and self.line.has_light:
            self._take(patterns.BARE_TIME, self._time_maybe)
        self._take(patterns.ROLE, self._role)
        self._leftover()
        return self.line

    # numbers ------------------------------------------------------------------------------------------------

    def _plain(self, text: str) -> str:
        """The line with decimal points and without marks between thousands."""
        text = re.sub(
            r"(?i)(\b(?:xy|x\s?[,/]\s?y)\s*[:=]?\s*)(\d{3,4})\s*[,;/ ]\s*(\d{3,4})(?!\d)", r"\1.\2 .\3", text
        )
        text = re.sub(
            r"(?i)(?<![\d.,])c?x\s*[:=]?\s*(\d{3,4})[\s,;/]*c?y\s*[:=]?\s*(\d{3,4})(?!\d)",
            r"x .\1 y .\2",
            text,
        )
        text = re.sub(
            rf"(?i)(?<![\w.,])(\d{{1,3}}) (\d{{3}})(?=\s*(?:k\b|kelvin|{patterns.UNIT}))", r"\1\2", text
        )
        return patterns.RUN.sub(self._plain_run, text)

    def _plain_run(self, run: re.Match[str]) -> str:
        number = run.group()
        pair = patterns.PAIR.fullmatch(number)
        if pair is not None:
            return "/".join(part.replace(",", ".") for part in pair.groups())
        date_or_clock = re.fullmatch(r"\d+(\.\d+){2,}|\d{1,2}\.\d\d", number)
        if date_or_clock or re.fullmatch(r"\d{3,}(,\d{2,})*,\d{4,}|\d{4,}(,\d{2,})+", number):
            return number
        if (
            number.count(",") == 1
            and mark_of(number) == ","
            and self.marks.decimal == "."
            and len(number) > 6
        ):
            return number
        plain = plain_number(number, self.marks)
        if plain is None:  # open: kept from being read where it is a light, which it could be both times
            before, after = run.string[: run.start()], run.string[run.end() :]
            if re.match(rf"\s*{patterns.UNIT}", after, re.I) or re.search(
                r"(?i)(?:lux|lx|fc|\be)\s*[:=]?\s*$", before
            ):
                return number.replace(".", ",")
        return plain or number

    def _take(self, pattern: re.Pattern[str], use: Callable[[re.Match[str]], bool | None]) -> None:
        at = 0
        while (found := pattern.search(self.rest, at)) is not None:
            if found.end() == found.start() or use(found) is False:
                at = found.start() + 1
                continue
            self._cut(found.start(), found.end())
            at = found.start()

    def _cut(self, start: int, end: int) -> None:
        self.rest = self.rest[:start] + TAKEN * (end - start) + self.rest[end:]

    def _maybe(self, name: str, found: re.Match[str]) -> None:
        groups = found.groupdict()
        if groups.get("about") or groups.get("maybe") or groups.get("to"):
            self.line.uncertain.append(name)

    def _fault(self, found: re.Match[str] | str, why: str) -> None:
        text = found if isinstance(found, str) else found.group().strip()
        self.line.unread.append(f"'{text}' ({why})")

    # stills -------------------------------------------------------------------------------------------------

    def _take_names(self) -> None:
        found = patterns.NAMES.search(self.rest)
        while found is not None:
            name = found.group().replace("\\", "/")
            name = re.sub(r"(?i)^(\w*?)(img|dsc|dscf|dji|pxl|mg) (?=\d)", r"\1\2_", name)
            self._names_from(name, found.start(), found.end())
            found = patterns.NAMES.search(self.rest)
        found = patterns.NUMBERED.search(self.rest)
        while found is not None:
            self._names_from(found["n"], found.start(), found.end())
            found = patterns.NUMBERED.search(self.rest)
        self._take(patterns.BARE_RANGE, self._bare_range)
        numbers = re.fullmatch(
            r"\s*\d{3,5}(?:\s*(?:[,;+&]|and|und|et|y|e)?\s+?\s*\d{3,5}|,\d{3,5})+\s*", self.rest
        )
        if numbers is not None:
            found_numbers = re.findall(r"\d+", self.rest)
            values = [int(n) for n in found_numbers]
            if max(values) - min(values) <= 200 and any(v % 50 for v in values):
                self.line.stills += found_numbers
                self._cut(0, len(self.rest))

    def _names_from(self, name: str, start: int, end: int) -> None:
        """A name with the range and the list that follow it."""
        digits = re.findall(r"\d+", name)
        first = digits[-1] if digits else ""
        to = patterns.TO.match(self.rest, end)
        if to is not None and first and _goes_on(first, to["n"]):
            name, end = f"{name}-{to['n']}", to.end()
            first = to["n"] if len(to["n"]) >= len(first) else first[: len(first) - len(to["n"])] + to["n"]
        self.line.stills.append(name)
        more = patterns.MORE.match(self.rest, end)
        while more is not None and first and _goes_on(first, more["n"]):
            item, end = more["n"], more.end()
            if len(item) < len(first):
                item = first[: len(first) - len(item)] + item
            first = item
            to = patterns.TO.match(self.rest, end)
            if to is not None and _goes_on(item, to["n"]):
                item, end = f"{item}-{to['n']}", to.end()
            self.line.stills.append(item)
            more = patterns.MORE.match(self.rest, end)
        self._cut(start, end)

    def _bare_range(self, found: re.Match[str]) -> bool | None:
        a, b = found["a"], found["b"]
        if not _goes_on(a, b) or (int(a) % 50 == 0 and int(b) % 50 == 0):
            return False
        self.line.stills.append(f"{a}-{b}")
        return None

    # what is metered ----------------------------------------------------------------------------------------

    def _xy(self, found: re.Match[str]) -> bool | None:
        x, y = (float(found[k]) for k in "xy")
        if "x" in self.given:
            return False
        if not (0 < x < 1 and 0 < y < 1):
            self._fault(found, "x and y lie between 0 and 1")
            return None
        self.given |= {"x": x, "y": y}
        if self.rest[: found.start()].rstrip().endswith("~"):
            self.line.uncertain += ["x", "y"]
        return None

    def _duv(self, found: re.Match[str]) -> bool | None:
        value = float(found["v"].replace(" ", ""))
        if "duv" in self.given:
            return False
        if abs(value) > cells.DUV_RANGE:
            self._fault(found, f"Duv goes from -{cells.DUV_RANGE} to {cells.DUV_RANGE}")
            return None
        self.given["duv"] = value
        self._maybe("duv", found)
        return None

    def _light(self, found: re.Match[str]) -> bool | None:
        unit = re.sub(r"\s", "", found["unit"].casefold())
        value = float(found["v"])
        if found.groupdict().get("to"):
            value = (value + float(found["to"])) / 2
        name = "lux" if unit[0] in "kli" or unit == "e" else "fc"
        if name in self.given:
            self._fault(found, "a second one in this line")
            return None
        scale = 1000.0 if unit.startswith("k") else 1.0 if name == "lux" else LUX_PER_FC
        low, high = cells.ILLUMINANCE_RANGE_LUX
        if not low <= value * scale <= high:
            self._fault(found, "out of range")
            return None
        self.given[name] = value * (1000.0 if unit.startswith("k") else 1.0)
        self._maybe("illuminance_lux", found)
        return None

    def _cct(self, found: re.Match[str]) -> bool | None:
        text = found["v"].casefold().replace("k", "").strip()
        value = float(text) * (1000 if "." in text else 1)
        if found.groupdict().get("to"):
            value = (value + float(found["to"])) / 2
        low, high = cells.CCT_RANGE_K
        if not low <= value <= high:
            self._fault(found, f"kelvin go from {low:.0f} to {high:.0f}")
            return None
        if "cct_k" in self.given:
            self._fault(found, "a second colour temperature in this line")
            return None
        self.given["cct_k"] = round(value, 3)
        self._maybe("cct_k", found)
        return None

    def _bare(self, found: re.Match[str]) -> bool | None:
        if "cct_k" not in self.given and cells.CCT_RANGE_K[0] <= float(found["v"]) <= cells.CCT_RANGE_K[1]:
            return self._cct(found)
        clock = found["v"]
        if "time" not in self.given and len(clock) == 4 and int(clock[:2]) < 24 and int(clock[2:]) < 60:
            self.given["time"] = f"{clock[:2]}:{clock[2:]}"
            self.line.uncertain.append("time")
            return None
        return False

    def _kilo(self, found: re.Match[str]) -> bool | None:
        value = float(found["v"]) * 1000
        if "cct_k" in self.given or not 2000 <= value <= 20000:
            return False
        self.given["cct_k"] = value
        self.line.uncertain.append("cct_k")
        return None

    def _points(self, found: re.Match[str]) -> bool | None:
        text = found.group()
        try:
            points = cells.green_points(re.sub(r"(?i)\bof\b|punkte?|vert|verde", _green_word, text))
        except cells.CellError:
            return False
        if re.match(r"(?i)(?:cc\s?)?-.*m", text):
            self.line.uncertain.append("duv")  # minus magenta, or a dash before magenta
        return self._green(points, found)

    def _gel(self, found: re.Match[str]) -> bool | None:
        part = patterns.PARTS.get((found["part"] or "").casefold(), 1.0)
        minus = (found["word"] or "").casefold() == "minus" or found["sign"] == "-"
        self.line.uncertain.append("duv")
        return self._green(cells.FULL_GEL_POINTS * part * (-1 if minus else 1), found)

    def _green(self, points: float, found: re.Match[str]) -> bool | None:
        if "duv" in self.given or "x" in self.given:
            self._fault(found, "Duv is given already")
            return None
        duv, words = cells.duv_of_points(points)
        self.given["duv"] = duv
        self.line.conventions.append(words)
        return None

    # the rest -----------------------------------------------------------------------------------------------

    def _auto(self, found: re.Match[str]) -> bool | None:
        return False if "camera" in self.given else self._set_camera("auto")

    def _camera(self, found: re.Match[str]) -> bool | None:
        return False if "camera" in self.given else self._set_camera(found["v"].strip(), found)

    def _set_camera(self, text: str, found: re.Match[str] | None = None) -> bool | None:
        try:
            self.given["camera"] = cells.camera_balance(text)
        except cells.CellError as error:
            self._fault(found or text, error.wanted)
        return None

    def _date(self, found: re.Match[str]) -> bool | None:
        try:
            self.given.setdefault("date", cells.day(found.group().rstrip(",")))
        except cells.CellError:
            return False
        return None

    def _time(self, found: re.Match[str]) -> bool | None:
        hour, minute = int(found["h"]), int(found.groupdict().get("m") or 0)
        half = (found.groupdict().get("half") or "").casefold()
        if half:
            if not 1 <= hour <= 12:
                return False
            hour = hour % 12 + (12 if half.startswith("p") else 0)
        if hour > 23 or "time" in self.given:
            return False
        self.given["time"] = f"{hour:02d}:{minute:02d}"
        return None

    def _time_maybe(self, found: re.Match[str]) -> bool | None:
        if self._time(found) is False:
            return False
        self.line.uncertain.append("time")
        return None

    def _stop(self, found: re.Match[str]) -> bool | None:
        if found["n"] in ("5", "8", "12") and patterns.TUBES.search(self.rest):
            return False  # T5, T8, T12 are tubes
        if not 0.7 <= float(found["n"]) <= 64:
            return False
        self._fact(found)
        return None

    def _fact(self, found: re.Match[str]) -> None:
        self.line.facts.append(found.group().strip())

    def _watts(self, found: re.Match[str]) -> bool | None:
        self.line.facts.append(found.group().strip())
        return None

    def _role(self, found: re.Match[str]) -> bool | None:
        if "role" in self.given:
            return False
        self.given["role"] = cells.role(found["v"])
        return None

    def _leftover(self) -> None:
        from lookdev.meter.reading import illuminant_in

        aside = re.findall(r"\(([^()]*)\)", self.rest)
        rest = re.sub(r"\([^()]*\)", " ", self.rest)
        remark = re.search(r"(?i)\b(?:note|n\.b\.|nb|notiz|remarque|nota)\s*:\s*(.*)$", rest)
        if remark is not None:
            aside.append(remark.group(1))
            rest = rest[: remark.start()]
        for text in aside:
            words = self._words(text)
            if words:
                self.line.facts.append(words)
        self.line.words = self._words(rest)
        for word in re.split(r"[\s,;/]+", self.line.words):
            if len(word) > 1 and any(c.isdigit() for c in word) and (name := illuminant_in(word)):
                self.given.setdefault("illuminant", name)

    def _words(self, text: str) -> str:
        for found in patterns.OPEN_LIGHT.findall(text):
            thousands, decimal = readings_of(re.sub(r"[^\d.,]", "", found))
            self._fault(found.strip(), f"{thousands} or {decimal}?")
            text = text.replace(found, " ", 1)
        tokens = re.split(rf"[\s{TAKEN}]+", text)
        kept: list[str] = []
        for i, token in enumerate(tokens):
            bare = token.strip("()[]{},;:|/\\+-.~=@*#<>\"'!?&°_")
            if not bare:
                continue
            if bare.isalpha() and bare.casefold() in _DANGLING and _is_last(tokens, i):
                continue
            if any(c.isalpha() for c in bare) or re.fullmatch(r"\d{1,3}%,?", token):
                kept.append(token.strip('()[]{};:|/\\=@*#<>"~') if bare != token else token)
            elif bare.isdigit() and len(bare) <= 2 and kept_after(tokens, i):
                kept.append(bare)
            else:
                self.line.unread.append(f"'{token}'")
        return " ".join(k.strip(" ,.-/+") for k in kept if k.strip(" ,.-/+"))


def _green_word(found: re.Match[str]) -> str:
    return {"vert": "g", "verde": "g", "of": ""}.get(found[0].casefold(), "points")


_DANGLING = frozenset(("at", "um", "a", "à", "ca", "approx", "about", "circa", "and", "und", "et", "alle"))


def _is_last(tokens: list[str], i: int) -> bool:
    return not any(any(c.isalnum() for c in t) for t in tokens[i + 1 :])


def kept_after(tokens: list[str], i: int) -> bool:
    """Whether a small number stands before a word, as in ``3 tubes``."""
    return i + 1 < len(tokens) and any(c.isalpha() for c in tokens[i + 1])


def _goes_on(first: str, last: str) -> bool:
    """Whether ``last`` continues the numbers of stills from ``first``, a short one by its last digits."""
    if len(last) > len(first):
        return False
    end = last if len(last) == len(first) else first[: len(first) - len(last)] + last
    return 0 < int(end) - int(first) <= 300
