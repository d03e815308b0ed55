"""Whether frames, truth and meter log belong together, without rendering everything again."""

from __future__ import annotations

import hashlib
import json
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from makers import files, spectra, transport
from makers.place import Place, View


def _views() -> list[tuple[Place, View]]:
    import render

    return [(place, view) for place in map(render.place_of, render.PLACES) for view in place.views]


def check(folder: Path, *, crop: bool = False) -> int:
    """Print what was found; 0 when all of it belongs together."""
    import render

    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    wrong: list[str] = []
    stills = {r["file"]: r for r in [*truth["stills"], *truth["composed"]]}
    expected = {view.name + files.SUFFIX[view.file] for _, view in _views()}
    if set(stills) != expected:
        wrong.append(f"truth.json and the places disagree: {sorted(set(stills) ^ expected)}")
    for name, record in stills.items():
        path = folder / name
        if not path.exists():
            wrong.append(f"{name}: no such still")
        elif hashlib.sha256(path.read_bytes()).hexdigest() != record["sha256"]:
            wrong.append(f"{name}: not the still that truth.json was written for")
    wrong += _check_log(folder, stills)
    wrong += _check_boxes(render, stills)
    wrong += _check_noise(stills)
    size = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file() and "__pycache__" not in p.parts)
    if size >= 16e6:
        wrong.append(f"{size / 1e6:.1f} MB in the folder; wanted under 16 MB")
    if crop:
        wrong += _check_crops()
    for line in wrong:
        print(line)
    print(f"{len(stills)} stills, {size / 1e6:.1f} MB: {'do not ' if wrong else ''}belong together")
    return 1 if wrong else 0


def _light_of(record: dict[str, Any]) -> dict[str, Any]:
    """What the meter log must say of a still: the light at its card, or at its subject."""
    return dict(record.get("light_at_card") or record["light_at_subject"])


def _check_log(folder: Path, stills: dict[str, Any]) -> list[str]:
    from lookdev.meter.log import read_meter_log

    log = read_meter_log(folder / "meter.csv")
    wrong = [str(e) for e in log.errors]
    rows = {r.stills[0]: r for r in log.readings}
    for name, record in stills.items():
        reading, light = rows.get(name), _light_of(record)
        if reading is None:
            wrong.append(f"meter.csv: no row for {name}")
            continue
        if abs(reading.x - light["x"]) > 6e-5 or abs(reading.y - light["y"]) > 6e-5:
            wrong.append(f"meter.csv, {name}: x, y are not the light at card or subject")
        if abs(reading.illuminance_lux / light["illuminance_lux"] - 1) > 0.006:
            wrong.append(f"meter.csv, {name}: lux is not the light at card or subject")
        if reading.camera_balance_k != record["camera_balance_k"]:
            wrong.append(f"meter.csv, {name}: another camera balance")
    return wrong


def _check_boxes(render: Any, stills: dict[str, Any]) -> list[str]:
    wrong = []
    for place, view in _views():
        record = stills.get(view.name + files.SUFFIX[view.file])
        if record is None:
            continue
        if view.rig:
            kept = {**record["boxes"]}
            kept["walls"] = kept["walls"] | kept.pop("walls_out_of_gamut", {})
        else:
            kept = {"stand_ins": [s["box"] for s in record["stand_ins"]]}
            if [s["skin"] for s in record["stand_ins"]] != [s.skin for s in view.stand_ins]:
                wrong.append(f"{record['file']}: skins differ from the place's stand-ins")
        if render.boxes(place, view) != kept:
            wrong.append(f"{record['file']}: boxes differ from the place's geometry")
        for lamp in place.lamps.values():
            xy = render.xy_of(spectra.lamp(lamp.illuminant))
            said = next(v for v in record["lamps"].values() if v["spectrum"].endswith(lamp.illuminant))
            if max(abs(xy[0] - said["x"]), abs(xy[1] - said["y"])) > 1e-5:
                wrong.append(f"{record['file']}: lamp {lamp.illuminant} differs")
    return wrong


NOISE, METER_SHARE, METER_XY = 0.01, 0.003, 0.0003
"""Bounds: noise of card, chart and walls over their mean; standard error of the meter in lux and in x, y."""


def _check_noise(stills: dict[str, Any]) -> list[str]:
    wrong = []
    for name, record in stills.items():
        for surface, share in record.get("noise", {}).items():
            if not share < NOISE:
                wrong.append(f"{name}, {surface}: noise {share:.2%} of the mean; wanted under {NOISE:.0%}")
        metered = {"card or subject": _light_of(record), **record.get("light_at_wall", {})}
        metered |= {s["skin"]: s["light_at_skin"] for s in record.get("stand_ins", ())}
        for what, light in metered.items():
            error = light["standard_error"]
            if not (error["illuminance_share"] < METER_SHARE and max(error["x"], error["y"]) < METER_XY):
                wrong.append(f"{name}, meter at {what}: standard error {error}")
    return wrong


def crop_digest(place: Place, view: View) -> str:
    """Digest of a small crop of the frame, the card's texels and a meter reading, few samples each."""
    with tempfile.TemporaryDirectory() as name:
        transport.start()
        shapes, glow = transport.scene_parts(place, view, Path(name))
        lit = transport.scene_of(shapes, glow, next(iter(place.lamps)))
        spot = transport.metered_spots(place, view)[0]
        x, y = transport.lens_of(view).project(spot.centre).astype(int)
        seed = 1000 * view.seed
        parts = [
            transport.render_bands(lit, view, 4, 1.0, (int(x) - 12, int(y) - 8, 24, 16), seed=seed),
            transport.render_meter(lit, spot, view, 16, seed),
        ]
        if isinstance(spot, transport.Known):
            parts.append(transport.render_texels(transport.load(lit), spot, view, 16, seed))
    return hashlib.sha256(b"".join(np.ascontiguousarray(p).tobytes() for p in parts)).hexdigest()


def _check_crops() -> list[str]:
    wrong = []
    for place, view in _views():
        one, two = crop_digest(place, view), crop_digest(place, view)
        print(f"{view.name}: crop {one[:12]}{'' if one == two else ' and ' + two[:12]}")
        if one != two:
            wrong.append(f"{view.name}: the same crop rendered twice differs")
    return wrong
