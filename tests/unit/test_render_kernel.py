"""The pixel kernel: exact where it can be, the same on any number of threads, rounded half up."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from lookdev import compilation
from lookdev.colorimetry.encodings import SRGB
from lookdev.colorimetry.transfer_functions import srgb_decode
from lookdev.render import averages, kernel
from lookdev.render.lattice import CodeLattice, StillGrader, grade_fast, warm_up
from lookdev.render.reference import to_codes

Pixels = NDArray[np.uint8]


class Fixed:
    """A look given as a plain function of the signal."""

    source = target = SRGB
    is_identity = False

    def __init__(self, function: Callable[[np.ndarray], np.ndarray]) -> None:
        self.function = function

    def __call__(self, signal: np.ndarray) -> np.ndarray:
        return self.function(np.asarray(signal, dtype=np.float64))


def bent(signal: np.ndarray) -> np.ndarray:
    """Strong, with the channels mixed; smooth."""
    mixed = signal @ np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.0, 0.25, 0.75]]).T
    return mixed**1.3


def every_colour() -> Pixels:
    return kernel.unpacked(np.arange(1 << 24, dtype=np.uint32)).reshape(4096, 4096, 3)


def noise(height: int, width: int, seed: int = 0) -> Pixels:
    return np.random.default_rng(seed).integers(0, 256, (height, width, 3)).astype(np.uint8)


def test_identity_is_exact_for_all_2_to_the_24_colours_through_the_lattice() -> None:
    pixels = every_colour()
    assert np.array_equal(grade_fast(pixels, Fixed(lambda signal: signal)), pixels)


def test_a_linear_look_is_exact_and_rounded_half_up() -> None:
    """Half of every code: odd ones lie on a half, and go up."""
    pixels = every_colour()[::16]
    graded = grade_fast(pixels, Fixed(lambda signal: signal / 2))
    assert np.array_equal(graded, (pixels.astype(np.int32) + 1) // 2)


@pytest.mark.parametrize("threads", [2, 3, 7])
@pytest.mark.parametrize("size", [(1, 1), (1, 3), (2, 2), (5, 7), (301, 203)])
def test_any_number_of_threads_gives_the_same_bits(threads: int, size: tuple[int, int]) -> None:
    pixels = noise(*size)
    assert np.array_equal(
        grade_fast(pixels, Fixed(bent), threads=threads), grade_fast(pixels, Fixed(bent), threads=1)
    )


@pytest.mark.parametrize("cut", [np.s_[:, 1:], np.s_[1:], np.s_[::-1], np.s_[:, ::2], np.s_[1:, 1:4]])
def test_pixels_may_lie_anyhow_in_memory(cut: object) -> None:
    pixels = noise(33, 35)
    assert np.array_equal(grade_fast(pixels[cut], Fixed(bent)), grade_fast(pixels, Fixed(bent))[cut])


def test_read_only_pixels_are_graded_and_left_alone() -> None:
    pixels = noise(20, 20)
    pixels.flags.writeable = False
    before = pixels.copy()
    grade_fast(pixels, Fixed(bent))
    assert np.array_equal(pixels, before)


def test_a_colour_does_not_depend_on_its_neighbours_or_on_what_came_before() -> None:
    """The same colours in another still, by a lattice that has graded other stills before."""
    pixels = noise(64, 64)
    fresh = grade_fast(pixels, Fixed(bent))
    used = CodeLattice(Fixed(bent))
    for seed in (1, 2, 3):
        StillGrader(noise(50, 50, seed))(used)
    assert np.array_equal(StillGrader(pixels)(used), fresh)
    for one in (pixels[3:4, 5:6], pixels[60:61, :9]):
        start = np.argwhere((pixels == one[0, 0]).all(-1))[0]
        assert np.array_equal(grade_fast(one, Fixed(bent))[0, 0], fresh[tuple(start)])


def test_colours_are_interpolated_tetrahedrally_between_their_nodes() -> None:
    """Against the textbook form in floating point: sort the fractions, walk from corner to corner."""
    lattice = CodeLattice(Fixed(bent))
    axis = np.array([*range(0, 256, 4), 255])
    for cell in (0, 63, 64 * 63 + 5, 262143, 12345, 200000):
        low = np.array([cell & 63, cell >> 6 & 63, cell >> 12])
        codes = low * 4 + np.array([(place & 3, place >> 2 & 3, place >> 4) for place in range(64)])
        colours = kernel.packed(codes)
        lattice.graded(colours)  # works the nodes out
        got, hard = kernel.interpolate_codes(colours, 2, np.zeros(64**3, dtype=np.uint8), lattice.nodes)
        assert not hard.size
        for code, graded in zip(codes, kernel.unpacked(got), strict=True):
            fraction = (code - axis[low]) / 4
            corner, value = np.zeros(3, dtype=int), node(low, np.zeros(3, dtype=int))
            for channel in sorted(range(3), key=lambda c: -fraction[c]):
                before = node(low, corner)
                corner[channel] = 1
                value = value + fraction[channel] * (node(low, corner) - before)
            assert np.array_equal(graded, to_codes(value / 255, 8))


@pytest.mark.parametrize("size", [(1, 1), (3, 1), (4, 1), (5, 1), (37, 41)])
def test_numbers_stand_for_the_colours_of_the_pixels(size: tuple[int, int]) -> None:
    for seed in range(3):  # the scratch table comes back clean
        pixels = noise(*size, seed).reshape(-1, 3) // 64
        numbers = pixels.copy()
        colours = kernel.number_colours(numbers)
        assert len(np.unique(colours)) == len(colours) == len(np.unique(pixels, axis=0))
        assert np.array_equal(kernel.unpacked(colours[kernel.packed(numbers)]), pixels)


def node(low: np.ndarray, corner: np.ndarray) -> np.ndarray:
    """The look at a corner of a cell; beyond code 255 on the straight line from code 252 through 255."""
    axis = np.array([*range(0, 256, 4), 255])
    outer = (low + corner) == 64
    value = bent(axis[low + corner] / 255) * 255
    if outer.any():
        inner = bent(axis[low + np.where(outer, 0, corner)] / 255) * 255
        value = inner + (value - inner) * 4 / 3
    return value


def test_light_is_averaged_and_not_code_values() -> None:
    check = np.zeros((8, 8, 3), dtype=np.uint8)
    check[::2, ::2] = check[1::2, 1::2] = 255
    light = srgb_decode(np.repeat(np.arange(256)[:, None] / 255, 3, 1)).astype(np.float32)
    small = averages.average_in_light(check, light, (4, 4))
    assert small.shape == (4, 4, 3)
    assert np.allclose(small, 0.5, atol=1e-6)


@pytest.mark.parametrize("size", [(31, 26), (15, 13), (8, 5), (7, 1), (1, 1), (30, 25)])
def test_rectangles_are_the_mean_of_their_light(size: tuple[int, int]) -> None:
    """Against each pixel cut into as many equal parts as there are rectangles on its side."""
    pixels = noise(26, 31)
    light = np.linspace(0, 1, 256)[:, None] ** np.array([2.2, 1.8, 2.6])
    each = np.stack([light[pixels[..., c], c] for c in range(3)], -1)
    fine = each.repeat(size[1], axis=0).reshape(size[1], 26, 31, 3).mean(1)
    mean = fine.repeat(size[0], axis=1).reshape(size[1], size[0], 31, 3).mean(2)
    assert np.allclose(averages.average_in_light(pixels, light.astype(np.float32), size), mean, atol=1e-6)


def test_codes_of_light_are_counted_exactly() -> None:
    halves = (np.arange(255) + 0.5) / 255
    edges = np.stack([halves**2.2, halves, srgb_decode(halves)]).astype(np.float32)
    rng = np.random.default_rng(3)
    light = np.concatenate([rng.random((60, 80, 3)) ** 4, rng.uniform(-1, 2, (60, 80, 3))]).astype(np.float32)
    light[0] = edges.T[:80]  # on an edge is over it
    light[1] = np.nextafter(edges.T[:80], np.float32(-1))
    wanted = [np.searchsorted(edges[c], light[..., c], side="right") for c in range(3)]
    found = np.empty(light.shape, dtype=np.uint8)
    averages.Edges(edges).codes(light, found)
    assert np.array_equal(found, np.stack(wanted, -1))


@pytest.mark.parametrize("size", [(30, 25), (11, 20), (31, 1)])
def test_averages_in_codes_are_those_in_light(size: tuple[int, int]) -> None:
    pixels = noise(40, 31)
    halves = (np.arange(255) + 0.5) / 255
    edges = averages.Edges(np.stack([halves**2.2, halves, srgb_decode(halves)]).astype(np.float32))
    ramp = np.arange(256) / 255
    light = np.stack([ramp**2.2, ramp, srgb_decode(ramp)], -1).astype(np.float32)
    whole = np.empty((size[1], size[0], 3), dtype=np.uint8)
    edges.codes(averages.average_in_light(pixels, light, size), whole)
    assert np.array_equal(averages.average_to_codes(pixels, light, edges, size), whole)


def test_the_first_use_says_that_it_compiles(monkeypatch: pytest.MonkeyPatch, tmp_path: object) -> None:
    said: list[str] = []
    monkeypatch.setattr(compilation, "_folder", lambda: tmp_path)
    warm_up(said.append)
    assert said == ["compiling the pixel kernels, once, some six seconds of work; later runs load them"]


def test_a_second_use_says_nothing() -> None:
    warm_up()
    said: list[str] = []
    warm_up(said.append)
    assert said == []
