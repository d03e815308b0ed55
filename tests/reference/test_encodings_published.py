"""Encodings against the numbers that their own documents print. The source stands over each table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookdev.colorimetry.encodings import HDR_WHITE_CD_M2, encoding_names, get_encoding, with_range
from lookdev.errors import RequestError

GREY = 0.18


def _code(name: str, light: float) -> float:
    return float(get_encoding(name).encode(np.full(3, light))[1])


# Academy S-2016-001, 4.4: the break, its value, black, mid grey, one.
@pytest.mark.parametrize(
    ("light", "signal"),
    [
        (0.0078125, 0.155251141552511),
        (0.0, 0.0729055341958355),
        (0.18, 0.413588402),
        (1.0, 0.554794520547945),
    ],
)
def test_acescct(light: float, signal: float) -> None:
    assert _code("ACEScct", light) == pytest.approx(signal, abs=1e-9)


# ITU-R BT.2408-7, table 1: nominal levels, cd/m2, % of PQ and of HLG signal.
@pytest.mark.parametrize(
    ("luminance", "pq", "hlg"), [(203, 58, 75), (179, 57, 73), (162, 56, 71), (26, 38, 38)]
)
def test_hdr_levels(luminance: float, pq: int, hlg: int) -> None:
    light = luminance / HDR_WHITE_CD_M2
    assert round(100 * _code("BT.2100 PQ", light)) == pq
    assert round(100 * _code("BT.2100 HLG", light)) == hlg


# SMPTE ST 2084:2014 annex A / BT.2100-2 table 4, evaluated: luminance and signal.
@pytest.mark.parametrize(
    ("luminance", "signal"), [(0.0, 0.0), (100.0, 0.5081), (1000.0, 0.7518), (4000.0, 0.9026), (10000.0, 1.0)]
)
def test_pq(luminance: float, signal: float) -> None:
    assert _code("BT.2100 PQ", luminance / HDR_WHITE_CD_M2) == pytest.approx(signal, abs=5e-5)


# ITU-R BT.2100-2 table 5: peak white of the reference display, 1000 cd/m2, is signal 1.
def test_hlg_peak() -> None:
    assert _code("BT.2100 HLG", 1000 / HDR_WHITE_CD_M2) == pytest.approx(1.0, abs=1e-6)


# Makers' papers, 18% grey (and black, and 90% white) as 10-bit codes of 1023: S-Log3 Technical Summary;
# V-Log/V-Gamut Reference Manual 1.0; ALEXA Log C Curve, usage in VFX (EI 800); F-Log and F-Log2 Data Sheets;
# N-Log Specification Document 1.0.
@pytest.mark.parametrize(
    ("name", "black", "grey", "white"),
    [
        ("S-Log3 S-Gamut3.Cine", 95, 420, 598),
        ("V-Log V-Gamut", 128, 433, 602),
        ("ARRI LogC3 ARRI Wide Gamut 3", 95, 400, 572),
        ("F-Log F-Gamut", 95, 470, 705),
        ("F-Log2 F-Gamut C", 95, 400, 570),
        ("N-Log N-Gamut", 127, 372, 603),
    ],
)
def test_log_codes(name: str, black: int, grey: int, white: int) -> None:
    got = [_code(name, light) * 1023 for light in (0.0, GREY, 0.9)]
    assert np.abs(np.array(got) - [black, grey, white]).max() < 1.0, got


# Mid grey as a signal: ARRI LogC4 Specification (0.2784); REDWideGamutRGB and Log3G10 white paper (1/3);
# DaVinci Wide Gamut Intermediate paper (0.336043); Apple Log Profile white paper (0.488272).
@pytest.mark.parametrize(
    ("name", "grey"),
    [
        ("ARRI LogC4 ARRI Wide Gamut 4", 0.2783958),
        ("Log3G10 REDWideGamutRGB", 1 / 3),
        ("DaVinci Intermediate DaVinci Wide Gamut", 0.336043),
        ("Apple Log Profile ITU-R BT.2020", 0.488272),
    ],
)
def test_log_mid_grey(name: str, grey: float) -> None:
    assert _code(name, GREY) == pytest.approx(grey, abs=2e-6)


# ITU-R BT.709-6 item 4.6, BT.2100-2 table 9: narrow range black and nominal peak, 10 bits.
@pytest.mark.parametrize("name", ["BT.709", "BT.2020", "BT.2100 PQ"])
def test_narrow_range(name: str) -> None:
    narrow = with_range(get_encoding(name), "narrow")
    top = get_encoding(name).decode(np.ones(3))
    assert narrow.name == f"{name} narrow" and get_encoding(narrow.name) == narrow
    np.testing.assert_allclose(narrow.encode(top) * 1023, [940] * 3, atol=1e-6)
    np.testing.assert_allclose(narrow.encode(np.zeros(3)) * 1023, [64] * 3, atol=1e-3)
    assert with_range(narrow, "full") == get_encoding(name)


# SMPTE RP 431-2: the P3 projector's power; here with D65. IEC 61966-2-1 and BT.1886 are tested elsewhere.
@pytest.mark.parametrize(
    ("name", "power"), [("P3-D65", 2.6), ("Gamma 2.2", 2.2), ("Gamma 2.4", 2.4), ("Gamma 2.6", 2.6)]
)
def test_pure_powers(name: str, power: float) -> None:
    assert _code(name, 0.5) == pytest.approx(0.5 ** (1 / power), abs=1e-12)


# SMPTE ST 2065-1, table 1: ACES primaries; white 0.32168, 0.33767 becomes D65 white here.
def test_aces_white_is_our_white() -> None:
    for name in ("ACES2065-1", "ACEScg", "ACEScct"):
        encoding = get_encoding(name)
        white = encoding.to_working(encoding.encode(np.ones(3)))
        np.testing.assert_allclose(white, [1, 1, 1], atol=1e-9)


def test_every_name_comes_back() -> None:
    names = encoding_names()
    assert len(names) == len(set(names)) > 50
    for name in names:
        assert get_encoding(name).name == name
        assert get_encoding(name.lower().replace(" ", "-")).name == name


@pytest.mark.parametrize("name", encoding_names())
def test_there_and_back_and_no_nan(name: str) -> None:
    encoding = get_encoding(name)
    codes = np.repeat(np.linspace(0, 1, 257)[:, None], 3, axis=1)
    np.testing.assert_allclose(encoding.encode(encoding.decode(codes)), codes, atol=2e-6)
    light = np.array([[-0.05, 0.0, 0.001], [0.18, -0.01, 3.0], [0.9, 0.5, -0.02]])
    tolerance = 2e-4 if name.startswith("L-Log") else 1e-6  # L-Log's printed constants do not quite meet
    np.testing.assert_allclose(encoding.decode(encoding.encode(light)), light, atol=tolerance)
    wild = np.array([[-3.0, 9.0, 2.0], [1e4, -1e4, 0.0]])
    assert np.isfinite(encoding.to_working(wild)).all() and np.isfinite(encoding.from_working(wild)).all()


@pytest.mark.parametrize("name", encoding_names())
def test_increasing(name: str) -> None:
    encoding = get_encoding(name)
    codes = np.repeat(np.linspace(0, 1, 1025)[:, None], 3, axis=1)
    assert np.all(np.diff(encoding.decode(codes)[:, 0]) > (0 if "PQ" not in name else -1e-18))


@given(st.floats(-2, 60, allow_nan=False))
def test_a_log_takes_any_light(light: float) -> None:
    encoding = get_encoding("S-Log3 S-Gamut3")
    assert float(encoding.decode(encoding.encode(light))) == pytest.approx(light, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("S-Log3", "more than one gamut.*S-Log3 S-Gamut3"),
        ("acescctt", "nearest name is 'ACEScct'"),
        ("", "unknown encoding"),
        ("narrow", "unknown encoding"),
        ("ACEScg narrow", "linear light has no narrow range"),
    ],
)
def test_wrong_names(asked: str, said: str) -> None:
    with pytest.raises(RequestError, match=said):
        get_encoding(asked)


def test_short_names() -> None:
    assert get_encoding("pq").name == "BT.2100 PQ"
    assert get_encoding("V-Log").name == "V-Log V-Gamut"
    assert get_encoding("Rec.709").name == "BT.709"
    assert get_encoding("Cineon ACEScg").space.name == "ACEScg"


def test_the_file_of_log_encodings_holds_what_colour_science_registers():
    import csv

    from lookdev.colorimetry.make_log_encodings import FILE, log_encodings_csv

    kept, made = (
        list(csv.reader(text.splitlines())) for text in (FILE.read_text("ascii"), log_encodings_csv())
    )
    assert [row[:3] for row in kept] == [row[:3] for row in made]
    for one, other in zip(kept[1:], made[1:], strict=True):
        assert [float(v) for v in one[3:]] == pytest.approx([float(v) for v in other[3:]], rel=1e-8), one[0]
