"""A wanted colour, as a person gives it: hex, CIELAB, a Munsell notation, or a patch of a graded still."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.munsell_notation import lab_from_munsell, parse_notation
from lookdev.errors import RequestError
from lookdev.paint.predict import lab_from_signal

Array = NDArray[np.float64]

WANTED = "#8a6f5c, lab:54,9,14, a Munsell notation such as 5YR 6/4, or a patch STILL:x,y,w,h"
_HEX = re.compile(r"#?([0-9a-f]{6})", re.IGNORECASE)
_PATCH = re.compile(r"(.+):\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*")


@dataclass(frozen=True, eq=False)
class Target:
    """CIELAB (3,) for D65 as wanted on screen; ``words`` says where it is from."""

    lab: Array
    words: str


def parse_target(text: str, folder: Path | None = None) -> Target:
    """A target from text; stills are looked for as given, then in ``folder``.

    Raises
    ------
    RequestError : it is none of the forms, or the patch lies outside the still.
    """
    plain = text.strip()
    if match := _HEX.fullmatch(plain):
        signal = np.array([int(match[1][i : i + 2], 16) for i in (0, 2, 4)]) / 255.0
        return Target(lab_from_signal(signal), f"#{match[1].lower()}")
    if match := _PATCH.fullmatch(plain):
        return _patch(match[1], (int(match[2]), int(match[3]), int(match[4]), int(match[5])), folder)
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


def _patch(name: str, box: tuple[int, int, int, int], folder: Path | None) -> Target:
    from lookdev.stills.reader import read_still

    path = Path(name)
    if not path.exists() and folder is not None and (folder / name).exists():
        path = folder / name
    if not path.exists():
        raise RequestError("no such still", file=name, wanted=WANTED)
    still = read_still(path)
    x, y, w, h = box
    height, width = still.pixels.shape[:2]
    if w < 1 or h < 1 or x + w > width or y + h > height:
        raise RequestError(
            "the patch lies outside the still",
            file=path.name,
            found=f"{x},{y},{w},{h}",
            wanted=f"x, y, w, h inside {width} x {height} pixels",
        )
    if still.encoding.state != "output":
        raise RequestError("is scene light, not a graded picture", file=path.name, wanted="a graded still")
    return Target(
        patch_lab(still.signal()[y : y + h, x : x + w], still.encoding), f"{path.name} at {x},{y},{w},{h}"
    )


def patch_lab(signal: Array, encoding: object) -> Array:
    """CIELAB (3,) for D65 of the mean light of a patch (h, w, 3) of code values."""
    from lookdev.colorimetry.difference import lab_from_working
    from lookdev.colorimetry.encodings import Encoding

    assert isinstance(encoding, Encoding)
    light = encoding.to_working(signal.reshape(-1, 3)).mean(axis=0)
    return lab_from_working(light)
