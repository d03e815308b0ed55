"""Chips: paint samples with a reflectance, measured or recovered from a colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import xy_from_xyz, xyz_from_xy
from lookdev.colorimetry.difference import lab_from_xyz
from lookdev.colorimetry.munsell_notation import C_XY, munsell_from_xyy, notation, parse_notation
from lookdev.paint.paintable import BEYOND_WORDS, is_paintable
from lookdev.paint.recovery import METHOD, sigmoid_reflectance
from lookdev.paint.spectra import illuminant_weights, white_xy

Array = NDArray[np.float64]
Kind = Literal["spectrum", "CIELAB", "Munsell", "hex"]

KIND_WORDS: dict[str, str] = {
    "spectrum": "measured reflectance",
    "CIELAB": f"reflectance estimated from CIELAB ({METHOD})",
    "Munsell": f"reflectance estimated from its Munsell notation ({METHOD})",
    "hex": f"reflectance estimated from sRGB hex ({METHOD}); hex is a screen colour: a last resort",
}


@dataclass(frozen=True)
class Chip:
    """What a person knows of one paint sample.

    ``kind`` says what its reflectance comes from; ``remarks`` what was made good or is doubtful; ``row`` is
    where it stands in its file, 0 for a chip that does not come from one. ``conditions`` are the illuminant
    and the observer, in degrees, that its colour is for.
    """

    name: str
    code: str = ""
    kind: Kind = "spectrum"
    as_typed: str = ""
    row: int = 0
    remarks: tuple[str, ...] = ()
    conditions: tuple[str, int] = ("D65", 2)

    @property
    def estimated(self) -> bool:
        """Whether the reflectance is recovered from a colour, not measured."""
        return self.kind != "spectrum"

    @property
    def label(self) -> str:
        """Name and code on one line."""
        return f"{self.name} · {self.code}" if self.code and self.code != self.name else self.name


@dataclass(frozen=True, eq=False)
class ChipSet:
    """Chips and their reflectances (n, 85) on ``spectra.GRID_NM``, 0 to 1 unless fluorescent."""

    title: str
    chips: tuple[Chip, ...]
    reflectances: Array

    def __len__(self) -> int:
        return len(self.chips)

    def subset(self, rows: Sequence[int] | NDArray[np.intp]) -> ChipSet:
        """The chips at ``rows``, in that order."""
        picked = [int(r) for r in rows]
        return ChipSet(self.title, tuple(self.chips[r] for r in picked), self.reflectances[picked])

    def munsell(self) -> list[str]:
        """Munsell notations (n) as made: under illuminant C, for which the system is defined."""
        return munsell_notations(self.reflectances)

    def lab(self, illuminant: str = "D65") -> Array:
        """CIELAB (n, 3) as made: under a CIE illuminant, against its own white."""
        weights = illuminant_weights(illuminant)
        return lab_from_xyz(self.reflectances @ weights, white_xy(weights))


def munsell_xyz(text: str) -> Array:
    """CIE XYZ (3,) of a Munsell notation under illuminant C as tabulated, perfect white at Y = 1.

    Raises
    ------
    ValueError : not a notation.

    >>> munsell_xyz("N 5").round(4).tolist()  # Y: ASTM D1535, value 5, 19.27% of a perfect white
    [0.189, 0.1927, 0.2277]
    """
    from lookdev.colorimetry.munsell_notation import luminance_factor, xyz_from_munsell

    colour = parse_notation(text)
    white = white_xy(illuminant_weights("C"))
    if colour.chroma == 0:
        return np.asarray(xyz_from_xy(white) * luminance_factor(colour.value))
    return np.asarray(xyz_from_munsell(colour) * (xyz_from_xy(white) / xyz_from_xy(C_XY)))


def munsell_notations(reflectances: Array) -> list[str]:
    """Munsell notations (n) of reflectances (n, 85), seen under illuminant C."""
    weights = illuminant_weights("C")
    xyz = np.maximum(reflectances @ (weights * (xyz_from_xy(C_XY) / weights.sum(axis=0))), 1e-9)
    xyy = np.concatenate([xy_from_xyz(xyz), xyz[:, 1:2]], axis=-1)
    return [notation(*row) for row in munsell_from_xyy(xyy)]


@lru_cache(maxsize=1)
def munsell_set() -> ChipSet:
    """All built-in chips: 2734 real renotation colours (ASTM D1535) and 19 neutrals, painted or not.

    Those that no matt paint can have are marked in their remarks.

    >>> len(munsell_set()), munsell_set().chips[0].name
    (2753, '2.5R 1/2')
    """
    names, coefficients, left = munsell_coefficients()
    paintable = _paintable()
    chips = tuple(
        Chip(
            name,
            kind="Munsell",
            as_typed=name,
            remarks=(
                *(("no surface has exactly this colour: nearest reflectance used",) if rest > 0.5 else ()),
                *(() if can else (BEYOND_WORDS,)),
            ),
            conditions=("C", 2),
        )
        for name, rest, can in zip(names, left, paintable, strict=True)
    )
    return ChipSet("Munsell renotation (ASTM D1535)", chips, sigmoid_reflectance(coefficients))


@lru_cache(maxsize=1)
def paintable_set() -> ChipSet:
    """The built-in chips that a matt paint can have (``paint.paintable``).

    >>> len(paintable_set()) < len(munsell_set())
    True
    """
    part = munsell_set().subset(np.flatnonzero(_paintable()))
    return ChipSet("Munsell colours within the matt atlas", part.chips, part.reflectances)


@lru_cache(maxsize=1)
def _paintable() -> NDArray[np.bool_]:
    names, _, _ = munsell_coefficients()
    colours = [parse_notation(name) for name in names]
    return is_paintable([c.hue for c in colours], [c.value for c in colours], [c.chroma for c in colours])


@lru_cache(maxsize=1)
def munsell_coefficients() -> tuple[tuple[str, ...], Array, Array]:
    """Notations, sigmoid coefficients (n, 3) and what is left over in CIELAB (n,) of the built-in chips."""
    text = Path(__file__).with_name("munsell_reflectances.csv").read_text("utf-8")
    cells = [line.split(",") for line in text.splitlines()[1:]]
    numbers = np.array([[float(v) for v in row[1:]] for row in cells])
    return tuple(row[0] for row in cells), numbers[:, :3], numbers[:, 3]
