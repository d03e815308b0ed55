"""How far held skin tears from what is beside it: largest steps on ramps out of skin, in steps of their own.

A look that moves colours far and holds skin back from it by much has the whole of that difference to bridge
between skin and what is beside it. Where they are too near each other to hide it, a seam is seen.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.difference import ciede2000, lab_from_working
from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.oklab import oklab_from_working, working_from_oklab
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.colorimetry.skins import skin_names, skin_reflectances, skin_wavelengths_nm
from lookdev.looks.model import Look
from lookdev.looks.rendering import render_curve
from lookdev.looks.stages.base import Metered
from lookdev.looks.stages.skin import Skin
from lookdev.looks.steps import join, run
from lookdev.paint.spectra import illuminant_weights, on_grid
from lookdev.text.numbers import unsigned

Array = NDArray[np.float64]

HARDLY_SEEN = 1.5
"""The largest step of a ramp, in its own largest steps, from which a seam is spoken of."""

_POINTS = 257


@lru_cache
def ramps_out_of_skin() -> dict[str, Array]:
    """Scene light (257, 3), linear BT.2020, from each model skin in daylight to where there is none.

    Round the hues both ways, up and down in chroma, through nine stops, and in code values towards the
    corners of the display's cube.
    """
    weights = illuminant_weights("D65")
    white = weights.sum(axis=0)
    balanced = weights @ adaptation_matrix((white[0] / white.sum(), white[1] / white.sum()), D65_XY).T
    skins = on_grid(skin_wavelengths_nm(), skin_reflectances())
    scene = skins @ balanced @ WORKING.from_xyz.T / balanced[:, 1].sum()
    t = np.linspace(0.0, 1.0, _POINTS)
    out = {}
    for name, light in zip(skin_names(), scene, strict=True):
        lightness, a, b = oklab_from_working(light)
        chroma, hue = np.hypot(a, b), np.arctan2(b, a)
        paths = {
            "hue up": (chroma, hue + t * np.pi),
            "hue down": (chroma, hue - t * np.pi),
            "to strong": (chroma + t * (0.22 - chroma), hue),
            "to grey": (chroma * (1 - t), hue),
        }
        for path, (c, h) in paths.items():
            lab = np.stack(np.broadcast_arrays(lightness + 0 * t, c * np.cos(h), c * np.sin(h)), axis=-1)
            out[f"{name} {path}"] = working_from_oklab(lab)
        out[f"{name} in stops"] = light * 2.0 ** (9 * t - 6)[:, None]
        code = SRGB.from_working(light)
        for corner in np.ndindex(2, 2, 2):
            end = 0.1 + 0.75 * np.array(corner)
            out[f"{name} to {end}"] = SRGB.to_working(code + (end - code) * t[:, None])
    return out


def largest_step(scene: Array) -> float:
    """The largest CIEDE2000 between neighbours of scene light (n, 3), as it is rendered."""
    lab = lab_from_working(render_curve(scene))
    return float(ciede2000(lab[1:], lab[:-1]).max())


@lru_cache
def _own_steps() -> dict[str, float]:
    return {name: largest_step(ramp) for name, ramp in ramps_out_of_skin().items()}


def skin_seam(look: Look) -> float:
    """The largest step that a look leaves on a ramp out of skin in a still, in largest steps of the ramp.

    >>> round(skin_seam(Look(title="plain")), 2)
    1.0
    """
    steps = join(look.steps(Metered(source=SRGB)))
    own = _own_steps()
    return max(largest_step(run(steps, ramp)) / own[name] for name, ramp in ramps_out_of_skin().items())


def seam_words(look: Look) -> str | None:
    """What to say where ``[skin] hold`` makes a seam, with a hold that does not; None where there is none."""
    hold = look.acting.skin.hold
    if not hold or (found := skin_seam(look)) <= HARDLY_SEEN:
        return None
    for tenths in range(int(np.ceil(10 * hold)) - 1, -1, -1):
        least = skin_seam(_with_hold(look, tenths / 10))
        if least <= HARDLY_SEEN:
            break
    told = f"{look.title}: on a blend out of held skin the largest step is {unsigned(found, 1)} times its own"
    if least > HARDLY_SEEN:
        return f"{told}; {unsigned(least, 1)} times without any hold: the look itself moves colours so far"
    return f"{told}, which can be seen as a seam; [skin] hold = {unsigned(tenths / 10, 1)} keeps it under 1.5"


def _with_hold(look: Look, hold: float) -> Look:
    acting = look.acting
    return acting.model_copy(update={"skin": Skin(hold=hold, daylight=acting.skin.daylight)})
