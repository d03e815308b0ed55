"""A stand-in: head, neck and shoulders of simple geometry, in a skin whose reflectance is known.

The head is a smooth union of ellipsoids and capsules (brow, cheeks, nose, lips, chin, ears, neck), looked up
along rays from its middle, so that it is one smooth sheet. Its skin is ideally matt: what falls on it and its
reflectance are all that it sends back. Hair or cap, scarf and coat are other materials. Metres; a head
faces -y, its middle lies between the ears.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import materials as m
from makers.geometry import Builder

Array = NDArray[np.float64]

MIDDLE = np.array([0.0, -0.005, 0.0])
"""From where the head is seen whole: every ray from here leaves it once."""
REACH_M = 0.30


@dataclass(frozen=True)
class StandIn:
    """Who stands or sits where: a skin of ``lookdev.colorimetry.skins``, and what is worn.

    ``at`` is the middle of the head; ``yaw`` turns the body (0 faces -y, counter-clockwise from above),
    ``turn`` the head on it, ``nod`` bows it, degrees. ``read`` is the direction, in the head's frame, of the
    spot where its light is metered. ``coat``, ``head`` (cap or hair), ``brow`` (empty: as the head) and
    ``scarf`` are Munsell notations. ``arms``: where elbow and hand are from the head, left and right;
    ``slim`` narrows the shoulders.
    """

    skin: str
    at: tuple[float, float, float]
    yaw: float
    turn: float = 0.0
    nod: float = 0.0
    wears: str = "cap"
    coat: str = "5PB 2.5/3"
    head: str = "N 2"
    brow: str = ""
    scarf: str = "5R 3/4"
    read: tuple[float, float, float] = (0.5, -0.75, -0.12)
    arms: tuple[tuple[tuple[float, float, float], tuple[float, float, float]], ...] = (
        ((0.25, 0.02, -0.56), (0.22, -0.12, -0.78)),
        ((-0.25, 0.02, -0.56), (-0.22, -0.12, -0.78)),
    )
    slim: float = 1.0


def _ellipsoid(p: Array, centre: tuple[float, float, float], radii: tuple[float, float, float]) -> Array:
    r = np.asarray(radii)
    q = (p - np.asarray(centre)) / r
    k0 = np.linalg.norm(q, axis=-1)
    k1 = np.linalg.norm(q / r, axis=-1) + 1e-12
    return np.asarray(k0 * (k0 - 1) / k1)


def _capsule(
    p: Array, a: tuple[float, float, float], b: tuple[float, float, float], ra: float, rb: float
) -> Array:
    start, along = np.asarray(a), np.asarray(b) - np.asarray(a)
    t = np.clip((p - start) @ along / (along @ along), 0, 1)
    return np.asarray(np.linalg.norm(p - start - t[..., None] * along, axis=-1) - (ra + (rb - ra) * t))


def _join(a: Array, b: Array, k: float) -> Array:
    """Smooth union: what is nearer, rounded over ``k`` metres."""
    h = np.clip(0.5 + 0.5 * (b - a) / k, 0, 1)
    return np.asarray(b + (a - b) * h - k * h * (1 - h))


def _hollow(a: Array, b: Array, k: float) -> Array:
    """``a`` without ``b``, smoothly."""
    return -_join(-a, b, k)


def head_distance(p: Array) -> Array:
    """Signed distance in metres of points (..., 3) from the skin, about; negative inside."""
    q = p.copy()
    q[..., 0] = np.abs(q[..., 0])
    d = _ellipsoid(q, (0, 0.018, 0.036), (0.074, 0.094, 0.088))
    d = _join(d, _ellipsoid(q, (0, -0.034, -0.026), (0.060, 0.058, 0.080)), 0.03)
    d = _join(d, _capsule(q, (0.046, 0.004, -0.062), (0.012, -0.066, -0.094), 0.017, 0.016), 0.035)
    d = _join(d, _ellipsoid(q, (0, -0.076, -0.094), (0.021, 0.017, 0.014)), 0.018)
    d = _join(d, _ellipsoid(q, (0.041, -0.066, -0.014), (0.021, 0.019, 0.016)), 0.022)
    d = _join(d, _capsule(q, (0.008, -0.0855, 0.029), (0.045, -0.067, 0.029), 0.0085, 0.007), 0.018)
    d = _hollow(d, _ellipsoid(q, (0.031, -0.103, 0.010), (0.018, 0.020, 0.012)), 0.014)
    d = _join(d, _ellipsoid(q, (0.031, -0.0745, 0.009), (0.0150, 0.0125, 0.0105)), 0.005)
    d = _hollow(d, _capsule(q, (0.020, -0.0895, 0.0055), (0.042, -0.0835, 0.0045), 0.0009, 0.0007), 0.002)
    d = _join(d, _capsule(q, (0, -0.084, 0.022), (0, -0.108, -0.022), 0.0068, 0.0100), 0.014)
    d = _join(d, _ellipsoid(q, (0.0105, -0.0975, -0.0265), (0.0080, 0.0095, 0.0070)), 0.007)
    d = _join(d, _ellipsoid(q, (0, -0.086, -0.058), (0.027, 0.014, 0.017)), 0.014)
    d = _join(d, _ellipsoid(q, (0.008, -0.0965, -0.0525), (0.015, 0.0070, 0.0046)), 0.006)
    d = _join(d, _ellipsoid(q, (0, -0.0955, -0.0635), (0.017, 0.0072, 0.0056)), 0.006)
    d = _hollow(d, _capsule(q, (0, -0.1035, -0.0580), (0.022, -0.0905, -0.0585), 0.0012, 0.0008), 0.003)
    ear = q - np.array([0.074, 0.012, -0.004])
    tilt = np.radians(14)
    across = np.stack(
        [
            ear[..., 0] * np.cos(0.35) - ear[..., 1] * np.sin(0.35),
            ear[..., 0] * np.sin(0.35) + ear[..., 1] * np.cos(0.35) - np.tan(tilt) * ear[..., 2],
            ear[..., 2],
        ],
        axis=-1,
    )
    d = _join(d, _ellipsoid(across, (0, 0, 0), (0.0075, 0.0175, 0.031)), 0.008)
    d = _hollow(d, _ellipsoid(across, (0.008, -0.003, 0.004), (0.006, 0.009, 0.017)), 0.006)
    neck = _capsule(q, (0, 0.018, -0.05), (0, 0.045, -0.25), 0.054, 0.062)
    return _join(d, neck, 0.022)


def out_to(distance: Any, directions: Array) -> Array:
    """Points (..., 3) where rays from the middle first leave the shape."""
    u = directions / np.linalg.norm(directions, axis=-1, keepdims=True)
    low, high = np.full(u.shape[:-1], 0.01), np.full(u.shape[:-1], REACH_M)
    found = np.zeros(u.shape[:-1], dtype=bool)
    for t in np.linspace(0.03, REACH_M, 55):
        outside = ~found & (distance(MIDDLE + t * u) > 0)
        high[outside] = t
        found |= outside
        low[~found] = t
    for _ in range(12):
        middle = (low + high) / 2
        outside = distance(MIDDLE + middle[..., None] * u) > 0
        high, low = np.where(outside, middle, high), np.where(outside, low, middle)
    return np.asarray(MIDDLE + ((low + high) / 2)[..., None] * u)


def slopes(distance: Any, points: Array, step: float = 0.0012) -> Array:
    """Unit normals (..., 3) of the shape at points on it."""
    n = np.stack(
        [distance(points + step * e) - distance(points - step * e) for e in np.eye(3)],
        axis=-1,
    )
    return np.asarray(n / (np.linalg.norm(n, axis=-1, keepdims=True) + 1e-12))


@cache
def _sheet_of(part: str) -> tuple[Array, Array, Array, NDArray[np.int64]]:
    """Points, normals, uv and faces of head, cap or hair as one sheet, denser towards the face.

    What a cap or hair does not cover of the head is drawn in under the skin.
    """
    distance, edge = {"head": (head_distance, None), "cap": (_cap, _below_brim), "hair": (_hair, _hairline)}[
        part
    ]
    rows, columns = (210, 240) if part == "head" else (180, 240)
    polar = np.radians(np.linspace(1, 172 if part == "head" else 150, rows))
    turn = np.linspace(-np.pi, np.pi, columns)
    around = turn - 0.45 * np.sin(turn) - np.pi / 2
    u = np.stack(
        [
            np.sin(polar)[:, None] * np.cos(around)[None, :],
            np.sin(polar)[:, None] * np.sin(around)[None, :],
            np.cos(polar)[:, None] + 0 * around[None, :],
        ],
        axis=-1,
    )
    points = out_to(distance, u)
    normals = slopes(distance, points)
    if edge:
        bare = np.clip(edge(points) / 0.006, 0, 1)[..., None]
        points = points + bare * (MIDDLE + 0.80 * (points - MIDDLE) - points)
    uv = np.stack(np.meshgrid(turn * 0.1, polar * 0.1), axis=-1).reshape(-1, 2)
    k = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)[None, :]).ravel()
    faces = np.concatenate(
        [np.stack([k, k + columns, k + columns + 1], 1), np.stack([k, k + columns + 1, k + 1], 1)]
    )
    return points.reshape(-1, 3), normals.reshape(-1, 3), uv, faces


def _sheet(b: Builder, mat: str, part: str) -> None:
    points, normals, uv, faces = _sheet_of(part)
    b._put(mat, points, normals, uv, faces)


def read_at(b: Builder, stand_in: StandIn) -> tuple[Array, Array]:
    """Where a stand-in's skin is metered, and the way it faces there: (3,), (3,) in the world."""
    with _head_frame(b, stand_in):
        point = out_to(head_distance, np.array([stand_in.read], dtype=float))
        normal = slopes(head_distance, point, 0.006)[0]
        at = b.world(point[0])
        return at, b.world(point[0] + normal) - at


