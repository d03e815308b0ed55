"""The parts of a mixture among the readings of its place, and their shares of the light."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from lookdev.meter.light import TypedPart, shares_by_xy, typed_parts
from lookdev.meter.reading import Part, Reading

Known = Mapping[tuple[str, str], Sequence[Reading]]


def mixture_of(reading: Reading, known: Known) -> tuple[tuple[Part, ...], list[str]]:
    """The parts of a reading's source, empty where it is no mixture, and what is doubtful about it.

    A part is a CIE illuminant, or the source of another row at the same place. Shares are as typed (one
    that is missing is the rest), else by the lux of those rows, else what mixes to the metered
    chromaticity.

    Examples
    --------
    >>> parts, doubts = mixture_of(Reading(source="D65 60%, HP1"), {})
    >>> [(p.name, p.share) for p in parts], doubts
    ([('D65', 0.6), ('HP1', 0.4)], [])
    """
    if reading.illuminant is not None or reading.spectrum is not None:
        return (), []
    typed = typed_parts(reading.source)
    if not typed:
        return (), []
    lights = [_light_of(part, reading, known) for part in typed]
    has_shares = any(part.share is not None for part in typed)
    if not any(light is not None for light in lights):
        if sum(part.share is not None for part in typed) >= 2:
            names = ", ".join(part.name for part in typed)
            return (), [f"source '{reading.source}' reads as a mixture, but none of {names} is a CIE "
                        "illuminant or a source metered at this place: taken as free words"]  # fmt: skip
        return (), []
    missing = [part.name for part, light in zip(typed, lights, strict=True) if light is None]
    if missing:
        if not has_shares:
            return (), []
        return (), [f"source '{reading.source}' reads as a mixture, but '{missing[0]}' is no CIE illuminant "
                    "and no source metered at this place: taken as free words"]  # fmt: skip
    found = [light for light in lights if light is not None]
    shares, doubt = _shares(reading, typed, found)
    if not shares:
        return (), [doubt]
    parts = [Part(t.name, s, r) for t, s, r in zip(typed, shares, found, strict=True) if s > 0]
    return tuple(parts), [doubt] if doubt else []


def _light_of(part: TypedPart, reading: Reading, known: Known) -> Reading | None:
    """What a part's name stands for: another row of the place, of the nearest hour, else a CIE illuminant."""
    from lookdev.meter.reading import illuminant_in

    place = (reading.location or "").casefold(), part.name.casefold()
    here = [r for r in known.get(place, ()) if r is not reading]
    here = [r for r in here if r.white_xy is not None]
    if here:
        return replace(min(here, key=lambda r: (_apart(r, reading), abs(r.row - reading.row), r.row)))
    name = illuminant_in(part.name)
    return Reading(row=reading.row, source=part.name, illuminant=name) if name is not None else None


def by_place_and_source(readings: Sequence[Reading]) -> Known:
    """The readings by place and source, whatever their case: what the parts of mixtures are looked up in."""
    found: dict[tuple[str, str], list[Reading]] = {}
    for reading in readings:
        key = (reading.location or "").casefold(), (reading.source or "").casefold()
        found.setdefault(key, []).append(reading)
    return found


def _apart(one: Reading, other: Reading) -> int:
    if one.time is None or other.time is None:
        return 0
    a, b = (int(t[:2]) * 60 + int(t[3:]) for t in (one.time, other.time))
    return min((a - b) % 1440, (b - a) % 1440)


def _shares(
    reading: Reading, typed: Sequence[TypedPart], lights: Sequence[Reading]
) -> tuple[tuple[float, ...], str]:
    """Shares of sum 1 and a doubt in words; none with the reason for it."""
    given = [part.share for part in typed]
    known = [share for share in given if share is not None]
    if known:
        total, unknown = sum(known), given.count(None)
        if total <= 0 or (total > 1.005 and unknown):
            return (), f"the shares of '{reading.source}' leave nothing for the rest: taken as free words"
        rest = max(0.0, 1.0 - total) / unknown if unknown else 0.0
        shares = tuple(rest if share is None else share for share in given)
        scale = sum(shares)
        doubt = ""
        if abs(scale - 1.0) > 0.011:
            doubt = f"the shares of '{reading.source}' make {100 * scale:.0f}%: taken in proportion"
        return tuple(round(share / scale, 9) for share in shares), doubt
    lux = [light.illuminance_lux for light in lights]
    if all(value is not None for value in lux):
        levels = [value for value in lux if value is not None]
        return tuple(value / sum(levels) for value in levels), ""
    whites = [light.white_xy for light in lights]
    if reading.white_xy is not None and all(white is not None for white in whites):
        found = shares_by_xy([white for white in whites if white is not None], reading.white_xy)
        return found, ""
    return (), (
        f"source '{reading.source}' reads as a mixture without shares: taken as free words; wanted: "
        "'D65 60%, HP1 40%', lux in the rows of its parts, or its x, y"
    )
