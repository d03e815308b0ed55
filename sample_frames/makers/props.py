"""Things that stand in more than one place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers.geometry import Builder
from makers.materials import gloss, matt, metal

Array = NDArray[np.float64]


def common(mats: dict[str, Any]) -> None:
    """Materials that the props below ask for, unless the place has its own."""
    for name, bsdf in {
        "steel": metal(0.3, 0.55),
        "black": gloss("N 1.5", 0.2),
        "rubber": matt("N 1.8"),
        "white": matt("N 9"),
        "paper": matt("5Y 9/1"),
        "wood": matt("7.5YR 5/4"),
        "darkwood": gloss("5YR 3/3", 0.3),
        "rope": matt("2.5Y 6/3"),
        "red": gloss("7.5R 4/11", 0.2),
        "blue": gloss("5PB 3/7", 0.25),
        "green": gloss("5G 4/5", 0.25),
        "yellow": gloss("2.5Y 7/10", 0.25),
        "orange": gloss("2.5YR 5/12", 0.3),
        "cloth": matt("5PB 3/3"),
        "brass": gloss("2.5Y 6/5", 0.15),
        "enamel": gloss("5B 8/1", 0.12),
        "night": matt("N 1"),
    }.items():
        mats.setdefault(name, bsdf)


def room(
    b: Builder,
    x0: float,
    x1: float,
    y0: float,
    y1: float,
    z1: float,
    floor: str,
    ceiling: str,
    walls: Sequence[str],
) -> None:
    """A box seen from inside; walls: left, right, far (y1), back (y0); '' leaves one out."""
    b.polygon(floor, [(x0, y0, 0), (x1, y0, 0), (x1, y1, 0), (x0, y1, 0)])
    if ceiling:
        b.polygon(ceiling, [(x0, y1, z1), (x1, y1, z1), (x1, y0, z1), (x0, y0, z1)])
    left, right, far, back = walls
    if left:
        b.polygon(left, [(x0, y0, 0), (x0, y1, 0), (x0, y1, z1), (x0, y0, z1)])
    if right:
        b.polygon(right, [(x1, y1, 0), (x1, y0, 0), (x1, y0, z1), (x1, y1, z1)])
    if far:
        b.polygon(far, [(x0, y1, 0), (x1, y1, 0), (x1, y1, z1), (x0, y1, z1)])
    if back:
        b.polygon(back, [(x1, y0, 0), (x0, y0, 0), (x0, y0, z1), (x1, y0, z1)])


def wall_with_hole(
    b: Builder,
    mat: str,
    a0: float,
    a1: float,
    z1: float,
    hole: tuple[float, float, float, float],
    thick: float,
) -> None:
    """A wall along local x (front to -y, at y 0) from a0 to a1 with a hole h0, h1, low, high and reveals."""
    h0, h1, low, high = hole
    for x0, x1, lo, hi in ((a0, h0, 0, z1), (h1, a1, 0, z1), (h0, h1, 0, low), (h0, h1, high, z1)):
        if x1 - x0 > 1e-6 and hi - lo > 1e-6:
            b.polygon(mat, [(x0, 0, lo), (x1, 0, lo), (x1, 0, hi), (x0, 0, hi)])
    b.polygon(mat, [(h0, 0, low), (h0, 0, high), (h0, thick, high), (h0, thick, low)][::-1])
    b.polygon(mat, [(h1, 0, low), (h1, 0, high), (h1, thick, high), (h1, thick, low)])
    b.polygon(mat, [(h0, 0, low), (h1, 0, low), (h1, thick, low), (h0, thick, low)])
    b.polygon(mat, [(h0, 0, high), (h1, 0, high), (h1, thick, high), (h0, thick, high)][::-1])


def window(
    b: Builder,
    frame: str,
    hole: tuple[float, float, float, float],
    thick: float,
    across: int,
    down: int,
    group: str = "",
    radiance: float = 1.0,
    mask: str = "",
    bar: float = 0.035,
) -> None:
    """Frame and glazing bars in a hole of a wall along local x; glows with ``group``, else dark outside."""
    h0, h1, low, high = hole
    y = thick * 0.55
    for i in range(across + 1):
        x = h0 + (h1 - h0) * i / across
        w = bar * (2 if i in (0, across) else 1)
        b.box(frame, (x, y, (low + high) / 2), (w, 0.05, high - low), 0.005)
    for j in range(down + 1):
        z = low + (high - low) * j / down
        w = bar * (2 if j in (0, down) else 1)
        b.box(frame, ((h0 + h1) / 2, y, z), (h1 - h0, 0.05, w), 0.005)
    g = thick + 0.02
    e = 0.0
    quad = [(h0 - e, g, low - e), (h1 + e, g, low - e), (h1 + e, g, high + e), (h0 - e, g, high + e)]
    if group:
        b.light(group, quad, radiance, mask)
    else:
        b.polygon("night", quad)


def bench(b: Builder, length: float, seat: str = "wood", leg: str = "steel") -> None:
    """A slatted bench along x facing -y, its seat front at y 0."""
    for i in range(4):
        b.box(seat, (0, 0.05 + i * 0.11, 0.44), (length, 0.09, 0.03), 0.008)
    with b.at(0, 0.46, 0.47, pitch=-12):
        for i in range(3):
            b.box(seat, (0, 0.02, 0.09 + i * 0.12), (length, 0.026, 0.09), 0.008)
    n = max(2, int(length / 1.4) + 1)
    for i in range(n):
        x = -length / 2 + 0.15 + (length - 0.3) * i / (n - 1)
        for y in (0.06, 0.42):
            b.rod(leg, (x, y, 0), (x, y, 0.42), 0.018)
        b.rod(leg, (x, 0.04, 0.41), (x, 0.46, 0.41), 0.018)
        b.tube(leg, [(x, 0.42, 0.42), (x, 0.48, 0.55), (x, 0.56, 0.86)], 0.016)
        b.box("rubber", (x, 0.24, 0.012), (0.05, 0.5, 0.024), 0.004)


def chair(b: Builder, wood: str = "wood", seat: str = "wood") -> None:
    """A plain wooden chair facing -y, its middle over the origin."""
    for x in (-0.19, 0.19):
        b.box(wood, (x, -0.18, 0.22), (0.036, 0.036, 0.44), 0.004)
        b.tube(wood, [(x, 0.19, 0), (x, 0.19, 0.45), (x, 0.26, 0.9)], 0.02)
        b.rod(wood, (x, -0.18, 0.2), (x, 0.19, 0.2), 0.012)
    b.box(seat, (0, 0, 0.455), (0.44, 0.43, 0.035), 0.012)
    for z in (0.6, 0.72, 0.84):
        b.box(wood, (0, 0.2 + (z - 0.45) * 0.155, z), (0.38, 0.016, 0.055), 0.005)
    b.rod(wood, (-0.19, 0, 0.2), (0.19, 0, 0.2), 0.012)


def table(b: Builder, w: float, d: float, h: float = 0.74, top: str = "wood", leg: str = "wood") -> None:
    """A table, its middle over the origin."""
    b.box(top, (0, 0, h - 0.018), (w, d, 0.036), 0.006)
    b.box(leg, (0, -d / 2 + 0.07, h - 0.085), (w - 0.14, 0.022, 0.09), 0.003)
    b.box(leg, (0, d / 2 - 0.07, h - 0.085), (w - 0.14, 0.022, 0.09), 0.003)
    for x in (-w / 2 + 0.07, w / 2 - 0.07):
        b.box(leg, (x, 0, h - 0.085), (0.022, d - 0.14, 0.09), 0.003)
        for y in (-d / 2 + 0.07, d / 2 - 0.07):
            b.box(leg, (x, y, (h - 0.04) / 2), (0.06, 0.06, h - 0.04), 0.006)


def crate(b: Builder, w: float, d: float, h: float, wood: str = "wood") -> None:
    """A slatted crate standing on the origin."""
    for x in (-w / 2 + 0.03, w / 2 - 0.03):
        for y in (-d / 2 + 0.03, d / 2 - 0.03):
            b.box(wood, (x, y, h / 2), (0.05, 0.05, h), 0.004)
    n = max(2, int(h / 0.13))
    for i in range(n):
        z = (i + 0.5) * h / n
        s = h / n - 0.022
        for y in (-d / 2, d / 2):
            b.box(wood, (0, y, z), (w, 0.018, s), 0.004)
        for x in (-w / 2, w / 2):
            b.box(wood, (x, 0, z), (0.018, d, s), 0.004)
    b.box("night", (0, 0, h / 2), (w - 0.05, d - 0.05, h - 0.06), 0.0)
    b.box(wood, (0, 0, h - 0.02), (w + 0.01, d + 0.01, 0.02), 0.004)


def pallet(b: Builder, wood: str = "wood") -> None:
    """A 1.2 x 0.8 m pallet standing on the origin."""
    for x in (-0.55, 0, 0.55):
        b.box(wood, (x, 0, 0.06), (0.1, 0.8, 0.09), 0.004)
    for i in range(5):
        y = -0.35 + i * 0.175
        b.box(wood, (0, y, 0.128), (1.2, 0.12, 0.022), 0.004)
        if i % 2 == 0:
            b.box(wood, (0, y, 0.011), (1.2, 0.1, 0.022), 0.003)


def barrel(b: Builder, mat: str = "blue", r: float = 0.29, h: float = 0.88) -> None:
    """A steel drum with two rolling hoops."""
    p = [
        (1e-4, 0),
        (r, 0),
        (r + 0.012, 0.015),
        (r, 0.03),
        (r, h / 3 - 0.02),
        (r + 0.018, h / 3),
        (r, h / 3 + 0.02),
    ]
    p += [
        (r, 2 * h / 3 - 0.02),
        (r + 0.018, 2 * h / 3),
        (r, 2 * h / 3 + 0.02),
        (r, h - 0.03),
        (r + 0.012, h - 0.012),
    ]
    p += [(r - 0.004, h), (r - 0.016, h - 0.015), (1e-4, h - 0.016)]
    b.lathe(mat, p, 40, smooth=False)
    with b.at(r * 0.55, 0, h - 0.018):
        b.cylinder("steel", 0.035, 0.014, 16)


def coil(
    b: Builder, mat: str = "rope", r: float = 0.28, turns: int = 4, layers: int = 3, thick: float = 0.022
) -> None:
    """A coil of rope lying on the origin."""
    t = np.linspace(0, 2 * np.pi, 40)
    rng = np.random.default_rng(5)
    for k in range(layers):
        for j in range(turns):
            radius = r - j * thick * 1.7 + rng.uniform(-0.006, 0.006)
            z = thick + k * thick * 1.6 + rng.uniform(-0.003, 0.003)
            ring = np.stack([radius * np.cos(t), radius * np.sin(t), np.full_like(t, z)], axis=1)
            b.tube(mat, ring, thick, 8)


def mug(b: Builder, mat: str = "enamel") -> None:
    p = [(1e-4, 0), (0.036, 0), (0.04, 0.006), (0.04, 0.09), (0.037, 0.09), (0.036, 0.01), (1e-4, 0.01)]
    b.lathe(mat, p, 28, smooth=False)
    t = np.linspace(-np.pi / 2, np.pi / 2, 10)
    b.tube(mat, np.stack([0.04 + 0.022 * np.cos(t), 0 * t, 0.048 + 0.028 * np.sin(t)], axis=1), 0.005, 8)


def kettle(b: Builder, mat: str = "enamel") -> None:
    p = [
        (1e-4, 0),
        (0.1, 0),
        (0.115, 0.03),
        (0.11, 0.08),
        (0.08, 0.13),
        (0.05, 0.15),
        (0.045, 0.155),
        (1e-4, 0.165),
    ]
    b.lathe(mat, p, 36)
    b.ball("black", (0, 0, 0.178), 0.014)
    b.tube(mat, [(0.09, 0, 0.07), (0.14, 0, 0.1), (0.17, 0, 0.145)], 0.015)
    t = np.linspace(0.15, np.pi - 0.15, 12)
    b.tube("black", np.stack([0.1 * np.cos(t), 0 * t, 0.12 + 0.13 * np.sin(t)], axis=1), 0.008, 8)


def books(b: Builder, n: int, mats: Sequence[str], seed: int = 1) -> None:
    """A row of standing books along x from the origin, their backs to -y."""
    rng = np.random.default_rng(seed)
    x = 0.0
    for i in range(n):
        w, h, d = rng.uniform(0.018, 0.05), rng.uniform(0.19, 0.29), rng.uniform(0.15, 0.2)
        b.box(
            mats[int(rng.integers(len(mats)))] if i else mats[0], (x + w / 2, d / 2, h / 2), (w, d, h), 0.004
        )
        x += w + 0.002


def clock(b: Builder, r: float = 0.17) -> None:
    """A round wall clock facing -y, centre at the origin."""
    with b.at(pitch=90):
        b.lathe(
            "black", [(1e-4, 0.0), (r, 0.0), (r, 0.05), (r * 0.93, 0.055), (r * 0.92, 0.03)], 48, smooth=False
        )
        b.lathe("white", [(r * 0.93, 0.03), (1e-4, 0.03)], 48, smooth=False)
    for k in range(12):
        with b.at(roll=30 * k):
            b.box("black", (0, -0.032, r * 0.8), (0.008, 0.002, r * 0.14), 0)
    with b.at(roll=-62):
        b.box("black", (0, -0.034, r * 0.2), (0.012, 0.002, r * 0.55), 0)
    with b.at(roll=-135):
        b.box("black", (0, -0.036, r * 0.3), (0.008, 0.002, r * 0.8), 0)


def extinguisher(b: Builder) -> None:
    """A fire extinguisher standing on the origin."""
    b.lathe(
        "red",
        [(1e-4, 0), (0.075, 0), (0.08, 0.02), (0.08, 0.4), (0.06, 0.46), (0.025, 0.49), (0.025, 0.52)],
        32,
    )
    b.box("black", (0, 0, 0.55), (0.035, 0.1, 0.03), 0.004)
    b.tube("black", [(0, -0.05, 0.54), (0, -0.12, 0.45), (0, -0.1, 0.25)], 0.012)


def case(b: Builder, w: float = 0.62, d: float = 0.2, h: float = 0.42, mat: str = "cloth") -> None:
    """A suitcase standing on the origin."""
    b.box(mat, (0, 0, h / 2 + 0.01), (w, d, h), 0.03)
    for x in (-w / 4, w / 4):
        b.box("black", (x, 0, h / 2 + 0.01), (0.03, d + 0.008, h + 0.008), 0.012)
    b.tube("black", [(-0.07, 0, h), (-0.06, 0, h + 0.04), (0.06, 0, h + 0.04), (0.07, 0, h)], 0.01)


def door(b: Builder, w: float, h: float, leaf: str, frame: str = "steel", glass: bool = True) -> None:
    """A closed door in a wall facing -y; its foot at the origin's middle."""
    b.box(frame, (-w / 2 - 0.04, 0, h / 2), (0.08, 0.14, h), 0.008)
    b.box(frame, (w / 2 + 0.04, 0, h / 2), (0.08, 0.14, h), 0.008)
    b.box(frame, (0, 0, h + 0.04), (w + 0.16, 0.14, 0.08), 0.008)
    b.box(leaf, (0, 0.0, h / 2), (w, 0.05, h - 0.01), 0.004)
    if glass:
        b.box("black", (0, -0.012, h * 0.68), (w * 0.55, 0.05, h * 0.32), 0.004)
        b.box("night", (0, -0.024, h * 0.68), (w * 0.5, 0.05, h * 0.29), 0.0)
    b.box("steel", (0, -0.03, 0.14), (w * 0.9, 0.012, 0.24), 0.002)
    b.rod("steel", (w * 0.4, -0.03, h * 0.48), (w * 0.4, -0.085, h * 0.48), 0.012)
    b.rod("steel", (w * 0.4, -0.08, h * 0.48), (w * 0.27, -0.08, h * 0.48), 0.012)


