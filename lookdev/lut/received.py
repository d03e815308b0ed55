"""A LUT or CDL that came in, standing in for a look; and the one door through which any look is opened.

A received .cube or .clf says little of its encodings, so they are given with it:
``theirs.cube@ACEScct:BT.709`` on the command line, or a small .toml beside the looks::

    cube = "theirs.cube@ACEScct:BT.709"
    title = "The answer of 3 March"

Other keys there: ``note``, ``answers`` (title of the look that it answers), ``keep`` (share of a still's
metered cast that stays before the LUT; 1, all of it, unless given), ``look`` (a look of ours beside the file,
which acts before the LUT: how a learned look and its rest are one). A .ccc or .cdl gives every correction in
it, ``theirs.ccc#ID`` one.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import LookdevError, LookError, RequestError
from lookdev.files import read_ordinary
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import LookLike, Pipeline, Transform
from lookdev.looks.shipped import shipped
from lookdev.looks.signal import signal
from lookdev.looks.stages.balance import Balance
from lookdev.looks.stages.base import Metered
from lookdev.looks.steps import Step, by_array
from lookdev.lut.cube import CubeLut, read_cube
from lookdev.lut.process_list import ProcessList, read_clf
from lookdev.text.toml_in import read_toml

CDL_SUFFIXES = (".cc", ".ccc", ".cdl")
LUT_SUFFIXES = (".cube", ".clf")
_ONE_OF_A_CDL = re.compile(r"(.+\.(?:ccc|cdl|cc))(#.*)", re.IGNORECASE)
_KEYS = ("cube", "title", "note", "answers", "keep", "look")


@dataclass(frozen=True, eq=False)
class ReceivedLut:
    """A .cube or .clf with its encodings; has what a look has (``looks.pipeline.LookLike``).

    Attributes
    ----------
    lut, source, target : table or process list, the encoding it takes and the one it gives.
    title, note : for sheets and summaries.
    keep : share of a still's metered cast that stays before the LUT.
    file_name : name of the .cube or .clf.
    answers : title of the look that it answers, or nothing.
    look : what acts before the LUT, in place of ``keep`` alone.
    """

    lut: CubeLut | ProcessList
    source: Encoding
    target: Encoding
    title: str
    note: str = ""
    keep: float = 1.0
    file_name: str = ""
    answers: str = ""
    digest: str = field(default="", repr=False)
    look: Look | None = None

    @property
    def is_identity(self) -> bool:
        """A received LUT is never taken for the identity."""
        return False

    def key_parameters(self) -> list[str]:
        """Short phrases for a column head."""
        what = "process list:" if isinstance(self.lut, ProcessList) else f"{self.lut.kind} LUT"
        out = [f"{what} {self.lut.size}", f"{self.source.name} to {self.target.name}"]
        if self.look is not None:
            return [*self.look.key_parameters(), *out]
        return out if self.keep == 1.0 else [*out, *Balance(keep=self.keep).words()]

    def describe(self) -> str:
        """One line: which file, between which encodings."""
        return f"received LUT {self.file_name}: " + "; ".join(self.key_parameters())

    def fingerprint(self) -> str:
        """SHA-256 over the table and all that acts with it."""
        acting = f"{self.digest}|{self.source.name}|{self.target.name}|{self.keep!r}"
        if self.look is not None:
            acting += f"|{self.look.fingerprint()}"
        return hashlib.sha256(acting.encode()).hexdigest()

    @property
    def balance(self) -> Balance | None:
        """What is done about a still's cast before the LUT; None where that is left to the LUT."""
        if self.look is not None:
            return self.look.acting.balance
        return Balance(keep=self.keep) if self.keep != 1.0 else None

    @property
    def acting(self) -> ReceivedLut:
        """Itself: it has no strength."""
        return self

    def steps(self, metered: Metered) -> tuple[Step, ...]:
        """What acts before the LUT (exposure, balance, a look), then the table between its own encodings."""
        before = self.look or Look(title="before the LUT", balance=Balance(keep=self.keep))
        limit, rendered = 1.0, True
        if metered.source is not None:
            into = Pipeline(before, metered.source, self.source, metered.cast, metered.exposure_stops)
            limit, rendered = into.limit, into.rendered
        table = by_array(self.lut, signal(self.source, limit, rendered), signal(self.target))
        return (*before.steps(metered), table)

    def transform(
        self, source: Encoding, target: Encoding, cast: Cast | None = None, exposure_stops: float = 0.0
    ) -> Transform:
        """The LUT between two encodings of the caller's, lifted, held and rendered as every look is.

        Where the ends are the LUT's own encodings and nothing is balanced, the values go straight through it.
        """
        return Pipeline(self, source, target, cast, exposure_stops)


