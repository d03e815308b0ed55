"""Heads of stills: read once, and no more of the file than they take."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from still_files import dng, picture

from lookdev.colorimetry.temperature import daylight_xy, xy_from_cct
from lookdev.stills.open_file import OpenFile
from lookdev.stills.reader import read_head, read_info, read_still


def test_a_tiff_and_an_openexr_are_not_read_for_their_heads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import OpenEXR

    signal = np.random.default_rng(0).random((400, 600, 3))
    wide, light = tmp_path / "a.tif", tmp_path / "a.exr"
    tifffile.imwrite(wide, (signal * 65535).astype(np.uint16), photometric="rgb", metadata=None)
    head = {"compression": OpenEXR.NO_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(head, {"RGB": signal.astype(np.float32)}).write(str(light))
    asked: list[int] = []
    real = OpenFile.read

    def counted(self: OpenFile, size: int | None = -1) -> bytes:
        asked.append(len(data := real(self, size)))
        return data

    monkeypatch.setattr(OpenFile, "read", counted)
    for path in (wide, light):
        asked.clear()
        assert read_info(path)[0] == (400, 600)
        assert sum(asked) < path.stat().st_size / 2


def test_a_raw_file_is_unpacked_once_to_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from lookdev.stills import raw

    path = tmp_path / "a.dng"
    path.write_bytes(dng(np.full((40, 60, 3), 0.2)))
    opened = []
    real = raw._open
    monkeypatch.setattr(raw, "_open", lambda data: opened.append(real(data)) or opened[-1])
    read_still(path)
    assert len(opened) == 1


def test_one_head_of_a_dng_does_for_every_light(tmp_path: Path) -> None:
    """DNG 1.7.1, chapter 6: with matrices for two illuminants the as-shot white depends on the light."""
    warm = np.array([[0.5309, -0.0229, -0.0336], [-0.6241, 1.3265, 0.3337], [-0.0817, 0.1215, 0.6664]])
    cold = np.array([[0.4716, 0.0603, -0.0830], [-0.7798, 1.5474, 0.2480], [-0.1496, 0.1937, 0.6651]])
    path = tmp_path / "a.dng"
    two = ((17, warm), (21, cold))
    path.write_bytes(dng(np.full((40, 60, 3), 0.2), matrices=two, neutral=(0.41, 1.0, 0.65)))
    head = read_head(path)
    lights = [None, tuple(xy_from_cct(2850.0)), tuple(daylight_xy(6500.0))]
    found = [head.under(light).camera_balance_xy for light in lights]  # type: ignore[arg-type]
    assert found == [read_info(path, light_xy=light)[1].camera_balance_xy for light in lights]  # type: ignore[arg-type]
    assert found == [read_still(path, light_xy=light).metadata.camera_balance_xy for light in lights]  # type: ignore[arg-type]
    assert len(set(found)) == 3


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32])
def test_tiff_in_memory_that_was_lent_is_as_it_stands(tmp_path: Path, order: str, dtype: type) -> None:
    """Both byte orders; against tifffile alone."""
    codes = picture(31, 43, bits=16)
    values = (codes / 65535).astype(dtype) if dtype is np.float32 else codes.astype(dtype)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, values, photometric="rgb", byteorder=order, metadata=None)
    lent: list[np.ndarray] = []

    def take(size: int) -> np.ndarray:
        lent.append(np.full(size, 7, np.uint8))
        return lent[-1]

    still = read_still(path, take=take)
    assert np.array_equal(still.pixels, tifffile.imread(path)) and still.pixels.dtype == dtype
    assert dtype is np.float32 or np.may_share_memory(still.pixels, lent[0])
