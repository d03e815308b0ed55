"""Light transport by wavelength: mitsuba's spectral path tracer, four wavelengths a pass.

A film of four narrow bands makes each path carry exactly these four wavelengths (mitsuba spreads its four
wavelengths evenly over the film's summed sensitivity), and every pass starts from the same seed, so that all
bands see the same paths: the noise is the same in every band and is a noise of brightness only. Light is
linear in the lamp: each lamp group is rendered once with a spectrum that is 1 everywhere, and any lamp is
multiplied in afterwards, at 1 nm.

What noise is left is taken out by Intel Open Image Denoise, guided by albedo and normal, except on what the
tests measure: card, chart patches and walls of known paint are rendered by texel (a patch is one, the card
4 x 4), every texel with as many paths as bring its noise under 1 %. No fit and no denoiser touches these; the
pixels in between are linear. Texels come in two halves with seeds of their own: what these differ by is the
noise. A pixel at a time the same noise is out of reach: under the ferry hall's tubes one path scatters by
4.7 times its mean, which asks 220,000 paths for each of 10,000 pixels.

A meter reads the light at the card and at each wall in renders of its own (``render_meter``).
"""

from __future__ import annotations

import functools
import math
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
from makers.materials import gloss, matt
from makers.materials import known as known_matt
from makers.place import (
    Place,
    View,
    build_rig,
    card_corners,
    lens_of,
    patch_corners,
    rig_frame,
)
from makers.stand_in import build_stand_in, read_at

Array = NDArray[np.float64]
Floats = NDArray[np.float32]


VARIANT = "scalar_spectral"
"""Works as installed; measured three times as fast as ``llvm_ad_spectral`` on these places and two cores."""


def start(variant: str = VARIANT) -> Any:
    """mitsuba with its variant set."""
    import mitsuba as mi

    if mi.variant() != variant:
        mi.set_variant(variant)
        mi.set_log_level(mi.LogLevel.Error)
    return mi


def scene_parts(place: Place, view: View, folder: Path) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """Shapes without light, and glowing shapes by group (as mitsuba dictionaries).

    Each glowing polygon with a picture is a light of its own: mitsuba aims at such a light through its uv,
    and of several windows that share 0 to 1 it aims at one alone; which one depends on its build.
    """
    from makers.materials import _texture

    b = Builder()
    mats: dict[str, Any] = {}
    masks: dict[str, Array] = {}
    place.build(b, mats, masks)
    chart = spectra.chart()
    if view.dress:
        view.dress(b, mats, masks)
    if view.rig:
        build_rig(b, view.rig, list(chart))
    for i, stand_in in enumerate(view.stand_ins):
        build_stand_in(b, mats, stand_in, skin_material(i))
        mats[skin_material(i)] = known_matt(spectra.skin(stand_in.skin))
    mats.update({f"patch:{n}": known_matt(r) for n, r in chart.items()})
    mats["card"] = known_matt(spectra.GREY_REFLECTANCE)
    mats.setdefault("board", matt("N 2"))
    mats.setdefault("stand", gloss("N 2", 0.2))
    shapes: dict[str, Any] = {}
    skins = [skin_material(i) for i in range(len(view.stand_ins))]
    for i, (name, soup) in enumerate(b.soups.items()):
        path = folder / f"m{i}.ply"
        soup.write_ply(path)
        if name not in mats:
            raise KeyError(f"{place.key}: no material {name!r}")
        key = name if name in skins else f"m{i}"
        shapes[key] = {"type": "ply", "filename": str(path), "bsdf": mats[name]}
    glow: dict[str, dict[str, Any]] = {}
    lights = [(key, part) for key, soup in b.lights.items() for part in (soup.each() if key[1] else [soup])]
    for i, ((group, mask, radiance), soup) in enumerate(lights):
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


