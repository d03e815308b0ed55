"""Our own lamps and filters, as ``scout.toml`` has them, and what each of our lamps takes to match a light.

```toml
[[lamps]]                     # ours: cct_k (and duv), x and y, a spectrum, or the emitters it mixes
name = "fresnel"
cct_k = 3200

[[lamps]]
name = "colour panel"
emitters = [[0.69, 0.31], [0.17, 0.70], [0.14, 0.05], [0.46, 0.41]]   # x, y; three or more

[[filters]]                   # own swatch book: named first, before the common ones
name = "our blue"
mired = -120                  # and duv; or transmittance = "blue.csv", nm and value
stops = 1.3
```
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from lookdev.errors import MeterError
from lookdev.meter.filters import COMMON_FILTERS, Match, match
from lookdev.meter.fixture import Dial, dial, span
from lookdev.meter.gels import Filter
from lookdev.text.numbers import kelvin

Point = tuple[float, float]


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def checked_emitters(emitters: Sequence[Point]) -> None:
    """Raise ValueError unless the emitters are possible lights that span an area."""
    from lookdev.meter.log import is_possible

    for x, y in emitters:
        if not is_possible((x, y), slack=0.01):
            raise ValueError(f"three or more x, y inside the spectral locus, not {x:g}, {y:g}")
    if span(emitters) < 1e-4:
        raise ValueError("three or more x, y that span an area; these lie on one line (zero area)")


class LampEntry(_Entry):
    """One of ``[[lamps]]``: a lamp of ours, known by one of CCT, x and y, a spectrum, or its emitters."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    cct_k: Annotated[float, Field(ge=1000, le=25000)] | None = None
    duv: Annotated[float, Field(ge=-0.05, le=0.05)] = 0.0
    x: Annotated[float, Field(gt=0, lt=1)] | None = None
    y: Annotated[float, Field(gt=0, lt=1)] | None = None
    spectrum: str | None = None
    emitters: Annotated[tuple[Point, ...], Field(min_length=3, max_length=16)] | None = None

    @model_validator(mode="after")
    def _is_one_light(self) -> Self:
        if (self.x is None) != (self.y is None):
            raise ValueError("both x and y")
        ways = [self.cct_k, self.x, self.spectrum, self.emitters]
        if sum(way is not None for way in ways) != 1:
            raise ValueError("one of cct_k, x and y, spectrum, emitters")
        if self.duv and self.cct_k is None:
            raise ValueError("duv together with cct_k")
        if self.x is not None and self.y is not None:
            from lookdev.meter.log import is_possible

            if not is_possible((self.x, self.y)):
                raise ValueError("x and y inside the spectral locus")
        if self.emitters is not None:
            checked_emitters(self.emitters)
        return self


class FilterEntry(_Entry):
    """One of ``[[filters]]``: a filter of our own swatch book."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    mired: Annotated[float, Field(ge=-600, le=600)] | None = None
    duv: Annotated[float, Field(ge=-0.1, le=0.1)] | None = None
    stops: Annotated[float, Field(ge=0, le=15)] | None = None
    transmittance: str | None = None

    @model_validator(mode="after")
    def _is_one_filter(self) -> Self:
        shifts = self.mired is not None or self.duv is not None
        if shifts == (self.transmittance is not None):
            raise ValueError("mired (and duv), or a transmittance file")
        if shifts and self.stops is None:
            raise ValueError("stops, the light that it takes")
        return self


@dataclass(frozen=True)
class Lamp:
    """A lamp of ours. ``xy`` is None for one that mixes its colour from ``emitters``."""

    name: str
    xy: Point | None = None
    spectrum: Path | None = None
    emitters: tuple[Point, ...] = ()


def common_lamps() -> tuple[Lamp, ...]:
    """Tungsten and daylight, what stands for our lamps where ``scout.toml`` has none (common practice)."""
    from lookdev.colorimetry.temperature import balance_white_xy

    whites = [(k, balance_white_xy(k)) for k in (3200.0, 5600.0)]
    return tuple(Lamp(kelvin(k), (float(w[0]), float(w[1]))) for k, w in whites)


@dataclass(frozen=True)
class Kit:
    """Our lamps and filters; ``is_assumed`` where ``scout.toml`` has no lamps and the common two stand in."""

    lamps: tuple[Lamp, ...]
    filters: tuple[Filter, ...] = COMMON_FILTERS
    is_assumed: bool = False

    @property
    def mixing(self) -> Lamp | None:
        """The first of our lamps that mixes its colour."""
        return next((lamp for lamp in self.lamps if lamp.emitters), None)


def kit_of(lamps: Sequence[Lamp], filters: tuple[Filter, ...] = COMMON_FILTERS) -> Kit:
    """Our lamps and filters, with tungsten and daylight where there is no lamp without emitters."""
    return Kit(tuple(lamps), filters) if lamps else Kit(common_lamps(), filters, True)


def lamp_of(entry: LampEntry, folder: Path) -> Lamp:
    """The lamp of an entry, its spectrum read.

    Raises
    ------
    MeterError : the spectrum file cannot be read.
    """
    from lookdev.colorimetry.temperature import xy_from_cct
    from lookdev.meter.spectrum import read_spectrum

    if entry.emitters is not None:
        return Lamp(entry.name, emitters=entry.emitters)
    if entry.spectrum is not None:
        path = folder / entry.spectrum.replace("\\", "/")
        return Lamp(entry.name, read_spectrum(path).xy, path)
    if entry.cct_k is not None:
        white = xy_from_cct(entry.cct_k, entry.duv)
        return Lamp(entry.name, (float(white[0]), float(white[1])))
    assert entry.x is not None and entry.y is not None
    return Lamp(entry.name, (entry.x, entry.y))


def filter_of(entry: FilterEntry, folder: Path) -> Filter:
    """The filter of an entry; shifts and loss of a transmittance file on the light that it is meant for.

    Raises
    ------
    MeterError : the transmittance file cannot be read.
    """
    from lookdev.meter.gel_spectra import nominal_shift

    if entry.transmittance is not None:
        path = folder / entry.transmittance.replace("\\", "/")
        try:
            mired, duv, stops = nominal_shift(path)
        except MeterError as error:
            raise MeterError(str(error), file="scout.toml", key="filters.transmittance") from None
        return Filter(entry.name, mired, duv, stops if entry.stops is None else entry.stops, path)
    return Filter(entry.name, entry.mired or 0.0, entry.duv or 0.0, entry.stops or 0.0)


@dataclass(frozen=True)
class OnOurs:
    """What one of our lamps takes to match a light: filters on it, or a setting where it mixes its colour."""

    lamp: str
    match: Match | None = None
    dial: Dial | None = None

    @property
    def lost_stops(self) -> float:
        """Light that the filters on it take; 0 for a setting."""
        return self.match.lost_stops if self.match is not None else 0.0


def on_ours(
    lamp: Lamp, target: str, target_xy: Point, filters: tuple[Filter, ...] = COMMON_FILTERS
) -> OnOurs:
    """What to put on a lamp of ours, or to dial on it, to match a light."""
    from lookdev.meter.light import LightSpectrum
    from lookdev.meter.spectrum import read_spectrum

    if lamp.xy is None:
        return OnOurs(lamp.name, dial=dial(target, target_xy, lamp.emitters))
    light = None
    if lamp.spectrum is not None:
        light = LightSpectrum(read_spectrum(lamp.spectrum), "spectrum", f"spectrum {lamp.spectrum.name}")
    return OnOurs(lamp.name, match(lamp.name, lamp.xy, target, target_xy, filters, light))
