"""What one cell of a meter log may hold, and how it is read.

Each reader takes the text of a cell (never empty) and returns the value, or raises :class:`CellError` with
what is wanted. Numbers may be written with a decimal comma, a true minus sign, spaces or apostrophes between
thousands, and their unit.
"""

from __future__ import annotations

import datetime
import math
import re
import unicodedata

from lookdev.text import numbers
from lookdev.text.numbers import LUX_PER_FC

CCT_RANGE_K = (1000.0, 25000.0)
DUV_RANGE = 0.05
ILLUMINANCE_RANGE_LUX = (0.001, 1_000_000.0)

# CIPA DC-008-2023 (Exif 3.0), LightSource. Illuminants by their CIE CCT; fluorescents by the middle of the
# range that the standard gives; the rest: common practice.
BALANCE_PRESETS_K: dict[str, float] = {
    "daylight": 5500.0,
    "tungsten": 3200.0,
    "tungsten incandescent light": 3200.0,
    "incandescent light": 3200.0,
    "flash": 5500.0,
    "fine weather": 5500.0,
    "cloudy weather": 6500.0,
    "cloudy": 6500.0,
    "shade": 7500.0,
    "daylight fluorescent": 6400.0,
    "day white fluorescent": 5050.0,
    "cool white fluorescent": 4150.0,
    "white fluorescent": 3525.0,
    "warm white fluorescent": 2925.0,
    "standard light a": 2856.0,
    "standard light b": 4874.0,
    "standard light c": 6774.0,
    "d55": 5503.0,
    "d65": 6504.0,
    "d75": 7504.0,
    "d50": 5003.0,
    "iso studio tungsten": 3200.0,
    **dict.fromkeys(("tageslicht", "lumière du jour", "luz de día", "luz día", "luce diurna"), 5500.0),
    **dict.fromkeys(("kunstlicht", "glühlampe", "tungstène", "tungsteno", "incandescente"), 3200.0),
    **dict.fromkeys(("bewölkt", "wolkig", "nuageux", "nublado", "nuvoloso"), 6500.0),
    **dict.fromkeys(("schatten", "ombre", "sombra", "ombra"), 7500.0),
}
AUTOMATIC = (
    "auto", "awb", "automatic", "auto white balance", "automatic balance", "auto wb",
    "automatisch", "automatik", "automatique", "automático", "automatico",
)  # fmt: skip
TAKEN_OUT, ESTIMATED = "neutralised", "estimate"
"""What may be said of automatic balance: it took all of the cast out; or what it left is to be estimated."""
OF_AUTOMATIC = {
    **dict.fromkeys(("neutralised", "neutralized", "auto neutralised", "auto neutralized"), TAKEN_OUT),
    **dict.fromkeys(("estimate", "estimated", "auto estimate", "auto estimated"), ESTIMATED),
}
EMPTY = ("", "-", "–", "—", "--", "n/a", "na", "none", "nil", "?", "n.a.")


class CellError(ValueError):
    """A cell cannot be read: ``problem`` in words, ``wanted`` what would be."""

    def __init__(self, problem: str, wanted: str) -> None:
        super().__init__(problem)
        self.problem, self.wanted = problem, wanted


def is_empty(text: str) -> bool:
    """Whether a cell says that there is nothing: empty, a dash, ``n/a``, ``?``."""
    return text.strip().casefold() in EMPTY


_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)


def number(text: str, wanted: str) -> float:
    """A finite number as typed.

    >>> number("0,3127", "x"), number("5 600", "kelvin"), number("\\u22120.0021", "duv")
    (0.3127, 5600.0, -0.0021)
    """
    plain = unicodedata.normalize("NFKC", text).strip().replace("\N{MINUS SIGN}", "-")
    plain = plain.replace("\N{EN DASH}", "-").replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    plain = re.sub(r"(?<=\d)[ '](?=\d{3}(\D|$))", "", plain)
    if "," in plain:
        if "." in plain:
            first, last = sorted(",.", key=plain.rindex)
            plain = plain.replace(first, "").replace(last, ".") if plain.count(last) == 1 else plain
        elif plain.count(",") == 1:
            plain = plain.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        raise CellError("not a number", wanted)
    value = float(plain)
    if not math.isfinite(value):
        raise CellError("not a finite number", wanted)
    return value


