"""The keys of a look as numbers that a solver can turn: the one place where a look becomes a vector.

Numeric keys are found in the look's own fields, with their bounds and defaults; a tuple is several keys.
Tones, of which a look may have any number anywhere, stand at :data:`TONES`, each of them two numbers: its
pull in Oklab a and b. What no pair of frames can tell (:data:`NOT_TOLD`) is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, get_args, get_origin

import annotated_types
import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from lookdev.colorimetry.munsell import FAMILY_HUE_DEGREES, parse_hue
from lookdev.colorimetry.munsell_notation import hue_name
from lookdev.looks.model import Look
from lookdev.looks.stages.tone import Tone

Array = NDArray[np.float64]

NOT_TOLD = ("balance.keep", "curve.pivot", "skin.hold", "skin.daylight", "strength")
"""Keys that a pair of frames does not tell: no cast was metered, or others do the same."""

TONES = ((-4.0, 2.0), (-2.0, 2.0), (0.0, 2.0), (2.0, 2.0), (4.0, 2.0))
"""Stops from mid grey at which tones stand, and how far they reach: between them they add up to a whole."""

_LEVELS = (
    ("exposure", "balance", "curve", "colour.saturation"),
    ("tone", "colour.families"),
    ("cdl",),
)
"""From what a person would turn first to what stands in for what no other key can do."""

_UNITS = {
    "stops": 0.3, "mired": 20.0, "duv": 0.008, "contrast": 0.2, "toe": 0.3, "shoulder": 0.3, "black": 0.01,
    "saturation": 0.2, "hue_deg": 12.0, "chroma": 0.25, "lightness": 0.06, "slope": 0.15, "offset": 0.04,
    "power": 0.15,
}  # fmt: skip
_PULL_UNIT = 0.02

_DIGITS = {"stops": 2, "mired": 1, "duv": 4, "black": 4, "hue_deg": 1, "chroma": 2, "lightness": 3}
_DEFAULT_DIGITS, _CDL_DIGITS, _PULL_DIGITS = 3, 4, 3
_LEAST_PULL = 0.001  # Oklab chroma that no one sees, and no hue can be given to


@dataclass(frozen=True)
class Key:
    """One number of the vector.

    Attributes
    ----------
    name : as it stands in the file, dotted ("curve.contrast", "cdl.slope").
    part : which number of a tuple, or of a pull's two; None where it is the only one.
    default, low, high : its own.
    level : 0 for what is turned first.
    is_pull : whether it is an Oklab coordinate of a tone's pull.
    unit : a change of it that is plainly seen.
    """

    name: str
    part: int | None
    default: float
    low: float
    high: float
    level: int
    is_pull: bool = False

    @property
    def unit(self) -> float:
        """A change that is plainly seen in a picture, of taste: the fit's measure of how far a key went."""
        if self.is_pull:
            return _PULL_UNIT
        path = self.name.split(".")
        return _UNITS.get(".".join(path[-2:])) or _UNITS.get(path[-1]) or (self.high - self.low) / 16

    @property
    def words(self) -> str:
        """The key for a person."""
        if self.part is None:
            return self.name
        if self.is_pull:
            return f"{self.name}, {'ab'[self.part]}"
        return f"{self.name}[{self.part}]"


@cache
def all_keys() -> tuple[Key, ...]:
    """Every key that can be learned, in the order of the look's fields.

    >>> [key.words for key in all_keys()][:5]
    ['exposure.stops', 'balance.mired', 'balance.duv', 'curve.contrast', 'curve.toe']
    """
    return tuple(_keys(Look, ""))


def _keys(model: type[BaseModel], above: str) -> Iterator[Key]:
    for field_name, field in model.model_fields.items():
        name = f"{above}{field_name}"
        kind = field.annotation
        if name in NOT_TOLD:
            continue
        if kind == tuple[Tone, ...]:
            most = _bounds(Tone.model_fields["chroma"].metadata)[1]
            for at, _ in TONES:
                words = f"{name} at {at:g} stops"
                yield from (Key(words, part, 0.0, -most, most, _level(name), is_pull=True) for part in (0, 1))
        elif isinstance(kind, type) and issubclass(kind, BaseModel):
            yield from _keys(kind, f"{name}.")
        elif kind is float:
            low, high = _bounds(field.metadata)
            yield Key(name, None, float(field.default), low, high, _level(name))
        elif get_origin(kind) is tuple:
            yield from _of_tuple(name, field)


def _of_tuple(name: str, field: FieldInfo) -> Iterator[Key]:
    for part, (kind, default) in enumerate(zip(get_args(field.annotation), field.default, strict=True)):
        inner = get_args(kind)[1]
        low, high = _bounds(inner.metadata if isinstance(inner, FieldInfo) else (inner,))
        yield Key(name, part, float(default), low, high, _level(name))


def _bounds(metadata: Sequence[Any]) -> tuple[float, float]:
    low, high = -np.inf, np.inf
    for each in metadata:
        low = float(getattr(each, "ge", low) if isinstance(each, annotated_types.Ge) else low)
        high = float(each.le) if isinstance(each, annotated_types.Le) else high  # type: ignore[arg-type]
        if isinstance(each, annotated_types.Gt):
            low = float(each.gt) + 0.05  # type: ignore[arg-type]
    return low, high


