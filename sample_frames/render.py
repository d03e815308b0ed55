"""Makes the sample scout: frames, truth.json and meter.csv from places in code. Needs the extra ``frames``.

    python sample_frames/render.py                 everything, a good hour on two free cores
    python sample_frames/render.py --check         frames, truth and meter log belong together (seconds)
    python sample_frames/render.py --check --crop  and a small crop of every view, rendered twice, is the same
    python sample_frames/render.py --only car_deck one place
    python sample_frames/render.py --still 16_ferry_hall_early   one still, again; the others stay
    python sample_frames/render.py --light --only cabin   only its light, into the cache: run several at once

Light transport is kept in a cache folder outside the repository (``--cache``, or LOOKDEV_FRAMES_CACHE), so
that files can be written again without rendering.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import importlib
import io
import json
import os
import sys
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from makers import cameras, files, spectra, transport  # noqa: E402
from makers.geometry import Builder  # noqa: E402
from makers.place import Place, View, card_corners, inner_box, lens_of, patch_corners, rig_frame  # noqa: E402
from makers.stand_in import read_at  # noqa: E402

from lookdev.colorimetry.adaptation import adaptation_matrix  # noqa: E402
from lookdev.colorimetry.encodings import get_encoding  # noqa: E402
from lookdev.colorimetry.rgb_spaces import D65_XY  # noqa: E402
from lookdev.colorimetry.skins import skin_names  # noqa: E402
from lookdev.colorimetry.temperature import balance_white_xy, cct_duv_from_xy  # noqa: E402

PLACES = ("ferry_hall", "loading_dock", "net_loft", "cabin", "car_deck", "chart_room", "harbour_office")
PASSES = 1
COLUMNS = (
    "stills", "location", "source", "cct_k", "duv", "x", "y", "lux", "camera_balance_k", "grey", "time",
    "role", "note",
)  # fmt: skip


def place_of(key: str) -> Place:
    place: Place = importlib.import_module(f"makers.places.{key}").PLACE
    return place


def rounded(values: Any, digits: int = 5) -> Any:
    return np.round(np.asarray(values, dtype=float), digits).tolist()


def xy_of(spectrum: Any) -> tuple[float, float]:
    xyz = np.asarray(spectrum) @ spectra.observer()
    return float(xyz[0] / xyz.sum()), float(xyz[1] / xyz.sum())


def light_record(spectrum: Any) -> dict[str, Any]:
    """Chromaticity, CCT, Duv and illuminance of a spectral irradiance on GRID."""
    xy = xy_of(spectrum)
    cct, duv = cct_duv_from_xy(xy)
    return {
        "x": round(xy[0], 5), "y": round(xy[1], 5), "cct_k": round(cct, 1), "duv": round(duv, 5),
        "illuminance_lux": round(lux_of(spectrum), 2),
    }  # fmt: skip


def lux_of(spectrum: Any) -> float:
    return cameras.LUMENS * float(np.asarray(spectrum) @ spectra.observer()[:, 1])


def meter_record(rows: Any) -> dict[str, Any]:
    """A meter's reading and its own standard error: spectral irradiance on GRID, a row a seed."""
    mean = rows.mean(axis=0)
    xy = np.array([xy_of(row) for row in rows])
    lux = np.array([lux_of(row) for row in rows])
    count = np.sqrt(len(rows))
    x_error, y_error = (float(v) for v in xy.std(axis=0, ddof=1) / count)
    return {
        **light_record(mean),
        "standard_error": {
            "x": float(f"{x_error:.2g}"), "y": float(f"{y_error:.2g}"),
            "illuminance_share": float(f"{lux.std(ddof=1) / count / lux.mean():.2g}"),
        },
    }  # fmt: skip


def pixels_record(
    place: Place, view: View, light: transport.Transport, scales: dict[str, float], meter: dict[str, Any]
) -> dict[str, Any]:
    """The light at the card as the card's own pixels tell it, and how far that is from the meter."""
    card = next(k for k in transport.known_surfaces(place, view) if k.name == transport.CARD)
    mask = transport.mask_of(card, view, 1.0)
    total = np.zeros(spectra.GRID.shape)
    for group, lamp in place.lamps.items():
        bands = light.images[group][mask].astype(np.float64).mean(axis=0)
        falls = np.pi / spectra.GREY_REFLECTANCE * bands @ spectra.band_interpolation()
        total += scales[group] * falls * spectra.lamp(lamp.illuminant)
    xy = xy_of(total)
    return {
        "x": round(xy[0] - meter["x"], 5),
        "y": round(xy[1] - meter["y"], 5),
        "illuminance_share": round(lux_of(total) / meter["illuminance_lux"] - 1, 5),
    }


