"""Meshes in code: boxes, quads, turned shapes, extrusions, tubes; one mesh a material, uv in metres."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Point = Sequence[float]


def rotation(yaw: float = 0.0, pitch: float = 0.0, roll: float = 0.0) -> Array:
    """(3, 3) rotation, degrees: roll about y, pitch about x, then yaw about z."""
    a, b, c = np.radians([yaw, pitch, roll])
    rz = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    rx = np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    ry = np.array([[np.cos(c), 0, np.sin(c)], [0, 1, 0], [-np.sin(c), 0, np.cos(c)]])
    return np.asarray(rz @ rx @ ry)


class Soup:
    """Triangles with normals and uv of one material."""

    def __init__(self) -> None:
        self.parts: list[tuple[Array, Array, Array, NDArray[np.int64]]] = []

    def add(self, v: Array, n: Array, uv: Array, f: NDArray[np.int64]) -> None:
        self.parts.append((v, n, uv, f))

    def each(self) -> list[Soup]:
        """Its parts, a soup each."""
        out = []
        for part in self.parts:
            soup = Soup()
            soup.add(*part)
            out.append(soup)
        return out

    def write_ply(self, path: Path) -> None:
        offset, faces = 0, []
        for v, _, _, f in self.parts:
            faces.append(f + offset)
            offset += len(v)
        table = np.concatenate([np.hstack(p[:3]) for p in self.parts]).astype("<f4")
        f = np.concatenate(faces)
        body = np.empty(len(f), dtype=[("n", "u1"), ("i", "<i4", 3)])
        body["n"], body["i"] = 3, f
        names = "".join(f"property float {a}\n" for a in ("x", "y", "z", "nx", "ny", "nz", "u", "v"))
        head = (
            f"ply\nformat binary_little_endian 1.0\nelement vertex {len(table)}\n{names}"
            f"element face {len(f)}\nproperty list uchar int vertex_indices\nend_header\n"
        )
        path.write_bytes(head.encode() + table.tobytes() + body.tobytes())


class Builder:
    """Collects the shapes of a place by material; ``at`` moves what is built inside it."""

    def __init__(self) -> None:
        self.soups: dict[str, Soup] = {}
        self.lights: dict[tuple[str, str, float], Soup] = {}
        self._r, self._t = np.eye(3), np.zeros(3)

    @contextmanager
    def at(
        self, x: float = 0, y: float = 0, z: float = 0, yaw: float = 0, pitch: float = 0, roll: float = 0
    ) -> Iterator[Builder]:
        r, t = self._r, self._t
        self._t = t + r @ np.array([x, y, z], dtype=float)
        self._r = r @ rotation(yaw, pitch, roll)
        try:
            yield self
        finally:
            self._r, self._t = r, t

    def world(self, points: object) -> Array:
        """Points (..., 3) of the current frame in world coordinates."""
        return np.asarray(np.asarray(points, dtype=float) @ self._r.T + self._t)

    def _put(self, mat: str, v: Array, n: Array, uv: Array, f: NDArray[np.int64]) -> None:
        soup = self.soups.setdefault(mat, Soup())
        soup.add(self.world(v), n @ self._r.T, uv, f)

    def polygon(self, mat: str, points: object, uv: Array | None = None) -> None:
        """A flat convex polygon, counter-clockwise seen from its front."""
        p = np.asarray(points, dtype=float)
        n = np.cross(p[1] - p[0], p[2] - p[0])
        n = n / np.linalg.norm(n)
        if uv is None:
            uv = box_uv(p, n)
        f = np.array([[0, i, i + 1] for i in range(1, len(p) - 1)])
        self._put(mat, p, np.tile(n, (len(p), 1)), uv, f)

    def picture(self, mat: str, points: object) -> None:
        """A quad whose uv runs 0 to 1, for a picture: corners from bottom left, counter-clockwise."""
        self.polygon(mat, points, np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]))

    def box(self, mat: str, centre: Point, size: Point, bevel: float = 0.006) -> None:
        """A box with chamfered edges."""
        c, h = np.asarray(centre, dtype=float), np.asarray(size, dtype=float) / 2
        k = min(bevel, 0.45 * float(h.min()) * 2)
        k = min(k, float(h.min()) * 0.9)
        signs = [np.array([x, y, z]) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]
        # three vertices a corner, each pulled in along two axes
        for axis in range(3):
            a, b = (axis + 1) % 3, (axis + 2) % 3
            for s in (-1, 1):
                quad = []
                for sa, sb in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
                    q = np.zeros(3)
                    q[axis], q[a], q[b] = s * h[axis], sa * (h[a] - k), sb * (h[b] - k)
                    quad.append(c + q)
                self.polygon(mat, quad if s > 0 else quad[::-1])
        if k <= 0:
            return
        for axis in range(3):  # edges along axis
            a, b = (axis + 1) % 3, (axis + 2) % 3
            for sa in (-1, 1):
                for sb in (-1, 1):

                    def at(t: float, on_a: bool, sa: int = sa, sb: int = sb, axis: int = axis) -> Array:
                        q = np.zeros(3)
                        q[axis] = t * (h[axis] - k)
                        q[(axis + 1) % 3] = sa * (h[(axis + 1) % 3] - (0 if on_a else k))
                        q[(axis + 2) % 3] = sb * (h[(axis + 2) % 3] - (k if on_a else 0))
                        return np.asarray(c + q)

                    quad = [at(-1, True), at(1, True), at(1, False), at(-1, False)]
                    n = np.cross(quad[1] - quad[0], quad[2] - quad[0])
                    out = np.zeros(3)
                    out[a], out[b] = sa, sb
                    self.polygon(mat, quad if n @ out > 0 else quad[::-1])
        for s in signs:
            tri = []
            for axis in range(3):
                q = s * (h - k)
                q[axis] = s[axis] * h[axis]
                tri.append(c + q)
            n = np.cross(tri[1] - tri[0], tri[2] - tri[0])
            self.polygon(mat, tri if n @ s > 0 else tri[::-1])

    def lathe(
        self, mat: str, profile: Sequence[Point], segments: int = 40, smooth: bool = True, arc: float = 360
    ) -> None:
        """A turned shape about z: profile of (radius, z) from bottom to top, outside to the right."""
        p = np.asarray(profile, dtype=float)
        ang = np.linspace(0, np.radians(arc), segments + 1)
        d = np.gradient(p, axis=0) if smooth and len(p) > 2 else None
        for i in range(len(p) - 1):
            seg = p[i : i + 2]
            if d is None:
                t = np.tile(seg[1] - seg[0], (2, 1))
            else:
                t = d[i : i + 2].copy()
                straight = seg[1] - seg[0]
                for j in range(2):  # keep hard edges hard
                    cosine = t[j] @ straight / (np.linalg.norm(t[j]) * np.linalg.norm(straight) + 1e-12)
                    if cosine < 0.8:
                        t[j] = straight
            nr = np.stack([t[:, 1], -t[:, 0]], axis=1)
            nr = nr / (np.linalg.norm(nr, axis=1, keepdims=True) + 1e-12)
            rows = []
            for j in range(2):
                r, z = seg[j]
                v = np.stack([r * np.cos(ang), r * np.sin(ang), np.full_like(ang, z)], axis=1)
                n = np.stack(
                    [nr[j, 0] * np.cos(ang), nr[j, 0] * np.sin(ang), np.full_like(ang, nr[j, 1])], axis=1
                )
                uv = np.stack([ang * max(float(p[:, 0].max()), 0.01), np.full_like(ang, z)], axis=1)
                rows.append((v, n, uv))
            m = segments + 1
            f = []
            for a in range(segments):
                f += [[a, a + 1, m + a + 1], [a, m + a + 1, m + a]]
            self._put(
                mat,
                np.vstack([rows[0][0], rows[1][0]]),
                np.vstack([rows[0][1], rows[1][1]]),
                np.vstack([rows[0][2], rows[1][2]]),
                np.array(f),
            )

    def cylinder(self, mat: str, radius: float, height: float, segments: int = 32) -> None:
        """Upright, closed, standing on the frame's origin, with a small chamfer."""
        k = min(0.004, radius * 0.2)
        self.lathe(
            mat,
            [
                (1e-4, 0),
                (radius - k, 0),
                (radius, k),
                (radius, height - k),
                (radius - k, height),
                (1e-4, height),
            ],
            segments,
            smooth=False,
        )

    def ball(self, mat: str, centre: Point, radius: float, squash: float = 1.0) -> None:
        t = np.linspace(-np.pi / 2, np.pi / 2, 20)
        with self.at(*centre):
            self.lathe(
                mat, np.stack([np.cos(t) * radius + 1e-5, np.sin(t) * radius * squash], axis=1).tolist()
            )

    def tube(self, mat: str, points: object, radius: float, sides: int = 10) -> None:
        """A round tube along a polyline."""
        p = np.asarray(points, dtype=float)
        t = np.gradient(p, axis=0)
        t = t / (np.linalg.norm(t, axis=1, keepdims=True) + 1e-12)
        ref = np.array([0, 0, 1.0]) if abs(t[0, 2]) < 0.9 else np.array([1.0, 0, 0])
        u = np.cross(t[0], ref)
        u = u / np.linalg.norm(u)
        ang = np.linspace(0, 2 * np.pi, sides + 1)
        vs, ns, uvs = [], [], []
        length = 0.0
        for i in range(len(p)):
            u = u - (u @ t[i]) * t[i]
            u = u / (np.linalg.norm(u) + 1e-12)
            w = np.cross(t[i], u)
            n = np.cos(ang)[:, None] * u + np.sin(ang)[:, None] * w
            if i:
                length += float(np.linalg.norm(p[i] - p[i - 1]))
            vs.append(p[i] + radius * n)
            ns.append(n)
            uvs.append(np.stack([ang * radius, np.full_like(ang, length)], axis=1))
        m, f = sides + 1, []
        for i in range(len(p) - 1):
            for a in range(sides):
                b = i * m + a
                f += [[b, b + m + 1, b + 1], [b, b + m, b + m + 1]]
        self._put(mat, np.vstack(vs), np.vstack(ns), np.vstack(uvs), np.array(f))

    def rod(self, mat: str, a: Point, b: Point, radius: float, sides: int = 10) -> None:
        self.tube(mat, [a, b], radius, sides)

    def extrude(self, mat: str, outline: Sequence[Point], y0: float, y1: float, caps: bool = True) -> None:
        """An (x, z) outline, counter-clockwise seen from -y, pulled from y0 to y1."""
        p = np.asarray(outline, dtype=float)
        q = np.roll(p, -1, axis=0)
        for a, b in zip(p, q, strict=True):
            self.polygon(mat, [(a[0], y0, a[1]), (a[0], y1, a[1]), (b[0], y1, b[1]), (b[0], y0, b[1])])
        if caps:
            for y, order in ((y0, 1), (y1, -1)):
                ring = np.stack([p[:, 0], np.full(len(p), y), p[:, 1]], axis=1)[::order]
                self._fan(mat, ring)

    def _fan(self, mat: str, ring: Array) -> None:
        """A flat outline that may be concave, by ear clipping in its own plane."""
        n = np.zeros(3)
        for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            n += np.cross(a, b)
        n = n / np.linalg.norm(n)
        left = list(range(len(ring)))
        f = []

        def inside(i: int, a: Array, b: Array, c: Array) -> bool:
            q = ring[i]
            return all(np.cross(y - x, q - x) @ n > 1e-12 for x, y in ((a, b), (b, c), (c, a)))

        guard = 0
        while len(left) > 3 and guard < 10000:
            guard += 1
            for k in range(len(left)):
                i, j, m = left[k - 1], left[k], left[(k + 1) % len(left)]
                a, b, c = ring[i], ring[j], ring[m]
                if np.cross(b - a, c - b) @ n <= 1e-14:
                    continue
                if any(inside(o, a, b, c) for o in left if o not in (i, j, m)):
                    continue
                f.append([i, j, m])
                left.pop(k)
                break
            else:
                break
        f.append(left[:3])
        self._put(mat, ring, np.tile(n, (len(ring), 1)), box_uv(ring, n), np.array(f))

    def surface(self, mat: str, grid: object) -> None:
        """A smooth surface through a grid of points (rows, columns, 3); front where row x column points."""
        g = np.asarray(grid, dtype=float)
        du, dv = np.gradient(g, axis=1), np.gradient(g, axis=0)
        n = np.cross(du, dv)
        n = n / (np.linalg.norm(n, axis=2, keepdims=True) + 1e-12)
        su = np.cumsum(np.linalg.norm(du, axis=2), axis=1)
        sv = np.cumsum(np.linalg.norm(dv, axis=2), axis=0)
        r, c = g.shape[:2]
        f = []
        for i in range(r - 1):
            for j in range(c - 1):
                k = i * c + j
                f += [[k, k + 1, k + c + 1], [k, k + c + 1, k + c]]
        flat = (-1, 3)
        self._put(mat, g.reshape(flat), n.reshape(flat), np.stack([su, sv], -1).reshape(-1, 2), np.array(f))

    def light(self, group: str, points: object, radiance: float = 1.0, mask: str = "") -> None:
        """A glowing flat polygon; ``mask`` names a picture (uv 0 to 1) that its radiance follows."""
        p = np.asarray(points, dtype=float)
        n = np.cross(p[1] - p[0], p[2] - p[0])
        n = n / np.linalg.norm(n)
        uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]) if len(p) == 4 else box_uv(p, n)
        f = np.array([[0, i, i + 1] for i in range(1, len(p) - 1)])
        soup = self.lights.setdefault((group, mask, radiance), Soup())
        soup.add(self.world(p), np.tile(n, (len(p), 1)) @ self._r.T, uv, f)

    def light_tube(
        self, group: str, a: Point, b: Point, radius: float, radiance: float, sides: int = 8
    ) -> None:
        """A glowing tube."""
        p, q = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
        t = (q - p) / np.linalg.norm(q - p)
        ref = np.array([0, 0, 1.0]) if abs(t[2]) < 0.9 else np.array([1.0, 0, 0])
        u = np.cross(t, ref)
        u = u / np.linalg.norm(u)
        w = np.cross(t, u)
        ang = np.linspace(0, 2 * np.pi, sides + 1)
        ring = [radius * (np.cos(x) * u + np.sin(x) * w) for x in ang]
        for i in range(sides):
            quad = [p + ring[i], p + ring[i + 1], q + ring[i + 1], q + ring[i]]
            self._outward(group, quad, (p + q) / 2, radiance)

    def light_ball(self, group: str, centre: Point, radius: float, radiance: float) -> None:
        """A glowing ball of 48 faces."""
        c = np.asarray(centre, dtype=float)
        rows, cols = 6, 8
        th = np.linspace(0, np.pi, rows + 1)
        ph = np.linspace(0, 2 * np.pi, cols + 1)

        def p(i: int, j: int) -> Array:
            return np.asarray(
                c
                + radius
                * np.array([np.sin(th[i]) * np.cos(ph[j]), np.sin(th[i]) * np.sin(ph[j]), np.cos(th[i])])
            )

        for i in range(rows):
            for j in range(cols):
                quad = [p(i, j), p(i + 1, j), p(i + 1, j + 1), p(i, j + 1)]
                if i == 0:
                    quad = quad[:3]
                elif i == rows - 1:
                    quad = [quad[0], quad[1], quad[3]]
                self._outward(group, quad, c, radiance)

    def light_shade(
        self, group: str, r0: float, r1: float, height: float, side: float, below: float, sides: int = 24
    ) -> None:
        """A glowing lampshade: its rim, ``r1``, at the origin, ``r0`` at the top; it glows below too."""
        a = np.linspace(0, 2 * np.pi, sides + 1)
        low = np.stack([r1 * np.cos(a), r1 * np.sin(a), 0 * a], axis=1)
        top = np.stack([r0 * np.cos(a), r0 * np.sin(a), 0 * a + height], axis=1)
        for i in range(sides):
            self.light(group, [low[i], low[i + 1], top[i + 1], top[i]], side)
            self.light(group, [[0, 0, 0], low[i + 1], low[i]], below)

    def _outward(self, group: str, quad: list[Array], centre: Array, radiance: float) -> None:
        n = np.cross(quad[1] - quad[0], quad[2] - quad[0])
        middle = np.mean(quad, axis=0)
        self.light(group, quad if n @ (middle - centre) > 0 else quad[::-1], radiance)


def box_uv(p: Array, n: Array) -> Array:
    """uv in metres by the axis a face looks along, so that textures lie upright on walls."""
    axis = int(np.argmax(np.abs(n)))
    a, b = ((1, 2), (0, 2), (0, 1))[axis]
    return np.stack([p[:, a], p[:, b]], axis=1)
