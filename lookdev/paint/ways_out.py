"""A wall that cannot be painted: which look, which gel on the lamp there, which lamp of ours saves it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.temperature import observer_1nm
from lookdev.looks.cast import Cast
from lookdev.looks.pipeline import LookLike
from lookdev.meter.filters import COMMON_FILTERS
from lookdev.meter.gels import Filter
from lookdev.meter.lamps import Kit
from lookdev.meter.reading import Reading
from lookdev.paint.chip import ChipSet
from lookdev.paint.light import Light, light_from_illuminant, light_of
from lookdev.paint.predict import Site, Viewing
from lookdev.paint.spectra import GRID_NM

Array = NDArray[np.float64]

COMMON_LAMPS = {"A": "tungsten", "D55": "a daylight lamp", "LED-B3": "a white LED of 4100 K"}
"""CIE illuminants that stand for our lamps where ``scout.toml`` names none (common practice)."""

WORTH = 1.0
"""CIEDE2000 by which a way must better the best chip to be named."""


@dataclass(frozen=True)
class WayOut:
    """One change, the chip that then comes nearest, and how near (CIEDE2000)."""

    change: str
    chip: str
    ciede2000: float


def ways_out(
    target_lab: Array,
    viewing: Viewing,
    looks: Sequence[LookLike],
    chips: ChipSet,
    most: int = 5,
    kit: Kit | None = None,
) -> list[WayOut]:
    """Single changes at one place after which a chip comes nearer to the target, the best first.

    Parameters
    ----------
    target_lab : CIELAB (3,) for D65 on screen.
    viewing : the place and look where the wall cannot be painted.
    looks : others to try.
    chips : what there is to paint with.
    most : how many to name.
    kit : our own lamps and filters; lamps that mix their colour have no spectrum that is known and are left
        out. Without a kit, or one that names no lamp, what is common stands in.
    """
    tried: list[tuple[str, Viewing]] = [
        (f"through {look.title}", replace(viewing, look=look)) for look in looks if look is not viewing.look
    ]
    site = viewing.site
    if site.light.is_spectral:
        tried += [
            (f"{name} on the lamp there", replace(viewing, site=_lit_by(site, light)))
            for name, light in _gelled(site.light, kit.filters if kit else COMMON_FILTERS)
        ]
    tried += [
        (f"{name} on the wall", replace(viewing, site=_lit_by(site, light))) for name, light in _lamps(kit)
    ]
    now = float(ciede2000(viewing.screen(chips.reflectances)[1], target_lab).min())
    out = []
    for change, view in tried:
        off = ciede2000(view.screen(chips.reflectances)[1], target_lab)
        best = int(np.argmin(off))
        if off[best] < now - WORTH:
            out.append(WayOut(change, chips.chips[best].label, float(off[best])))
    return sorted(out, key=lambda w: w.ciede2000)[:most]


def _lit_by(site: Site, light: Light) -> Site:
    """The site under another light, exposed for it, the camera's balance as it was."""
    return Site(
        site.name, light, site.camera_xy, site.camera_origin, Cast(light.xy, site.camera_xy),
        site.level_stops, site.warnings, site.location,
    )  # fmt: skip


def _lamps(kit: Kit | None) -> list[tuple[str, Light]]:
    """Our lamps as lights, by what is known of each."""
    if kit is None or kit.is_assumed:
        return [
            (f"{words} (CIE {name})", light_from_illuminant(name)) for name, words in COMMON_LAMPS.items()
        ]
    known = []
    for lamp in kit.lamps:
        if lamp.xy is not None:
            x, y = lamp.xy
            known.append((lamp.name, light_of(Reading(source=lamp.name, x=x, y=y, spectrum=lamp.spectrum))))
    return known


def _gelled(light: Light, filters: Sequence[Filter]) -> list[tuple[str, Light]]:
    """The light through one sheet of each filter, spectrum by spectrum."""
    from lookdev.meter.gel_spectra import transmittance

    grid, _ = observer_1nm()
    out = []
    for one in filters:
        passed = light.weights * np.interp(GRID_NM, grid, transmittance(one))[:, None]
        weights = passed / passed[:, 1].sum()
        out.append((one.name, replace(light, name=f"{light.name} with {one.name}", weights=weights)))
    return out
