"""Slips that people make in TOML, in words: a comma for the point, curly quotes, a unit after the number."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from lookdev.errors import LookdevError

_AT = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
_CURLY = "“”„‟‘’‚‛«»‹›"
_KEY = re.compile(r"""\s*(?P<key>(?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*""")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+(?:\s*\.\s*[A-Za-z0-9_-]+)*")
_UNITS = "°|K|k|EV|stops?|fps|s|mired|M|lx|lux|Hz|mm"
_LONGEST = 300
"""Characters of a line beyond which no slip is looked for: no person typed it."""

Slip = tuple[str, str | None, str | None]
"""What is wrong, what stands there, what is wanted."""


def in_words(
    text: str, message: str, error: type[LookdevError], name: str | Path | None = None
) -> LookdevError:
    """The error for TOML text that tomllib refuses with ``message``: the line, and the slip if known."""
    lines = text.split("\n")
    at = _AT.search(message)
    last = max((i for i, line in enumerate(lines, 1) if line.strip()), default=1)
    number = min(int(at[1]), len(lines)) if at and at[1] else last
    plain = _AT.sub("", message)
    twice = _twice(lines[number - 1], plain)
    if twice is not None:
        return error(twice[0], file=name, line=number, found=twice[1], wanted=twice[2])
    for quotes in ('"""', "'''"):
        if text.count(quotes) % 2:
            opened = text[: text.rindex(quotes)].count("\n") + 1
            return error(
                "quotes that are not closed",
                file=name,
                line=opened,
                found=quotes,
                wanted=f"{quotes} at its end",
            )
    above = next((i for i in range(number - 1, 0, -1) if lines[i - 1].strip()), number)
    for place in (number, above):  # what is not closed on a line is noticed on the next
        slip = slip_of(lines[place - 1])
        if slip is not None:
            return error(slip[0], file=name, line=place, found=slip[1], wanted=slip[2])
    return error(f"is not TOML: {plain[:1].lower() + plain[1:]}", file=name, line=number if at else None)


def _twice(line: str, message: str) -> Slip | None:
    if not message.startswith(("Cannot overwrite", "Cannot declare", "Cannot mutate", "Duplicate")):
        return None
    heading = re.match(r"\s*(\[{1,2}[^\]]*\]{1,2})", line)
    if heading:
        return "this heading stands twice", heading[1], "one heading with all its keys under it"
    key = _KEY.match(line)
    return "this key stands twice", key["key"] if key else None, "each key once"


def slip_of(line: str) -> Slip | None:
    """What is wrong in one line of TOML, what stands there, and what is wanted; None if no slip is known.

    >>> slip_of("stops = −0,3")
    ('a comma for the point, and a minus sign that is none of the keyboard', '−0,3', 'stops = -0.3')
    >>> slip_of("title = “Slack water”")
    ('curly quotes', '“Slack water”', 'title = "Slack water"')
    >>> slip_of("hue = 5B")
    ('text without quotes', '5B', 'hue = "5B"')
    """
    body = _without_comment(line)
    if not body or len(body) > _LONGEST or not body.isprintable():
        return None
    if body.startswith("["):
        return _heading_slip(body)
    if body.startswith(("//", ";", "/*", "%", "--")):
        return "a comment begins with #", body, "# " + body.lstrip("/;*%- ")
    key, equals, value = (part.strip() for part in body.partition("="))
    if equals and "{" in key and key[0] not in "\"'":
        return "no equals sign before the brace", body, f"{body.partition('{')[0].strip()} = {{ … }}"
    if value.startswith("="):
        return "two equals signs", body, f"{key} = {value.lstrip('= ')}"
    if not equals:
        return _no_equals(body)
    curly = key[:1] in _CURLY and key[:1] != ""
    if not key:
        return "a value without a key", body, "key = value"
    if not curly and key[0] not in "\"'" and not _BARE_KEY.fullmatch(key):
        joined = re.sub(r"[^\w.-]+", "_", key).strip("_")
        if _BARE_KEY.fullmatch(joined):
            return "a key is one word", key, f"{joined} = {value}".strip()
        return "a key in quotes, as it holds other letters than a to z", key, f'"{key}" = {value}'.strip()
    if curly:
        return "curly quotes", key, f'"{_uncurled(key)}" = {value}'
    if not value:
        return "no value after the equals sign", None, f"{key} = a value"
    return _value_slip(key, value)


def _without_comment(line: str) -> str:
    quote = ""
    for i, char in enumerate(line):
        if quote:
            quote = "" if char == quote else quote
        elif char in "\"'":
            quote = char
        elif char == "#":
            return line[:i].strip()
    return line.strip()


def _uncurled(text: str) -> str:
    return text.strip(_CURLY + "\"' ")


def _heading_slip(body: str) -> Slip | None:
    double = body.startswith("[[")
    inside = body.strip("[] \t")
    wanted = f"[[{inside}]]" if double else f"[{inside}]"
    if body == wanted:
        if not inside:
            return "a heading without a name", body, "such as [curve]"
        return None if _BARE_KEY.fullmatch(inside) else ("a heading is one word", body, "such as [curve]")
    if "=" in body and "]" in body:
        return "more on the line of a heading", body, "the heading on a line of its own"
    return "a heading that is not closed", body, wanted


def _no_equals(body: str) -> Slip | None:
    if _CURLY.find(body[0]) >= 0 or body[0] in "\"'{}],":
        return None
    if body.endswith("]") and _BARE_KEY.fullmatch(body[:-1]):
        return "a heading that is not opened", body, f"[{body[:-1]}]"
    match = re.match(r"([\w.-]+)\s*:=?\s*(.*)|([\w.-]+)\s+(\S.*)", body)
    key, value = (match[1] or match[3], match[2] or match[4]) if match else (body, "")
    if not value:
        return "a word alone", body, f"{key.rstrip(':')} = a value, or [{key.rstrip(':')}] for a heading"
    return "no equals sign", body, f"{key} = {_mended(value) or value}"


def _value_slip(key: str, value: str) -> Slip | None:
    opens = value[0]
    if opens in _CURLY or (opens not in "\"'" and value[-1] in _CURLY):
        return "curly quotes", value, f'{key} = "{_uncurled(value)}"'
    if opens in "\"'":
        return _quoted_slip(key, value)
    if opens in "[{":
        return _list_slip(key, value)
    if value[-1] in ",;":
        return f"a {'comma' if value[-1] == ',' else 'semicolon'} at the end of the line", value, "none"
    percent = re.fullmatch(r"([+-]?\d+(?:[.,]\d+)?)\s*%", value)
    if percent:
        share = float(percent[1].replace(",", ".")) / 100
        return "a percentage", value, f"{key} = {share!r}"
    thousands = re.fullmatch(r"([+-]?[1-9]\d{0,2}),(\d{3})", value)
    if thousands:
        whole, rest = thousands.groups()
        return "a comma in a number", value, f"{key} = {whole}{rest}, or {key} = {whole}.{rest}"
    mended = _mended(value)
    if mended is not None:
        return _what(value), value, f"{key} = {mended}"
    if value.casefold() in ("true", "false", "yes", "no", "on", "off"):
        word = "true" if value.casefold() in ("true", "yes", "on") else "false"
        return None if value == word else ("true and false in small letters", value, f"{key} = {word}")
    if _is_number(value) or re.fullmatch(r"[\d:TtZz.+ -]+", value):  # a number or a date as TOML has it
        return None
    return "text without quotes", value, f'{key} = "{value.strip(chr(34) + chr(39) + _CURLY)}"'


def _quoted_slip(key: str, value: str) -> Slip | None:
    quote = value[0]
    if value.startswith(quote * 3):
        return None
    inside = value[1:]
    if quote not in inside:
        rest = inside.rstrip(_CURLY + "\"'")
        return "a quote that is not closed", value, f"{key} = {quote}{rest}{quote}"
    if quote == '"' and re.search(r'\\(?![btnfr"\\uU])', value):
        return "a backslash in double quotes", value, f"{key} = '{inside.rstrip(chr(34))}'"
    after = inside[inside.index(quote) + 1 :].strip()
    if after and "\\" not in inside:
        other = "'" if quote == '"' else '"'
        if value.endswith(quote) and other not in inside:
            return "quotes within quotes", value, f"{key} = {other}{inside[:-1]}{other}"
        return "more after the closing quote", after, "a comment after #, or nothing"
    return None


def _list_slip(key: str, value: str) -> Slip | None:
    if any(c in value for c in _CURLY):
        return "curly quotes", value, f"{key} = " + "".join('"' if c in _CURLY else c for c in value)
    if '"' in value or "'" in value:
        return _not_closed(key, value)
    mended = re.sub(r"(?<![\w.,;])([+-]?\d+),(\d+)(?![\w.])", r"\1.\2", value.replace("−", "-"))
    mended = re.sub(r"(?<![\w.])([+-]?)\.(\d)", r"\g<1>0.\2", mended)
    mended = re.sub(r"(\d)\.(?!\d)", r"\1.0", mended)
    mended = re.sub(r"\s*;\s*", ", ", mended)
    if mended != value:
        what = "a semicolon for the comma" if ";" in value else _what(value)
        return what, value, f"{key} = {mended}"
    quoted = re.sub(r"(?<=[\[,])\s*([^\W\d][^\[\]{},=]*)(?=[,\]])", r' "\1"', value).replace('[ "', '["')
    if quoted != value and not re.search(r"\b(true|false|inf|nan)\b", value):
        return "text without quotes", value, f"{key} = {quoted}"
    return _not_closed(key, value)


def _not_closed(key: str, value: str) -> Slip | None:
    for opens, closes, name in (("[", "]", "bracket"), ("{", "}", "brace")):
        missing = value.count(opens) - value.count(closes)
        if missing > 0:
            return f"a {name} that is not closed", value, f"{key} = {value.rstrip(', ')}{closes * missing}"
    return None


def _is_number(value: str) -> bool:
    """Whether TOML takes the text for a number."""
    try:
        tomllib.loads(f"x = {value}")
    except ValueError:
        return False
    return True


def _mended(value: str) -> str | None:
    """A number as TOML wants it, of one that was typed in another way; None if it is none, or is right."""
    text = value.replace("−", "-").replace("–", "-").replace("\u00a0", " ").replace("\u202f", " ").strip()
    match = re.fullmatch(rf"([+-]?)\s*(\d[\d ']*(?:[.,]\d*)*|[.,]\d+)\s*(?:{_UNITS})?", text)
    if match is None:
        return None
    sign, digits = match[1], re.sub(r"[ ']", "", match[2])
    if digits.count(",") + digits.count(".") > 1:
        last = max(digits.rfind(","), digits.rfind("."))
        if digits.count(digits[last]) > 1:
            return None
        digits = digits[:last].replace(",", "").replace(".", "") + "." + digits[last + 1 :]
    digits = digits.replace(",", ".")
    whole, point, rest = digits.partition(".")
    mended = f"{sign}{whole.lstrip('0') or '0'}" + (f".{rest or '0'}" if point else "")
    return mended if mended != value and _is_number(mended) else None


def _what(value: str) -> str:
    """What was typed in another way than TOML wants it."""
    said = []
    if re.search(r"\d,\d|(?<!\d),\d", value):
        said.append("a comma for the point")
    if "−" in value or "–" in value:
        said.append("a minus sign that is none of the keyboard")
    if re.search(r"(?<![\d.])\.\d", value):
        said.append("a number begins with a point")
    if re.search(r"\d\.(?!\d)", value):
        said.append("a number ends in a point")
    if re.search(r"(?<![\d.,])0\d", value):
        said.append("a number begins with a nought")
    if value[0] not in "[{" and re.search(r"[^\d\s.,+−–'-]", value):
        said.append("a unit after the number")
    if re.search(r"\d[ '\u00a0\u202f]\d", value):
        said.append("a gap in the number")
    return ", and ".join(said[:2]) or "not a number as TOML writes it"
