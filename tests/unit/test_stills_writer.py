"""Written stills: what is read back, by us and by a second reader."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms
from still_files import MONITOR_COLORANTS, curv, grey_profile, para, picture, rgb_profile

from lookdev.colorimetry.encodings import get_encoding
from lookdev.errors import LookdevError, StillError
from lookdev.stills import writer
from lookdev.stills.icc import ProfileEncoding, encoding_from_icc, profile_bytes
from lookdev.stills.jpeg import encode, with_segments
from lookdev.stills.reader import read_still
from lookdev.stills.writer import still_bytes, write_still

NAMES = ("sRGB", "Display P3", "BT.709", "Adobe RGB", "BT.2020")


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("suffix", "bits"), [(".png", 8), (".png", 16), (".tif", 8), (".tiff", 16)])
def test_lossless_kinds_come_back(tmp_path: Path, name: str, suffix: str, bits: int) -> None:
    pixels = picture(bits=bits)
    path = tmp_path / f"a{suffix}"
    write_still(path, pixels, get_encoding(name))
    still = read_still(path)
    assert np.array_equal(still.pixels, pixels) and still.pixels.dtype == pixels.dtype
    assert still.encoding is get_encoding(name)
    assert still.encoding_origin == f"embedded ICC profile '{name}'" and not still.warnings
    if suffix.startswith(".tif"):
        assert np.array_equal(tifffile.imread(path), pixels)
    elif bits == 8:
        assert np.array_equal(np.asarray(Image.open(path)), pixels)


@pytest.mark.parametrize("subsampling", ["4:4:4", "4:2:2", "4:2:0"])
def test_jpeg(tmp_path: Path, subsampling: str) -> None:
    path = tmp_path / "a.jpg"
    write_still(path, picture(), get_encoding("Display P3"), quality=95, subsampling=subsampling)
    image = Image.open(path)
    from PIL.JpegImagePlugin import get_sampling

    assert get_sampling(image) == {"4:4:4": 0, "4:2:2": 1, "4:2:0": 2}[subsampling]
    profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
    assert ImageCms.getProfileDescription(profile).strip() == "Display P3"
    assert np.abs(read_still(path).pixels.astype(int) - picture()).mean() < 3
    assert read_still(path).encoding is get_encoding("Display P3")


@pytest.mark.parametrize("size", [10, 65519, 65520, 200_000])
def test_a_profile_goes_into_as_many_segments_as_it_needs(size: int) -> None:
    """ICC.1 annex B.4: 65519 bytes to a segment; Pillow puts them together again."""
    icc = np.random.default_rng(1).bytes(size)
    data = with_segments(encode(picture(), 90, "4:4:4"), b"Exif\0\0MM\0*", icc)
    image = Image.open(io.BytesIO(data))
    assert image.info["icc_profile"] == icc and image.info["exif"] == b"Exif\0\0MM\0*"
    assert np.array_equal(
        np.asarray(image), np.asarray(Image.open(io.BytesIO(encode(picture(), 90, "4:4:4"))))
    )


def test_what_no_jpeg_can_hold() -> None:
    with pytest.raises(StillError, match="metadata that no JPEG can hold"):
        with_segments(encode(picture(), 90, "4:4:4"), bytes(65534), b"")
    with pytest.raises(StillError, match="a JPEG ends at 65500 pixels"):
        encode(np.zeros((1, 65501, 3), np.uint8), 90, "4:4:4")
    assert Image.open(io.BytesIO(encode(np.zeros((1, 65500, 3), np.uint8), 90, "4:2:0"))).size == (65500, 1)


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_the_same_input_writes_the_same_bytes(tmp_path: Path, suffix: str) -> None:
    for name in ("a", "b"):
        write_still(tmp_path / f"{name}{suffix}", picture(), get_encoding("sRGB"))
    assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


def test_a_tiff_is_the_same_by_any_number_of_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    noise = np.random.default_rng(5).integers(0, 65536, (90, 3000, 3), dtype=np.uint16)
    made = []
    for threads in (1, 3):
        monkeypatch.setattr(writer, "usable_cores", lambda count=threads: count)
        made.append(still_bytes(".tif", noise, get_encoding("sRGB")))
    assert made[0] == made[1]
    with tifffile.TiffFile(io.BytesIO(made[1])) as file:
        assert len(file.pages[0].dataoffsets) > 3
        assert np.array_equal(file.pages[0].asarray(), noise)


@pytest.mark.parametrize(
    "curve", [curv(round(2.2 * 256)), curv(0, 9000, 30000, 65535), para(3, 2.3, 0.9, 0.1, 0.07, 0.04)]
)
@pytest.mark.parametrize("grey", [False, True])
def test_of_a_profile_the_colours_are_handed_on_and_no_words(
    tmp_path: Path, curve: bytes, grey: bool
) -> None:
    icc = grey_profile(curve) if grey else rgb_profile(curve, colorants=MONITOR_COLORANTS)
    own = encoding_from_icc(icc)
    write_still(tmp_path / "a.png", picture(), own)
    written = Image.open(tmp_path / "a.png").info["icc_profile"]
    profile = ImageCms.ImageCmsProfile(io.BytesIO(written))  # LittleCMS takes it
    if isinstance(own, ProfileEncoding):
        assert ImageCms.getProfileDescription(profile).strip() == "RGB of the still"
    assert written[16:20] == b"RGB " and written[48:56] == bytes(8) and written[80:84] == bytes(4)
    back = read_still(tmp_path / "a.png").encoding
    codes = np.stack(np.meshgrid(*[np.linspace(0, 1, 6)] * 3), -1)
    np.testing.assert_allclose(back.to_working(codes), own.to_working(codes), atol=2e-4 if grey else 1e-12)


def test_refusals(tmp_path: Path) -> None:
    with pytest.raises(StillError, match="cannot write this kind of still"):
        write_still(tmp_path / "a.gif", picture(), get_encoding("sRGB"))
    with pytest.raises(StillError, match="a JPEG holds 8 bits"):
        write_still(tmp_path / "a.jpg", picture(bits=16), get_encoding("sRGB"))
    with pytest.raises(StillError, match="no ICC profile can say"):
        write_still(tmp_path / "a.png", picture(), get_encoding("ACEScct"))
    with pytest.raises(StillError, match="too large for a TIFF"):
        huge = np.broadcast_to(np.uint16(0), (30_000, 25_000, 3))
        write_still(tmp_path / "a.tif", huge, get_encoding("sRGB"))
    with pytest.raises(StillError, match="unknown subsampling"):
        write_still(tmp_path / "a.jpg", picture(), get_encoding("sRGB"), subsampling="4:1:1")
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(LookdevError):
        write_still(tmp_path / "file" / "a.png", picture(), get_encoding("sRGB"))
    assert [p.name for p in tmp_path.iterdir()] == ["file"]


def test_name_with_bytes_that_are_no_text(tmp_path: Path) -> None:
    path = tmp_path / "caf\udce9 \U0001f3a8 'x'.png"
    write_still(path, picture(), get_encoding("sRGB"))
    assert np.array_equal(read_still(path).pixels, picture())


def test_written_profile_is_version_4_with_d50_white() -> None:
    icc = profile_bytes(get_encoding("sRGB"))
    assert icc[8:10] == b"\x04\x30" and len(icc) < 1000
