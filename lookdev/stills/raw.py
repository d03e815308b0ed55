"""Camera raw through LibRaw: linear camera RGB with the primaries of the sensor, scene-referred.

What the scale means: ISO 12232:2019 puts a saturation-based exposure so that an 18 % card reaches
18 % / sqrt(2) = 12.7 % of saturation. Sensor white is thus scene light sqrt(2), 2.97 stops over mid grey; a
DNG's BaselineExposure is added. Nothing is brightened by looking at the picture.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix, xy_from_xyz, xyz_from_xy
from lookdev.colorimetry.encodings import Encoding
from lookdev.colorimetry.rgb_spaces import BT709, D65_XY, RGBSpace
from lookdev.errors import StillError
from lookdev.stills.dng import XY, DngColour, colour_of_dng, white_xy
from lookdev.stills.exif import load_exif
from lookdev.stills.formats import Decoded, Header
from lookdev.stills.quiet import quiet
from lookdev.stills.still import Metadata, merged
from lookdev.text import numbers

Array = NDArray[np.float64]

SENSOR_WHITE = float(np.sqrt(2.0))
_FLIP_TO_ORIENTATION = {0: 1, 3: 3, 5: 8, 6: 6}
_BASELINE_EXPOSURE = 50730


@dataclass(frozen=True)
class Gain:
    """Linear light of a linear signal, and back if ``inverse``; picklable."""

    factor: float
    inverse: bool = False

    def __call__(self, values: ArrayLike) -> Array:
        """Signal times ``factor``, or light over it."""
        x = np.asarray(values, dtype=np.float64)
        return np.asarray(x / self.factor if self.inverse else x * self.factor)


def _open(data: bytes) -> Any:
    import rawpy

    raw = rawpy.RawPy()
    raw.open_buffer(io.BytesIO(data))
    return raw


@dataclass(frozen=True)
class Sensor:
    """What a raw file's own balance and matrix are.

    Attributes
    ----------
    multipliers : of red, green, blue and second green, as the camera was set; zeros if it does not say.
    matrix : (3, 3) from XYZ to camera RGB as LibRaw has it, or None.
    dng : a DNG's own matrices, or None; they come before LibRaw's one for daylight.
    """

    multipliers: tuple[float, float, float, float]
    matrix: Array | None
    dng: DngColour | None

    @property
    def is_balanced(self) -> bool:
        """Whether the file has a balance of its own."""
        return min(self.multipliers[:3]) > 0

    def matrix_for(self, light_xy: XY | None) -> Array | None:
        """(3, 3) matrix from XYZ to camera RGB under ``light_xy``, or under the as-shot white; None if none.

        A DNG's own matrices are interpolated as its specification says.
        """
        if self.dng is None:
            return self.matrix
        if light_xy is None and self.is_balanced:
            light_xy = self.dng.white_of_neutral(1.0 / np.asarray(self.multipliers[:3]))
        return self.dng.camera_from_xyz(light_xy or D65_XY)

    def as_shot_xy(self, light_xy: XY | None = None) -> XY | None:
        """Chromaticity that the camera's own balance makes neutral, by the matrix under a light."""
        matrix = self.matrix_for(light_xy) if self.is_balanced else None
        return None if matrix is None else white_xy(matrix, 1.0 / np.asarray(self.multipliers[:3]))

    def balanced(self, metadata: Metadata, light_xy: XY | None) -> Metadata:
        """``metadata`` with the as-shot white under a light, where there is one."""
        white = self.as_shot_xy(light_xy)
        return metadata if white is None else merged(_told(white, "raw file, as-shot neutral"), metadata)


def _sensor(raw: Any, data: bytes) -> Sensor:
    """Of an opened file; LibRaw unpacks it for that."""
    own = np.asarray(raw.camera_whitebalance, dtype=np.float64)
    known = bool(np.all(np.isfinite(own[:3])) and own[:3].min() > 0)
    red, green, blue, second = own.tolist() if known else [0.0] * 4
    return Sensor((red, green, blue, second or green), camera_from_xyz(raw), colour_of_dng(data))


@dataclass(frozen=True)
class RawFile:
    """``extra`` of a raw file's header: its sensor, and LibRaw's object with the file unpacked, to be
    developed once; None where only the header was asked for."""

    sensor: Sensor
    opened: Any = None


