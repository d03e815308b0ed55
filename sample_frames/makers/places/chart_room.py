"""Chart room: desk, charts and shelves at night under white LED."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import materials as m
from makers import props as p
from makers.geometry import Builder
from makers.place import Lamp, Place, Subject, View, Wall, facing

Array = NDArray[np.float64]
X0, X1, Y0, Y1, H = -2.6, 2.6, -2.4, 4.0, 2.4
WALL = "10B 7/4"


def build(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    p.common(mats)
    mats["floor"] = m.blend(
        m.gloss("5B 4/3", 0.22), m.gloss("5B 3/2", 0.22), m.tiles(1024, 71, 6, 0.015, 0.5), (2.4, 2.4)
    )
    mats["wall"] = m.matt(WALL)
    mats["panel"] = m.blend(
        m.gloss("7.5YR 5/4", 0.25),
        m.gloss("5YR 3/3", 0.25),
        m.planks(1024, 72, 6, 0, 0.04, along_u=False),
        (1.2, 1.2),
    )
    mats["ceiling"] = m.blend(
        m.gloss("N 9", 0.3), m.gloss("N 7", 0.3), m.tiles(1024, 73, 4, 0.012, 0.05), (2.4, 2.4)
    )
    mats["wood"] = m.blend(
        m.gloss("7.5YR 5/6", 0.18), m.gloss("5YR 3/4", 0.18), m.grain(1024, 74, 90), (0.9, 0.9)
    )
    mats["chart1"] = m.blend(m.matt("5Y 9/2"), m.matt("5B 6/5"), m.scribble(700, 1000, 75, _chart), None)
    mats["chart2"] = m.blend(m.matt("5Y 9/1"), m.matt("7.5R 5/6"), m.scribble(700, 1000, 76, _chart), None)
    mats["dial"] = m.blend(m.matt("N 1.5"), m.matt("N 9"), m.scribble(256, 256, 77, _dial), None)
    mats["console"] = m.gloss("5G 5/1", 0.35)
    mats["cork"] = m.blend(m.matt("7.5YR 6/5"), m.matt("5YR 4/4"), m.noise(512, 78, 0.6), (0.5, 0.5))

    p.room(b, X0, X1, Y0, Y1, H, "floor", "ceiling", ("wall", "wall", "", "wall"))
    with b.at(0, Y1):  # far wall with three dark windows
        holes = ((-2.2, -0.85), (-0.6, 0.75), (1.0, 2.2))
        a = X0
        for i, (h0, h1) in enumerate(holes):
            end = X1 if i == 2 else (h1 + holes[i + 1][0]) / 2
            p.wall_with_hole(b, "wall", a, end, H, (h0, h1, 1.2, 2.0), 0.14)
            p.window(b, "white", (h0, h1, 1.2, 2.0), 0.14, 1, 1)
            a = end
    b.box("panel", (0, Y1 - 0.012, 0.55), (X1 - X0, 0.024, 1.1), 0.0)
    b.box("wood", (0, Y1 - 0.03, 1.1), (X1 - X0, 0.06, 0.04), 0.01)
    # LED panels in the ceiling, a strip over the shelf, a desk lamp
    for x, y in ((-1.15, 0.1), (1.15, 0.1), (-1.15, 2.4), (1.15, 2.4)):
        b.box("white", (x, y, H - 0.02), (0.66, 0.66, 0.05), 0.01)
        q = [
            (x - 0.29, y - 0.29, H - 0.048),
            (x - 0.29, y + 0.29, H - 0.048),
            (x + 0.29, y + 0.29, H - 0.048),
            (x + 0.29, y - 0.29, H - 0.048),
        ]
        b.light("led", q, 1.0)
    # chart table in the middle with drawers
    with b.at(-0.55, 2.3):
        b.box("wood", (0, 0, 0.45), (1.9, 1.1, 0.86), 0.01)
        for k in range(6):
            b.box("wood", (0, -0.56, 0.11 + k * 0.135), (1.78, 0.03, 0.115), 0.006)
            for x in (-0.55, 0.55):
                b.box("brass", (x, -0.585, 0.11 + k * 0.135), (0.12, 0.02, 0.022), 0.004)
        b.box("wood", (0, 0, 0.905), (2.04, 1.24, 0.04), 0.01)
        with b.at(-0.05, 0.02, 0.929, yaw=4):
            b.picture("chart1", [(-0.7, -0.45, 0), (0.55, -0.45, 0), (0.55, 0.42, 0), (-0.7, 0.42, 0)])
        with b.at(0.3, -0.06, 0.932, yaw=-11):
            b.picture("chart2", [(-0.42, -0.36, 0), (0.5, -0.36, 0), (0.5, 0.3, 0), (-0.42, 0.3, 0)])
        with b.at(0.25, 0.0, 0.936, yaw=24):
            b.box("wood", (0, 0, 0.006), (0.5, 0.045, 0.012), 0.002)
            b.box("wood", (0.02, 0.1, 0.006), (0.5, 0.045, 0.012), 0.002)
        for dx in (0.0, 0.03):
            b.rod("brass", (0.02 + dx, -0.2, 0.94), (-0.03 + 2 * dx, -0.05, 0.97), 0.005)
        with b.at(-0.8, 0.35, 0.925):
            p.mug(b, "red")
        for k in range(4):
            b.rod("paper", (0.82 - 0.08 * k, -0.5 + 0.1 * k, 0.955), (0.9 - 0.05 * k, 0.45, 0.955), 0.028)
        # desk lamp, off: brass arm and green shade
        with b.at(0.85, 0.45, 0.925):
            b.lathe(
                "brass", [(1e-4, 0), (0.09, 0), (0.09, 0.015), (0.015, 0.03), (0.012, 0.36), (1e-4, 0.36)], 28
            )
            b.rod("brass", (0, 0, 0.35), (-0.2, -0.12, 0.42), 0.009)
            with b.at(-0.22, -0.13, 0.37, pitch=18, roll=-14):
                b.lathe("green", [(0.11, 0), (0.1, 0.03), (0.035, 0.1), (0.03, 0.12)], 32)
    with b.at(0.45, 1.35, yaw=150):
        p.chair(b, "wood", "cloth")
    # shelf of books and rolled charts on the left wall
    for z in (0.9, 1.3, 1.7):
        b.box("wood", (X0 + 0.16, 1.6, z), (0.3, 2.3, 0.03), 0.005)
    for y in (0.46, 1.6, 2.74):
        b.box("wood", (X0 + 0.16, y, 1.05), (0.3, 0.03, 1.9), 0.005)
    for k, (z, y, n) in enumerate(((0.915, 0.55, 22), (1.315, 0.55, 25), (1.315, 1.7, 20), (1.715, 0.6, 18))):
        with b.at(X0 + 0.28, y, z, yaw=90):
            p.books(b, n, ("cloth", "red", "green", "black", "paper", "wood", "blue"), 20 + k)
    for k in range(9):
        z = 0.95 + 0.075 * (k // 4)
        b.rod("paper", (X0 + 0.06, 1.75 + 0.08 * (k % 4), z), (X0 + 0.34, 1.75 + 0.08 * (k % 4), z), 0.03)
    for k in range(6):
        b.rod(
            ("paper", "cloth", "paper")[k % 3],
            (X0 + 0.05, 1.75 + 0.13 * k, 1.76),
            (X0 + 0.33, 1.75 + 0.13 * k, 1.76),
            0.04,
        )
    # instrument console at the right under the windows
    with b.at(1.75, Y1 - 0.36):
        b.box("console", (0, 0, 0.5), (1.5, 0.65, 1.0), 0.03)
        b.polygon("console", [(-0.74, -0.33, 1.0), (0.74, -0.33, 1.0), (0.74, 0.1, 1.18), (-0.74, 0.1, 1.18)])
        b.polygon("console", [(-0.74, 0.1, 1.18), (0.74, 0.1, 1.18), (0.74, 0.3, 1.0), (-0.74, 0.3, 1.0)])
        for k in range(4):
            x = -0.54 + 0.36 * k
            with b.at(x, -0.13, 1.088, pitch=22.7):
                b.lathe("brass", [(0.13, 0.0), (0.13, 0.02), (0.115, 0.025), (0.115, 0.01)], 36)
                b.picture(
                    "dial",
                    [
                        (-0.112, -0.112, 0.011),
                        (0.112, -0.112, 0.011),
                        (0.112, 0.112, 0.011),
                        (-0.112, 0.112, 0.011),
                    ],
                )
        for k in range(7):
            b.ball(("red", "green", "yellow", "black")[k % 4], (-0.55 + 0.18 * k, -0.34, 0.86), 0.022)
        b.box("black", (0.2, -0.33, 0.5), (0.8, 0.02, 0.4), 0.006)
    # right wall: pin board with notices, clock, coat
    b.box("wood", (X1 - 0.02, 1.7, 1.6), (0.04, 1.3, 0.9), 0.01)
    b.box("cork", (X1 - 0.03, 1.7, 1.6), (0.04, 1.2, 0.8), 0.0)
    rng = np.random.default_rng(79)
    for k in range(7):
        y, z = 1.25 + 0.3 * (k % 4), 1.42 + 0.35 * (k // 4)
        with b.at(X1 - 0.055, y, z, roll=0, yaw=-90):
            w, h = rng.uniform(0.09, 0.13), rng.uniform(0.12, 0.15)
            c = ("paper", "yellow", "paper", "white", "blue")[k % 5]
            with b.at(roll=float(rng.uniform(-6, 6))):
                b.polygon(
                    c, [(-w, -0.002 * k, -h), (w, -0.002 * k, -h), (w, -0.002 * k, h), (-w, -0.002 * k, h)]
                )
    with b.at(X1 - 0.02, 0.55, 1.85, yaw=-90):
        p.clock(b, 0.16)
    with b.at(X1 - 0.02, -0.3, 1.75, yaw=-90):
        p.coat(b, "yellow")
    with b.at(X1 - 0.25, -0.9):
        b.lathe("black", [(0.16, 0), (0.17, 0.5), (0.16, 0.5), (0.15, 0.02)], 28, smooth=False)
        for k in range(3):
            b.rod(
                ("black", "red", "cloth")[k], (0.05 * k - 0.05, 0, 0.05), (0.09 * k - 0.09, 0.04, 0.9), 0.012
            )
    with b.at(2.2, 2.9):
        p.extinguisher(b)


def _chart(a: Array, rng: np.random.Generator) -> None:
    h, w = a.shape
    y, x = np.mgrid[0:h, 0:w]
    n = m.noise(1024, int(rng.integers(1000)), 2.2)[:h, :w]
    a[n > 0.56] = 0.55
    for level in (0.42, 0.46, 0.5, 0.53, 0.56):
        a[np.abs(n - level) < 0.0016] = 0.9
    for k in range(1, 8):
        a[:, k * w // 8] = 0.5
        a[k * h // 8, :] = 0.5
    edge = np.minimum.reduce([y, h - 1 - y, x, w - 1 - x])
    a[edge < 28] = 0.0
    a[(edge > 12) & (edge < 22) & (((x + y) // 24) % 2 == 0)] = 1.0
    cx, cy = w * 0.72, h * 0.3
    r = np.hypot(x - cx, y - cy)
    a[(np.abs(r - 80) < 2) | (np.abs(r - 60) < 1)] = 1
    ang = np.degrees(np.arctan2(y - cy, x - cx)) % 15
    a[(r < 80) & (r > 60) & (np.minimum(ang, 15 - ang) < 0.8)] = 1


def _dial(a: Array, rng: np.random.Generator) -> None:
    h, w = a.shape
    y, x = np.mgrid[0:h, 0:w]
    r = np.hypot(x - w / 2, y - h / 2) / (w / 2)
    ang = np.degrees(np.arctan2(y - h / 2, x - w / 2)) % 30
    a[(r > 0.75) & (r < 0.92) & (np.minimum(ang, 30 - ang) < 2.5)] = 1
    t = (x - w / 2) * 0.5 + (y - h / 2) * 0.86
    s = (x - w / 2) * 0.86 - (y - h / 2) * 0.5
    a[(np.abs(s) < 3) & (t < 12) & (t > -86)] = 1


def _by_the_lamp(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    """Covers under three of the ceiling's panels; the desk lamp on; lamps of the quay far outside."""
    for x, y in ((-1.15, 0.1), (-1.15, 2.4), (1.15, 2.4)):
        b.box("night", (x, y, H - 0.06), (0.7, 0.7, 0.015), 0.0)
    for k, x in enumerate((-0.42, -0.3, -0.05, 0.06, 0.3, 1.3, 1.42)):  # lamps of the quay, far outside
        s, y, z = (0.003, 0.004, 0.0025)[k % 3], Y1 + 0.155, 1.455 + 0.005 * (k % 2)
        b.light("led", [(x - s, y, z - s), (x + s, y, z - s), (x + s, y, z + s), (x - s, y, z + s)], 3.0)
    with b.at(-0.55, 2.3), b.at(0.85, 0.45, 0.925), b.at(-0.22, -0.13, 0.37, pitch=18, roll=-14):
        t = np.linspace(0, -2 * np.pi, 17)[:-1]
        b.light("led", np.stack([0.06 * np.cos(t), 0.06 * np.sin(t), 0 * t + 0.05], axis=1), 24.0)


