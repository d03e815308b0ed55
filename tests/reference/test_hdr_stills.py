"""Graded stills in HDR, read by foreign decoders: HEIC by libheif (pillow_heif) and FFmpeg, AVIF by FFmpeg's
dav1d (PyAV) and libheif's boxes, camera settings by Pillow.

Code points: ITU-T H.273 (2024) tables 2 to 4, from memory. PQ by ST 2084, HLG by BT.2100-2 table 5 and its
OOTF, written out in ``test_hdr_rendering.py`` from memory.
"""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path

import numpy as np
import pytest

import lookdev
from lookdev.colorimetry.encodings import LINEAR_WORKING, get_encoding
from lookdev.errors import RequestError, StillError
from lookdev.looks.model import Look
from lookdev.render.reference import grade_reference
from lookdev.stills.reader import read_still
from lookdev.stills.still import Metadata
from lookdev.stills.writer import still_bytes, write_still

sys.path.insert(0, str(Path(__file__).parent))
from test_hdr_rendering import hlg_light, hlg_of_display, pq_light

LUMA = np.array([0.2627, 0.6780, 0.0593])
SUFFIXES = (".heic", ".avif")
CODED = (("PQ", 16), ("HLG", 18))
STOPS = (-3.0, 0.0, 2.5, 4.0, 5.0, 6.0)
"""Of the grey patches, above mid grey; at 4 stops lies display white."""
EDGE = 32


def scene() -> np.ndarray:
    """A row of grey patches over a row of coloured ones, linear BT.2020."""
    greys = [np.full(3, 0.18 * 2.0**stops) for stops in STOPS]
    coloured = [grey * tint for grey, tint in zip(greys, np.array(TINTS), strict=True)]
    rows = [np.concatenate([np.full((EDGE, EDGE, 3), c) for c in row], axis=1) for row in (greys, coloured)]
    return np.concatenate(rows, axis=0).astype(np.float32)


TINTS = ((1, 0.6, 0.4), (0.5, 1, 0.6), (1, 0.8, 0.6), (1, 0.7, 0.3), (0.4, 0.7, 1), (1, 0.9, 0.8))


def patches(codes: np.ndarray) -> np.ndarray:
    """Mean code values (2, n, 3) of the middles of the patches."""
    inner = codes.reshape(2, EDGE, len(STOPS), EDGE, 3)[:, 8:-8, :, 8:-8]
    return np.asarray(inner.mean(axis=(1, 3)))


def by_libheif(data: bytes) -> tuple[np.ndarray, dict[str, int]]:
    """10-bit codes of a HEIC, and its nclx."""
    import pillow_heif

    file = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
    assert file.info["bit_depth"] == 10
    codes = np.array(file)[:, : file.size[0]] >> 6
    return codes.astype(float), file.info["nclx_profile"]


def by_ffmpeg(data: bytes) -> tuple[np.ndarray, tuple[int, int, int, int]]:
    """10-bit codes of a 4:4:4 HEIC or AVIF through BT.2100's own matrix (table 6), and its code points."""
    import av

    with av.open(io.BytesIO(data)) as container:
        frame = next(container.decode(video=0))
    assert frame.format.name == "yuv444p10le"
    planes = []
    for plane in frame.planes:
        rows = np.frombuffer(bytes(plane), np.uint16).reshape(plane.height, -1)
        planes.append(rows[:, : plane.width] / 1023.0)
    y, cb, cr = planes[0], planes[1] - 512 / 1023, planes[2] - 512 / 1023
    red, blue = y + 1.4746 * cr, y + 1.8814 * cb
    green = (y - LUMA[0] * red - LUMA[2] * blue) / LUMA[1]
    points = (frame.color_primaries, frame.color_trc, frame.colorspace, frame.color_range)
    return np.stack([red, green, blue], axis=-1) * 1023, tuple(int(p) for p in points)


def ffmpeg_version() -> tuple[int, ...]:
    import av

    return tuple(int(number) for number in re.findall(r"\d+", av.ffmpeg_version_info)[:2])


