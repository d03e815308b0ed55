"""What a reading means for a still: the cast in the picture, and the stops to the metered exposure.

The one place where a reading becomes a :class:`Cast`; the survey comes here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lookdev.colorimetry.adaptation import CONE_MATRICES, cone_response, xy_from_xyz
from lookdev.colorimetry.rgb_spaces import D65_XY
from lookdev.colorimetry.temperature import balance_white_xy, is_cct_meaningful, mired_duv_from_xy
from lookdev.errors import StillError
from lookdev.looks.cast import XY, Cast
from lookdev.meter import cells
from lookdev.meter.cells import TAKEN_OUT
from lookdev.survey.patch import Box, box_of_fields, patch_xy, unevenness
from lookdev.text.numbers import kelvin, unsigned

if TYPE_CHECKING:
    from lookdev.meter.log import Reading
    from lookdev.meter.scout import Plan
    from lookdev.stills.still import Metadata, Still


FIXED, PATCH, ASSUMED, ESTIMATED = "fixed", "patch", "assumed", "estimated"
"""The roads to neutral, in the order of truth after a patch: a camera whose white is known (set, or a raw
file's own), a grey patch, the word that the camera took all of the cast out, a guess from the picture."""

REFERENCE_K = 5600.0
"""Against what ``keep`` is a share where neither the production's balance nor the camera's is known."""


@dataclass(frozen=True)
class Resolved:
    """``cast`` is None where the balance cannot be corrected; ``warnings`` say why.

    ``road`` : how neutral was found, one of ``FIXED``, ``PATCH``, ``ASSUMED``, ``ESTIMATED``; empty without a
    cast. ``patch`` : x, y, w, h of the grey patch that was sampled, in pixels of the upright still.
    """

    cast: Cast | None = None
    warnings: tuple[str, ...] = ()
    road: str = ""
    patch: Box | None = None

    def warned(self, *lines: str) -> Resolved:
        """The same with more warnings."""
        return replace(self, warnings=(*self.warnings, *lines))


def camera_white(
    reading: Reading | None, plan: Plan, metadata: Metadata | None
) -> tuple[XY | None, str, tuple[str, ...]]:
    """White the camera was set to, where that comes from, and warnings.

    Order: the reading's ``camera_balance_k``; the still's EXIF (automatic balance is refused, a raw file's
    as-shot white or a preset is used); ``camera_balance_k`` of scout.toml.
    """
    exif_auto = metadata is not None and metadata.white_balance == "auto"
    if reading is not None and reading.camera_balance_auto and not _is_raw(metadata):
        return None, "", (_AUTOMATIC,)
    if reading is not None and reading.camera_balance_k is not None:
        said = (
            f"EXIF says automatic balance, the log says {kelvin(reading.camera_balance_k)}: used the log",
        )
        return _kelvin(reading.camera_balance_k), reading.file, said if exif_auto else ()
    if metadata is not None and metadata.camera_balance_xy is not None:
        return metadata.camera_balance_xy, "the file's own balance", ()
    if exif_auto:
        return None, "", (_AUTOMATIC,)
    if plan.camera_balance_k is not None:
        return _kelvin(plan.camera_balance_k), "scout.toml", ()
    return None, "", (_UNKNOWN,)


_WAYS = (
    'a grey patch (grey = "F5" of the contact page, "x,y,w,h" or "chart"), the camera\'s setting '
    '(camera_balance_k), or camera_balance = "neutralised" or "estimate"'
)
_AUTOMATIC = (
    "the camera was on automatic balance: a meter reading alone cannot correct it; give in the log or "
    f"scout.toml {_WAYS}"
)
_UNKNOWN = f"the camera's balance is not known: give in the log or scout.toml {_WAYS}"


def _is_raw(metadata: Metadata | None) -> bool:
    """Whether the white is a raw file's own, by which its picture was made, whoever chose it."""
    if metadata is None or metadata.camera_balance_xy is None:
        return False
    return not metadata.origins.get("camera_balance_xy", "").startswith("EXIF")


_D65 = (float(D65_XY[0]), float(D65_XY[1]))


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
        if _said(reading, plan) == TAKEN_OUT:
            whole, doubts = _whole(reading, plan, None)
            words = "assumed: the camera took all of the cast out"
            return Resolved(Cast.from_patch(_D65, words, whole), doubts, ASSUMED)
        return Resolved(None, warnings)
    x, y = reading.white_xy
    words = f"{reading.white_origin}, camera balance from {origin}"
    lamp = (float(x), float(y))
    planned = plan.balance_xy
    whole = None if planned is None or np.allclose(planned, camera, atol=1e-5) else (lamp, planned)
    return Resolved(Cast(lamp, camera, words, whole), warnings, FIXED)


def needs_pixels(reading: Reading | None, plan: Plan, metadata: Metadata | None) -> bool:
    """Whether a still's cast is found in its picture: by a patch, or by a guess that was asked for."""
    if reading is None:
        return False
    if reading.grey is not None:
        return True
    asked = reading.white_xy is not None and _said(reading, plan) == cells.ESTIMATED
    return asked and camera_white(reading, plan, metadata)[0] is None


def resolve_still(reading: Reading | None, plan: Plan, still: Still) -> Resolved:
    """The cast in one still: from its grey patch if it has one that will do, else from the reading.

    A patch that will not do is warned of, and the still goes the way that it would go without.
    """
    doubts: tuple[str, ...] = ()
    if reading is not None and reading.grey is not None:
        try:
            return _by_patch(reading, plan, still)
        except StillError as problem:
            found = f", found {problem.found}" if problem.found else ""
            doubts = (f"{problem.problem}{found}: the grey patch is not used",)
    told = resolve_reading(reading, plan, still.metadata)
    if told.cast is None and needs_pixels(reading, plan, still.metadata) and reading is not None:
        told = _by_estimate(reading, plan, still, told)
    return replace(told, warnings=(*doubts, *told.warnings))


def _by_patch(reading: Reading, plan: Plan, still: Still) -> Resolved:
    grey = reading.grey
    box, where = patch_of(grey, still)
    picture = patch_xy(still, box)
    whole, doubts = _whole(reading, plan, still.metadata)
    uneven = unevenness(still, box)
    if uneven is not None:
        doubts = (*doubts, uneven)
    x, y, w, h = box
    cast = Cast.from_patch(picture, f"grey patch {x},{y},{w},{h}{where}", whole)
    return Resolved(cast, (*doubts, *_at_odds(reading, plan, still, picture)), PATCH, box)


def patch_of(grey: Box | str | None, still: Still) -> tuple[Box, str]:
    """x, y, w, h of a grey patch as it was typed, and where that is from, in words.

    Raises
    ------
    StillError : it is to be the chart or grey card in the picture, and none is found.
    """
    if isinstance(grey, tuple):
        return grey, ""
    if grey is not None and grey != "chart":
        return box_of_fields(grey, still.full_size), f", {grey} of the contact page"
    from lookdev.survey.card import find_neutral

    found = find_neutral(still)
    if found is None:
        raise StillError("no 24-patch chart and no grey card is found in the still", key="grey")
    return found.grey_box, f", {found.name} found in the picture"


def _by_estimate(reading: Reading, plan: Plan, still: Still, told: Resolved) -> Resolved:
    from lookdev.survey.estimate import light_in_picture

    guess = light_in_picture(still)
    if guess is None:
        return told.warned("the picture is too dark or too full for an estimate")
    whole, doubts = _whole(reading, plan, still.metadata)
    cast = Cast.from_patch(guess[0], "estimated from the picture (shades of grey and grey edge)", whole)
    return Resolved(cast, doubts, ESTIMATED)


def _said(reading: Reading, plan: Plan) -> str | None:
    """What is said of a camera whose white is not known: that it took all out, or that it be estimated."""
    own = reading.camera_balance_origin if reading.camera_balance_auto else None
    return own if own in (TAKEN_OUT, cells.ESTIMATED) else plan.camera_balance


def _whole(
    reading: Reading, plan: Plan, metadata: Metadata | None
) -> tuple[tuple[XY, XY] | None, tuple[str, ...]]:
    """The lamp and the production's balance, whose cast ``keep`` is a share of, and what is doubtful.

    Without a production's balance: the white that the camera was set to, if that is known, else REFERENCE_K.
    """
    if reading.white_xy is None:
        return None, ()
    lamp = (float(reading.white_xy[0]), float(reading.white_xy[1]))
    if plan.balance_xy is not None:
        return (lamp, plan.balance_xy), ()
    camera, _, _ = camera_white(reading, plan, metadata)
    if camera is None and plan.camera_balance_k is not None:
        camera = _kelvin(plan.camera_balance_k)
    if camera is not None:
        return (lamp, camera), ()
    return (lamp, _kelvin(REFERENCE_K)), (
        f"no production's balance is known ([plan] balance_k): keep is a share of the cast against "
        f"{kelvin(REFERENCE_K)}",
    )


ODDS_MIRED, ODDS_DUV = 40.0, 0.015
"""A patch may differ so much from what meter and camera say: twice what a real sensor and a card by the wall
make of it in the sample scout."""


def _at_odds(reading: Reading, plan: Plan, still: Still, picture: XY) -> tuple[str, ...]:
    """Words where a patch cannot be grey under the metered lamp; none where it can."""
    lamp = reading.white_xy
    camera, _, _ = camera_white(reading, plan, still.metadata)
    if lamp is None:
        return ()
    if camera is not None:
        expected = Cast((float(lamp[0]), float(lamp[1])), camera).picture_xy
        if not (is_cct_meaningful(expected) and is_cct_meaningful(picture)):
            return ()
        (mired, duv), (metered, metered_duv) = mired_duv_from_xy(picture), mired_duv_from_xy(expected)
        if abs(mired - metered) <= ODDS_MIRED and abs(duv - metered_duv) <= ODDS_DUV:
            return ()
        return (
            f"the patch is at odds with the meter by {unsigned(mired - metered, 0)} mired and Duv "
            f"{unsigned(duv - metered_duv, 3)}: is it grey, and in the metered light? Used the patch",
        )
    cones = cone_response((float(lamp[0]), float(lamp[1]))) * cone_response(D65_XY) / cone_response(picture)
    behind = xy_from_xyz(cones @ np.linalg.inv(CONE_MATRICES["Bradford"]).T)
    if is_cct_meaningful((float(behind[0]), float(behind[1]))):
        return ()
    return (
        "the patch is at odds with the meter: no camera balances so far off white. Is it grey, and in the "
        "metered light? Used the patch",
    )
