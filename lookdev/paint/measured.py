"""Measured surfaces that an open library carries: what estimated reflectances are held against.

Source: the data sets of colour-science, each with its own publication: the 14 test colour samples of CIE
13.3-1995 and the 15 of NIST's colour quality scale (Davis and Ohno 2010), both Munsell papers with their
notations; the 99 samples of CIE 224:2017; the 190 patches of the Academy's camera characterisation tool; two
charts (Ohta 1997; the 30 pigments of one maker, 400 to 700 nm, ends held).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.paint.spectra import on_grid

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MeasuredSurfaces:
    """Reflectances (n, 85) on ``spectra.GRID_NM``; which set each is of (n,); its notation or None."""

    reflectances: Array
    sets: tuple[str, ...]
    notations: tuple[str | None, ...]

    def __len__(self) -> int:
        return len(self.sets)

    def without(self, name: str) -> MeasuredSurfaces:
        """All but one set: for leaving out."""
        return self._part([i for i, s in enumerate(self.sets) if s != name])

    def only(self, name: str) -> MeasuredSurfaces:
        """One set."""
        return self._part([i for i, s in enumerate(self.sets) if s == name])

    def _part(self, rows: list[int]) -> MeasuredSurfaces:
        return MeasuredSurfaces(
            self.reflectances[rows],
            tuple(self.sets[i] for i in rows),
            tuple(self.notations[i] for i in rows),
        )


@lru_cache(maxsize=1)
def measured_surfaces() -> MeasuredSurfaces:
    """All of them, fluorescent ones left out.

    >>> surfaces = measured_surfaces()
    >>> len(surfaces) >= 350, sum(n is not None for n in surfaces.notations)
    (True, 29)
    """
    from lookdev.colorimetry.library import colour_science

    colour: Any = colour_science()
    from colour.quality.datasets import tcs, vs

    rows: list[Array] = []
    sets: list[str] = []
    notations: list[str | None] = []

    def add(name: str, nm: Any, values: Any, notation: str | None = None) -> None:
        spectrum = on_grid(np.asarray(nm, dtype=np.float64), np.asarray(values, dtype=np.float64))
        if spectrum.min() >= 0.0 and spectrum.max() <= 1.0:
            rows.append(spectrum)
            sets.append(name)
            notations.append(notation)

    for papers, known, name in (
        (tcs.SDS_TCS["CIE 1995"], tcs.APPROXIMATE_MUNSELL_NOTATIONS_TCS_CIE1995, "CIE 13.3-1995"),
        (vs.SDS_VS["NIST CQS 9.0"], vs.APPROXIMATE_MUNSELL_NOTATIONS_VS_NISTCQS90, "NIST CQS 9.0"),
    ):
        for key, sd in papers.items():
            add(name, sd.wavelengths, sd.values, known[key].replace("8-12", "8/12"))
    folder = Path(colour.__file__).parent
    table = np.loadtxt(folder / "quality" / "datasets" / "tcs_cfi2017_5_nm.csv.gz", delimiter=",")
    for column in table[:, 1:].T:
        add("CIE 224:2017", table[:, 0], column)
    patches = folder / "characterisation" / "datasets" / "rawtoaces" / "190_Patches.csv"
    with patches.open(newline="", encoding="utf-8") as text:
        table = np.array([[float(v) for v in row] for row in list(csv.reader(text))[1:]])
    for column in table[:, 1:].T:
        add("camera characterisation, 190 patches", table[:, 0], column)
    for name in ("ColorChecker N Ohta", "PMC"):
        for sd in colour.SDS_COLOURCHECKERS[name].values():
            add(name, sd.wavelengths, sd.values)
    return MeasuredSurfaces(np.array(rows), tuple(sets), tuple(notations))
