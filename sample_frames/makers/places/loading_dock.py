"""Loading dock: a warehouse front and apron at night, high-pressure sodium."""

from __future__ import annotations

import io
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import materials as m
from makers import props as p
from makers.geometry import Builder
from makers.place import Lamp, Place, Subject, View, Wall, facing
from makers.stand_in import StandIn

Array = NDArray[np.float64]
X0, X1, YW, HW = -11.0, 13.0, 9.0, 6.0
OFFICE = "2.5G 6/6"
FONT = resources.files("lookdev.pages").joinpath("fonts", "LookdevSans-SemiBold.ttf")


def build(b: Builder, mats: dict[str, Any], masks: dict[str, Array]) -> None:
    p.common(mats)
    slab = m.blend(m.matt("2.5Y 5.5/1"), m.matt("10YR 3.5/1"), _slab(), (6, 6))
    wet = {"type": "roughplastic", "diffuse_reflectance": m.spectrum(m.paint("10YR 2.5/1")), "alpha": 0.06}
    mats["apron"] = m.blend(slab, {"type": "twosided", "b": wet}, m.wear(1024, 31, 0.26, 0.03, 2.0), (13, 13))
    mats["brick"] = m.blend(m.matt("2.5YR 4/5"), m.matt("7.5YR 6/2"), _bricks(), (2.0, 2.0))
    mats["plinth"] = m.blend(m.matt("N 5.5"), m.matt("N 3.5"), m.noise(1024, 33, 1.5), (4, 4))
    rust = m.wear(1024, 34, 0.12, 0.1, 1.6)
    mats["shutter"] = m.blend(m.gloss("10BG 5/4", 0.3), m.matt("2.5YR 3/5"), rust * 0.8, (3, 3))
    mats["sheet"] = m.blend(m.gloss("5B 6/2", 0.35), m.matt("5YR 4/4"), rust, (4, 4))
    mats["woodraw"] = m.blend(m.matt("10YR 6/4"), m.matt("7.5YR 4/3"), m.planks(1024, 35, 8, 2), (1, 1))
    mats["wood"] = mats["woodraw"]
    mats["stripe"] = m.blend(m.gloss("2.5Y 7/10", 0.3), m.gloss("N 2", 0.3), _hazard(), (0.5, 0.5))
    mats["officewall"] = m.matt(OFFICE)
    mats["sign"] = m.blend(m.gloss("5PB 3/6", 0.3), m.matt("N 9"), _sign("DOCK 3"), None)

    b.polygon("apron", [(-40, -12, 0), (40, -12, 0), (40, YW, 0), (-40, YW, 0)])
    # raised dock with a canopy; warehouse behind
    b.polygon("brick", [(X0, YW, 0), (X1, YW, 0), (X1, YW, HW), (X0, YW, HW)])
    b.polygon("brick", [(X1, YW, 0), (X1, YW + 9, 0), (X1, YW + 9, HW), (X1, YW, HW)])
    b.box("plinth", (1.0, YW - 1.3, 0.5), (19.0, 2.6, 1.0), 0.02)
    b.box("stripe", (1.0, YW - 2.61, 0.94), (19.0, 0.03, 0.1), 0.0)
    for x in (-5.0, 0.2, 5.4):  # roller shutters, bumpers, numbers
        b.box("steel", (x - 1.75, YW - 0.03, 2.6), (0.16, 0.2, 3.2), 0.01)
        b.box("steel", (x + 1.75, YW - 0.03, 2.6), (0.16, 0.2, 3.2), 0.01)
        b.box("sheet", (x, YW - 0.08, 4.25), (3.7, 0.4, 0.42), 0.02)
        for k in range(26):
            b.box("shutter", (x, YW - 0.03, 1.06 + k * 0.12), (3.36, 0.05, 0.112), 0.022)
        for dx in (-1.2, 1.2):
            b.box("rubber", (x + dx, YW - 2.68, 0.72), (0.28, 0.16, 0.5), 0.02)
    # canopy
    with b.at(1.0, YW - 1.5, 4.75, pitch=-5):
        b.box("sheet", (0, 0, 0), (19.0, 3.4, 0.08), 0.01)
        b.box("sheet", (0, -1.7, -0.1), (19.0, 0.06, 0.3), 0.01)
    for x in (-8.3, -2.4, 2.8, 8.0, 10.3):
        b.rod("steel", (x, YW - 2.9, 4.6), (x, YW - 0.1, 5.4), 0.03)
    # flood lamps on brackets over the shutters, and one on a post
    for x in (-5.0, 0.2, 5.4):
        _flood(b, x, YW - 3.3, 4.35)
    for px, py, arm in ((-8.6, 1.0, 0.0), (4.8, -3.2, 60.0)):
        with b.at(px, py, yaw=arm):
            b.lathe(
                "sheet", [(0.2, 0), (0.2, 0.3), (0.09, 0.34), (0.075, 6.2), (0.06, 6.3)], 20, smooth=False
            )
            b.rod("sheet", (0, 0, 6.2), (1.3, 0, 6.45), 0.04)
            with b.at(1.3, 0, 6.4):
                b.box("sheet", (0, 0, 0.06), (0.7, 0.34, 0.14), 0.04)
                glow = [
                    (-0.3, -0.13, -0.015),
                    (-0.3, 0.13, -0.015),
                    (0.3, 0.13, -0.015),
                    (0.3, -0.13, -0.015),
                ]
                b.light("sodium", glow, 7.0)
    for k in range(4):  # far lamps along the quay
        x, y = 19.0 + 7.5 * k, 16.0 + 9.0 * k
        b.rod("sheet", (x, y, 0), (x, y, 6.0), 0.07)
        b.light(
            "sodium", [(x - 0.16, y, 5.9), (x + 0.16, y, 5.9), (x + 0.16, y, 6.05), (x - 0.16, y, 6.05)], 7.0
        )
    b.polygon("apron", [(X1, YW, 0), (60, YW, 0), (60, 60, 0), (X1, 60, 0)])
    b.box("sheet", (32, 52, 3.5), (36, 8, 7), 0.02)
    # man door and painted office wall at right with a window, dark
    b.polygon(
        "officewall",
        [(7.9, YW - 0.02, 1.0), (11.4, YW - 0.02, 1.0), (11.4, YW - 0.02, 4.2), (7.9, YW - 0.02, 4.2)],
    )
    with b.at(8.7, YW - 0.06, 1.0):
        p.door(b, 0.95, 2.1, "green")
    b.box("sheet", (10.4, YW - 0.06, 2.5), (1.2, 0.1, 1.1), 0.01)
    b.box("night", (10.4, YW - 0.08, 2.5), (1.08, 0.1, 0.98), 0.0)
    b.picture(
        "sign",
        [
            (-3.1, YW - 0.05, 3.1),
            (-1.7, YW - 0.05, 3.1),
            (-1.7, YW - 0.05, 3.567),
            (-3.1, YW - 0.05, 3.567),
        ],
    )
    for k in range(5):  # steps
        b.box("plinth", (11.0, YW - 2.9 - 0.28 * (4 - k) + 0.56, 0.1 + k * 0.2), (1.0, 0.3, 0.2), 0.01)
    # goods
    with b.at(2.6, YW - 4.2, yaw=8):
        p.pallet(b)
        with b.at(-0.28, 0, 0.14):
            p.crate(b, 0.56, 0.7, 0.5)
        with b.at(0.3, 0.02, 0.14, yaw=4):
            p.crate(b, 0.54, 0.66, 0.62)
        with b.at(-0.25, 0.02, 0.66, yaw=-9):
            p.crate(b, 0.5, 0.6, 0.42)
    with b.at(4.3, YW - 4.1, yaw=-14):
        for k in range(6):
            with b.at(0.01 * k, 0, 0.144 * k, yaw=2 * (-1) ** k):
                p.pallet(b)
    for i, (x, y, c) in enumerate(
        ((-2.5, 5.0, "blue"), (-3.15, 5.15, "orange"), (-2.85, 5.62, "blue"), (-3.9, 5.6, "green"))
    ):
        with b.at(x, y, yaw=40 * i):
            p.barrel(b, c)
    with b.at(-1.5, 3.2):
        p.coil(b, r=0.4, thick=0.03)
    for x in (-6.5, -3.2, 7.2):  # bollards and chain along the quay
        with b.at(x, 0.6 if x < 0 else 1.5):
            b.lathe(
                "stripe",
                [
                    (0.2, 0),
                    (0.2, 0.08),
                    (0.13, 0.1),
                    (0.13, 0.8),
                    (0.19, 0.86),
                    (0.19, 0.96),
                    (0.1, 1.02),
                    (1e-4, 1.03),
                ],
                28,
            )
    _forklift(b, 6.1, 5.2, 205)


