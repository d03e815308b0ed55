"""Every format, made here by its own writer and read back; a second reader's value for the same pixels."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms
from still_files import curv, exif_block, picture, rgb_profile, table_profile

from lookdev.colorimetry.encodings import get_encoding
from lookdev.stills import jpeg
from lookdev.stills.icc import profile_bytes
from lookdev.stills.png import insert_chunks
from lookdev.stills.reader import read_info, read_still


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def pillow(pixels: np.ndarray, kind: str, mode: str | None = None, **options: object) -> bytes:
    out = io.BytesIO()
    image = Image.fromarray(pixels)
    (image.convert(mode) if mode else image).save(out, kind, **options)
    return out.getvalue()


# JPEG


@pytest.mark.parametrize(
    "options", [{}, {"progressive": True}, {"restart_marker_rows": 1}, {"subsampling": 0}]
)
def test_jpeg_equals_a_second_decoder(tmp_path: Path, options: dict[str, object]) -> None:
    """Pillow with its own libjpeg-turbo, within one code (T.81 allows decoders to differ by that)."""
    data = pillow(picture(), "JPEG", quality=92, **options)
    still = read_still(put(tmp_path, "a.jpg", data))
    second = np.asarray(Image.open(io.BytesIO(data)))
    assert still.pixels.dtype == np.uint8
    assert np.abs(still.pixels.astype(int) - second).max() <= 1
    assert still.encoding_origin == "assumed sRGB" and still.encoding.name == "sRGB"


def test_jpeg_grey(tmp_path: Path) -> None:
    data = pillow(picture()[..., 0], "JPEG", quality=95)
    still = read_still(put(tmp_path, "g.jpg", data))
    second = np.asarray(Image.open(io.BytesIO(data)))
    assert still.pixels.shape == (48, 64, 3)
    assert np.array_equal(still.pixels[..., 1], second)


def test_16_bit_tiff_with_a_table_profile(tmp_path: Path) -> None:
    ramp = np.repeat(np.arange(20_000, 40_000, 10, dtype=np.uint16).reshape(40, 50, 1), 3, axis=2)
    path = tmp_path / "t.tif"
    tifffile.imwrite(path, ramp, photometric="rgb", iccprofile=table_profile(3, b"RGB "))
    still = read_still(path)
    assert still.pixels.dtype == np.uint16 and not still.warnings
    assert len(np.unique(still.pixels[..., 1])) > 1500


def test_jpeg_cmyk_with_profile(tmp_path: Path) -> None:
    """Against LittleCMS to sRGB on Pillow's CMYK; Adobe's inverted inks are turned once."""
    icc = table_profile(4, b"CMYK")
    inks = np.full((32, 32, 4), 60, np.uint8)
    inks[..., 0] = 100
    inks[:, 16:, 1] = 90
    out = io.BytesIO()
    Image.frombytes("CMYK", (32, 32), inks.tobytes()).save(out, "JPEG", quality=95, icc_profile=icc)
    assert b"Adobe" in out.getvalue()
    still = read_still(put(tmp_path, "c.jpg", out.getvalue()))
    theirs = ImageCms.profileToProfile(
        Image.open(io.BytesIO(out.getvalue())),
        ImageCms.ImageCmsProfile(io.BytesIO(icc)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
    )
    assert still.encoding.name == "sRGB"
    assert still.encoding_origin == "embedded ICC profile 'Print room', through LittleCMS to sRGB"
    assert np.abs(still.pixels.astype(int) - np.asarray(theirs)).max() <= 1
    assert not still.warnings


def test_jpeg_cmyk_without_profile_says_so(tmp_path: Path) -> None:
    out = io.BytesIO()
    Image.new("CMYK", (16, 16), (255, 0, 0, 0)).save(out, "JPEG", quality=95)
    still = read_still(put(tmp_path, "c.jpg", out.getvalue()))
    assert still.pixels[8, 8, 0] < 10 and still.pixels[8, 8, 1] > 245
    assert still.warnings == ("CMYK without a usable profile: the colours are a guess",)


def test_jpeg_ycck_is_read_as_cmyk(tmp_path: Path) -> None:
    """Adobe transform 2 (YCCK): the marker of a CMYK file is edited, both readers then convert."""
    out = io.BytesIO()
    Image.new("CMYK", (16, 16), (200, 40, 30, 20)).save(out, "JPEG", quality=95)
    data = bytearray(out.getvalue())
    at = data.index(b"Adobe")
    data[at + 11] = 2
    still = read_still(put(tmp_path, "y.jpg", bytes(data)))
    second = np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGB"))
    assert np.array_equal(still.pixels, second)


def test_a_jpeg_for_a_preview_keeps_twice_the_pixels_wanted(tmp_path: Path) -> None:
    """A decoder's own reduction averages code values; at least a factor of two is left for light."""
    path = put(tmp_path, "d.jpg", pillow(picture(600, 900), "JPEG", quality=92))
    sizes = {
        enough: read_still(path, enough_px=enough).pixels.shape[1] for enough in (50, 100, 200, 300, 900)
    }
    assert sizes == {50: 113, 100: 225, 200: 450, 300: 900, 900: 900}
    assert read_still(path, enough_px=50).full_size == (600, 900)