def header(data: bytes, *, is_kept: bool = False) -> Header:
    """Size, orientation, EXIF, sensor; ``is_kept`` for :func:`decode`, so that it is unpacked but once."""
    with quiet():
        raw = _open(data)
        try:
            sizes = raw.sizes
            sensor = _sensor(raw, data)
            size, flip = (int(sizes.height), int(sizes.width)), int(sizes.flip)
            libraw = _libraw_metadata(raw)
        except BaseException:
            is_kept = False
            raise
        finally:
            if not is_kept:
                raw.close()
    is_tiff = data[:4] in (b"II*\0", b"MM\0*")
    return Header(
        kind="raw",
        size=size,
        orientation=_FLIP_TO_ORIENTATION.get(flip, 1),
        exif=data if is_tiff else None,
        metadata=libraw,
        extra=RawFile(sensor, raw if is_kept else None),
        bytes_per_pixel=16.0,  # LibRaw's mosaic (2), its four 16-bit channels (8) and what it gives out (6)
    )


def _libraw_metadata(raw: Any) -> Metadata:
    """Exposure as LibRaw knows it, for containers whose EXIF Pillow cannot open."""
    other = raw.other
    found = {
        "exposure_time_s": _positive(getattr(other, "shutter_speed", None)),
        "f_number": _positive(getattr(other, "aperture", None)),
        "iso": _positive(getattr(other, "iso_speed", None)),
        "focal_length_mm": _positive(getattr(other, "focal_length", None)),
    }
    origins = {name: "raw file, by LibRaw" for name, value in found.items() if value is not None}
    return Metadata(**found, origins=origins)  # type: ignore[arg-type]


