"""Colours and looks in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from lookdev.text.hues import FAMILY_NAMES, family_words, lab_hue_word

if TYPE_CHECKING:
    from lookdev.looks.model import Look
    from lookdev.looks.pipeline import LookLike


def colour_words(lab: ArrayLike) -> str:
    """Lightness, chroma and hue of a CIELAB colour (3,) in words.

    >>> colour_words([32.0, 79.0, -108.0])
    'dark vivid blue'
    >>> colour_words([50.0, 0.0, 0.0])
    'mid grey'
    """
    lightness, a, b = (float(v) for v in np.asarray(lab, dtype=np.float64))
    light = (
        "near-black" if lightness < 10 else "dark" if lightness < 38 else "mid" if lightness < 68 else "light"
    )
    chroma = float(np.hypot(a, b))
    if chroma < 5:
        return "near-black" if lightness < 10 else "near-white" if lightness > 95 else f"{light} grey"
    hue = float(np.degrees(np.arctan2(b, a)))
    strength = "greyish " if chroma < 20 else "" if chroma < 60 else "vivid "
    return f"{light} {strength}{lab_hue_word(hue)}"


_SHARES = (
    (0.0, "none"),
    (0.1, "a tenth"),
    (0.2, "a fifth"),
    (0.25, "a quarter"),
    (1 / 3, "a third"),
    (0.4, "two fifths"),
    (0.5, "half"),
    (0.6, "three fifths"),
    (2 / 3, "two thirds"),
    (0.75, "three quarters"),
    (0.8, "four fifths"),
    (0.9, "nine tenths"),
    (1.0, "all"),
)


def share_words(share: float) -> str:
    """A share from 0 to 1 as one would say it.

    >>> share_words(0.35), share_words(0.72), share_words(0.08)
    ('about a third', 'about three quarters', 'about a tenth')
    """
    value, name = min(_SHARES, key=lambda pair: abs(pair[0] - share))
    if abs(value - share) < 0.005:
        return name
    if value in (0.0, 1.0):
        return "hardly any" if value == 0.0 else "nearly all"
    return f"about {name}"


def plain_words(look: LookLike) -> list[str]:
    """What a look does, one plain phrase a stage; a received LUT says what it is.

    >>> from lookdev.looks.model import Look, Exposure
    >>> plain_words(Look(title="under", exposure=Exposure(stops=-0.4)))
    ['0.4 stop under']
    """
    from lookdev.looks.model import Look

    if not isinstance(look, Look):
        return look.key_parameters()
    strength, look = look.strength, look.acting
    out = [*_light_words(look), *_curve_words(look), *_colour_words_of(look)]
    if not look.cdl.is_identity:
        out += look.cdl.words()
    if look.skin.hold:
        out.append(f"{share_words(look.skin.hold)} of that held back from skin")
    if look.skin.daylight:
        out.append(f"skin turned back to its daylight hue {_amount(look.skin.daylight)}")
    if strength != 1.0:
        out.append(f"all of it counted at {strength:.0%} strength")
    return out or ["nothing changed"]


def _light_words(look: Look) -> list[str]:
    out = []
    stops, balance = look.exposure.stops, look.balance
    if stops:
        out.append(f"{abs(stops):g} stop{'s' if abs(stops) > 1 else ''} {'under' if stops < 0 else 'over'}")
    if balance.keep < 1:
        out.append(f"{share_words(balance.keep)} of the metered cast kept")
    if balance.mired:
        out.append(f"then {abs(balance.mired):g} mired {'cooler' if balance.mired < 0 else 'warmer'}")
    if balance.duv:
        out.append(f"{abs(balance.duv):g} in Duv {'greener' if balance.duv > 0 else 'pinker'}")
    return out


def _curve_words(look: Look) -> list[str]:
    out, curve = [], look.curve
    if curve.contrast != 1:
        out.append(
            f"contrast {'up' if curve.contrast > 1 else 'down'} {abs(curve.contrast - 1):.0%} at the pivot"
        )
    if curve.toe:
        out.append(f"shadows opened {_amount(curve.toe)}")
    if curve.shoulder:
        out.append(f"highlights held {_amount(curve.shoulder)}")
    if curve.black:
        out.append(f"black lifted to {curve.black:.1%} of white")
    return out


def _colour_words_of(look: Look) -> list[str]:
    out, colour = [], look.colour
    if colour.saturation < 1:
        out.append(f"{share_words(colour.saturation)} of the colour left")
    elif colour.saturation > 1:
        out.append(f"colour up {colour.saturation - 1:.0%}")
    for family in FAMILY_NAMES:
        part = getattr(colour.families, family)
        if part.is_identity:
            continue
        said = []
        if part.chroma != 1:
            said.append(f"{'up' if part.chroma > 1 else 'down'} {abs(part.chroma - 1):.0%}")
        if part.hue_deg:
            said.append(f"turned {abs(part.hue_deg):g}° {'on' if part.hue_deg > 0 else 'back'} in hue")
        if part.lightness:
            said.append("lighter" if part.lightness > 0 else "darker")
        out.append(f"{family_words(family)} {', '.join(said)}")
    for tone in look.tone:
        if not tone.is_identity:
            out.append(f"{tone.where} pulled {_amount(tone.chroma / 0.05)} towards {tone.towards}")
    return out


def _amount(value: float) -> str:
    return (
        "a touch"
        if value < 0.15
        else "a little"
        if value < 0.35
        else "clearly"
        if value < 0.65
        else "strongly"
    )