def boxes(place: Place, view: View) -> dict[str, Any]:
    """Pixel boxes x, y, w, h: of card, patches and walls, or of a spot on each stand-in's skin."""
    lens = lens_of(view)
    b = Builder()
    if view.rig is None:
        return {"stand_ins": [list(skin_box(lens, *read_at(b, s))) for s in view.stand_ins]}
    with rig_frame(view.rig, b):
        card = inner_box(lens, b.world(card_corners(view.rig.scale)), 0.8)
        patches = {
            name: inner_box(lens, b.world(patch_corners(i, view.rig.scale)), 0.7)
            for i, name in enumerate(spectra.chart())
        }
    walls = {w.name: inner_box(lens, np.array(w.corners), 0.75) for w in place.walls if w.name in view.walls}
    return {
        "grey_card": list(card),
        "chart": {k: list(v) for k, v in patches.items()},
        "walls": {k: list(v) for k, v in walls.items()},
    }


def skin_box(lens: Any, centre: Any, normal: Any) -> tuple[int, int, int, int]:
    """Pixel box of a small square that lies on a stand-in's skin."""
    across = np.cross([0.0, 0.0, 1.0], normal)
    across = across / np.linalg.norm(across)
    up = np.cross(normal, across)
    h = transport.SKIN_TILE_M / 2
    corners = [centre + h * (i * across + j * up) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return inner_box(lens, np.array(corners), 1.0)


def mean_in(image: Any, box: Any) -> Any:
    x, y, w, h = box
    return image[y : y + h, x : x + w].reshape(-1, image.shape[-1]).astype(np.float64).mean(axis=0)


def common_record(place: Place, view: View, path: Path) -> dict[str, Any]:
    """What a truth record says of any still."""
    time_s, stop, iso = view.exposure
    return {
        "file": path.name,
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "size": list(view.size),
        "camera": view.camera,
        "file_kind": view.file,
        "exposure": {"time_s": time_s, "f_number": stop, "iso": iso, "time": view.time},
        "camera_balance_k": place.balance_k,
        "camera_balance_xy": rounded(balance_white_xy(place.balance_k)),
        "lamps": {
            g: {
                "spectrum": f"CIE illuminant {lamp.illuminant}",
                "source": "CIE 15:2018",
                "words": lamp.words,
                "role": lamp.role,
                **{
                    k: v
                    for k, v in light_record(spectra.lamp(lamp.illuminant)).items()
                    if k != "illuminance_lux"
                },
            }
            for g, lamp in place.lamps.items()
        },
    }


def composed_record(
    place: Place, view: View, light: transport.Transport, scales: dict[str, float], scene: Any, path: Path
) -> dict[str, Any]:
    """What is true of a still without the chart: the light at its subject, and its stand-ins' skins."""
    rows = {name: cameras.metered(place, meter, scales) for name, meter in light.meters.items()}
    subject = meter_record(rows[transport.SUBJECT])
    stand_ins = []
    for i, (stand_in, box) in enumerate(zip(view.stand_ins, boxes(place, view)["stand_ins"], strict=True)):
        assert light.skin_shares is not None
        x, y, w, h = box
        if float(light.skin_shares[y : y + h, x : x + w, i].min()) < 0.99:
            raise ValueError(f"{view.name}: not all of the box {box} is skin; move StandIn.read")
        falls = rows[transport.skin_material(i)]
        spectrum = falls.mean(axis=0)
        white = lux_of(spectrum) / cameras.LUMENS
        stand_ins.append(
            {
                "skin": stand_in.skin,
                "box": box,
                "light_at_skin": meter_record(falls),
                "irradiance_w_m2_nm": [float(f"{v:.6g}") for v in spectrum[::SKIN_STEP_NM]],
                "reads_xyz": rounded((spectrum * spectra.skin(stand_in.skin)) @ spectra.observer() / white),
                "scene_rgb": rounded(mean_in(scene, box)),
            }
        )
    return {
        **common_record(place, view, path),
        "light_at_subject": subject,
        "stops_over_meter": round(float(np.log2(subject["illuminance_lux"] * cameras.gain(view))), 3),
        "stand_ins": stand_ins,
        "samples": {
            "frame_pixel": PASSES * view.passes * transport.PASS_SPP,
            **({"face_pixel": view.face_spp} if view.face_spp else {}),
            "meter": transport.METER_SEEDS * transport.TEXELS**2 * transport.meter_spp(place, view),
        },
        "seed": view.seed,
    }


SKIN_STEP_NM = 5
"""Step of the irradiance that falls on a stand-in's skin, from 380 nm: that of the skins themselves."""


def view_record(
    place: Place, view: View, light: transport.Transport, scales: dict[str, float], scene: Any, path: Path
) -> dict[str, Any]:
    """What is true of one still."""
    found = boxes(place, view)
    read = {name: meter_record(cameras.metered(place, meter, scales)) for name, meter in light.meters.items()}
    incident = read.pop(transport.CARD)
    card_xyz_d65 = cameras.expose(place, view, light, scales, cameras.LUMENS * spectra.observer(), "D65")
    white = mean_in(card_xyz_d65, found["grey_card"]) / spectra.GREY_REFLECTANCE
    # light that has met walls is not quite D65 any more: carry its white to D65 too
    neutral = adaptation_matrix(tuple(white[:2] / white.sum()), D65_XY) / white[1]
    offset = float(np.log2(incident["illuminance_lux"] * cameras.gain(view)))
    if view.file in files.ENCODING:  # paint that the file's primaries cannot hold says nothing of its chip
        codes = files.output_codes(scene, get_encoding(files.ENCODING[view.file]))
        walls = found["walls"]
        beyond = [n for n, box in walls.items() if np.any(np.abs(mean_in(codes, box) - 0.5) > 0.499)]
        found["walls_out_of_gamut"] = {n: walls.pop(n) for n in beyond}
    return {
        **common_record(place, view, path),
        "light_at_card": incident,
        "light_at_wall": read,
        "card_pixels_minus_meter": pixels_record(place, view, light, scales, incident),
        "stops_over_meter": round(offset, 3),
        "card_scene_rgb": rounded(mean_in(scene, found["grey_card"])),
        "boxes": found,
        "chart_under_d65_xyz": {
            name: rounded(neutral @ mean_in(card_xyz_d65, box)) for name, box in found["chart"].items()
        },
        "noise": {
            name: round(share, 5) for name, share in cameras.texel_noise(place, view, light, scales).items()
        },
        "samples": {
            "frame_pixel": PASSES * transport.PASS_SPP,
            "texel": 2 * place.effort,
            "texel_of": {
                k.name: 2 * k.effort
                for k in transport.known_surfaces(place, view)
                if k.effort != place.effort
            },
            "meter": transport.METER_SEEDS * transport.TEXELS**2 * transport.meter_spp(place, view),
        },
        "seed": view.seed,
    }


def meter_row(place: Place, view: View, record: dict[str, Any]) -> list[str]:
    light = record["light_at_subject" if view.rig is None else "light_at_card"]
    lux = light["illuminance_lux"]
    grey = ",".join(str(v) for v in record["boxes"]["grey_card"]) if view.grey_in_log else ""
    both = "" if len(place.lamps) == 1 else "both lamps"
    if view.rig:
        side = f"{view.name.rsplit('_', 1)[1]} side"
        note = f"at the card: {side}, {both}" if both else "at the card"
    elif view.stand_ins:
        note = f"at the stand-in's face: skin {view.stand_ins[0].skin!r} of the six model skins"
    else:
        note = ", ".join(w for w in ("where the subject will stand", both) if w)
    return [
        record["file"], place.location, place.source, f"{light['cct_k']:.0f}", f"{light['duv']:.4f}",
        f"{light['x']:.4f}", f"{light['y']:.4f}", f"{lux:.0f}" if lux >= 100 else f"{lux:.1f}",
        f"{place.balance_k:.0f}", grey, view.time, "", note,
    ]  # fmt: skip


def surfaces() -> dict[str, Any]:
    """Reflectances, 380 nm to 780 nm by 10 nm."""
    step = 10
    walls = {}
    for key in PLACES:
        place = place_of(key)
        for wall in place.walls:
            walls[f"{key}: {wall.name}"] = {
                "munsell": wall.notation, "source": spectra.PAINT_SOURCE,
                "reflectance": rounded(spectra.paint(wall.notation)[::step]),
            }  # fmt: skip
    return {
        "wavelengths_nm": spectra.GRID[::step].astype(int).tolist(),
        "grey_card": {"source": "spectrally flat by definition", "reflectance": spectra.GREY_REFLECTANCE},
        "chart": {
            "source": spectra.CHART_SOURCE,
            "reflectance": {n: rounded(r[::step]) for n, r in spectra.chart().items()},
        },
        "walls": walls,
        "skins": {
            "source": "lookdev/colorimetry/skin_reflectances.csv: two-layer model, see its maker",
            "reflectance": {name: rounded(spectra.skin(name)[::step]) for name in skin_names()},
        },
    }


def keep_light(args: argparse.Namespace) -> None:
    """Render into the cache and write nothing else: several of these can run at once, by place."""
    spectra.keep_paints(Path(args.cache))
    for key in args.only or PLACES:
        place = place_of(key)
        for view in place.views:
            if args.still and view.name not in args.still:
                continue
            transport.render_view(place, view, passes=args.passes, scale=1.0, cache=Path(args.cache))


def make(args: argparse.Namespace) -> None:
    out = Path(args.out)
    cache = Path(args.cache)
    spectra.keep_paints(cache)
    truth_path = out / "truth.json"
    old = json.loads(truth_path.read_text(encoding="utf-8")) if truth_path.exists() else {"stills": []}
    records = {r["file"]: r for r in [*old["stills"], *old.get("composed", ())]}
    rows: dict[str, list[str]] = {}
    for key in PLACES:
        place = place_of(key)
        if args.only and key not in args.only:
            continue
        for view in place.views:
            if args.still and view.name not in args.still:
                continue
            if args.cached and not transport.is_kept(place, view, args.passes, cache):
                continue
            light = transport.render_view(place, view, passes=args.passes, scale=1.0, cache=cache)
            # the first view's card sets the power of the lamps
            scales = cameras.group_scales(place, transport.card_meter(place, cache))
            scene = cameras.scene_light(place, view, light, scales)
            raw = cameras.sensor_raw(place, view, light, scales) if view.file == "dng" else None
            path = files.write_view(out, view, scene, raw, place.balance_k)
            recorded = view_record if view.rig else composed_record
            record = recorded(place, view, light, scales, scene, path)
            record = {"location": place.location, "place": key, **record}
            records[path.name] = record
            print(
                f"{path.name}: {path.stat().st_size / 1e6:.2f} MB, "
                f"{'card' if view.rig else 'subject'} {record['stops_over_meter']:+.2f} stops"
            )
    stills, composed = [], []
    for key in PLACES:
        place = place_of(key)
        for view in place.views:
            name = view.name + files.SUFFIX[view.file]
            if name in records:
                (stills if view.rig else composed).append(records[name])
                rows[name] = meter_row(place, view, records[name])
    truth = {
        "about": "Written by sample_frames/render.py. Everything is invented; nothing was photographed.",
        "renderer": {
            "name": "mitsuba", "variant": transport.VARIANT, "bands_nm": spectra.BANDS.astype(int).tolist(),
            "transport": "path tracing, four wavelengths a path; lamps and observers multiplied in at 1 nm",
            "denoised": "Intel Open Image Denoise, but not on card, patches and measured walls: these are "
            "rendered by texel (a patch is one, card and wall 4 x 4), linear in between, neither fitted nor "
            "denoised",
            "noise": "of each still: standard deviation of one texel's luminance over its mean, from two "
            "halves of its samples with seeds of their own",
            "meter": "light_at_card and light_at_wall: a matt white tile of 6 cm and reflectance 0.99, 2 mm "
            "in front of the surface, in renders of its own with seeds of its own; standard errors from "
            "eight seeds; light_at_subject and light_at_skin (1.8 cm) likewise, in the air and on the skin",
            "skin": "stand-ins' skins are ideally matt and multiplied in at 1 nm; reads_xyz is what a skin "
            "sends back of the light at its box, over a perfect white's Y; irradiance_w_m2_nm from 380 by 5",
            "iso_2720_constant": cameras.CONSTANT,
        },
        "cameras": {
            "exact": "CIE 1931 2 degree observer; balance white to D65 by linear Bradford",
            "sensor": f"colour-science MSDS_CAMERA_SENSITIVITIES['{cameras.SENSOR}'], measured by NPL; "
            "3 x 3 by white-point-preserving least squares (Finlayson and Drew 1997) on the "
            "Academy P-2013-001 training reflectances and the chart, under the balance white",
        },
        "surfaces": surfaces(),
        "stills": stills,
        "composed": composed,
    }  # fmt: skip
    truth_path.write_text(json.dumps(truth, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(rows.values())
    (out / "meter.csv").write_text(text.getvalue(), encoding="utf-8")


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--check", action="store_true", help="confirm that what is here belongs together")
    parser.add_argument(
        "--crop", action="store_true", help="with --check: render a small crop of every view twice"
    )
    parser.add_argument(
        "--figure", action="store_true", help="write the README's picture from the stills; render nothing"
    )
    parser.add_argument("--only", nargs="*", default=[], choices=PLACES, metavar="PLACE")
    parser.add_argument(
        "--still", nargs="+", metavar="NAME", help="only these stills, by name without its end"
    )
    parser.add_argument("--light", action="store_true", help="only render into the cache; write no file")
    parser.add_argument("--cached", action="store_true", help="write only stills whose light is in the cache")
    parser.add_argument("--out", default=str(HERE), metavar="DIR")
    parser.add_argument(
        "--passes", type=int, default=PASSES, help="passes over each frame (default %(default)s)"
    )
    default = os.environ.get("LOOKDEV_FRAMES_CACHE") or str(Path.home() / ".cache" / "lookdev-frames")
    parser.add_argument("--cache", default=default, metavar="DIR", help="where rendered light is kept")
    args = parser.parse_args()
    if args.check:
        from makers.check import check

        return check(Path(args.out), crop=args.crop)
    if args.figure:
        from makers.figure import picture

        print(picture(Path(args.out)))
    elif args.light:
        keep_light(args)
    else:
        make(args)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
