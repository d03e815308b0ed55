"""RGB colour spaces: primaries, white points and the matrices that follow from them.

Sources: ITU-R BT.709-6 items 1.3 and 1.4; IEC 61966-2-1:1999; ITU-R BT.2020-2 table 3; SMPTE RP 431-2 and
EG 432-1 (P3 primaries, here with D65); Adobe RGB (1998) section 4.3.1; ISO 22028-2 (ROMM RGB); Academy
S-2008-001 (AP0) and S-2014-004 (AP1).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix, xyz_from_xy

Array = NDArray[np.float64]

D65_XY = (0.3127, 0.3290)
D50_XY = (0.3457, 0.3585)
ACES_XY = (0.32168, 0.33767)

Primaries = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class RGBSpace:
    """Linear RGB with its primaries and white, as x, y chromaticities.

    Examples
    --------
    BT.709-6 item 3.2 gives the luma weights 0.2126, 0.7152, 0.0722:

    >>> BT709.to_xyz[1].round(4).tolist()
    [0.2126, 0.7152, 0.0722]
    """

    name: str
    primaries_xy: Primaries
    white_xy: tuple[float, float]
    standard: str

    @property
    def to_xyz(self) -> Array:
        """(3, 3) matrix from linear RGB to CIE XYZ, white at Y = 1, relative to the space's own white."""
        return _to_xyz(self.primaries_xy, self.white_xy)

    @property
    def from_xyz(self) -> Array:
        """(3, 3) matrix, the inverse of :attr:`to_xyz`."""
        return np.asarray(np.linalg.inv(self.to_xyz))


@lru_cache(maxsize=256)
def _to_xyz(primaries_xy: Primaries, white_xy: tuple[float, float]) -> Array:
    columns = np.stack([xyz_from_xy(xy) for xy in primaries_xy], axis=1)
    scale = np.linalg.solve(columns, xyz_from_xy(white_xy))
    matrix = columns * scale
    matrix.setflags(write=False)
    return np.asarray(matrix)


BT709 = RGBSpace("BT.709", ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)), D65_XY, "ITU-R BT.709-6, item 1.3")
SRGB = BT709
BT2020 = RGBSpace(
    "BT.2020", ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)), D65_XY, "ITU-R BT.2020-2, table 3"
)
DISPLAY_P3 = RGBSpace(
    "P3-D65", ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)), D65_XY, "SMPTE EG 432-1, RP 431-2"
)
ADOBE_RGB = RGBSpace(
    "Adobe RGB", ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)), D65_XY, "Adobe RGB (1998) 4.3.1"
)
PROPHOTO = RGBSpace(
    "ProPhoto", ((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001)), D50_XY, "ISO 22028-2 ROMM RGB"
)
ACES_AP0 = RGBSpace(
    "ACES AP0", ((0.7347, 0.2653), (0.0, 1.0), (0.0001, -0.077)), ACES_XY, "Academy S-2008-001"
)
ACES_AP1 = RGBSpace(
    "ACES AP1", ((0.713, 0.293), (0.165, 0.830), (0.128, 0.044)), ACES_XY, "Academy S-2014-004"
)
WORKING = BT2020


@lru_cache(maxsize=512)
def matrix_between(source: RGBSpace, target: RGBSpace, method: str = "Bradford") -> Array:
    """(3, 3) matrix from linear ``source`` RGB to linear ``target`` RGB, adapted where the whites differ.

    Examples
    --------
    ITU-R BT.2087-0 gives 0.6274, 0.3293, 0.0433 as the first row from BT.709 to BT.2020:

    >>> matrix_between(BT709, BT2020)[0].round(4).tolist()
    [0.6274, 0.3293, 0.0433]
    """
    if source.primaries_xy == target.primaries_xy and source.white_xy == target.white_xy:
        matrix = np.eye(3)
    else:
        adapt = adaptation_matrix(source.white_xy, target.white_xy, method)
        matrix = np.asarray(target.from_xyz @ adapt @ source.to_xyz)
    matrix.setflags(write=False)
    return matrix