def skin_material(index: int) -> str:
    """Name of the material of the skin of a view's stand-in ``index``."""
    return f"skin_{index}"


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
        "sampler": {"type": SAMPLER, "sample_count": spp, "seed": seed},
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
    film: dict[str, Any] = {}
    if crop:
        film["crop"] = crop
    return seen_by(load(scene), sensor_of(view, film, spp, scale, seed), view.depth, spp, seed)


def load(scene: dict[str, Any]) -> Any:
    return start().load_dict(scene, parallel=False, optimize=False)


def seen_by(scene: Any, sensor: dict[str, Any], depth: int, spp: int, seed: int) -> Floats:
    """(h, w, bands): a loaded scene seen four bands at a time, always from the same seed."""
    mi = start()
    path = mi.load_dict({"type": "path", "max_depth": depth, "rr_depth": 100})
    out = []
    for k in range(0, len(spectra.BANDS), 4):
        film = _bands({**sensor["film"], "type": "specfilm"}, spectra.BANDS[k : k + 4])
        eye = mi.load_dict({**sensor, "film": film})
        out.append(np.array(mi.render(scene, integrator=path, sensor=eye, spp=spp, seed=seed))[..., :4])
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


def render_skin_shares(place: Place, view: View, spp: int, scale: float) -> Floats:
    """How much of each pixel is the skin of each stand-in (h, w, stand-ins), 0 to 1.

    The albedo of the same scene painted black, but for one skin that is white.
    """
    mi = start("scalar_rgb")
    try:
        out = []
        with tempfile.TemporaryDirectory() as name:
            shapes, glow = scene_parts(place, view, Path(name))
            black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
            white = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 1.0}}
            glow_shapes = {k: v for items in glow.values() for k, v in items.items()}
            for i in range(len(view.stand_ins)):
                skin = shapes[skin_material(i)]
                scene: dict[str, Any] = {"type": "scene"}
                for k, v in {**shapes, **glow_shapes}.items():
                    bare = {a: b for a, b in v.items() if a != "emitter"}
                    see_through = v["bsdf"].get("type") == "mask"
                    seen = white if v is skin else {**v["bsdf"], "b": black} if see_through else black
                    scene[k] = {**bare, "bsdf": seen}
                scene["integrator"] = {"type": "aov", "aovs": "a:albedo"}
                scene["sensor"] = sensor_of(view, {"type": "hdrfilm"}, spp, scale, 1)
                image = mi.render(mi.load_dict(scene, parallel=False, optimize=False), spp=spp, seed=1)
                out.append(np.array(image).astype(np.float32)[..., -3:].mean(axis=-1))
    finally:
        start()
    return np.clip(np.stack(out, axis=-1), 0, 1)


TRIPLES = ((0, 1, 2), (3, 4, 5), (5, 6, 7))


def denoise(raw: Floats, guides: Floats) -> Floats:
    """Radiance (h, w, bands) without the noise: three bands at a time, guided by albedo and normal."""
    albedo, normal = guides[..., :3], guides[..., 3:]
    out = np.empty_like(raw)
    for triple in TRIPLES:
        out[..., triple] = np.maximum(_oidn(np.ascontiguousarray(raw[..., triple]), albedo, normal), 0.0)
    return out


@dataclass(frozen=True, eq=False)
class Known:
    """A flat matt surface of known reflectance: name, reflectance on GRID, corners (4, 3) from its front."""

    name: str
    reflectance: Array
    corners: Array
    effort: int
    """Samples a texel in each half."""

    @property
    def centre(self) -> Array:
        return np.asarray(self.corners.mean(axis=0))

    @property
    def normal(self) -> Array:
        n = np.cross(self.corners[1] - self.corners[0], self.corners[2] - self.corners[0])
        return np.asarray(n / np.linalg.norm(n))


