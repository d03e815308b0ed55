"""A look at every pixel, in bands, for 16-bit results of small pictures and of 8-bit ones.

Others go through a lattice (:mod:`lookdev.render.deep_lattice`), whose nodes take longer to work out than the
pixels of these.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.compilation import compiled
from lookdev.looks.pipeline import Transform
from lookdev.render.kernel import unpacked
from lookdev.stills.still import signal_of

int32, uint32 = np.int32, np.uint32

BAND = 1 << 14
"""Pixels at a time: their signal stays in the processor's second cache."""


class EveryPixel:
    """A look in place of its lattice; results are those of the reference, to the bit."""

    busy = False
    nbytes = 0

    def __init__(self, transform: Transform) -> None:
        self.transform = transform

    def grade(self, pixels: NDArray[Any], out: NDArray[np.uint16]) -> None:
        """Code values (n, 3) of any type through the look into codes ``out`` (n, 3), a band at a time."""
        for start in range(0, len(pixels), BAND):
            part = slice(start, start + BAND)
            _round(self.transform(signal_of(pixels[part])).reshape(-1), 65535.0, out[part].reshape(-1))

    def codes_of(self, colours: NDArray[np.uint32]) -> NDArray[np.uint16]:
        """Codes (n, 3) of packed 8-bit colours (n,)."""
        out = np.empty((len(colours), 3), dtype=np.uint16)
        self.grade(unpacked(colours), out)
        return out


@compiled
def _round(signal, top_code, codes):  # type: ignore[no-untyped-def]
    """Code values of a signal, rounded half up and kept within 0 to the top."""
    for i in range(signal.size):
        codes[i] = int32(min(max(signal[i], 0.0), 1.0) * top_code + 0.5)


@compiled
def _put(numbers, codes, out):  # type: ignore[no-untyped-def]
    for i in range(numbers.shape[0]):
        low, high = uint32(numbers[i, 0]), uint32(numbers[i, 2])
        n = low | (uint32(numbers[i, 1]) << uint32(8)) | (high << uint32(16))
        out[i, 0], out[i, 1], out[i, 2] = codes[n, 0], codes[n, 1], codes[n, 2]


def put_codes(numbers: NDArray[np.uint8], codes: NDArray[np.uint16], out: NDArray[np.uint16]) -> None:
    """Write into ``out`` (n, 3) the ``codes`` of the colours whose ``numbers`` (n, 3) are given."""
    _put(numbers, codes, out)
