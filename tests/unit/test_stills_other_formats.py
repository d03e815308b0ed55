"""Formats read through imageio: lossless ones against the very array, JPEG 2000 against OpenCV."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from still_files import picture

from lookdev.colorimetry.encodings import get_encoding
from lookdev.errors import StillError
from lookdev.stills.icc import profile_bytes
from lookdev.stills.reader import find_stills, read_info, read_still


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def saved(pixels: np.ndarray, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, kind, **options)
    return out.getvalue()


def resource(number: int, body: bytes) -> bytes:
    return (
        b"8BIM"
        + struct.pack(">H", number)
        + b"\0\0"
        + struct.pack(">I", len(body))
        + body
        + b"\0" * (len(body) % 2)
    )


def psd(
    pixels: np.ndarray, *, mode: int = 3, bits: int = 8, icc: bytes = b"", composite: int | None = None
) -> bytes:
    """A PSD without layers: header, resources, composite (planar, not compressed)."""
    height, width, channels = pixels.shape
    resources = resource(1039, icc) if icc else b""
    if composite is not None:
        resources += resource(1057, struct.pack(">IB", 1, composite) + bytes(12))
    head = b"8BPS" + struct.pack(">H6xHIIHH", 1, channels, height, width, bits, mode)
    planes = np.moveaxis(pixels, 2, 0).tobytes()
    return head + bytes(4) + struct.pack(">I", len(resources)) + resources + bytes(4) + bytes(2) + planes


PIXELS = picture(40, 56)
FILES = {
    "a.bmp": saved(PIXELS, "BMP"),
    "a.tga": saved(PIXELS, "TGA"),
    "r.tga": saved(PIXELS, "TGA", compression="tga_rle"),
    "a.ppm": saved(PIXELS, "PPM"),
    "a.jp2": saved(PIXELS, "JPEG2000", irreversible=False),
    "a.j2k": saved(PIXELS, "JPEG2000", irreversible=False, no_jp2=True),
    "a.psd": psd(PIXELS, composite=1),
}


@pytest.mark.parametrize("name", FILES)
def test_lossless_formats_give_the_very_pixels(tmp_path: Path, name: str) -> None:
    path = put(tmp_path, name, FILES[name])
    still = read_still(path)
    assert np.array_equal(still.pixels, PIXELS)
    assert still.encoding.name == "sRGB" and still.encoding_origin == "assumed sRGB" and still.warnings == ()
    assert read_info(path)[0] == (40, 56)
    assert find_stills(tmp_path) == [path]


def test_jpeg_2000_as_opencv_reads_it(tmp_path: Path) -> None:
    data = saved(PIXELS, "JPEG2000", irreversible=True, quality_mode="dB", quality_layers=[45])
    second = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
    still = read_still(put(tmp_path, "a.jp2", data))
    assert np.abs(still.pixels.astype(int) - second).max() <= 1


def test_first_frame_of_a_gif(tmp_path: Path) -> None:
    frames = [Image.fromarray(np.full((20, 30, 3), v, np.uint8)) for v in (10, 200, 90)]
    out = io.BytesIO()
    frames[0].save(out, "GIF", save_all=True, append_images=frames[1:])
    still = read_still(put(tmp_path, "a.gif", out.getvalue()))
    assert np.all(still.pixels == 10) and still.pixels.shape == (20, 30, 3)
    assert "first frame" in still.notes[0]


def test_grey_of_16_bits(tmp_path: Path) -> None:
    codes = picture(20, 30, bits=16)[..., 0]
    still = read_still(put(tmp_path, "a.pgm", b"P5\n30 20\n65535\n" + codes.astype(">u2").tobytes()))
    assert still.pixels.dtype == np.uint16 and np.array_equal(still.pixels[..., 1], codes)


def test_a_profile_says_otherwise(tmp_path: Path) -> None:
    icc = profile_bytes(get_encoding("Display P3"))
    still = read_still(put(tmp_path, "a.psd", psd(PIXELS, icc=icc)))
    assert still.encoding.name == "Display P3" and np.array_equal(still.pixels, PIXELS)


def test_cmyk_psd_is_a_guess_and_says_so(tmp_path: Path) -> None:
    """PSD stores inks inverted: 255 is none. Plain (1 - ink)(1 - black)."""
    inks = np.zeros((8, 8, 4), np.uint8)
    inks[..., 0], inks[..., 3] = 102, 51
    still = read_still(put(tmp_path, "a.psd", psd(255 - inks, mode=4)))
    assert "guess" in still.warnings[0]
    assert still.pixels[0, 0] == pytest.approx([255 * 0.6 * 0.8, 255 * 0.8, 255 * 0.8], abs=1)


def test_transparency_is_laid_over_grey(tmp_path: Path) -> None:
    rgba = np.dstack([PIXELS, np.full((40, 56), 255, np.uint8)])
    rgba[:20, :, 3] = 0
    still = read_still(put(tmp_path, "a.tga", saved(rgba, "TGA")))
    assert np.array_equal(still.pixels[20:], PIXELS[20:]) and len(np.unique(still.pixels[:20])) == 1
    assert "transparency laid over mid grey" in still.warnings


def test_what_imageio_cannot_do_is_refused_in_one_line(tmp_path: Path) -> None:
    deep = psd(np.zeros((8, 8, 6), np.uint8), bits=16)
    empty = psd(PIXELS, composite=0)
    for name, data, words in (
        ("deep.psd", deep, "not read"),
        ("empty.psd", empty, "no composite"),
        ("cut.bmp", FILES["a.bmp"][:600], "cut.bmp"),
        ("cut.jp2", FILES["a.jp2"][:90], "cut.jp2"),
        ("no.tga", b"%!PS-Adobe-3.0\nshowpage\n" * 4, "not a still"),
    ):
        with pytest.raises(StillError) as caught:
            read_still(put(tmp_path, name, data))
        assert name in str(caught.value) and words in str(caught.value) and "\n" not in str(caught.value)


def test_a_huge_header_is_refused_before_decoding(tmp_path: Path) -> None:
    data = bytearray(FILES["a.bmp"])
    data[18:26] = struct.pack("<ii", 40_000, 40_000)
    with pytest.raises(StillError, match="too large"):
        read_still(put(tmp_path, "a.bmp", bytes(data)))
