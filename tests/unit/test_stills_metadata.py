"""Camera settings in, and out again without position and serial numbers."""

from __future__ import annotations

import io
import pickle
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from still_files import exif_block, picture

from lookdev.colorimetry.encodings import get_encoding
from lookdev.stills import Metadata, camera_line, summary
from lookdev.stills.exif import metadata_from_exif
from lookdev.stills.reader import read_info, read_still
from lookdev.stills.writer import write_still

pytestmark = pytest.mark.filterwarnings("ignore::UserWarning:PIL")
SETTINGS = {
    0x829A: (1, 50),
    0x829D: (40, 10),
    0x8827: 800,
    0x9003: "2031:03:04 17:05:00",
    0x920A: (24, 1),
    0x9204: (-2, 3),
    0xA434: "Tin 24-70",
    0x9208: 3,
    0xA403: 1,
    0xA430: "A. Person",
    0xA431: "SN-12345",
    0xA435: "LENS-9",
}
GPS = {1: "N", 2: (52.0, 13.0, 0.0), 3: "E", 4: (4.0, 53.0, 0.0)}
BLOCK = exif_block({0x010F: "Tin Box", 0x0110: "Three"}, SETTINGS, gps=GPS)


@pytest.fixture
def scout_still(tmp_path: Path) -> Path:
    path = tmp_path / "a.jpg"
    Image.fromarray(picture()).save(path, exif=BLOCK)
    return path


def test_settings_and_where_they_came_from(scout_still: Path) -> None:
    size, meta = read_info(scout_still)
    assert size == (48, 64)
    assert (meta.camera, meta.lens) == ("Tin Box Three", "Tin 24-70")
    assert (meta.exposure_time_s, meta.f_number, meta.iso, meta.focal_length_mm) == (0.02, 4.0, 800, 24)
    assert meta.exposure_bias_stops == pytest.approx(-2 / 3)
    assert meta.date == "2031-03-04T17:05:00"
    assert (meta.light_source, meta.white_balance) == ("tungsten", "manual")
    assert meta.camera_balance_k == 3200
    assert meta.has_gps
    assert meta.origins["f_number"] == "EXIF FNumber"
    assert meta.origins["camera_balance_k"] == "EXIF LightSource tungsten, manual balance, taken as 3200 K"
    assert camera_line(meta) == "1/50 s · f/4 · ISO 800 · 24 mm"
    assert pickle.loads(pickle.dumps(meta)) == meta


def test_automatic_balance_tells_no_white() -> None:
    meta = metadata_from_exif(exif_block(sub={0x9208: 3, 0xA403: 0}))
    assert meta.white_balance == "auto" and meta.camera_balance_xy is None


def test_preset_of_a_cie_illuminant_is_that_illuminant() -> None:
    """CIE 15:2018 table 1: D55 at x 0.3324, y 0.3474."""
    meta = metadata_from_exif(exif_block(sub={0x9208: 20, 0xA403: 1}))
    assert meta.camera_balance_xy == pytest.approx((0.33242, 0.34743), abs=1e-4)


@pytest.mark.parametrize(
    "block",
    [
        b"",
        b"Exif\0\0",
        b"Exif\0\0MM\0*\0\0\0\x08\xff\xff",
        b"Exif\0\0" + b"\xff" * 400,
        BLOCK[:60],
        BLOCK[:120],
    ],
)
def test_broken_exif_is_no_error(block: bytes) -> None:
    metadata_from_exif(block)