def load_received(
    path: Path,
    source: Encoding,
    target: Encoding,
    *,
    title: str = "",
    note: str = "",
    keep: float = 1.0,
    answers: str = "",
) -> ReceivedLut:
    """A .cube or .clf file as a look.

    Raises
    ------
    LutError : the file is neither.
    """
    path = Path(path)
    lut = read_clf(path) if path.suffix.lower() == ".clf" else read_cube(path)
    name = title or lut.title or path.stem.replace("_", " ")
    digest = hashlib.sha256(read_ordinary(path)).hexdigest()
    return ReceivedLut(lut, source, target, name[:120], note, keep, path.name, answers, digest)


def split_request(text: str) -> tuple[Path, str | None]:
    """Path and encodings of ``theirs.cube@IN:OUT``; what follows the last ``@`` counts after a LUT, and what
    follows a ``#`` after a CDL file, with its mark. ``shipped``, or the title of a look that came with the
    program, stands for it.

    >>> split_request("a@b/theirs.cube@ACEScct:BT.709")
    (PosixPath('a@b/theirs.cube'), 'ACEScct:BT.709')
    """
    one = _ONE_OF_A_CDL.fullmatch(text)
    if one is not None and not Path(text).exists():
        return Path(one[1]), one[2]
    head, at, tail = text.rpartition("@")
    if at and Path(head).suffix.lower() in (*LUT_SUFFIXES, *CDL_SUFFIXES):
        return Path(head), tail
    return shipped(text) or Path(text), None


def parse_encodings(text: str, file: Path | str) -> tuple[Encoding, Encoding]:
    """Encodings in and out of ``IN:OUT``.

    Raises
    ------
    RequestError : there are not two, or one is unknown.
    """
    parts = [part.strip() for part in text.split(":")]
    if len(parts) != 2 or not all(parts):
        raise RequestError(
            "a LUT needs the encoding it takes and the one it gives",
            file=file,
            found=text or None,
            wanted="FILE.cube@ENCODING_IN:ENCODING_OUT, names as `lookdev encodings --all` lists them",
        )
    return get_encoding(parts[0]), get_encoding(parts[1])


def open_look(path: Path | str) -> LookLike:
    """Any look: a look.toml, a small .toml that names a .cube or .clf, ``FILE.cube@IN:OUT``,
    ``FILE.clf@IN:OUT``, or a CDL file, where it holds several with ``#ID``.

    Raises
    ------
    LookError, LutError, RequestError : in one line, what is wrong and where.
    """
    file, encodings = split_request(str(path))
    if file.is_dir():
        raise RequestError("is a folder", file=file, wanted="one look")
    suffix = file.suffix.lower()
    if suffix in LUT_SUFFIXES:
        source, target = parse_encodings(encodings or "", file)
        return load_received(file, source, target)
    if suffix in CDL_SUFFIXES:
        looks = _corrections(file, encodings)
        if len(looks) > 1:
            from lookdev.lut.cdl import read_cdl

            ids = [r.identifier for r in read_cdl(file)]
            some = ", ".join(ids[:8]) + (", …" if len(ids) > 8 else "")
            raise RequestError(
                f"holds {len(ids)} corrections", file=file, found=some, wanted=f"one of them, {file.name}#ID"
            )
        return looks[0]
    stand_in = _stand_in(file)
    if stand_in is not None:
        return stand_in
    from lookdev.looks.toml_file import load_look

    return load_look(file)


