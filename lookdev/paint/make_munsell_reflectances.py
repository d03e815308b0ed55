"""Write munsell_reflectances.csv: ``python -m lookdev.paint.make_munsell_reflectances``.

The 2734 real renotation colours (ASTM D1535) and the neutrals N 0.5 to N 9.5, each with the three numbers of
its smooth reflectance (Jakob and Hanika 2019), recovered under illuminant C where the renotation was made.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lookdev.colorimetry.munsell_notation import luminance_factor, notation, renotation, xyy_from_munsell
from lookdev.files import write_whole
from lookdev.paint.recovery import sigmoid_coefficients
from lookdev.paint.spectra import illuminant_weights, white_xy

FILE = Path(__file__).with_name("munsell_reflectances.csv")


def reflectances_csv() -> str:
    """The text of the file: notation, three coefficients, what is left over in CIELAB under C."""
    table = renotation()
    real = table.real
    specs = np.stack([table.hue, table.value, table.chroma], axis=-1)[real]
    greys = np.arange(0.5, 10.0, 0.5)
    specs = np.concatenate([specs, np.stack([0 * greys, greys, 0 * greys], axis=-1)])
    weights = illuminant_weights("C")
    xyy = xyy_from_munsell(specs[:, 0], specs[:, 1], specs[:, 2])
    white = np.array(white_xy(weights))
    xy = np.where(specs[:, 2:] == 0, white, xyy[:, :2])
    lum = luminance_factor(specs[:, 1])
    xyz = np.stack([xy[:, 0] / xy[:, 1], np.ones(len(xy)), (1 - xy.sum(axis=1)) / xy[:, 1]], axis=-1)
    coefficients, left = sigmoid_coefficients(xyz * lum[:, None], weights)
    lines = ["notation,c0,c1,c2,left_over"]
    for spec, c, rest in zip(specs, coefficients, left, strict=True):
        numbers = ",".join(f"{round(float(v), 5) + 0.0:.7g}" for v in c)
        lines.append(f"{notation(*spec)},{numbers},{rest:.3f}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    write_whole(FILE, reflectances_csv())
