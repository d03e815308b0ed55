"""A look that makes a scout look like a reference picture of another place: three suggestions.

Nothing tells what of the reference is its look and what its place. So each number of the reference's
impression (``impression.py``) is weighed by how much it differs between ungraded pictures of places (the
scout's own, and ``PLACES_DIFFER``), and each key by how far looks usually go (:data:`TURNS`): the likeliest
look, given both (generalised least squares with a Gaussian prior, Gauss-Newton steps, damped). What a place
explains as well stays as it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.munsell import FAMILIES
from lookdev.looks.learn.colours import lab
from lookdev.looks.learn.impression import PLACES_DIFFER, impression, places_correlate
from lookdev.looks.learn.keys import hue_text
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline

Array = NDArray[np.float64]

PIXELS = 480
"""Of a picture: even places; more tell nothing new."""

LEAST_EFFECT = 0.05
"""Mean CIEDE2000 on the scout that a key must make to be in the file."""


@dataclass(frozen=True)
class Turn:
    """A number that is turned.

    Attributes
    ----------
    name : dotted, as in the file; a tone's two are its pull in Oklab a and b.
    middle, spread : of looks that people make, of taste: where they lie, and how far from there.
    is_factor : whether both are of the natural logarithm.
    digits : as many as are written.
    """

    name: str
    middle: float
    spread: float
    is_factor: bool = False
    digits: int = 2


SHADOWS, HIGHLIGHTS = (-3.5, 4.0), (3.0, 4.0)
"""Where the two tones stand and how far they reach, in stops."""

TURNS = (
    Turn("exposure.stops", -0.15, 0.5),
    Turn("balance.mired", 0.0, 25.0, digits=0),
    Turn("balance.duv", 0.0, 0.004, digits=4),
    Turn("curve.contrast", 1.10, 0.15),
    Turn("curve.toe", 0.25, 0.25),
    Turn("curve.shoulder", 0.30, 0.25),
    Turn("curve.black", 0.0, 0.004, digits=4),
    Turn("colour.saturation", -0.25, 0.5, is_factor=True),
    Turn("shadows.a", 0.0, 0.010),
    Turn("shadows.b", 0.0, 0.010),
    Turn("highlights.a", 0.0, 0.010),
    Turn("highlights.b", 0.0, 0.010),
    *(Turn(f"colour.families.{name}.chroma", 0.0, 0.3, is_factor=True) for name in FAMILIES),
)
_LIGHT_KEYS = ("exposure", "curve")

HELD_BACK, NEARER = 1.5, 1.0
"""How many times further than measured places are taken to differ: they never differ as a normal law says."""

_OWN = 20.0  # pictures that PLACES_DIFFER counts as: those it was measured on
_APART = 0.1  # share of what two numbers have in common that is taken as chance: pictures are few
_BLUR = 0.05  # of a number's own spread: no look is felt finer
_FARTHEST = 5.0  # spreads
_STEP = 0.05  # of a spread: finite difference
_MOST, _ENOUGH = 8, 1e-2


@dataclass(frozen=True, eq=False)
class Suggestion:
    """One of the three.

    Attributes
    ----------
    look : titled; ``tables`` its file's.
    words : what kind of suggestion it is.
    impression : of the scout in it, mean of its pictures (28).
    """

    look: Look
    words: str
    impression: Array


def sampled(picture: Array) -> Array:
    """Code values (:data:`PIXELS`, 3) from even places of a picture (h, w, 3)."""
    flat = picture.reshape(-1, 3)
    return np.asarray(flat[np.linspace(0, len(flat) - 1, PIXELS).astype(np.intp)], dtype=np.float64)


def suggest(references: Array, scout: Array) -> tuple[Suggestion, Suggestion, Suggestion]:
    """Three looks, the first the one that is to be believed most.

    Parameters
    ----------
    references : (r, n, 3) sRGB code values of the reference, or of several in one look.
    scout : (s, n, 3) of the scout's stills, balanced, as :func:`sampled` gives them.
    """
    # references are often of one place, and then tell little more than one: the root of their number counts
    wanted = impression(references).mean(axis=0)
    own = impression(scout)
    found = []
    for times in (HELD_BACK, NEARER):
        spread = places_differ(own) * (times**2 * (1.0 / np.sqrt(len(references)) + 1.0 / len(own)))
        found.append(_nearest(wanted, scout, spread))
    held, near = found
    plain = np.array([not turn.name.startswith(_LIGHT_KEYS) for turn in TURNS])
    colour = np.where(plain, held, _at_rest())
    kinds = (
        (held, "held back: what a place explains as well is left"),
        (near, "nearer: follows the reference further than it can be trusted"),
        (colour, "the first one's colour alone: light and contrast stay the scout's"),
    )
    made = []
    for values, words in kinds:
        look = _few(values, scout)
        made.append(Suggestion(look, words, impression(graded(look, scout)).mean(axis=0)))
    return made[0], made[1], made[2]


def places_differ(own: Array) -> Array:
    """Covariance (28, 28) of the impression between places: of the scout's pictures (s, 28) and of others."""
    off = own - own.mean(axis=0)
    others = places_correlate() * PLACES_DIFFER * PLACES_DIFFER[:, None]
    mixed = (off.T @ off + _OWN * others) / (max(len(own) - 1, 0) + _OWN)
    apart = np.diag(np.diag(mixed))
    return np.asarray((1 - _APART) * mixed + _APART * apart + _BLUR**2 * apart)


