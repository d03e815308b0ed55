"""The lattice path against the float64 reference, for every shipped look.

CIEDE2000 mean at most 0.02, 99th percentile at most 0.15, over 200,000 random colours and over the shipped
frames. Measured on the unrounded signal: rounding to 8 bits, which both paths do, is worth more than that.
"""

from __future__ import annotations

import gc
import weakref
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000, lab_from_xyz
from lookdev.colorimetry.encodings import ACESCCT, BT709, DISPLAY_P3, LINEAR_WORKING, SRGB, Encoding
from lookdev.colorimetry.temperature import balance_white_xy, xy_from_cct
from lookdev.jobs.graded import plan_tasks
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.toml_file import load_look
from lookdev.meter.scout import load_scout
from lookdev.render import kernel
from lookdev.render.grader import target_of
from lookdev.render.grid_kernel import TOP, Band
from lookdev.render.grid_lattice import ENCODED, SCENE_STOPS, GridLattice, Shaper, shaper_for
from lookdev.render.lattice import (
    CodeLattice,
    LatticeStore,
    StillGrader,
    grade_fast,
    lattice_for,
)
from lookdev.render.reference import grade_reference, to_codes
from lookdev.stills.raw import Gain
from lookdev.stills.reader import read_still
from lookdev.stills.still import signal_of
from lookdev.survey.survey import survey

ROOT = Path(__file__).parents[2]
LOOKS = {path.stem: load_look(path) for path in sorted((ROOT / "looks").glob("*.toml"))}
TUNGSTEN = Cast(tuple(xy_from_cct(2850.0)), tuple(balance_white_xy(5600.0)), "a lamp under daylight balance")
RAW = replace(LINEAR_WORKING, name="raw", decode=Gain(1.4), encode=Gain(1.4, inverse=True))
MEAN, P99 = 0.02, 0.15
ONE_OFF, FAR_OFF, MOST_OFF = 0.05, 1e-4, 12
"""Our bounds on 8-bit codes of random colours: how often off at all, by more than four, and the worst. At the
edge of the gamut a look bends at once, and cells are wide."""

Array = NDArray[np.float64]


def difference(one: Array, other: Array, encoding: Encoding) -> Array:
    """CIEDE2000 between two signals (n, 3) of one encoding."""
    labs = [
        lab_from_xyz(encoding.decode(signal) @ encoding.space.to_xyz.T, encoding.space.white_xy)
        for signal in (one, other)
    ]
    return np.asarray(ciede2000(labs[0], labs[1]))


def unrounded(lattice: CodeLattice, pixels: NDArray[np.uint8]) -> Array:
    """What the lattice says of pixels (n, 3) before it is rounded to codes."""
    graded = StillGrader(pixels[None])(lattice)[0]
    nodes = (lattice.nodes / 2.0**kernel.FRACTION_BITS).astype(np.float32)
    signal = kernel.interpolate((pixels / 4).astype(np.float32), nodes) / 255.0
    signal = np.clip(signal.astype(np.float64), 0, 1)
    exact = lattice.is_exact(kernel.packed(pixels))
    signal[exact] = lattice.transform(pixels[exact] / 255.0)
    assert np.abs(to_codes(signal, 8).astype(int) - graded).max() <= 1  # ties between float32 and integers
    return signal


def unrounded_grid(lattice: GridLattice, pixels: NDArray[np.generic]) -> Array:
    """The same for pixels (n, 3) of 16 bits or floats: between nodes where the lattice is smooth."""
    graded = StillGrader(pixels[None])(lattice)[0]
    band = Band(len(pixels))
    lattice._place(pixels, band)
    grid = np.ascontiguousarray(band.grid.T)
    red, green, blue = np.clip(grid, 0, 127).astype(int).T
    inside = ((grid >= 0) & (grid <= 128)).all(axis=1)
    smooth = inside & (lattice._kinds[blue, green, red] == 1 << 8)
    assert smooth.any()
    signal = lattice.transform(signal_of(pixels))
    nodes = np.ascontiguousarray(lattice.nodes[..., :3] / np.float32(TOP))
    signal[smooth] = kernel.interpolate(grid[smooth], nodes)
    assert np.abs(to_codes(signal, 8).astype(int) - graded).max() <= 1
    return signal