def one_correction(file: Path, asked: str | None) -> tuple[str | None, str | None]:
    """Identifier and encoding of what was asked of a CDL file: "ENCODING", "#ID", "#ID@ENCODING" or nothing.

    Raises
    ------
    RequestError : no such correction in it, or no such encoding.
    """
    from lookdev.lut.cdl import read_cdl

    if asked is None or not asked.startswith("#"):
        return None, get_encoding(asked).name if asked is not None else None
    ids = [r.identifier for r in read_cdl(file)]
    wanted, encoding = asked[1:], None
    if wanted not in ids:  # an identifier may hold an @
        wanted, _, encoding = wanted.rpartition("@")
        if wanted not in ids:
            some = ", ".join(ids[:12]) + (", …" if len(ids) > 12 else "")
            raise RequestError(
                "no such correction in it", file=file, found=asked[1:], wanted=f"one of {some}"
            )
    return wanted, get_encoding(encoding).name if encoding is not None else None


def _corrections(file: Path, asked: str | None) -> list[Look]:
    """The corrections of a CDL file as looks, all or the one that was asked for."""
    from lookdev.lut.cdl import load_cdl_look, read_cdl

    wanted, encoding = one_correction(file, asked)
    looks = load_cdl_look(file, encoding)
    if wanted is None:
        return looks
    return [looks[[r.identifier for r in read_cdl(file)].index(wanted)]]


def open_looks(paths: Sequence[Path | str]) -> tuple[LookLike, ...]:
    """Every look of files and folders; a folder gives its .toml files by name, a CDL file each correction.

    A received LUT often bears the title of the look it was made from: beside that look, it gets its file's
    name as well.
    """
    from lookdev.looks.toml_file import find_looks

    found: list[LookLike] = []
    for path in paths:
        file, encodings = split_request(str(path))
        if file.suffix.lower() in CDL_SUFFIXES and file.is_file():
            found += _corrections(file, encodings)
        elif encodings is not None:
            found.append(open_look(path))
        else:
            found += [open_look(each) for each in find_looks([file])]
    titles = Counter(look.title.casefold() for look in found)
    return tuple(
        replace(look, title=f"{look.title} ({look.file_name})")
        if isinstance(look, ReceivedLut) and titles[look.title.casefold()] > 1
        else look
        for look in found
    )


def _stand_in(path: Path) -> ReceivedLut | None:
    """The received LUT that a small .toml names, or None if the file is a look of its own."""
    data = read_toml(path, LookError, "look")
    if "cube" not in data:
        return None
    unknown = next((key for key in data if key not in _KEYS), None)
    if unknown is not None:
        raise LookError(
            "unknown key beside cube",
            file=path,
            key=unknown,
            found=unknown,
            wanted="one of " + ", ".join(_KEYS),
        )
    for key in ("cube", "title", "note", "answers", "look"):
        if key in data and not isinstance(data[key], str):
            raise LookError("wrong value", file=path, key=key, found=data[key], wanted="text")
    keep = data.get("keep", 1.0)
    if isinstance(keep, bool) or not isinstance(keep, (int, float)) or not 0 <= keep <= 1:
        raise LookError("out of range", file=path, key="keep", found=keep, wanted="a number from 0 to 1")
    if "look" in data and "keep" in data:
        raise LookError("says twice what acts before the LUT", file=path, key="keep", wanted="keep or look")
    file, encodings = split_request(data["cube"])
    try:
        source, target = parse_encodings(encodings or "", data["cube"])
    except RequestError as error:
        raise LookError(
            error.problem, file=path, key="cube", found=error.found, wanted=error.wanted
        ) from None
    before = _look_before(path, data["look"]) if "look" in data else None
    try:
        received = load_received(
            path.parent / file,
            source,
            target,
            title=str(data.get("title", "")),
            note=str(data.get("note", "")),
            keep=float(keep),
            answers=str(data.get("answers", "")),
        )
    except LookdevError as error:
        if not (path.parent / file).is_file():
            raise LookError(
                "no such file",
                file=path,
                key="cube",
                found=str(file),
                wanted="a .cube or .clf beside it",
            ) from error
        raise
    return replace(received, look=before)


def _look_before(path: Path, name: str) -> Look:
    """The look of ours that a stand-in names."""
    from lookdev.looks.toml_file import load_look

    file = path.parent / name
    if not file.is_file():
        raise LookError("no such file", file=path, key="look", found=name, wanted="a look beside this file")
    return load_look(file)