def within(value: float, low: float, high: float, wanted: str) -> float:
    """``value`` if it lies from ``low`` to ``high``."""
    if not low <= value <= high:
        raise CellError("out of range", wanted)
    return value


def cct(text: str) -> float:
    """Kelvin from 1000 to 25,000: ``3200``, ``3200K``, ``5,600``."""
    low, high = CCT_RANGE_K
    wanted = f"kelvin from {low:.0f} to {high:.0f}"
    plain = re.sub(r"\s*°?\s*k(elvin)?\.?\s*$", "", text.strip(), flags=re.IGNORECASE)
    thousands = re.fullmatch(r"(\d{1,2}[.,]\d{1,2})\s*k(k|elvin)?", text.strip(), re.IGNORECASE)
    if thousands is not None:  # 5.6k
        return within(number(thousands[1], wanted) * 1000, low, high, wanted)
    if re.fullmatch(r"\d{1,2}[,.]\d{3}", plain):
        plain = plain.replace(",", "").replace(".", "")
    value = number(plain, wanted)
    if not low <= value <= high:
        if 1000 <= value * 1000 <= 25000 and value < 25.5:
            raise CellError("out of range", f"{wanted}: {value * 1000:.0f} for {text.strip()}")
        raise CellError("out of range", wanted)
    return value


def duv(text: str) -> float:
    """Distance from the Planckian locus in CIE 1960 u, v; positive is the green side."""
    wanted = f"Duv from -{DUV_RANGE} to {DUV_RANGE} (farther off the locus give x and y)"
    return within(number(text, wanted), -DUV_RANGE, DUV_RANGE, wanted)


DUV_PER_POINT = 0.0008
"""Duv of one point of green, by common practice: a point is a density of 0.01 in colour compensating filters,
and one of green before illuminant A moves its light by 0.0008 (worked out with a block dye, 500 to 600 nm;
daylight and tubes move by up to half as much again). A full plus or minus green gel counts as 30 points."""

FULL_GEL_POINTS = 30.0
_POINTS = re.compile(
    r"(?:cc\s*)?(?:(?P<sign>[+-]?)\s*(?P<n>\d+(?:\.\d+)?)\s*(?:cc|pts?|points?)?\s*(?P<side>[gm])[a-zü]*"
    r"|(?P<sign2>[+-]?)\s*(?P<side2>[gm])\s*(?P<n2>\d+(?:\.\d+)?)|(?P<bare>[+-]?\d+(?:\.\d+)?))",
    re.IGNORECASE,
)


def green_points(text: str, bare_is_green: bool = True) -> float:
    """Points of green, negative for magenta: ``+8M``, ``G5``, ``5 green``; a bare number's sign is green's.

    The letter is the side on which the light lies.

    >>> green_points("+8M"), green_points("G5"), green_points("-3")
    (-8.0, 5.0, -3.0)
    """
    wanted = "points of green or magenta up to 60, such as 8M or 5G"
    plain = text.strip().replace("\N{MINUS SIGN}", "-").replace(",", ".")
    found = _POINTS.fullmatch(plain)
    if found is None:
        raise CellError("not points of green or magenta", wanted)
    if found["bare"] is not None:
        value = float(found["bare"])
        if value and not bare_is_green:
            raise CellError("green or magenta?", wanted)
    else:
        value = float(found["n"] or found["n2"])
        if (found["side"] or found["side2"]).casefold() == "m":
            value = -value
        if (found["sign"] or found["sign2"]) == "-":
            value = -value
    return within(value, -60.0, 60.0, wanted)