def test_nonsense_values_are_left_out() -> None:
    meta = metadata_from_exif(
        exif_block(sub={0x829A: (1, 0), 0x829D: (0, 1), 0x8827: 0, 0x9003: "0000:00:00 00:00:00", 0x9208: 77})
    )
    assert meta.exposure_time_s is meta.f_number is meta.iso is meta.date is meta.light_source is None


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_settings_are_kept_and_private_tags_dropped(scout_still: Path, tmp_path: Path, suffix: str) -> None:
    still = read_still(scout_still)
    out = tmp_path / f"out{suffix}"
    write_still(out, still.pixels, get_encoding("sRGB"), metadata=still.metadata)
    meta = read_info(out)[1]
    assert camera_line(meta) == camera_line(still.metadata)
    assert (meta.camera, meta.date) == ("Tin Box Three", "2031-03-04T17:05:00")
    assert meta.exposure_bias_stops == pytest.approx(-2 / 3)
    assert (meta.lens, meta.light_source, meta.white_balance) == ("Tin 24-70", "tungsten", "manual")
    assert meta.orientation == 1 and not meta.has_gps and meta.private is None
    raw = out.read_bytes()
    assert b"SN-12345" not in raw and b"LENS-9" not in raw
    assert not Image.open(out).getexif().get_ifd(0x8825)


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_private_tags_are_kept_when_asked(scout_still: Path, tmp_path: Path, suffix: str) -> None:
    still = read_still(scout_still)
    out = tmp_path / f"out{suffix}"
    write_still(out, still.pixels, get_encoding("sRGB"), metadata=still.metadata, keep_private=True)
    meta = read_info(out)[1]
    assert meta.has_gps and meta.private == still.metadata.private
    exif = Image.open(out).getexif()
    kept = exif.get_ifd(0x8769)
    assert (kept[0xA430], kept[0xA431], kept[0xA435]) == ("A. Person", "SN-12345", "LENS-9")
    assert dict(exif.get_ifd(0x8825)) == GPS
    assert float(kept[0x9204]) == pytest.approx(-2 / 3)
    assert np.array_equal(read_still(out).pixels, still.pixels) or suffix == ".jpg"


@pytest.mark.parametrize("private", [False, True])
def test_directories_of_a_tiff_stand_as_tiff_6_asks(scout_still: Path, tmp_path: Path, private: bool) -> None:
    """TIFF 6.0 section 2: every directory on a word boundary, tags ascending, no further directory."""
    import struct

    still = read_still(scout_still)
    out = tmp_path / "out.tif"
    write_still(out, still.pixels, get_encoding("sRGB"), metadata=still.metadata, keep_private=private)
    data = out.read_bytes()

    def directory(at: int) -> dict[int, int]:
        count = struct.unpack_from("<H", data, at)[0]
        entries = [struct.unpack_from("<HHLL", data, at + 2 + 12 * i) for i in range(count)]
        assert at % 2 == 0 and struct.unpack_from("<L", data, at + 2 + 12 * count) == (0,)
        assert [e[0] for e in entries] == sorted(e[0] for e in entries)
        return {tag: value for tag, _, _, value in entries}

    first = directory(struct.unpack_from("<L", data, 4)[0])
    assert 0x9204 in directory(first[0x8769])
    assert (0x8825 in first) is private
    assert not private or set(directory(first[0x8825])) == set(GPS)


def test_a_serial_number_in_the_first_directory_is_private_too() -> None:
    """DNG 1.7: CameraSerialNumber (50735) stands in IFD 0."""
    meta = metadata_from_exif(exif_block({0xC62F: "SN-777"}))
    assert meta.private is not None and b"SN-777" in meta.private


def test_summary_is_plain_and_private(scout_still: Path) -> None:
    import json

    said = summary(read_still(scout_still))
    text = json.dumps(said, allow_nan=False)
    assert "SN-12345" not in text and "gps" not in text.lower() and str(scout_still.parent) not in text
    assert said["encoding"] == "sRGB" and said["encoding_from"] == "assumed sRGB"
    assert said["settings_from"]["iso"] == "EXIF PhotographicSensitivity"
    assert (said["width"], said["height"]) == (64, 48)


def test_camera_line_of_nothing_is_empty() -> None:
    assert camera_line(Metadata()) == ""
    assert camera_line(Metadata(exposure_time_s=0.5, f_number=1.4)) == "1/2 s · f/1.4"


def test_camera_name_does_not_repeat_its_maker() -> None:
    block = exif_block({0x010F: "TIN BOX CORP", 0x0110: "Tin Box Three"})
    assert metadata_from_exif(block).camera == "Tin Box Three"


def test_exif_of_other_kinds(tmp_path: Path) -> None:
    for kind, name in (("PNG", "a.png"), ("WEBP", "a.webp"), ("TIFF", "a.tif"), ("AVIF", "a.avif")):
        out = io.BytesIO()
        Image.fromarray(picture()).save(out, kind, exif=BLOCK)
        (tmp_path / name).write_bytes(out.getvalue())
        meta = read_info(tmp_path / name)[1]
        assert camera_line(meta) == "1/50 s · f/4 · ISO 800 · 24 mm", kind


def test_sensitivity_above_65535() -> None:
    """CIPA DC-008 4.6.5: 65535 in PhotographicSensitivity, the number itself in the tag of its kind."""
    assert metadata_from_exif(exif_block(sub={0x8827: 65535, 0x8832: 102400})).iso == 102400
