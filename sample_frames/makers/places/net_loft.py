"""Net loft: boards and rafters by window daylight."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import materials as m
from makers import props as p
from makers.geometry import Builder
from makers.place import Lamp, Place, Subject, View, Wall, facing

Array = NDArray[np.float64]
W, Y0, Y1, EAVE, RIDGE = 3.4, -2.2, 9.0, 2.1, 4.6
STORE = "10GY 6/6"


def build(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    p.common(mats)
    boards = m.planks(1024, 41, 12, 3, 0.05)
    mats["floor"] = m.blend(
        m.matt("10YR 5/3"), m.matt("10YR 3/2"), m.planks(1024, 42, 10, 2, 0.04, along_u=False), (1.8, 1.8)
    )
    mats["boards"] = m.blend(m.matt("10YR 6.5/3"), m.matt("7.5YR 4/3"), boards, (2.2, 2.2))
    mats["limewash"] = m.blend(
        m.matt("5Y 8.5/1"),
        m.matt("10YR 6/3"),
        np.clip(0.7 * boards + 0.4 * m.wear(1024, 44, 0.2, 0.3), 0, 1),
        (2.2, 2.2),
    )
    mats["beam"] = m.blend(m.matt("7.5YR 4/3"), m.matt("7.5YR 2.5/2"), m.grain(1024, 45, 80), (1, 1))
    mats["wood"] = m.blend(m.matt("10YR 6/4"), m.matt("7.5YR 4/3"), m.planks(1024, 46, 8, 2), (1.2, 1.2))
    mats["frame"] = m.gloss("5B 8/1", 0.3)
    twine = m.net_mesh(512, 8, 0.13)
    mats["netgreen"] = m.cutout(m.matt("7.5G 4/4"), twine, (0.5, 0.5))
    mats["netorange"] = m.cutout(m.matt("2.5YR 5/9"), twine, (0.45, 0.45))
    mats["store"] = m.matt(STORE)
    mats["bluedoor"] = m.gloss("2.5PB 4/6", 0.3)
    masks["sky"] = _sky()

    b.polygon("floor", [(-W, Y0, 0), (W, Y0, 0), (W, Y1, 0), (-W, Y1, 0)])
    # long walls: left has windows
    lefts = ((0.6, 1.9), (3.2, 4.5), (5.8, 7.1))
    with b.at(-W, 0, 0, yaw=90):  # local x = world y, front faces +x
        a = Y0
        for h0, h1 in lefts:
            b_end = h1 + 0.65 if h1 < 7 else Y1
            p.wall_with_hole(b, "limewash", a, b_end, EAVE, (h0, h1, 0.8, 1.95), 0.22)
            p.window(b, "frame", (h0, h1, 0.8, 1.95), 0.22, 3, 2, "daylight", 1.0, "sky")
            b.box("wood", ((h0 + h1) / 2, -0.03, 0.785), (h1 - h0 + 0.16, 0.2, 0.04), 0.008)
            a = b_end
    b.polygon("boards", [(W, Y1, 0), (W, Y0, 0), (W, Y0, EAVE), (W, Y1, EAVE)])
    b.polygon("boards", [(-W, Y0, EAVE), (-W, Y1, EAVE), (0, Y1, RIDGE), (0, Y0, RIDGE)])
    b.polygon("boards", [(W, Y1, EAVE), (W, Y0, EAVE), (0, Y0, RIDGE), (0, Y1, RIDGE)])
    # a roof light in the left slope
    up, slope = np.array([W, 0.0, RIDGE - EAVE]), []
    up /= np.linalg.norm(up)
    inward = np.array([up[2], 0.0, -up[0]])
    for y, t in ((3.0, 2.3), (4.6, 2.3), (4.6, 3.7), (3.0, 3.7)):
        slope.append(np.array([-W, y, EAVE]) + up * t + inward * 0.02)
    b.light("daylight", slope, 0.9)
    for k in range(4):
        b.rod("frame", slope[k] + inward * 0.02, slope[(k + 1) % 4] + inward * 0.02, 0.04, 4)
    for share in (1 / 3, 2 / 3):
        low, high = (slope[i] + (slope[j] - slope[i]) * share + inward * 0.02 for i, j in ((0, 1), (3, 2)))
        b.rod("frame", low, high, 0.016, 4)
    # gable with a big window and a loading door beside it
    p_hole = (-1.3, 1.3, 0.95, 2.75)
    with b.at(0, Y1):
        p.wall_with_hole(b, "limewash", -W, W, EAVE + 0.75, p_hole, 0.25)
        p.window(b, "frame", p_hole, 0.25, 4, 3, "daylight", 1.15, "sky")
        b.polygon("limewash", [(-W, 0, EAVE), (W, 0, EAVE), (0, 0, RIDGE)])
    b.polygon("limewash", [(W, Y0, 0), (-W, Y0, 0), (-W, Y0, EAVE), (0, Y0, RIDGE), (W, Y0, EAVE)])
    # tie beams, rafters, posts
    for y in (-0.6, 2.5, 5.2, 7.9):
        b.box("beam", (0, y, EAVE + 0.08), (2 * W, 0.17, 0.2), 0.015)
        b.rod("beam", (0, y, EAVE + 0.1), (0, y, RIDGE - 0.05), 0.07, 6)
        for s in (-1, 1):
            b.tube("beam", [(s * W, y, EAVE), (0, y, RIDGE - 0.1)], 0.085, 4)
            b.box("beam", (s * (W - 0.08), y, EAVE / 2), (0.16, 0.17, EAVE), 0.015)
            b.tube("beam", [(s * W, y, EAVE - 0.7), (s * (W - 0.7), y, EAVE)], 0.06, 4)
    # work bench under the left windows
    with b.at(-W + 0.48, 3.9, yaw=90):
        p.table(b, 3.6, 0.75, 0.84, "wood", "beam")
        for x, c in ((-1.3, "orange"), (-1.0, "yellow"), (0.9, "white")):
            b.ball(c, (x, 0.08, 0.93), 0.09)
        b.box("red", (0.2, 0.1, 0.9), (0.4, 0.22, 0.12), 0.02)
        b.box("paper", (1.35, -0.1, 0.845), (0.3, 0.22, 0.01), 0.0)
        with b.at(1.55, 0.12, 0.84):
            p.mug(b)
        with b.at(-0.4, -0.05, 0.84):
            p.coil(b, r=0.13, turns=3, layers=2, thick=0.012)
    # hanging nets, right side: sagging curtains from the tie beams
    _net(b, "netgreen", (2.5, 5.2, EAVE + 0.0), (3.3, 5.2, EAVE + 0.0), 1.75, 7)
    _net(b, "netorange", (2.05, 2.5, EAVE + 0.0), (3.25, 2.5, EAVE + 0.0), 1.3, 8)
    _net(b, "netgreen", (-3.1, 7.9, EAVE + 0.0), (-1.5, 7.9, EAVE + 0.0), 1.6, 9)
    # a net store, boarded off in the far right corner and painted
    b.box("store", ((1.45 + W) / 2, 6.65, 1.02), (W - 1.45, 0.06, 2.04), 0.004)
    b.box("store", (1.48, 7.8, 1.02), (0.06, 2.3, 2.04), 0.004)
    b.box("beam", ((1.4 + W) / 2, 6.64, 2.07), (W - 1.4, 0.12, 0.07), 0.01)
    b.box("beam", (1.45, 6.64, 1.02), (0.1, 0.12, 2.04), 0.01)
    b.box("beam", (2.72, 6.6, 0.98), (0.04, 0.03, 1.9), 0.004)
    b.rod("black", (2.82, 6.58, 0.95), (2.82, 6.58, 1.12), 0.014)
    for i in range(9):
        with b.at(2.35 + 0.25 * np.sin(i * 2.1), 4.1 + 0.3 * i % 1.2, 0.09 + 0.15 * (i // 5)):
            b.ball(
                ("orange", "yellow", "orange", "white")[i % 4],
                (0.3 * ((i * 7) % 3 - 1), 0.1 * (i % 3), 0),
                0.1,
                0.85,
            )
    for x, y, w in ((2.75, 1.2, 0.6), (2.7, 1.9, 0.55)):
        with b.at(x, y, yaw=6 * x):
            p.crate(b, w, 0.5, 0.42)
    with b.at(2.78, 1.25, 0.42, yaw=-8):
        p.crate(b, 0.5, 0.42, 0.34)
    for x, y, r in ((0.9, 1.3, 0.3), (1.5, 1.1, 0.24), (-0.1, 7.2, 0.3)):
        with b.at(x, y):
            p.coil(b, r=r)
    # oars
    for k in range(3):
        x = -2.9 + 0.22 * k
        b.rod("wood", (x, 8.75, 0.0), (x + 0.05, 8.93, 2.2), 0.022)
        b.box("bluedoor", (x + 0.05, 8.93, 2.3), (0.13, 0.02, 0.5), 0.01)
    with b.at(0.5, 4.4, yaw=30):
        p.chair(b, "wood", "wood")


def _net(
    b: Builder, mat: str, a: tuple[float, float, float], c: tuple[float, float, float], drop: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    u, v = np.linspace(0, 1, 40), np.linspace(0, 1, 20)
    ph = rng.uniform(0, 6, 4)
    g = np.zeros((20, 40, 3))
    for i, t in enumerate(v):
        sag = 0.16 * np.abs(np.sin(u * np.pi * 3 + ph[0])) * (1 - 0.5 * t)
        fold = (0.1 + 0.1 * t) * np.sin(u * 17 + ph[1] + t * 2) + 0.05 * np.sin(u * 41 + ph[2])
        g[i, :, 0] = a[0] + (c[0] - a[0]) * (u * (1 - 0.12 * t) + 0.06 * t)
        g[i, :, 1] = a[1] + fold
        g[i, :, 2] = a[2] - sag - t * drop * (1 + 0.12 * np.sin(u * 5 + ph[3]))
    b.surface(mat, g)
    b.tube("rope", g[0], 0.014, 8)
    b.tube("rope", g[-1], 0.012, 8)


def _sky() -> Array:
    h, w = 256, 256
    y = np.linspace(1, 0, h)[:, None]
    clouds = m.noise(256, 47, 2.0)
    sky = 0.75 + 0.35 * y + 0.35 * (clouds - 0.5)
    x = np.arange(w)[None, :]
    horizon = 0.34 + 0.02 * np.sin(x / 40) + 0.05 * np.exp(-(((x - 180) / 22) ** 2))
    land = y < horizon
    sea = y < 0.27
    out = np.where(land, 0.25, sky)
    out = np.where(sea, 0.45 + 0.1 * m.noise(256, 48, 1.2), out)
    out[(y[:, 0] > 0.3) & (y[:, 0] < 0.62), 60:63] = 0.12
    out[(y[:, 0] > 0.29) & (y[:, 0] < 0.36), 40:84] = 0.15
    return np.asarray(np.clip(out, 0.05, 1.3))


def _by_the_gable(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    """Sailcloth over the roof light and the near windows, so that the gable's window leads."""
    mats["sail"] = m.matt("5YR 4/3")
    up = np.array([W, 0.0, RIDGE - EAVE])
    up /= np.linalg.norm(up)
    inward = np.array([up[2], 0.0, -up[0]])
    corners = ((2.8, 2.1), (4.8, 2.1), (4.8, 3.9), (2.8, 3.9))
    b.polygon("sail", [np.array([-W, y, EAVE]) + up * t + inward * 0.09 for y, t in corners])
    for y0, y1 in ((0.5, 2.0), (3.1, 4.6)):
        b.polygon("sail", [(-W + 0.02, y, z) for y, z in ((y0, 0.8), (y1, 0.8), (y1, 2.05), (y0, 2.05))])


