"""The cast of a metered source in a picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import CONE_MATRICES, cone_response, xy_from_xyz
from lookdev.colorimetry.rgb_spaces import D65_XY

Array = NDArray[np.float64]
XY = tuple[float, float]


@dataclass(frozen=True)
class Cast:
    """What was metered against what the camera was set to.

    Attributes
    ----------
    white_xy : chromaticity of the source, as metered.
    camera_xy : white that the camera was balanced to.
    origin : where the two come from, in words.
    """

    white_xy: XY
    camera_xy: XY
    origin: str = ""

    @property
    def picture_xy(self) -> XY:
        """Chromaticity at which the source stands in the picture (neutral is D65)."""
        cone = CONE_MATRICES["Bradford"]
        response = cone_response(self.white_xy) * cone_response(D65_XY) / cone_response(self.camera_xy)
        return pair(xy_from_xyz(response @ np.linalg.inv(cone).T))

    @classmethod
    def from_patch(cls, picture_xy: XY, origin: str = "") -> Cast:
        """The cast that a grey patch shows in the picture itself, whatever the camera did."""
        return cls(picture_xy, pair(D65_XY), origin)


def pair(xy: Array | XY) -> XY:
    """Chromaticity as two numbers."""
    return (float(xy[0]), float(xy[1]))
