"""HDR pictures (HLG, PQ) as scene light, by BT.2100 and BT.2408."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import HDR_WHITE_CD_M2, Encoding
from lookdev.colorimetry.hdr_scene import (
    PQ_AS_SCENE_LIGHT,
    hlg_as_scene_light,
    is_hlg,
    is_pq,
    scene_light_of_display,
)
from lookdev.stills.still import signal_of


def scene_light(pixels: NDArray[Any], encoding: Encoding) -> tuple[NDArray[Any], Encoding, Encoding | None]:
    """Pixels of an HDR picture as scene light, their encoding, and the one they came in (None: no HDR).

    HLG code values stay as they are: by the standard they are scene light. PQ's are light of a display: they
    become float32 linear BT.2020 scene light.
    """
    if is_hlg(encoding):
        return pixels, hlg_as_scene_light(encoding), encoding
    if not is_pq(encoding):
        return pixels, encoding, None
    light = np.empty(pixels.shape, dtype=np.float32)
    rows = max(1, (1 << 18) // max(1, pixels.shape[1]))
    for top in range(0, len(pixels), rows):
        display = encoding.decode(signal_of(pixels[top : top + rows])) * HDR_WHITE_CD_M2
        light[top : top + rows] = scene_light_of_display(display, encoding.space)
    return light, PQ_AS_SCENE_LIGHT, encoding


def hdr_words(encoding: Encoding) -> str:
    """What is done with a picture of an HDR ``encoding``, in one line."""
    light = (
        "light of a display, taken to scene light (BT.2408)" if is_pq(encoding) else "scene light (BT.2100)"
    )
    return f"HDR picture, {encoding.name}: {light}; shown by the looks' own rendering"