@pytest.mark.parametrize("cast", [None, TUNGSTEN], ids=["alone", "balanced"])
@pytest.mark.parametrize("name", LOOKS)
def test_random_colours_lie_within_the_stated_error(name: str, cast: Cast | None) -> None:
    pixels = np.random.default_rng(1).integers(0, 256, (200_000, 3)).astype(np.uint8)
    transform = LOOKS[name].transform(SRGB, SRGB, cast)
    if transform.is_identity:
        assert np.array_equal(grade_fast(pixels[None], transform)[0], pixels)
        return
    off = difference(unrounded(CodeLattice(transform), pixels), transform(pixels / 255.0), SRGB)
    print(f"{name}: mean {off.mean():.4f}, p99 {np.percentile(off, 99):.3f}, max {off.max():.2f}")
    assert off.mean() <= MEAN
    assert np.percentile(off, 99) <= P99
    assert off.max() <= 2.5


@pytest.mark.parametrize("name", LOOKS)
def test_shipped_frames_lie_within_the_stated_error(name: str, tmp_path: Path) -> None:
    """Each frame with its own reading's balance, as a batch would grade it."""
    tasks = plan_tasks(survey(load_scout(ROOT / "sample_frames")), (LOOKS[name],), tmp_path)
    assert tasks
    for task in tasks.values():
        still = read_still(task.still)
        pixels = np.ascontiguousarray(still.pixels[::3, ::3].reshape(-1, 3))
        output = task.outputs[0]
        transform = output.look.transform(
            still.encoding, target_of(output, still), output.cast, output.exposure_stops
        )
        exact = transform(signal_of(pixels))
        if transform.is_identity:
            fast = signal_of(pixels)
        elif pixels.dtype == np.uint8:
            fast = unrounded(CodeLattice(transform), pixels)
        else:
            fast = unrounded_grid(GridLattice(transform), pixels)
        off = difference(fast, exact, transform.target)
        numbers = f"mean {off.mean():.4f}, p99 {np.percentile(off, 99):.3f}, max {off.max():.2f}"
        print(f"{name} {task.still.name}: {numbers}")
        assert off.mean() <= MEAN, task.still.name
        assert np.percentile(off, 99) <= P99, task.still.name


@pytest.mark.parametrize("name", LOOKS)
def test_codes_are_seldom_one_off_and_never_far(name: str) -> None:
    pixels = np.random.default_rng(2).integers(0, 256, (1, 50_000, 3)).astype(np.uint8)
    transform = LOOKS[name].transform(DISPLAY_P3, BT709, TUNGSTEN)
    off = np.abs(grade_fast(pixels, transform).astype(int) - grade_reference(pixels, transform))
    assert (off > 0).mean() < ONE_OFF
    assert (off > 4).mean() < FAR_OFF  # yellows whose red and green are both nearly full
    assert off.max() <= MOST_OFF


@pytest.mark.parametrize("name", LOOKS)
def test_greys_and_the_darkest_colours_of_a_bending_look_are_near_exact(name: str) -> None:
    greys = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)[None]
    dark = np.random.default_rng(3).integers(0, 24, (1, 5000, 3)).astype(np.uint8)
    transform = LOOKS[name].transform(SRGB, SRGB)
    assert np.array_equal(grade_fast(dark, transform), grade_reference(dark, transform))
    assert np.abs(grade_fast(greys, transform).astype(int) - grade_reference(greys, transform)).max() <= 1


@pytest.mark.parametrize("source", [SRGB, ACESCCT, RAW], ids=lambda e: e.name)
@pytest.mark.parametrize("name", LOOKS)
def test_16_bit_pixels_are_seldom_more_than_one_code_off(name: str, source: Encoding) -> None:
    rng = np.random.default_rng(4)
    codes = rng.integers(0, 65536, (1, 40_000, 3)).astype(np.uint16)
    if source.state == "scene":  # colours that light can have: BT.2020 within nine stops around grey
        light = 0.18 * 2.0 ** rng.uniform(-6, 4, (1, 40_000, 3))
        codes = to_codes(source.from_working(light), 16).astype(np.uint16)
    transform = LOOKS[name].transform(source, SRGB)
    off = difference(unrounded_grid(GridLattice(transform), codes[0]), transform(signal_of(codes[0])), SRGB)
    print(f"{name} {source.name}: mean {off.mean():.4f}, p99 {np.percentile(off, 99):.3f}")
    assert off.mean() <= MEAN
    assert np.percentile(off, 99) <= P99
    wanted = grade_reference(codes, transform)
    for divides in (False, True):
        lattice = GridLattice(transform, divides=divides)
        off = StillGrader(codes)(lattice).astype(int) - wanted
        print(f"{name} {source.name}: {(off != 0).any(axis=-1).mean():.4f} of the pixels off by one code")
        off = np.abs(off)
        assert (off > 0).mean() < ONE_OFF
        assert (off > 1).mean() < 2e-3  # ours: at the gamut's edge, where light is over ten stops
        assert off.max() <= MOST_OFF


