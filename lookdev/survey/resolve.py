"""What a reading means for a still: the cast in the picture, and the stops to the metered exposure.

The one place where a reading becomes a :class:`Cast`; the survey comes here.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookdev.colorimetry.adaptation import xy_from_xyz
from lookdev.colorimetry.rgb_spaces import WORKING
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.errors import StillError
from lookdev.looks.cast import XY, Cast
from lookdev.looks.rendering import lift_curve
from lookdev.text.numbers import kelvin

if TYPE_CHECKING:
    from lookdev.meter.log import Reading
    from lookdev.meter.scout import Plan
    from lookdev.stills.still import Metadata, Still


@dataclass(frozen=True)
class Resolved:
    """``cast`` is None where the balance cannot be corrected; ``warnings`` say why."""

    cast: Cast | None = None
    warnings: tuple[str, ...] = ()

    def warned(self, line: str) -> Resolved:
        """The same with one more warning."""
        return Resolved(self.cast, (*self.warnings, line))


def camera_white(
    reading: Reading | None, plan: Plan, metadata: Metadata | None
) -> tuple[XY | None, str, tuple[str, ...]]:
    """White the camera was set to, where that comes from, and warnings.

    Order: the reading's ``camera_balance_k``; the still's EXIF (automatic balance is refused, a raw file's
    as-shot white or a preset is used); ``camera_balance_k`` of scout.toml.
    """
    exif_auto = metadata is not None and metadata.white_balance == "auto"
    if reading is not None and reading.camera_balance_auto:
        return None, "", (_AUTOMATIC,)
    if reading is not None and reading.camera_balance_k is not None:
        said = (
            f"EXIF says automatic balance, meter.csv says {kelvin(reading.camera_balance_k)}: used the log",
        )
        return _kelvin(reading.camera_balance_k), "meter.csv", said if exif_auto else ()
    if metadata is not None and metadata.camera_balance_xy is not None:
        return metadata.camera_balance_xy, "the file's own balance", ()
    if exif_auto:
        return None, "", (_AUTOMATIC,)
    if plan.camera_balance_k is not None:
        return _kelvin(plan.camera_balance_k), "scout.toml", ()
    return None, "", (_UNKNOWN,)


_AUTOMATIC = (
    "the camera was on automatic balance: a meter reading alone cannot correct it; give a grey patch "
    '(grey = "x,y,w,h") or the camera\'s setting (camera_balance_k) in meter.csv'
)
_UNKNOWN = (
    "the camera's balance is not known: give camera_balance_k in meter.csv or scout.toml, or a grey patch "
    '(grey = "x,y,w,h")'
)


def _kelvin(value: float) -> XY:
    white = balance_white_xy(value)
    return (float(white[0]), float(white[1]))


def resolve_reading(reading: Reading | None, plan: Plan, metadata: Metadata | None = None) -> Resolved:
    """The cast of a reading without its still's pixels; a grey patch is not looked at here."""
    if reading is None:
        return Resolved(None, ("no reading in the log: balance untouched",))
    if reading.white_xy is None:
        return Resolved(None, (f"{reading.file}, {reading.place}: no chromaticity: balance untouched",))
    camera, origin, warnings = camera_white(reading, plan, metadata)
    if camera is None:
        return Resolved(None, warnings)
    x, y = reading.white_xy
    words = f"{reading.white_origin}, camera balance from {origin}"
    return Resolved(Cast((float(x), float(y)), camera, words), warnings)


def resolve_still(reading: Reading | None, plan: Plan, still: Still) -> Resolved:
    """The cast in one still: from its grey patch if the reading gives one, else from the reading."""
    if reading is not None and reading.grey is not None:
        picture = patch_xy(still, reading.grey)
        x, y, w, h = reading.grey
        return Resolved(Cast.from_patch(picture, f"grey patch {x},{y},{w},{h}"))
    return resolve_reading(reading, plan, still.metadata)


def patch_xy(still: Still, box: tuple[int, int, int, int]) -> XY:
    """Chromaticity of the mean scene light of a patch ``x, y, w, h`` in pixels of the upright still.

    Raises
    ------
    StillError : the patch lies outside the still, is clipped, or is too dark to carry a colour.
    """
    x, y, w, h = box
    height, width = still.full_size
    name = Path(still.path).name
    if x < 0 or y < 0 or w < 1 or h < 1 or x + w > width or y + h > height:
        raise StillError(
            "grey patch outside the still",
            file=name,
            key="grey",
            found=f"{x},{y},{w},{h}",
            wanted=f"x, y, w, h inside {width} x {height} pixels",
        )
    signal = still.signal()[y : y + h, x : x + w].reshape(-1, 3)
    if still.encoding.state == "output" and np.mean(np.any(signal >= 0.996, axis=-1)) > 0.02:
        raise StillError("grey patch is clipped", file=name, key="grey", wanted="a patch below white")
    light = still.encoding.to_working(signal)
    scene = (lift_curve(light) if still.encoding.state == "output" else light).mean(axis=0)
    xyz = scene @ WORKING.to_xyz.T
    if xyz[1] < 0.005 or np.any(scene <= 0):
        raise StillError("grey patch is too dark or too strongly coloured", file=name, key="grey")
    xy = xy_from_xyz(xyz)
    return (float(xy[0]), float(xy[1]))
