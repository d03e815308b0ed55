"""Light transport by wavelength: mitsuba's spectral path tracer, four wavelengths a pass.

A film of four narrow bands makes each path carry exactly these four wavelengths (mitsuba spreads its four
wavelengths evenly over the film's summed sensitivity), and every pass starts from the same seed, so that all
bands see the same paths: the noise is the same in every band and is a noise of brightness only. Light is
linear in the lamp: each lamp group is rendered once with a spectrum that is 1 everywhere, and any lamp is
multiplied in afterwards, at 1 nm.

What noise is left is taken out by Intel Open Image Denoise, guided by albedo and normal; on the grey card
and the chart patches, which are flat and of one reflectance, by a quadratic fit to their own raw samples, so
that no denoiser has touched what the tests measure.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import spectra
from makers.geometry import Builder
from makers.materials import gloss, known, matt
from makers.place import (
    BOARD_H,
    BOARD_W,
    Place,
    View,
    build_rig,
    card_corners,
    lens_of,
    patch_corners,
    rig_frame,
)

Array = NDArray[np.float64]
Floats = NDArray[np.float32]


VARIANT = "scalar_spectral"
"""Works as installed; measured three times as fast as ``llvm_ad_spectral`` on these places and two cores."""


def start(variant: str = VARIANT) -> Any:
    """mitsuba with its variant set."""
    import mitsuba as mi

    if mi.variant() != variant:
        mi.set_variant(variant)
    return mi


def scene_parts(place: Place, view: View, folder: Path) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """Shapes without light, and glowing shapes by group (as mitsuba dictionaries)."""
    from makers.materials import _texture

    b = Builder()
    mats: dict[str, Any] = {}
    masks: dict[str, Array] = {}
    place.build(b, mats, masks)
    chart = spectra.chart()
    build_rig(b, view.rig, list(chart))
    mats.update({f"patch:{n}": known(r) for n, r in chart.items()})
    mats["card"] = known(spectra.GREY_REFLECTANCE)
    mats.setdefault("board", matt("N 2"))
    mats.setdefault("stand", gloss("N 2", 0.2))
    shapes: dict[str, Any] = {}
    for i, (name, soup) in enumerate(b.soups.items()):
        path = folder / f"m{i}.ply"
        soup.write_ply(path)
        if name not in mats:
            raise KeyError(f"{place.key}: no material {name!r}")
        shapes[f"m{i}"] = {"type": "ply", "filename": str(path), "bsdf": mats[name]}
    glow: dict[str, dict[str, Any]] = {}
    for i, ((group, mask, radiance), soup) in enumerate(b.lights.items()):
        path = folder / f"l{i}.ply"
        soup.write_ply(path)
        if mask:
            level: dict[str, Any] = _texture(masks[mask] * radiance, None)
        else:
            level = {"type": "uniform", "value": radiance}
        glow.setdefault(group, {})[f"l{i}"] = {
            "type": "ply",
            "filename": str(path),
            "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.2}},
            "emitter": {"type": "area", "radiance": level},
        }
    missing = set(place.lamps) ^ set(glow)
    if missing:
        raise KeyError(f"{place.key}: lamps and glowing shapes do not match: {missing}")
    return shapes, glow


def scene_of(shapes: dict[str, Any], glow: dict[str, dict[str, Any]], group: str | None) -> dict[str, Any]:
    """The scene with one group lit (all groups if None); the others are there but dark."""
    out: dict[str, Any] = {"type": "scene", **shapes}
    for g, items in glow.items():
        for k, item in items.items():
            lit = group is None or g == group
            out[k] = item if lit else {a: v for a, v in item.items() if a != "emitter"}
    return out


def _bands(film: dict[str, Any], bands: Array) -> dict[str, Any]:
    for i, c in enumerate(bands):
        film[f"b{i}"] = {
            "type": "irregular",
            "wavelengths": f"{c - 1.5},{c - 0.5},{c + 0.5},{c + 1.5}",
            "values": "0,1,1,0",
        }
    return film


def sensor_of(view: View, film: dict[str, Any], spp: int, scale: float, seed: int) -> dict[str, Any]:
    import mitsuba as mi

    w, h = round(view.size[0] * scale), round(view.size[1] * scale)
    film = {"width": w, "height": h, "rfilter": {"type": "box"}, "component_format": "float32", **film}
    if "crop" in film:
        x, y, cw, ch = film.pop("crop")
        film.update(crop_offset_x=x, crop_offset_y=y, crop_width=cw, crop_height=ch)
    return {
        "type": "perspective",
        "fov": view.fov,
        "fov_axis": "larger",
        "near_clip": 0.02,
        "far_clip": 500.0,
        "principal_point_offset_y": view.shift,
        "to_world": mi.ScalarTransform4f().look_at(list(view.eye), list(view.look), [0, 0, 1]),
        "film": film,
        "sampler": {"type": "independent", "sample_count": spp, "seed": seed},
    }


def render_bands(
    scene: dict[str, Any],
    view: View,
    spp: int,
    scale: float,
    crop: tuple[int, int, int, int] | None = None,
    seed: int = 0,
) -> Floats:
    """Radiance (h, w, bands) of a scene whose lamps are 1 at every wavelength (times their radiance)."""
    mi = start()
    out = []
    for k in range(0, len(spectra.BANDS), 4):
        film = _bands({"type": "specfilm"}, spectra.BANDS[k : k + 4])
        if crop:
            film["crop"] = crop
        full = {
            **scene,
            "integrator": {"type": "path", "max_depth": view.depth, "rr_depth": 100},
            "sensor": sensor_of(view, film, spp, scale, seed),
        }
        image = np.array(mi.render(mi.load_dict(full, parallel=False, optimize=False), spp=spp, seed=seed))
        out.append(image[..., :4])
    return np.concatenate(out, axis=-1).astype(np.float32) / _unit(tuple(spectra.BANDS[:4]))


_UNIT: dict[tuple[float, ...], float] = {}


def _unit(four: tuple[float, ...]) -> float:
    """What a radiance of 1 reads on the four-band film."""
    if four not in _UNIT:
        mi = start()
        film = _bands(
            {"type": "specfilm", "width": 4, "height": 4, "rfilter": {"type": "box"}}, np.array(four)
        )
        scene = {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 2},
            "sky": {"type": "constant", "radiance": {"type": "uniform", "value": 1.0}},
            "sensor": {"type": "perspective", "film": film, "sampler": {"type": "independent"}},
        }
        _UNIT[four] = float(
            np.array(mi.render(mi.load_dict(scene, parallel=False, optimize=False), spp=64, seed=0))[
                ..., :4
            ].mean()
        )
    return _UNIT[four]


def render_guides(place: Place, view: View, spp: int, scale: float) -> Floats:
    """Albedo (3) and shading normal (3) of what is seen (h, w, 6), to steer the denoiser.

    Rendered in RGB, where albedo has no noise; only used as a guide, never as colour.
    """
    mi = start("scalar_rgb")
    try:
        with tempfile.TemporaryDirectory() as name:
            shapes, glow = scene_parts(place, view, Path(name))
            seed = 1000 * view.seed + 999
            full = {
                **scene_of(shapes, glow, None),
                "integrator": {"type": "aov", "aovs": "a:albedo,n:sh_normal"},
                "sensor": sensor_of(view, {"type": "hdrfilm"}, spp, scale, seed),
            }
            image = np.array(
                mi.render(mi.load_dict(full, parallel=False, optimize=False), spp=spp, seed=seed)
            ).astype(np.float32)
    finally:
        start()
    image = np.nan_to_num(image[..., -6:])
    image[..., :3] = np.clip(image[..., :3], 0, 1)
    return image


def irradiance_at_card(image: Floats, view: View, scale: float) -> Array:
    """Spectral irradiance (bands,) on the grey card: pi over 0.18 of the radiance of the ideal matt card."""
    card = known_masks(view, scale)[-1]
    return np.asarray(np.pi / spectra.GREY_REFLECTANCE * image[card].astype(np.float64).mean(axis=0))


TRIPLES = ((0, 1, 2), (3, 4, 5), (5, 6, 7))


def denoise(raw: Floats, guides: Floats, view: View, scale: float) -> Floats:
    """Radiance (h, w, bands) without the noise: three bands at a time, guided by albedo and normal."""
    albedo, normal = guides[..., :3], guides[..., 3:]
    out = np.empty_like(raw)
    for triple in TRIPLES:
        out[..., triple] = np.maximum(_oidn(np.ascontiguousarray(raw[..., triple]), albedo, normal), 0.0)
    for mask in known_masks(view, scale):
        out[mask] = fitted(raw, mask)
    return out


def fitted(raw: Floats, mask: NDArray[np.bool_]) -> Floats:
    """Light over a flat matt surface of one reflectance (pixels, bands): a quadratic fit to the raw samples.

    The lamps are metres away and the surface is centimetres wide, so that its light has no finer structure;
    the fit uses every sample, moves no mean and mixes no bands.
    """
    y, x = np.nonzero(mask)
    u, v = (x - x.mean()) / max(np.ptp(x), 1), (y - y.mean()) / max(np.ptp(y), 1)
    terms = [np.ones_like(u), u, v] + ([u * u, u * v, v * v] if len(x) > 1000 else [])
    basis = np.stack(terms, axis=1)
    values = raw[mask].astype(np.float64)
    return np.asarray(basis @ np.linalg.lstsq(basis, values, rcond=None)[0], dtype=np.float32)


def known_masks(view: View, scale: float) -> list[NDArray[np.bool_]]:
    """Where the 24 patches and, last, the grey card are seen (h, w)."""
    import cv2

    lens = lens_of(view, scale)
    h, w = round(view.size[1] * scale), round(view.size[0] * scale)
    b = Builder()
    with rig_frame(view.rig, b):
        quads = [b.world(patch_corners(i, view.rig.scale)) for i in range(24)]
        quads.append(b.world(card_corners(view.rig.scale)))
    out = []
    for corners in quads:
        mask = np.zeros((h, w), dtype=np.uint8)
        p = lens.project(corners)
        p = p.mean(axis=0) + (p - p.mean(axis=0)) * 0.93
        cv2.fillConvexPoly(mask, np.round(p * 16).astype(np.int32), 1, shift=4)
        out.append(mask.astype(bool))
    return out


def _oidn(light: Floats, albedo: Floats, normal: Floats) -> Floats:
    import pyoidn

    level = np.float32(0.2 / max(float(np.median(light)), 1e-9))
    guides = {"albedo": np.ascontiguousarray(albedo), "normal": np.ascontiguousarray(normal)}
    clean = pyoidn.denoise(np.ascontiguousarray(light * level), hdr=True, quality="high", **guides)
    return np.asarray(clean, dtype=np.float32) / level


PASS_SPP = 2
"""Samples a pixel in one pass over the whole frame."""
BOARD_SPP = 16
"""More samples over the board with card and chart, added to every pass."""


def board_crop(view: View, scale: float) -> tuple[int, int, int, int]:
    """x, y, w, h in pixels of the board, with some room."""
    b = Builder()
    with rig_frame(view.rig, b):
        w, h = BOARD_W / 2 * view.rig.scale, BOARD_H / 2 * view.rig.scale
        corners = b.world([(-w, 0, -h), (w, 0, -h), (w, 0, h), (-w, 0, h)])
    p = lens_of(view, scale).project(corners)
    width, height = round(view.size[0] * scale), round(view.size[1] * scale)
    x0, y0 = np.clip(np.floor(p.min(axis=0)).astype(int) - 6, 0, (width - 2, height - 2))
    x1, y1 = np.clip(np.ceil(p.max(axis=0)).astype(int) + 6, (x0 + 2, y0 + 2), (width, height))
    return int(x0), int(y0), int(x1 - x0), int(y1 - y0)


def render_pass(lit: dict[str, Any], view: View, number: int, scale: float) -> Floats:
    """One pass over the frame, the board refined; passes differ in their seed and are averaged."""
    seed = 1000 * view.seed + 2 * number
    whole = render_bands(lit, view, PASS_SPP, scale, seed=seed)
    x, y, w, h = crop = board_crop(view, scale)
    fine = render_bands(lit, view, BOARD_SPP, scale, crop, seed=seed + 1)
    part = whole[y : y + h, x : x + w]
    whole[y : y + h, x : x + w] = (part * PASS_SPP + fine * BOARD_SPP) / (PASS_SPP + BOARD_SPP)
    return whole


@dataclass(frozen=True)
class Transport:
    """Light of one view by lamp group: images (h, w, bands), irradiance at the card (bands,)."""

    images: dict[str, Floats]
    irradiance: dict[str, Array]


def is_kept(place: Place, view: View, passes: int, cache: Path) -> bool:
    """Whether the light of a view is in the cache already."""
    stem = f"{view.name}_{view.size[0]}"
    names = [f"{stem}_{g}_{k}.npy" for g in place.lamps for k in range(passes)]
    return all((cache / n).exists() for n in names)


def render_view(
    place: Place, view: View, *, passes: int, scale: float, cache: Path, log: Callable[[str], None] = print
) -> Transport:
    """Clean transport of a view. Passes are kept in ``cache``: more of them can be added later."""
    stem = cache / f"{view.name}_{round(view.size[0] * scale)}"
    clean_path = stem.with_name(f"{stem.name}_light{passes}.npz")
    if clean_path.exists():
        with np.load(clean_path) as kept:
            images = {g: kept[f"i_{g}"] for g in place.lamps}
        return Transport(images, {g: irradiance_at_card(i, view, scale) for g, i in images.items()})
    start()
    cache.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    images = {}
    irradiance: dict[str, Array] = {}
    guides = kept_array(
        stem.with_name(f"{stem.name}_guides.npy"), lambda: render_guides(place, view, 6, scale)
    )
    start()
    with tempfile.TemporaryDirectory() as name:
        shapes, glow = scene_parts(place, view, Path(name))
        for group in place.lamps:
            lit = scene_of(shapes, glow, group)
            total = np.zeros((*guides.shape[:2], len(spectra.BANDS)), dtype=np.float32)
            for k in range(passes):
                path = stem.with_name(f"{stem.name}_{group}_{k}.npy")
                total += kept_array(path, lambda lit=lit, k=k: render_pass(lit, view, k, scale))  # type: ignore[misc]
                log(f"{view.name} {group} pass {k + 1} of {passes}: {time.monotonic() - began:.0f} s")
            images[group] = denoise(total / np.float32(passes), guides, view, scale)
            irradiance[group] = irradiance_at_card(images[group], view, scale)
    part = clean_path.with_suffix(".part.npz")
    np.savez(part, **{f"i_{g}": v for g, v in images.items()})
    part.replace(clean_path)
    return Transport(images, irradiance)


def kept_array(path: Path, make: Callable[[], Array | Floats]) -> Any:
    """The array in ``path``, or what ``make`` gives, kept there."""
    if path.exists():
        return np.load(path)
    value = make()
    part = path.with_name(path.name + ".part.npy")
    np.save(part, value)
    part.replace(path)
    return value
