"""ICC profiles against LittleCMS (through Pillow's ImageCms): the same colours within one 8-bit code.

Curve kinds: ICC.1:2022 10.6 (curveType) and 10.18, table 68 (parametricCurveType, types 0 to 4).
"""

from __future__ import annotations

import io
import pickle

import numpy as np
import pytest
from PIL import Image, ImageCms
from still_files import (
    MONITOR_COLORANTS,
    SRGB_COLORANTS,
    curv,
    grey_profile,
    para,
    rgb_profile,
    srgb_table,
    table_profile,
)

from lookdev.colorimetry.encodings import get_encoding
from lookdev.stills.icc import encoding_from_icc, parse_profile, profile_bytes
from lookdev.stills.managed import convert_with_profile

SRGB_PARA = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def _gamma_table(gamma: float, count: int) -> bytes:
    x = np.linspace(0, 1, count)
    return curv(*np.floor(x**gamma * 65535 + 0.5).astype(int).tolist())


PROFILES = {
    "v2 linear (empty curve)": rgb_profile(curv()),
    "v2 gamma 1.8": rgb_profile(curv(round(1.8 * 256))),
    "v2 gamma 2.2 monitor": rgb_profile(curv(round(2.2 * 256)), colorants=MONITOR_COLORANTS),
    "v2 table sRGB": rgb_profile(srgb_table()),
    "v2 table of 16": rgb_profile(_gamma_table(2.1, 16), colorants=MONITOR_COLORANTS),
    "v2 three different curves": rgb_profile(
        _gamma_table(2.0, 256), _gamma_table(2.3, 300), curv(round(1.9 * 256)), colorants=MONITOR_COLORANTS
    ),
    "v4 para 0": rgb_profile(para(0, 2.35), version=4),
    "v4 para 1": rgb_profile(para(1, 2.2, 0.95, 0.05), version=4),
    "v4 para 2": rgb_profile(para(2, 2.2, 0.95, 0.03, 0.02), version=4),
    "v4 para 3": rgb_profile(para(3, *SRGB_PARA), version=4, colorants=MONITOR_COLORANTS),
    "v4 para 4": rgb_profile(para(4, 2.2, 0.93, 0.07, 0.3, 0.06, 0.01, 0.00247), version=4),
}
CODES = np.stack(np.meshgrid(*[np.arange(0, 256, 15)] * 3, indexing="ij"), axis=-1).reshape(-1, 18, 3)


def littlecms(icc: bytes, codes: np.ndarray, mode: str, target: bytes) -> np.ndarray:
    """``codes`` through LittleCMS, relative colorimetric, to a profile."""
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc)),
        ImageCms.ImageCmsProfile(io.BytesIO(target)),
        mode,
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    picture = Image.fromarray(np.ascontiguousarray(codes.astype(np.uint8)), mode)
    return np.asarray(ImageCms.applyTransform(picture, transform)).astype(int)


def to_srgb(encoding, signal: np.ndarray) -> np.ndarray:
    """8-bit sRGB codes of a signal."""
    out = get_encoding("sRGB").from_working(encoding.to_working(signal))
    return np.floor(np.clip(out, 0, 1) * 255 + 0.5).astype(int)


def littlecms_srgb() -> bytes:
    """The sRGB profile that LittleCMS itself makes."""
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


@pytest.mark.parametrize("name", PROFILES)
def test_matrix_profile_reads_as_littlecms_does(name: str) -> None:
    icc = PROFILES[name]
    ours = to_srgb(encoding_from_icc(icc), CODES / 255.0)
    theirs = littlecms(icc, CODES, "RGB", littlecms_srgb())
    assert np.abs(ours - theirs).max() <= 1


@pytest.mark.parametrize("name", PROFILES)
def test_every_code_comes_back(name: str) -> None:
    encoding = encoding_from_icc(PROFILES[name])
    codes = np.repeat(np.arange(256)[:, None], 3, axis=1)
    back = np.asarray(encoding.encode(encoding.decode(codes / 255.0))) * 255
    assert np.floor(back + 0.5).astype(int).tolist() == codes.tolist()


