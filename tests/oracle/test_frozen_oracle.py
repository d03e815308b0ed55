"""The look as it was before it was written as compiled steps: 300 colours and more, every shipped look.

The signals and what came out of them were frozen from the stages on arrays (``cases.py`` says how); the steps
must give them within 1e-9 of the signal, and of the value where that is beyond 1. Six things that came
after are left out here: what is known of clipped channels (``stages/clipped.py``), the showing of light that
no camera has rendered and of light above white (``rendering.py``), the floor of log encodings, the gamut's
edge at the hue of blue (``stages/gamut.py``), and the hold on deep negatives before the curve of light that
no camera has rendered (``stages/curve.py``, by the source that it is told); they have tests of their own.
Families and toning are other functions today, so that those of the first edition stand in for them here
(``first_edition.py``): what the oracle says of a look with either is about everything else in it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.looks.pipeline import Pipeline
from oracle.cases import FROZEN, LOOKS, PAIRS, SHIPPED, cases, scene_colours

WITHIN = 1e-9


@pytest.fixture(scope="module")
def frozen() -> dict[str, np.ndarray]:
    with np.load(FROZEN) as kept:
        return dict(kept)


def test_it_covers_what_it_must(frozen: dict[str, np.ndarray]) -> None:
    scene = scene_colours()
    assert len(scene) >= 300
    assert scene.min() < -0.1
    assert scene.max() >= 100.0
    assert {case.name for case in cases()} >= set(SHIPPED)
    assert len({pair[:2] for pair in PAIRS}) >= 5
    assert len([key for key in frozen if key.startswith("out ")]) == len(cases())
    assert all((LOOKS / f"{name}.toml").is_file() for name in SHIPPED)


def _without_peak(name: str) -> Encoding:
    return replace(get_encoding(name), peak=1.0)


@pytest.mark.parametrize("i", range(len(cases())))
def test_a_look_gives_what_it_gave(
    i: int, frozen: dict[str, np.ndarray], monkeypatch: pytest.MonkeyPatch
) -> None:
    case = cases()[i]
    monkeypatch.setattr("lookdev.looks.stages.cdl.get_encoding", _without_peak)
    monkeypatch.setattr("lookdev.looks.stages.gamut._fold", lambda space: np.zeros(2))
    source, target = _without_peak(case.source), _without_peak(case.target)
    transform = Pipeline(case.look, source, target, case.cast, case.stops)
    transform.rendered = True
    transform.is_guarded = False
    transform.metered = replace(transform.metered, clip_levels=None, source=None)
    got, wanted = transform(frozen[f"signal {case.source}"]), frozen[f"out {i}"]
    apart = np.abs(got - wanted) / np.maximum(np.abs(wanted), 1.0)
    assert apart.max() <= WITHIN, (case.name, frozen[f"signal {case.source}"][np.argmax(apart) // 3])
