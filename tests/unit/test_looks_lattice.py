"""A look with families fits into a lattice of 33 points, on what a scout's own stills hold."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lookdev import bake_cube, get_encoding, open_scout, read_still, survey
from lookdev.colorimetry.difference import ciede2000
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline
from lookdev.lut.error import appearance

SAMPLE = Path(__file__).parents[2] / "sample_frames"
ACESCCT, BT709 = get_encoding("ACEScct"), get_encoding("BT.709")
LOOK = Look.model_validate(
    {
        "title": "cold, with three families",
        "exposure": {"stops": -0.3},
        "balance": {"keep": 0.35, "mired": -12.0},
        "curve": {"contrast": 1.14, "toe": 0.3, "shoulder": 0.3, "black": 0.003},
        "colour": {
            "saturation": 0.72,
            "families": {
                "YR": {"chroma": 1.1},
                "G": {"chroma": 0.7, "hue_deg": 8.0},
                "GY": {"chroma": 0.65},
            },
        },
        "tone": [{"at_stops": -3.5, "reach_stops": 5.0, "towards": "5B", "chroma": 0.018}],
    }
)


def test_33_points_are_enough_for_families() -> None:
    """At most 0.5 on the mean and 1.2 at the 95th percentile, CIEDE2000 (the bound was set before)."""
    rng, off = np.random.default_rng(1), []
    for still in survey(open_scout(SAMPLE)).stills:
        read = read_still(still.path)
        signal = read.signal().reshape(-1, 3)
        some = signal[rng.integers(0, len(signal), 1500)]
        codes = ACESCCT.from_working(Pipeline(LOOK, read.encoding, ACESCCT).scene(some))
        transform = LOOK.transform(ACESCCT, BT709, still.cast)
        got, wanted = bake_cube(transform, 33)(codes), transform(codes)
        off.append(ciede2000(appearance(got, BT709), appearance(wanted, BT709)))
    every = np.concatenate(off)
    assert len(every) == len(off) * 1500 == 22 * 1500
    assert every.mean() <= 0.5
    assert np.percentile(every, 95) <= 1.2