def known_surfaces(place: Place, view: View) -> list[Known]:
    """The 24 patches, the grey card, and the painted walls of a view; none of a composed one."""
    if view.rig is None:
        return []
    b = Builder()
    with rig_frame(view.rig, b):
        out = [
            Known(name, r, b.world(patch_corners(i, view.rig.scale)), place.effort)
            for i, (name, r) in enumerate(spectra.chart().items())
        ]
        card = np.full(spectra.GRID.shape, spectra.GREY_REFLECTANCE)
        out.append(
            Known(CARD, card, b.world(card_corners(view.rig.scale)), place.card_effort or place.effort)
        )
    walls = (w for w in place.walls if w.name in view.walls)
    return out + [
        Known(w.name, spectra.paint(w.notation), np.array(w.corners), w.effort or place.effort) for w in walls
    ]


@dataclass(frozen=True, eq=False)
class Spot:
    """Where light is metered: name, point, what way it faces, side of the meter's tile in metres."""

    name: str
    centre: Array
    normal: Array
    tile_m: float


def metered_spots(place: Place, view: View) -> list[Known | Spot]:
    """Card and walls of a measured view; of a composed one the subject and a spot on each skin."""
    spots: list[Known | Spot] = [k for k in known_surfaces(place, view) if k.name not in spectra.chart()]
    if view.subject:
        at, towards = np.array(view.subject.at), np.array(view.subject.towards)
        spots.append(Spot(SUBJECT, at, (towards - at) / np.linalg.norm(towards - at), TILE_M))
    for i, stand_in in enumerate(view.stand_ins):
        spots.append(Spot(skin_material(i), *read_at(Builder(), stand_in), SKIN_TILE_M))
    return spots


def mask_of(known: Known, view: View, scale: float) -> NDArray[np.bool_]:
    """Where a surface is seen (h, w), its edges left out."""
    import cv2

    h, w = round(view.size[1] * scale), round(view.size[0] * scale)
    mask = np.zeros((h, w), dtype=np.uint8)
    p = lens_of(view, scale).project(known.corners)
    p = p.mean(axis=0) + (p - p.mean(axis=0)) * 0.93
    cv2.fillConvexPoly(mask, np.round(p * 16).astype(np.int32), 1, shift=4)
    return mask.astype(bool)


def _oidn(light: Floats, albedo: Floats, normal: Floats) -> Floats:
    import pyoidn

    level = np.float32(0.2 / max(float(np.median(light)), 1e-9))
    guides = {"albedo": np.ascontiguousarray(albedo), "normal": np.ascontiguousarray(normal)}
    clean = pyoidn.denoise(np.ascontiguousarray(light * level), hdr=True, quality="high", **guides)
    return np.asarray(clean, dtype=np.float32) / level


SAMPLER = "multijitter"
"""Each pixel's samples are spread evenly over lamps and directions; measured on the car deck, this halves the
noise of independent samples."""
PASS_SPP = 2
"""Samples a pixel in one pass over the whole frame."""
FACE_M = 0.16
"""What a face's box reaches from the middle of the head."""
CARD, SUBJECT = "grey card", "subject"
TEXELS = 4
"""Texels across card and walls; a patch is one texel."""
TILE_M, TILE_REFLECTANCE, TILE_OFF_M = 0.06, 0.99, 0.002
"""The meter: a white matt tile of 6 cm, 2 mm in front of the surface."""
SKIN_TILE_M = 0.018
"""On a face, which is round, a smaller one: as large as what is compared with it."""
METER_SEEDS = 8
EYE_OFF_M = 0.03


@dataclass(frozen=True)
class Texels:
    """Radiance of one surface by texel (n, n, bands), in two halves of the samples, seeds of their own."""

    one: Floats
    two: Floats

    @property
    def mean(self) -> Floats:
        return np.asarray((self.one + self.two) / 2)


@dataclass(frozen=True)
class Meter:
    """Spectral irradiance at one surface by lamp group, a row a seed: (seeds, bands)."""

    readings: dict[str, Array]

    def irradiance(self, group: str) -> Array:
        return np.asarray(self.readings[group].mean(axis=0))