def _at_rest() -> Array:
    """The turns of a look that does nothing, in spreads from the middle."""
    rest = {"curve.contrast": 1.0}
    return np.array([(rest.get(turn.name, 0.0) - turn.middle) / turn.spread for turn in TURNS])


def _nearest(wanted: Array, scout: Array, spread: Array) -> Array:
    """The likeliest turns, in spreads from their middles."""
    whiten = np.linalg.cholesky(np.linalg.inv(spread)).T

    def off(values: Array) -> Array:
        made = impression(graded(look_of(values), scout)).mean(axis=0)
        return np.concatenate([whiten @ (made - wanted), values])

    values = np.zeros(len(TURNS))
    here = off(values)
    damping = 1e-2
    for _ in range(_MOST):
        jacobian = np.stack([(off(values + _STEP * one) - here) / _STEP for one in np.eye(len(values))], 1)
        square, slope = jacobian.T @ jacobian, jacobian.T @ here
        gained = 0.0
        for _ in range(5):
            step = np.linalg.solve(square + damping * np.diag(np.diag(square)), slope)
            trial = np.clip(values - step, -_FARTHEST, _FARTHEST)
            there = off(trial)
            if there @ there < here @ here:
                gained = float(here @ here - there @ there)
                values, here, damping = trial, there, damping / 5
                break
            damping *= 6
        if gained < _ENOUGH * float(here @ here):
            break
    return values


def graded(look: Look, pictures: Array) -> Array:
    """Balanced pictures (s, n, 3), sRGB code values, through a look; the gamut's limit is fixed."""
    through = Pipeline(look, SRGB, SRGB)
    vars(through)["limit"] = 1.05  # measured it takes longer than all the rest
    return np.asarray(np.clip(through(pictures.reshape(-1, 3)), 0.0, 1.0).reshape(pictures.shape))


def look_of(values: Array, title: str = "like", leave: Sequence[str] = ()) -> Look:
    """The look of turns, in spreads from their middles; those named in ``leave`` do nothing."""
    return Look.model_validate({"title": title} | tables_of(values, leave))


