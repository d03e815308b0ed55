"""The eight orientations of EXIF and TIFF 6.0 (tag 274)."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def upright(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Turn stored pixels (h, w, ...) so that the picture stands upright; contiguous.

    The tag says where row 0 and column 0 of the stored picture are to be seen: 1 top left, 2 top right,
    3 bottom right, 4 bottom left, 5 left top, 6 right top, 7 right bottom, 8 left bottom (TIFF 6.0, p. 36).
    """
    if orientation >= 5:
        pixels = np.swapaxes(pixels, 0, 1)
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return np.ascontiguousarray(pixels)


def upright_size(size: tuple[int, int], orientation: int) -> tuple[int, int]:
    """(height, width) after :func:`upright`."""
    return (size[1], size[0]) if orientation >= 5 else size