@dataclass(frozen=True)
class Transport:
    """Light of one view: images (h, w, bands) by lamp group; texels by group, surface; meters by surface."""

    images: dict[str, Floats]
    texels: dict[str, dict[str, Texels]]
    meters: dict[str, Meter]
    skin_shares: Floats | None = None
    """How much of each pixel is the skin of each stand-in (h, w, stand-ins)."""


def meter_spp(place: Place, view: View) -> int:
    """Samples a pixel of the meter's small film, a square: half of what a texel has."""
    return math.isqrt((view.effort or place.effort) // 2) ** 2


def close_up(
    known: Known | Spot, side: float, off: float, pixels: int, spp: int, seed: int
) -> dict[str, Any]:
    """An orthographic camera that sees a square of ``side`` metres at the middle of a surface."""
    mi = start()
    n, c = known.normal, known.centre
    eye = mi.ScalarTransform4f().look_at(list(c + n * (off + EYE_OFF_M)), list(c), [0, 0, 1])
    return {
        "type": "orthographic",
        "near_clip": 0.001,
        "far_clip": 1.0,
        "to_world": eye @ mi.ScalarTransform4f().scale(side / 2),
        "film": {
            "width": pixels,
            "height": pixels,
            "rfilter": {"type": "box"},
            "component_format": "float32",
        },
        "sampler": {"type": SAMPLER, "sample_count": spp, "seed": seed},
    }


def texel_square(known: Known) -> tuple[float, int]:
    """Side in metres of the square that texels cover, and texels across."""
    edges = known.corners[1] - known.corners[0], known.corners[2] - known.corners[1]
    across = TEXELS if known.name not in spectra.chart() else 1
    return 0.9 * float(min(np.linalg.norm(e) for e in edges)), across


def render_texels(scene: Any, known: Known, view: View, spp: int, seed: int) -> Floats:
    """Radiance (n, n, bands) of a surface by texel, rows from its top, columns from its left.

    A matt surface looks the same from everywhere, so that it can be looked at from close by; the light of
    lamps and walls that are metres away has no structure finer than the texels (6 cm on the card).
    """
    side, across = texel_square(known)
    return seen_by(scene, close_up(known, side, 0.0, across, spp, seed), view.depth, spp, seed)


def render_meter(lit: dict[str, Any], known: Known | Spot, view: View, spp: int, seed: int) -> Array:
    """Spectral irradiance (seeds, bands) at the middle of a surface.

    A small perfectly matt white tile is put just in front of it, facing the same way, and looked at alone. No
    pixel or texel of the still is used. Irradiance is pi L / reflectance.
    """
    mi = start()
    n, c = known.normal, known.centre
    tile_m = known.tile_m if isinstance(known, Spot) else TILE_M
    at = mi.ScalarTransform4f().look_at(list(c + n * TILE_OFF_M), list(c + n * (TILE_OFF_M + 1.0)), [0, 0, 1])
    tile = {
        "type": "rectangle",
        "to_world": at @ mi.ScalarTransform4f().scale(tile_m / 2),
        "bsdf": known_matt(TILE_REFLECTANCE),
    }
    scene = load({**lit, "meter": tile})
    rows = []
    for k in range(METER_SEEDS):
        eye = close_up(known, 0.9 * tile_m, TILE_OFF_M, TEXELS, spp, seed + k)
        image = seen_by(scene, eye, view.depth, spp, seed + k)
        rows.append(np.pi / TILE_REFLECTANCE * image.astype(np.float64).mean(axis=(0, 1)))
    return np.array(rows)


def is_kept(place: Place, view: View, passes: int, cache: Path) -> bool:
    """Whether the light of a view is in the cache already."""
    stem = f"{view.name}_{view.size[0]}"
    return all((cache / f"{stem}_{g}_clean{passes * view.passes}.npy").exists() for g in place.lamps)


def render_view(
    place: Place, view: View, *, passes: int, scale: float, cache: Path, log: Callable[[str], None] = print
) -> Transport:
    """Transport of a view. All that is rendered is kept in ``cache``: more passes can be added later."""
    stem = cache / f"{view.name}_{round(view.size[0] * scale)}"
    start()
    cache.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()

    def kept(what: str, make: Callable[[], Any]) -> Any:
        path = stem.with_name(f"{stem.name}_{what}.npy")
        new = not path.exists()
        value = kept_array(path, make)
        if new:
            log(f"{view.name} {what}: {time.monotonic() - began:.0f} s")
        return value

    guides = kept("guides", lambda: render_guides(place, view, 6, scale))
    shares = kept("skins", lambda: render_skin_shares(place, view, 6, scale)) if view.stand_ins else None
    start()
    base = 1000 * view.seed
    images: dict[str, Floats] = {}
    texels: dict[str, dict[str, Texels]] = {}
    meters: dict[str, dict[str, Array]] = {}
    surfaces = known_surfaces(place, view)
    with tempfile.TemporaryDirectory() as name:
        shapes, glow = scene_parts(place, view, Path(name))
        for g, group in enumerate(place.lamps):
            lit = scene_of(shapes, glow, group)
            scene = functools.cache(lambda lit=lit: load(lit))  # type: ignore[misc]

            texels[group] = {}
            if surfaces:

                def both(half: int, scene: Any = scene, seed: int = base + 100 + 400 * g) -> Any:
                    rows = [
                        render_texels(scene(), k, view, k.effort, seed + 200 * half + i).reshape(-1, 8)
                        for i, k in enumerate(surfaces)
                    ]
                    return np.concatenate(rows)

                one, two = (kept(f"{group}_texels{'ab'[h]}", lambda h=h: both(h)) for h in (0, 1))  # type: ignore[misc]
                at = 0
                for known in surfaces:
                    n = texel_square(known)[1]
                    a, b = (t[at : at + n * n].reshape(n, n, -1) for t in (one, two))
                    texels[group][known.name] = Texels(a, b)
                    at += n * n
            for i, known in enumerate(metered_spots(place, view)):
                meters.setdefault(known.name, {})[group] = kept(
                    f"{group}_meter{i}",
                    lambda known=known, lit=lit, seed=base + 60 + 10 * i + 30 * g: render_meter(  # type: ignore[misc]
                        lit, known, view, meter_spp(place, view), seed
                    ),
                )
            total = np.zeros((*guides.shape[:2], len(spectra.BANDS)), dtype=np.float32)
            for k in range(passes * view.passes):
                total += kept(
                    f"{group}_{k}",
                    lambda seed=base + 20 * g + k, scene=scene: seen_by(  # type: ignore[misc]
                        scene(),
                        sensor_of(view, {}, PASS_SPP, scale, seed),
                        view.depth,
                        PASS_SPP,
                        seed,
                    ),
                )
            raw = total / np.float32(passes * view.passes)
            images[group] = kept(f"{group}_clean{passes * view.passes}", lambda raw=raw: denoise(raw, guides))  # type: ignore[misc]
            for i, (x, y, w, h) in enumerate(faces_in(view, scale)):
                assert shares is not None
                seed, inside = base + 300 + 20 * g + i, np.s_[y : y + h, x : x + w]
                face = kept(
                    f"{group}_face{i}",
                    lambda box=(x, y, w, h), seed=seed, scene=scene: seen_by(  # type: ignore[misc]
                        scene(),
                        sensor_of(view, {"crop": box}, view.face_spp, scale, seed),
                        view.depth,
                        view.face_spp,
                        seed,
                    ),
                )
                fine = denoise(face, np.ascontiguousarray(guides[inside]))
                images[group][inside] += shares[inside][..., i : i + 1] * (fine - images[group][inside])
            for known in surfaces:
                restore(images[group], texels[group][known.name].mean, known, view, scale)
    return Transport(images, texels, {name: Meter(rows) for name, rows in meters.items()}, shares)


def faces_in(view: View, scale: float) -> list[tuple[int, int, int, int]]:
    """Pixel boxes x, y, w, h around the heads of a view's stand-ins, where they have samples of their own."""
    width, height = round(view.size[0] * scale), round(view.size[1] * scale)
    lens = lens_of(view, scale)
    boxes = []
    for stand_in in view.stand_ins if view.face_spp else ():
        x, y = lens.project(np.array(stand_in.at))
        reach = FACE_M * lens.focal_px / float((np.array(stand_in.at) - lens.eye) @ lens.ahead)
        x0, x1 = (int(np.clip(v, 0, width)) for v in (x - reach, x + reach))
        y0, y1 = (int(np.clip(v, 0, height)) for v in (y - reach, y + reach))
        boxes.append((x0, y0, x1 - x0, y1 - y0))
    return boxes


def card_meter(place: Place, cache: Path) -> Meter:
    """The meter at the card of a place's first view, which sets the power of its lamps."""
    view = place.views[0]
    start()
    card = metered_spots(place, view)[0]
    readings = {}
    cache.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        parts: list[Any] = []

        def read(g: int, group: str) -> Array:
            parts[:] = parts or scene_parts(place, view, Path(name))
            lit = scene_of(parts[0], parts[1], group)
            seed = 1000 * view.seed + 60 + 30 * g
            return render_meter(lit, card, view, meter_spp(place, view), seed)

        for g, group in enumerate(place.lamps):
            path = cache / f"{view.name}_{view.size[0]}_{group}_meter0.npy"
            readings[group] = kept_array(path, lambda g=g, group=group: read(g, group))  # type: ignore[misc]
    return Meter(readings)


def restore(image: Floats, texels: Floats, known: Known, view: View, scale: float) -> None:
    """Put a surface's texels where it is seen, linear between; a wall's border is blended over 4 pixels."""
    import cv2

    mask = mask_of(known, view, scale)
    if not mask.any():
        return
    share = mask.astype(np.float32)
    if known.name in view.walls:
        share = np.clip(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 3) / 4, 0, 1)
    y, x = np.nonzero(mask)
    side, n = texel_square(known)
    corners = lens_of(view, scale).project(known.corners).astype(np.float32)
    u_m, v_m = (float(np.linalg.norm(known.corners[i + 1] - known.corners[i])) for i in (0, 1))
    plane = np.array([[0, v_m], [u_m, v_m], [u_m, 0], [0, 0]], dtype=np.float32)
    to_plane = cv2.getPerspectiveTransform(corners, plane)
    points = np.stack([x + 0.5, y + 0.5], axis=-1).astype(np.float32)[None]
    where = cv2.perspectiveTransform(points, to_plane)[0]
    col = (where[:, 0] - (u_m - side) / 2) / side * n - 0.5
    row = (where[:, 1] - (v_m - side) / 2) / side * n - 0.5
    light = bilinear(texels, row, col)
    image[y, x] += share[y, x, None] * (light - image[y, x])


def bilinear(texels: Floats, row: Array, col: Array) -> Floats:
    """Values (m, bands) between texel centres (n, n, bands); the outer ones are held."""
    n = texels.shape[0]
    r, c = np.clip(row, 0, n - 1), np.clip(col, 0, n - 1)
    r0, c0 = np.floor(r).astype(int), np.floor(c).astype(int)
    r1, c1 = np.minimum(r0 + 1, n - 1), np.minimum(c0 + 1, n - 1)
    a, b = (r - r0)[:, None], (c - c0)[:, None]
    top = texels[r0, c0] * (1 - b) + texels[r0, c1] * b
    low = texels[r1, c0] * (1 - b) + texels[r1, c1] * b
    return np.asarray(top * (1 - a) + low * a, dtype=np.float32)


def kept_array(path: Path, make: Callable[[], Array | Floats]) -> Any:
    """The array in ``path``, or what ``make`` gives, kept there."""
    if path.exists():
        return np.load(path)
    value = make()
    part = path.with_name(path.name + ".part.npy")
    np.save(part, value)
    part.replace(path)
    return value
