"""Files that would take the machine's time or memory: size and kind are looked at before they are read."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from hostile.guard import no_hang
from PIL import Image
from still_files import exif_block, picture

from lookdev.errors import StillError
from lookdev.stills import jpeg
from lookdev.stills.reader import read_info, read_still


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def coded(**options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(picture(240, 320)).save(out, "JPEG", quality=90, **options)
    return out.getvalue()


@pytest.mark.parametrize("where", ["first", "before the scan", "between the tables"])
def test_twenty_megabytes_of_fill_bytes(tmp_path: Path, where: str) -> None:
    """T.81 B.1.1.2 allows fill bytes before any marker; the picture and its tags are read all the same."""
    data = coded(exif=exif_block({0x0110: "Tin"}))
    starts = [start for _, start, _ in jpeg.segments(data)]
    at = {"first": 2, "before the scan": jpeg.header_end(data), "between the tables": starts[3]}[where]
    path = put(tmp_path, "f.jpg", data[:at] + b"\xff" * 20_000_000 + data[at:])
    calls = counted_reads(path)
    still = read_still(path)
    assert calls() < 200_000
    assert still.metadata.camera == "Tin"
    assert np.array_equal(still.pixels, read_still(put(tmp_path, "g.jpg", data)).pixels)
    assert read_info(path)[0] == (240, 320)


def counted_reads(path: Path):
    """How often Pillow asks for bytes of the file's header: no timing, and a byte at a time shows."""
    from unittest.mock import patch

    count = 0

    class Counting(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            nonlocal count
            count += 1
            return super().read(size)

    with patch.object(jpeg.io, "BytesIO", Counting):
        jpeg.header(path.read_bytes())
    return lambda: count


@pytest.mark.parametrize("end", [True, False])
def test_nothing_but_fill_bytes(tmp_path: Path, end: bool) -> None:
    with no_hang(), pytest.raises(StillError) as caught:
        read_still(put(tmp_path, "f.jpg", b"\xff\xd8" + b"\xff" * 20_000_000 + (b"\xff\xd9" if end else b"")))
    assert "f.jpg" in str(caught.value)


def test_four_hundred_scans(tmp_path: Path) -> None:
    """Each scan is a pass over the whole picture: refused by count, before the first is decoded."""
    data = coded(progressive=True)
    last = [(start, end) for code, start, end in jpeg.segments(data) if code == 0xDA][-1][0]
    scan = data[last:-2]
    path = put(tmp_path, "s.jpg", data[:-2] + scan * 400 + b"\xff\xd9")
    with pytest.raises(StillError, match="too many scans") as caught:
        read_still(path)
    assert "s.jpg" in str(caught.value) and "more than 64" in str(caught.value)
    with pytest.raises(StillError, match="too many scans"):
        read_still(path, salvage=True)
    read_still(put(tmp_path, "t.jpg", data))