@pytest.mark.parametrize("name", PROFILES)
def test_curves_rise_and_survive_any_number(name: str) -> None:
    encoding = encoding_from_icc(PROFILES[name])
    x = np.repeat(np.linspace(-0.5, 2.0, 2501)[:, None], 3, axis=1)
    light = np.asarray(encoding.decode(x))
    assert np.all(np.isfinite(light)) and np.all(np.diff(light, axis=0) >= -1e-6)
    back = np.asarray(encoding.encode(np.repeat(np.linspace(-0.2, 4.0, 500)[:, None], 3, axis=1)))
    assert np.all(np.isfinite(back))


def test_encoding_of_a_profile_pickles() -> None:
    encoding = encoding_from_icc(PROFILES["v2 three different curves"])
    again = pickle.loads(pickle.dumps(encoding))
    assert again == encoding and hash(again) == hash(encoding)
    assert again.to_working([0.2, 0.5, 0.9]).tolist() == encoding.to_working([0.2, 0.5, 0.9]).tolist()


@pytest.mark.parametrize(
    ("icc", "name"),
    [
        (rgb_profile(srgb_table()), "sRGB"),
        (rgb_profile(para(3, *SRGB_PARA), version=4), "sRGB"),
        (rgb_profile(curv(563)), "Gamma 2.2"),
        (
            rgb_profile(
                curv(563),
                colorants=(
                    (0.60974, 0.31111, 0.01947),
                    (0.20528, 0.62567, 0.06087),
                    (0.14919, 0.06322, 0.74457),
                ),
            ),
            "Adobe RGB",
        ),
        (
            rgb_profile(
                para(3, *SRGB_PARA),
                version=4,
                colorants=(
                    (0.51512, 0.24120, -0.00105),
                    (0.29198, 0.69225, 0.04189),
                    (0.15710, 0.06657, 0.78407),
                ),
            ),
            "Display P3",
        ),
    ],
)
def test_profiles_of_standard_encodings_are_known(icc: bytes, name: str) -> None:
    """Colorants: ICC profile registry sRGB, Adobe RGB (1998) and Display P3 profiles as published."""
    assert encoding_from_icc(icc) is get_encoding(name)


def test_littlecms_own_srgb_is_srgb() -> None:
    assert encoding_from_icc(littlecms_srgb()) is get_encoding("sRGB")


def test_a_monitor_is_not_taken_for_srgb() -> None:
    assert encoding_from_icc(PROFILES["v2 gamma 2.2 monitor"]).name.startswith("Test room")


WRITTEN = (
    "sRGB",
    "Display P3",
    "Adobe RGB",
    "BT.709",
    "BT.2020",
    "ACEScg",
    "Linear BT.2020",
    "Gamma 2.2",
    "P3-D65",
)


@pytest.mark.parametrize("name", WRITTEN)
def test_written_profile_means_its_encoding_to_littlecms(name: str) -> None:
    encoding = get_encoding(name)
    icc = profile_bytes(encoding)
    theirs = littlecms(icc, CODES, "RGB", littlecms_srgb())
    assert np.abs(to_srgb(encoding, CODES / 255.0) - theirs).max() <= 1
    assert encoding_from_icc(icc) is encoding
    assert ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(icc))).strip() == name


def test_written_profile_is_the_same_every_time_and_carries_its_id() -> None:
    import hashlib

    icc = profile_bytes(get_encoding("sRGB"))
    profile_bytes.cache_clear()
    assert profile_bytes(get_encoding("sRGB")) == icc
    assert int.from_bytes(icc[:4], "big") == len(icc)
    zeroed = bytearray(icc)
    zeroed[44:48] = zeroed[64:68] = b"\0" * 4
    zeroed[84:100] = b"\0" * 16
    assert hashlib.md5(bytes(zeroed)).digest() == icc[84:100]  # ICC.1:2022 7.2.18


@pytest.mark.parametrize("name", PROFILES)
def test_profile_of_a_profile_encoding_is_the_profile_to_littlecms(name: str) -> None:
    icc = PROFILES[name]
    ours = profile_bytes(encoding_from_icc(icc))
    apart = littlecms(ours, CODES, "RGB", littlecms_srgb()) - littlecms(icc, CODES, "RGB", littlecms_srgb())
    assert np.abs(apart).max() <= 1