def _flood(b: Builder, x: float, y: float, z: float) -> None:
    b.rod("steel", (x, YW - 1.0, z + 0.55), (x, y + 0.05, z + 0.3), 0.025)
    with b.at(x, y, z, pitch=24):
        b.box("sheet", (0, 0, 0.08), (0.5, 0.34, 0.16), 0.03)
        b.light(
            "sodium",
            [(-0.2, -0.12, -0.01), (-0.2, 0.12, -0.01), (0.2, 0.12, -0.01), (0.2, -0.12, -0.01)],
            7.0,
        )


def _forklift(b: Builder, x: float, y: float, yaw: float) -> None:
    with b.at(x, y, yaw=yaw):
        b.box("orange", (0, 0, 0.62), (1.0, 1.7, 0.7), 0.06)
        b.box("black", (0, 0.75, 0.75), (1.02, 0.5, 0.9), 0.1)
        b.box("black", (0, 0.2, 1.06), (0.5, 0.5, 0.12), 0.04)
        b.box("black", (0, 0.45, 1.3), (0.48, 0.1, 0.5), 0.04)
        for sx in (-0.45, 0.45):
            b.rod("black", (sx, -0.55, 0.9), (sx, -0.45, 2.05), 0.03)
            b.rod("black", (sx, 0.75, 1.1), (sx, 0.6, 2.05), 0.03)
            b.box("steel", (sx * 0.6, -1.05, 1.25), (0.09, 0.12, 2.4), 0.01)
            b.box("steel", (sx * 0.5, -1.75, 0.14), (0.12, 1.15, 0.05), 0.01)
            for yy in (-0.6, 0.62):
                with b.at(sx * 1.12 + (0.1 if sx > 0 else -0.1), yy, 0.3, roll=90):
                    b.lathe(
                        "rubber",
                        [(1e-4, -0.12), (0.28, -0.12), (0.3, -0.09), (0.3, 0.09), (0.28, 0.12), (1e-4, 0.12)],
                        28,
                    )
        b.box("black", (0, 0.08, 2.07), (1.05, 1.3, 0.05), 0.02)
        b.box("steel", (0, -1.1, 0.35), (0.9, 0.05, 0.4), 0.01)
        b.rod("black", (0, -0.5, 0.95), (0, -0.25, 1.3), 0.02)


