"""The reference renderer: every pixel through the look function, in float64."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.looks.pipeline import Transform
from lookdev.stills.still import code_values, signal_of

CHUNK_PIXELS = 1 << 18


def to_codes(signal: NDArray[np.float64], bits: int) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Code values of a signal in [0, 1], rounded half up; ``bits`` is 8 or 16.

    >>> to_codes(np.array([0.0, 0.5, 1.0]), 8).tolist()
    [0, 128, 255]
    """
    return code_values(signal, np.uint8 if bits == 8 else np.uint16)


def grade_reference(
    pixels: NDArray[Any], transform: Transform, *, bits: int = 8
) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Grade code values (h, w, 3) through ``transform``, in chunks; the result has ``bits`` 8 or 16."""
    height, width, _ = pixels.shape
    out = np.empty((height, width, 3), dtype=np.uint8 if bits == 8 else np.uint16)
    rows = max(1, CHUNK_PIXELS // max(width, 1))
    for top in range(0, height, rows):
        band = signal_of(pixels[top : top + rows])
        out[top : top + rows] = to_codes(transform(band), bits)
    return out
