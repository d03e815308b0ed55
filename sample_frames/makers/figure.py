"""The picture of the experiment in the README: the chart of one still of every lamp, before, after, and true.

    python sample_frames/render.py --figure

Read from the stills and truth.json as they stand; nothing is rendered.
"""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Grade
from lookdev.looks.rendering import lift_curve, render_curve
from lookdev.meter.log import reading_for
from lookdev.meter.scout import load_scout
from lookdev.pages.document import Document
from lookdev.pages.setting import BODY_BOLD, LABEL, SMALL_BOLD
from lookdev.stills.reader import read_still
from lookdev.survey.resolve import resolve_still

Array = NDArray[np.float64]

ROWS = (
    ("01_ferry_hall_wide.jpg", "Ferry hall, FL2 fluorescent"),
    ("03_loading_dock_wide.jpg", "Loading dock, HP1 high-pressure sodium"),
    ("06_net_loft_gable.jpg", "Net loft, D65 through windows"),
    ("09_cabin_table.heic", "Cabin, A tungsten"),
    ("10_car_deck_lanes.exr", "Car deck, HP4 metal halide"),
    ("12_chart_room_table.jpg", "Chart room, LED-B3 white LED"),
    ("15_harbour_office_desk.tif", "Harbour office, D65 and A together"),
)
"""Stills of the exact camera, and what is said of their lamp."""
CARD = 0.18
PICTURE_PX = 1400


def charts(folder: Path, name: str, record: dict[str, Any]) -> tuple[Array, Array, Array]:
    """Scene light (24, 3) as it stood and balanced from the reading (keep 0), XYZ under D65; card at 18 %."""
    still = read_still(folder / name)
    scout = load_scout(folder)
    reading = reading_for(name, scout.log.readings)
    cast = resolve_still(reading, scout.plan, still).cast
    light = []
    for x, y, w, h in [record["boxes"]["grey_card"], *record["boxes"]["chart"].values()]:
        scene = still.encoding.to_working(still.signal()[y : y + h, x : x + w].reshape(-1, 3))
        light.append((lift_curve(scene) if still.encoding.state == "output" else scene).mean(axis=0))
    before = np.stack(light)
    after = np.asarray(Grade(Look(title="balance", balance={"keep": 0.0}), cast)(before))
    luminance = WORKING.to_xyz[1]
    before, after = (v[1:] * CARD / float(v[0] @ luminance) for v in (before, after))
    true = np.array([record["chart_under_d65_xyz"][n] for n in record["boxes"]["chart"]])
    return before, after, true


def errors(after: Array, true: Array) -> Array:
    """CIEDE2000 (24,) of the balanced chart against the same chart under D65."""
    return np.asarray(ciede2000(lab_from_xyz(after @ WORKING.to_xyz.T, D65_XY), lab_from_xyz(true, D65_XY)))


def picture(folder: Path) -> Path:
    """Write ``.pictures/experiment.jpg`` in ``folder``; returns its path."""
    from PIL import Image

    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    stills = {r["file"]: r for r in truth["stills"]}
    document = Document("The experiment")
    page = document.new_page("The Velmsund Crossing", "The experiment: 24-patch chart, read from the stills")
    left, top, width = page.content.left, page.content.top, page.content.width
    label, gap = 132.0, 16.0
    across = (width - label - 3 * gap) / 3
    columns = [left + label + gap + k * (across + gap) for k in range(3)]
    heads = ("As it stood", "Balanced from the reading (keep = 0)", "The same chart under D65")
    for x, head in zip(columns, heads, strict=True):
        page.text(x, top - 4, head, BODY_BOLD, width=across)
    y = top + 12
    tall = (page.content.bottom - y) / len(ROWS)
    for name, words in ROWS:
        before, after, true = charts(folder, name, stills[name])
        off = errors(after, true)
        bottom = page.paragraph(left, y, label, words, SMALL_BOLD)
        page.paragraph(
            left,
            bottom + 2,
            label,
            f"CIEDE2000 balanced against D65: mean {off.mean():.1f}, 95% below {np.percentile(off, 95):.1f}",
            LABEL,
        )
        srgb = get_encoding("sRGB")
        for x, light in zip(columns, (before, after, true @ WORKING.from_xyz.T), strict=True):
            codes = np.clip(srgb.from_working(render_curve(light)), 0, 1)
            w, h = across / 6, (tall - 8) / 4
            for k, colour in enumerate(codes):
                r, c = divmod(k, 6)
                page.swatch(x + c * w, y + r * h, w - 1.5, h - 1.5, tuple(float(v) for v in colour))
        y += tall
    pixels = document.png_pages()[0]
    image = Image.fromarray(pixels)
    image = image.resize(
        (PICTURE_PX, round(PICTURE_PX * image.height / image.width)), Image.Resampling.LANCZOS
    )
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90, subsampling=0, optimize=True)
    path = folder / ".pictures" / "experiment.jpg"
    path.write_bytes(out.getvalue())
    return path
