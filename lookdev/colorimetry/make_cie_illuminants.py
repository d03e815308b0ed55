"""Write cie_illuminants.csv: ``python -m lookdev.colorimetry.make_cie_illuminants``.

Source: the tables of CIE 15:2018 (and of ISO 7589) as colour-science carries them. Kept as a file of our own
so that a log that names its lamps is read without the second that colour-science takes to import.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from lookdev.colorimetry.illuminants import illuminant_names
from lookdev.colorimetry.library import colour_science
from lookdev.files import write_whole

FILE = Path(__file__).with_name("cie_illuminants.csv")
_OBSERVER = "CIE 1931 2 Degree Standard Observer"


def illuminants_csv() -> str:
    """The text of the file: name, x, y (2 degree observer), first nm, step in nm, the values by spaces.

    S0, S1, S2, the components of daylight, have no x, y.
    """
    colour = colour_science()
    lines = ["name,x,y,first_nm,step_nm,values"]
    for name in illuminant_names():
        x, y = (float(v) for v in colour.CCS_ILLUMINANTS[_OBSERVER][name])
        lines.append(_line(name, f"{x!r},{y!r}", colour.SDS_ILLUMINANTS[name]))
    for name, component in colour.colorimetry.SDS_BASIS_FUNCTIONS_CIE_ILLUMINANT_D_SERIES.items():
        lines.append(_line(name, ",", component))
    return "\n".join(lines) + "\n"


def _line(name: str, xy: str, spectrum: Any) -> str:
    nm = np.asarray(spectrum.wavelengths, dtype=np.float64)
    steps = np.unique(np.diff(nm))
    assert len(steps) == 1, f"{name}: wavelengths are not evenly apart"
    values = " ".join(f"{float(v)!r}".removesuffix(".0") for v in spectrum.values)
    return f"{name},{xy},{nm[0]:g},{steps[0]:g},{values}"


if __name__ == "__main__":
    write_whole(FILE, illuminants_csv())
