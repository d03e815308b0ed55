"""Cabin: a mate's cabin at night by tungsten practicals."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import materials as m
from makers import props as p
from makers.geometry import Builder
from makers.place import Lamp, Place, Subject, View, Wall, facing
from makers.stand_in import StandIn

Array = NDArray[np.float64]
X0, X1, Y0, Y1, H = -1.9, 1.9, -2.1, 3.2, 2.25
GLOW = (0.8, 1.2)
"""Radiance of a lampshade's side and of its opening."""
UPPER = "2.5Y 7/4"


def build(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    p.common(mats)
    mats["floor"] = m.blend(
        m.gloss("5YR 3/4", 0.2), m.gloss("2.5YR 2.5/2", 0.2), m.planks(1024, 51, 10, 2, 0.05), (1.2, 1.2)
    )
    mats["panel"] = m.blend(
        m.gloss("5YR 5/6", 0.22),
        m.gloss("5YR 3/4", 0.22),
        m.planks(1024, 52, 8, 0, 0.05, along_u=False),
        (1.0, 1.0),
    )
    mats["wood"] = m.blend(
        m.gloss("5YR 4/5", 0.18), m.gloss("2.5YR 3/3", 0.18), m.grain(1024, 53, 90), (0.8, 0.8)
    )
    mats["upper"] = m.matt(UPPER)
    mats["ceiling"] = m.blend(
        m.gloss("N 9", 0.3), m.gloss("N 7.5", 0.3), m.planks(1024, 54, 10, 1, 0.06), (1.5, 1.5)
    )
    mats["blanket"] = m.blend(m.matt("7.5R 3/8"), m.matt("N 8.5"), _stripes(), (1.0, 1.0))
    mats["linen"] = m.matt("N 9")
    mats["rug"] = m.blend(m.matt("5PB 3/5"), m.matt("2.5Y 7/4"), m.scribble(256, 384, 3, _rug), None)
    mats["photo"] = m.blend(m.matt("N 3"), m.matt("5Y 8.5/2"), m.noise(256, 55, 1.8), None)

    p.room(b, X0, X1, Y0, Y1, H, "floor", "ceiling", ("", "", "", "upper"))
    for x, f in ((X0, 1), (X1, -1)):
        for mat, z0, z1 in (("panel", 0, 1.15), ("upper", 1.15, H)):
            q = [(x, Y0, z0), (x, Y1, z0), (x, Y1, z1), (x, Y0, z1)]
            b.polygon(mat, q if f > 0 else q[::-1])
        b.box("wood", (x + f * 0.02, (Y0 + Y1) / 2, 1.15), (0.04, Y1 - Y0, 0.06), 0.01)
    for mat, z0, z1 in (("panel", 0, 1.15), ("upper", 1.15, H)):
        b.polygon(mat, [(X0, Y1, z0), (X1, Y1, z0), (X1, Y1, z1), (X0, Y1, z1)])
    b.box("wood", (0, Y1 - 0.02, 1.15), (X1 - X0, 0.04, 0.06), 0.01)
    for y in (-1.2, 0.2, 1.6, 2.9):
        b.box("wood", (0, y, H - 0.05), (X1 - X0, 0.1, 0.1), 0.015)
    # bunk at the left, along y
    b.box("wood", (X0 + 0.45, 2.15, 0.2), (0.9, 2.05, 0.4), 0.02)
    b.box("wood", (X0 + 0.88, 2.15, 0.42), (0.05, 2.05, 0.24), 0.015)
    b.box("linen", (X0 + 0.43, 2.15, 0.48), (0.82, 1.98, 0.16), 0.05)
    u, v = np.linspace(0, 1, 40), np.linspace(0, 1, 30)
    g = np.zeros((30, 40, 3))
    for i, t in enumerate(v):
        g[i, :, 0] = X0 + 0.02 + 0.87 * u
        g[i, :, 1] = 1.14 + 1.32 * t
        over = np.clip((u - 0.86) / 0.14, 0, 1)
        g[i, :, 2] = (
            0.575 + 0.012 * np.sin(u * 9 + 4 * t) * np.sin(t * 7) + 0.02 * np.sin(u * 3 + t) - 0.12 * over**2
        )
    b.surface("blanket", g)
    b.box("blanket", (X0 + 0.46, 2.52, 0.6), (0.84, 0.2, 0.05), 0.024)
    with b.at(X0 + 0.42, 2.88, 0.62, pitch=-14):
        b.ball("linen", (0, 0, 0), 0.3, 0.3)
    # porthole over the bunk, and one in the far wall
    with b.at(0.55, Y1 - 0.01, 1.62, pitch=90):
        b.lathe("brass", [(0.15, 0.0), (0.15, 0.05), (0.2, 0.06), (0.22, 0.03), (0.22, 0.0)], 40)
        b.lathe("black", [(0.15, 0.01), (1e-4, 0.012)], 40, smooth=False)
        for k in range(8):
            a = np.radians(45 * k + 20)
            b.ball("brass", (0.19 * np.cos(a), 0.19 * np.sin(a), 0.05), 0.016)
    # table at the right wall with a lamp, mug, books, papers
    with b.at(X1 - 0.42, 2.0, yaw=90):
        p.table(b, 1.5, 0.72, 0.74)
        with b.at(0.42, -0.12, 0.74):
            _table_lamp(b)
        with b.at(-0.15, 0.12, 0.74):
            p.mug(b)
        b.box("paper", (-0.3, 0.02, 0.744), (0.3, 0.21, 0.008), 0.0)
        with b.at(-0.28, 0.05, 0.75, yaw=14):
            b.box("cloth", (0, 0, 0.012), (0.2, 0.14, 0.024), 0.004)
    with b.at(0.75, 1.7, yaw=-100):
        p.chair(b, "wood", "cloth")
    # shelf with books over the table
    b.box("wood", (X1 - 0.12, 2.0, 1.48), (0.22, 1.3, 0.025), 0.004)
    b.box("wood", (X1 - 0.22, 2.0, 1.53), (0.015, 1.3, 0.04), 0.004)
    with b.at(X1 - 0.23, 2.55, 1.495, yaw=-90):
        p.books(b, 17, ("red", "cloth", "green", "wood", "paper", "black"), 7)
    # wall lamp by the bunk
    with b.at(X0 + 0.03, 1.75, 1.55):
        b.box("brass", (0, 0, -0.05), (0.03, 0.09, 0.16), 0.01)
        b.rod("brass", (0, 0, -0.05), (0.12, 0, -0.02), 0.009)
        with b.at(0.12, 0, 0.0):
            b.light_shade("tungsten", 0.055, 0.1, 0.13, *GLOW)
    # ceiling lamp: an opal dish behind the camera's side
    with b.at(-0.7, -1.35, H - 0.02):
        b.lathe("brass", [(0.22, 0.018), (0.22, -0.01), (0.2, -0.012)][::-1], 32, smooth=False)
        with b.at(0, 0, -0.08):
            b.light_shade("tungsten", 0.2, 0.13, 0.075, 3.0, 3.0)
    # coat and cap, rug, boots, mirror frame
    with b.at(X1 - 0.02, 0.75, 1.78, yaw=-90):
        p.coat(b, "cloth")
    with b.at(X1 - 0.02, 0.2, 1.78, yaw=-90):
        b.rod("brass", (0, 0, 0), (0, -0.07, 0.02), 0.008)
        with b.at(0, -0.1, 0.0, pitch=75):
            b.lathe("black", [(1e-4, 0.05), (0.12, 0.045), (0.13, 0.0), (0.11, -0.03)][::-1], 30)
    b.picture("rug", [(-0.75, 0.0, 0.012), (0.55, 0.0, 0.012), (0.55, 2.0, 0.012), (-0.75, 2.0, 0.012)])
    b.box("cloth", (-0.1, 1.0, 0.005), (1.32, 2.02, 0.01), 0.0)
    for x in (0.0, 0.14):
        with b.at(-0.72 + x, 2.75, yaw=170 + 40 * x):
            b.lathe("black", [(0.055, 0.02), (0.05, 0.1), (0.06, 0.34), (0.055, 0.34), (0.045, 0.1)], 24)
            b.box("black", (0, -0.07, 0.04), (0.095, 0.24, 0.08), 0.035)
    for x, z, w, h in ((-1.2, 1.65, 0.34, 0.26), (-0.62, 1.7, 0.22, 0.3)):
        b.box("wood", (x, Y1 - 0.02, z), (w + 0.05, 0.03, h + 0.05), 0.006)
        b.picture(
            "photo",
            [
                (x - w / 2, Y1 - 0.037, z - h / 2),
                (x + w / 2, Y1 - 0.037, z - h / 2),
                (x + w / 2, Y1 - 0.037, z + h / 2),
                (x - w / 2, Y1 - 0.037, z + h / 2),
            ],
        )
    with b.at(-0.2, 2.95):
        b.box("wood", (0, 0, 0.24), (0.6, 0.4, 0.48), 0.02)
        for z in (0.13, 0.35):
            b.box("wood", (0, -0.21, z), (0.52, 0.02, 0.18), 0.006)
            b.ball("brass", (0, -0.235, z), 0.016)
        with b.at(-0.1, 0, 0.48):
            p.kettle(b)
    p.pipe_run(b, "white", [(X0 + 0.08, Y1 - 0.06, 0), (X0 + 0.08, Y1 - 0.06, H)], 0.035)


def _table_lamp(b: Builder) -> None:
    b.lathe(
        "brass",
        [
            (1e-4, 0),
            (0.075, 0),
            (0.075, 0.015),
            (0.02, 0.03),
            (0.014, 0.06),
            (0.03, 0.12),
            (0.014, 0.18),
            (0.012, 0.27),
            (1e-4, 0.27),
        ],
        32,
    )
    with b.at(0, 0, 0.25):
        b.light_shade("tungsten", 0.07, 0.15, 0.19, *GLOW)


def _stripes() -> Array:
    a = np.zeros((256, 256))
    for k in (30, 42, 150, 162, 174):
        a[k : k + 6, :] = 0.9
    return np.clip(a + 0.15 * m.noise(256, 56, 0.6), 0, 1)


def _rug(a: Array, rng: np.random.Generator) -> None:
    h, w = a.shape
    y, x = np.mgrid[0:h, 0:w]
    a[:] = ((np.abs((x % 48) - 24) + np.abs((y % 48) - 24)) < 13) * 0.8
    edge = np.minimum.reduce([y, h - 1 - y, x, w - 1 - x])
    a[edge < 30] = 0.1
    a[(edge > 12) & (edge < 20)] = 0.9
    a += 0.1 * rng.random((h, w))


PLACE = Place(
    key="cabin",
    location="Mate's cabin, MV Terne",
    source="A",
    lamps={"tungsten": Lamp("A", "tungsten practicals: table, bunk and ceiling lamp")},
    lux={"tungsten": 95.0},
    balance_k=3600,
    views=(
        View(
            "08_cabin_bunk",
            (0.35, -1.75, 1.5),
            (-0.2, 3.2, 1.12),
            68,
            (960, 1440),
            facing((0.35, -1.75, 0), -0.35, 0.75, 1.12, 8),
            exposure=(1 / 40, 2.0, 400),
            time="19:40",
            camera="sensor",
            walls=("upper wall",),
            seed=41,
        ),
        View(
            "09_cabin_table",
            (-1.3, -1.2, 1.45),
            (1.1, 2.6, 1.1),
            66,
            (1600, 1068),
            facing((-1.3, -1.2, 0), 0.05, 1.35, 1.1, 12),
            camera="exact",
            file="heic",
            exposure=(1 / 40, 2.0, 320),
            time="19:48",
            walls=("upper wall",),
            seed=42,
        ),
        View(
            "19_cabin_letter",
            (0.3, 0.3, 1.2),
            (1.06, 2.4, 1.15),
            54,
            (1600, 900),
            None,
            exposure=(1 / 40, 2.0, 250),
            time="19:55",
            subject=Subject((1.03, 2.12, 1.2), (1.6, 1.45, 1.15)),
            stand_ins=(
                StandIn(
                    "light",
                    (0.9, 2.2, 1.2),
                    100,
                    turn=-62,
                    nod=5,
                    wears="hair",
                    coat="2.5Y 7/3",
                    head="5YR 2/2",
                    scarf="2.5Y 8/2",
                    slim=0.95,
                    read=(-0.6, -0.7, -0.12),
                    arms=(
                        ((0.22, -0.12, -0.52), (0.12, -0.42, -0.44)),
                        ((-0.22, -0.12, -0.52), (-0.08, -0.40, -0.44)),
                    ),
                ),
            ),
            face_spp=36,
            seed=43,
        ),
    ),
    build=build,
    effort=215**2,
    walls=(
        Wall(
            "upper wall",
            UPPER,
            ((-0.36, Y1, 1.55), (0.1, Y1, 1.55), (0.1, Y1, 1.95), (-0.36, Y1, 1.95)),
            250**2,
        ),
    ),
)
