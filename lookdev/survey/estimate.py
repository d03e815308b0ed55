"""The light's colour guessed from the picture: shades of grey (Finlayson and Trezzi, Color and Imaging
Conference 2004) and grey edge (van de Weijer, Gevers and Gijsenij, IEEE Trans. Image Processing 16, 2007).

Both take it that something in a scene is grey on the average: its values, weighed towards the bright by a
Minkowski norm; or its edges. What a camera on automatic balance left in a picture is guessed so, where no
grey card says. A guess, and called one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import xy_from_xyz
from lookdev.colorimetry.rgb_spaces import WORKING
from lookdev.looks.rendering import lift_curve

if TYPE_CHECKING:
    from lookdev.stills.still import Still

Array = NDArray[np.float64]
XY = tuple[float, float]

NORM = 6
"""The Minkowski norm of both: the best on the data of Finlayson and Trezzi (their table 1)."""
LONG_EDGE_PX = 256
SIGMA_PX = 2.0
"""Smoothing before the edges, within the 1 to 6 px that van de Weijer et al. find best at such sizes."""
FULL = 0.98  # of the signal: a channel that is full says nothing of colour


def shades_of_grey(light: Array, norm: float = NORM) -> Array:
    """RGB (3,) of the light from the Minkowski means of linear light (n, 3).

    >>> shades_of_grey(np.array([[0.2, 0.1, 0.1], [0.4, 0.2, 0.2]])).round(3).tolist()
    [2.0, 1.0, 1.0]
    """
    mean = np.mean(np.maximum(light, 0.0) ** norm, axis=0) ** (1.0 / norm)
    return np.asarray(mean / max(float(mean[1]), 1e-9))


def grey_edge(light: Array, use: NDArray[np.bool_], norm: float = NORM, sigma_px: float = SIGMA_PX) -> Array:
    """RGB (3,) of the light from the Minkowski means of the gradients of linear light (h, w, 3)."""
    import cv2

    smooth = cv2.GaussianBlur(light, (0, 0), sigma_px)
    steep = np.hypot(cv2.Sobel(smooth, cv2.CV_64F, 1, 0), cv2.Sobel(smooth, cv2.CV_64F, 0, 1))
    return shades_of_grey(np.asarray(steep[use]), norm)


def light_in_picture(still: Still) -> tuple[XY, XY, XY] | None:
    """Chromaticity in which a grey thing is guessed to stand in a still: both in one, then each.

    The mean of the two in cone-free, logarithmic RGB. None where the picture is too dark or too full to tell.
    """
    from lookdev.stills.reader import reduced
    from lookdev.stills.still import signal_of

    height, width = still.pixels.shape[:2]
    scale = min(1.0, LONG_EDGE_PX / max(height, width))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    pixels = still.pixels if scale == 1.0 else reduced(still.pixels, still.encoding, size)
    signal = signal_of(pixels)
    output = still.encoding.state == "output"
    light = still.encoding.to_working(signal)
    light = np.ascontiguousarray(lift_curve(light) if output else light, dtype=np.float64)
    use = np.all(light > 0, axis=-1)
    if output:
        use &= np.all(signal < FULL, axis=-1)
    if np.count_nonzero(use) < 0.05 * use.size or float(np.mean(light[use])) < 1e-4:
        return None
    guesses = [shades_of_grey(light[use]), grey_edge(light, use)]
    guesses.insert(0, np.exp(np.mean(np.log(np.maximum(guesses, 1e-6)), axis=0)))
    xys = [xy_from_xyz(np.asarray(rgb) @ WORKING.to_xyz.T) for rgb in guesses]
    both, shades, edge = ((float(xy[0]), float(xy[1])) for xy in xys)
    return both, shades, edge
