"""A .cube of ours through a real reader: ffmpeg's lut3d and lut1d filters (imageio-ffmpeg).

Promise: the check frame through ffmpeg with our .cube gives check_values.csv within one 10-bit code for
every patch and each encoding. ffmpeg's lut3d interpolates tetrahedrally by default.
"""

from __future__ import annotations

import csv
import io
import subprocess
from pathlib import Path

import cv2
import imageio_ffmpeg
import numpy as np
import pytest

from lookdev.colorimetry.encodings import get_encoding
from lookdev.looks.model import Look
from lookdev.lut.bake import bake_cube, bake_curve
from lookdev.lut.check_frame import check_csv, check_patches, check_values, draw_frame, write_frame_png
from lookdev.lut.cube import write_cube

LOOK = Look.model_validate(
    {
        "title": "test",
        "exposure": {"stops": -0.3},
        "balance": {"mired": -12.0},
        "curve": {"contrast": 1.14, "toe": 0.3, "shoulder": 0.3, "black": 0.003},
        "colour": {"saturation": 0.72},
        "tone": [{"at_stops": -3.0, "towards": "5B", "chroma": 0.018}],
    }
)


def _ffmpeg(source: Path, target: Path, filters: str) -> np.ndarray:
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-y", "-i", source.name, "-vf", filters]
    subprocess.run([*command, target.name], check=True, cwd=source.parent, capture_output=True)
    return cv2.imread(str(target), cv2.IMREAD_UNCHANGED)[..., ::-1]


@pytest.mark.parametrize(
    ("source", "target"),
    [
        ("ACEScct", "BT.709"),
        ("S-Log3 S-Gamut3.Cine", "BT.709"),
        ("ARRI LogC4 ARRI Wide Gamut 4", "sRGB"),
        ("V-Log V-Gamut", "BT.709 narrow"),
        ("BT.2100 PQ", "BT.2100 PQ"),
        ("sRGB", "Display P3"),
        ("BT.709 narrow", "BT.2100 HLG"),
    ],
)
def test_check_frame_reads_as_check_values_say(tmp_path: Path, source: str, target: str) -> None:
    encoding, shown = get_encoding(source), get_encoding(target)
    transform = LOOK.transform(encoding, shown)
    lut = bake_cube(transform, 33)
    write_cube(tmp_path / "look.cube", lut)
    patches = check_patches(encoding)
    write_frame_png(tmp_path / "in.png", draw_frame(patches, encoding))
    frame = _ffmpeg(tmp_path / "in.png", tmp_path / "out.png", "format=rgb48,lut3d=look.cube,format=rgb48be")
    rows = list(
        csv.DictReader(io.StringIO(check_csv(check_values(patches, lut, transform)).lstrip("\ufeff")))
    )
    assert len(rows) == len(patches) == 33 + 32 + 48 + 24 + 8
    for row in rows:
        read = frame[int(row["y"]), int(row["x"])] / 65535 * 1023
        wanted = [int(row[f"after_lut_10bit_{c}"]) for c in "rgb"]
        assert np.abs(np.round(read) - wanted).max() <= 1, (row["patch"], read, wanted)


@pytest.mark.parametrize("size", [17, 33, 65])
def test_a_picture_through_ffmpeg_is_ours_within_one_8bit_code(tmp_path: Path, size: int) -> None:
    srgb = get_encoding("sRGB")
    lut = bake_cube(LOOK.transform(srgb, srgb), size)
    write_cube(tmp_path / "look.cube", lut)
    picture = np.random.default_rng(7).integers(0, 256, (96, 128, 3), dtype=np.uint8)
    cv2.imwrite(str(tmp_path / "in.png"), picture[..., ::-1])
    read = _ffmpeg(tmp_path / "in.png", tmp_path / "out.png", "format=rgb24,lut3d=look.cube,format=rgb24")
    ours = np.floor(lut(picture / 255.0) * 255 + 0.5)
    assert np.abs(read.astype(int) - ours).max() <= 1


def test_a_1d_cube_through_ffmpeg(tmp_path: Path) -> None:
    srgb, shown = get_encoding("sRGB"), get_encoding("BT.709")
    lut = bake_curve(Look(title="plain").transform(srgb, shown))
    write_cube(tmp_path / "curve.cube", lut)
    picture = np.random.default_rng(8).integers(0, 65536, (64, 64, 3), dtype=np.uint16)
    cv2.imwrite(str(tmp_path / "in.png"), picture[..., ::-1])
    read = _ffmpeg(tmp_path / "in.png", tmp_path / "out.png", "format=rgb48,lut1d=curve.cube,format=rgb48be")
    assert np.abs(read / 65535 - lut(picture / 65535.0)).max() < 1 / 1023
