"""A director's choices come back: from a text to choices.toml, and into what is made next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.errors import RequestError, one_line
from lookdev.files import write_whole
from lookdev.jobs.common import Line, Tell, check_folder, unheard, writing
from lookdev.jobs.pitch_plan import acting_looks, called, place_codes
from lookdev.outputs import inputs_of, refuse_scout
from lookdev.pages.choices import Choice, as_mailed, choices_toml, named_looks, read_choices
from lookdev.pages.pitch_model import PitchLook, folded
from lookdev.survey.survey import Survey, survey

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout

FILE_NAME = "choices.toml"
MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class Settled:
    """Choices as they stand against a scout and looks.

    Attributes
    ----------
    choices : one a place.
    looks : by the place's code, the title of what was chosen, as it is called now.
    fingerprints : by the place's code, the first twelve digits of the chosen look as it is now.
    by_location : place in the list of looks by the location's name.
    names : of places, by code.
    warnings : what was not understood, and looks that changed since.
    """

    choices: tuple[Choice, ...] = ()
    looks: Mapping[str, str] = field(default_factory=dict)
    fingerprints: Mapping[str, str] = field(default_factory=dict)
    by_location: Mapping[str, int] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Who gets what, a line a place.

        >>> Settled((Choice("DOCK", "SLACK WATER", "colder"),), {"DOCK": "Slack water"},
        ...         names={"DOCK": "Loading dock"}).lines()
        ['chosen for Loading dock: Slack water ("colder")']
        """
        out = []
        for choice in self.choices:
            name = self.names.get(choice.place, choice.place)
            words = f' ("{choice.words}")' if choice.words else ""
            if choice.look is None:
                out.append(f"not chosen yet for {name}{words}")
                continue
            changed = ", whose parameters changed since" if choice.changed else ""
            out.append(f"chosen for {name}: {self.looks.get(choice.place, choice.look)}{changed}{words}")
        return out


def settle(surveyed: Survey, looks: Sequence[LookLike], text: str | None) -> Settled:
    """The choices in a text (as it was mailed, or a choices.toml) for a scout's places and these looks.

    Raises
    ------
    RequestError : there is no choice in it.
    """
    if text is None:
        return Settled()
    acting = acting_looks(looks)
    settled = _settled(surveyed, called(acting), _mailed(text))
    place_in_list = {look.fingerprint()[:12]: i for i, look in enumerate(looks)}
    by_location = {settled.names[code]: place_in_list[seen] for code, seen in settled.fingerprints.items()}
    return replace(settled, by_location=by_location)


def settle_for_one(surveyed: Survey, look: LookLike, text: str | None) -> Settled:
    """As :func:`settle`, where one look alone is at hand: the others are called as the text calls them.

    Raises
    ------
    RequestError : there is no choice in it.
    """
    if text is None:
        return Settled()
    mine, words = called([look])[0], _mailed(text)
    others = [
        PitchLook(name.capitalize(), "", name, seen)
        for name, seen in named_looks(words, list(place_codes(surveyed).values()))
        if folded(name) not in (folded(mine.code), folded(mine.title)) and seen != mine.fingerprint
    ]
    settled = _settled(surveyed, (mine, *others), words)
    here = {settled.names[code]: 0 for code, seen in settled.fingerprints.items() if seen == mine.fingerprint}
    if here:
        return replace(settled, by_location=here)
    return replace(settled, warnings=(*settled.warnings, f"choices: no place was given {look.title}"))


def _mailed(text: str) -> str:
    try:
        return as_mailed(text)
    except ValueError as error:
        raise RequestError(f"no choices.toml: {error}", key="--choices") from None


def _settled(surveyed: Survey, known: Sequence[PitchLook], text: str) -> Settled:
    codes = place_codes(surveyed)
    names = {code: name for name, code in codes.items()}
    found = read_choices(text, list(names), known)
    if not found.choices:
        raise RequestError(
            "no choice in this text",
            key="--choices",
            found=one_line(" ".join(text.split())[:80]),
            wanted=f"lines such as {next(iter(names), 'PLACE')} · {known[0].code}",
        )
    by_code = {look.code: look for look in known}
    chosen = {c.place: by_code[c.look] for c in found.choices if c.look is not None}
    warnings = [f"choices: not understood: {one_line(line)}" for line in found.not_understood]
    warnings += [
        f"choices: {chosen[c.place].title} changed since it was chosen for {names[c.place]}: "
        f"then {c.fingerprint}, now {chosen[c.place].fingerprint}"
        for c in found.choices
        if c.changed
    ]
    return Settled(
        found.choices,
        {code: look.title for code, look in chosen.items()},
        {code: look.fingerprint for code, look in chosen.items()},
        names=names,
        warnings=tuple(warnings),
    )


@dataclass(frozen=True)
class ChoicesRequest:
    """``text`` : as it was mailed, pasted or saved. ``out`` : folder for choices.toml."""

    scout: Scout
    looks: tuple[LookLike, ...]
    out: Path
    text: str
    reads: tuple[Path, ...] = ()


@dataclass(frozen=True)
class ChoicesResult:
    """``settled`` : what was understood. ``written`` : choices.toml."""

    settled: Settled
    written: Path


def run(request: ChoicesRequest, tell: Tell = unheard) -> ChoicesResult:
    """Write choices.toml into the output folder; nothing goes into the scout.

    Raises
    ------
    RequestError : there is no choice in the text, or the folder is the scout's.
    """
    refuse_scout(request.scout.folder, request.out)
    settled = settle(survey(request.scout), request.looks, request.text)
    check_folder(request.out)
    path = request.out / FILE_NAME
    with writing(
        request.out, inputs_of(request.scout, more=request.reads), [path], verb="choices", tell=tell
    ):
        known = [
            replace(c, fingerprint=c.fingerprint or settled.fingerprints.get(c.place, ""))
            for c in settled.choices
        ]
        write_whole(path, choices_toml(request.scout.title, known, settled.names))
    for line in settled.warnings:
        tell(Line(line))
    return ChoicesResult(settled, path)


def choices_from(path: Path | str | None) -> str | None:
    """The text of a file of choices, ``-`` for standard input; None without one.

    Raises
    ------
    RequestError : it cannot be read, or is far too long to be choices.
    """
    import sys

    from lookdev.files import read_ordinary

    if path is None:
        return None
    try:
        raw = sys.stdin.buffer.read(MOST_BYTES + 1) if str(path) == "-" else read_ordinary(Path(path))
    except OSError as error:
        raise RequestError(f"cannot be read: {error.strerror or error}", file=path, key="--choices") from None
    if len(raw) > MOST_BYTES:
        raise RequestError("far too long to be choices", file=path, key="--choices", wanted="choices.txt")
    encoding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    return raw.decode(encoding, "replace")
