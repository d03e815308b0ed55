"""Surfaces: procedural masks (planks, tiles, concrete, wear) that blend published reflectances."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers.spectra import GRID, paint

Array = NDArray[np.float64]
Bsdf = dict[str, Any]


def spectrum(values: Array | float) -> dict[str, Any]:
    """A mitsuba spectrum of a reflectance on GRID or a flat one."""
    if isinstance(values, float | int):
        return {"type": "uniform", "value": float(values)}
    import mitsuba as mi

    if "rgb" in (mi.variant() or ""):  # only guides are rendered so: three broad bands
        long, middle, short = (float(values[a:b].mean()) for a, b in ((210, 320), (110, 210), (20, 110)))
        return {"type": "rgb", "value": [long, middle, short]}
    step = 5
    return {
        "type": "regular",
        "wavelength_min": float(GRID[0]),
        "wavelength_max": float(GRID[-1]),
        "values": ",".join(f"{v:.6f}" for v in np.asarray(values)[::step]),
    }


def matt(notation: str) -> Bsdf:
    """Flat paint, paper, cloth, plaster."""
    return {"type": "twosided", "b": {"type": "diffuse", "reflectance": spectrum(paint(notation))}}


def gloss(notation: str, alpha: float = 0.25) -> Bsdf:
    """Gloss paint, varnish, lino, plastic."""
    return {
        "type": "twosided",
        "b": {"type": "roughplastic", "diffuse_reflectance": spectrum(paint(notation)), "alpha": alpha},
    }


def metal(alpha: float = 0.25, level: float = 0.6) -> Bsdf:
    """Grey metal, spectrally flat."""
    return {
        "type": "twosided",
        "b": {
            "type": "roughconductor",
            "material": "none",
            "specular_reflectance": spectrum(level),
            "alpha": alpha,
        },
    }


def tinted_metal(notation: str, alpha: float = 0.25) -> Bsdf:
    return {
        "type": "twosided",
        "b": {
            "type": "roughconductor",
            "material": "none",
            "specular_reflectance": spectrum(paint(notation)),
            "alpha": alpha,
        },
    }


def known(reflectance: Array | float) -> Bsdf:
    """An ideal matt surface of a known reflectance: chart patch, grey card."""
    return {"type": "twosided", "b": {"type": "diffuse", "reflectance": spectrum(reflectance)}}


def _texture(mask: Array, metres: tuple[float, float] | None, smooth: bool = True) -> dict[str, Any]:
    import mitsuba as mi

    bitmap = mi.Bitmap(np.ascontiguousarray(mask[::-1, :, None].astype(np.float32)))
    out: dict[str, Any] = {
        "type": "bitmap",
        "bitmap": bitmap,
        "raw": True,
        "wrap_mode": "repeat" if metres else "clamp",
        "filter_type": "bilinear" if smooth else "nearest",
    }
    if metres:
        out["to_uv"] = mi.ScalarTransform3f().scale([1 / metres[0], 1 / metres[1]])
    return out


def blend(a: Bsdf, b: Bsdf, mask: Array, metres: tuple[float, float] | None = (2.0, 2.0)) -> Bsdf:
    """``a`` where the mask is 0, ``b`` where it is 1; the mask covers ``metres`` (u, v) and repeats."""
    return {
        "type": "twosided",
        "b": {"type": "blendbsdf", "weight": _texture(mask, metres), "a": a["b"], "c": b["b"]},
    }


def cutout(a: Bsdf, mask: Array, metres: tuple[float, float] | None = (1.0, 1.0)) -> Bsdf:
    """Holes where the mask is 0 (nets, grilles)."""
    return {"type": "mask", "opacity": _texture(mask, metres, smooth=False), "b": a}


# ---- masks -------------------------------------------------------------------------------------------------


def noise(size: int, seed: int, power: float = 1.8, low: int = 1) -> Array:
    """Tileable fractal noise in 0..1 (mean 0.5), by shaping a random spectrum."""
    rng = np.random.default_rng(seed)
    f = np.hypot(*np.meshgrid(np.fft.fftfreq(size) * size, np.fft.rfftfreq(size) * size, indexing="ij"))
    spectrum_ = np.fft.rfft2(rng.standard_normal((size, size)))
    gain = np.where(f < low, 0.0, np.maximum(f, 1) ** -power)
    n = np.fft.irfft2(spectrum_ * gain, s=(size, size))
    return np.clip(0.5 + n / n.std() * 0.18, 0, 1)


def grain(size: int, seed: int, stretch: int = 24) -> Array:
    """Streaks along u: wood grain, brushed strokes, rolled steel."""
    n = noise(size, seed, 1.1)
    k = np.zeros(size)
    k[:stretch] = 1 / stretch
    s = np.fft.irfft(np.fft.rfft(n, axis=1) * np.fft.rfft(k)[None, :], n=size, axis=1)
    s = s - s.mean()
    return np.clip(0.5 + s / s.std() * 0.18, 0, 1)


def planks(
    size: int, seed: int, rows: int, joints: int = 2, seam: float = 0.012, along_u: bool = True
) -> Array:
    """Boards: tone by board, grain, dark seams (1)."""
    rng = np.random.default_rng(seed)
    out = grain(size, seed, size // 12) * 0.5
    h = size // rows
    gap = max(1, round(seam * h))
    for r in range(rows):
        cuts = np.sort(rng.integers(0, size, joints))
        edges = [0, *cuts.tolist(), size]
        band = slice(r * h, (r + 1) * h)
        for a, b in pairwise(edges):
            out[band, a:b] += rng.uniform(-0.15, 0.3)
        for c in cuts:
            out[band, c : c + gap] = 1.0
        out[r * h : r * h + gap, :] = 1.0
    out = np.clip(out, 0, 1)
    return out if along_u else out.T.copy()


def tiles(size: int, seed: int, n: int, joint: float = 0.03, contrast: float = 0.25) -> Array:
    """Square tiles: tone by tile, joints (1)."""
    rng = np.random.default_rng(seed)
    h = size // n
    out = noise(size, seed, 1.4) * 0.3
    tone = rng.uniform(0, contrast, (n, n))
    cell = np.minimum(np.arange(size) // h, n - 1)
    out += tone[np.ix_(cell, cell)]
    gap = max(1, round(joint * h))
    for i in range(n):
        out[i * h : i * h + gap, :] = 0.95
        out[:, i * h : i * h + gap] = 0.95
    return np.clip(out, 0, 1)


def wear(size: int, seed: int, share: float = 0.2, soft: float = 0.06, power: float = 1.6) -> Array:
    """Patches covering about ``share``: bare spots, puddles, rust."""
    n = noise(size, seed, power)
    level = float(np.quantile(n, 1 - share))
    return np.clip((n - level) / soft + 0.5, 0, 1)


def net_mesh(size: int, cells: int, width: float = 0.12) -> Array:
    """Diamond meshes of a net: 1 on the twine."""
    y, x = np.mgrid[0:size, 0:size] / size * cells
    a, b = (x + y) % 1, (x - y) % 1
    w = width / 2
    on = (np.minimum(a, 1 - a) < w) | (np.minimum(b, 1 - b) < w)
    return on.astype(float)


def scribble(height: int, width: int, seed: int, draw: Callable[[Array, np.random.Generator], None]) -> Array:
    """A picture of 0..1 drawn by ``draw``."""
    page = np.zeros((height, width))
    draw(page, np.random.default_rng(seed))
    return np.clip(page, 0, 1)
