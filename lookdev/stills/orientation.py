"""The eight orientations of EXIF and TIFF 6.0 (tag 274)."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

_FLIP = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}  # OpenCV: 1 left to right, 0 top to bottom, -1 both


def upright(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Turn stored pixels (h, w, 3) so that the picture stands upright; contiguous.

    The tag says where row 0 and column 0 of the stored picture are to be seen: 1 top left, 2 top right,
    3 bottom right, 4 bottom left, 5 left top, 6 right top, 7 right bottom, 8 left bottom (TIFF 6.0, p. 36).

    >>> upright(np.arange(6, dtype=np.uint8).reshape(2, 3, 1).repeat(3, 2), 6)[..., 0].tolist()
    [[3, 0], [4, 1], [5, 2]]
    """
    if orientation not in _FLIP and orientation < 5:
        return np.ascontiguousarray(pixels)  # the usual way up: OpenCV takes a tenth of a second to load
    import cv2

    if orientation >= 5:
        pixels = cv2.transpose(pixels)
    if orientation in _FLIP:
        pixels = cv2.flip(pixels, _FLIP[orientation])
    return np.ascontiguousarray(pixels)


def upright_size(size: tuple[int, int], orientation: int) -> tuple[int, int]:
    """(height, width) after :func:`upright`."""
    return (size[1], size[0]) if orientation >= 5 else size