@pytest.fixture(scope="module")
def made() -> dict[tuple[str, str], tuple[bytes, np.ndarray]]:
    """File and the code values before the codec, of 1023, by suffix and encoding."""
    out = {}
    for name, _ in CODED:
        encoding = get_encoding(name)
        codes = grade_reference(scene(), Look(title="plain").transform(LINEAR_WORKING, encoding), bits=16)
        for suffix in SUFFIXES:
            out[suffix, name] = still_bytes(suffix, codes, encoding), codes / 65535.0 * 1023.0
    return out


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize(("name", "transfer"), CODED)
def test_it_says_what_it_is_and_holds_the_code_values(made, suffix, name, transfer) -> None:  # type: ignore[no-untyped-def]
    data, wanted = made[suffix, name]
    got, points = by_ffmpeg(data)
    # BT.2020, PQ or HLG, BT.2020 non-constant luminance, full range; FFmpeg before 8.1 looks for an AVIF's in
    # the stream alone, where libavif before 1.4 does not write them: libheif's view below holds for all
    if points != (2, 2, 2, 2) or suffix == ".heic" or ffmpeg_version() >= (8, 1):
        assert points == (9, transfer, 9, 2)
    assert np.abs(patches(got) - patches(wanted)).max() < 2.0
    import pillow_heif

    nclx = pillow_heif.open_heif(io.BytesIO(data)).info["nclx_profile"]
    assert (nclx["color_primaries"], nclx["transfer_characteristics"]) == (9, transfer)
    assert (nclx["matrix_coefficients"], nclx["full_range_flag"]) == (9, 1)
    if suffix == ".heic":
        assert np.abs(patches(by_libheif(data)[0]) - patches(wanted)).max() < 2.0


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_highlights_stay_apart_and_both_encodings_are_one_picture(made, suffix) -> None:  # type: ignore[no-untyped-def]
    """Luminance of the patches at +4, +5, +6 stops differs by 8% and more; PQ and HLG agree within what ten
    bits leave (half a code at the darkest patch is 1.5% of its light)."""
    pq = pq_light(np.clip(patches(by_ffmpeg(made[suffix, "PQ"][0])[0]) / 1023, 0, 1)) @ LUMA
    hlg = hlg_light(np.clip(patches(by_ffmpeg(made[suffix, "HLG"][0])[0]) / 1023, 0, 1)) @ LUMA
    for light in (pq, hlg):
        assert light[0, 3] == pytest.approx(203.0, rel=0.02)
        assert np.all(light[0, 4:] / light[0, 3:-1] > 1.08)
    np.testing.assert_allclose(hlg, pq, rtol=0.03)


