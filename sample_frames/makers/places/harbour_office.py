"""Harbour office: window daylight against tungsten on one wall and desk."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import materials as m
from makers import props as p
from makers.geometry import Builder
from makers.place import Lamp, Place, Subject, View, Wall, facing
from makers.places.cabin import _table_lamp
from makers.places.net_loft import _sky

Array = NDArray[np.float64]
X0, X1, Y0, Y1, H = -2.7, 2.5, -2.6, 4.2, 2.75
FAR = "2.5Y 7/4"


def build(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    p.common(mats)
    mats["floor"] = m.blend(
        m.gloss("10YR 5/4", 0.25),
        m.gloss("7.5YR 3/3", 0.25),
        m.planks(1024, 81, 8, 3, 0.05, along_u=False),
        (1.3, 1.3),
    )
    mats["plaster"] = m.blend(
        m.matt("7.5Y 8/2"),
        m.matt("5Y 7/2"),
        0.6 * m.noise(1024, 82, 1.8) + 0.2 * m.wear(1024, 83, 0.1, 0.3),
        (3, 3),
    )
    mats["ceiling"] = m.blend(m.matt("N 9"), m.matt("N 8"), m.noise(512, 84, 1.6), (3, 3))
    mats["trim"] = m.gloss("5G 3/3", 0.25)
    mats["wood"] = m.blend(
        m.gloss("7.5YR 5/5", 0.2), m.gloss("5YR 3/4", 0.2), m.grain(1024, 85, 90), (0.9, 0.9)
    )
    mats["farwall"] = m.matt(FAR)
    mats["map"] = m.blend(m.matt("5Y 8.5/3"), m.matt("5BG 5/4"), m.scribble(700, 1000, 86, _map), None)
    mats["greencab"] = m.gloss("7.5GY 4/3", 0.3)
    mats["green"] = mats["greencab"]
    mats["curtain"] = m.matt("7.5R 4/6")
    masks["sky"] = _sky()

    p.room(b, X0, X1, Y0, Y1, H, "floor", "ceiling", ("", "plaster", "farwall", "plaster"))
    with b.at(X0, 0, 0, yaw=90):
        for a0, a1, h0, h1 in ((Y0, 1.35, -0.7, 0.75), (1.35, Y1, 1.75, 3.2)):
            p.wall_with_hole(b, "plaster", a0, a1, H, (h0, h1, 0.85, 2.25), 0.24)
            p.window(b, "trim", (h0, h1, 0.85, 2.25), 0.24, 2, 3, "daylight", 1.0, "sky")
            b.box("wood", ((h0 + h1) / 2, -0.04, 0.83), (h1 - h0 + 0.14, 0.22, 0.035), 0.006)
            b.rod("brass", (h0 - 0.25, -0.07, 2.38), (h1 + 0.25, -0.07, 2.38), 0.012)
            for s, c in ((h0 - 0.12, 1), (h1 + 0.12, -1)):
                u, v = np.linspace(0, 1, 30), np.linspace(0, 1, 6)
                g = np.zeros((6, 30, 3))
                g[..., 0] = s - c * 0.1 + c * 0.24 * u[None, :]
                g[..., 1] = -0.08 + 0.028 * np.sin(u * 28)[None, :] * (0.7 + 0.3 * v[:, None])
                g[..., 2] = 2.36 - 1.62 * v[:, None]
                b.surface("curtain", g)
    for x, f in ((X1, -1),):
        b.box("trim", (x + f * 0.012, (Y0 + Y1) / 2, 0.07), (0.024, Y1 - Y0, 0.14), 0.006)
    b.box("trim", (0, Y1 - 0.012, 0.07), (X1 - X0, 0.024, 0.14), 0.006)
    b.box("trim", (0, Y1 - 0.015, 2.3), (X1 - X0, 0.03, 0.05), 0.008)
    # desk on the right, with the lamp
    with b.at(1.45, 2.4, yaw=90):
        p.table(b, 1.7, 0.85, 0.76)
        b.box("green", (-0.1, -0.05, 0.763), (0.7, 0.45, 0.006), 0.0)
        with b.at(0.55, -0.22, 0.76):
            _table_lamp(b)
        with b.at(0.05, -0.08, 0.768, yaw=8):
            b.box("paper", (0, 0, 0.004), (0.21, 0.3, 0.008), 0.0)
        with b.at(-0.35, -0.15, 0.76, yaw=-5):
            for k in range(5):
                b.box(
                    ("red", "cloth", "paper", "green", "black")[k],
                    (0.006 * k, 0, 0.02 + 0.034 * k),
                    (0.3, 0.22, 0.032),
                    0.004,
                )
        with b.at(0.3, 0.12, 0.76):
            p.mug(b)
        with b.at(-0.62, 0.18, 0.76):
            _telephone(b)
    with b.at(0.6, 2.3, yaw=-75):
        p.chair(b, "wood", "wood")
    # pendant lamp over the middle
    with b.at(0.75, 1.4, 2.0):
        b.rod("black", (0, 0, 0.1), (0, 0, H - 2.0), 0.006)
        b.lathe("brass", [(0.09, 0.1), (0.05, 0.14), (0.03, 0.18)], 36)
        b.light_ball("tungsten", (0, 0, 0.0), 0.13, 3.2)
    # cabinets and map on the far wall
    for k in range(3):
        with b.at(-1.6 + 0.52 * k, Y1 - 0.34):
            p.cabinet(b, 0.48, 0.6, 1.32, 4, "greencab")
    with b.at(-1.75, Y1 - 0.4, 1.32):
        p.kettle(b)
    with b.at(-1.2, Y1 - 0.42, 1.32):
        p.books(b, 11, ("cloth", "red", "wood", "black"), 31)
    b.box("wood", (0.9, Y1 - 0.02, 1.62), (1.56, 0.03, 1.1), 0.008)
    b.picture(
        "map",
        [
            (0.16, Y1 - 0.037, 1.11),
            (1.64, Y1 - 0.037, 1.11),
            (1.64, Y1 - 0.037, 2.13),
            (0.16, Y1 - 0.037, 2.13),
        ],
    )
    with b.at(-1.3, Y1 - 0.02, 2.0):
        p.clock(b, 0.17)
    with b.at(X1 - 0.02, 0.6, 1.75, yaw=-90):
        p.coat(b, "cloth")
    with b.at(X1 - 0.02, 0.1, 1.72, yaw=-90):
        p.coat(b, "yellow")
    with b.at(X1 - 0.3, 3.75):
        b.lathe(
            "black",
            [(1e-4, 0), (0.17, 0.0), (0.19, 0.4), (0.17, 0.4), (0.16, 0.02), (1e-4, 0.02)],
            30,
            smooth=False,
        )
    with b.at(-1.9, 1.25, yaw=80):
        p.chair(b, "wood", "cloth")
    with b.at(-2.4, 1.25):
        b.lathe(
            "steel",
            [(1e-4, 0), (0.12, 0), (0.15, 0.26), (0.14, 0.26), (0.11, 0.02), (1e-4, 0.02)],
            30,
            smooth=False,
        )
    with b.at(-2.52, 3.4, 0.0):
        p.coil(b, r=0.16, turns=2, layers=2)
    for k in range(6):  # radiator under the near window
        b.box("white", (X0 + 0.1, -0.35 + 0.13 * k, 0.42), (0.1, 0.1, 0.6), 0.03)


def _telephone(b: Builder) -> None:
    b.box("black", (0, 0, 0.05), (0.2, 0.19, 0.09), 0.035)
    b.box("black", (0, 0.03, 0.12), (0.25, 0.055, 0.04), 0.018)
    with b.at(0, -0.06, 0.095, pitch=20):
        b.lathe("white", [(0.055, 0), (0.05, 0.008), (1e-4, 0.008)], 28, smooth=False)


def _map(a: Array, rng: np.random.Generator) -> None:
    h, w = a.shape
    n = m.noise(1024, int(rng.integers(1000)), 2.3)[:h, :w]
    a[n > 0.52] = 0.75
    a[np.abs(n - 0.52) < 0.002] = 1
    for k in range(1, 6):
        a[:, k * w // 6] = np.maximum(a[:, k * w // 6], 0.5)
        a[k * h // 6, :] = np.maximum(a[k * h // 6, :], 0.5)
    a[:14], a[-14:], a[:, :14], a[:, -14:] = 0.9, 0.9, 0.9, 0.9


PLACE = Place(
    key="harbour_office",
    location="Harbour office, Velmsund",
    source="window daylight and tungsten",
    lamps={
        "daylight": Lamp("D65", "window daylight, late and overcast", "key"),
        "tungsten": Lamp("A", "pendant and desk lamp", "fill"),
    },
    lux={"daylight": 130.0, "tungsten": 60.0},
    balance_k=4300,
    views=(
        View(
            "14_harbour_office_room",
            (0.15, -2.2, 1.5),
            (-0.1, 4.2, 1.35),
            68,
            (1440, 960),
            facing((0.15, -2.2, 0), -0.75, 1.2, 1.15, -22),
            exposure=(1 / 40, 2.8, 500),
            time="15:50",
            camera="sensor",
            walls=("far wall",),
            seed=71,
        ),
        View(
            "15_harbour_office_desk",
            (-1.5, -0.9, 1.5),
            (1.35, 3.4, 1.3),
            66,
            (1440, 604),
            facing((-1.5, -0.9, 0), -0.25, 1.75, 1.2, 8),
            file="tiff",
            exposure=(1 / 40, 2.8, 250),
            time="15:58",
            walls=("far wall",),
            seed=72,
        ),
        View(
            "22_harbour_office_dusk",
            (2.3, -1.3, 1.22),
            (-0.3, 2.75, 1.5),
            57,
            (1600, 900),
            None,
            exposure=(1 / 40, 2.8, 250),
            time="16:05",
            subject=Subject((0.9, 1.6, 1.2), (2.3, -1.3, 1.22)),
            seed=73,
        ),
    ),
    build=build,
    effort=130**2,
    walls=(Wall("far wall", FAR, ((-0.85, Y1, 1.6), (-0.25, Y1, 1.6), (-0.25, Y1, 2.1), (-0.85, Y1, 2.1))),),
)
