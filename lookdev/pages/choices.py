"""A director's choices, as they come back: a text that was mailed, pasted or saved.

One line a place, in the words of the pitch, with the fingerprint of the look as it was shown; below it, if
there are any, a line of words::

    Choices for Low Ferry
    LOADING DOCK 3 · SLACK WATER · 39793fb37233
        words: a little less cold

Mail programs quote, wrap, change spaces and dashes, and put words around it: all of that is lived with. What
is not understood is given back, line by line.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from lookdev.pages.pitch_model import NOT_CHOSEN, PitchLook, folded

FILE_HEAD = "# What was chosen. lookdev batch, sheet and handoff take this file: --choices choices.toml\n"

_SEPARATOR = re.compile(r"\s*(?:·|•|\||;|\t|\s[-–—]\s|:)\s*")
_FINGERPRINT = re.compile(r"^[0-9a-f]{12}$")
_QUOTE = re.compile(r"^[\s>|]*")
_WORDS = re.compile(r"^words?\s*:\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Choice:
    """One place's choice: ``place`` and ``look`` by their codes (``look`` None: none yet), what was said, and
    the look's fingerprint where the text has one. ``changed`` : the look's parameters changed since."""

    place: str
    look: str | None
    words: str = ""
    fingerprint: str = ""
    changed: bool = False


@dataclass(frozen=True)
class Choices:
    """What was understood, a choice a place (the last one said counts), and the lines that were not."""

    choices: tuple[Choice, ...]
    not_understood: tuple[str, ...] = ()


def read_choices(text: str, places: Sequence[str], looks: Sequence[PitchLook]) -> Choices:
    """The choices in a text, for the places and looks of a pitch by their codes.

    A look is known by its code or title; where the fingerprint in the text is another one's than that look
    has now, the choice says that it changed. A fingerprint alone is enough where the name is not known.

    >>> look = PitchLook("Slack water", "", "SLACK WATER", "39793fb37233")
    >>> read_choices("> dock · slack water", ["DOCK"], [look]).choices
    (Choice(place='DOCK', look='SLACK WATER', words='', fingerprint='', changed=False),)
    """
    by_place = {folded(code): code for code in places}
    by_look = {folded(name): look for look in looks for name in (look.title, look.code)}
    by_fingerprint = {look.fingerprint: look for look in looks}
    found: dict[str, Choice] = {}
    strange: list[str] = []
    here: str | None = None
    for raw in text.replace("\r", "\n").split("\n"):
        line = " ".join(
            _QUOTE.sub("", unicodedata.normalize("NFC", raw)).replace("\N{NO-BREAK SPACE}", " ").split()
        )
        if not line or line.casefold().startswith("choices for"):
            continue
        if _WORDS.match(line):
            if here is None:
                strange.append(line)
            else:
                found[here] = replace(found[here], words=_WORDS.sub("", line))
            continue
        choice = _choice(line, by_place, by_look, by_fingerprint)
        if choice is not None:
            here = choice.place
            found.pop(here, None)
            found[here] = choice
        elif here is not None and found[here].words and raw[:1].isspace():
            found[here] = replace(found[here], words=f"{found[here].words} {line}")  # a line that mail broke
        else:
            strange.append(line)
    order = {code: at for at, code in enumerate(places)}
    return Choices(tuple(sorted(found.values(), key=lambda c: order[c.place])), tuple(strange))


def _choice(
    line: str,
    by_place: dict[str, str],
    by_look: dict[str, PitchLook],
    by_fingerprint: dict[str, PitchLook],
) -> Choice | None:
    parts = [part for part in _SEPARATOR.split(line) if part]
    if len(parts) < 2 or folded(parts[0]) not in by_place:
        return None
    place = by_place[folded(parts[0])]
    printed = parts[-1].lower() if _FINGERPRINT.match(parts[-1].lower()) else ""
    named = " ".join(parts[1:-1] if printed else parts[1:])
    if folded(named) == folded(NOT_CHOSEN):
        return Choice(place, None)
    look = by_look.get(folded(named)) or by_fingerprint.get(printed)
    if look is None:
        return None
    return Choice(
        place, look.code, fingerprint=printed, changed=bool(printed) and printed != look.fingerprint
    )


def named_looks(text: str, places: Sequence[str]) -> list[tuple[str, str]]:
    """What looks a text names for places, known or not: name and fingerprint, "" where it gives none."""
    by_place = {folded(code) for code in places}
    found: dict[str, str] = {}
    for raw in text.splitlines():
        line = " ".join(_QUOTE.sub("", raw).replace("\N{NO-BREAK SPACE}", " ").split())
        parts = [part for part in _SEPARATOR.split(line) if part]
        if len(parts) < 2 or folded(parts[0]) not in by_place:
            continue
        seen = parts[-1].lower() if _FINGERPRINT.match(parts[-1].lower()) else ""
        name = " ".join(parts[1:-1] if seen else parts[1:])
        if name and folded(name) != folded(NOT_CHOSEN):
            found.setdefault(name, seen)
    return list(found.items())


def choices_toml(title: str, choices: Sequence[Choice], places: Mapping[str, str]) -> str:
    """choices.toml; ``places`` are names by code.

    >>> made = [Choice("DOCK", "SLACK WATER", "", "39793fb37233")]
    >>> print(choices_toml("Low Ferry", made, {"DOCK": "Dock"}))
    # What was chosen. lookdev batch, sheet and handoff take this file: --choices choices.toml
    title = "Low Ferry"
    <BLANKLINE>
    [[choice]]
    place = "DOCK"
    location = "Dock"
    look = "SLACK WATER"
    fingerprint = "39793fb37233"
    <BLANKLINE>
    """
    import tomlkit

    entries = []
    for choice in choices:
        values = {
            "place": choice.place,
            "location": places.get(choice.place, ""),
            "look": choice.look or "",
            "fingerprint": choice.fingerprint,
            "words": choice.words,
        }
        entries.append({key: value for key, value in values.items() if value})
    whole = {"title": title, "choice": entries}
    return FILE_HEAD + tomlkit.dumps(whole if entries else {"title": title})


def as_mailed(text: str) -> str:
    """The text of a choices.toml as the page would have written it; any other text as it is.

    Raises
    ------
    ValueError : it is meant to be a choices.toml and is none; the message says where.
    """
    from lookdev.errors import RequestError
    from lookdev.text.toml_in import parse_toml

    if not re.search(r"^\s*\[\[choice\]\]", text, re.MULTILINE):
        return text
    try:
        entries = parse_toml(text.lstrip("\N{BYTE ORDER MARK}"), RequestError).get("choice", [])
    except RequestError as error:
        raise ValueError(str(error)) from None
    found = []
    for entry in entries if isinstance(entries, list) else []:
        values = {k: str(v) for k, v in entry.items()} if isinstance(entry, dict) else {}
        found.append(
            Choice(
                values.get("place", ""), values.get("look") or None, values.get("words", ""),
                values.get("fingerprint", ""),
            )
        )  # fmt: skip
    return choices_text("", found)


def choices_text(title: str, choices: Sequence[Choice]) -> str:
    """Choices as the page writes them, for :func:`read_choices`."""
    lines = [f"Choices for {' '.join(title.split())}"]
    for choice in choices:
        parts = [choice.place, choice.look or NOT_CHOSEN, choice.fingerprint]
        lines.append(" · ".join(part for part in parts if part))
        if choice.words:
            lines.append(f"    words: {' '.join(choice.words.split())}")
    return "\n".join(lines) + "\n"