def test_before_the_codec_both_encodings_agree_within_one_per_cent(made) -> None:  # type: ignore[no-untyped-def]
    from_pq = hlg_of_display(pq_light(made[".avif", "PQ"][1] / 1023))
    one, other = hlg_light(from_pq) @ LUMA, hlg_light(made[".avif", "HLG"][1] / 1023) @ LUMA
    assert np.abs(other / one - 1).max() < 0.01


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_our_own_reader_takes_it_back(made, suffix, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """And one that reads HEIF and AVIF through Pillow finds the camera settings, upright."""
    from PIL import Image

    codes = np.full((24, 40, 3), 30000, np.uint16)
    seen = Metadata(camera="Test body", iso=800.0, f_number=2.8, exposure_time_s=0.02)
    path = tmp_path / f"still{suffix}"
    write_still(path, codes, get_encoding("PQ 4000"), metadata=seen)
    still = read_still(path)
    assert still.hdr is not None and still.hdr.name == "BT.2100 PQ" and still.warnings == ()
    assert (still.metadata.camera, still.metadata.iso, still.metadata.f_number) == ("Test body", 800.0, 2.8)
    assert still.pixels.shape == (24, 40, 3)
    if suffix == ".avif":
        exif = Image.open(path).getexif()
        assert exif[272] == "Test body" and exif[274] == 1
    assert path.read_bytes() == still_bytes(suffix, codes, get_encoding("PQ"), metadata=seen)


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("subsampling", ["4:4:4", "4:2:2", "4:2:0"])
def test_odd_sizes_and_every_subsampling(suffix: str, subsampling: str) -> None:
    import av
    import pillow_heif

    codes = np.full((97, 131, 3), 40000, np.uint16)
    data = still_bytes(suffix, codes, get_encoding("HLG"), subsampling=subsampling, quality=60)
    assert pillow_heif.open_heif(io.BytesIO(data)).size == (131, 97)
    with av.open(io.BytesIO(data)) as container:
        frame = next(container.decode(video=0))
    assert frame.format.name == f"yuv{subsampling.replace(':', '')}p10le"


def test_a_panorama_says_so_in_an_avif(tmp_path: Path) -> None:
    from PIL import Image

    path = tmp_path / "p.avif"
    seen = Metadata(projection="equirectangular")
    write_still(path, np.full((32, 64, 3), 9000, np.uint16), get_encoding("PQ"), metadata=seen)
    assert b"equirectangular" in Image.open(path).info["xmp"]
    assert read_still(path).metadata.projection == "equirectangular"


@pytest.mark.parametrize(
    ("suffix", "name", "dtype", "words"),
    [
        (".heic", "sRGB", np.uint16, "written in HDR"),
        (".avif", "PQ narrow", np.uint16, "written in HDR"),
        (".avif", "PQ", np.uint8, "10 bits"),
        (".jpg", "PQ", np.uint8, "profile"),
    ],
)
def test_what_it_cannot_hold_is_refused(suffix: str, name: str, dtype: type, words: str) -> None:
    with pytest.raises(StillError, match=words):
        still_bytes(suffix, np.zeros((8, 8, 3), dtype), get_encoding(name))


def test_a_batch_in_hdr(tmp_path: Path) -> None:
    """A float still of light: PQ to a stated peak, small pictures in SDR, sheets, --resume, --exact."""
    import OpenEXR
    from PIL import Image

    scout = tmp_path / "scout" / "Pier"
    scout.mkdir(parents=True)
    with OpenEXR.File({"type": OpenEXR.scanlineimage}, {"RGB": scene()}) as file:
        file.write(str(scout / "lamp.exr"))
    warm = Look.model_validate({"title": "Warm", "colour": {"saturation": 1.1}})
    looks = (Look(title="As it stood"), warm)
    opened = lookdev.open_scout(tmp_path / "scout")

    def run(**more: object) -> lookdev.BatchResult:
        request = lookdev.BatchRequest(opened, looks, tmp_path / "out", still_format="avif", **more)
        done = lookdev.batch(request)
        assert not done.errors
        return done

    run(still_encoding="PQ 4000")
    path = next((tmp_path / "out" / "graded").rglob("*lamp__as_it_stood.avif"))
    light = pq_light(np.clip(patches(by_ffmpeg(path.read_bytes())[0]) / 1023, 0, 1)) @ LUMA
    assert light[0, 3] == pytest.approx(203.0, rel=0.03) and light[0, 5] > 350.0
    small = sorted((tmp_path / "out" / ".lookdev" / "thumbnails").glob("*.jpg"))
    assert len(small) == 3
    assert all(Image.open(one).getpixel((3 * EDGE + 9, 9)) > (240, 240, 240) for one in small)
    assert (tmp_path / "out" / "sheets" / "No_reading.pdf").is_file()
    before = path.read_bytes()
    (again,) = run(still_encoding="PQ 4000", resume=True).stills.values()
    assert all(output.skipped for output in again.outputs) and path.read_bytes() == before
    (other,) = run(still_encoding="HLG", resume=True, exact=True).stills.values()
    assert not any(output.skipped for output in other.outputs)
    hlg = hlg_light(np.clip(patches(by_ffmpeg(path.read_bytes())[0]) / 1023, 0, 1)) @ LUMA
    assert hlg[0, 3] == pytest.approx(203.0, rel=0.03)


@pytest.mark.parametrize(
    ("form", "encoding", "words"),
    [
        ("avif", "sRGB", "BT.2100 PQ"),
        ("heic", "PQ narrow", "BT.2100 PQ"),
        ("jpeg", "PQ", "--format avif or heic"),
        ("tiff16", "HLG", "--format avif or heic"),
        ("avif", "PQ 9000", "600 to 4000"),
    ],
)
def test_a_batch_refuses_what_a_format_cannot_say(form: str, encoding: str, words: str) -> None:
    request = lookdev.BatchRequest(None, (), Path(), still_format=form, still_encoding=encoding)  # type: ignore[arg-type]
    with pytest.raises(RequestError, match=words):
        request.still_options()
    default = lookdev.BatchRequest(None, (), Path(), still_format="heic").still_options()  # type: ignore[arg-type]
    assert default.target == get_encoding("PQ") and default.bits == 16