PLACE = Place(
    key="net_loft",
    location="Net loft, Østkai",
    source="D65",
    lamps={"daylight": Lamp("D65", "window daylight, overcast")},
    lux={"daylight": 420.0},
    balance_k=5200,
    views=(
        View(
            "06_net_loft_gable",
            (0.35, -1.7, 1.55),
            (-0.05, 9.0, 1.62),
            66,
            (1600, 1068),
            facing((0.35, -1.7, 0), -0.75, 2.1, 1.0, -32),
            exposure=(1 / 40, 2.8, 250),
            time="11:05",
            walls=("net store",),
            seed=31,
        ),
        View(
            "07_net_loft_bench",
            (2.5, 4.75, 1.5),
            (-2.6, 1.9, 1.25),
            64,
            (1600, 1068),
            facing((2.5, 4.75, 0), -0.55, 2.6, 1.1, 14),
            camera="sensor",
            file="dng",
            exposure=(1 / 40, 2.8, 200),
            time="11:18",
            seed=32,
        ),
        View(
            "18_net_loft_nets",
            (1.2, -0.3, 0.40),
            (-0.2, 9.0, 1.55),
            58,
            (1600, 900),
            None,
            exposure=(1 / 40, 2.8, 200),
            time="11:12",
            subject=Subject((0.5, 4.2, 1.2), (-3.4, 5.2, 1.4)),
            dress=_by_the_gable,
            seed=33,
        ),
    ),
    build=build,
    effort=100**2,
    walls=(
        Wall(
            "net store",
            STORE,
            ((1.75, 6.62, 1.15), (2.25, 6.62, 1.15), (2.25, 6.62, 1.65), (1.75, 6.62, 1.65)),
        ),
    ),
)
