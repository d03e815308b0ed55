"""Car deck: ribbed steel, lanes, parked vehicles, metal halide floods."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import materials as m
from makers import props as p
from makers.geometry import Builder
from makers.place import Lamp, Place, Subject, View, Wall, facing

Array = NDArray[np.float64]
W, Y0, Y1, H = 7.2, -4.0, 34.0, 4.7
CASING = "2.5PB 7/6"


def build(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    p.common(mats)
    worn = np.clip(0.55 * m.noise(1024, 61, 1.4) + 0.6 * m.wear(1024, 62, 0.22, 0.12, 1.4), 0, 1)
    mats["deck"] = m.blend(m.gloss("7.5G 3.5/4", 0.28), m.matt("5YR 3/2"), worn, (6, 6))
    rust = np.clip(m.wear(1024, 63, 0.05, 0.06, 1.7) + 0.2 * m.noise(1024, 64, 1.0), 0, 1)
    mats["plate"] = m.blend(m.gloss("5Y 8.5/1", 0.3), m.matt("2.5YR 4/6"), rust, (5, 5))
    mats["skirt"] = m.blend(m.gloss("7.5BG 4/4", 0.28), m.matt("2.5YR 3/4"), rust, (5, 5))
    mats["casing"] = m.matt(CASING)
    mats["overhead"] = m.gloss("5Y 8/1", 0.35)
    mats["lane"] = m.blend(m.matt("2.5Y 7.5/9"), m.matt("7.5G 3.5/3"), m.wear(512, 65, 0.3, 0.1, 1.2), (2, 2))
    mats["tarp"] = m.blend(m.gloss("5PB 4/7", 0.35), m.gloss("5PB 3/6", 0.35), m.noise(512, 66, 1.6), (3, 3))
    mats["glass"] = m.gloss("N 1.5", 0.05)
    mats["carred"] = m.gloss("5R 4/10", 0.08)
    mats["carwhite"] = m.gloss("N 8.5", 0.08)
    mats["cargrey"] = m.gloss("5B 5/2", 0.08)
    mats["caryellow"] = m.gloss("2.5Y 7/8", 0.08)
    mats["chassis"] = m.gloss("N 2.5", 0.3)
    mats["lampred"] = m.gloss("5R 4/12", 0.1)

    b.polygon("deck", [(-W, Y0, 0), (W, Y0, 0), (W, Y1, 0), (-W, Y1, 0)])
    b.polygon("overhead", [(-W, Y1, H), (W, Y1, H), (W, Y0, H), (-W, Y0, H)])
    for s in (-1, 1):
        for mat, z0, z1 in (("skirt", 0, 1.35), ("plate", 1.35, H)):
            q = [(s * W, Y0, z0), (s * W, Y1, z0), (s * W, Y1, z1), (s * W, Y0, z1)]
            b.polygon(mat, q if s < 0 else q[::-1])
        for y in np.arange(Y0 + 1, Y1, 2.4):  # web frames
            b.box("plate", (s * (W - 0.2), y, H / 2 + 0.6), (0.4, 0.05, H - 1.2), 0.004)
            b.box("skirt", (s * (W - 0.2), y, 0.65), (0.4, 0.05, 1.3), 0.004)
            b.box("plate", (s * (W - 0.4), y, H / 2 + 0.6), (0.03, 0.2, H - 1.2), 0.004)
            b.box("skirt", (s * (W - 0.4), y, 0.65), (0.03, 0.2, 1.3), 0.004)
        for z, r in ((3.9, 0.07), (3.65, 0.045), (1.6, 0.03)):
            b.rod("overhead" if r > 0.05 else "red", (s * (W - 0.5), Y0, z), (s * (W - 0.5), Y1, z), r)
    for y in np.arange(Y0 + 1, Y1, 2.4):  # deck beams
        b.box("overhead", (0, y, H - 0.2), (2 * W, 0.03, 0.4), 0.0)
        b.box("overhead", (0, y, H - 0.41), (2 * W, 0.18, 0.025), 0.0)
    for x in (-2.4, 2.4):
        b.box("overhead", (x, (Y0 + Y1) / 2, H - 0.3), (0.03, Y1 - Y0, 0.6), 0.0)
        b.box("overhead", (x, (Y0 + Y1) / 2, H - 0.6), (0.24, Y1 - Y0, 0.03), 0.0)
        b.box("lane", (x, (Y0 + Y1) / 2, 0.003), (0.13, Y1 - Y0, 0.005), 0.0)
    b.polygon("plate", [(-W, Y1, 0), (W, Y1, 0), (W, Y1, H), (-W, Y1, H)])
    b.polygon("plate", [(W, Y0, 0), (-W, Y0, 0), (-W, Y0, H), (W, Y0, H)])
    for k in range(7):  # bow door ribs
        b.box("plate", (-4.5 + 1.5 * k, Y1 - 0.1, H / 2), (0.1, 0.2, H), 0.0)
    b.box("caryellow", (0, Y1 - 0.15, 0.5), (9.5, 0.1, 0.25), 0.01)
    for y in np.arange(-1.6, Y1, 4.8):
        for x in (-4.6, 0.0, 4.6):
            if x > 0 and 7 < y < 12:  # inside the casing
                continue
            with b.at(x, y, H - 0.62):
                b.box("chassis", (0, 0, 0.08), (0.46, 0.46, 0.14), 0.03)
                q = [(-0.19, -0.19, 0.005), (-0.19, 0.19, 0.005), (0.19, 0.19, 0.005), (0.19, -0.19, 0.005)]
                b.light("halide", q, 5.0)
                for k in (-0.23, 0.23):
                    b.rod("steel", (k, 0, 0.05), (k, 0, 0.62), 0.012)
    # stair casing, freshly painted, with a steel door
    b.box("casing", (4.7, 9.5, H / 2), (3.0, 5.0, H), 0.03)
    with b.at(3.85, 6.98):
        p.door(b, 0.8, 2.0, "carred", glass=False)
    b.box("white", (3.85, 6.98, 2.45), (0.6, 0.02, 0.22), 0.0)
    b.box("caryellow", (4.7, 6.99, 0.1), (3.0, 0.03, 0.2), 0.0)
    _lorry(b, 4.7, 17.5, "tarp")
    _lorry(b, 4.7, 27.5, "carwhite")
    _car(b, -0.1, 10.5, "carred")
    _car(b, 0.1, 16.5, "cargrey")
    _car(b, 0.0, 23.0, "carwhite")
    _van(b, -4.7, 13.0, "caryellow")
    _car(b, -4.7, 7.0, "cargrey")
    _van(b, -4.6, 20.5, "carwhite")
    # wall gear: fire box, hose, ring, chains and chocks
    with b.at(-W + 0.25, 2.7, 1.2, yaw=90):
        b.box("red", (0, 0, 0), (0.75, 0.3, 0.8), 0.02)
        b.box("white", (0, -0.155, 0.05), (0.3, 0.01, 0.3), 0.0)
    with b.at(-W + 0.2, 0.4, 1.5, yaw=90, pitch=90):
        t = np.linspace(0, 2 * np.pi, 40)
        b.tube("orange", np.stack([0.33 * np.cos(t), 0.33 * np.sin(t), 0 * t], 1), 0.065, 14)
    for x, y in ((-2.9, 4.5), (-1.6, 5.2), (2.9, 3.2), (1.4, 8.2)):
        with b.at(x, y, yaw=30 * x):
            b.extrude("caryellow", [(-0.16, 0), (0.16, 0), (0.1, 0.16), (0.02, 0.16)], -0.1, 0.1)
    for k, (x, y) in enumerate(((3.0, 1.4), (-3.2, 5.6))):
        _chain(b, x, y, 20 + 50 * k)
    with b.at(2.9, 0.4):
        p.coil(b, r=0.33, thick=0.025)
    for x, y in ((-2.4, 2.0), (2.4, 5.0), (-2.4, 8.0), (2.4, 11.0)):  # lashing pots
        with b.at(x + 0.5, y):
            b.lathe("steel", [(0.11, 0.0), (0.11, 0.012), (0.05, 0.02), (1e-4, 0.02)], 20)


def _wheel(b: Builder, x: float, y: float, r: float, w: float) -> None:
    with b.at(x, y, r, roll=90):
        b.lathe(
            "rubber",
            [
                (1e-4, -w / 2),
                (r - 0.03, -w / 2),
                (r, -w / 2 + 0.03),
                (r, w / 2 - 0.03),
                (r - 0.03, w / 2),
                (1e-4, w / 2),
            ],
            32,
            smooth=False,
        )
        for s in (-1, 1):
            b.lathe(
                "steel",
                [(r * 0.55, s * (w / 2 + 0.004)), (r * 0.3, s * (w / 2 + 0.012)), (1e-4, s * (w / 2 + 0.02))][
                    ::s
                ],
                28,
            )


def _body(
    b: Builder, mat: str, side: list[tuple[float, float]], half: float, tuck: float, z_belt: float
) -> None:
    """A body from its side outline (y, z), narrower above the belt."""
    s = np.asarray(side)

    def width(z: float) -> float:
        return half - tuck * max(0.0, z - z_belt) - 0.05 * max(0.0, 0.45 - z)

    n = len(s)
    for i in range(n):
        a, c = s[i], s[(i + 1) % n]
        q = [
            (-width(a[1]), a[0], a[1]),
            (width(a[1]), a[0], a[1]),
            (width(c[1]), c[0], c[1]),
            (-width(c[1]), c[0], c[1]),
        ]
        b.polygon(mat, q)
    for sx in (-1, 1):
        ring = np.array([(sx * width(z), y, z) for y, z in s])
        b._fan(mat, ring if sx > 0 else ring[::-1])


def _car(b: Builder, x: float, y: float, mat: str) -> None:
    """A small hatchback seen from behind, its tail to -y."""
    with b.at(x, y):
        side = [(-1.9, 0.35), (1.95, 0.3), (2.0, 0.55), (1.85, 0.78), (0.95, 0.94), (0.85, 0.95)]
        side += [(-1.78, 1.0), (-1.93, 0.9), (-1.96, 0.6)]
        _body(b, mat, side, 0.84, 0.1, 0.7)
        roof = [(0.85, 0.94), (0.15, 1.42), (-0.1, 1.46), (-1.3, 1.44), (-1.5, 1.4), (-1.78, 0.99)]
        _body(b, mat, roof, 0.79, 0.36, 0.95)
        for sx in (-1, 1):
            z0, z1 = 1.01, 1.36
            for ya, yb, yc, yd in ((0.62, 0.2, -0.38, -0.38), (-0.46, -0.46, -1.32, -1.42)):
                q = [(ya, z0), (yd, z0), (yc, z1), (yb, z1)]
                pts = [(sx * (0.79 - 0.36 * (z - 0.95) + 0.004), yy, z) for yy, z in q]
                b.polygon("glass", pts if sx < 0 else pts[::-1])
        for ya, za, yb, zb, o in ((-1.755, 1.05, -1.535, 1.34, -0.006), (0.78, 1.0, 0.24, 1.36, 0.006)):
            wa, wb = 0.7, 0.6
            q = [(-wa, ya + o, za), (wa, ya + o, za), (wb, yb + o, zb), (-wb, yb + o, zb)]
            b.polygon("glass", q if o < 0 else q[::-1])
        for sx in (-1, 1):
            b.box("lampred", (sx * 0.66, -1.93, 0.82), (0.16, 0.06, 0.2), 0.02)
        b.box("chassis", (0, -1.95, 0.42), (1.55, 0.1, 0.16), 0.04)
        b.box("white", (0, -1.975, 0.66), (0.5, 0.02, 0.11), 0.0)
        for sx in (-0.72, 0.72):
            for yy in (-1.2, 1.3):
                _wheel(b, sx, yy, 0.3, 0.2)


def _van(b: Builder, x: float, y: float, mat: str) -> None:
    with b.at(x, y):
        side = [
            (-2.5, 0.4),
            (2.4, 0.35),
            (2.5, 0.6),
            (2.4, 1.0),
            (1.85, 1.2),
            (1.2, 2.2),
            (0.9, 2.3),
            (-2.45, 2.32),
            (-2.5, 2.2),
        ]
        _body(b, mat, side, 0.95, 0.07, 1.1)
        b.box("chassis", (0, -2.5, 0.5), (1.7, 0.12, 0.2), 0.04)
        b.box("glass", (-0.44, -2.49, 1.75), (0.68, 0.04, 0.55), 0.03)
        b.box("glass", (0.44, -2.49, 1.75), (0.68, 0.04, 0.55), 0.03)
        b.box("chassis", (0, -2.5, 1.4), (0.02, 0.02, 1.7), 0.0)
        b.box("white", (0.3, -2.51, 0.85), (0.5, 0.02, 0.12), 0.0)
        for sx in (-1, 1):
            b.box("lampred", (sx * 0.84, -2.5, 1.2), (0.1, 0.04, 0.4), 0.01)
            for yy in (-1.5, 1.5):
                _wheel(b, sx * 0.82, yy, 0.34, 0.22)


def _lorry(b: Builder, x: float, y: float, mat: str) -> None:
    """A rigid lorry from behind."""
    with b.at(x, y):
        b.box(mat, (0, 0, 2.35), (2.45, 7.0, 2.6), 0.05)
        b.box("steel", (0, -3.52, 2.35), (2.4, 0.04, 2.55), 0.01)
        b.box("steel", (0, -3.55, 2.35), (0.03, 0.03, 2.5), 0.0)
        for sx in (-0.9, -0.35, 0.35, 0.9):
            b.rod("chassis", (sx, -3.57, 1.1), (sx, -3.57, 3.6), 0.018)
        b.box("chassis", (0, 0.6, 0.9), (1.0, 7.6, 0.3), 0.02)
        b.box("chassis", (0, -3.45, 0.6), (2.3, 0.1, 0.16), 0.01)
        for sx in (-1, 1):
            b.box("lampred", (sx * 1.0, -3.5, 0.86), (0.36, 0.05, 0.14), 0.01)
            for yy in (-2.2, -1.1, 3.6):
                _wheel(b, sx * 1.0, yy, 0.48, 0.3)
            b.box("rubber", (sx * 1.0, -3.1, 0.5), (0.5, 0.02, 0.6), 0.0)
        b.box("carred", (0, 4.7, 1.7), (2.3, 1.7, 2.3), 0.12)


def _chain(b: Builder, x: float, y: float, yaw: float) -> None:
    t = np.linspace(0, 2 * np.pi, 14)
    with b.at(x, y, yaw=yaw):
        for k in range(22):
            with b.at(
                0.075 * k - 0.8,
                0.12 * np.sin(k * 0.6),
                0.02,
                yaw=20 * np.cos(k * 0.6),
                roll=0,
                pitch=0 if k % 2 else 70,
            ):
                b.tube("steel", np.stack([0.055 * np.cos(t), 0.03 * np.sin(t), 0 * t], 1), 0.011, 6)


PLACE = Place(
    key="car_deck",
    location="Car deck, MV Terne",
    source="HP4",
    lamps={"halide": Lamp("HP4", "metal halide floods between the deck beams")},
    lux={"halide": 180.0},
    balance_k=5200,
    views=(
        View(
            "10_car_deck_lanes",
            (-1.5, -3.3, 1.6),
            (-0.4, 20.0, 1.5),
            66,
            (1440, 720),
            facing((-1.5, -3.3, 0), 0.25, 1.2, 1.15, 4),
            file="exr",
            exposure=(1 / 60, 2.8, 800),
            time="16:25",
            walls=("casing",),
            seed=51,
        ),
        View(
            "11_car_deck_side",
            (2.7, 1.6, 1.6),
            (-5.6, 12.2, 1.4),
            60,
            (1440, 960),
            facing((2.7, 1.6, 0), 0.2, 5.0, 1.15, -8),
            camera="sensor",
            exposure=(1 / 60, 2.8, 640),
            time="16:33",
            seed=52,
        ),
        View(
            "20_car_deck_low",
            (1.7, -1.7, 0.4),
            (-0.5, 20.0, 1.75),
            52,
            (1600, 900),
            None,
            exposure=(1 / 60, 2.8, 500),
            time="16:41",
            subject=Subject((1.4, 6.0, 1.5), (1.7, -1.7, 0.4)),
            seed=53,
        ),
    ),
    build=build,
    effort=100**2,
    walls=(
        Wall(
            "casing",
            CASING,
            (
                (4.75, 7.0, 1.5),
                (5.45, 7.0, 1.5),
                (5.45, 7.0, 2.2),
                (4.75, 7.0, 2.2),
            ),
        ),
    ),
)
