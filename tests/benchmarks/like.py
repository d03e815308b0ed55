"""How near `lookdev learn --like` comes: a place of the sample scout through a hidden look is the reference.

    python tests/benchmarks/like.py [--cases 30] [--several]

The scout is the other places. Counted: mean CIEDE2000 between what the hidden look makes of them and what a
suggestion does, against the stills as they stand, balanced, and after the linear optimal transport between
Gaussians (F. Pitie, A. Kokaram, "The linear Monge-Kantorovitch linear colour mapping for example-based colour
transfer", CVMP 2007), one for the scout or one a still, in code values or in CIELAB, on the stills as they
stand or balanced: the best of these eight counts as the baseline. Hidden looks: those that are shipped, those
of tests/fixed_looks, and six at random (seed 7). ``--several``: all pictures of the place are references.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import lookdev
from lookdev.colorimetry.difference import ciede2000, lab_from_working, working_from_lab
from lookdev.colorimetry.encodings import SRGB, Encoding
from lookdev.colorimetry.munsell import FAMILIES
from lookdev.looks.cast import Cast
from lookdev.looks.learn.like import Suggestion, largest_step, sampled, suggest
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline
from lookdev.looks.toml_file import load_look
from lookdev.render.tasks import Task
from lookdev.render.thumbnail import reduced_to_box

Array = NDArray[np.float64]

ROOT = Path(__file__).parents[2]
EDGE_PX = 160
STOOD = Look(title="as it stood")
BALANCED = Look.model_validate({"title": "balanced", "balance": {"keep": 0.0}})


@dataclass(frozen=True, eq=False)
class Still:
    """A still of the scout: code values (h, w, 3) and what was metered."""

    place: str
    pixels: Array
    encoding: Encoding
    cast: Cast | None
    stops: float

    def through(self, look: Look) -> Array:
        """sRGB code values (PIXELS, 3) in a look."""
        signal = sampled(self.pixels)
        return np.asarray(np.clip(Pipeline(look, self.encoding, SRGB, self.cast, self.stops)(signal), 0, 1))


def stills(edge_px: int = EDGE_PX) -> list[Still]:
    """The sample scout, small."""
    found = []
    for each in lookdev.survey(lookdev.open_scout(ROOT / "sample_frames")).usable:
        box = (edge_px, edge_px)
        read = Task(each.path, thumbnail_box=box, light_xy=each.light_xy).read(reduced=True)
        pixels = reduced_to_box(read.pixels, read.encoding, box)
        top = np.iinfo(pixels.dtype).max if pixels.dtype.kind == "u" else 1.0
        found.append(
            Still(each.location, pixels / np.float64(top), read.encoding, each.cast, each.exposure_stops)
        )
    return found


def hidden_looks() -> list[Look]:
    """Shipped, of the tests, and at random."""
    shipped = [p for p in sorted((ROOT / "looks").glob("*.toml")) if p.stem != "as_it_stood"]
    fixed = sorted((ROOT / "tests" / "fixed_looks").glob("*.toml"))
    known = [load_look(path) for path in (*shipped, *fixed)]
    rng = np.random.default_rng(7)
    return known + [_random(rng, number) for number in range(6)]


def _random(rng: np.random.Generator, number: int) -> Look:
    hues = [f"5{name}" for name in FAMILIES]
    chosen = [str(name) for name in rng.choice(FAMILIES, 3, replace=False)]
    family = {k: {"chroma": rng.uniform(0.6, 1.5), "hue_deg": rng.uniform(-10, 10)} for k in chosen}
    tones = [(-3.5, rng.uniform(0, 0.02)), (3.0, rng.uniform(0, 0.015))]
    return Look.model_validate(
        {
            "title": f"random {number}",
            "exposure": {"stops": rng.uniform(-0.8, 0.5)},
            "balance": {
                "keep": float(rng.choice([0, 0.05, 0.1, 0.3])),
                "mired": rng.uniform(-35, 35),
                "duv": float(rng.normal(0, 0.002)),
            },
            "curve": {
                "contrast": rng.uniform(0.85, 1.3),
                "toe": rng.uniform(0, 0.5),
                "shoulder": rng.uniform(0, 0.5),
                "black": float(rng.choice([0, 0, 0.003, 0.01])),
            },
            "colour": {"saturation": rng.uniform(0.2, 1.2), "families": family},
            "tone": [
                {"at_stops": at, "reach_stops": 4.0, "towards": str(rng.choice(hues)), "chroma": chroma}
                for at, chroma in tones
            ],
            "skin": {"hold": float(rng.choice([0, 0.6, 0.8]))},
        }
    )


def transport(source: Array, target: Array, least: float) -> Callable[[Array], Array]:
    """The linear map (Pitie and Kokaram 2007, equation 4) between the Gaussians of two sets of colours."""

    def root(square: Array) -> Array:
        values, vectors = np.linalg.eigh(square)
        return np.asarray((vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)

    one, two = (np.cov(colours.T) + least * np.eye(3) for colours in (source, target))
    half = root(one)
    back = np.linalg.inv(half)
    matrix = back @ root(half @ two @ half) @ back
    start, end = source.mean(axis=0), target.mean(axis=0)
    return lambda colours: (colours - start) @ matrix.T + end


def shown(signal: Array) -> Array:
    """CIELAB of sRGB code values."""
    return lab_from_working(SRGB.to_working(np.clip(signal, 0, 1)))


def baselines(reference: Array, pictures: Array, wanted: Array) -> list[float]:
    """Mean CIEDE2000 (four) of transport from ``pictures`` (s, n, 3) to ``reference`` (n, 3)."""
    found = []
    for to, back, least in (
        (lambda p: p, lambda p: p, 1e-5),
        (shown, lambda p: SRGB.from_working(working_from_lab(p)), 1e-2),
    ):
        goal = to(reference)
        whole = transport(np.concatenate([to(p) for p in pictures]), goal, least)
        for each in (lambda p, m=whole: m(p), lambda p: transport(p, goal, least)(p)):  # noqa: B023
            off = [
                ciede2000(shown(back(each(to(p)))), w).mean() for p, w in zip(pictures, wanted, strict=True)
            ]
            found.append(float(np.mean(off)))
    return found


@dataclass(frozen=True)
class Case:
    """One case, mean CIEDE2000 to the hidden look's pictures; ``step`` largest of a ramp, in CIEDE2000."""

    look: str
    place: str
    stood: float
    balanced: float
    suggestions: tuple[float, float, float]
    baseline: float
    steps: tuple[tuple[float, float], ...]
    seconds: float


