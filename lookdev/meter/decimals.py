"""Which mark is the decimal one: decided once for a whole file, never cell by cell.

``3.994`` and ``1.310`` in a file of decimal commas are 3994 and 1310. What a file tells by itself: a number
that begins with 0 or with its mark (``0,384``, ``.534``), or one whose mark stands before other than three
digits (``42.5``), shows its decimal mark; ``1.234.567`` or ``1.234,5`` shows the mark of its thousands.
``1.310`` alone shows nothing.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

RUN = re.compile(r"(?<![\w.,])[+-]?(?:\d[\d., ']*\d|\d|[.,]\d+)(?![\d])")
_TRIPLE = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
OTHER = {".": ",", ",": "."}
WORDS = {".": "decimal points", ",": "decimal commas"}


@dataclass(frozen=True)
class Marks:
    """What a file's numbers are written with.

    Attributes
    ----------
    decimal : "." or ",", or None where nothing tells.
    because : why, in words, where it was not plain from the file.
    both : an example of each mark where the file has both, else ().
    """

    decimal: str | None = None
    because: str = ""
    both: tuple[str, ...] = ()


def tidy(text: str) -> str:
    """A number's text with plain digits, minus and apostrophe, and no space between thousands.

    >>> tidy("\\u22121\\u202f310,5"), tidy("1’310")
    ('-1310,5', '1310')
    """
    plain = unicodedata.normalize("NFKC", text).strip().replace("\N{MINUS SIGN}", "-")
    plain = plain.replace("\N{EN DASH}", "-").replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    return re.sub(r"(?<=\d)[ '](?=\d{3}(\D|$))", "", plain)


def mark_of(run: str) -> str | None:
    """The decimal mark that one number shows by itself, or None.

    >>> mark_of("0,384"), mark_of("1.310"), mark_of("42.5"), mark_of("1.310,5"), mark_of("1.234.567")
    (',', None, '.', ',', ',')
    """
    found = re.sub(r"[^\d.,]", "", run)
    dots, commas = found.count("."), found.count(",")
    if dots and commas:
        last = max(".,", key=found.rindex)
        return last if found.count(last) == 1 else None
    if dots > 1 or commas > 1:
        mark = "." if dots else ","
        return OTHER[mark] if re.fullmatch(r"\d{1,3}([.,]\d{3})+", found) else None
    if not dots and not commas:
        return None
    mark = "." if dots else ","
    whole, part = found.split(mark)
    return mark if len(part) != 3 or whole in ("", "0") or whole.startswith("0") or len(whole) > 3 else None


def is_open(text: str) -> bool:
    """Whether a number could be a thousand as well as one and a bit: ``1,310``, ``3.994``."""
    return _TRIPLE.fullmatch(tidy(text)) is not None


def decide(numbers: Iterable[str], kelvins: Iterable[str] = ()) -> Marks:
    """The decimal mark of a file.

    Parameters
    ----------
    numbers : every number of the file as typed, units off.
    kelvins : those that are colour temperatures: what neither mark decides, they do, for 3.994 K is no light.

    Examples
    --------
    >>> decide(["3.994", "0,384"]).decimal, decide(["1.310"]).decimal, decide(["1.310"], ["3.994"]).decimal
    (',', None, ',')
    """
    shown: dict[str, str] = {}
    for text in numbers:
        mark = mark_of(tidy(text))
        if mark is not None:
            shown.setdefault(mark, text)
    if len(shown) == 2:
        return Marks(None, both=(shown["."], shown[","]))
    if shown:
        return Marks(next(iter(shown)))
    for text in kelvins:
        if is_open(text):
            mark = OTHER["." if "." in text else ","]
            return Marks(mark, f"{text} K is no light, so '{OTHER[mark]}' stands between thousands here")
    return Marks()


def readings_of(text: str) -> tuple[str, str]:
    """Both numbers that an open one could be: (thousands, decimal).

    >>> readings_of("1,310")
    ('1310', '1.310')
    """
    plain = tidy(text)
    return re.sub(r"[.,]", "", plain), plain.replace(",", ".")


def plain_number(text: str, marks: Marks) -> str | None:
    """A number's text with a decimal point and no thousands, by the file's marks; None where it stays open.

    >>> plain_number("1.310", Marks(",")), plain_number("1.310", Marks(".")), plain_number("1.310", Marks())
    ('1310', '1.310', None)
    """
    plain = tidy(text)
    own = mark_of(plain)
    if own is None and is_open(plain):
        if marks.decimal is None:
            return None
        own = marks.decimal
    if own is None:
        return plain
    return plain.replace(OTHER[own], "").replace(own, ".")