@pytest.mark.parametrize("reduce", [2, 4, 8])
@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"subsampling": 2}, {"subsampling": 0}])
def test_a_reduced_jpeg_is_what_pillow_makes_of_it(reduce: int, options: dict[str, object]) -> None:
    """ITU-T T.81 pictures through libjpeg's scaled transform, by two libraries; no size divides by 8."""
    data = pillow(picture(301, 447), "JPEG", quality=90, **options)
    image = Image.open(io.BytesIO(data))
    image.draft(None, (image.width // reduce, image.height // reduce))
    got = jpeg.decode(data, jpeg.header(data), reduce=reduce).pixels
    assert got.shape == (-(-301 // reduce), -(-447 // reduce), 3)
    assert np.array_equal(got, np.asarray(image))


def test_reduction_averages_light(tmp_path: Path) -> None:
    """A check of black and white pixels becomes half the light, sRGB 188 (IEC 61966-2-1 5.3), not 128."""
    check = np.zeros((64, 64, 3), np.uint8)
    check[::2, ::2] = check[1::2, 1::2] = 255
    still = read_still(put(tmp_path, "k.png", pillow(check, "PNG")), max_edge_px=16)
    assert still.pixels.shape == (16, 16, 3) and np.all(still.pixels == 188)
    assert still.full_size == (64, 64)


def test_gain_map_and_multi_picture_are_notes(tmp_path: Path) -> None:
    first = Image.fromarray(picture())
    out = io.BytesIO()
    first.save(out, "MPO", save_all=True, append_images=[Image.new("RGB", (20, 10), "red")])
    still = read_still(put(tmp_path, "m.jpg", out.getvalue()))
    assert still.pixels.shape == (48, 64, 3) and not still.warnings
    assert still.notes == ("multi-picture file: the primary of 2 pictures is read",)
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><a hdrgm:Version="1.0"/></x:xmpmeta>'
    still = read_still(put(tmp_path, "h.jpg", pillow(picture(), "JPEG", xmp=xmp)))
    assert still.notes == ("HDR gain map left aside: the standard picture is read",)


def test_panorama(tmp_path: Path) -> None:
    assert read_still(put(tmp_path, "p.jpg", pillow(picture(100, 200), "JPEG"))).is_panorama
    assert not read_still(put(tmp_path, "q.jpg", pillow(picture(100, 180), "JPEG"))).is_panorama
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><a GPano:ProjectionType="equirectangular"/></x:xmpmeta>'
    assert read_still(put(tmp_path, "r.jpg", pillow(picture(100, 150), "JPEG", xmp=xmp))).is_panorama


# PNG


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def plain_png(pixels: np.ndarray) -> bytes:
    """A PNG written here with zlib, filter 0, so that a second encoder is behind the 16-bit test."""
    height, width, channels = pixels.shape
    bits = pixels.dtype.itemsize * 8
    colour_type = {1: 0, 2: 4, 3: 2, 4: 6}[channels]
    rows = b"".join(b"\0" + row.astype(f">u{bits // 8}").tobytes() for row in pixels)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, colour_type, 0, 0, 0))
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("bits", [8, 16])
def test_png_rgb(tmp_path: Path, bits: int) -> None:
    pixels = picture(bits=bits)
    still = read_still(put(tmp_path, "a.png", plain_png(pixels)))
    assert still.pixels.dtype == pixels.dtype and np.array_equal(still.pixels, pixels)


@pytest.mark.parametrize("bits", [8, 16])
def test_png_grey_and_palette(tmp_path: Path, bits: int) -> None:
    grey = picture(bits=bits)[..., :1]
    still = read_still(put(tmp_path, "g.png", plain_png(grey)))
    assert np.array_equal(still.pixels, np.repeat(grey, 3, axis=2))
    if bits == 8:
        data = pillow(picture(), "PNG", "P")
        second = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
        assert np.array_equal(read_still(put(tmp_path, "p.png", data)).pixels, second)


@pytest.mark.parametrize(("bits", "channels"), [(8, 4), (16, 4), (8, 2), (16, 2)])
def test_png_alpha_over_mid_grey(tmp_path: Path, bits: int, channels: int) -> None:
    """Full cover keeps the very codes; none gives 0.18 of light, sRGB 0.461356 (IEC 61966-2-1 5.3)."""
    top = 2**bits - 1
    pixels = picture(bits=bits)[..., [0, 1, 2, 0]][..., -channels:].copy()
    pixels[:24, :, -1], pixels[24:, :, -1] = top, 0
    still = read_still(put(tmp_path, "a.png", plain_png(pixels)))
    body = pixels[..., :-1] if channels == 4 else np.repeat(pixels[..., :1], 3, axis=2)
    assert np.array_equal(still.pixels[:24], body[:24])
    assert np.all(still.pixels[24:] == int(0.461356 * top + 0.5))
    assert still.warnings == ("transparency laid over mid grey",)


def test_png_half_cover_mixes_light(tmp_path: Path) -> None:
    pixels = np.full((8, 8, 4), 255, np.uint8)
    pixels[..., 3] = 51  # 0.2
    still = read_still(put(tmp_path, "h.png", plain_png(pixels)))
    light = 0.2 * 1.0 + 0.8 * 0.18
    assert np.all(still.pixels == round(float(get_encoding("sRGB").encode(light)) * 255))


CHRM_P3 = struct.pack(">8I", 31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000)
CHRM_709 = struct.pack(">8I", 31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000)


@pytest.mark.parametrize(
    ("chunks", "name", "origin"),
    [
        ([(b"cICP", bytes([12, 13, 0, 1]))], "Display P3", "PNG cICP chunk: Display P3"),
        ([(b"cICP", bytes([9, 18, 0, 1]))], "BT.2100 HLG, scene light", "PNG cICP chunk: BT.2100 HLG"),
        ([(b"sRGB", b"\0")], "sRGB", "PNG sRGB chunk"),
        ([(b"gAMA", struct.pack(">I", 45455)), (b"cHRM", CHRM_709)], "sRGB", "PNG gAMA and cHRM: sRGB"),
        ([(b"gAMA", struct.pack(">I", 45455))], "sRGB", "PNG gAMA: sRGB"),
        ([(b"gAMA", struct.pack(">I", 0))], "sRGB", "assumed sRGB"),
    ],
)
@pytest.mark.parametrize("bits", [8, 16])
def test_png_chunks(
    tmp_path: Path, chunks: list[tuple[bytes, bytes]], name: str, origin: str, bits: int
) -> None:
    """Code points: ITU-T H.273 tables 2 and 3; the codes themselves are never changed by a chunk."""
    pixels = picture(bits=bits)
    still = read_still(put(tmp_path, "c.png", insert_chunks(plain_png(pixels), chunks)))
    assert (still.encoding.name, still.encoding_origin) == (name, origin)
    assert np.array_equal(still.pixels, pixels)


def test_png_gamma_with_primaries_of_its_own(tmp_path: Path) -> None:
    data = insert_chunks(plain_png(picture()), [(b"gAMA", struct.pack(">I", 50000)), (b"cHRM", CHRM_P3)])
    still = read_still(put(tmp_path, "c.png", data))
    assert still.encoding.space.name == "P3-D65"
    assert float(still.encoding.decode(0.5)) == pytest.approx(0.25)


def test_precedence_cicp_then_profile_then_dcf_then_chunks(tmp_path: Path) -> None:
    """PNG third edition, 4.3: cICP rules over iCCP, and both over sRGB, gAMA and cHRM."""
    chunks = [(b"sRGB", b"\0"), (b"eXIf", exif_block(sub={0xA001: 2})[6:])]
    cicp = (b"cICP", bytes([12, 13, 0, 1]))
    iccp = (b"iCCP", b"x\0\0" + zlib.compress(profile_bytes(get_encoding("BT.2020"))))
    data = plain_png(picture())
    assert read_still(put(tmp_path, "1.png", insert_chunks(data, [iccp, *chunks]))).encoding.name == "BT.2020"
    assert read_still(put(tmp_path, "2.png", insert_chunks(data, chunks))).encoding.name == "Adobe RGB"
    assert read_still(put(tmp_path, "3.png", insert_chunks(data, chunks[:1]))).encoding.name == "sRGB"
    every = insert_chunks(data, [cicp, iccp, *chunks])
    assert read_still(put(tmp_path, "4.png", every)).encoding.name == "Display P3"


# profiles and DCF on a JPEG


def test_broken_profile_is_named_and_the_still_is_srgb(tmp_path: Path) -> None:
    icc = bytearray(rgb_profile(curv(563)))
    icc[128:132] = struct.pack(">I", 5000)
    still = read_still(put(tmp_path, "b.jpg", pillow(picture(), "JPEG", icc_profile=bytes(icc))))
    assert still.encoding.name == "sRGB" and still.encoding_origin == "assumed sRGB"
    assert len(still.warnings) == 1
    assert still.warnings[0].startswith("the embedded profile cannot be used: broken ICC profile (5000 tags")


def test_profile_of_the_wrong_kind_is_named(tmp_path: Path) -> None:
    data = pillow(picture(), "JPEG", icc_profile=table_profile(4, b"CMYK"))
    still = read_still(put(tmp_path, "w.jpg", data))
    assert still.encoding.name == "sRGB" and "a CMYK profile on RGB pixels" in still.warnings[0]


@pytest.mark.parametrize(
    ("exif", "name"),
    [
        (exif_block(sub={0xA001: 1}), "sRGB"),
        (exif_block(sub={0xA001: 2}), "Adobe RGB"),
        (exif_block(sub={0xA001: 65535}, interop={1: "R03"}), "Adobe RGB"),
        (exif_block(sub={0xA001: 65535}, interop={1: "R98"}), "sRGB"),
        (exif_block(sub={0xA001: 65535}), "sRGB"),
    ],
)
def test_dcf_marking(tmp_path: Path, exif: bytes, name: str) -> None:
    """CIPA DC-009-2010 (DCF 2.0): Adobe RGB is ColorSpace 65535 and InteroperabilityIndex R03."""
    still = read_still(put(tmp_path, "d.jpg", pillow(picture(), "JPEG", exif=exif)))
    assert still.encoding.name == name
    assert (name == "Adobe RGB") == still.encoding_origin.startswith("DCF marking: Adobe RGB")


def test_linear_profile_on_integers_is_a_picture_to_look_at(tmp_path: Path) -> None:
    still = read_still(put(tmp_path, "l.jpg", pillow(picture(), "JPEG", icc_profile=rgb_profile(curv()))))
    assert still.encoding.state == "output" and float(still.encoding.decode(0.25)) == 0.25
    path = tmp_path / "l.tif"
    tifffile.imwrite(
        path,
        picture(bits=16),
        photometric="rgb",
        metadata=None,
        iccprofile=profile_bytes(get_encoding("ACEScg")),
    )
    assert read_still(path).encoding is get_encoding("ACEScg")


# TIFF


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize(
    "options",
    [
        {},
        {"byteorder": ">"},
        {"planarconfig": "separate"},
        {"tile": (16, 16)},
        {"compression": "lzw", "predictor": True},
        {"compression": "deflate", "predictor": True, "tile": (16, 32)},
        {"compression": "lzw", "planarconfig": "separate", "byteorder": ">"},
        {"compression": "packbits"},
        {"bigtiff": True},
    ],
)
def test_tiff_integers(tmp_path: Path, kind: type, options: dict[str, object]) -> None:
    pixels = picture(bits=8 if kind is np.uint8 else 16)
    body = np.moveaxis(pixels, -1, 0) if options.get("planarconfig") == "separate" else pixels
    path = tmp_path / "t.tif"
    tifffile.imwrite(path, body, photometric="rgb", metadata=None, **options)
    still = read_still(path)
    assert still.pixels.dtype == kind and np.array_equal(still.pixels, pixels)
    if kind is np.uint8 and "bigtiff" not in options:
        assert np.array_equal(still.pixels, np.asarray(Image.open(path)))


@pytest.mark.parametrize("options", [{}, {"compression": "deflate", "predictor": True, "byteorder": ">"}])
def test_tiff_float_is_scene_light(tmp_path: Path, options: dict[str, object]) -> None:
    light = picture(bits=16).astype(np.float32) / 8000 - 0.01
    path = tmp_path / "f.tif"
    tifffile.imwrite(path, light, photometric="rgb", metadata=None, **options)
    still = read_still(path)
    assert still.encoding.state == "scene" and still.encoding.name == "Linear BT.709"
    assert np.array_equal(still.pixels, light)


def test_tiff_float_with_nan_says_so(tmp_path: Path) -> None:
    light = np.ones((8, 8, 3), np.float32)
    light[0, 0] = [np.nan, np.inf, -np.inf]
    tifffile.imwrite(tmp_path / "n.tif", light, photometric="rgb", metadata=None)
    still = read_still(tmp_path / "n.tif")
    assert still.pixels[0, 0].tolist() == [0.0, 65504.0, -65504.0]
    assert still.warnings[0].startswith("3 values that are no numbers")


def test_tiff_alpha_grey_cmyk_palette(tmp_path: Path) -> None:
    rgba = np.dstack([picture(), np.full((48, 64), 255, np.uint8)])
    tifffile.imwrite(tmp_path / "a.tif", rgba, photometric="rgb", extrasamples=["unassalpha"], metadata=None)
    assert np.array_equal(read_still(tmp_path / "a.tif").pixels, picture())
    grey = picture(bits=16)[..., 0]
    tifffile.imwrite(tmp_path / "g.tif", grey, photometric="minisblack", metadata=None)
    assert np.array_equal(read_still(tmp_path / "g.tif").pixels[..., 2], grey)
    tifffile.imwrite(tmp_path / "w.tif", grey, photometric="miniswhite", metadata=None)
    assert np.array_equal(read_still(tmp_path / "w.tif").pixels[..., 2], 65535 - grey)
    put(tmp_path, "c.tif", pillow(picture(), "TIFF", "CMYK"))
    second = np.asarray(Image.open(tmp_path / "c.tif").convert("RGB"))
    assert np.array_equal(read_still(tmp_path / "c.tif").pixels, second)
    put(tmp_path, "p.tif", pillow(picture(), "TIFF", "P", compression="tiff_lzw"))
    second = np.asarray(Image.open(tmp_path / "p.tif").convert("RGB"))
    assert np.array_equal(read_still(tmp_path / "p.tif").pixels, second)


def test_tiff_extra_channel_that_is_no_alpha_is_left_aside(tmp_path: Path) -> None:
    five = np.dstack([picture(), picture(seed=2)[..., :2]])
    tifffile.imwrite(tmp_path / "x.tif", five, photometric="rgb", extrasamples=[0, 0], metadata=None)
    still = read_still(tmp_path / "x.tif")
    assert np.array_equal(still.pixels, picture()) and not still.warnings


def test_tiff_profile_and_jpeg_inside(tmp_path: Path) -> None:
    icc = profile_bytes(get_encoding("Adobe RGB"))
    data = pillow(picture(), "TIFF", compression="jpeg", quality=95, icc_profile=icc)
    still = read_still(put(tmp_path, "j.tif", data))
    second = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    assert still.encoding.name == "Adobe RGB"
    assert np.abs(still.pixels.astype(int) - second).max() <= 1


# HEIF, AVIF, WebP


@pytest.mark.parametrize("bits", [8, 10])
def test_heic(tmp_path: Path, bits: int) -> None:
    """nclx: P3 primaries (12) and sRGB curve (13), ITU-T H.273. The codec loses a little."""
    import pillow_heif

    pixels = picture(bits=8 if bits == 8 else 16)
    file = pillow_heif.from_bytes(mode="RGB" if bits == 8 else "RGB;16", size=(64, 48), data=pixels.tobytes())
    path = tmp_path / "a.heic"
    file.save(path, quality=100, chroma=444, color_primaries=12, transfer_characteristics=13)
    still = read_still(path)
    assert still.pixels.dtype == (np.uint8 if bits == 8 else np.uint16)
    assert still.encoding.name == "Display P3"
    assert still.encoding_origin == "nclx colour information: Display P3"
    assert np.abs(still.signal() - pixels / np.iinfo(pixels.dtype).max).max() < 0.02
    second = np.asarray(pillow_heif.open_heif(path).to_pillow())
    assert np.abs(np.floor(still.signal() * 255 + 0.5) - second).max() <= 1


def test_heic_ten_bit_white_is_white(tmp_path: Path) -> None:
    import pillow_heif

    data = np.full((64, 64, 3), 65535, np.uint16)
    pillow_heif.from_bytes(mode="RGB;16", size=(64, 64), data=data.tobytes()).save(
        tmp_path / "w.heic", quality=-1
    )
    assert np.all(read_still(tmp_path / "w.heic").pixels == 65535)


def test_heic_profile_beats_nclx_and_rotation_is_applied_once(tmp_path: Path) -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()
    pixels = picture(48, 64)
    out = tmp_path / "r.heic"
    Image.fromarray(pixels).save(
        out,
        quality=100,
        icc_profile=profile_bytes(get_encoding("Adobe RGB")),
        exif=exif_block({0x0112: 6, 0x0110: "Tin Box 3"}),
    )
    still = read_still(out)
    assert still.encoding.name == "Adobe RGB"
    assert still.pixels.shape == (64, 48, 3)
    assert np.abs(still.pixels.astype(int) - np.rot90(pixels, -1)).mean() < 4
    assert still.metadata.camera == "Tin Box 3"


@pytest.mark.parametrize("bits", [8, 10])
def test_avif(tmp_path: Path, bits: int) -> None:
    import imagecodecs

    top = 2**bits - 1
    pixels = np.floor(picture().astype(float) / 255 * top + 0.5).astype(np.uint8 if bits == 8 else np.uint16)
    data = imagecodecs.avif_encode(pixels, level=100, bitspersample=bits, pixelformat="444")
    still = read_still(put(tmp_path, "a.avif", data))
    assert np.abs(still.signal() - pixels / top).max() < 0.02
    second = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    assert np.abs(np.floor(still.signal() * 255 + 0.5) - second).max() <= 1


def test_avif_profile_and_orientation(tmp_path: Path) -> None:
    data = pillow(
        picture(),
        "AVIF",
        quality=100,
        icc_profile=profile_bytes(get_encoding("Display P3")),
        exif=exif_block({0x0112: 6}),
    )
    still = read_still(put(tmp_path, "a.avif", data))
    assert still.encoding.name == "Display P3" and still.pixels.shape == (64, 48, 3)
    assert np.abs(still.pixels.astype(int) - np.rot90(picture(), -1)).mean() < 4


def test_webp(tmp_path: Path) -> None:
    icc = profile_bytes(get_encoding("Display P3"))
    data = pillow(picture(), "WEBP", lossless=True, icc_profile=icc, exif=exif_block({0x0112: 3}))
    still = read_still(put(tmp_path, "a.webp", data))
    assert still.encoding.name == "Display P3"
    assert np.array_equal(still.pixels, picture()[::-1, ::-1])


# OpenEXR


def exr(path: Path, channels: dict[str, np.ndarray], **attributes: object) -> Path:
    import OpenEXR

    with OpenEXR.File({"type": OpenEXR.scanlineimage, **attributes}, channels) as file:
        file.write(str(path))
    return path


AP1 = (0.713, 0.293, 0.165, 0.830, 0.128, 0.044, 0.32168, 0.33767)


def test_exr(tmp_path: Path) -> None:
    light = picture(bits=16).astype(np.float32) / 20000 - 0.02
    still = read_still(
        exr(tmp_path / "a.exr", {"RGB": light}, chromaticities=AP1, expTime=0.02, isoSpeed=800.0)
    )
    assert np.array_equal(still.pixels, light)
    assert still.encoding is get_encoding("ACEScg") and still.encoding.state == "scene"
    assert still.metadata.exposure_time_s == pytest.approx(0.02) and still.metadata.iso == 800
    plain = read_still(exr(tmp_path / "b.exr", {"RGB": light}))
    assert plain.encoding.name == "Linear BT.709"


def test_exr_own_primaries_against_colour_science(tmp_path: Path) -> None:
    from lookdev.colorimetry.library import colour_science

    colour = colour_science()
    xy = (0.70, 0.30, 0.20, 0.75, 0.14, 0.05, 0.3457, 0.3585)
    light = picture(bits=16).astype(np.float32) / 65535
    still = read_still(exr(tmp_path / "a.exr", {"RGB": light}, chromaticities=xy))
    space = colour.RGB_Colourspace(
        "own",
        np.reshape(xy[:6], (3, 2)),
        np.array(xy[6:]),
        use_derived_matrix_RGB_to_XYZ=True,
        use_derived_matrix_XYZ_to_RGB=True,
    )
    target = colour.RGB_COLOURSPACES["ITU-R BT.2020"]
    theirs = colour.RGB_to_RGB(light, space, target, chromatic_adaptation_transform="Bradford")
    assert np.abs(still.encoding.to_working(still.signal()) - theirs).max() < 1e-4


def test_exr_half_alpha_windows(tmp_path: Path) -> None:
    rgba = np.ones((4, 6, 4), np.float16)
    rgba[..., 3], rgba[:, 3:, :] = 1, 0
    path = exr(
        tmp_path / "w.exr", {"RGBA": rgba}, dataWindow=((2, 1), (7, 4)), displayWindow=((0, 0), (9, 7))
    )
    still = read_still(path)
    assert still.pixels.shape == (8, 10, 3)
    assert still.pixels[2, 3].tolist() == [1, 1, 1]
    assert still.pixels[2, 6] == pytest.approx([0.18] * 3)
    assert still.pixels[0, 0] == pytest.approx([0.18] * 3)


def test_wrong_suffix_is_read_by_content_with_a_warning(tmp_path: Path) -> None:
    path = put(tmp_path, "a.jpg", plain_png(picture()))
    still = read_still(path)
    assert np.array_equal(still.pixels, picture())
    assert still.warnings == ("named .jpg, but it is PNG: read as PNG",)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "AVIF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_as_pillow_turns(tmp_path: Path, kind: str, orientation: int) -> None:
    """Against ImageOps.exif_transpose (TIFF 6.0 p. 36)."""
    from PIL import ImageOps

    options = {
        "WEBP": {"lossless": True},
        "AVIF": {"quality": 100},
        "JPEG": {"quality": 95, "subsampling": 0},
    }
    data = pillow(picture(16, 24), kind, exif=exif_block({0x0112: orientation}), **options.get(kind, {}))
    path = put(tmp_path, f"o.{kind.lower()}", data)
    still = read_still(path)
    second = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))))
    assert still.pixels.shape == second.shape and np.abs(still.pixels.astype(int) - second).max() <= 1
    assert read_info(path)[0] == still.full_size == second.shape[:2]
    assert still.metadata.orientation == orientation


def test_opencv_is_not_asked_to_turn(tmp_path: Path) -> None:
    data = pillow(picture(16, 24), "JPEG", exif=exif_block({0x0112: 6}))
    assert cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).shape == (24, 16, 3)
    assert read_still(put(tmp_path, "o.jpg", data)).pixels.shape == (24, 16, 3)
