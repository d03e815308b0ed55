"""Stills decoded while the program loads: the same pixels, given once, and never of half a still."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from lookdev.errors import StillError
from lookdev.render.preview import do_preview
from lookdev.render.tasks import Task
from lookdev.stills import ahead
from lookdev.stills.reader import read_still


@pytest.fixture(autouse=True)
def empty() -> None:
    ahead._coming.clear()
    ahead._shared.clear()


def jpeg(path: Path, seed: int) -> Path:
    pixels = np.random.default_rng(seed).integers(0, 256, (40, 60, 3), dtype=np.uint8)
    cv2.imwrite(str(path), cv2.GaussianBlur(pixels, (9, 9), 0))
    return path


def test_pixels_are_those_of_the_reader_and_given_once(tmp_path: Path) -> None:
    paths = [jpeg(tmp_path / f"{i}.JPG", i) for i in range(2)]
    plain = [read_still(path).pixels for path in paths]
    ahead.begin(paths)
    coming = list(ahead._coming)
    for path, expected, thread in reversed(list(zip(paths, plain, coming, strict=True))):
        thread.join()
        decoded = thread.pixels
        found = read_still(path).pixels
        assert found.tolist() == expected.tolist()
        assert np.may_share_memory(found, decoded)
    assert ahead._coming == []
    again = read_still(paths[0]).pixels
    assert again.tolist() == plain[0].tolist()
    assert not np.may_share_memory(again, found)


def test_two_share_a_still_and_one_waits_for_the_other(tmp_path: Path) -> None:
    path = jpeg(tmp_path / "a.jpg", 1)
    plain = read_still(path).pixels
    ahead.begin([path])
    ahead.will_look(path)
    own, looked_at = read_still(path).pixels, read_still(path).pixels
    assert own.tolist() == looked_at.tolist() == plain.tolist()
    assert np.may_share_memory(own, looked_at) and ahead._coming == []
    shared = ahead._shared[0]
    ahead.wait_until_free(plain)  # another's memory: nothing to wait for
    ahead.has_looked(plain)
    assert not shared.free.is_set()
    ahead.has_looked(looked_at[::-1])  # upright, and turned
    assert shared.free.is_set()
    ahead.wait_until_free(own)


def test_who_never_looked_is_not_waited_for(tmp_path: Path) -> None:
    path = jpeg(tmp_path / "a.jpg", 1)
    ahead.begin([path])
    ahead.will_look(path)
    own = read_still(path).pixels
    ahead.has_looked(path)
    ahead.wait_until_free(own)


def test_who_has_not_come_yet_is_not_waited_for(tmp_path: Path) -> None:
    """He may wait for memory that the other holds."""
    path = jpeg(tmp_path / "a.jpg", 1)
    plain = read_still(path).pixels
    ahead.begin([path])
    ahead.will_look(path)
    own = read_still(path).pixels
    ahead.wait_until_free(own)
    own[:] = 0
    late = read_still(path).pixels
    assert late.tolist() == plain.tolist()
    assert not np.may_share_memory(own, late) and ahead._coming == []


def test_a_small_still_that_is_looked_at_is_copied(tmp_path: Path) -> None:
    path = jpeg(tmp_path / "a.jpg", 1)
    plain = read_still(path).pixels
    ahead.begin([path])
    ahead.will_look(path)
    small = do_preview(Task(path, (), thumbnail_box=(600, 600))).as_it_stood
    own = read_still(path).pixels
    ahead.wait_until_free(own)
    own[:] = 0
    assert small is not None and small.tolist() == plain.tolist()


def test_another_still_ends_it(tmp_path: Path) -> None:
    first, other = jpeg(tmp_path / "a.jpg", 1), jpeg(tmp_path / "b.jpg", 2)
    ahead.begin([first])
    read_still(other)
    assert ahead._coming == []


def test_a_still_that_changed_meanwhile_is_decoded_anew(tmp_path: Path) -> None:
    path = jpeg(tmp_path / "a.jpg", 1)
    ahead.begin([path])
    ahead._coming[0].join()
    data = path.read_bytes()
    turned = data[:2] + b"\xff\xfe\x00\x03A" + data[2:]
    path.write_bytes(turned)
    other = read_still(path).pixels
    assert other.shape == (40, 60, 3)
    jpeg(tmp_path / "c.jpg", 3)
    assert ahead._coming == []


@pytest.mark.parametrize("content", [b"", b"no picture", None], ids=["empty", "no JPEG", "cut short"])
def test_what_cannot_be_decoded_is_told_by_the_reader(tmp_path: Path, content: bytes | None) -> None:
    path = jpeg(tmp_path / "a.jpg", 1)
    path.write_bytes(path.read_bytes()[:-200] if content is None else content)
    ahead.begin([path, tmp_path, tmp_path / "none.jpg"])
    with pytest.raises(StillError):
        read_still(path)


def test_a_panorama_is_not_held_before_its_turn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = jpeg(tmp_path / "a.jpg", 1)
    monkeypatch.setattr(ahead, "MOST_PIXELS", 40 * 60 - 1)
    ahead.begin([path])
    ahead._coming[0].join()
    assert ahead._coming[0].pixels is None
    assert read_still(path).pixels.shape == (40, 60, 3)