def case(scout: list[Still], look: Look, place: str, several: bool = False) -> Case:
    """The reference is the first still of ``place``, or all."""
    references = [s for s in scout if s.place == place][: None if several else 1]
    others = [s for s in scout if s.place != place]
    reference = np.stack([s.through(look) for s in references])
    balanced, stood = (np.stack([s.through(one) for s in others]) for one in (BALANCED, STOOD))
    wanted = np.stack([shown(s.through(look)) for s in others])
    start = time.process_time()
    found: tuple[Suggestion, ...] = suggest(reference, balanced)
    seconds = time.process_time() - start
    made = [[shown(s.through(each.look)) for s in others] for each in found]
    base = [n for p in (stood, balanced) for n in baselines(reference.reshape(-1, 3), p, wanted)]
    one, two, three = (float(ciede2000(np.stack(m), wanted).mean()) for m in made)
    return Case(
        look.title,
        place,
        float(ciede2000(shown(stood), wanted).mean()),
        float(ciede2000(shown(balanced), wanted).mean()),
        (one, two, three),
        min(base),
        tuple(largest_step(each.look) for each in found),
        seconds,
    )


def cases(scout: list[Still], count: int, several: bool = False) -> list[Case]:
    """So many, places and looks in turn."""
    looks, places = hidden_looks(), list(dict.fromkeys(s.place for s in scout))
    return [
        case(scout, looks[k % len(looks)], places[(3 * k + k // len(looks)) % len(places)], several)
        for k in range(count)
    ]


def main() -> None:
    """Print a row a case, and what they come to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=30)
    parser.add_argument("--several", action="store_true")
    asked = parser.parse_args()
    found = cases(stills(), asked.cases, asked.several)
    print("hidden look, reference: as it stood, balanced | first, second, third | baseline | steps | CPU s")
    for one in found:
        made = " ".join(f"{v:.2f}" for v in one.suggestions)
        steps = " ".join(f"{v:.2f}" for v, _ in one.steps)
        print(
            f"{one.look}, {one.place}: {one.stood:.2f} {one.balanced:.2f} | {made} | {one.baseline:.2f} | "
            f"{steps} | {one.seconds:.1f}"
        )
    first, best = np.array([c.suggestions[0] for c in found]), np.array([min(c.suggestions) for c in found])
    stood, balanced = np.array([c.stood for c in found]), np.array([c.balanced for c in found])
    base = np.array([c.baseline for c in found])
    for words, made in (("first suggestion", first), ("best of three", best)):
        print(
            f"{words}: mean {made.mean():.2f}; {made.sum() / stood.sum():.2f} of as it stood "
            f"({stood.mean():.2f}), at most half in {np.mean(made <= stood / 2):.0%}; "
            f"{made.sum() / balanced.sum():.2f} of balanced ({balanced.mean():.2f}), at most half in "
            f"{np.mean(made <= balanced / 2):.0%}, nearer in {np.mean(made < balanced):.0%}; nearer than the "
            f"baseline ({base.mean():.2f}) in {np.mean(made < base):.0%}"
        )
    steps = max(v for c in found for v, _ in c.steps)
    print(f"largest step of a ramp: {steps:.2f}, as it is {found[0].steps[0][1]:.2f}")


if __name__ == "__main__":
    main()
