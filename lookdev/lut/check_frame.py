"""The check frame: patches in the input encoding, and the code values that they must have after the LUT.

A colourist loads the frame, applies the LUT, and reads patches with their own system's picker. The patches'
values are 16-bit codes, so 8-, 10- and 16-bit readers all find them exactly. No ICC profile is embedded on
purpose: nothing may touch the codes on the way in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix, xyz_from_xy
from lookdev.colorimetry.encodings import ACESCCT, BT709, Encoding
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.files import whole_file, write_whole
from lookdev.looks.rendering import MID_GREY, lift_curve, render_curve
from lookdev.lut.cube import CubeLut
from lookdev.lut.interpolation import lookup_trilinear
from lookdev.text.csv_out import csv_text

Array = NDArray[np.float64]
Frame = NDArray[np.uint16]

WIDTH, HEIGHT = 1920, 1080
_MARGIN = 40
CHART_SOURCE = (
    "24-patch chart, spectrally averaged values for D50 after November 2014, as colour-science has them"
)


@dataclass(frozen=True)
class Patch:
    """One patch: its name, group, box in pixels (x, y, w, h) and 16-bit code values in the input encoding."""

    name: str
    group: str
    box: tuple[int, int, int, int]
    codes: tuple[int, int, int]

    @property
    def signal(self) -> Array:
        """Code values in [0, 1]."""
        return np.array(self.codes) / 65535.0

    @property
    def centre(self) -> tuple[int, int]:
        """Pixel to read, from the top left corner."""
        x, y, w, h = self.box
        return x + w // 2, y + h // 2


def check_patches(source: Encoding) -> list[Patch]:
    """Every patch of the frame for an input encoding, in reading order."""
    patches: list[Patch] = []
    steps = np.arange(33) / 32
    for i, v in enumerate(steps):
        patches.append(_patch(f"grey {i:02d} of 32", "grey ramp", (_MARGIN + i * 55, 170, 55, 110), [v] * 3))
    near = np.concatenate([np.arange(0, 128, 8), 1023 - np.arange(120, -8, -8)]) / 1023
    for i, v in enumerate(near):
        group = "near black" if i < 16 else "near white"
        name = f"{group} {round(v * 1023)}"
        patches.append(
            _patch(name, group, (_MARGIN + i * 57 + (16 if i >= 16 else 0), 300, 57, 110), [v] * 3)
        )
    hues = {
        "red": (1, 0, 0),
        "green": (0, 1, 0),
        "blue": (0, 0, 1),
        "cyan": (0, 1, 1),
        "magenta": (1, 0, 1),
        "yellow": (1, 1, 0),
    }
    dark = np.clip(
        source.from_working(np.zeros(3)), 0.0, 0.5
    )  # the code of no light: a log encoding's is not 0
    for row, (name, on) in enumerate(hues.items()):
        for column in range(8):
            level = (column + 1) / 8
            box = (_MARGIN + column * 100, 440 + row * 98, 100, 98)
            signal = dark + np.array(on) * level * (1.0 - dark)
            patches.append(_patch(f"{name} {level:.1%}", "primaries and secondaries", box, signal))
    for i, (name, signal) in enumerate(chart_signals(source)):
        box = (880 + (i % 6) * 166, 440 + (i // 6) * 147, 166, 147)
        patches.append(_patch(name, "24-patch chart", box, signal))
    return patches


def _patch(name: str, group: str, box: tuple[int, int, int, int], signal: Sequence[float] | Array) -> Patch:
    codes = np.floor(np.clip(np.asarray(signal, dtype=np.float64), 0.0, 1.0) * 65535 + 0.5).astype(int)
    return Patch(name, group, box, (int(codes[0]), int(codes[1]), int(codes[2])))


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
    """The frame (1080, 1920, 3) uint16: a smooth ramp on top, then every patch, on mid grey."""
    light = np.full(3, MID_GREY)
    ground = source.from_working(light)
    frame = np.empty((HEIGHT, WIDTH, 3), dtype=np.uint16)
    frame[:] = np.floor(np.clip(ground, 0, 1) * 65535 + 0.5).astype(np.uint16)
    ramp = np.floor(np.arange(WIDTH - 2 * _MARGIN) / (WIDTH - 2 * _MARGIN - 1) * 65535 + 0.5)
    frame[40:150, _MARGIN : WIDTH - _MARGIN] = ramp.astype(np.uint16)[None, :, None]
    for patch in patches:
        x, y, w, h = patch.box
        frame[y : y + h, x : x + w] = patch.codes
    return frame


@dataclass(frozen=True)
class CheckValues:
    """What each patch must read after the LUT: ``lut`` and ``look`` (n, 3) signals; LUT values tetrahedral.

    ``trilinear_codes`` is the largest difference, in 10-bit codes, of a system that interpolates trilinearly.
    """

    patches: tuple[Patch, ...]
    lut: Array
    look: Array
    trilinear_codes: float


def check_values(patches: Sequence[Patch], lut: CubeLut, look: Callable[[Array], Array]) -> CheckValues:
    """Every patch through the LUT and through the look itself."""
    signals = np.stack([patch.signal for patch in patches])
    out = lut(signals)
    trilinear = out
    if lut.kind == "3D":
        inner = lut.shaper(signals) if lut.shaper else signals
        low, high = np.array(lut.domain_min), np.array(lut.domain_max)
        trilinear = lookup_trilinear(lut.table, (inner - low) / (high - low))
    apart = float(np.abs(np.clip(trilinear, 0, 1) - np.clip(out, 0, 1)).max() * 1023)
    return CheckValues(tuple(patches), out, np.asarray(look(signals)), apart)


def code(signal: float, bits: int) -> int:
    """Full-scale code of a signal, rounded half up, held in range.

    >>> code(0.5, 10), code(1.0, 16)
    (512, 65535)
    """
    top = 2**bits - 1
    return int(min(max(np.floor(signal * top + 0.5), 0), top))


def check_csv(values: CheckValues) -> str:
    """The content of check_values.csv: one row a patch."""
    channels = ("r", "g", "b")
    head = ["patch", "group", "x", "y"]
    for what in ("in_10bit", "in_16bit", "after_lut_10bit", "after_lut_16bit", "look_10bit", "look_16bit"):
        head += [f"{what}_{c}" for c in channels]
    rows = []
    for patch, lut, look in zip(values.patches, values.lut, values.look, strict=True):
        row: list[object] = [patch.name, patch.group, *patch.centre]
        row += [code(v, 10) for v in patch.signal] + list(patch.codes)
        for signal in (lut, look):
            row += [code(float(v), 10) for v in signal] + [code(float(v), 16) for v in signal]
        rows.append(row)
    return csv_text(head, rows)


def write_check_values(path: Path, values: CheckValues) -> None:
    """Write check_values.csv, whole or not at all."""
    write_whole(path, check_csv(values))


def write_frame_png(path: Path, frame: Frame) -> None:
    """A 16-bit PNG without a profile; the same frame gives the same bytes."""
    import cv2

    with whole_file(path) as part:
        ok, data = cv2.imencode(".png", frame[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 6])
        assert ok
        part.write_bytes(data.tobytes())


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


@dataclass(frozen=True)
class WrongAnswer:
    """A usual mistake, what it means, and the 10-bit codes that the tell-tale patches then read."""

    sign: str
    meaning: str
    codes: tuple[tuple[int, int, int], ...]


_TELL_STOPS = (-4.0, 0.0, 2.0)
_TELL_CHART = ("dark skin", "blue sky")


def tell_tales(patches: Sequence[Patch], source: Encoding) -> list[Patch]:
    """Five patches that tell mistakes apart: the grey steps nearest to mid grey, 4 stops under it and 2 stops
    over it, and two patches of the chart."""
    ramp = [p for p in patches if p.group == "grey ramp"]
    light = np.repeat(MID_GREY * 2.0 ** np.array(_TELL_STOPS)[:, None], 3, axis=1)
    codes = source.from_working(render_curve(light) if source.state == "output" else light)[:, 0]
    greys = [min(ramp, key=lambda p: abs(float(p.signal[0]) - float(c))) for c in codes]
    chart = [p for name in _TELL_CHART for p in patches if p.name == name and p.group == "24-patch chart"]
    return list(dict.fromkeys([*greys, *chart]))


def wrong_answers(
    patches: Sequence[Patch], lut: CubeLut, source: Encoding
) -> tuple[list[Patch], WrongAnswer, list[WrongAnswer]]:
    """The tell-tale patches, what they must read, and what they read after each usual mistake."""
    tells = tell_tales(patches, source)
    x = np.stack([p.signal for p in tells])
    black, white = 64 / 1023, 940 / 1023

    def answer(sign: str, meaning: str, out: Array) -> WrongAnswer:
        rows = [tuple(code(float(v), 10) for v in row) for row in out]
        return WrongAnswer(sign, meaning, tuple((r[0], r[1], r[2]) for r in rows))

    other = BT709 if source.state == "scene" else ACESCCT
    light = source.to_working(x)
    light = render_curve(light) if source.state == "scene" else lift_curve(light)
    converted = np.clip(other.from_working(light), 0.0, 1.0)
    right = answer("as it must be", "loaded right", lut(x))
    wrong = [
        answer("unchanged", "the LUT is not on", x),
        answer(
            "too contrasty",
            "range in: 64-940 stretched to full before the LUT",
            lut((x - black) / (white - black)),
        ),
        answer("too flat", "range in: squeezed to 64-940 before the LUT", lut(black + x * (white - black))),
        answer(
            "lifted blacks",
            "range out: squeezed to 64-940 after the LUT",
            black + lut(x) * (white - black),
        ),
        answer(
            "wrong colour and contrast",
            f"encoding in: made {other.name} before the LUT",
            lut(converted),
        ),
        answer("the look twice", "order: the LUT is on twice", lut(lut(x))),
    ]
    return tells, right, wrong