def tables_of(values: Array, leave: Sequence[str] = ()) -> dict[str, Any]:
    """The same as tables of the file, with as many digits as a person would type."""
    tables: dict[str, Any] = {"balance": {"keep": 0.0}}
    pulls: dict[str, list[float]] = {}
    for turn, value in zip(TURNS, values.tolist(), strict=True):
        number = turn.middle + value * turn.spread
        number = float(np.exp(number)) if turn.is_factor else number
        *path, last = turn.name.split(".")
        if path[0] in ("shadows", "highlights"):
            pulls.setdefault(path[0], []).append(number)
        elif turn.name not in leave:
            _put(tables, path, last, _within(turn, number))
    tones = []
    for name, (at, reach) in (("shadows", SHADOWS), ("highlights", HIGHLIGHTS)):
        a, b = pulls[name]
        chroma = min(float(np.hypot(a, b)), 0.15)
        if name not in leave and chroma > 0:
            towards = hue_text(float(np.degrees(np.arctan2(b, a))), digits=1)
            tones.append({"at_stops": at, "reach_stops": reach, "towards": towards, "chroma": chroma})
    return tables | ({"tone": tones} if tones else {})


_RANGES = {
    "exposure.stops": (-3.0, 3.0),
    "balance.mired": (-150.0, 300.0),
    "balance.duv": (-0.05, 0.05),
    "curve.contrast": (0.5, 3.0),
    "curve.toe": (0.0, 1.0),
    "curve.shoulder": (0.0, 1.0),
    "curve.black": (0.0, 0.1),
    "colour.saturation": (0.0, 3.0),
}


def _within(turn: Turn, number: float) -> float:
    low, high = _RANGES.get(turn.name, (0.0, 4.0))
    return min(max(number, low), high)


def _put(tables: dict[str, Any], path: Sequence[str], last: str, number: float) -> None:
    for step in path:
        tables = tables.setdefault(step, {})
    tables[last] = number


def _few(values: Array, scout: Array) -> Look:
    """Without the keys that make less than :data:`LEAST_EFFECT`, the others rounded."""
    rest = _at_rest()
    names = list(dict.fromkeys(_family(turn.name) for turn in TURNS))
    whole = lab(graded(look_of(values), scout)[:, ::3].reshape(-1, 3), SRGB)
    leave = []
    for name in names:
        own = np.array([_family(turn.name) == name for turn in TURNS])
        without = graded(look_of(np.where(own, rest, values)), scout)[:, ::3].reshape(-1, 3)
        if float(ciede2000(lab(without, SRGB), whole).mean()) < LEAST_EFFECT:
            leave.append(name)
    tables = tables_of(values, leave)
    return Look.model_validate({"title": "like"} | _rounded(tables))


def _family(name: str) -> str:
    """A tone is one key, all else is its own."""
    return name.split(".")[0] if name.startswith(("shadows", "highlights")) else name


def _rounded(tables: Mapping[str, Any]) -> dict[str, Any]:
    digits = {turn.name.rsplit(".", 1)[-1]: turn.digits for turn in TURNS} | {"chroma": 2}
    out: dict[str, Any] = {}
    for name, value in tables.items():
        if name == "tone":
            out[name] = [tone | {"chroma": round(tone["chroma"], 3)} for tone in value]
        elif isinstance(value, Mapping):
            out[name] = _rounded(value)
        else:
            out[name] = round(value, digits.get(name, 2)) + 0.0
    return out


def largest_step(look: Look) -> tuple[float, float]:
    """CIEDE2000 of the largest step of smooth ramps of 256 codes, through a look and as they are.

    The ramps go from black to white, and from mid grey towards the edge of sRGB in twelve hues.
    """
    ramps = _ramps()
    plain, made = (lab(codes, SRGB) for codes in (ramps, graded(look, ramps)))
    steps = [ciede2000(each[:, 1:], each[:, :-1]).max() for each in (made, plain)]
    return float(steps[0]), float(steps[1])


def _ramps() -> Array:
    along = np.linspace(0.0, 1.0, 256)
    grey = np.stack([along] * 3, axis=1)
    turns = np.radians(np.arange(12) * 30.0)
    ends = 0.5 + 0.5 * np.stack([np.cos(turns - shift) for shift in np.radians((0.0, 120.0, 240.0))], axis=1)
    return np.stack([grey, *(0.5 + along[:, None] * (end - 0.5) for end in ends)])
