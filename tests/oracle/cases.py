"""What the frozen oracle holds: the colours, and by which looks between which encodings they were graded.

``frozen.npz`` was written once (``python tests/oracle/freeze.py``, commit after 2bb9b4d) by the stages on
arrays that the compiled steps replaced. It is not to be written again from the steps that it tests. Its looks
are of the first edition of the look file (``first_edition.py``), whose families and toning were other ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.rgb_spaces import BT709, DISPLAY_P3, WORKING, matrix_between
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from oracle.first_edition import FirstEdition, load

Array = NDArray[np.float64]

FROZEN = Path(__file__).with_name("frozen.npz")
LOOKS = Path(__file__).with_name("looks")  # as they were shipped that day
LAMP = Cast((0.446, 0.4075), (0.3325, 0.3478), "a lamp under daylight balance")
SODIUM = Cast((0.533, 0.415), (0.3324, 0.3474), "sodium under daylight balance")
FAMILIES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
PAIRS = (
    ("sRGB", "sRGB", None, 0.0),
    ("sRGB", "sRGB", LAMP, 0.7),
    ("ACEScct", "BT.709", SODIUM, 0.0),
    ("ACEScg", "sRGB", None, -1.0),
    ("Display P3", "ACEScct", LAMP, 0.0),
    ("BT.2100 HLG", "sRGB", None, 0.0),
    ("BT.709", "BT.2100 PQ", SODIUM, 0.3),
    ("Adobe RGB", "BT.709 narrow", LAMP, 0.0),
)
SHIPPED = ("as_it_stood", "first_ferry", "slack_water", "soot_and_chalk", "stove_light", "wet_wool")


@dataclass(frozen=True)
class Case:
    """One look between two encodings, with what was metered."""

    name: str
    look: FirstEdition
    source: str
    target: str
    cast: Cast | None
    stops: float


def scene_colours() -> Array:
    """Scene light (n, 3), linear BT.2020: random, greys, negatives, edges of gamuts, 100 times white."""
    rng = np.random.default_rng(1414)
    grey = np.repeat(0.18 * 2.0 ** np.linspace(-14.0, 9.0, 40)[:, None], 3, axis=1)
    dull = grey[8:32:2] * (1.0 + rng.uniform(-0.04, 0.04, (12, 3)))
    light = 0.18 * 2.0 ** rng.uniform(-6.0, 4.0, (110, 3))
    below = rng.uniform(-0.05, 0.4, (30, 3))
    corners = np.array([c for c in np.ndindex(2, 2, 2) if 0 < sum(c) < 3], dtype=float)
    edges = np.concatenate(
        [
            level * np.concatenate([corners, 0.5 + 0.5 * corners]) @ matrix_between(space, WORKING).T
            for space in (BT709, DISPLAY_P3, WORKING)
            for level in (0.04, 0.5, 1.0)
        ]
    )
    wild = [[100.0, 100.0, 100.0], [100.0, 0.0, 0.0], [0.0, 0.0, 100.0], [288.0, 250.0, 200.0]]
    wild += [[-0.5, -0.5, -0.5], [-0.2, 3.0, 0.1], [2.0, -0.6, 6.0], [0.0, 0.0, 0.0], [0.9, -0.3, 2.5]]
    return np.concatenate([grey, dull, light, below, edges, np.array(wild)])


def any_data(seed: int) -> dict[str, Any]:
    """A look of the first edition with every stage but the CDL set at random over its whole range."""
    rng = np.random.default_rng(seed)
    some = rng.choice(FAMILIES, 4, replace=False)
    return {
        "title": f"any {seed}",
        "exposure": {"stops": rng.uniform(-3, 3)},
        "balance": {
            "keep": rng.uniform(0, 1),
            "mired": rng.uniform(-100, 100),
            "duv": rng.uniform(-0.03, 0.03),
        },
        "curve": {
            "contrast": rng.uniform(0.5, 3),
            "toe": rng.uniform(0, 1),
            "shoulder": rng.uniform(0, 1),
            "black": rng.uniform(0, 0.1),
            "pivot": rng.uniform(0.02, 1),
        },
        "colour": {
            "saturation": rng.uniform(0, 3),
            "families": {
                str(name): {
                    "shift": rng.uniform(-60, 60),
                    "chroma": rng.uniform(0, 2),
                    "value": rng.uniform(-0.3, 0.3),
                }
                for name in some
            },
        },
        "toning": {
            name: {"hue": f"{rng.uniform(0, 10):.1f}{rng.choice(FAMILIES)}", "amount": rng.uniform(0, 0.15)}
            for name in ("shadows", "midtones", "highlights")
        },
    }


def any_look(seed: int) -> Look:
    """A look of today with every stage but the CDL set at random over its whole range."""
    data = any_data(seed)
    rng = np.random.default_rng(seed)
    for row in data["colour"]["families"].values():
        row |= {"hue_deg": row.pop("shift"), "chroma": 2 * row["chroma"], "lightness": row.pop("value")}
    data["tone"] = [
        {
            "at_stops": rng.uniform(-8, 8),
            "reach_stops": rng.uniform(1, 12),
            "towards": tone["hue"],
            "chroma": tone["amount"],
        }
        for tone in data.pop("toning").values()
    ]
    return Look.model_validate(data)


def cdl_data(encoding: str) -> dict[str, Any]:
    """A look with a CDL in ``encoding`` behind other stages."""
    numbers = {"slope": [1.15, 1.0, 0.88], "offset": [0.01, -0.005, 0.02], "power": [1.1, 1.0, 0.92]}
    return {
        "title": f"CDL in {encoding}",
        "exposure": {"stops": 0.25},
        "colour": {"saturation": 0.9},
        "cdl": {**numbers, "saturation": 0.85, "encoding": encoding},
    }


def cases() -> list[Case]:
    """All of them, in the order in which they are frozen."""
    found = [Case(name, load(LOOKS / f"{name}.toml"), *pair) for name in SHIPPED for pair in PAIRS]
    more = [FirstEdition(any_data(seed)) for seed in range(24)]
    more += [
        FirstEdition(cdl_data(name))
        for name in ("ACEScct", "sRGB", "BT.709", "Linear BT.2020", "BT.2100 HLG")
    ] * 2
    found += [Case(look.title, look, *PAIRS[i % len(PAIRS)]) for i, look in enumerate(more)]
    return found