@pytest.mark.parametrize("name", LOOKS)
def test_linear_scene_light_goes_through_a_shaper_in_stops(name: str) -> None:
    rng = np.random.default_rng(5)
    grey = 2.0 ** rng.uniform(-9, 5, (40_000, 1))
    light = (0.18 * grey * 2.0 ** rng.normal(0, 0.7, (40_000, 3))).astype(np.float32)[None]
    transform = LOOKS[name].transform(LINEAR_WORKING, SRGB)
    off = difference(unrounded_grid(GridLattice(transform), light[0]), transform(signal_of(light[0])), SRGB)
    print(f"{name}: mean {off.mean():.4f}, p99 {np.percentile(off, 99):.3f}")
    assert off.mean() <= MEAN
    assert np.percentile(off, 99) <= P99
    wanted = grade_reference(light, transform)
    for divides in (False, True):
        lattice = GridLattice(transform, divides=divides)
        off = StillGrader(light)(lattice).astype(int) - wanted
        off = np.abs(off)
        assert (off > 0).mean() < ONE_OFF
        assert (off > 1).mean() < 2e-3  # ours: at the gamut's edge, where light is over ten stops
        assert off.max() <= MOST_OFF


def test_light_outside_the_shaper_goes_through_the_look_itself() -> None:
    light = np.array([[[-0.5, 0.1, 0.2], [100.0, 40.0, 1000.0], [0.18, 0.18, 0.18]]], dtype=np.float32)
    transform = LOOKS["slack_water"].transform(LINEAR_WORKING, SRGB)
    graded = grade_fast(light, transform)
    assert np.array_equal(graded[0, :2], grade_reference(light, transform)[0, :2])
    assert np.isfinite(grade_fast(light, transform)).all()


@pytest.mark.parametrize("shaper", [SCENE_STOPS, Shaper(0.0, 1.0), Shaper(-0.1, 2.0, stops=True)])
def test_a_shaper_goes_there_and_back_and_its_ends_are_0_and_1(shaper: Shaper) -> None:
    signal = np.linspace(shaper.low, shaper.high, 1001)
    position = np.asarray(shaper.to_grid(signal))
    assert position[0] == 0
    assert position[-1] == pytest.approx(1, abs=1e-12)
    assert (np.diff(position) > 0).all()
    assert np.allclose(shaper.from_grid(position), signal, atol=1e-9)


@pytest.mark.parametrize("dtype", ["u1", "u2", "f4"])
def test_16_bit_results_are_the_looks_own(dtype: str) -> None:
    """To the bit: a ramp in 65,536 codes shows where two cells of a lattice meet."""
    rng = np.random.default_rng(9)
    top = 1.5 if dtype == "f4" else float(np.iinfo(dtype).max)
    pixels = (rng.random((50, 400, 3)) * top).astype(dtype)
    transform = LOOKS["last_crossing"].transform(LINEAR_WORKING if dtype == "f4" else SRGB, SRGB)
    assert np.array_equal(grade_fast(pixels, transform, bits=16), grade_reference(pixels, transform, bits=16))


def test_a_picture_is_the_same_whoever_came_before() -> None:
    """Cells are judged as they are met: the result does not depend on which picture met them first."""
    rng = np.random.default_rng(8)
    near = rng.integers(20_000, 30_000, (2, 3000, 3)).astype(np.uint16)
    transform = LOOKS["slack_water"].transform(SRGB, SRGB)
    alone = StillGrader(near[1:])(GridLattice(transform, divides=True))
    lattice = GridLattice(transform, divides=True)
    StillGrader(near[:1])(lattice)
    assert np.array_equal(StillGrader(near[1:])(lattice), alone)
    off = np.abs(alone.astype(int) - grade_reference(near[1:], transform))
    assert off.max() <= 1


def test_8_bit_pixels_may_become_16_bit_ones() -> None:
    pixels = np.random.default_rng(6).integers(0, 256, (40, 50, 3)).astype(np.uint8)
    transform = LOOKS["first_ferry"].transform(SRGB, SRGB)
    deep = grade_fast(pixels, transform, bits=16)
    assert deep.dtype == np.uint16
    assert np.abs(deep / 257.0 - grade_fast(pixels, transform)).max() < 3