def duv_of_points(points: float) -> tuple[float, str]:
    """Duv of points of green, and by which convention, in words.

    >>> duv_of_points(-8)
    (-0.0064, '8 points of magenta taken as Duv −0.0064 (0.0008 a point, common practice)')
    """
    value = points * DUV_PER_POINT
    side = "green" if points >= 0 else "magenta"
    words = f"{abs(points):g} points of {side} taken as {numbers.duv(value)} "
    words += f"({DUV_PER_POINT:g} a point, common practice)"
    return round(value, 6), words


def chromaticity(text: str) -> float:
    """One CIE 1931 coordinate, over 0 and under 1."""
    wanted = "a CIE 1931 chromaticity between 0 and 1"
    value = number(text, wanted)
    if not 0 < value < 1:
        raise CellError("out of range", wanted)
    return value


def illuminance(text: str, unit: str) -> float:
    """Lux of a cell in a ``unit`` column ("lux" or "fc"); a unit in the cell itself rules.

    >>> illuminance("1.2 klx", "lux"), round(illuminance("100", "fc"))
    (1200.0, 1076)
    """
    low, high = ILLUMINANCE_RANGE_LUX
    wanted = "lux over 0, up to 1000000" if unit == "lux" else "foot-candles over 0, up to 92903"
    match = re.fullmatch(
        r"(.*?)\s*(klx|klux|lux|lx|fc|ft-?c|foot-?candles?)?\.?", text.strip(), re.IGNORECASE | re.DOTALL
    )
    assert match is not None
    plain, own = match.group(1), (match.group(2) or unit).casefold()
    if re.fullmatch(r"\d{1,3}(,\d{3})+", plain):
        if plain.count(",") == 1:
            raise CellError(
                "could mean two numbers", plain.replace(",", "") + " or " + plain.replace(",", ".")
            )
        plain = plain.replace(",", "")
    scale = 1000.0 if own.startswith("k") else 1.0 if own.startswith("l") else LUX_PER_FC
    return within(number(plain, wanted) * scale, low, high, wanted)


def camera_balance(text: str) -> tuple[float | None, str]:
    """Kelvin that the camera was set to, and where that number is from; None for automatic balance.

    A preset is known by its name in the Exif standard (LightSource); its kelvin is common practice. Of
    automatic balance one can say that it took all of the cast out (``neutralised``), or ask for an estimate.

    >>> camera_balance("5600K"), camera_balance("Tungsten"), camera_balance("auto")
    ((5600.0, 'as set'), (3200.0, 'preset tungsten: 3200 K by common practice'), (None, 'automatic'))
    """
    word = " ".join(re.sub(r"[_()\-/]+", " ", text.casefold()).split())
    if word in AUTOMATIC:
        return None, "automatic"
    if word in OF_AUTOMATIC:
        return None, OF_AUTOMATIC[word]
    if word in BALANCE_PRESETS_K:
        kelvin = BALANCE_PRESETS_K[word]
        origin = "CIE" if word.startswith(("standard", "d5", "d6", "d7")) else "common practice"
        return kelvin, f"preset {word}: {numbers.kelvin(kelvin)} by {origin}"
    wanted = (
        "kelvin from 1000 to 25000, auto, neutralised, estimate, or an Exif preset such as daylight, "
        "tungsten, cloudy, shade"
    )
    try:
        return cct(text), "as set"
    except CellError as error:
        raise CellError(error.problem, wanted) from None


Box = tuple[int, int, int, int]
GREY_THINGS = ("chart", "colour chart", "color chart", "card", "grey card", "gray card")
_FIELD = r"([a-x])\s*(1[0-6]|[1-9])"
_FIELDS = re.compile(rf"{_FIELD}(?:\s*[-:\N{{EN DASH}}]\s*{_FIELD})?")


