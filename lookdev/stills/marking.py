"""Encodings from markings that are no profile: code points (ITU-T H.273) and chromaticities with a gamma."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lookdev.colorimetry import rgb_spaces as spaces
from lookdev.colorimetry.encodings import Encoding, Power, get_encoding, linear, with_range
from lookdev.colorimetry.rgb_spaces import RGBSpace

# ITU-T H.273 (2024) table 2, colour primaries, and table 3, transfer characteristics
_PRIMARIES = {1: "BT.709", 9: "BT.2020", 12: "P3-D65"}
_SRGB, _PQ, _HLG, _LINEAR, _GAMMA22 = 13, 16, 18, 8, 4
_VIDEO = (1, 6, 14, 15)
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
_SPACES = {1: spaces.BT709, 9: spaces.BT2020, 12: spaces.DISPLAY_P3}
_CURVES = {_SRGB: "sRGB", _PQ: "BT.2100 PQ", _HLG: "BT.2100 HLG", **dict.fromkeys(_VIDEO, "BT.709")}


def encoding_from_code_points(primaries: int, transfer: int, *, full_range: bool = True) -> Encoding | None:
    """Encoding of H.273 code points; None for those that say nothing or that no encoding here covers.

    The video transfer functions (1, 6, 14, 15) are read as BT.1886 displays show them.

    >>> encoding_from_code_points(12, 13).name
    'Display P3'
    """
    name = _BY_POINTS.get((primaries, transfer))
    if name is not None:
        found = get_encoding(name)
    elif primaries in _SPACES and transfer in _CURVES:
        curve = get_encoding(_CURVES[transfer])
        found = Encoding(
            f"{_CURVES[transfer]} curve, {_PRIMARIES[primaries]} primaries",
            "ITU-T H.273",
            curve.state,
            _SPACES[primaries],
            curve.decode,
            curve.encode,
        )
    else:
        return None
    return found if full_range or found.decode is linear else with_range(found, "narrow")


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
