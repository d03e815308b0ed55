"""Memory that goes from still to still: nothing of one is ever seen in another."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from still_files import picture

from lookdev.render.buffers import BUFFERS, Buffers, Loan
from lookdev.stills import jpeg
from lookdev.stills.reader import read_still


def test_memory_of_the_same_size_comes_again() -> None:
    buffers = Buffers()
    first = buffers.take(1000)
    buffers.give(first)
    assert buffers.take(1000) is first
    assert buffers.take(1000) is not first


def test_a_still_at_half_size_does_not_cost_the_others_their_memory() -> None:
    buffers = Buffers()
    whole = buffers.take(4000)
    buffers.give(whole)
    half = buffers.take(1000)
    buffers.give(half)
    assert buffers.take(1000) is half
    assert buffers.take(4000) is whole
    buffers.give(whole)
    buffers.take(3000)  # of another size of still
    assert buffers.take(4000) is not whole


def test_no_more_is_kept_than_the_limit() -> None:
    buffers = Buffers(limit_bytes=1500)
    first, second = buffers.take(1000), buffers.take(1000)
    buffers.give(first)
    buffers.give(second)
    assert buffers.take(1000) is first and buffers.take(1000) is not second


def test_a_loan_keeps_what_is_in_use_and_gives_the_rest_back() -> None:
    loan = Loan()
    turned, used = loan.take(1201), loan.take(1201)
    loan.give_back(in_use=used[10:])
    assert BUFFERS.take(1201) is turned
    loan.give_back()
    assert BUFFERS.take(1201) is used


def test_a_still_is_read_into_the_memory_that_it_is_given(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.fromarray(picture(64, 48)).save(path, quality=95)
    memory: list[np.ndarray] = []

    def take(size_bytes: int) -> np.ndarray:
        memory.append(np.full(size_bytes, 7, dtype=np.uint8))
        return memory[0]

    still = read_still(path, take=take)
    assert np.shares_memory(still.pixels, memory[0]) and memory[0].size == 64 * 48 * 3
    assert np.array_equal(still.pixels, read_still(path).pixels)


@pytest.mark.parametrize("seed", range(20))
def test_a_damaged_still_never_shows_what_was_in_the_memory(seed: int) -> None:
    """libjpeg fills in what it cannot decode; rows that it left alone would be another still's."""
    out = io.BytesIO()
    Image.fromarray(picture(200, 300)).save(out, "JPEG", quality=90)
    data = bytearray(out.getvalue())
    rng = np.random.default_rng(seed)
    start = jpeg.scan_extent(bytes(data))[0]
    assert start is not None
    for at in rng.integers(start + 20, len(data) - 2, 6):
        data[at] = rng.integers(0, 255)
    found = []
    for fill in (0, 255):
        try:
            head = jpeg.header(bytes(data))
            decoded = jpeg.decode(
                bytes(data), head, take=lambda size, fill=fill: np.full(size, fill, np.uint8)
            )
        except Exception as error:
            found.append(type(error))
        else:
            found.append(decoded.pixels.tobytes())
    assert found[0] == found[1]
