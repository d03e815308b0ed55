"""What was metered, as the production's camera will see it: the casts that LUTs and CDLs are made for.

A still's cast stands against what the stills camera was set to. Footage comes from another camera, set to the
plan's balance (``balance_k``, ``balance_duv``), so that the same lamp leaves another cast in it. Without a
planned balance all that is known is what the stills camera did; names and texts then say which kelvin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lookdev.colorimetry.adaptation import CONE_MATRICES, cone_response, xy_from_xyz
from lookdev.colorimetry.rgb_spaces import D65_XY
from lookdev.colorimetry.temperature import balance_white_xy, cct_duv_from_xy, is_cct_meaningful
from lookdev.errors import LookdevError
from lookdev.files import plain_ascii
from lookdev.looks.cast import XY, Cast
from lookdev.looks.stages.balance import describe_white
from lookdev.meter.log import NOWHERE
from lookdev.names import Names, place_names
from lookdev.survey.places import Place, Seen, places_of
from lookdev.survey.resolve import camera_white
from lookdev.text import numbers

if TYPE_CHECKING:
    from lookdev.meter.log import Reading
    from lookdev.meter.scout import Plan
    from lookdev.survey.survey import Survey, SurveyedStill


@dataclass(frozen=True)
class FootagePlace(Place):
    """A place as the production's camera sees it.

    ``balance`` : the camera's balance for names of files ("4300K"); ``balance_words`` : the same for texts.
    ``readings`` : where it stands for several, a line each.
    """

    balance: str = ""
    balance_words: str = ""
    readings: tuple[str, ...] = ()


def footage_cast(still: SurveyedStill, plan: Plan) -> Cast | None:
    """The cast that footage shows where a still was taken, or None where the light is not known.

    Against the plan's balance if there is one, whatever the stills camera did, on automatic too; else the
    still's own. A still's grey patch gives the lamp through what its camera was set to; where that is not
    known, the cast of the patch is all there is, and stays.
    """
    planned = plan.balance_xy
    if planned is None:
        return still.cast
    reading = still.reading
    lamp = None if reading is None else _metered(reading)
    if reading is not None and reading.grey is not None and still.cast is not None:
        camera, _, _ = camera_white(reading, plan, still.metadata)
        if camera is not None:
            lamp, origin = _lamp(still.cast, camera), still.cast.origin
            return Cast(lamp, planned, f"{origin}, footage at {_planned_words(plan)}")
        if lamp is None:
            return still.cast
    if reading is None or lamp is None:
        return None
    return Cast(lamp, planned, f"{reading.white_origin}, footage at {_planned_words(plan)}")


def as_footage(still: SurveyedStill, footage: Cast | None) -> Cast | None:
    """The cast that a balance to neutral must take out of a still for it to stand as footage does.

    None where nothing has to be done, or nothing is known of the still's camera.
    """
    if footage is None or still.cast is None or footage == still.cast:
        return None
    return Cast(
        still.cast.picture_xy, footage.picture_xy, "the stills camera's balance against the footage's"
    )


def footage_places(survey: Survey) -> list[FootagePlace]:
    """The places of a scout with the casts that footage shows there, each with the balance it stands against.

    With a planned balance, lights that are one for the production's camera are one place, however many
    balances the stills cameras had.
    """
    plan = survey.scout.plan
    if plan.balance_xy is None:
        return [_against_stills(place) for place in survey.places()]
    if survey.every_still:
        seen = [
            Seen(s.location, s.name, cast, s.reading.source if s.reading is not None else None)
            for s in survey.usable
            if (cast := footage_cast(s, plan)) is not None
        ]
        places = places_of(seen)
    else:
        lamps = ((reading, _metered(reading)) for reading in survey.readings)
        seen = [
            Seen(
                r.location or NOWHERE,
                f"row {r.row}",
                Cast(lamp, plan.balance_xy, f"{r.white_origin}, footage at {_planned_words(plan)}"),
                r.source,
            )
            for r, lamp in lamps
            if lamp is not None
        ]
        places = [replace(place, stills=()) for place in places_of(seen)]
    return [
        _placed(place, _planned_tag(plan), f"footage balanced to {_planned_words(plan)}")
        if place.cast.camera_xy == plan.balance_xy
        else _against_stills(place)
        for place in places
    ]


def footage_labels(places: Sequence[FootagePlace], every_location: Sequence[str]) -> list[str]:
    """A name for each place, in ASCII: its location, what sets it apart, the balance."""
    names = Names()
    labels = place_names([(place.name, place.location) for place in places], every_location)
    return [
        names.unique(plain_ascii(f"{label}_{place.balance}"))
        for label, place in zip(labels, places, strict=True)
    ]


def kelvin_tag(xy: XY) -> str:
    """A camera's balance for a file's name: kelvin as it is set, or x, y where kelvin has no meaning.

    >>> kelvin_tag((0.3127, 0.3290)), kelvin_tag((0.5, 0.2))
    ('6504K', 'x500y200')
    """
    if not is_cct_meaningful(xy):
        return f"x{1000 * xy[0]:.0f}y{1000 * xy[1]:.0f}"
    return f"{round(_set_kelvin(xy))}K"


def _white_words(xy: XY) -> str:
    """The kelvin that a camera was set to, where that is the whole of it; else CCT and Duv, or x, y."""
    kelvin = _set_kelvin(xy)
    return numbers.kelvin(kelvin) if _is_setting(kelvin, xy) else describe_white(xy)


def _set_kelvin(xy: XY) -> float:
    """The whole kelvin whose written white point ``xy`` is: 5600, not its CCT of 5599.4; else the CCT."""
    cct = cct_duv_from_xy(xy)[0]
    near = range(max(int(cct) - 2, 1000), min(int(cct) + 4, 25000))
    return next((float(k) for k in near if _is_setting(k, xy)), cct)


def _is_setting(kelvin: float, xy: XY) -> bool:
    return 1000 <= kelvin <= 25000 and bool(np.allclose(balance_white_xy(kelvin), xy, rtol=0, atol=1e-7))


def _against_stills(place: Place) -> FootagePlace:
    if place.cast.camera_xy == (float(D65_XY[0]), float(D65_XY[1])) and "grey patch" in place.cast.origin:
        return _placed(
            place, "as_the_stills", "footage from a camera balanced as the stills' was (not known)"
        )
    words = f"footage balanced as the stills' camera was, to {_white_words(place.cast.camera_xy)}"
    return _placed(place, kelvin_tag(place.cast.camera_xy), words)


def _placed(place: Place, balance: str, words: str) -> FootagePlace:
    return FootagePlace(place.name, place.location, place.cast, place.stills, balance, words)


def _planned_tag(plan: Plan) -> str:
    return f"{round(plan.balance_k or 0.0)}K"


def _planned_words(plan: Plan) -> str:
    off = "" if plan.balance_duv is None else f", {numbers.duv(plan.balance_duv)}"
    return f"{numbers.kelvin(plan.balance_k or 0.0)}{off} (balance_k in scout.toml)"


def _metered(reading: Reading) -> XY | None:
    try:
        white = reading.white_xy
    except LookdevError:  # a spectrum that cannot be read; what is decided about the still says so
        return None
    return None if white is None else (float(white[0]), float(white[1]))


def _lamp(cast: Cast, camera: XY) -> XY:
    """Chromaticity of the source whose cast a camera with the white ``camera`` shows as ``cast`` does."""
    response = cone_response(cast.picture_xy) * cone_response(camera) / cone_response(D65_XY)
    x, y = xy_from_xyz(response @ np.linalg.inv(CONE_MATRICES["Bradford"]).T)
    return float(x), float(y)
