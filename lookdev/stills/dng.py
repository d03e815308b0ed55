"""Colour of DNG files, by the Digital Negative specification 1.7.1, chapter 6: matrices between illuminants.

A DNG may hold a colour matrix for each of two illuminants. The one to use lies between them, linear in the
inverse of the correlated colour temperature of the light.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import xy_from_xyz
from lookdev.colorimetry.temperature import cct_duv_from_xy
from lookdev.stills.exif import load_exif

Array = NDArray[np.float64]
XY = tuple[float, float]

_COLOR_MATRIX = (50721, 50722)
_CALIBRATION = (50723, 50724)
_ANALOG_BALANCE, _ILLUMINANT = 50727, (50778, 50779)
_SIGNATURES = (50931, 50932)  # of the calibration, of the profile: used only where they are the same
# Colour temperatures of EXIF light sources (chapter 6 refers to the EXIF LightSource tag): A, the D series
# and ISO studio tungsten are their definitions, rounded; fluorescent ones the middle of the ranges that EXIF
# gives for them; "daylight", "flash" and weather common practice. Typed from memory.
_KELVIN = {
    **dict.fromkeys((3, 17), 2850.0),
    24: 3200.0,
    23: 5000.0,
    **dict.fromkeys((1, 4, 9, 18, 20), 5500.0),
    **dict.fromkeys((10, 19, 21), 6500.0),
    **dict.fromkeys((11, 22), 7500.0),
    12: 6400.0,
    13: 5050.0,
    **dict.fromkeys((2, 14), 4150.0),
    15: 3525.0,
    16: 2925.0,
}
_STEPS = 60
_CLOSE = 1e-7


@dataclass(frozen=True)
class DngColour:
    """Matrices (3, 3) from XYZ to camera RGB with the colour temperature, in kelvin, that each is for.

    One matrix, or two in rising order of temperature.
    """

    kelvin: tuple[float, ...]
    matrices: tuple[Array, ...]

    def camera_from_xyz(self, light_xy: XY) -> Array:
        """The matrix for a light: between the two, linear in 1 / CCT; beyond them, the nearer one.

        Of the files' own matrices for 2850 K and 6500 K, as colour-hdri documents the interpolation:

        >>> warm = np.array([[.5309, -.0229, -.0336], [-.6241, 1.3265, .3337], [-.0817, .1215, .6664]])
        >>> cold = np.array([[.4716, .0603, -.0830], [-.7798, 1.5474, .2480], [-.1496, .1937, .6651]])
        >>> two = DngColour((2850.0, 6500.0), (warm, cold))
        >>> two.camera_from_xyz((0.34510414, 0.35162252))[0].round(3).tolist()
        [0.485, 0.041, -0.071]
        """
        if len(self.matrices) == 1:
            return self.matrices[0]
        low, high = self.kelvin
        cct = min(max(float(cct_duv_from_xy(light_xy)[0]), low), high)
        share = (1 / cct - 1 / high) / (1 / low - 1 / high)
        return np.asarray(share * self.matrices[0] + (1 - share) * self.matrices[1])

    def white_of_neutral(self, neutral: Array) -> XY | None:
        """Chromaticity that makes camera RGB ``neutral``, found step by step as chapter 6 says; None if none.

        >>> warm = np.array([[.5309, -.0229, -.0336], [-.6241, 1.3265, .3337], [-.0817, .1215, .6664]])
        >>> cold = np.array([[.4716, .0603, -.0830], [-.7798, 1.5474, .2480], [-.1496, .1937, .6651]])
        >>> two = DngColour((2850.0, 6500.0), (warm, cold))
        >>> [round(v, 3) for v in two.white_of_neutral(np.array([0.413070, 1.0, 0.646465]))]
        [0.328, 0.347]
        """
        xy: XY = (1 / 3, 1 / 3)
        for _ in range(_STEPS):
            found = white_xy(self.camera_from_xyz(xy), neutral)
            if found is None:
                return None
            if abs(found[0] - xy[0]) + abs(found[1] - xy[1]) < _CLOSE:
                return found
            xy = found
        return xy


def white_xy(camera_from_xyz: Array, neutral: Array) -> XY | None:
    """Chromaticity of camera RGB ``neutral`` by one matrix; None where it is none that a light has."""
    xyz = np.linalg.solve(camera_from_xyz, neutral)
    if xyz[1] <= 0 or xyz.sum() <= 0:
        return None
    x, y = xy_from_xyz(xyz)
    return (float(x), float(y)) if 0.05 < x < 0.8 and 0.05 < y < 0.8 else None


def colour_of_dng(data: bytes) -> DngColour | None:
    """The matrices of a DNG's first directory; None for other files and for matrices that cannot be used.

    AnalogBalance and, where their signatures agree, the camera's own calibration are in them.
    """
    if data[:4] not in (b"II*\0", b"MM\0*"):
        return None
    exif = load_exif(data)
    if exif is None:
        return None
    analog = _numbers(exif, _ANALOG_BALANCE, 3)
    balance = np.diag(analog if analog is not None and analog.min() > 0 else np.ones(3))
    same = _text(exif, _SIGNATURES[0]) == _text(exif, _SIGNATURES[1])
    found: dict[float, Array] = {}
    for place in (0, 1):
        matrix = _matrix(exif, _COLOR_MATRIX[place])
        if matrix is None:
            continue
        calibration = _matrix(exif, _CALIBRATION[place]) if same else None
        whole = balance @ (np.eye(3) if calibration is None else calibration) @ matrix
        kelvin = _KELVIN.get(_whole_number(exif, _ILLUMINANT[place]), 0.0)
        if abs(np.linalg.det(whole)) > 1e-6:
            found.setdefault(kelvin, whole)
    if len(found) > 1:
        found.pop(0.0, None)  # an illuminant that is not said cannot be interpolated to
    kelvins = tuple(sorted(found))
    return DngColour(kelvins, tuple(found[k] for k in kelvins)) if kelvins else None


def _numbers(exif: Any, tag: int, count: int) -> Array | None:
    try:
        values = np.array([float(v) for v in exif[tag]], dtype=np.float64)
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    return values if len(values) == count and bool(np.all(np.isfinite(values))) else None


def _matrix(exif: Any, tag: int) -> Array | None:
    values = _numbers(exif, tag, 9)
    return None if values is None else values.reshape(3, 3)


def _whole_number(exif: Any, tag: int) -> int:
    try:
        return int(exif[tag])
    except (KeyError, TypeError, ValueError):
        return 0


def _text(exif: Any, tag: int) -> str:
    value = exif.get(tag, "")
    text = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
    return text.strip("\0 ")
