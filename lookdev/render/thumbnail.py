"""Small pictures of a decoded still for the sheets: the same light, averaged, in the still's own encoding."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import SRGB, Encoding
from lookdev.looks.model import Look
from lookdev.render import averages
from lookdev.render.reference import grade_reference
from lookdev.stills.reader import linear_light
from lookdev.stills.still import code_values

_ROWS_AT_ONCE = 256


def reduced_to_box(pixels: NDArray[Any], encoding: Encoding, box: tuple[int, int]) -> NDArray[Any]:
    """Pixels (h, w, 3) area-averaged in linear light to fit ``box`` (width, height), in their own type.

    The big still is never held as floats.
    """
    height, width = pixels.shape[:2]
    scale = min(box[0] / width, box[1] / height)
    if scale >= 1.0:
        return pixels
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    if pixels.dtype.kind == "f":
        import cv2

        factor = min(max(1, int(0.5 / scale)), height, width)
        small = cv2.resize(_block_means(pixels, encoding, factor), size, interpolation=cv2.INTER_AREA)
        return code_values(np.asarray(encoding.encode(small)), pixels.dtype)
    return averaged(pixels, encoding, size)


def averaged(pixels: NDArray[Any], encoding: Encoding, size: tuple[int, int]) -> NDArray[Any]:
    """Integer code values (h, w, 3) at a smaller ``size`` (width, height): the mean of each pixel's light."""
    pixels = np.require(pixels, requirements=("C", "W"))
    if pixels.dtype != np.uint8:
        small = averages.average_in_light(pixels, _light_of_codes(pixels.dtype, encoding), size)
        return code_values(np.asarray(encoding.encode(small)), pixels.dtype)
    return averages.average_to_codes(pixels, *_tables_of_8_bits(encoding), size)


def _light_of_codes(dtype: np.dtype[Any], encoding: Encoding) -> NDArray[np.float32]:
    ramp = np.repeat(np.arange(int(np.iinfo(dtype).max) + 1, dtype=dtype)[:, None, None], 3, axis=2)
    return np.ascontiguousarray(linear_light(ramp, encoding)[:, 0], dtype=np.float32)


@lru_cache(maxsize=8)
def _tables_of_8_bits(encoding: Encoding) -> tuple[NDArray[np.float32], averages.Edges]:
    """Light of each code, and where the next code begins."""
    halves = np.repeat((np.arange(255) + 0.5)[:, None] / 255.0, 3, axis=1)
    edges = np.ascontiguousarray(encoding.decode(halves).T, dtype=np.float32)
    return _light_of_codes(np.dtype(np.uint8), encoding), averages.Edges(edges)


def _block_means(pixels: NDArray[Any], encoding: Encoding, factor: int) -> NDArray[np.float32]:
    """Mean linear light of ``factor`` x ``factor`` blocks; an incomplete last row or column is left out."""
    rows, columns = pixels.shape[0] // factor, pixels.shape[1] // factor
    out = np.empty((rows, columns, 3), dtype=np.float32)
    step = max(1, _ROWS_AT_ONCE // factor)
    for top in range(0, rows, step):
        band = pixels[top * factor : min(top + step, rows) * factor, : columns * factor]
        light = linear_light(band, encoding).reshape(-1, factor, columns * factor * 3)
        # row by row, then column by column: a mean over both axes takes twelve times as long
        blocks = _sum(light[:, i] for i in range(factor)).reshape(-1, columns, factor, 3)
        out[top : top + step] = _sum(blocks[:, :, i] for i in range(factor))
    out /= np.float32(factor * factor)
    return out


def _sum(arrays: Iterable[NDArray[np.float32]]) -> NDArray[np.float32]:
    """The sum of arrays of one shape, one after the other."""
    total: NDArray[np.float32] | None = None
    for one in arrays:
        total = one.copy() if total is None else np.add(total, one, out=total)
    assert total is not None
    return total


def as_srgb(pixels: NDArray[Any], encoding: Encoding) -> NDArray[np.uint8]:
    """An ungraded picture as sRGB code values; scene-referred light is rendered."""
    if encoding == SRGB and pixels.dtype == np.uint8:
        return pixels.copy()
    plain = Look(title="as it stood").transform(encoding, SRGB)
    return grade_reference(pixels, plain)  # type: ignore[return-value]  # a lattice for one small picture is dear
