"""The check frame: patches in the input encoding, and the code values that they must have after the LUT.

A colourist loads the frame, applies the LUT, and reads patches with their own system's picker. The patches'
values are 16-bit codes, so 8-, 10- and 16-bit readers all find them exactly; for linear input they are light,
up to LINEAR_TOP, in an EXR. No ICC profile is embedded on purpose: nothing may touch the codes on the way in.

Readers interpolate by tetrahedra or trilinearly, and are right either way. Where it can be, a patch stands on
a point of a LUT of 33 and of 65, on which all readers agree; for the others the values of both are told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix, xyz_from_xy
from lookdev.colorimetry.encodings import HDR_WHITE_CD_M2, Encoding
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.files import whole_file, write_whole
from lookdev.looks.pipeline import Transform
from lookdev.looks.rendering import MID_GREY, render_curve
from lookdev.lut.bake import LINEAR_TOP, shaped, shaper_inverse
from lookdev.lut.cube import CubeLut
from lookdev.lut.interpolation import lookup_trilinear
from lookdev.text.csv_out import csv_text

Array = NDArray[np.float64]
Frame = NDArray[np.uint16] | NDArray[np.float32]

WIDTH, HEIGHT = 1920, 1080
_MARGIN = 40
_STEPS = 32
"""Cells of the LUT on whose points patches stand; a LUT of 65 has points there too."""
CHART_SOURCE = (
    "24-patch chart, spectrally averaged values for D50 after November 2014, as colour-science has them"
)


@dataclass(frozen=True)
class Patch:
    """One patch: its name, group, box in pixels (x, y, w, h) and its values in the input encoding: multiples
    of a 16-bit code, or, for linear input, light."""

    name: str
    group: str
    box: tuple[int, int, int, int]
    values: tuple[float, float, float]

    @property
    def signal(self) -> Array:
        """Code values in [0, 1], or light."""
        return np.array(self.values)

    @property
    def codes(self) -> tuple[int, int, int]:
        """16-bit codes."""
        red, green, blue = (code(v, 16) for v in self.values)
        return red, green, blue

    @property
    def centre(self) -> tuple[int, int]:
        """Pixel to read, from the top left corner."""
        x, y, w, h = self.box
        return x + w // 2, y + h // 2


def check_patches(source: Encoding) -> list[Patch]:
    """Every patch of the frame for an input encoding, in reading order."""
    patches: list[Patch] = []

    def put(name: str, group: str, box: tuple[int, int, int, int], along: Sequence[float] | Array) -> None:
        patches.append(Patch(name, group, box, _held(_value(along, source), source)))

    for i in range(_STEPS + 1):
        put(f"grey {i:02d} of 32", "grey ramp", (_MARGIN + i * 55, 170, 55, 110), [i / _STEPS] * 3)
    near = np.concatenate([np.arange(0, 128, 8), 1023 - np.arange(120, -8, -8)])
    for i, v in enumerate(near):
        group = "near black" if i < 16 else "near white"
        box = (_MARGIN + i * 57 + (16 if i >= 16 else 0), 300, 57, 110)
        put(f"{group} {v}", group, box, [v / 1023] * 3)
    dark = int(np.ceil(float(_along(source.from_working(np.zeros(3)), source).max()) * _STEPS - 1e-9))
    for row, (name, on) in enumerate(_HUES.items()):
        for column in range(8):
            level = (column + 1) / 8
            box = (_MARGIN + column * 100, 440 + row * 84, 100, 84)
            along = dark + np.array(on) * round(level * (_STEPS - dark))
            put(f"{name} {level:.1%}", "primaries and secondaries", box, along / _STEPS)
    for i, (name, signal) in enumerate(chart_signals(source)):
        box = (880 + (i % 6) * 166, 440 + (i // 6) * 147, 166, 147)
        patches.append(Patch(name, "24-patch chart", box, _held(signal, source)))
        if name in _ON_POINTS:
            on_point = np.clip(np.round(_along(signal, source) * _STEPS), 0, _STEPS) / _STEPS
            box = (_MARGIN + _ON_POINTS.index(name) * 100, 440 + 6 * 84, 100, 84)
            put(f"{name}, at a point", "chart colours at points", box, on_point)
    return patches


_HUES = {
    "red": (1, 0, 0),
    "green": (0, 1, 0),
    "blue": (0, 0, 1),
    "cyan": (0, 1, 1),
    "magenta": (1, 0, 1),
    "yellow": (1, 1, 0),
}
_ON_POINTS = (
    "dark skin",
    "light skin",
    "blue sky",
    "foliage",
    "bluish green",
    "orange",
    "purplish blue",
    "moderate red",
)


def _value(along: Sequence[float] | Array, source: Encoding) -> Array:
    """Values in the input encoding of places along a LUT's axis, 0 to 1: through the shaper's inverse."""
    places = np.asarray(along, dtype=np.float64)
    return shaper_inverse(places) if source.is_linear else places


def _along(signal: Array, source: Encoding) -> Array:
    """The inverse of :func:`_value`."""
    return shaped(signal) if source.is_linear else np.asarray(signal)


def _held(signal: Array, source: Encoding) -> tuple[float, float, float]:
    """Values as the frame's file holds them: whole 16-bit codes, or light as 32-bit floats."""
    if source.is_linear:
        red, green, blue = (float(v) for v in np.clip(signal, 0.0, LINEAR_TOP).astype(np.float32))
    else:
        red, green, blue = (code(float(v), 16) / 65535.0 for v in signal)
    return red, green, blue