def _slab() -> Array:
    a = 0.75 * m.noise(1024, 30, 1.5) + 0.15 * m.noise(1024, 39, 0.7)
    for k in (0, 512):
        a[k : k + 4, :] = 1
        a[:, k : k + 4] = 1
    return np.clip(a + 0.35 * m.wear(1024, 38, 0.1, 0.2), 0, 1)


def _bricks() -> Array:
    n, rows = 1024, 26
    out = 0.3 * m.noise(n, 32, 1.2)
    rng = np.random.default_rng(32)
    h = n / rows
    for r in range(rows):
        y0, y1 = int(r * h), int((r + 1) * h)
        off = 0.5 * (r % 2)
        for k in range(-1, 9):
            x0, x1 = int((k + off) * n / 8), int((k + 1 + off) * n / 8)
            out[y0:y1, max(x0, 0) : max(x1, 0)] += rng.uniform(0, 0.22)
            if 0 <= x0 < n:
                out[y0:y1, x0 : x0 + 6] = 0.95
        out[y0 : y0 + 6, :] = 0.95
    return np.clip(out, 0, 1)


def _hazard() -> Array:
    y, x = np.mgrid[0:256, 0:256] / 256
    return (((x + y) * 2) % 1 < 0.5).astype(float)


def _sign(words: str) -> Array:
    """A lettered board between two lines, in the fonts that pages are set in."""
    from PIL import Image, ImageDraw, ImageFont

    page = Image.new("L", (1536, 512), 0)
    draw = ImageDraw.Draw(page)
    font = ImageFont.truetype(io.BytesIO(FONT.read_bytes()), 300)
    draw.text((768, 262), words, fill=255, font=font, anchor="mm")
    draw.rectangle((36, 40, 1500, 54), fill=255)
    draw.rectangle((36, 458, 1500, 472), fill=255)
    return np.asarray(page, dtype=np.float64) / 255


