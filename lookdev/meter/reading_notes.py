"""What is worked out for one reading, for the gaffer."""

from __future__ import annotations

from dataclasses import dataclass

from lookdev.meter.exposure import Exposure
from lookdev.meter.filters import Match
from lookdev.meter.fixture import Dial
from lookdev.meter.hints import Hint
from lookdev.meter.lamps import OnOurs
from lookdev.meter.light import LightSpectrum
from lookdev.meter.reading import Reading
from lookdev.meter.spectrum import Rendition

XY = tuple[float, float]


@dataclass(frozen=True)
class ReadingNotes:
    """What one reading says. ``cct_k`` is None where CCT means nothing; ``duv`` is the distance all the same.

    ``light`` is the spectrum of the light where one is known or stands in; ``ours`` what each of our lamps
    takes to match it. ``rendition_of`` names the spectrum behind ``rendition``: the reading's own, or the
    published one of the CIE illuminant that the source names. ``flicker`` is "discharge", "LED", "maybe" or
    "no".
    """

    reading: Reading
    xy: XY | None
    uv: XY | None
    cct_k: float | None
    duv: float | None
    hints: tuple[Hint, ...]
    to_balance: Match | None
    dial: Dial | None
    exposure: Exposure | None
    rendition: Rendition | None
    rendition_of: str | None
    flicker: str
    light: LightSpectrum | None = None
    on_ours: tuple[OnOurs, ...] = ()

    @property
    def ours(self) -> tuple[Match, ...]:
        """Filters on those of our lamps that take filters, to match this light."""
        return tuple(found.match for found in self.on_ours if found.match is not None)
