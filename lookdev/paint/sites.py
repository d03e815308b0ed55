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
from lookdev.looks.stages.balance import Cast
from lookdev.meter.log import NOWHERE
from lookdev.paint.light import Light, light_of
from lookdev.paint.predict import Site
from lookdev.text.numbers import kelvin

if TYPE_CHECKING:
    from lookdev.meter.log import Reading
    from lookdev.meter.scout import Plan, Scout
    from lookdev.render.resolve import Resolved

XY = tuple[float, float]


def sites_of(
    scout: Scout,
    only: tuple[str, ...] = (),
    balance_k: float | None = None,
    level_stops: float = 0.0,
    through_still: bool = False,
) -> tuple[list[Site], list[str]]:
    """Sites in the order of the meter log, and what could not be used, a line each.

    Parameters
    ----------
    scout : with its meter log.
    only : locations by name, case ignored; empty for all.
    balance_k : the camera's balance, in place of what the log, the stills and scout.toml say.
    level_stops : light on the wall against light on the grey card.
    through_still : the stills camera's balance, not the production's: what the scout's stills show. The wall
        will be shot on footage, so that the plan's balance is taken where there is one.

    Raises
    ------
    RequestError : no reading at all, or no such location.
    """
    readings = scout.log.readings
    if not readings:
        raise RequestError("no reading in meter.csv", file=scout.folder.name, wanted="the light on the paint")
    wanted = _wanted(scout, only)
    resolved = _by_reading(scout, only)
    sites: list[Site] = []
    errors: list[str] = []
    tags: list[str] = []
    seen: set[object] = set()
    for reading in readings:
        location = reading.location or NOWHERE
        if wanted is not None and location.casefold() not in wanted:
            continue
        try:
            site = _site(
                reading,
                location,
                scout.plan,
                resolved.get(id(reading)),
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


def _wanted(scout: Scout, only: tuple[str, ...]) -> set[str] | None:
    if not only:
        return None
    have = {place.casefold(): place for place in (r.location or NOWHERE for r in scout.log.readings)}
    for name in only:
        if name.casefold() not in have:
            raise RequestError("no such location", found=name, wanted="one of: " + ", ".join(have.values()))
    return {name.casefold() for name in only}


def _by_reading(scout: Scout, only: tuple[str, ...]) -> dict[int, Resolved]:
    """What the first still of each reading says about its cast."""
    from lookdev.render.batch import plan_batch

    if not scout.stills:
        return {}
    out: dict[int, Resolved] = {}
    try:
        planned = plan_batch(scout, (), Path("unused"), only=only).stills
    except RequestError:  # a location without stills
        planned = plan_batch(scout, (), Path("unused")).stills
    for still in planned:
        if still.reading is None or still.error is not None:
            continue
        known = out.get(id(still.reading))
        if known is None or (known.cast is None and still.resolved.cast is not None):
            out[id(still.reading)] = still.resolved
    return out


def _site(
    reading: Reading,
    location: str,
    plan: Plan,
    resolved: Resolved | None,
    balance_k: float | None,
    level_stops: float,
    through_still: bool,
) -> Site:
    from lookdev.render.resolve import resolve_reading

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
    resolved = resolved or resolve_reading(reading, plan)
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