PLACE = Place(
    key="loading_dock",
    location="Loading dock 3, Østkai",
    source="HP1",
    lamps={"sodium": Lamp("HP1", "high-pressure sodium floods and a post lamp")},
    lux={"sodium": 42.0},
    balance_k=3200,
    views=(
        View(
            "03_loading_dock_wide",
            (-4.6, -4.2, 1.6),
            (1.8, 9.0, 1.75),
            66,
            (1600, 900),
            facing((-4.6, -4.2, 0), -2.2, 1.1, 1.1, -12),
            exposure=(1 / 30, 2.0, 1000),
            time="21:15",
            seed=21,
        ),
        View(
            "04_loading_dock_goods",
            (0.4, 0.6, 1.55),
            (2.9, 8.2, 1.5),
            60,
            (1068, 1600),
            facing((0.4, 0.6, 0), 1.35, 3.5, 1.1, 18),
            camera="sensor",
            exposure=(1 / 30, 2.0, 800),
            time="21:24",
            seed=22,
        ),
        View(
            "05_loading_dock_office",
            (6.0, 0.2, 1.6),
            (10.2, 9.0, 2.1),
            58,
            (1600, 1068),
            facing((6, 0.2, 0), 8.5, 4.2, 1.15, -14),
            exposure=(1 / 25, 2.0, 500),
            time="21:31",
            walls=("office wall",),
            seed=23,
        ),
        View(
            "17_loading_dock_waiting",
            (-8.2, 3.2, 1.5),
            (2.5, 7.4, 2.35),
            58,
            (1600, 900),
            None,
            exposure=(1 / 30, 2.0, 500),
            time="21:08",
            subject=Subject((-6.3, 3.25, 1.6), (-8.2, 2.2, 1.6)),
            stand_ins=(
                StandIn(
                    "brown",
                    (-6.15, 3.28, 1.6),
                    -52,
                    turn=8,
                    coat="5B 3/3",
                    head="N 2.5",
                    scarf="7.5YR 4/4",
                    read=(-0.3, -0.85, -0.1),
                ),
            ),
            seed=24,
        ),
    ),
    build=build,
    effort=90**2,
    card_effort=220**2,
    walls=(
        Wall(
            "office wall",
            OFFICE,
            ((9.5, YW - 0.02, 3.3), (10.3, YW - 0.02, 3.3), (10.3, YW - 0.02, 3.9), (9.5, YW - 0.02, 3.9)),
        ),
    ),
)
