"""Encodings from markings that are no profile: code points (ITU-T H.273) and chromaticities with a gamma."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry import rgb_spaces as spaces
from lookdev.colorimetry.encodings import (
    Encoding,
    Power,
    Transfer,
    get_encoding,
    linear,
    with_range,
)
from lookdev.colorimetry.rgb_spaces import RGBSpace

_C_XY, _DCI_XY = (0.310, 0.316), (0.314, 0.351)
_H273 = "ITU-T H.273 (2024) table 2"
_525 = ((0.630, 0.340), (0.310, 0.595), (0.155, 0.070))
# ITU-T H.273 (2024) table 2, colour primaries. 10 (XYZ itself) has no primaries that lie in a picture.
_SPACES = {
    1: spaces.BT709,
    4: RGBSpace("BT.470 M", ((0.67, 0.33), (0.21, 0.71), (0.14, 0.08)), _C_XY, _H273),
    5: RGBSpace("BT.470 B/G", ((0.64, 0.33), (0.29, 0.60), (0.15, 0.06)), spaces.D65_XY, _H273),
    6: RGBSpace("BT.601 525", _525, spaces.D65_XY, _H273),
    7: RGBSpace("SMPTE 240M", _525, spaces.D65_XY, _H273),
    8: RGBSpace("generic film", ((0.681, 0.319), (0.243, 0.692), (0.145, 0.049)), _C_XY, _H273),
    9: spaces.BT2020,
    11: RGBSpace("P3 DCI", spaces.DISPLAY_P3.primaries_xy, _DCI_XY, _H273),
    12: spaces.DISPLAY_P3,
    22: RGBSpace("EBU Tech 3213", ((0.630, 0.340), (0.295, 0.605), (0.155, 0.077)), spaces.D65_XY, _H273),
}
UNSPECIFIED = 2
_SRGB, _PQ, _HLG, _LINEAR, _GAMMA22, _GAMMA28, _CINEMA = 13, 16, 18, 8, 4, 5, 17
_VIDEO = (1, 6, 11, 14, 15)
_BY_POINTS = {
    (1, _SRGB): "sRGB",
    (12, _SRGB): "Display P3",
    (9, _PQ): "BT.2100 PQ",
    (9, _HLG): "BT.2100 HLG",
    (1, _LINEAR): "Linear BT.709",
    (9, _LINEAR): "Linear BT.2020",
    (1, _GAMMA22): "Gamma 2.2",
    **{(1, t): "BT.709" for t in _VIDEO},
    **{(9, t): "BT.2020" for t in _VIDEO},
}


@dataclass(frozen=True)
class CinemaPower:
    """SMPTE ST 428-1:2006 4.3: signal to light over a white of 48 cd/m2, of 52.37 at most; picklable.

    >>> round(float(CinemaPower()(1.0)) * 48, 2)
    52.37
    """

    inverse: bool = False

    def __call__(self, values: ArrayLike) -> NDArray[np.float64]:
        x = np.asarray(values, dtype=np.float64)
        if self.inverse:
            return np.asarray(np.copysign((np.abs(x) * 48 / 52.37) ** (1 / 2.6), x))
        return np.asarray(np.copysign(np.abs(x) ** 2.6 * 52.37 / 48, x))


def _curve(transfer: int) -> tuple[str, str, Transfer, Transfer] | None:
    """Name, image state and functions of a transfer characteristic (H.273 table 3)."""
    names = {_SRGB: "sRGB", _PQ: "BT.2100 PQ", _HLG: "BT.2100 HLG", **dict.fromkeys(_VIDEO, "BT.709")}
    if transfer in names:
        known = get_encoding(names[transfer])
        return known.name, known.state, known.decode, known.encode
    if transfer in (_GAMMA22, _GAMMA28):
        exponent = 2.2 if transfer == _GAMMA22 else 2.8
        return f"gamma {exponent}", "output", Power(exponent), Power(exponent, True)
    if transfer == _LINEAR:
        return "linear", "scene", linear, linear
    if transfer == _CINEMA:
        return "ST 428-1", "output", CinemaPower(), CinemaPower(inverse=True)
    return None


def encoding_from_code_points(primaries: int, transfer: int, *, full_range: bool = True) -> Encoding | None:
    """Encoding of H.273 code points; None for those that say nothing or that no encoding here covers.

    The video transfer functions (1, 6, 11, 14, 15) are read as BT.1886 displays show them.

    >>> encoding_from_code_points(12, 13).name
    'Display P3'
    """
    name = _BY_POINTS.get((primaries, transfer))
    curve = _curve(transfer)
    if name is not None:
        found = get_encoding(name)
    elif primaries in _SPACES and curve is not None:
        space = _SPACES[primaries]
        words, state, decode, encode = curve
        found = Encoding(
            f"{words} curve, {space.name} primaries", "ITU-T H.273", state, space, decode, encode
        )
    else:
        return None
    return found if full_range or found.is_linear else with_range(found, "narrow")


Marked = tuple[Encoding, str]
"""An encoding, and the words for what marked it."""


def marked_by_code_points(
    primaries: int, transfer: int, words: str, *, full_range: bool = True
) -> tuple[Marked | None, tuple[str, ...]]:
    """The encoding of code points that ``words`` hold, and warnings of what was not said or not understood.

    Where only one of the two is unspecified (2), BT.709 primaries or the sRGB curve are assumed.
    """
    if primaries == transfer == UNSPECIFIED:
        return None, ()
    assumed = (1 if primaries == UNSPECIFIED else primaries, _SRGB if transfer == UNSPECIFIED else transfer)
    found = encoding_from_code_points(*assumed, full_range=full_range)
    points = f"code points {primaries}, {transfer} (ITU-T H.273)"
    if found is None:
        return None, (f"{words}: {points} are not understood",)
    warnings: tuple[str, ...] = ()
    if not full_range and found.decode is linear:
        warnings = (f"{words}: linear light of narrow range is none that is known: read as full range",)
    if assumed != (primaries, transfer):
        what = "primaries" if primaries == UNSPECIFIED else "curve"
        warnings = (*warnings, f"{words}: {points} leave the {what} open: {found.name} is assumed")
    return (found, f"{words}: {found.name}"), warnings


def encoding_from_chromaticities(xy: Sequence[float] | None, exponent: float) -> Encoding | None:
    """Encoding of ``white x, y, red x, y, green x, y, blue x, y`` and a display gamma; None if impossible.

    Without chromaticities, BT.709's. A gamma of 1/0.45455 with BT.709 primaries is PNG's way of writing sRGB
    (PNG third edition 11.3.2.5).
    """
    space = spaces.BT709 if xy is None else space_from_chromaticities(xy)
    if space is None:
        return None
    is_709 = np.allclose(space.primaries_xy, spaces.BT709.primaries_xy, atol=2e-3)
    if is_709 and abs(exponent - 2.2) < 0.01:
        return get_encoding("sRGB")
    if abs(exponent - 1.0) < 1e-4:
        return Encoding(f"linear, {space.name}", "gAMA", "output", space, linear, linear)
    is_adobe = np.allclose(space.primaries_xy, spaces.ADOBE_RGB.primaries_xy, atol=2e-3)
    if is_adobe and abs(exponent - 563 / 256) < 0.01:
        return get_encoding("Adobe RGB")
    name = f"gamma {exponent:.4g}, {space.name}"
    return Encoding(name, "gAMA", "output", space, Power(exponent), Power(exponent, True))


def space_from_chromaticities(xy: Sequence[float]) -> RGBSpace | None:
    """RGB space of ``white x, y, red x, y, green x, y, blue x, y``; a known one where it is one."""
    values = np.asarray(xy, dtype=np.float64)
    if values.shape != (8,) or not np.all(np.isfinite(values)) or np.abs(values).max() > 4:
        return None
    white = (float(values[0]), float(values[1]))
    rgb = [(float(values[i]), float(values[i + 1])) for i in (2, 4, 6)]
    known = (spaces.BT709, spaces.BT2020, spaces.DISPLAY_P3, spaces.ADOBE_RGB, spaces.PROPHOTO)
    for space in (*known, spaces.ACES_AP0, spaces.ACES_AP1):
        if np.allclose(space.white_xy, white, atol=1e-3) and np.allclose(space.primaries_xy, rgb, atol=1e-3):
            return space
    if min(abs(y) for _, y in [white, *rgb]) < 1e-6 or white[1] <= 0.05 or white[0] <= 0.05:
        return None
    text = " ".join(f"{v:.4g}" for v in xy)
    space = RGBSpace(f"primaries {text}", (rgb[0], rgb[1], rgb[2]), white, "chromaticities in the file")
    try:
        matrix = spaces.matrix_between(space, spaces.WORKING)
        usable = bool(np.all(np.isfinite(matrix))) and np.abs(matrix).max() < 1e3
    except (np.linalg.LinAlgError, ValueError):
        return None
    return space if usable and abs(np.linalg.det(space.to_xyz)) > 1e-6 else None
