"""Light notes against what standards and practice publish. The source stands over each table."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lookdev.colorimetry.temperature import cct_duv_from_xy, mired, uv1976_from_xy, xy_from_cct
from lookdev.meter.exposure import contrast_ratio, match_stops
from lookdev.meter.filters import COMMON_FILTERS, match
from lookdev.meter.fixture import shares, span
from lookdev.meter.flicker import safe_angles
from lookdev.meter.hints import nearest_illuminants
from lookdev.meter.iso_2720 import (
    COMMON_CONSTANTS,
    CONSTANT_RANGES,
    STANDARD_INDICES,
    exposure_time_s,
    incident_stop,
    needed_lux,
    standard_index,
)
from lookdev.meter.log import Reading
from lookdev.meter.notes import reading_notes
from lookdev.meter.scout import Plan
from lookdev.meter.spectrum import Spectrum, illuminant, rendition
from lookdev.stills.still import Metadata
from lookdev.text.numbers import LUX_PER_FC

# CIE 15:2018 tables 3, T.6.1, T.7, T.8.1 (and CIE 15:2004 table 11.3 for HP): x, y, 2 degree observer.
CIE_15_XY = [
    ("A", 0.44758, 0.40745, 2856, 5),
    ("D50", 0.34567, 0.35851, 5003, 8),
    ("D55", 0.33243, 0.34744, 5503, 8),
    ("D65", 0.31272, 0.32903, 6504, 8),
    ("D75", 0.29903, 0.31488, 7504, 10),
    ("FL1", 0.3131, 0.3371, 6430, 10),
    ("FL2", 0.3721, 0.3751, 4230, 10),
    ("FL7", 0.3129, 0.3292, 6500, 10),
    ("FL11", 0.3805, 0.3769, 4000, 10),
    ("HP1", 0.5330, 0.4150, 1959, 5),
    ("HP2", 0.4778, 0.4158, 2506, 5),
    ("HP3", 0.4302, 0.4075, 3144, 5),
    ("HP4", 0.3812, 0.3797, 4002, 8),
    ("HP5", 0.3776, 0.3713, 4039, 8),
    ("LED-B1", 0.4560, 0.4078, 2733, 5),
    ("LED-B3", 0.3756, 0.3723, 4103, 8),
    ("LED-B5", 0.3118, 0.3236, 6598, 10),
]


@pytest.mark.parametrize(("name", "x", "y", "cct", "tolerance"), CIE_15_XY)
def test_cie_15_illuminants(name: str, x: float, y: float, cct: float, tolerance: float) -> None:
    note = reading_notes(Reading(source=name, illuminant=name), Plan(), spectral=False)
    assert note.xy == pytest.approx((x, y), abs=6e-5)
    assert note.cct_k == pytest.approx(cct, abs=tolerance)
    # FL10 and FL11 have twins in the table; the distance is what counts
    assert note.hints[0].distance_uv == pytest.approx(0, abs=1e-6)


# CIE 15:2018 tables of spectra: integrating a published spectrum gives the published chromaticity.
@pytest.mark.parametrize("name", ["A", "D50", "D65", "FL2", "FL7", "FL11", "HP1", "HP3", "LED-B1", "LED-B5"])
def test_a_spectrum_gives_its_chromaticity(name: str) -> None:
    published = next((x, y) for n, x, y, *_ in CIE_15_XY if n == name)
    assert illuminant(name).xy == pytest.approx(published, abs=4e-4)


# CIE 15:2018 8.2.1, the CIE 1976 UCS formulae: u' = 4x / (-2x + 12y + 3), v' = 9y / (-2x + 12y + 3).
@pytest.mark.parametrize("xy", [(0.3127, 0.3290), (0.5330, 0.4150), (0.4476, 0.4074), (0.17, 0.797)])
def test_cie_1976_ucs(xy: tuple[float, float]) -> None:
    x, y = xy
    denominator = -2 * x + 12 * y + 3
    assert uv1976_from_xy(xy) == pytest.approx((4 * x / denominator, 9 * y / denominator), abs=1e-15)


# Ohno, LEUKOS 10:1 (2014), 47-55: the range of CCT and Duv of its tests, there and back.
@pytest.mark.parametrize(
    ("cct", "duv"),
    [(2000, -0.02), (3000, 0.0), (3500, 0.02), (4000, -0.02), (5000, 0.01), (6500, 0.0032), (20000, 0.0)],
)
def test_duv_and_back(cct: float, duv: float) -> None:
    back = cct_duv_from_xy(xy_from_cct(cct, duv))
    assert back == pytest.approx((cct, duv), rel=1e-6, abs=1e-7)


# Ohno's method as colour-science's tests hold it (colour.temperature, Ohno 2013): u 0.1978, v 0.3122 is
# 6507.47 K and Duv +0.003223; from Planck's law summed at 1 nm the CCT comes within 1 K.
def test_ohno_worked_value() -> None:
    from lookdev.colorimetry.temperature import xy_from_uv1960

    cct, duv = cct_duv_from_xy(xy_from_uv1960((0.1978, 0.3122)))
    assert cct == pytest.approx(6507.47, abs=1.5)
    assert duv == pytest.approx(0.003223, abs=2e-5)


# Mired arithmetic (issue text, common practice): 5500 K to 3200 K is about +131 mired.
@pytest.mark.parametrize(
    ("source", "target", "shift"),
    [(5500, 3200, 130.7), (3200, 5500, -130.7), (6500, 3200, 158.7), (5600, 4300, 54.0)],
)
def test_mired_shift(source: float, target: float, shift: float) -> None:
    assert mired(target) - mired(source) == pytest.approx(shift, abs=0.06)
    xy = [(float(p[0]), float(p[1])) for p in (xy_from_cct(source), xy_from_cct(target))]
    found = match("one", xy[0], "other", xy[1])
    assert found.mired_shift == pytest.approx(shift, abs=0.06)
    assert found.duv_shift == pytest.approx(0, abs=1e-6)


# Common practice: a full CTO takes daylight (5500 K to 6500 K) to tungsten (2900 K to 3400 K), a full CTB the
# reverse, within the spread of what makers print.
def test_full_correction_filters_do_their_job() -> None:
    by_name = {f.name: f for f in COMMON_FILTERS}
    for daylight in (5600, 6000, 6500):
        assert 2850 < 1e6 / (mired(daylight) + by_name["full CTO"].mired) < 3450
    assert 5000 < 1e6 / (mired(3200) + by_name["full CTB"].mired) < 6000
    for kind in ("CTO", "CTB", "plus green", "minus green"):
        steps = [by_name[f"{part} {kind}"] for part in ("full", "three quarter", "half", "quarter", "eighth")]
        strength = [abs(f.mired) + 1e4 * abs(f.duv) for f in steps]
        assert strength == sorted(strength, reverse=True)
        assert [f.stops for f in steps] == sorted((f.stops for f in steps), reverse=True)


# 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959), so 1 fc = 10.764 lx.
def test_foot_candle() -> None:
    assert pytest.approx(1 / 0.3048**2, rel=1e-9) == LUX_PER_FC
    assert round(LUX_PER_FC, 3) == 10.764


# ISO 2720:1974: C from 240 to 400 (flat receptor), 320 to 540 (dome).
def test_iso_2720_constants() -> None:
    assert CONSTANT_RANGES == {"flat": (240.0, 400.0), "dome": (320.0, 540.0)}
    for receptor, constant in COMMON_CONSTANTS.items():
        low, high = CONSTANT_RANGES[receptor]
        assert low <= constant <= high


# Common practice: 100 fc at EI 100, 24 fps, 180 degrees is about f/2.8, whatever the receptor.
@pytest.mark.parametrize("constant", COMMON_CONSTANTS.values())
def test_100_foot_candles(constant: float) -> None:
    stop = incident_stop(100 * LUX_PER_FC, 100, exposure_time_s(24, 180), constant)
    assert abs(2 * math.log2(stop / 2.8)) < 0.25


def test_100_foot_candles_by_default_is_f_2_8() -> None:
    assert round(incident_stop(100 * LUX_PER_FC, 100, 1 / 48, COMMON_CONSTANTS["flat"]), 1) == 2.8


# ISO 2720:1974, N^2 / t = E S / C, in the three directions.
def test_iso_2720_formula() -> None:
    assert incident_stop(2500, 100, 1 / 100, 250) == pytest.approx(math.sqrt(10))
    assert needed_lux(4.0, 200, 1 / 50, 250) == pytest.approx(250 * 16 * 50 / 200)
    # a still at just the exposure that the meter calls for needs no stops; one stop less light needs +1
    as_metered = Metadata(exposure_time_s=1 / 50, f_number=4.0, iso=200)
    plan = Plan(calibration_constant=250)
    assert match_stops(as_metered, 1000.0, plan) == pytest.approx(0)
    assert match_stops(
        Metadata(exposure_time_s=1 / 100, f_number=4.0, iso=200), 1000.0, plan
    ) == pytest.approx(1)
    assert match_stops(as_metered, 2000.0, plan) == pytest.approx(-1)
    assert match_stops(Metadata(f_number=4.0, iso=200), 1000.0, plan) is None


# ISO 2720:1974 and common practice: exposure indices go by third stops, numbered by rounded numbers that come
# again tenfold every ten thirds up to 1000, and double from there.
def test_standard_exposure_indices() -> None:
    thirds = [100 * 2 ** (n / 3) for n in range(-15, 25)]
    assert [
        abs(math.log2(index / exact)) < 0.1 for index, exact in zip(STANDARD_INDICES, thirds, strict=True)
    ] == [True] * len(thirds)
    text = "100 125 160 200 250 320 400 500 640 800 1000 1250 1600 2000 2500 3200 4000 5000 6400"
    start = STANDARD_INDICES.index(100)
    assert [str(index) for index in STANDARD_INDICES[start : start + 19]] == text.split()


@pytest.mark.parametrize(
    ("least", "index"),
    [(1, 3), (3.1, 4), (801, 1000), (800, 800), (2509, 3200), (20008, 25600), (25601, 32000), (60000, 64000),
     (102400, 102400), (110000, 128000)],
)  # fmt: skip
def test_the_standard_index_is_on_the_safe_side(least: float, index: int) -> None:
    assert standard_index(least) == index >= least


# Common practice: a key of 800 over a fill of 200 is 4 : 1, two stops.
def test_contrast_ratio() -> None:
    assert contrast_ratio(800, 200) == (4.0, 2.0)


# Common practice: 24 fps is free of flicker at 172.8 degrees under 50 Hz and 144 degrees under 60 Hz;
# 25 fps at 180 degrees under 50 Hz; 30 fps at 180 degrees under 60 Hz.
@pytest.mark.parametrize(
    ("fps", "mains", "angle"), [(24, 50, 172.8), (24, 60, 144.0), (25, 50, 180.0), (30, 60, 180.0)]
)
def test_shutters_free_of_flicker(fps: float, mains: float, angle: float) -> None:
    assert angle in safe_angles(fps, mains)


# ITU-R BT.709-6, 3.2: luma weights are the luminous shares of the primaries that make D65.
def test_fixture_mixing() -> None:
    primaries = [(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)]
    assert shares(primaries, (0.3127, 0.3290)) == pytest.approx((0.2126, 0.7152, 0.0722), abs=5e-5)
    assert span(primaries) == pytest.approx(0.11205, abs=1e-5)


# CIE 15:2018 table 10.1 (Ra of FL illuminants, whole numbers); CIE 13.3-1995 as colour-science's own tests
# hold it (FL1 75.8528, FL2 64.2337).
@pytest.mark.parametrize(("name", "ra"), [("FL1", 75.8528), ("FL2", 64.2337)])
def test_ra(name: str, ra: float) -> None:
    assert rendition(illuminant(name)).ra == pytest.approx(ra, abs=0.05)


@pytest.mark.parametrize(("name", "ra"), [("FL1", 76), ("FL2", 64), ("FL7", 90), ("FL11", 83)])
def test_ra_in_whole_numbers(name: str, ra: int) -> None:
    assert rendition(illuminant(name)).ra == pytest.approx(ra, abs=0.6)


# CIE 13.3-1995: the reference illuminant has 100 by definition.
@pytest.mark.parametrize("name", ["A", "D65"])
def test_a_reference_is_perfect(name: str) -> None:
    found = rendition(illuminant(name), illuminant(name))
    assert found.ra == pytest.approx(100, abs=0.3)
    assert found.r9 == pytest.approx(100, abs=1)
    assert found.cie_rf == pytest.approx(100, abs=0.5)
    assert found.ssi == 100


# CIE 224:2017 spreadsheet values as colour-science's tests hold them: FL1 80.6, FL2 70.1.
@pytest.mark.parametrize(("name", "rf"), [("FL1", 80.6), ("FL2", 70.1)])
def test_cie_224_rf(name: str, rf: float) -> None:
    assert rendition(illuminant(name)).cie_rf == pytest.approx(rf, abs=0.15)


# ANSI/IES TM-30-18 calculator values as colour-science's tests hold them: FL2 Rf 70, Rg 86.
def test_tm_30() -> None:
    found = rendition(illuminant("FL2"))
    assert found.tm30_rf == pytest.approx(70, abs=0.2)
    assert found.tm30_rg == pytest.approx(86, abs=0.5)


# SMPTE ST 2122:2020, in the Academy's overview (2020) and colour-science's tests: C against D65 is 94.
def test_ssi() -> None:
    assert rendition(illuminant("C"), illuminant("D65")).ssi == 94


# Physics: a single narrow line renders no colour and resembles no daylight.
def test_a_line_spectrum_is_poor() -> None:
    nm = np.arange(380.0, 781.0)
    line = Spectrum(nm, np.exp(-(((nm - 589) / 2) ** 2)), "589 nm")
    found = rendition(line, illuminant("D65"))
    assert found.ra is not None and found.ra < 0
    assert found.ssi is not None and found.ssi < 5


# The nearest illuminant to a published chromaticity is that illuminant (CIE 15:2018).
@pytest.mark.parametrize("name", ["A", "D55", "HP1", "FL12", "LED-BH1", "LED-RGB1"])
def test_hints(name: str) -> None:
    xy = illuminant(name).xy
    assert name in [h.illuminant for h in nearest_illuminants(xy, 3)]