def grey_box(text: str) -> Box | str:
    """Where a grey patch is: ``x, y, w, h`` in pixels of the upright still, fields of the contact page's grid
    (:mod:`lookdev.survey.patch`), or ``chart`` for the 24-patch chart or grey card found in the still.

    >>> grey_box("1200, 840, 64, 64"), grey_box("f5"), grey_box("F5 - G6"), grey_box("Colour chart")
    ((1200, 840, 64, 64), 'F5', 'F5-G6', 'chart')
    """
    wanted = (
        'four whole numbers "x,y,w,h" in pixels, a field of the contact page such as F5 or F5-G6, or chart'
    )
    word = " ".join(text.casefold().split())
    if word in GREY_THINGS:
        return "chart"
    fields = _FIELDS.fullmatch(word)
    if fields is not None:
        first, last = "".join(fields.group(1, 2)).upper(), "".join(fields.group(3, 4) if fields[3] else ())
        return f"{first}-{last.upper()}" if last else first
    return pixel_box(text, wanted)


def pixel_box(text: str, wanted: str = 'four whole numbers "x,y,w,h" in pixels, w and h over 0') -> Box:
    """``x, y, w, h`` in pixels of the upright still.

    >>> pixel_box("1200, 840, 64, 64")
    (1200, 840, 64, 64)
    """
    parts = [p for p in re.split(r"[,;\s]+", text.strip()) if p]
    if len(parts) != 4 or not all(re.fullmatch(r"\d{1,6}", p, re.ASCII) for p in parts):
        raise CellError("not a patch", wanted)
    x, y, w, h = (int(p) for p in parts)
    if w < 1 or h < 1:
        raise CellError("a patch without area", wanted)
    return x, y, w, h


_CLOCKS = tuple(
    re.compile(pattern, re.IGNORECASE | re.ASCII)
    for pattern in (
        r"(?P<h>\d{1,2})[:.h](?P<m>\d{2})([:.]\d{2}(\.\d+)?)?\s*((?P<half>[ap])\.?m?\.?)?",
        r"(?P<h>\d{1,2}) ?h",
        r"(?P<h>\d{1,2})\s*(?P<half>[ap])\.?m\.?",
        r"(?P<h>\d{1,2})(?P<m>\d{2})",
    )
)


def clock(text: str) -> str:
    """A time of day as ``HH:MM``, from ``17:05``, ``5:05 pm``, ``17h05``, ``1705``, or an ISO date and time.

    >>> clock("5.05 PM"), clock("2031-03-04T17:05:00"), clock("0630")
    ('17:05', '17:05', '06:30')
    """
    wrong = CellError("not a time of day", "a time of day such as 17:05")
    plain = re.sub(r"^\d{4}[-/.]\d{1,2}[-/.]\d{1,2}[T ]+", "", text.strip(), flags=re.ASCII)
    plain = re.sub(r"\s*(uhr|hrs?)\.?$", "", plain, flags=re.IGNORECASE)
    match = next((m for m in (c.fullmatch(plain) for c in _CLOCKS) if m), None)
    if match is None:
        raise wrong
    parts = match.groupdict()
    hour, minute, half = int(parts["h"]), int(parts.get("m") or 0), (parts.get("half") or "").casefold()
    if half:
        if not 1 <= hour <= 12:
            raise wrong
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour > 23 or minute > 59:
        raise wrong
    return f"{hour:02d}:{minute:02d}"


_MONTHS = (
    ("jan", "jän", "gen", "ene"), ("feb", "fév", "fev"), ("mar", "mär", "mrz"), ("apr", "avr", "abr"),
    ("may", "mai", "mag"), ("jun", "juin", "giu"), ("jul", "juil", "lug"), ("aug", "aoû", "aou", "ago"),
    ("sep", "set"), ("oct", "okt", "ott"), ("nov",), ("dec", "dez", "déc", "dic"),
)  # fmt: skip
MONTH_WORD = "(?:" + "|".join(start for month in _MONTHS for start in month) + r")[a-zà-ÿ]*"
_DATES = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})(?:[T ].*)?",
        r"(?P<d>\d{1,2})[./-](?P<m>\d{1,2})[./-](?P<y>\d{4}|\d{2})",
        r"(?P<d>\d{1,2})\.(?P<m>\d{1,2})\.",
        rf"(?P<d>\d{{1,2}})(?:\.|st|nd|rd|th|er|º|°)?(?: de)? (?P<word>{MONTH_WORD})\.?,?"
        r"(?:(?: de)? (?P<y>\d{4}))?",
        rf"(?P<word>{MONTH_WORD})\.? (?P<d>\d{{1,2}})(?:st|nd|rd|th)?,?(?: (?P<y>\d{{4}}))?",
    )
)


