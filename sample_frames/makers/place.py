"""What a place is made of, and what a view of it needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers.geometry import Builder
from makers.stand_in import StandIn

Array = NDArray[np.float64]
Build = Callable[[Builder, dict[str, Any], dict[str, Array]], None]


@dataclass(frozen=True)
class Rig:
    """Where the board with grey card and chart stands: foot, height of its middle, yaw and lean in degrees.

    At yaw 0 the board faces -y.
    """

    x: float
    y: float
    z: float = 1.15
    yaw: float = 0.0
    lean: float = 0.0
    stand: bool = True
    scale: float = 1.0


def facing(eye: tuple[float, float, float], x: float, y: float, z: float = 1.15, turn: float = 0.0) -> Rig:
    """A board at x, y turned to the camera, and then by ``turn`` degrees (counter-clockwise from above)."""
    yaw = float(np.degrees(np.arctan2(eye[0] - x, -(eye[1] - y))))
    return Rig(x, y, z, yaw + turn)


@dataclass(frozen=True)
class Lamp:
    """One kind of light in a place: a CIE illuminant."""

    illuminant: str
    words: str
    role: str | None = None


@dataclass(frozen=True)
class Subject:
    """Where the meter was held for a composed still: a point in the air, and what it faces."""

    at: tuple[float, float, float]
    towards: tuple[float, float, float]


@dataclass(frozen=True)
class View:
    """One still: camera position, what it is taken with, and how it is written.

    With a ``rig`` it is measured: the board stands in it. Without one it is composed: the meter was held at
    its ``subject``, ``stand_ins`` may be in it, and ``dress`` adds what was moved into this frame alone.
    """

    name: str
    eye: tuple[float, float, float]
    look: tuple[float, float, float]
    fov: float
    size: tuple[int, int]
    rig: Rig | None
    camera: str = "exact"
    file: str = "jpg"
    exposure: tuple[float, float, int] = (1 / 30, 4.0, 800)
    time: str = "09:00"
    grey_in_log: bool = False
    walls: tuple[str, ...] = ()
    shift: float = 0.0
    seed: int = 1
    depth: int = 5
    subject: Subject | None = None
    stand_ins: tuple[StandIn, ...] = ()
    dress: Build | None = None
    passes: int = 1
    face_spp: int = 0
    """Samples a pixel on faces, where the light comes by rare paths: of few, a denoiser makes less light."""
    effort: int = 0
    """As a place's, for the meter of this view where it needs another."""


@dataclass(frozen=True)
class Wall:
    """A painted area with a known reflectance: corners of a clean part of it, counter-clockwise."""

    name: str
    notation: str
    corners: tuple[tuple[float, float, float], ...]
    effort: int = 0
    """Samples a texel in each half where it needs others than the place's."""


@dataclass(frozen=True)
class Place:
    """One location."""

    key: str
    location: str
    source: str
    lamps: dict[str, Lamp]
    lux: dict[str, float]
    """Illuminance of each lamp group at the card of the first view."""
    balance_k: float
    views: tuple[View, ...]
    build: Build
    """Adds shapes, materials (bsdf by name) and glow masks (picture by name)."""
    walls: tuple[Wall, ...] = ()
    effort: int = 80**2
    """Samples a texel in each half, a square: as many as bring the noise of both under 1 %."""
    card_effort: int = 0
    """The same for the card, where it needs others: a wet ground throws rare bright glints on it."""


# The board: a 6 x 4 chart at the left, a grey card at the right, seen from -y. Metres.
PATCH, PITCH = 0.062, 0.072
BOARD_W, BOARD_H = 0.80, 0.36
CHART_LEFT, CHART_TOP = -0.375, 0.144
CARD = (0.115, -0.14, 0.375, 0.14)


def rig_frame(rig: Rig, b: Builder) -> Any:
    return b.at(rig.x, rig.y, rig.z, yaw=rig.yaw, pitch=-rig.lean)


