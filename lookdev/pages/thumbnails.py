"""Small pictures from large ones, averaged in linear light.

A pixel of a small picture is the mean of the light that fell on its area, so the averaging is done on linear
values (area weighting, float32), never on the encoded signal: a black and white check of
equal areas becomes sRGB 188, not 128.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import SRGB, Encoding
from lookdev.colorimetry.transfer_functions import srgb_decode, srgb_encode
from lookdev.errors import SheetError

_ROWS_AT_ONCE = 256


def fit_size(size: tuple[int, int], box: tuple[int, int]) -> tuple[int, int]:
    """Largest (height, width) of the shape of ``size`` inside ``box``, both (height, width); at least 1 x 1.

    >>> fit_size((2000, 3000), (300, 300))
    (200, 300)
    """
    height, width = size
    if min(height, width, *box) < 1:
        raise SheetError("a picture and its box need at least one pixel", found=f"{size}, {box}")
    scale = min(box[0] / height, box[1] / width)
    return (
        min(box[0], max(1, round(height * scale))),
        min(box[1], max(1, round(width * scale))),
    )


def resize_light(linear: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    """Linear light (h, w, 3) at another size (height, width): area average down, bilinear up."""
    import cv2

    height, width = size
    if linear.shape[:2] == (height, width):
        return linear
    smaller = height <= linear.shape[0] and width <= linear.shape[1]
    how = cv2.INTER_AREA if smaller else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(linear, (width, height), interpolation=how), dtype=np.float32)


def thumbnail(
    signal: NDArray[Any], encoding: Encoding, box: tuple[int, int], target: Encoding = SRGB
) -> NDArray[np.uint8]:
    """A still's signal in ``encoding`` as uint8 of ``target`` that fits ``box``.

    Parameters
    ----------
    signal : (h, w, 3), uint8 or uint16 code values, or floats with 1 as full scale.
    encoding, target : what the values mean, and what is wanted. Both must be of one image state.
    box : (height, width) in pixels. The picture keeps its shape; a smaller one is not enlarged.
    """
    if signal.ndim != 3 or signal.shape[2] != 3:
        raise SheetError("a still has three channels", found=str(signal.shape), wanted="(height, width, 3)")
    full = float(np.iinfo(signal.dtype).max) if np.issubdtype(signal.dtype, np.integer) else 1.0
    height, width = signal.shape[:2]
    light = np.empty(signal.shape, dtype=np.float32)
    for top in range(0, height, _ROWS_AT_ONCE):
        rows = slice(top, top + _ROWS_AT_ONCE)
        light[rows] = encoding.to_working(np.asarray(signal[rows], dtype=np.float64) / full)
    size = fit_size((height, width), (min(box[0], height), min(box[1], width)))
    small = target.from_working(resize_light(light, size))
    return _quantise(small)


@cache
def _srgb_table() -> NDArray[np.float32]:
    return np.asarray(srgb_decode(np.arange(256) / 255.0), dtype=np.float32)


def resize_srgb(pixels: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """uint8 sRGB (h, w, 3) at exactly ``size`` (height, width), averaged in linear light.

    >>> check = np.zeros((2, 2, 3), np.uint8)
    >>> check[0, 0] = check[1, 1] = 255
    >>> resize_srgb(check, (1, 1)).tolist()
    [[[188, 188, 188]]]
    """
    height, width = size
    if pixels.shape[:2] == size:
        return pixels
    if height <= pixels.shape[0] and width <= pixels.shape[1]:
        from lookdev.render.thumbnail import averaged

        return np.asarray(averaged(pixels, SRGB, (width, height)), dtype=np.uint8)
    import cv2

    light = resize_light(cv2.LUT(pixels, _srgb_table()), size)  # type: ignore[arg-type]
    return _quantise(srgb_encode(light.astype(np.float64)))


def _quantise(signal: NDArray[np.float64]) -> NDArray[np.uint8]:
    return np.asarray(np.floor(np.clip(signal, 0.0, 1.0) * 255.0 + 0.5), dtype=np.uint8)