def _head_frame(b: Builder, s: StandIn) -> Any:
    return b.at(*s.at, yaw=s.yaw + s.turn, pitch=s.nod)


def _cap(p: Array) -> Array:
    """A knitted cap: the crown of the head, thicker, with a rolled brim."""
    crown = _ellipsoid(p, (0, 0.020, 0.046), (0.083, 0.102, 0.094))
    return crown + 0.0008 * np.sin(170 * np.arctan2(p[..., 0], p[..., 1] - 0.02) / 2)


def _brim(t: Array) -> Array:
    """The cap's edge (n, 3), higher on the forehead than on the neck."""
    x, y = 0.0835 * np.cos(t), 0.020 + 0.1035 * np.sin(t)
    return np.stack([x, y, 0.040 - 0.18 * (y - 0.02)], axis=1)


def _hair(p: Array) -> Array:
    """Hair: short at the sides, a parting, strands in relief."""
    q = p.copy()
    q[..., 0] = np.abs(q[..., 0])
    d = _ellipsoid(q, (0, 0.026, 0.046), (0.082, 0.098, 0.090))
    d = _join(d, _ellipsoid(q, (0, 0.072, 0.0), (0.066, 0.050, 0.085)), 0.03)
    d = _join(d, _ellipsoid(q, (0.066, 0.020, 0.036), (0.018, 0.052, 0.052)), 0.02)
    around = np.arctan2(p[..., 0], p[..., 1])
    relief = np.sin(46 * around + 60 * p[..., 2]) + 0.6 * np.sin(91 * around - 40 * p[..., 2])
    return np.asarray(d + 0.0007 * relief)