def patch_corners(index: int, scale: float = 1.0) -> Array:
    """Corners (4, 3) of patch ``index`` (row by row from top left) in the board's frame."""
    r, c = divmod(index, 6)
    x0, z1 = CHART_LEFT + c * PITCH + (PITCH - PATCH) / 2, CHART_TOP - r * PITCH - (PITCH - PATCH) / 2
    x1, z0 = x0 + PATCH, z1 - PATCH
    y = -0.0125
    return np.array([[x0, y, z0], [x1, y, z0], [x1, y, z1], [x0, y, z1]]) * [scale, 1, scale]


def card_corners(scale: float = 1.0) -> Array:
    """Corners (4, 3) of the grey card in the board's frame."""
    x0, z0, x1, z1 = CARD
    y = -0.0125
    return np.array([[x0, y, z0], [x1, y, z0], [x1, y, z1], [x0, y, z1]]) * [scale, 1, scale]


def build_rig(b: Builder, rig: Rig, chart_names: list[str]) -> None:
    """The board on a thin stand: materials ``board``, ``stand``, ``card`` and ``patch:NAME``."""
    with rig_frame(rig, b):
        s = rig.scale
        b.box("board", (0, 0, 0), (BOARD_W * s, 0.024, BOARD_H * s), 0.003)
        for i, name in enumerate(chart_names):
            b.polygon(f"patch:{name}", patch_corners(i, s))
        b.polygon("card", card_corners(s))
    if rig.stand:
        with b.at(rig.x, rig.y, 0, yaw=rig.yaw):
            b.rod("stand", (0, 0.03, 0.35), (0, 0.03, rig.z + 0.1), 0.011)
            b.rod("stand", (0, 0.03, 0.05), (0, 0.03, 0.7), 0.016)
            for k in range(3):
                a = np.radians(90 + 120 * k)
                foot = (0.36 * np.cos(a), 0.03 + 0.36 * np.sin(a), 0.012)
                b.rod("stand", (0, 0.03, 0.45), foot, 0.009)


@dataclass(frozen=True)
class Lens:
    """Pinhole camera of a view: world to pixels."""

    eye: Array
    right: Array
    up: Array
    ahead: Array
    focal_px: float
    centre: tuple[float, float]

    def project(self, points: Array) -> Array:
        """Pixels (..., 2) x right, y down of world points (..., 3)."""
        d = np.asarray(points, dtype=float) - self.eye
        z = d @ self.ahead
        return np.stack(
            [
                self.centre[0] + self.focal_px * (d @ self.right) / z,
                self.centre[1] - self.focal_px * (d @ self.up) / z,
            ],
            axis=-1,
        )


def lens_of(view: View, scale: float = 1.0) -> Lens:
    eye, look = np.asarray(view.eye, dtype=float), np.asarray(view.look, dtype=float)
    ahead = (look - eye) / np.linalg.norm(look - eye)
    right = np.cross(ahead, [0, 0, 1])
    right = right / np.linalg.norm(right)
    up = np.cross(right, ahead)
    w, h = view.size[0] * scale, view.size[1] * scale
    focal = (max(w, h) / 2) / np.tan(np.radians(view.fov) / 2)
    return Lens(eye, right, up, ahead, float(focal), (w / 2, h / 2 + view.shift * h))


def inner_box(lens: Lens, corners: Array, share: float = 0.7) -> tuple[int, int, int, int]:
    """x, y, w, h in pixels of the largest upright box within a shrunken projected quad (near upright)."""
    p = lens.project(np.asarray(corners))
    mid = p.mean(axis=0)
    p = mid + (p - mid) * share
    xs, ys = np.sort(p[:, 0]), np.sort(p[:, 1])
    x0, x1 = int(np.ceil(xs[1])), int(np.floor(xs[2]))
    y0, y1 = int(np.ceil(ys[1])), int(np.floor(ys[2]))
    return x0, y0, x1 - x0, y1 - y0
