"""Gels on lamps with lines, by spectral sums that call nothing of the tool's own filter arithmetic.

Tables: CIE 15:2018 (HP1, FL2) and the CIE 1931 observer, as colour-science carries them. The ideal filter
is the ratio of two Planckian radiators that are the shift apart (Planck 1900), 1 at its clearest from 400
to 700 nm. Low-pressure sodium is the D doublet, 589.0 and 589.6 nm (NIST Atomic Spectra Database).
"""

from __future__ import annotations

import math
from pathlib import Path

import colour
import numpy as np
import pytest

from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.meter.filters import COMMON_FILTERS
from lookdev.meter.log import Reading, read_meter_log
from lookdev.meter.notes import reading_notes
from lookdev.meter.scout import Plan

NM = np.arange(380.0, 781.0)
BARS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(
    colour.SpectralShape(380, 780, 1)
).values  # fmt: skip
PLAN = Plan(balance_k=4300)


def lamp(name: str) -> np.ndarray:
    sd = colour.SDS_ILLUMINANTS[name]
    return np.interp(NM, sd.wavelengths, sd.values, left=0, right=0)


def planck(kelvin: float) -> np.ndarray:
    return NM**-5 / np.expm1(1.438776877e7 / (NM * kelvin))


def uv(power: np.ndarray) -> np.ndarray:
    x, y, z = power @ BARS
    return np.array([4 * x, 9 * y]) / (x + 15 * y + 3 * z)


def target_uv() -> np.ndarray:
    x, y = balance_white_xy(4300)
    return np.array([4 * x, 9 * y]) / (-2 * x + 12 * y + 3)


def ideal(mired: float) -> np.ndarray:
    start = 3200.0 if mired < 0 else 5600.0
    gel = planck(1e6 / (1e6 / start + mired)) / planck(start)
    return np.minimum(gel / gel[(NM >= 400) & (NM <= 700)].max(), 1.0)


def test_two_full_blue_gels_do_not_bring_high_pressure_sodium_to_the_balance() -> None:
    """By our own sums two full blue sheets leave HP1 a whole colour away and take over four stops."""
    sodium, gel = lamp("HP1"), ideal(-135.0) ** 2
    assert np.hypot(*(uv(sodium * gel) - target_uv())) > 0.045
    assert -math.log2((sodium * gel) @ BARS[:, 1] / (sodium @ BARS[:, 1])) > 4.0
    found = reading_notes(Reading(source="HP1", illuminant="HP1"), PLAN).to_balance
    assert found is not None and found.filters == ()
    assert found.is_unmovable
    assert "gel our lamps" in found.filter_words


def test_a_lamp_of_one_wavelength_is_given_no_gel(tmp_path: Path) -> None:
    spectrum = "nm,value\n" + "".join(f"{n},{1 if n in (589, 590) else 0}\n" for n in range(380, 781))
    (tmp_path / "low.csv").write_text(spectrum)
    (tmp_path / "meter.csv").write_text(
        "source,x,y,spectrum\nsodium,,,low.csv\nquay,0.5693,0.4300,\nlow-pressure sodium,0.560,0.425,\n"
    )
    readings = read_meter_log(tmp_path / "meter.csv").readings
    assert len(readings) == 3
    for reading in readings:
        found = reading_notes(reading, PLAN).to_balance
        assert found is not None and found.filters == () and found.is_unmovable, reading.source
        assert "gel our lamps" in found.filter_words


def test_sodium_in_words_alone_is_not_given_gels_either() -> None:
    found = reading_notes(Reading(source="sodium lamps", x=0.533, y=0.415), PLAN).to_balance
    assert found is not None and found.is_unmovable and found.filters == ()


@pytest.mark.parametrize(("name", "kelvin"), [("FL2", 5600), ("HP2", 4300), ("FL11", 3200), ("A", 5600)])
def test_what_is_left_is_what_the_spectrum_leaves(name: str, kelvin: float) -> None:
    """Our own sum over lamp, ideal filters and observer comes out where the note says that the light ends."""
    found = reading_notes(Reading(source=name, illuminant=name), Plan(balance_k=kelvin)).to_balance
    assert found is not None and found.left_uv is not None
    shifts = [next(f for f in COMMON_FILTERS if f.name == n) for n in found.filters]
    power = lamp(name)
    for one in shifts:
        if one.mired:
            power = power * ideal(one.mired)
    x, y = balance_white_xy(kelvin)
    wanted = np.array([4 * x, 9 * y]) / (-2 * x + 12 * y + 3)
    green = sum(f.duv for f in shifts)
    # a Duv of 0.01 is about 0.015 in u', v', across the locus
    left = np.hypot(*(uv(power) - wanted))
    assert abs(left - found.left_uv) < 0.004 + 1.7 * abs(green)
    assert left < 0.010 + 1.7 * abs(green)


def test_our_lamps_are_turned_to_a_lamp_that_cannot_be_moved() -> None:
    """Planckian 3200 K to HP1's 1960 K is +198 mired, nominal: full CTO and an eighth do 185, a quarter
    215."""
    note = reading_notes(Reading(source="HP1", illuminant="HP1"), PLAN)
    ours = {m.source: m for m in note.ours}
    assert list(ours) == ["3200 K", "5600 K"]
    assert "full CTO" in ours["3200 K"].filters and ours["3200 K"].left_uv < 0.015
    assert ours["5600 K"].filters.count("full CTO") == 2