def build_stand_in(b: Builder, mats: dict[str, Any], s: StandIn, skin: str) -> None:
    """Put a stand-in into the scene: its skin is the material ``skin``, the rest has materials of its own."""
    coat, head, scarf = f"{skin}_coat", f"{skin}_head", f"{skin}_scarf"
    mats[coat] = m.blend(m.matt(s.coat), m.matt("N 2"), 0.35 * m.noise(256, 90, 0.7), (0.5, 0.5))
    mats[head] = m.matt(s.head)
    mats[scarf] = m.matt(s.scarf)
    brow = head
    if s.brow:
        brow = f"{skin}_brow"
        mats[brow] = m.matt(s.brow)
    with _head_frame(b, s):
        _sheet(b, skin, "head")
        if s.wears == "cap":
            _sheet(b, head, "cap")
            t = np.linspace(0, 2 * np.pi, 80)
            for lift in (0.0, 0.012, 0.024):
                ring = _brim(t) * [1.0 - 0.4 * lift, 1.0 - 0.4 * lift, 1] + [0, 0, lift]
                b.tube(head, ring, 0.0095, 10)
        else:
            _sheet(b, head, "hair")
        for side in (-1, 1):  # eyebrows
            x = np.linspace(0.012, 0.047, 9)
            arch = 0.030 + 0.006 * np.sin((x - 0.012) / 0.035 * np.pi * 0.8)
            rays = np.stack([side * x, np.full_like(x, -0.085), arch], axis=1) - MIDDLE
            b.tube(brow, out_to(head_distance, rays) * 1.005, 0.0028, 6)
    with b.at(*s.at, yaw=s.yaw):
        _shoulders(b, coat, skin, s)
        t = np.linspace(0, 2 * np.pi, 60)
        for k, (z, r) in enumerate(((-0.165, 0.083), (-0.142, 0.078), (-0.122, 0.072))):
            ring = np.stack(
                [
                    r * np.cos(t),
                    0.034 + 1.08 * r * np.sin(t),
                    z + 0.012 * np.sin(t) + 0.005 * np.sin(3 * t + k),
                ],
                axis=1,
            )
            b.tube(scarf, ring, 0.0185, 12)