def batten(b: Builder, group: str, length: float, radiance: float) -> None:
    """A fluorescent fitting along y under the origin: an opal diffuser over its tubes."""
    b.box("white", (0, 0, -0.015), (0.2, length + 0.06, 0.03), 0.004)
    w, h, low, top = 0.08, length / 2, -0.1, -0.03
    b.light(group, [(-w, -h, low), (-w, h, low), (w, h, low), (w, -h, low)], radiance)
    for x in (-w, w):
        side = [(x, -h, low), (x, h, low), (x, h, top), (x, -h, top)]
        b.light(group, side if x > 0 else side[::-1], radiance)
    for y in (-h, h):
        b.box("white", (0, y, -0.065), (2 * w, 0.01, 0.07), 0.0)


def coat(b: Builder, mat: str = "cloth") -> None:
    """A coat hanging from a hook at the origin on a wall facing -y."""
    u = np.linspace(0, 1, 36)
    v = np.linspace(0, 1, 24)
    g = np.zeros((24, 36, 3))
    for i, t in enumerate(v):
        half = 0.06 + 0.17 * min(t * 6, 1) ** 0.5 + 0.05 * t
        fold = 0.022 * np.sin(u * 31 + 2 * t) * min(1, 3 * t) + 0.012 * np.sin(u * 67)
        g[i, :, 0] = (u - 0.5) * 2 * half
        g[i, :, 1] = -0.05 - 0.07 * np.sin(np.pi * u) * min(1, 4 * t + 0.3) - fold
        g[i, :, 2] = -1.0 * t - 0.02 * np.cos(u * 40)
    b.surface(mat, g)
    b.rod("brass", (0, 0, 0.0), (0, -0.07, 0.02), 0.008)
    b.ball("brass", (0, -0.075, 0.025), 0.014)


def cabinet(b: Builder, w: float, d: float, h: float, drawers: int, mat: str = "green") -> None:
    """A drawer cabinet standing on the origin, front to -y at y = -d/2."""
    b.box(mat, (0, 0, h / 2), (w, d, h), 0.008)
    for i in range(drawers):
        z = (i + 0.5) * (h - 0.06) / drawers + 0.03
        b.box(mat, (0, -d / 2 - 0.006, z), (w - 0.04, 0.02, (h - 0.06) / drawers - 0.02), 0.005)
        b.box("steel", (0, -d / 2 - 0.03, z + 0.03), (0.11, 0.02, 0.018), 0.004)
        b.box("paper", (0, -d / 2 - 0.018, z + 0.07), (0.08, 0.004, 0.035), 0.0)


def pipe_run(b: Builder, mat: str, points: object, r: float = 0.04) -> None:
    b.tube(mat, points, r, 14)