@lru_cache(maxsize=1)
def _chart_scene() -> tuple[tuple[str, Array], ...]:
    """Scene light (linear BT.2020, D65, perfect white 1.0) of the 24 patches, by name."""
    chart = colour_science().CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    white = tuple(float(v) for v in chart.illuminant)
    to_d65 = WORKING.from_xyz @ adaptation_matrix(white, D65_XY)
    out = []
    for name, (x, y, luminance) in chart.data.items():
        out.append((str(name), np.asarray(to_d65 @ (xyz_from_xy((float(x), float(y))) * float(luminance)))))
    return tuple(out)


def chart_signals(source: Encoding) -> list[tuple[str, Array]]:
    """Code values (3,) of the 24 patches in ``source``, exposed so that 18% grey is mid grey."""
    out = []
    for name, scene in _chart_scene():
        light = render_curve(scene) if source.state == "output" else scene
        out.append((name, source.from_working(light)))
    return out


def draw_frame(patches: Sequence[Patch], source: Encoding) -> Frame:
    """The frame (1080, 1920, 3): a smooth ramp on top, then every patch, on mid grey; uint16 codes, or light
    as float32 for linear input."""
    ground = _held(source.from_working(np.full(3, MID_GREY)), source)
    frame = np.empty((HEIGHT, WIDTH, 3))
    frame[:] = ground
    across = WIDTH - 2 * _MARGIN
    frame[40:150, _MARGIN : WIDTH - _MARGIN] = _value(np.arange(across) / (across - 1), source)[:, None]
    for patch in patches:
        x, y, w, h = patch.box
        frame[y : y + h, x : x + w] = patch.values
    if source.is_linear:
        return frame.astype(np.float32)
    return np.floor(frame * 65535.0 + 0.5).astype(np.uint16)


def frame_signal(frame: Frame) -> Array:
    """The frame's values as a LUT takes them."""
    values = frame.astype(np.float64)
    return values / 65535.0 if frame.dtype == np.uint16 else values


@dataclass(frozen=True)
class CheckValues:
    """What each patch must read after the LUT: ``lut``, ``trilinear`` and ``look`` (n, 3) signals; ``lut`` by
    tetrahedral interpolation.

    ``trilinear_codes`` is the largest difference, in 10-bit codes, of a system that interpolates trilinearly.
    """

    patches: tuple[Patch, ...]
    source: Encoding
    target: Encoding
    lut: Array
    trilinear: Array
    look: Array

    @property
    def trilinear_codes(self) -> float:
        return float(np.abs(np.clip(self.trilinear, 0, 1) - np.clip(self.lut, 0, 1)).max() * 1023)


def check_values(patches: Sequence[Patch], lut: CubeLut, look: Transform) -> CheckValues:
    """Every patch through the LUT, by either interpolation, and through the look itself."""
    signals = np.stack([patch.signal for patch in patches])
    trilinear = read_trilinear(lut, signals)
    return CheckValues(
        tuple(patches), look.source, look.target, lut(signals), trilinear, np.asarray(look(signals))
    )


def read_trilinear(lut: CubeLut, signals: Array) -> Array:
    """The LUT as a reader that interpolates trilinearly has it."""
    if lut.kind == "1D":
        return lut(signals)
    inner = lut.shaper(signals) if lut.shaper else signals
    low, high = np.array(lut.domain_min), np.array(lut.domain_max)
    return lookup_trilinear(lut.table, (inner - low) / (high - low))