def _below_brim(p: Array) -> Array:
    """Positive below the cap's edge."""
    return np.asarray(0.036 - 0.18 * (p[..., 1] - 0.02) - p[..., 2])


def _hairline(p: Array) -> Array:
    """Positive on the face's side of the hairline: forehead, temples, round the ears, nape."""
    side = np.abs(p[..., 0])
    y, z = p[..., 1], p[..., 2]
    fore = -0.052 - 0.30 * (side / 0.07) ** 2 * 0.02 - y - 0.9 * (z - 0.072)
    ears = np.where(y < 0.036, 0.034 - z, -0.072 - z)
    return np.asarray(np.maximum(fore, ears))


def _shoulders(b: Builder, coat: str, skin: str, s: StandIn) -> None:
    """Coat from the neck to the hips, with two sleeves."""
    rings = (
        (-0.150, 0.064, 0.066, 0.040),
        (-0.172, 0.090, 0.082, 0.040),
        (-0.190, 0.135, 0.094, 0.038),
        (-0.212, 0.178, 0.102, 0.036),
        (-0.245, 0.205, 0.112, 0.032),
        (-0.300, 0.214, 0.124, 0.026),
        (-0.400, 0.206, 0.134, 0.018),
        (-0.520, 0.192, 0.132, 0.016),
        (-0.650, 0.190, 0.134, 0.020),
        (-0.820, 0.210, 0.146, 0.020),
        (-0.950, 0.220, 0.152, 0.020),
    )
    z, rx, ry, cy = (np.array(v) for v in zip(*rings, strict=True))
    fine = np.linspace(0, 1, 70)
    at = np.linspace(0, 1, len(z))
    from scipy.interpolate import PchipInterpolator

    z, rx, ry, cy = (PchipInterpolator(at, v)(fine) for v in (z, rx, ry, cy))
    rx, ry = rx * s.slim, ry * s.slim
    t = np.linspace(0, 2 * np.pi, 120)
    c, n = np.cos(t), np.sin(t)
    fold = 0.004 * np.sin(5 * t[None, :] + 40 * z[:, None]) + 0.003 * np.sin(
        11 * t[None, :] - 25 * z[:, None]
    )
    fold *= np.clip((-z - 0.2) / 0.2, 0, 1)[:, None]
    grid = np.stack(
        [
            (rx[:, None] + fold) * np.sign(c) * np.abs(c) ** 0.85,
            cy[:, None] + (ry[:, None] + fold) * np.sign(n) * np.abs(n) ** 0.85,
            z[:, None] + 0 * t[None, :],
        ],
        axis=-1,
    )
    b.surface(coat, grid[::-1])
    for k, (elbow, hand) in enumerate(s.arms):
        side = 1 if k == 0 else -1
        shoulder = np.array([side * 0.160 * s.slim, 0.034, -0.268])
        path = np.array([shoulder, elbow, hand])
        u = np.linspace(0, 2, 25)
        knots = np.stack([np.interp(u, (0, 1, 2), path[:, i]) for i in range(3)], axis=1)
        for _ in range(3):  # round the elbow
            knots[1:-1] = (knots[:-2] + 2 * knots[1:-1] + knots[2:]) / 4
        b.tube(coat, knots, 0.058 * s.slim, 18)
        reach = (knots[-1] - knots[-2]) / np.linalg.norm(knots[-1] - knots[-2])
        b.ball(skin, tuple(knots[-1] + 0.03 * reach), 0.046 * s.slim, 0.8)
        b.ball(coat, tuple(shoulder), 0.066 * s.slim)
