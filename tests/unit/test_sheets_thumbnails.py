"""Small pictures are means of light, not of code values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.encodings import SRGB, get_encoding
from lookdev.colorimetry.transfer_functions import srgb_decode
from lookdev.errors import SheetError
from lookdev.pages.thumbnails import fit_size, resize_srgb, thumbnail


def check(size: int) -> np.ndarray:
    rows, columns = np.indices((size, size))
    return np.repeat(((rows + columns) % 2 * 255).astype(np.uint8)[..., None], 3, axis=2)


def test_half_black_half_white_is_half_the_light():
    """IEC 61966-2-1: linear 0.5 is sRGB 0.7354, code 188 (187.5); averaging codes would give 128."""
    assert np.all(resize_srgb(check(64), (16, 16)) == 188)
    assert np.all(thumbnail(check(64), SRGB, (16, 16)) == 188)


@pytest.mark.parametrize("size", [(7, 11), (40, 63), (64, 96)])
def test_mean_light_is_kept_at_uneven_ratios(size):
    picture = np.random.default_rng(1).integers(0, 256, (128, 192, 3), dtype=np.uint8)
    small = resize_srgb(picture, size)
    before, after = (srgb_decode(p / 255.0).mean(axis=(0, 1)) for p in (picture, small))
    assert after == pytest.approx(before, abs=2e-3)


def test_same_size_is_untouched():
    picture = np.random.default_rng(2).integers(0, 256, (30, 40, 3), dtype=np.uint8)
    assert np.array_equal(resize_srgb(picture, (30, 40)), picture)


def test_a_flat_picture_stays_flat_at_every_code():
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[:, None, None], 3, axis=2)
    flat = np.repeat(np.repeat(ramp, 4, axis=0), 4, axis=1)
    assert np.array_equal(resize_srgb(flat, (256, 1)), ramp)


def test_another_encoding_is_converted():
    """Display P3 red (1, 0, 0) lies outside sRGB and clips; P3 white is sRGB white (same white, D65)."""
    p3 = get_encoding("Display P3")
    assert np.all(thumbnail(np.full((8, 8, 3), 1.0), p3, (4, 4)) == 255)
    red = thumbnail(np.broadcast_to(np.array([1.0, 0.0, 0.0]), (8, 8, 3)).copy(), p3, (4, 4))
    assert red[0, 0].tolist() == [255, 0, 0]


def test_depths_agree():
    eight = np.random.default_rng(3).integers(0, 256, (40, 60, 3), dtype=np.uint8)
    sixteen = (eight.astype(np.uint16) * 257).astype(np.uint16)
    wanted = thumbnail(eight, SRGB, (20, 30))
    assert np.array_equal(thumbnail(sixteen, SRGB, (20, 30)), wanted)
    assert np.array_equal(thumbnail(eight / 255.0, SRGB, (20, 30)), wanted)


def test_a_small_picture_is_not_enlarged():
    assert thumbnail(check(8), SRGB, (100, 100)).shape == (8, 8, 3)


@given(*(st.integers(1, 5000) for _ in range(4)))
def test_fit_size_fits_and_keeps_the_shape(height, width, box_height, box_width):
    h, w = fit_size((height, width), (box_height, box_width))
    assert 1 <= h <= box_height and 1 <= w <= box_width
    scale = min(box_height / height, box_width / width)
    assert abs(h - height * scale) <= 1 and abs(w - width * scale) <= 1


def test_bad_input_is_named():
    with pytest.raises(SheetError, match="at least one pixel"):
        fit_size((0, 3), (4, 4))
    with pytest.raises(SheetError, match="three channels"):
        thumbnail(np.zeros((4, 4), np.uint8), SRGB, (2, 2))