def day(text: str) -> str:
    """A date as ``YYYY-MM-DD``, or ``MM-DD`` without a year; day before month, as most of the world types it.

    >>> day("4 March 2031"), day("4.3.31"), day("2031-03-04"), day("4. März")
    ('2031-03-04', '2031-03-04', '2031-03-04', '03-04')
    """
    plain = " ".join(text.split())
    match = next((m for m in (d.fullmatch(plain) for d in _DATES) if m), None)
    wrong = CellError("not a date", "a date such as 2031-03-04")
    if match is None:
        raise wrong
    parts = match.groupdict()
    if parts.get("word"):
        word = parts["word"].casefold()
        month = (
            max(range(12), key=lambda i: max((len(s) for s in _MONTHS[i] if word.startswith(s)), default=0))
            + 1
        )
    else:
        month = int(parts["m"])
    date = int(parts["d"])
    if month > 12 and date <= 12:
        month, date = date, month
    year = parts.get("y")
    full = 2000 if year is None else int(year) + (2000 if len(year) == 2 else 0)  # 2000: a leap year
    try:
        datetime.date(full, month, date)
    except ValueError:
        raise wrong from None
    return f"{month:02d}-{date:02d}" if year is None else f"{full:04d}-{month:02d}-{date:02d}"


ROLES = {
    "key light": "key", "keylight": "key", "main": "key", "main light": "key", "k": "key",
    "fill light": "fill", "filllight": "fill", "f": "fill",
    "führung": "key", "führungslicht": "key", "aufhellung": "fill", "aufheller": "fill", "principal": "key",
    "luz principal": "key", "relleno": "fill", "principale": "key", "luce principale": "key", "chiave": "key",
    "riempimento": "fill", "débouchage": "fill", "clé": "key",
}  # fmt: skip


def role(text: str) -> str:
    """What the light does there, in lower case: key, fill, or any other word."""
    word = " ".join(text.casefold().split())
    return ROLES.get(word, word)


def patterns(text: str) -> tuple[str, ...]:
    """Names and globs of stills, separated by ``;``, ``,`` or ``|``, or by spaces where each is whole.

    >>> patterns("loft_01.jpg; loft_0[2-4].*"), patterns("my loft.jpg"), patterns("a.jpg b_*")
    (('loft_01.jpg', 'loft_0[2-4].*'), ('my loft.jpg',), ('a.jpg', 'b_*'))
    """
    whole = (name for part in re.split(r"[;,|\n]+", text) for name in _spaced(part))
    parts = (_dashed(p.strip()).replace("\\", "/").removeprefix("./") for p in whole)
    return tuple(p + "*" if p.endswith("/") else p for p in parts if p)


def _dashed(name: str) -> str:
    """A range's long dash as a plain one."""
    return re.sub(r"(?<=\d)[\N{EN DASH}\N{EM DASH}](?=\d|[A-Za-z])", "-", name)


def _spaced(text: str) -> list[str]:
    """The words of ``text`` if each ends as a still's name does, or holds a ``*``; else all of it as one."""
    words = text.split()
    if len(words) < 2:
        return [text]
    from lookdev.stills.formats import STILL_SUFFIXES

    if re.fullmatch(r"\S*\d ?(-|\.\.|to|bis) ?\S*\d", text.strip()):  # 2041 - 2044
        return ["-".join(w for w in re.split(r" ?(?:-|\.\.|\bto\b|\bbis\b) ?", text.strip()) if w)]
    whole = all(
        "*" in word
        or re.fullmatch(r"\S+@[\d:.]+s?", word)
        or word.casefold().endswith(tuple(STILL_SUFFIXES))
        or re.fullmatch(r"#?\d[\d-]+", word)
        for word in words
    )
    return words if whole else [text]