PLACE = Place(
    key="chart_room",
    location="Chart room, MV Terne",
    source="LED-B3",
    lamps={"led": Lamp("LED-B3", "white LED ceiling panels")},
    lux={"led": 260.0},
    balance_k=4600,
    views=(
        View(
            "12_chart_room_table",
            (0.55, -1.95, 1.55),
            (-0.35, 4.0, 1.25),
            68,
            (1600, 1068),
            facing((0.55, -1.95, 0), 1.15, 0.85, 1.2, 10),
            file="jpg-adobe",
            exposure=(1 / 50, 2.8, 320),
            time="18:10",
            walls=("wall",),
            seed=61,
        ),
        View(
            "13_chart_room_console",
            (-1.3, -0.6, 1.5),
            (2.1, 3.2, 1.2),
            62,
            (1600, 1068),
            facing((-1.3, -0.6, 0), 0.55, 1.0, 1.25, -10),
            camera="sensor",
            file="jpg-adobe",
            exposure=(1 / 50, 2.8, 640),
            time="18:17",
            seed=62,
        ),
        View(
            "21_chart_room_lamp",
            (-1.55, 1.2, 1.36),
            (0.55, 4.0, 0.98),
            57,
            (1600, 900),
            None,
            file="jpg-adobe",
            exposure=(1 / 50, 2.0, 640),
            time="18:24",
            subject=Subject((-0.1, 2.2, 1.05), (0.3, 2.3, 1.5)),
            dress=_by_the_lamp,
            effort=180**2,
            seed=63,
        ),
    ),
    build=build,
    effort=45**2,
    walls=(
        Wall("wall", WALL, ((X0, 3.05, 1.45), (X0, 3.75, 1.45), (X0, 3.75, 2.0), (X0, 3.05, 2.0)), 75**2),
    ),
)
