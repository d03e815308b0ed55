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
    """What was metered against what the camera was set to, and against what the production means to shoot.

    Attributes
    ----------
    white_xy : chromaticity of the source, as metered; or, with ``camera_xy`` D65, where a grey thing stands
        in the picture itself.
    camera_xy : white that the stills camera was balanced to.
    origin : where the two come from, in words.
    whole : the lamp and the production's balance, whose cast ``keep`` is a share of; None where that is not
        known, and then it is a share of what stands in the picture.

    >>> from lookdev.colorimetry.temperature import balance_white_xy
    >>> sodium, balance = (0.5344, 0.4157), tuple(balance_white_xy(4300.0))
    >>> phone = Cast.from_patch((0.33, 0.34), "grey patch", whole=(sodium, balance))
    >>> phone.whole_xy == Cast(sodium, balance).picture_xy
    True
    """

    white_xy: XY
    camera_xy: XY
    origin: str = ""
    whole: tuple[XY, XY] | None = None

    @property
    def picture_xy(self) -> XY:
        """Chromaticity at which the source stands in the picture (neutral is D65)."""
        return _seen(self.white_xy, self.camera_xy)

    @property
    def whole_xy(self) -> XY:
        """Chromaticity at which the source stands for a camera on the production's balance."""
        return self.picture_xy if self.whole is None else _seen(*self.whole)

    @classmethod
    def from_patch(cls, picture_xy: XY, origin: str = "", whole: tuple[XY, XY] | None = None) -> Cast:
        """The cast that a grey patch shows in the picture itself, whatever the camera did."""
        return cls(picture_xy, pair(D65_XY), origin, whole)


def _seen(white_xy: XY, camera_xy: XY) -> XY:
    """Where a white stands in the picture of a camera that is balanced to another."""
    cone = CONE_MATRICES["Bradford"]
    response = cone_response(white_xy) * cone_response(D65_XY) / cone_response(camera_xy)
    return pair(xy_from_xyz(response @ np.linalg.inv(cone).T))


def pair(xy: Array | XY) -> XY:
    """Chromaticity as two numbers."""
    return (float(xy[0]), float(xy[1]))
