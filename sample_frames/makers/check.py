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
    stills = {r["file"]: r for r in truth["stills"]}
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
    size = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file() and "__pycache__" not in p.parts)
    if size >= 16e6:
        wrong.append(f"{size / 1e6:.1f} MB in the folder; wanted under 16 MB")
    if crop:
        wrong += _check_crops()
    for line in wrong:
        print(line)
    print(f"{len(stills)} stills, {size / 1e6:.1f} MB: {'do not ' if wrong else ''}belong together")
    return 1 if wrong else 0


def _check_log(folder: Path, stills: dict[str, Any]) -> list[str]:
    from lookdev.meter.log import read_meter_log

    log = read_meter_log(folder / "meter.csv")
    wrong = [str(e) for e in log.errors]
    rows = {r.stills[0]: r for r in log.readings}
    for name, record in stills.items():
        reading, light = rows.get(name), record["light_at_card"]
        if reading is None:
            wrong.append(f"meter.csv: no row for {name}")
            continue
        if abs(reading.x - light["x"]) > 6e-5 or abs(reading.y - light["y"]) > 6e-5:
            wrong.append(f"meter.csv, {name}: x, y are not the light at the card")
        if abs(reading.illuminance_lux / light["illuminance_lux"] - 1) > 0.006:
            wrong.append(f"meter.csv, {name}: lux is not the light at the card")
        if reading.camera_balance_k != record["camera_balance_k"]:
            wrong.append(f"meter.csv, {name}: another camera balance")
    return wrong


def _check_boxes(render: Any, stills: dict[str, Any]) -> list[str]:
    wrong = []
    for place, view in _views():
        record = stills.get(view.name + files.SUFFIX[view.file])
        if record is None:
            continue
        kept = {**record["boxes"]}
        kept["walls"] = kept["walls"] | kept.pop("walls_out_of_gamut", {})
        if render.boxes(place, view) != kept:
            wrong.append(f"{record['file']}: boxes differ from the place's geometry")
        for lamp in place.lamps.values():
            xy = render.xy_of(spectra.lamp(lamp.illuminant))
            said = next(v for v in record["lamps"].values() if v["spectrum"].endswith(lamp.illuminant))
            if max(abs(xy[0] - said["x"]), abs(xy[1] - said["y"])) > 1e-5:
                wrong.append(f"{record['file']}: lamp {lamp.illuminant} differs")
    return wrong


def crop_digest(place: Place, view: View) -> str:
    """Digest of a small crop rendered from the place."""
    with tempfile.TemporaryDirectory() as name:
        transport.start()
        shapes, glow = transport.scene_parts(place, view, Path(name))
        x, y, w, h = transport.board_crop(view, 1.0)
        group = next(iter(place.lamps))
        lit = transport.scene_of(shapes, glow, group)
        box = (x + w // 2, y + h // 2, 24, 16)
        image = transport.render_bands(lit, view, 8, 1.0, box, seed=1000 * view.seed)
    return hashlib.sha256(np.ascontiguousarray(image).tobytes()).hexdigest()


def _check_crops() -> list[str]:
    wrong = []
    for place, view in _views():
        one, two = crop_digest(place, view), crop_digest(place, view)
        print(f"{view.name}: crop {one[:12]}{'' if one == two else ' and ' + two[:12]}")
        if one != two:
            wrong.append(f"{view.name}: the same crop rendered twice differs")
    return wrong
