"""CIE illuminants: CIE 15:2018 (4th edition), tables of chromaticities, against spectrum times observer."""

from __future__ import annotations

import numpy as np
import pytest

from lookdev.colorimetry.difference import lab_from_xyz, xyz_from_lab
from lookdev.colorimetry.illuminants import (
    find_illuminant,
    illuminant_names,
    illuminant_spectrum,
    illuminant_xy,
)
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.temperature import cct_duv_from_xy, daylight_xy, observer_1nm
from lookdev.errors import MeterError

# CIE 15:2004 table T.3 and CIE 15:2018 tables 10.2 to 11 (2 degree observer), from memory but for the last
# digit, and held against the spectra below: x, y, CCT.
PUBLISHED = {
    "A": (0.44758, 0.40745, 2856),
    "D50": (0.34567, 0.35851, 5003),
    "D55": (0.33243, 0.34744, 5503),
    "D65": (0.31272, 0.32903, 6504),
    "FL1": (0.3131, 0.3371, 6430),
    "FL2": (0.3721, 0.3751, 4230),
    "FL3": (0.4091, 0.3941, 3450),
    "FL7": (0.3129, 0.3292, 6500),
    "FL11": (0.3805, 0.3769, 4000),
    "FL12": (0.4370, 0.4042, 3000),
    "HP1": (0.5330, 0.4150, 1959),
    "HP2": (0.4778, 0.4158, 2506),
    "HP3": (0.4302, 0.4075, 3144),
    "HP4": (0.3812, 0.3797, 4002),
    "HP5": (0.3776, 0.3713, 4039),
    "LED-B1": (0.4560, 0.4078, 2733),
    "LED-B2": (0.4357, 0.4012, 2998),
    "LED-B3": (0.3756, 0.3723, 4103),
    "LED-B4": (0.3422, 0.3502, 5109),
    "LED-B5": (0.3118, 0.3236, 6598),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_chromaticity_and_cct_as_published(name: str) -> None:
    x, y, cct = PUBLISHED[name]
    assert np.abs(illuminant_xy(name) - (x, y)).max() < 1e-4
    # CIE prints CCT to 10 K for FL and to 1 K elsewhere
    assert cct_duv_from_xy(illuminant_xy(name))[0] == pytest.approx(cct, abs=10 if "FL" in name else 4)


@pytest.mark.parametrize("name", PUBLISHED)
def test_spectrum_gives_the_chromaticity(name: str) -> None:
    nm, power = illuminant_spectrum(name)
    grid, bars = observer_1nm()
    at = np.isin(grid, nm)
    xyz = np.interp(grid[at], nm, power) @ bars[at]
    # CIE 15 sums tables of 5 nm as they stand
    assert np.abs(xyz[:2] / xyz.sum() - PUBLISHED[name][:2]).max() < 1e-3


def test_every_name_has_both() -> None:
    assert {"A", "D50", "D65", "FL1", "FL12", "HP1", "HP5", "LED-B1", "LED-B5"} <= set(illuminant_names())
    for name in illuminant_names():
        assert illuminant_xy(name).shape == (2,)
        nm, power = illuminant_spectrum(name)
        assert nm.shape == power.shape
        assert np.all(np.diff(nm) > 0)
        assert np.all(power >= 0)


def test_every_chromaticity_is_the_library_s() -> None:
    """colour-science's CCS_ILLUMINANTS, which the package holds a copy of, as loading that takes a second."""
    import colour

    theirs = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    assert {n: illuminant_xy(n).tolist() for n in illuminant_names()} == {
        n: [float(v) for v in theirs[n]] for n in illuminant_names()
    }


@pytest.mark.parametrize("typed", ["hp1", "CIE HP1", " HP-1 ", "illuminant hp1"])
def test_names_as_people_type_them(typed: str) -> None:
    assert find_illuminant(typed) == "HP1"


def test_unknown_name() -> None:
    with pytest.raises(MeterError, match="found 'HP9'; wanted a CIE name such as HP"):
        illuminant_xy("HP9")


# CIE 15:2018, 4.1.2: D50, D55, D65, D75 at 1.4388 / 1.4380 of their nominal temperatures.
@pytest.mark.parametrize(
    ("nominal", "xy"),
    [
        (5000, (0.34567, 0.35851)),
        (5500, (0.33243, 0.34744)),
        (6500, (0.31272, 0.32903)),
        (7500, (0.29903, 0.31488)),
    ],
)
def test_daylight_locus(nominal: float, xy: tuple) -> None:
    assert np.abs(daylight_xy(nominal * 1.4388 / 1.4380) - xy).max() < 1.5e-4


# CIE 15:2018, 8.2.1: L* 100 at white, L* 50 at Y = 0.184187 (by the formula).
def test_cielab() -> None:
    white = np.array([0.95047, 1.0, 1.08883])
    xy = white[:2] / white.sum()
    assert np.allclose(lab_from_xyz(white, xy), [100, 0, 0], atol=1e-3)
    assert float(lab_from_xyz(white * ((50 + 16) / 116) ** 3, xy)[0]) == pytest.approx(50)
    rng = np.random.default_rng(5)
    xyz = rng.uniform(-0.2, 1.5, (500, 3))
    assert np.abs(xyz_from_lab(lab_from_xyz(xyz, xy), xy) - xyz).max() < 1e-12
    theirs = colour_science().XYZ_to_Lab(np.abs(xyz), xy)
    assert np.abs(lab_from_xyz(np.abs(xyz), xy) - theirs).max() < 1e-9


def test_observer_as_colour_science_has_it() -> None:
    """CIE 018:2019 table 6, by the copy in colour-science; and its maximum, y-bar 1 at 555 nm."""
    bars = colour_science().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    assert np.array_equal(observer_1nm()[0], bars.wavelengths)
    assert np.allclose(observer_1nm()[1], bars.values, rtol=1e-14, atol=0)
    assert observer_1nm()[1][555 - 360, 1] == 1.0


def test_the_file_of_illuminants_holds_what_colour_science_carries():
    import csv

    from lookdev.colorimetry.illuminants import illuminant_names
    from lookdev.colorimetry.make_cie_illuminants import FILE, illuminants_csv

    kept, made = (
        list(csv.reader(text.splitlines())) for text in (FILE.read_text("ascii"), illuminants_csv())
    )
    assert [row[0] for row in kept[1:]] == [row[0] for row in made[1:]]
    assert [row[0] for row in kept[1:]] == [*illuminant_names(), "S0", "S1", "S2"]
    for one, other in zip(kept[1:], made[1:], strict=True):
        assert one[3:5] == other[3:5]
        assert (one[1] == "") == (other[1] == "")
        for a, b in (
            ([v or "0" for v in one[1:3]], [v or "0" for v in other[1:3]]),
            (one[5].split(), other[5].split()),
        ):
            assert np.allclose(np.array(a, dtype=float), np.array(b, dtype=float), rtol=1e-9, atol=0), one[0]


def test_daylight_is_colour_sciences_own():
    from lookdev.colorimetry.illuminants import daylight_spectrum

    colour = colour_science()
    for cct in (4000, 5003, 6504, 9300, 25000):
        xy = daylight_xy(cct)
        nm, power = daylight_spectrum(xy)
        theirs = colour.sd_CIE_illuminant_D_series(xy, shape=colour.SpectralShape(300, 830, 5))
        assert np.array_equal(nm, theirs.wavelengths)
        assert np.abs(power - theirs.values).max() < 1e-9