def _level(name: str) -> int:
    return next(k for k, starts in enumerate(_LEVELS) if name.startswith(starts))


def defaults() -> Array:
    """The vector of the look that changes nothing."""
    return np.array([key.default for key in all_keys()])


def look_of(vector: Array, title: str, cdl_encoding: str | None = None, note: str = "") -> Look:
    """The look that a vector is, its numbers kept within their bounds."""
    return Look.model_validate(tables_of(vector, cdl_encoding) | {"title": title, "note": note})


def tables_of(vector: Array, cdl_encoding: str | None = None) -> dict[str, Any]:
    """As :func:`look_of`, as tables of the file; keys at their defaults left out."""
    tables: dict[str, Any] = {}
    tuples: dict[str, list[float]] = {}
    for key, value in zip(all_keys(), vector.tolist(), strict=True):
        value = min(max(value, key.low), key.high)
        if key.part is not None:
            tuples.setdefault(key.name, []).append(value)
        elif value != key.default:
            _put(tables, key.name, value)
    for name, values in tuples.items():
        own = _parts_of(name)
        if all(v == key.default for v, key in zip(values, own, strict=True)):
            continue
        if own[0].is_pull:
            tables.setdefault("tone", []).append(_tone_of(_place(name), values, own[0].high))
        else:
            _put(tables, name, values)
    if "cdl" in tables and cdl_encoding is not None:
        tables["cdl"]["encoding"] = cdl_encoding
    return tables


@cache
def _parts_of(name: str) -> tuple[Key, ...]:
    return tuple(key for key in all_keys() if key.name == name)


@cache
def _place(name: str) -> int:
    """Which of :data:`TONES` a key is of."""
    return [f"tone at {at:g} stops" for at, _ in TONES].index(name)


def _tone_of(place: int, pull: Sequence[float], most: float) -> dict[str, Any]:
    (at, reach), (a, b) = TONES[place], pull
    towards = hue_text(np.degrees(np.arctan2(b, a)), digits=6)
    chroma = min(float(np.hypot(a, b)), most)
    return {"at_stops": at, "reach_stops": reach, "towards": towards, "chroma": chroma}


def hue_text(degrees: float, digits: int) -> str:
    """The Munsell hue of an Oklab angle: the inverse of ``munsell.hue_degrees``."""
    first = FAMILY_HUE_DEGREES[0]
    angles = np.array([FAMILY_HUE_DEGREES[-1] - 360.0, *FAMILY_HUE_DEGREES, first + 360.0])
    turned = (degrees - angles[0]) % 360.0 + angles[0]
    return hue_name(float(np.interp(turned, angles, np.arange(-5.0, 106.0, 10.0))), digits)


def _put(tables: dict[str, Any], name: str, value: object) -> None:
    *path, last = name.split(".")
    for step in path:
        tables = tables.setdefault(step, {})
    tables[last] = value


def vector_of(look: Look) -> Array:
    """The vector of a look; what :data:`NOT_TOLD` names, and the CDL's encoding, are no part of it.

    Raises
    ------
    ValueError : it has a tone that stands elsewhere than at one of :data:`TONES`.
    """
    pulls = np.zeros((len(TONES), 2))
    for tone in look.tone:
        at, reach, *pull = tone.row()
        pulls[TONES.index((at, reach))] += pull
    found = []
    for key in all_keys():
        if key.is_pull:
            found.append(float(pulls[_place(key.name), key.part or 0]))
            continue
        value: Any = look
        for step in key.name.split("."):
            value = getattr(value, step)
        found.append(float(value if key.part is None else value[key.part]))
    return np.array(found)


def rounded(vector: Array, cdl_encoding: str | None = None) -> tuple[dict[str, Any], Array]:
    """The look's tables with as many digits as a person would type, none finer than seen; and the vector."""
    out = vector.copy()
    for place, key in enumerate(all_keys()):
        last = key.name.rsplit(".", 1)[-1]
        digits = _CDL_DIGITS if key.name.startswith("cdl") else _DIGITS.get(last, _DEFAULT_DIGITS)
        if not key.is_pull:
            out[place] = round(float(vector[place]), digits) + 0.0
    found = _shorter(tables_of(out, cdl_encoding))
    tables = {name: found[name] for name in Look.model_fields if name in found}
    return tables, vector_of(Look.model_validate({"title": "-"} | tables))


def _shorter(tables: dict[str, Any]) -> dict[str, Any]:
    """Tones with a hue and a chroma that can be read; none that has no chroma left."""
    tones = []
    for tone in tables.get("tone", []):
        chroma = round(tone["chroma"], _PULL_DIGITS)
        if chroma >= _LEAST_PULL:
            towards = hue_name(parse_hue(tone["towards"]), digits=1)
            tones.append(tone | {"towards": towards, "chroma": chroma})
    rest = {name: value for name, value in tables.items() if name != "tone"}
    return rest | ({"tone": tones} if tones else {})