def brightest_words(values: CheckValues) -> str:
    """How bright an HDR check frame gets behind the LUT: its greys, and its brightest channel, in cd/m2."""
    light = values.target.decode(np.clip(values.lut, 0.0, 1.0)) * HDR_WHITE_CD_M2
    greys = light[[patch.group == "grey ramp" for patch in values.patches]]
    return (
        f"The check frame goes as far as {values.source.name} does: its greys to "
        f"{greys.min(axis=1).max():.0f} cd/m2, a channel of its brightest patch to {light.max():.0f}."
    )


def code(signal: float, bits: int) -> int:
    """Full-scale code of a signal, rounded half up, held in range.

    >>> code(0.5, 10), code(1.0, 16)
    (512, 65535)
    """
    top = 2**bits - 1
    return int(min(max(np.floor(signal * top + 0.5), 0), top))


TOLERANCE_10BIT = 1
"""What a reading may be off, by the column of its own interpolation: rounding, in reader and file."""


def check_csv(values: CheckValues) -> str:
    """The content of check_values.csv: one row a patch.

    ``after_lut_*`` is what a reader gives that interpolates by tetrahedra, ``trilinear_*`` one that does so
    trilinearly; each may be off by ``within_10bit``. ``look_*`` is the look itself.
    """
    columns = (
        ("in", values.source, np.stack([patch.signal for patch in values.patches])),
        ("after_lut", values.target, values.lut),
        ("trilinear", values.target, values.trilinear),
        ("look", values.target, values.look),
    )
    head = ["patch", "group", "x", "y"]
    for what, encoding, _ in columns:
        kinds = ("light",) if encoding.is_linear else ("10bit", "16bit")
        head += [f"{what}_{kind}_{c}" for kind in kinds for c in "rgb"]
    rows = []
    for i, patch in enumerate(values.patches):
        row: list[object] = [patch.name, patch.group, *patch.centre]
        for _, encoding, signals in columns:
            row += _cells(signals[i], encoding)
        rows.append([*row, TOLERANCE_10BIT])
    return csv_text([*head, "within_10bit"], rows)


def _cells(signal: Array, encoding: Encoding) -> list[object]:
    if encoding.is_linear:
        return [f"{v:.6g}" for v in signal.tolist()]
    return [code(float(v), bits) for bits in (10, 16) for v in signal]


def write_check_values(path: Path, values: CheckValues) -> None:
    """Write check_values.csv, whole or not at all."""
    write_whole(path, check_csv(values))


def frame_name(source: Encoding) -> str:
    """The check frame's file: light needs floats."""
    return "check_frame.exr" if source.is_linear else "check_frame.tif"


def write_check_frame(folder: Path, patches: Sequence[Patch], source: Encoding) -> None:
    """Write the frame as :func:`frame_name` says, and codes as a PNG too."""
    frame = draw_frame(patches, source)
    if source.is_linear:
        write_frame_exr(folder / frame_name(source), frame, source)
        return
    write_frame_tiff(folder / frame_name(source), frame, f"check frame, {source.name}")
    write_frame_png(folder / "check_frame.png", frame)


def write_frame_png(path: Path, frame: Frame) -> None:
    """A 16-bit PNG without a profile; the same frame gives the same bytes."""
    import cv2

    with whole_file(path) as part:
        ok, data = cv2.imencode(".png", frame[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 6])
        assert ok
        part.write_bytes(data.tobytes())


def write_frame_exr(path: Path, frame: Frame, source: Encoding) -> None:
    """A 32-bit float OpenEXR whose ``chromaticities`` say the primaries; deterministic bytes."""
    import OpenEXR

    primaries = tuple(float(v) for xy in (*source.space.primaries_xy, source.space.white_xy) for v in xy)
    head = {
        "compression": OpenEXR.ZIP_COMPRESSION,
        "type": OpenEXR.scanlineimage,
        "chromaticities": primaries,
    }
    channels = {"RGB": np.ascontiguousarray(frame, dtype=np.float32)}
    with whole_file(path) as part:
        OpenEXR.File(head, channels).write(str(part))


def write_frame_tiff(path: Path, frame: Frame, description: str, profile: bytes | None = None) -> None:
    """A 16-bit TIFF, with ``description`` in ASCII and an ICC ``profile`` if given; deterministic bytes."""
    import tifffile

    with whole_file(path) as part:
        tifffile.imwrite(
            part,
            frame,
            photometric="rgb",
            compression="zlib",
            predictor=True,
            rowsperstrip=64,
            metadata=None,
            software="",
            description=description.encode("ascii", "replace").decode("ascii"),
            iccprofile=profile,
        )