def _positive(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if np.isfinite(number) and 0 < number < 1e7 else None


def camera_from_xyz(raw: Any) -> Array | None:
    """(3, 3) matrix from XYZ to camera RGB, or None where LibRaw has none.

    LibRaw gives the matrix of its own table for known cameras. For a DNG it gives linear BT.709 from balanced
    camera RGB (rows that sum to 1) and the daylight multipliers that were divided out of it; the two together
    are the DNG's ColorMatrix again.
    """
    matrix = np.asarray(raw.rgb_xyz_matrix, dtype=np.float64)[:3, :3]
    if _usable(matrix):
        return matrix
    rgb_from_camera = np.asarray(raw.color_matrix, dtype=np.float64)[:3, :3]
    daylight = np.asarray(raw.daylight_whitebalance, dtype=np.float64)[:3]
    if not _usable(rgb_from_camera) or not np.all(np.isfinite(daylight)) or daylight.min() <= 0:
        return None
    if np.abs(rgb_from_camera.sum(axis=1) - 1).max() > 0.01:
        return None
    matrix = (np.linalg.inv(rgb_from_camera) / daylight[:, None]) @ BT709.from_xyz
    return matrix if _usable(matrix) else None


def _usable(matrix: Array) -> bool:
    return bool(np.all(np.isfinite(matrix)) and abs(np.linalg.det(matrix)) > 1e-6)


def multipliers_for(white_xy: tuple[float, float], matrix: Array) -> list[float] | None:
    """Multipliers (R, G, B, G2) that make ``white_xy`` neutral; None where the sensor cannot see it so."""
    neutral = matrix @ xyz_from_xy(white_xy)
    if neutral.min() <= 1e-4 * neutral.max():
        return None
    gains = neutral[1] / neutral
    return [float(gains[0]), 1.0, float(gains[2]), 1.0]


def sensor_space(matrix: Array, gains: list[float]) -> RGBSpace | None:
    """RGB space of balanced camera RGB; None where the matrix and the gains make no space.

    As the DNG specification has it (1.7, chapter 6, without a ForwardMatrix): camera RGB to XYZ by the
    inverse of ColorMatrix, and the white that the balance makes neutral to D65 by linear Bradford. A lamp
    that was metered then shows in the picture just where the balance stage of a look expects it.
    """
    to_xyz = np.linalg.inv(matrix)
    white = to_xyz @ (1.0 / np.asarray(gains[:3]))
    if white[1] <= 0 or white.sum() <= 0:
        return None
    try:
        carried = adaptation_matrix(tuple(xy_from_xyz(white)), D65_XY) @ to_xyz
    except ValueError:
        return None
    total = carried.sum(axis=0)
    if np.abs(total).min() < 1e-4 or np.abs(carried[1] / total).min() < 1e-4:
        return None
    xy = [(float(c[0] / c.sum()), float(c[1] / c.sum())) for c in carried.T]
    space = RGBSpace("camera RGB", (xy[0], xy[1], xy[2]), D65_XY, "colour matrix of the raw file")
    return space if np.all(np.isfinite(space.to_xyz)) else None


def decode(
    data: bytes,
    head: Header,
    *,
    salvage: bool = False,
    reduce: int = 1,
    balance_xy: XY | None = None,
    light_xy: XY | None = None,
) -> Decoded:
    """Demosaiced linear camera RGB, balanced as the camera was set, or to ``balance_xy``.

    ``light_xy`` is the light that was metered where the picture was taken: a DNG of two illuminants is
    developed with the matrix that belongs to it. Without it, the balance decides.

    Highlights: every channel is cut where the first one clips after balance, so that a blown highlight is
    neutral (LibRaw's highlight mode 0). ``reduce`` 2 makes one pixel of each mosaic cell: that
    averages light.
    """
    sensor, raw = head.extra.sensor, head.extra.opened
    with quiet():
        raw = raw or _open(data)
        try:
            return _developed(raw, sensor, data, balance_xy, light_xy, half_size=reduce > 1)
        finally:
            raw.close()


def _developed(
    raw: Any, sensor: Sensor, data: bytes, balance_xy: XY | None, light_xy: XY | None, *, half_size: bool
) -> Decoded:
    import rawpy

    matrix = sensor.matrix_for(light_xy or balance_xy)
    warnings: list[str] = []
    balance, metadata = _balance(sensor, matrix, balance_xy, warnings)
    space = None if matrix is None else sensor_space(matrix, balance)
    native = space is not None and int(raw.num_colors) == 3
    pixels = raw.postprocess(
        half_size=half_size,
        user_wb=balance,
        output_color=rawpy.ColorSpace.raw if native else rawpy.ColorSpace.sRGB,
        gamma=(1, 1),
        output_bps=16,
        no_auto_bright=True,
        adjust_maximum_thr=0.0,
        highlight_mode=rawpy.HighlightMode.Clip,
        user_flip=0,
    )
    if pixels.ndim != 3 or pixels.shape[2] not in (1, 3):
        raise StillError("this kind of raw file is not read", found=f"{pixels.shape[-1]} colours")
    if pixels.shape[2] == 1:
        pixels = np.repeat(pixels, 3, axis=2)
    elif not native:
        warnings.append("the raw file has no usable colour matrix: LibRaw's own colours are used")
    factor = SENSOR_WHITE * 2.0 ** baseline_exposure(data)
    encoding = Encoding(
        "linear camera RGB" if native else "linear BT.709 of a raw file",
        "raw file, scaled by ISO 12232 saturation",
        "scene",
        space if native and space is not None else BT709,
        Gain(factor),
        Gain(factor, inverse=True),
    )
    words = f"camera raw, linear; {_balance_words(balance_xy, metadata)}"
    return Decoded(
        np.ascontiguousarray(pixels),
        "RGB",
        warnings=tuple(warnings),
        metadata=metadata,
        marked=(encoding, words),
    )


def _balance_words(balance_xy: XY | None, metadata: Metadata | None) -> str:
    if metadata is not None and metadata.camera_balance_xy is not None:
        x, y = metadata.camera_balance_xy
        return f"developed for white {numbers.x_y(x, y)}"
    return "balanced as shot"


def _balance(
    sensor: Sensor, matrix: Array | None, balance_xy: XY | None, warnings: list[str]
) -> tuple[list[float], Metadata | None]:
    """Multipliers to develop with, and the balance they stand for where it is not the file's own."""
    if balance_xy is not None and matrix is not None:
        gains = multipliers_for(balance_xy, matrix)
        if gains is not None:
            return gains, _told(balance_xy, "given by the caller")
        warnings.append("the sensor cannot be balanced to the given white: balanced as shot")
    if sensor.is_balanced:
        return list(sensor.multipliers), None
    warnings.append("the raw file has no balance of its own: developed for D65")
    gains = None if matrix is None else multipliers_for(D65_XY, matrix)
    return gains or [1.0, 1.0, 1.0, 1.0], _told(D65_XY, "no balance in the raw file: D65")


def _told(white_xy: tuple[float, float], words: str) -> Metadata:
    from lookdev.colorimetry.temperature import cct_duv_from_xy

    return Metadata(
        camera_balance_xy=white_xy,
        camera_balance_k=round(cct_duv_from_xy(white_xy)[0]),
        origins={"camera_balance_xy": words, "camera_balance_k": words},
    )


def baseline_exposure(data: bytes) -> float:
    """Stops of a DNG's BaselineExposure (DNG 1.7 tag 50730); 0 where there is none."""
    if data[:4] not in (b"II*\0", b"MM\0*"):
        return 0.0
    exif = load_exif(data)
    try:
        value = float(exif[_BASELINE_EXPOSURE])
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return 0.0
    return value if np.isfinite(value) and abs(value) <= 6 else 0.0
