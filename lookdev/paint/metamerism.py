"""How far colours part, or one colour moves, when the light changes.

Sources: CIE 15:2018 9.2 (special metamerism index, change in illuminant): two specimens that match under the
reference illuminant, their difference under another; where they do not quite match, the tristimulus values
under the test illuminant are first corrected by their ratio under the reference. The index here is a
CIEDE2000 difference, which the standard allows if it is said. Colour inconstancy: the difference between a
colour under the reference and its corresponding colour under the test light, full adaptation (CAT16), after
Luo, Li, Hunt, Rigg, Smith 2003 (CMCCON02), again with CIEDE2000.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.rgb_spaces import D65_XY
from lookdev.paint.spectra import illuminant_weights, white_xy

Array = NDArray[np.float64]


def special_metamerism_index(
    standard: ArrayLike, sample: ArrayLike, test: Array, reference: Array | None = None
) -> Array:
    """Difference (n,) under ``test`` of specimens made to match under ``reference``.

    Parameters
    ----------
    standard, sample : reflectances (n, 85).
    test, reference : lamp weights (85, 3); the reference is D65 unless given.
    """
    base = illuminant_weights("D65") if reference is None else reference
    one, two = np.asarray(standard, dtype=np.float64), np.asarray(sample, dtype=np.float64)
    ratio = (one @ base) / np.maximum(two @ base, 1e-12)
    white = white_xy(test)
    return ciede2000(lab_from_xyz(one @ test, white), lab_from_xyz((two @ test) * ratio, white))


def adapted_lab(reflectances: ArrayLike, weights: Array, method: str = "CAT16") -> Array:
    """CIELAB (n, 3) for D65 of reflectances (n, 85) as an eye sees them that is fully used to the lamp.

    A lamp that cannot be adapted to (no positive cone response) is refused by ``adaptation_matrix``.
    """
    matrix = adaptation_matrix(white_xy(weights), D65_XY, method)
    return lab_from_xyz(np.asarray(reflectances, dtype=np.float64) @ weights @ matrix.T)


def inconstancy(reflectances: ArrayLike, weights: Array) -> Array:
    """CIEDE2000 (n,) between colours under D65 and their corresponding colours under the lamp."""
    d65 = illuminant_weights("D65")
    made = adapted_lab(reflectances, d65)
    return ciede2000(made, adapted_lab(reflectances, weights))
