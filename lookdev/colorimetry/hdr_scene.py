"""Scene light of HDR signals: ITU-R BT.2100-2 (HLG and PQ), with its levels from ITU-R BT.2408-7.

BT.2100-2 defines HLG by its OETF: the signal is scene light. It defines PQ by its EOTF: the signal is light
of a display, and the scene behind it is found by undoing the OOTF of the reference display (1000 cd/m2,
system gamma 1.2), as BT.2408-7 converts between the two. In both, scene light 1.0 is here a diffuse white
(HDR Reference White, 203 cd/m2, 75 % HLG: BT.2408-7 table 1); an 18 % grey card is then 0.18.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.encodings import (
    Encoding,
    HybridLogGamma,
    NarrowRange,
    PerceptualQuantizer,
    linear,
)
from lookdev.colorimetry.rgb_spaces import BT2020, RGBSpace, matrix_between

Array = NDArray[np.float64]

REFERENCE_DISPLAY_CD_M2 = 1000.0
SYSTEM_GAMMA = 1.2
_WHITE_SIGNAL = 0.75  # BT.2408-7 table 1, HDR Reference White in HLG
_WHITE = float(tf.hlg_oetf_inverse(_WHITE_SIGNAL))
_LUMA = np.array([0.2627, 0.6780, 0.0593])  # BT.2100-2 table 5, note on Y_S


@dataclass(frozen=True)
class HlgSceneLight:
    """HLG signal to scene light, channel by channel, and back if ``inverse``; picklable.

    BT.2408-7 table 1 puts a grey card of 18 % at 38 % of the signal:

    >>> HlgSceneLight()([0.75, 0.38]).round(2).tolist()
    [1.0, 0.18]
    """

    inverse: bool = False

    def __call__(self, values: ArrayLike) -> Array:
        if self.inverse:
            return tf.hlg_oetf(np.asarray(values, dtype=np.float64) * _WHITE)
        return np.asarray(tf.hlg_oetf_inverse(values) / _WHITE)


def is_pq(encoding: Encoding) -> bool:
    """Whether the code values of ``encoding`` are PQ, of either range."""
    decode = encoding.decode.inner if isinstance(encoding.decode, NarrowRange) else encoding.decode
    return isinstance(decode, PerceptualQuantizer)


def is_hlg(encoding: Encoding) -> bool:
    """Whether the code values of ``encoding`` are HLG as shown on a display, of either range."""
    decode = encoding.decode.inner if isinstance(encoding.decode, NarrowRange) else encoding.decode
    return isinstance(decode, HybridLogGamma)


def hlg_as_scene_light(encoding: Encoding) -> Encoding:
    """The same HLG code values read as the scene light that the standard says they are."""
    narrow = isinstance(encoding.decode, NarrowRange)
    decode, encode = HlgSceneLight(), HlgSceneLight(inverse=True)
    return replace(
        encoding,
        name=f"{encoding.name}, scene light",
        standard="ITU-R BT.2100-2 table 5, inverse OETF; diffuse white at 75 % (BT.2408-7)",
        state="scene",
        decode=NarrowRange(decode) if narrow else decode,
        encode=NarrowRange(encode, inverse=True) if narrow else encode,
    )


def scene_light_of_display(cd_m2: ArrayLike, space: RGBSpace = BT2020) -> Array:
    """Scene light, linear BT.2020 (..., 3), of the light of the reference display, in cd/m2 of ``space``.

    The OOTF of BT.2100-2 table 5 undone: display light over 1000 cd/m2, times its luminance to the power
    1/1.2 - 1. BT.2408-7 table 1 puts a grey card of 18 % at 26 cd/m2 and diffuse white at 203:

    >>> scene_light_of_display([[203.0] * 3, [26.0] * 3])[:, 0].round(2).tolist()
    [1.0, 0.18]
    """
    display = np.asarray(cd_m2, dtype=np.float64) @ matrix_between(space, BT2020).T / REFERENCE_DISPLAY_CD_M2
    luminance = np.maximum(np.abs(display @ _LUMA), 1e-9)[..., None]
    return np.asarray(display * luminance ** (1 / SYSTEM_GAMMA - 1) / _WHITE)


PQ_AS_SCENE_LIGHT = Encoding(
    "BT.2100 PQ, as scene light",
    "ITU-R BT.2100-2: display light through the inverse OOTF of a 1000 cd/m2 display (BT.2408-7)",
    "scene",
    BT2020,
    linear,
    linear,
)
"""What PQ code values are once :func:`scene_light_of_display` has been through them: linear BT.2020."""