def test_one_grader_serves_looks_of_every_kind_in_any_order() -> None:
    """Also where the picture's own memory is used up: numbers in place of colours, and back."""
    pixels = np.random.default_rng(7).integers(0, 256, (60, 90, 3)).astype(np.uint8)
    wet, plain = (LOOKS[name].transform(SRGB, SRGB) for name in ("wet_wool", "as_it_stood"))
    jobs = [(plain, 8), (wet, 8), (wet, 16), (plain, 8), (plain, 16), (wet, 8)]
    for consume in (False, True):
        own = pixels.copy()
        grader = StillGrader(own, consume=consume)
        for transform, bits in jobs:
            got = grader(lattice_for(transform, pixels.dtype, bits), bits)
            assert np.array_equal(got, grade_fast(pixels, transform, bits=bits))
        for transform in (wet, plain):
            fresh = StillGrader(pixels.copy(), consume=consume)
            got = fresh(lattice_for(transform, pixels.dtype, 8), last=True)
            assert np.array_equal(got, grade_fast(pixels, transform))
        grader.close()
        assert consume or np.array_equal(own, pixels)


def test_the_store_keeps_the_lattices_last_used() -> None:
    store = LatticeStore(limit_bytes=2 * CodeLattice(Look(title="any").transform(SRGB, SRGB)).nodes.nbytes)
    transform = Look(title="any").transform(SRGB, SRGB)
    made = []

    def make() -> CodeLattice:
        made.append(1)
        return CodeLattice(transform)

    first = store.get("a", make)
    store.get("b", make)
    assert store.get("a", make) is first
    store.get("c", make)
    assert store.get("a", make) is first
    store.get("b", make)
    assert len(made) == 4


@pytest.mark.parametrize("kind", [CodeLattice, GridLattice])
def test_a_lattice_that_nobody_wants_is_freed_at_once(kind: type[CodeLattice] | type[GridLattice]) -> None:
    """Those of a card of raw files take 150 MB each, and the collector does not see how large a thing is."""
    dtype = np.uint8 if kind is CodeLattice else np.uint16
    lattice = kind(LOOKS["slack_water"].transform(SRGB, SRGB))
    StillGrader(np.full((2, 2, 3), 100, dtype=dtype))(lattice)
    gone = weakref.ref(lattice)
    gc.disable()
    try:
        del lattice
        assert gone() is None
    finally:
        gc.enable()


def test_a_thread_that_holds_a_lattices_memory_finds_no_new_cell_in_it() -> None:
    """It sees the kinds that another one sets, while what that one writes is in memory that it has not."""
    rng = np.random.default_rng(12)
    lattice = GridLattice(LOOKS["slack_water"].transform(SRGB, SRGB), divides=True)
    grown = 0
    for _ in range(4):
        held, known = lattice._divided, lattice._kinds.copy()
        StillGrader(rng.integers(0, 65536, (1, 3000, 3)).astype(np.uint16))(lattice)
        divided = (lattice._kinds[known == 0] >> 8) - 2
        divided = divided[divided >= 0]
        if lattice._divided is not held:
            grown += 1
            assert divided.min() >= len(held)
    assert grown > 1


def test_what_a_look_makes_of_a_picture_does_not_depend_on_those_beside_it() -> None:
    """Up to four looks share a lattice of 16-bit pixels; each divides its own cells, or none."""
    rng = np.random.default_rng(11)
    pixels = rng.integers(0, 65536, (1, 30_000, 3)).astype(np.uint16)
    names = ("slack_water", "as_it_stood", "last_crossing", "soot_and_chalk")
    transforms = [LOOKS[name].transform(SRGB, SRGB) for name in names]
    together = StillGrader(pixels).several(GridLattice(*transforms, divides=True))
    backwards = StillGrader(pixels).several(GridLattice(*transforms[::-1], divides=True))[::-1]
    for transform, one, other in zip(transforms, together, backwards, strict=True):
        alone = StillGrader(pixels)(GridLattice(transform, divides=True))
        assert np.array_equal(one, alone)
        assert np.array_equal(other, alone)


def test_codes_of_a_raw_file_lie_in_cells_of_a_few_codes_of_the_result() -> None:
    """Light in a unit of its own is spread as light is, not as encoded pixels are."""
    shaper = shaper_for(RAW)
    cells = SRGB.encode(shaper.from_grid(np.linspace(0, 1, 129)) * 1.4)
    assert np.diff(cells[cells < 1]).max() < 5 / 255
    assert shaper_for(SRGB) == ENCODED
    assert shaper_for(LINEAR_WORKING) == SCENE_STOPS
