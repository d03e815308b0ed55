"""A wanted colour, as a person gives it: hex, CIELAB, a Munsell notation, or a patch of a graded still."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import lab_from_working
from lookdev.colorimetry.encodings import Encoding
from lookdev.colorimetry.munsell_notation import lab_from_munsell, parse_notation
from lookdev.errors import RequestError
from lookdev.paint.predict import lab_from_signal

if TYPE_CHECKING:
    from lookdev.stills.still import Still

Array = NDArray[np.float64]
Box = tuple[int, int, int, int]

WANTED = "#8a6f5c, lab:54,9,14, a Munsell notation such as 5YR 6/4, or a patch STILL:x,y,w,h"
_HEX = re.compile(r"#?([0-9a-f]{6})", re.IGNORECASE)
_PATCH = re.compile(r"(.+):\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*")


@dataclass(frozen=True, eq=False)
class Target:
    """CIELAB (3,) for D65 as wanted on screen; ``words`` says where it is from.

    ``card_lab`` is the grey card of the same still, where one is pointed out; ``from_still`` tells that the
    target is a patch of one, ``still``.
    """

    lab: Array
    words: str
    card_lab: Array | None = None
    from_still: bool = False
    still: Path | None = None


def parse_target(text: str, folder: Path | None = None, card: str | None = None) -> Target:
    """A target from text; stills are looked for as given, then in ``folder``.

    ``card`` is the box ``x,y,w,h`` of an 18% grey card in the same still.

    Raises
    ------
    RequestError : it is none of the forms, or the patch lies outside the still.
    """
    plain = text.strip()
    if card is None and (match := _HEX.fullmatch(plain)):
        signal = np.array([int(match[1][i : i + 2], 16) for i in (0, 2, 4)]) / 255.0
        return Target(lab_from_signal(signal), f"#{match[1].lower()}")
    if match := _PATCH.fullmatch(plain):
        return _patch(match[1], (int(match[2]), int(match[3]), int(match[4]), int(match[5])), folder, card)
    if card is not None:
        raise RequestError(
            "a card without a still", key="--card", found=text, wanted="a target STILL:x,y,w,h"
        )
    numbers = re.sub(r"^(cie)?\s*lab\s*[:(]?|\)$", "", plain, flags=re.IGNORECASE)
    parts = [p for p in re.split(r"[\s,;]+", numbers.replace("\N{MINUS SIGN}", "-")) if p]
    if len(parts) == 3 and all(re.fullmatch(r"[+-]?\d+(\.\d*)?", p) for p in parts):
        lab = np.array([float(p) for p in parts])
        if 0 <= lab[0] <= 100 and np.abs(lab[1:]).max() <= 160:
            return Target(lab, f"CIELAB {lab[0]:g}, {lab[1]:g}, {lab[2]:g} (D65)")
        raise RequestError("CIELAB out of range", found=text, wanted="L 0 to 100, a and b -160 to 160")
    try:
        colour = parse_notation(plain)
    except ValueError:
        raise RequestError("not a target", found=text, wanted=WANTED) from None
    return Target(lab_from_munsell(colour), f"Munsell {colour} seen in daylight")


def _patch(name: str, box: Box, folder: Path | None, card: str | None) -> Target:
    from lookdev.meter.cells import CellError, pixel_box
    from lookdev.stills.reader import read_still

    path = Path(name)
    if not path.exists() and folder is not None and (folder / name).exists():
        path = folder / name
    if not path.exists():
        raise RequestError("no such still", file=name, wanted=WANTED)
    still = read_still(path)
    if still.encoding.state != "output":
        raise RequestError("is scene light, not a graded picture", file=path.name, wanted="a graded still")
    words = f"{path.name} at {','.join(map(str, box))}"
    card_lab = None
    if card is not None:
        try:
            card_lab = _box_lab(still, pixel_box(card))
        except CellError as error:
            raise RequestError(error.problem, key="--card", found=card, wanted=error.wanted) from None
    return Target(_box_lab(still, box), words, card_lab, True, path)


def _box_lab(still: Still, box: Box) -> Array:
    x, y, w, h = box
    height, width = still.pixels.shape[:2]
    if w < 1 or h < 1 or x + w > width or y + h > height:
        raise RequestError(
            "the patch lies outside the still",
            file=still.path.name,
            found=f"{x},{y},{w},{h}",
            wanted=f"x, y, w, h inside {width} x {height} pixels",
        )
    return patch_lab(still.signal()[y : y + h, x : x + w], still.encoding)


def patch_lab(signal: Array, encoding: Encoding) -> Array:
    """CIELAB (3,) for D65 of the mean light of a patch (h, w, 3) of code values."""
    light = encoding.to_working(signal.reshape(-1, 3)).mean(axis=0)
    return lab_from_working(light)
