"""Cells in quarters, and pixels of few colours: what they save is calls of the look, not its accuracy."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
import pytest

from lookdev.colorimetry.encodings import SRGB, get_encoding
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Transform
from lookdev.render import grid_lattice
from lookdev.render.distinct import distinct
from lookdev.render.grid_lattice import GridLattice
from lookdev.render.reference import to_codes
from lookdev.stills.still import signal_of


class Kinked:
    """Light that is lifted from some grey on, with a corner there; counts what it is given."""

    is_identity = False

    def __init__(self, source: str, top: float) -> None:
        self.source, self.target, self.top, self.given = get_encoding(source), SRGB, top, 0
        self.slope = 2.5

    def __call__(self, signal: Any) -> Any:
        self.given += len(signal)
        x = np.asarray(signal, dtype=np.float64) / self.top
        return 0.5 * x + self.slope * np.maximum(0.0, x @ [[0.2], [0.7], [0.1]] - 0.302)


def kinked(source: str = "sRGB", top: float = 1.0) -> tuple[Transform, Kinked]:
    look = Kinked(source, top)
    return look, look  # type: ignore[return-value]


def around(middle: float, spread: float, count: int = 60_000) -> np.ndarray:
    """Colours about the kink, where the look bends in its cell."""
    return np.random.default_rng(1).uniform(middle - spread, middle + spread, (count, 3))


@pytest.mark.parametrize("dtype", [np.uint16, np.float32])
def test_a_cell_with_a_corner_is_within_a_code_and_seldom_goes_through_the_look(dtype: type) -> None:
    transform, look = kinked()
    signal = around(0.302, 0.004)
    pixels = np.floor(signal * 65535 + 0.5).astype(dtype) if dtype is np.uint16 else signal.astype(dtype)
    exact = to_codes(look(signal_of(pixels)), 8).astype(int)
    look.given = 0
    out = np.empty(pixels.shape, np.uint8)
    lattice = GridLattice(transform, divides=True)
    lattice.grade(pixels, out)
    assert np.abs(out - exact).max() <= 1
    assert look.given < 5_000  # of 60,000
    assert not lattice._quarters.is_empty


def test_without_quarters_they_would_go_through_the_look(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(grid_lattice, "QUARTERED_BEND_CODES", 0.0)
    monkeypatch.setattr(grid_lattice, "QUARTERED_AT_ONCE", 0.0)
    transform, look = kinked()
    pixels = around(0.302, 0.004).astype(np.float32)
    GridLattice(transform, divides=True).grade(pixels, np.empty(pixels.shape, np.uint8))
    assert look.given > 20_000


def test_four_looks_at_once_in_four_threads_are_each_alone_to_the_byte() -> None:
    looks: list[Any] = [kinked(top=top)[0] for top in (1.0, 1.002, 0.9)]
    looks.insert(1, Look.model_validate({"title": "x", "curve": {"contrast": 1.3}}).transform(SRGB, SRGB))
    pixels = np.concatenate(
        [np.floor(around(m, 0.03, 40_000) * 65535).astype(np.uint16) for m in (0.302, 0.27, 0.5)]
    )
    alone = []
    for look in looks:
        alone.append(np.empty(pixels.shape, np.uint8))
        GridLattice(look, divides=True).grade(pixels, alone[-1])
    lattice = GridLattice(*looks, divides=True)
    together = [np.empty(pixels.shape, np.uint8) for _ in looks]

    def part(start: int) -> None:
        some = slice(start, start + 30_000)
        lattice.grade_all(pixels[some], [out[some] for out in together])

    threads = [threading.Thread(target=part, args=(start,)) for start in range(0, 120_000, 30_000)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(np.array_equal(a, b) for a, b in zip(alone, together, strict=True))


def test_of_pixels_of_few_colours_each_colour_goes_through_the_look_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A look that jumps, so that no division of a cell does."""

    class Jumping(Kinked):
        def __call__(self, signal: Any) -> Any:
            self.given += len(signal)
            x = np.asarray(signal, dtype=np.float64)
            return np.where(x @ [[0.2], [0.7], [0.1]] > 0.298, 0.6, 0.4) * np.ones(3)

    look: Any = Jumping("sRGB", 1.0)
    pixels = np.random.default_rng(2).integers(19_520, 19_540, (200_000, 3)).astype(np.uint16)
    out, plain = np.empty(pixels.shape, np.uint8), np.empty(pixels.shape, np.uint8)
    GridLattice(look, divides=True).grade(pixels, out)
    assert look.given < 20**3 + 3_000
    monkeypatch.setattr(grid_lattice, "MANY", 1 << 40)
    GridLattice(look, divides=True).grade(pixels, plain)
    assert look.given > 200_000 and np.array_equal(out, plain)


def test_distinct_colours_against_numpy() -> None:
    rng = np.random.default_rng(3)
    codes = rng.integers(0, 9, (5000, 3)).astype(np.uint16) * 8191
    at = rng.permutation(5000)[:3000]
    colours, number = distinct(codes, at)
    assert np.array_equal(colours[number], codes[at])
    assert len(colours) == len(np.unique(codes[at], axis=0))
    none, empty = distinct(codes, at[:0])
    assert len(none) == 0 and len(empty) == 0
