"""Ferry hall: a waiting room at night under fluorescent tubes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import materials as m
from makers import props as p
from makers.geometry import Builder
from makers.place import Lamp, Place, Rig, Subject, View, Wall
from makers.stand_in import StandIn

Array = NDArray[np.float64]
W, Y0, Y1, H = 4.6, -3.0, 13.0, 3.3
DADO = 1.25
GREEN = "10BG 5/6"
FACE = ((-2.88, 0.7), (-2.52, 0.7), (-2.52, 1.1), (-2.88, 1.1))
"""x, z of the clean part of the second left pillar."""


def build(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    p.common(mats)
    lino = m.blend(m.gloss("5Y 6/2", 0.18), m.gloss("7.5GY 4/2", 0.2), _checks(), (2.4, 2.4))
    mats["floor"] = lino
    scuff = m.wear(1024, 11, 0.12, 0.25, 1.3) * 0.5 + 0.35 * m.noise(1024, 12, 1.2)
    mats["cream"] = m.blend(m.matt("2.5Y 8.5/2"), m.matt("2.5Y 7/2"), scuff, (4, 4))
    mats["dado"] = m.gloss(GREEN, 0.22)
    mats["pillar"] = m.matt(GREEN)
    mats["wallcream"] = m.matt("2.5Y 8.5/2")
    mats["ceiling"] = m.blend(m.matt("N 8.5"), m.matt("N 6.5"), m.tiles(1024, 3, 4, 0.015, 0.15), (2.4, 2.4))
    mats["wood"] = m.blend(
        m.gloss("7.5YR 5/6", 0.22), m.gloss("5YR 3/4", 0.22), m.planks(1024, 4, 8, 2), (1.2, 1.2)
    )
    board = m.scribble(512, 768, 8, _timetable)
    mats["board"] = m.matt("N 2")
    mats["timetable"] = m.blend(m.matt("N 1.8"), m.matt("5Y 8.5/3"), board, None)
    poster = m.scribble(600, 420, 9, _poster)
    mats["poster"] = m.blend(m.matt("5B 7/3"), m.matt("7.5R 4/9"), poster, None)
    mats["poster2"] = m.blend(m.matt("5Y 8.5/6"), m.matt("5PB 3/6"), m.scribble(600, 420, 10, _poster), None)

    p.room(b, -W, W, Y0, Y1, H, "floor", "ceiling", ("", "", "", "cream"))
    for side in (-1, 1):
        x = side * W
        ring = lambda z0, z1, x=x: [(x, Y0, z0), (x, Y1, z0), (x, Y1, z1), (x, Y0, z1)]  # noqa: E731
        for mat, z0, z1 in (("dado", 0, DADO), ("cream", DADO, H)):
            q = ring(z0, z1)
            b.polygon(mat, q if side < 0 else q[::-1])
        b.box("darkwood", (x - side * 0.02, (Y0 + Y1) / 2, DADO), (0.04, Y1 - Y0, 0.07), 0.01)
        b.box("darkwood", (x - side * 0.012, (Y0 + Y1) / 2, 0.06), (0.024, Y1 - Y0, 0.12), 0.008)
    for mat, z0, z1 in (("dado", 0, DADO), ("cream", DADO, H)):
        b.polygon(mat, [(-W, Y1, z0), (W, Y1, z0), (W, Y1, z1), (-W, Y1, z1)])
    b.box("darkwood", (0, Y1 - 0.02, DADO), (2 * W, 0.04, 0.07), 0.01)
    for y in np.arange(0.5, Y1, 3.1):  # ceiling beams and pillars
        b.box("cream", (0, float(y), H - 0.12), (2 * W, 0.26, 0.24), 0.01)
        for x in (-2.7, 2.7):
            b.box("cream", (x, float(y), H / 2), (0.4, 0.4, H), 0.02)
            b.box("pillar", (x, float(y), DADO / 2), (0.42, 0.42, DADO), 0.02)
    for y in np.arange(-1.0, Y1 - 1, 3.1):
        for x in (-3.6, -1.3, 1.3, 3.6):
            with b.at(x, float(y) + 0.05, H):
                p.batten(b, "tubes", 1.5, 1.0)
    # benches, back to back down the hall
    for y in (1.2, 4.3, 7.4):
        for x in (-1.35, 1.35):
            if x < 0 and y < 2:
                continue
            with b.at(x, y):
                p.bench(b, 2.0)
    with b.at(-W + 0.1, 3.2, yaw=90):
        p.bench(b, 2.6)
    with b.at(-W + 0.1, 6.6, yaw=90):
        p.bench(b, 2.6)
    # ticket counter, right
    with b.at(W - 1.0, 8.9):
        b.box("wood", (0, 0, 0.55), (2.0, 2.6, 1.1), 0.02)
        b.box("darkwood", (-0.05, 0, 1.12), (2.14, 2.74, 0.05), 0.01)
        for y in (-1.3, 1.3):
            b.box("darkwood", (-0.98, y, 1.85), (0.07, 0.07, 1.5), 0.01)
        b.box("darkwood", (-0.98, 0, 2.55), (0.09, 2.7, 0.3), 0.01)
        b.box("black", (-0.98, 0, 1.17), (0.2, 0.4, 0.05), 0.01)
        b.box("cream", (0.3, 0, 1.3), (0.4, 0.45, 0.3), 0.03)
    # far wall: double door, clock, timetable
    with b.at(-0.62, Y1 - 0.05):
        p.door(b, 1.1, 2.15, "green")
    with b.at(0.62, Y1 - 0.05):
        p.door(b, 1.1, 2.15, "green")
    with b.at(0, Y1 - 0.02, 2.72):
        p.clock(b, 0.24)
    b.box("black", (-2.9, Y1 - 0.03, 2.0), (1.7, 0.06, 1.15), 0.01)
    b.picture(
        "timetable",
        [
            (-3.7, Y1 - 0.063, 1.46),
            (-2.1, Y1 - 0.063, 1.46),
            (-2.1, Y1 - 0.063, 2.54),
            (-3.7, Y1 - 0.063, 2.54),
        ],
    )
    for i, y in enumerate((1.6, 4.9)):
        x = -W + 0.012
        b.picture(
            ("poster", "poster2")[i], [(x, y, 1.5), (x, y + 0.75, 1.5), (x, y + 0.75, 2.55), (x, y, 2.55)]
        )
    # windows on the right: night outside
    for y in (0.6, 3.6, 6.2):
        b.box("darkwood", (W - 0.02, y, 1.95), (0.09, 1.7, 1.2), 0.01)
        b.box("night", (W - 0.035, y, 1.95), (0.09, 1.55, 1.05), 0.0)
        b.box("darkwood", (W - 0.05, y, 1.95), (0.08, 0.05, 1.1), 0.005)
    with b.at(-W + 0.35, 0.6):
        b.lathe(
            "steel",
            [(1e-4, 0), (0.17, 0), (0.2, 0.7), (0.205, 0.72), (0.19, 0.72), (0.17, 0.1), (1e-4, 0.1)],
            36,
            smooth=False,
        )
    with b.at(1.9, 0.62, yaw=14):
        p.case(b)
    with b.at(1.25, 0.7, yaw=-8):
        p.case(b, 0.45, 0.2, 0.36, "red")
    with b.at(W - 0.15, 5.0):
        p.extinguisher(b)
    b.tube("steel", [(W - 0.06, Y0, 2.95), (W - 0.06, Y1, 2.95)], 0.035)


def _checks() -> Array:
    base = np.kron(np.indices((8, 8)).sum(0) % 2, np.ones((128, 128))) * 0.75
    dirt = 0.35 * m.noise(1024, 2, 1.5)
    joint = m.tiles(1024, 5, 8, 0.02, 0.12)
    return np.clip(base + dirt * 0.5 + np.where(joint > 0.9, 0.2, joint * 0.15), 0, 1)


def _timetable(a: Array, rng: np.random.Generator) -> None:
    h, w = a.shape
    a[20:60, 30 : w // 2] = 1
    for r in range(90, h - 20, 34):
        x = 30
        while x < w - 40:
            n = int(rng.integers(6, 40))
            if rng.random() < 0.75:
                a[r : r + 14, x : x + n] = 0.85
            x += n + int(rng.integers(4, 30))


def _poster(a: Array, rng: np.random.Generator) -> None:
    h, w = a.shape
    y, x = np.mgrid[0:h, 0:w]
    hull = (
        (y > h * 0.55)
        & (y < h * 0.68)
        & (x > w * 0.15 + (y - h * 0.55) * 0.6)
        & (x < w * 0.88 - (y - h * 0.55) * 0.2)
    )
    house = (y > h * 0.44) & (y <= h * 0.55) & (x > w * 0.3) & (x < w * 0.7)
    funnel = (y > h * 0.34) & (y <= h * 0.44) & (x > w * 0.46) & (x < w * 0.55)
    sea = (y > h * 0.68 + 6 * np.sin(x / 16)) & (y < h * 0.78)
    a[hull | house | funnel] = 1
    a[sea] = 0.55
    a[int(h * 0.08) : int(h * 0.16), int(w * 0.12) : int(w * 0.88)] = 0.9
    a[int(h * 0.86) : int(h * 0.89), int(w * 0.2) : int(w * 0.8)] = 0.8


PLACE = Place(
    key="ferry_hall",
    location="Ferry hall, Velmsund",
    source="FL2",
    lamps={"tubes": Lamp("FL2", "ceiling tubes, cool white")},
    lux={"tubes": 310.0},
    balance_k=4800,
    views=(
        View(
            "01_ferry_hall_wide",
            (-0.9, -2.4, 1.5),
            (-0.1, 8.0, 1.42),
            68,
            (1600, 1068),
            Rig(-1.1, 1.15, 1.05, yaw=-3),
            exposure=(1 / 50, 2.8, 250),
            time="06:40",
            walls=("pillar",),
            seed=11,
        ),
        View(
            "02_ferry_hall_counter",
            (-2.0, 3.2, 1.5),
            (3.2, 10.4, 1.4),
            62,
            (1600, 1068),
            Rig(0.25, 6.45, 1.1, yaw=-32),
            camera="sensor",
            exposure=(1 / 50, 2.8, 320),
            time="06:52",
            seed=12,
        ),
        View(
            "16_ferry_hall_early",
            (-0.35, -1.5, 1.46),
            (0.25, 8.0, 1.52),
            54,
            (1600, 900),
            None,
            exposure=(1 / 50, 2.8, 200),
            time="06:35",
            subject=Subject((0.05, -0.02, 1.56), (-0.35, -1.5, 1.46)),
            stand_ins=(
                StandIn(
                    "dark",
                    (0.16, 0.12, 1.56),
                    -62,
                    turn=14,
                    coat="10R 3/4",
                    scarf="2.5Y 6/4",
                    head="5PB 2/2",
                    brow="N 1.5",
                ),
            ),
            seed=13,
        ),
    ),
    build=build,
    effort=170**2,
    walls=(Wall("pillar", GREEN, tuple((x, 3.39, z) for x, z in FACE)),),
)
