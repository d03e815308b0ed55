"""The walls of a scout: each location once for every different light in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookdev.colorimetry.adaptation import CONE_MATRICES, cone_response, xy_from_xyz
from lookdev.colorimetry.rgb_spaces import D65_XY
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.errors import LookdevError, RequestError
from lookdev.looks.cast import Cast
from lookdev.meter.log import NOWHERE
from lookdev.paint.light import Light, light_of
from lookdev.paint.predict import Site
from lookdev.text.numbers import kelvin

if TYPE_CHECKING:
    from lookdev.meter.log import Reading
    from lookdev.meter.scout import Plan
    from lookdev.survey.resolve import Resolved
    from lookdev.survey.survey import Survey

XY = tuple[float, float]


def sites_of(
    survey: Survey,
    balance_k: float | None = None,
    level_stops: float = 0.0,
    through_still: bool = False,
) -> tuple[list[Site], list[str]]:
    """Sites in the order of the meter log, and what could not be used, a line each.

    Parameters
    ----------
    survey : of the scout, or of some of its locations.
    balance_k : the camera's balance, in place of what the log, the stills and scout.toml say.
    level_stops : light on the wall against light on the grey card.
    through_still : the stills camera's balance, not the production's: what the scout's stills show. The wall
        will be shot on footage, so that the plan's balance is taken where there is one.

    Raises
    ------
    RequestError : no reading at all.
    """
    scout = survey.scout
    if not scout.log.readings:
        raise RequestError("no reading in meter.csv", file=scout.folder.name, wanted="the light on the paint")
    sites: list[Site] = []
    errors: list[str] = []
    tags: list[str] = []
    seen: set[object] = set()
    for reading in survey.readings:
        location = reading.location or NOWHERE
        try:
            site = _site(
                reading,
                location,
                scout.plan,
                survey.resolved(reading),
                balance_k,
                level_stops,
                through_still,
            )
        except LookdevError as error:
            errors.append(str(error))
            continue
        key = (
            site.name,
            site.light.origin,
            site.light.xy,
            site.camera_xy,
            site.cast and site.cast.picture_xy,
        )
        if key not in seen:
            seen.add(key)
            sites.append(site)
            tags.append(Path(reading.stills[0]).stem if reading.stills else f"row {reading.row}")
    return _named_apart(sites, tags), errors


def _site(
    reading: Reading,
    location: str,
    plan: Plan,
    resolved: Resolved,
    balance_k: float | None,
    level_stops: float,
    through_still: bool,
) -> Site:
    light = light_of(reading)
    if balance_k is not None:
        camera = _white(balance_k)
        return Site(
            location,
            light,
            camera,
            f"{kelvin(balance_k)} as asked",
            Cast(light.xy, camera),
            level_stops,
        )
    if not through_still and plan.balance_k is not None and plan.balance_xy is not None:
        origin = f"{kelvin(plan.balance_k)} planned in scout.toml"
        return Site(location, light, plan.balance_xy, origin, Cast(light.xy, plan.balance_xy), level_stops)
    cast, warnings = resolved.cast, resolved.warnings
    if cast is not None:
        camera, origin = camera_behind(light, cast), cast.origin.split(", camera balance from ")[-1]
    elif plan.balance_k is not None and plan.balance_xy is not None:
        camera, origin = plan.balance_xy, f"{kelvin(plan.balance_k)} planned in scout.toml"
        cast = Cast(light.xy, camera)
    else:
        camera, origin = light.xy, "not known: taken as balanced to the lamp"
        warnings = (
            *warnings,
            "paint is predicted as if the camera were balanced to the lamp (or give --balance)",
        )
    return Site(location, light, camera, origin, cast, level_stops, warnings)


def _white(balance_k: float) -> XY:
    white = balance_white_xy(balance_k)
    return float(white[0]), float(white[1])


def camera_behind(light: Light, cast: Cast) -> XY:
    """The camera white that makes the lamp stand in the picture as the cast says.

    That is the cast's own camera white when the lamp is the metered one; a grey patch tells only the result.
    """
    if np.allclose(cast.white_xy, light.xy, atol=1e-4):
        return cast.camera_xy
    response = cone_response(light.xy) * cone_response(D65_XY) / cone_response(cast.picture_xy)
    xy = xy_from_xyz(response @ np.linalg.inv(CONE_MATRICES["Bradford"]).T)
    return float(xy[0]), float(xy[1])


def _named_apart(sites: list[Site], tags: list[str]) -> list[Site]:
    """Sites by location; with the source where it has several, with the still where that is not enough."""
    names = [s.name for s in sites]
    with_source = [f"{s.name}, {s.light.name}" for s in sites]
    out = []
    for site, longer, tag in zip(sites, with_source, tags, strict=True):
        name = site.name
        if names.count(name) > 1:
            name = longer if with_source.count(longer) == 1 else f"{name}, {tag}"
        out.append(replace(site, name=name, location=site.name))
    return out
