"""Hypothesis against the parsers in lookdev/stills that are our own: any bytes, a StillError or an answer."""

from __future__ import annotations

import struct
from contextlib import suppress

import numpy as np
import pytest
from hostile.guard import no_hang
from hypothesis import given, settings
from hypothesis import strategies as st
from still_files import curv, fixed, para, rgb_profile

from lookdev.errors import StillError
from lookdev.stills.exif import metadata_from_exif
from lookdev.stills.formats import SUFFIXES, sniff
from lookdev.stills.icc import encoding_from_icc, parse_curve, parse_profile
from lookdev.stills.jpeg import cut_to_whole_segments, scan_extent
from lookdev.stills.marking import encoding_from_code_points, space_from_chromaticities
from lookdev.stills.png import chunks_before_pixels

pytestmark = pytest.mark.filterwarnings("ignore::UserWarning:PIL")
fuzz = settings(max_examples=300, deadline=1000, derandomize=True)
JPEG_HEADS = st.sampled_from([b"", b"\xff\xd8", b"\xff\xd8\xff\xe0\0\x10", b"\xff\xd8\xff\xda\0\x02"])
HEADS = st.sampled_from(
    [
        b"",
        b"\xff\xd8\xff",
        b"\x89PNG\r\n\x1a\n",
        b"II*\0\x08\0\0\0\xff\xff",
        b"MM\0*\0\0\0\x08",
        b"\0\0\0\x20ftypheic",
    ]
)


@fuzz
@given(HEADS, st.binary(max_size=200), st.sampled_from([".jpg", ".dng", ".tif", ".png", ""]))
def test_sniff(head: bytes, rest: bytes, suffix: str) -> None:
    assert sniff(head + rest, suffix) in {None, *SUFFIXES}


@fuzz
@given(JPEG_HEADS, st.binary(max_size=600))
def test_jpeg_segments(head: bytes, rest: bytes) -> None:
    data = head + rest
    first, end = scan_extent(data)
    assert end is None or data[end - 2 : end] == b"\xff\xd9"
    assert first is None or data[first : first + 2] == b"\xff\xda"
    cut = cut_to_whole_segments(data)
    assert cut.endswith(b"\xff\xd9") and len(cut) <= len(data) + 2


@fuzz
@given(
    st.lists(st.tuples(st.integers(0, 2**32 - 1), st.binary(min_size=4, max_size=4), st.binary(max_size=40)))
)
def test_png_chunks(parts: list[tuple[int, bytes, bytes]]) -> None:
    data = b"\x89PNG\r\n\x1a\n" + b"".join(struct.pack(">I", n) + kind + body for n, kind, body in parts)
    for kind, body in chunks_before_pixels(data).items():
        assert kind + body in data


@fuzz
@given(st.binary(max_size=400))
def test_exif(data: bytes) -> None:
    metadata_from_exif(data)
    metadata_from_exif(b"Exif\0\0II*\0\x08\0\0\0" + data)


@fuzz
@given(st.binary(max_size=300), st.integers(0, 40))
def test_profile_tags(body: bytes, count: int) -> None:
    data = b"\0" * 36 + b"acsp" + b"\0" * 88 + struct.pack(">I", count) + body
    with suppress(StillError):
        parse_profile(data)
    with suppress(StillError):
        parse_profile(body)


numbers = st.floats(-4, 4, allow_nan=False)


@fuzz
@given(st.integers(0, 6), st.lists(numbers, min_size=7, max_size=7))
def test_parametric_curves(kind: int, values: list[float]) -> None:
    """ICC.1:2022 table 68: whatever is accepted decodes and encodes to numbers."""
    with suppress(StillError):
        curve = parse_curve(para(kind, *values))
        x = np.linspace(-0.5, 1.5, 101)
        light = curve(x)
        assert np.all(np.isfinite(light)) and np.all(np.isfinite(curve.inverse(np.linspace(-2, 3, 101))))


@fuzz
@given(st.lists(st.integers(0, 65535), min_size=2, max_size=40))
def test_table_curves(entries: list[int]) -> None:
    with suppress(StillError):
        curve = parse_curve(curv(*entries))
        x = np.arange(256) / 255
        light = curve(x)
        assert np.all(np.diff(light) > 0)
        assert np.floor(curve.inverse(light) * 255 + 0.5).astype(int).tolist() == list(range(256))


@fuzz
@given(st.lists(st.floats(-2, 3, allow_nan=False), min_size=9, max_size=9))
def test_colorants(values: list[float]) -> None:
    icc = rgb_profile(curv(563), colorants=(values[:3], values[3:6], values[6:]))
    with suppress(StillError):
        encoding = encoding_from_icc(icc)
        white = encoding.to_working([1.0, 1.0, 1.0])
        assert np.allclose(white, 1.0, atol=1e-6)
        assert np.all(np.isfinite(encoding.from_working([0.2, 0.5, 0.1])))


@fuzz
@given(st.lists(st.floats(allow_nan=True, allow_infinity=True, width=32), min_size=8, max_size=8))
def test_chromaticities(values: list[float]) -> None:
    space = space_from_chromaticities(values)
    assert space is None or np.all(np.isfinite(space.from_xyz))


@fuzz
@given(st.integers(0, 255), st.integers(0, 255), st.booleans())
def test_code_points(primaries: int, transfer: int, full: bool) -> None:
    found = encoding_from_code_points(primaries, transfer, full_range=full)
    assert found is None or np.all(np.isfinite(found.to_working([0.0, 0.5, 1.0])))


def test_a_million_markers_are_refused_at_once() -> None:
    with no_hang(), pytest.raises(StillError, match="marker segments"):
        scan_extent(b"\xff\xd8" + b"\xff\x01" * 5_000_000)


def test_fixed_numbers_are_as_icc_writes_them() -> None:
    """ICC.1:2022 4.6, table 3: s15Fixed16Number 1.0 is 00010000h, -32768 is 80000000h."""
    assert fixed(1.0, -32768.0).hex() == "0001000080000000"
