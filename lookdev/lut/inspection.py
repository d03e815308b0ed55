"""What came in: a LUT, a process list or a CDL file examined, whoever made it, and how far it is from a look.

A file's own words come first: comments, descriptors, its name. Where they say nothing, what it takes is
guessed (``lut/guess.py``), and where two answers are as likely that is said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import NARROW_BLACK, NARROW_WHITE, Encoding
from lookdev.errors import LutError
from lookdev.looks.pipeline import Transform
from lookdev.lut.cube import CubeLut, lattice_points, read_cube
from lookdev.lut.error import Difference, appearance, difference, picture_inputs, trial_inputs
from lookdev.lut.examine import Examination, examine
from lookdev.lut.guess import guesses
from lookdev.lut.likeness import SAME, Guesses, Likeness
from lookdev.lut.process_list import ProcessList, read_clf
from lookdev.lut.received import CDL_SUFFIXES
from lookdev.lut.report import examination_lines
from lookdev.lut.said import Said, said
from lookdev.lut.traits import Traits, ranges, traits

Array = NDArray[np.float64]
Pair = tuple[Encoding, Encoding]

_PLAINLY = 2.5  # of cost: one hypothesis this much dearer than another is out
_BARELY = 1.5
_HALF = 0.5
_CONTRADICTS = 9.0  # of cost: what the file says of itself is doubted


@dataclass(frozen=True, eq=False)
class Inspection:
    """A LUT that came in, as it was found.

    ``lut`` : its table, a process list's over 0 to 1, whole numbers brought to 1. ``said`` : what it says of
    itself; ``encodings`` : those that were given, else those that it says. ``swapped`` : in words, if red and
    blue are exchanged somehow; ``guess`` is then of the LUT put right. None for ``guess`` : there is nothing
    to guess from.
    """

    file_name: str
    lut: CubeLut
    nodes: tuple[str, ...]
    said: Said
    encodings: Pair | None
    traits: Traits
    examination: Examination
    range_in: str
    range_out: str
    range_reasons: tuple[str, ...]
    swapped: str
    guess: Guesses | None

    @cached_property
    def head(self) -> str:
        """What it is, on one line."""
        lut = self.lut
        if self.nodes:
            what = f"process list: {', '.join(self.nodes)}"
        elif lut.kind == "1D":
            what = f"1D LUT, {lut.size} points"
        elif lut.shaper is not None:
            what = f"3D LUT, {lut.size} points, behind a 1D shaper of {len(lut.shaper.table)} (combined)"
        else:
            what = f"3D LUT, {lut.size} points"
        return f"{self.file_name}: {what}" + (f", {lut.title!r}" if lut.title else "")

    def lines(self) -> list[tuple[str, str]]:
        """(subject, sentence) for each thing found; what it says of itself first."""
        lines = [("says", self.said.words())] if self.said else []
        stands_out = [*self.traits.words(), *([self.swapped] if self.swapped else [])]
        lines += [("is" if i == 0 else "", line) for i, line in enumerate(stands_out)]
        lines += examination_lines(self.examination)
        lines += [("expects" if i == 0 else "", line) for i, line in enumerate(self.expects())]
        return lines

    def expects(self) -> list[str]:
        """What it seems to take and to give, and why."""
        lines = []
        if self.guess is not None:
            lines.append(f"{self.guess.words()}; range in {self.range_in}, out {self.range_out}")
            lines += _reasons(self.guess, self.examination)
            doubt = self._doubt()
            if doubt:
                lines.insert(0, doubt)
        elif self.range_in == self.range_out == "full":
            lines.append("nothing to tell an encoding by")
        else:
            lines.append(f"range in {self.range_in}, out {self.range_out}")
        return [*lines, *self.range_reasons]

    def _doubt(self) -> str:
        """Where it behaves plainly otherwise than it says."""
        if self.guess is None or self.said.source is None or not self.guess.known:
            return ""
        name = self.said.source.name.removesuffix(" narrow")
        own = next((like for like in self.guess.takes if like.name == name), None)
        first = self.guess.first
        if own is None or own.curve == first.curve or own.cost < first.cost + _CONTRADICTS:
            return ""
        return f"it says {name}, but behaves as one for {first.name}: ask who made it"

    def numbers(self) -> dict[str, object]:
        """For ``inspect --json``."""
        lut = self.lut
        seems: dict[str, object] = {"range_in": self.range_in, "range_out": self.range_out}
        seems["reasons"] = list(self.range_reasons)
        if self.guess is not None:
            takes = [like.numbers() for like in self.guess.takes[:6]]
            seems |= {"words": self.guess.words(), "sure": self.guess.sure, "input_most_like": takes}
            seems["output"] = {kind: round(share, 4) for kind, share in self.guess.outputs.items()}
        return {
            "file": self.file_name,
            "title": lut.title,
            "kind": "CLF" if self.nodes else lut.kind,
            "size": lut.size,
            "nodes": list(self.nodes),
            "shaper_points": len(lut.shaper.table) if lut.shaper else 0,
            "domain_min": list(lut.input_min),
            "domain_max": list(lut.input_max),
            "says": self.said.numbers() if self.said else None,
            "encodings": [e.name for e in self.encodings] if self.encodings else None,
            "stands_out": self.traits.numbers() | {"red_and_blue": self.swapped or None},
            **self.examination.numbers(),
            "seems_to_expect": seems,
        }


def inspect_lut(path: Path | str, encodings: Pair | None = None) -> Inspection:
    """Examine a .cube or .clf. ``encodings`` : what it takes and gives, where that is known.

    Raises
    ------
    LutError : the file is neither.
    """
    path = Path(path)
    if path.suffix.lower() in CDL_SUFFIXES:
        raise LutError("is a CDL file, not a LUT", file=path, wanted="lookdev.inspect_cdl")
    if path.suffix.lower() == ".clf":
        listed = read_clf(path)
        return inspection(listed.table(), path.name, encodings, listed)
    return inspection(read_cube(path), path.name, encodings)


def inspection(
    lut: CubeLut, file_name: str = "", encodings: Pair | None = None, listed: ProcessList | None = None
) -> Inspection:
    """Examine a LUT in hand; ``listed`` : the process list that it is a table of."""
    with np.errstate(all="ignore"):  # tables hold any number
        return _inspected(lut, file_name, encodings, listed)


def _inspected(
    lut: CubeLut, file_name: str, encodings: Pair | None, listed: ProcessList | None
) -> Inspection:
    own = _says(lut, file_name, listed)
    if encodings is None and own.source is not None and own.target is not None:
        encodings = (own.source, own.target)
    table, found = traits(lut)
    examined = examine(table, *encodings) if encodings is not None else examine(table)
    range_in, range_out, reasons = ranges(table, examined.grey)
    for end, way in ((own.source, "in"), (own.target, "out")):
        if end is not None and end.code_range == "narrow":
            reasons.append(f"{own.where} say{'' if own.where.endswith('s') else 's'} narrow range {way}")
            range_in, range_out = ("narrow", range_out) if way == "in" else (range_in, "narrow")
    guess, swapped = None, ""
    if not (found.identity or found.constant or np.ptp(examined.grey.outputs) < 1e-6):
        full = _in_full_range(table, range_in, range_out)
        guess, swapped = _put_right(full, found)
        if range_in == "full" and guess is not None and not found.crossed:
            narrow = _narrow_instead(full, guess, examined)
            if narrow is not None:
                guess, range_in = narrow, "narrow"
                reasons.append("an encoding in codes 64 to 940 explains it better than one in full range")
    nodes = listed.nodes if listed is not None else ()
    return Inspection(
        file_name,
        table,
        nodes,
        own,
        encodings,
        found,
        examined,
        range_in,
        range_out,
        tuple(reasons),
        swapped,
        guess,
    )


def _says(lut: CubeLut, file_name: str, listed: ProcessList | None) -> Said:
    comments = list(lut.comments)
    if listed is not None:
        comments = [f"input: {listed.takes}", f"output: {listed.gives}", *listed.comments]
    return said(comments, lut.title, Path(file_name).stem)


def _put_right(lut: CubeLut, found: Traits) -> tuple[Guesses | None, str]:
    """The guess; where red answers to blue, of the LUT with either its outputs or its order put right."""
    if not found.crossed:
        return guesses(lut), ""
    exchanged = guesses(replace(lut, table=lut.table[..., ::-1]))
    if lut.kind == "1D":
        return exchanged, "its red and blue are swapped"
    other_order = guesses(replace(lut, table=np.ascontiguousarray(lut.table.transpose(2, 1, 0, 3))))
    apart = other_order.first.cost - exchanged.first.cost
    if apart > _BARELY:
        return exchanged, "its red and blue are swapped: what should come out red comes out blue"
    if apart < -_BARELY:
        return other_order, "its table runs with blue fastest: in a .cube red changes fastest"
    return (exchanged if apart >= 0 else other_order), (
        "red and blue are exchanged: its outputs are swapped, or its table runs with blue fastest; "
        "cannot tell which"
    )


def _in_full_range(lut: CubeLut, range_in: str, range_out: str) -> CubeLut:
    """``lut`` as it would be for full range in and out."""
    span = NARROW_WHITE - NARROW_BLACK
    table = lut.table
    if range_out == "narrow":
        table = (table - NARROW_BLACK) / span
    if range_in == "narrow" and lut.shaper is None:
        return _resampled(replace(lut, table=table))
    return replace(lut, table=table)


def _resampled(lut: CubeLut) -> CubeLut:
    """What ``lut`` makes of codes 64 to 940, laid over 0 to 1."""
    span = NARROW_WHITE - NARROW_BLACK
    if lut.kind == "1D":
        points = np.repeat(np.linspace(0.0, 1.0, lut.size)[:, None], 3, axis=1)
    else:
        points = lattice_points(lut.size)
    return CubeLut(lut(NARROW_BLACK + span * points), title=lut.title)


def _narrow_instead(lut: CubeLut, full: Guesses, examined: Examination) -> Guesses | None:
    """The guess for narrow range in, where that explains the LUT plainly better than full range."""
    plain = lut.shaper is None and max(lut.input_max) <= 1.0 and min(lut.input_min) >= 0.0
    if not plain or full.first.gives == SAME or examined.grey.black_up_to < NARROW_BLACK - 1.0 / lut.size:
        return None
    narrow = guesses(_resampled(lut))
    return narrow if narrow.known and narrow.first.cost + _PLAINLY < full.first.cost else None


def _reasons(guess: Guesses, examined: Examination) -> list[str]:
    first, lines = guess.first, []
    if guess.known:
        lines.append(_why(first))
    kind, share = max(guess.outputs.items(), key=lambda item: item[1])
    if kind in ("PQ", "HLG") and share > 0.8 and guess.known:
        lines.append(f"its output is {kind} (ITU-R BT.2100): it ends at {examined.clipping.highest:.3f}")
    if kind == SAME and share > _HALF and guess.known:
        lines.append("it gives what it takes: a look to stand before whatever shows it")
    return lines


def _why(first: Likeness) -> str:
    words = (
        f"grey as {first.curve} predicts it within {first.rms:.3f} of full scale, "
        f"{first.stops:+.2g} stops, contrast {first.contrast:.1f}"
    )
    if first.off_primaries is None:
        return f"{words}; without colour nothing tells the primaries"
    shown = "" if first.gives == SAME else f" to those of {first.gives}"
    return (
        f"{words}; the matrix at grey is that from its primaries{shown} within {first.off_primaries:.3f}, "
        f"saturation {first.saturation:.2f}"
    )


def against(
    function: Callable[[Array], Array], transform: Transform, size: int = 17
) -> tuple[Difference, Difference]:
    """CIEDE2000 of a LUT, or whatever acts as one, against a look between the same encodings: over the whole
    input of a LUT of ``size``, and over picture colours."""
    low, high = ((0.0,) * 3, (1.0,) * 3)
    if isinstance(function, CubeLut):
        size, low, high = (
            function.size if function.kind == "3D" else 17,
            function.input_min,
            function.input_max,
        )
    out = []
    for inputs in (trial_inputs(size, low, high), picture_inputs(transform.source)):
        got = np.asarray(function(inputs))
        if transform.target.state == "output":
            got = np.clip(got, 0.0, 1.0)
        deltas = ciede2000(appearance(transform(inputs), transform.target), appearance(got, transform.target))
        out.append(difference(inputs, deltas))
    return out[0], out[1]