@pytest.mark.parametrize("name", ["ACEScct", "BT.2100 PQ"])
def test_encodings_beyond_display_range_have_no_profile(name: str) -> None:
    from lookdev.errors import StillError

    with pytest.raises(StillError, match="no ICC profile can say this encoding"):
        profile_bytes(get_encoding(name))


@pytest.mark.parametrize("curve", [curv(round(1.8 * 256)), srgb_table(), curv(round(2.2 * 256))])
def test_grey_profile_reads_as_littlecms_does(curve: bytes) -> None:
    icc = grey_profile(curve)
    codes = np.arange(256).reshape(16, 16)
    ours = to_srgb(encoding_from_icc(icc), np.repeat(codes[..., None], 3, axis=2) / 255.0)
    theirs = littlecms(icc, codes, "L", littlecms_srgb())
    assert np.abs(ours - theirs).max() <= 1


@pytest.mark.parametrize(("channels", "space", "mode"), [(3, b"RGB ", "RGB"), (4, b"CMYK", "CMYK")])
def test_table_profile_goes_through_littlecms(channels: int, space: bytes, mode: str) -> None:
    icc = table_profile(channels, space)
    assert not parse_profile(icc).is_matrix
    rng = np.random.default_rng(5)
    quiet = np.full((20, 20, channels), 128) + rng.integers(-25, 25, (20, 20, channels))
    pixels, encoding = convert_with_profile(quiet.astype(np.uint8), mode, icc)
    assert encoding.name == "sRGB"
    assert np.abs(pixels.astype(int) - littlecms(icc, quiet, mode, littlecms_srgb())).max() <= 1
    loud = rng.integers(0, 256, (20, 20, channels))
    pixels, encoding = convert_with_profile(loud.astype(np.uint8), mode, icc)
    theirs = littlecms(icc, loud, mode, profile_bytes(encoding))
    assert np.abs(pixels.astype(int) - theirs).max() <= 1


@pytest.mark.parametrize(("channels", "space", "mode"), [(3, b"RGB ", "RGB"), (4, b"CMYK", "CMYK")])
def test_16_bits_through_a_table_profile_stay_16(channels: int, space: bytes, mode: str) -> None:
    """A ramp keeps its steps, and is the 8-bit road's but for half a code, and half for rounding there."""
    icc = table_profile(channels, space)
    ramp = np.arange(64 * 256, 192 * 256, 8, dtype=np.uint16)
    pixels = np.repeat(ramp[None, :, None], channels, axis=2)
    fine, encoding = convert_with_profile(pixels, mode, icc)
    assert fine.dtype == np.uint16 and encoding.name == "sRGB"
    assert min(len(np.unique(fine[..., i])) for i in range(3)) > 2000
    assert np.all(np.diff(fine.astype(int), axis=1) * (1 if mode == "RGB" else -1) >= 0)
    codes = np.arange(64, 192)
    coarse = littlecms(icc, np.repeat(codes[None, :, None], channels, axis=2), mode, littlecms_srgb())
    same, _ = convert_with_profile(
        np.repeat((codes * 257).astype(np.uint16)[None, :, None], channels, axis=2), mode, icc
    )
    assert np.abs(same / 257.0 - coarse).max() <= 1.0


def test_print_colours_outside_srgb_go_to_a_wide_space() -> None:
    cyan = np.zeros((8, 8, 4), np.uint8)
    cyan[..., 0] = 255
    icc = table_profile(4, b"CMYK")
    pixels, encoding = convert_with_profile(cyan, "CMYK", icc)
    wide = littlecms(icc, cyan, "CMYK", profile_bytes(get_encoding("Adobe RGB")))
    narrow = littlecms(icc, cyan, "CMYK", littlecms_srgb())
    assert narrow[0, 0, 0] == 0 and wide[0, 0, 0] > 0
    assert encoding.name == "Adobe RGB" and np.abs(pixels - wide).max() <= 1


def test_colorants_of_srgb_give_bt709() -> None:
    """ITU-R BT.709-6 item 1.3 out of the colorants that sRGB profiles publish."""
    from lookdev.stills.icc import space_from_colorants

    space = space_from_colorants(np.array(SRGB_COLORANTS).T, "sRGB")
    assert np.allclose(space.primaries_xy, [(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)], atol=3e-4)
