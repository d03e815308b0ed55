"""A chip on its way from what was typed (spectrum, colour, notation, screen colour) to a reflectance."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import xyz_from_xy
from lookdev.errors import ChipError
from lookdev.paint.chip import Chip, Kind
from lookdev.paint.recovery import sigmoid_coefficients, sigmoid_reflectance
from lookdev.paint.spectra import GRID_NM, illuminant_weights, white_xy

Array = NDArray[np.float64]

_HEX = re.compile(r"#?([0-9a-f]{6})", re.IGNORECASE)
_TRIPLET = re.compile(r"(?:s?rgb)?\s*\(?\s*\d{1,3}[\s,;/]+\d{1,3}[\s,;/]+\d{1,3}\s*\)?", re.IGNORECASE)


@dataclass
class Draft:
    """A chip on its way: its reflectance, or XYZ with the illuminant and observer it is for."""

    name: str
    code: str
    row: int
    kind: Kind = "spectrum"
    as_typed: str = ""
    remarks: list[str] = field(default_factory=list)
    reflectance: Array | None = None
    xyz: Array | None = None
    conditions: tuple[str, int] = ("D65", 2)


def fill_munsell(draft: Draft, text: str, file: str | None) -> None:
    """Give a draft the colour of a Munsell notation."""
    from lookdev.colorimetry.munsell_notation import C_XY, luminance_factor, parse_notation, xyz_from_munsell

    where: dict[str, Any] = {"file": file, "row": draft.row or None, "column": "munsell" if file else None}
    try:
        colour = parse_notation(text)
    except ValueError:
        raise ChipError(
            "not a Munsell notation", found=text, wanted="such as 5YR 6/4 or N 5.5", **where
        ) from None
    if colour.value == 0:
        raise ChipError("no paint is that black", found=text, wanted="a value over 0", **where)
    white = white_xy(illuminant_weights("C"))
    if colour.chroma == 0:
        draft.xyz = xyz_from_xy(white) * luminance_factor(colour.value)
    else:
        draft.xyz = xyz_from_munsell(colour) * (xyz_from_xy(white) / xyz_from_xy(C_XY))
    draft.kind, draft.conditions, draft.as_typed = "Munsell", ("C", 2), text.strip()


def fill_hex(draft: Draft, text: str, file: str | None) -> None:
    """Give a draft the colour of an sRGB hex value, taken as the chip's colour under D65."""
    codes = _codes(text)
    if codes is None:
        raise ChipError(
            "not an sRGB hex value",
            file=file,
            row=draft.row or None,
            column="hex" if file else None,
            found=text,
            wanted="such as #8a6f5c or 138, 111, 92",
        )
    from lookdev.colorimetry.rgb_spaces import SRGB
    from lookdev.colorimetry.transfer_functions import srgb_decode

    draft.xyz = srgb_decode(np.array(codes) / 255.0) @ SRGB.to_xyz.T
    draft.kind, draft.conditions = "hex", ("D65", 2)
    draft.as_typed = "#" + "".join(f"{code:02x}" for code in codes)
    draft.remarks.append("known by a screen colour only: a last resort")


def _codes(text: str) -> tuple[int, int, int] | None:
    """Three codes 0 to 255 of hex or a triplet."""
    if match := _HEX.fullmatch(text.strip()):
        red, green, blue = (int(match[1][i : i + 2], 16) for i in (0, 2, 4))
        return red, green, blue
    parts = re.findall(r"\d+", text) if _TRIPLET.fullmatch(text.strip()) else []
    if len(parts) == 3 and all(int(p) <= 255 for p in parts):
        return int(parts[0]), int(parts[1]), int(parts[2])
    return None


def chip_from_text(text: str) -> tuple[Chip, Array]:
    """One chip from a Munsell notation or an sRGB hex value, and its reflectance (85,).

    Raises
    ------
    ChipError : neither of the two.
    """
    draft = Draft(text.strip(), "", 0)
    if text.strip().startswith("#"):
        fill_hex(draft, text, None)
    else:
        fill_munsell(draft, text, None)
    chips, reflectances = recover([draft])
    return chips[0], reflectances[0]


def recover(drafts: list[Draft]) -> tuple[tuple[Chip, ...], Array]:
    """Chips and reflectances (n, 85); colours without a spectrum get a smooth one, all of a kind at once."""
    reflectances = np.zeros((len(drafts), len(GRID_NM)))
    groups: dict[tuple[str, int], list[int]] = {}
    for i, draft in enumerate(drafts):
        if draft.reflectance is not None:
            reflectances[i] = draft.reflectance
        else:
            groups.setdefault(draft.conditions, []).append(i)
    for conditions, rows in groups.items():
        colours = np.stack([np.asarray(drafts[i].xyz) for i in rows])
        coefficients, left = sigmoid_coefficients(colours, illuminant_weights(*conditions))
        reflectances[rows] = sigmoid_reflectance(coefficients)
        for i, rest in zip(rows, left, strict=True):
            if rest > 0.5:
                drafts[i].remarks.append(
                    f"no surface has this colour: the nearest reflectance is {rest:.1f} away in CIELAB"
                )
    chips = tuple(
        Chip(d.name, d.code, d.kind, d.as_typed, d.row, tuple(d.remarks), _conditions(d)) for d in drafts
    )
    return chips, reflectances


def _conditions(draft: Draft) -> tuple[str, int]:
    return ("D65", 2) if draft.xyz is None else draft.conditions
