"""Writes the oracle. Kept to show how it was made: the stages on arrays that made it are gone."""

from __future__ import annotations

import numpy as np

from lookdev.colorimetry.encodings import get_encoding
from lookdev.looks.pipeline import Pipeline
from lookdev.looks.rendering import render_curve
from oracle.cases import FROZEN, PAIRS, cases, scene_colours


def main() -> None:
    scene = scene_colours()
    kept = {}
    for name in sorted({pair[0] for pair in PAIRS}):
        encoding = get_encoding(name)
        kept[f"signal {name}"] = encoding.from_working(
            render_curve(scene) if encoding.state == "output" else scene
        )
    for i, case in enumerate(cases()):
        source, target = get_encoding(case.source), get_encoding(case.target)
        transform = Pipeline(case.look, source, target, case.cast, case.stops)
        kept[f"out {i}"] = transform(kept[f"signal {case.source}"])
    np.savez_compressed(FROZEN, **kept)
    print(len(scene), "colours,", len(cases()), "cases,", FROZEN.stat().st_size, "bytes")


if __name__ == "__main__":
    main()
