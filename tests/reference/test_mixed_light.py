"""Mixed light on card and wall, by spectral sums of our own.

Tables: CIE 15:2018 illuminants, the CIE 1931 observer and the reflectances of the ColorChecker (BabelColor's
average of thirty charts), as colour-science carries them. The sum is lamp by lamp: each lamp's XYZ of the
paint, brought to its share of the illuminance, added (Grassmann's laws) - never by a spectrum of the
mixture.
"""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest

from lookdev.meter.light import light_spectrum
from lookdev.meter.log import Reading, read_meter_log
from lookdev.paint.light import light_of

NM = np.arange(380.0, 781.0)
BARS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(
    colour.SpectralShape(380, 780, 1)
).values  # fmt: skip
MIXTURES = [(("D65", 0.6), ("HP1", 0.4)), (("A", 0.5), ("FL2", 0.5)), (("LED-B3", 0.2), ("HP1", 0.8))]


def on(sd: object) -> np.ndarray:
    return np.interp(NM, sd.wavelengths, sd.values, left=0, right=0)  # type: ignore[attr-defined]


def xyz_of(reflectance: np.ndarray | float, parts: tuple[tuple[str, float], ...]) -> np.ndarray:
    total = np.zeros(3)
    for name, share in parts:
        lamp = on(colour.SDS_ILLUMINANTS[name])
        total += share * ((reflectance * lamp) @ BARS) / (lamp @ BARS[:, 1])
    return total


def written(parts: tuple[tuple[str, float], ...]) -> str:
    return ", ".join(f"{name} {100 * share:.0f}%" for name, share in parts)


def the_reading(folder: Path, source: str, more: str = "") -> Reading:
    (folder / "meter.csv").write_text(f'location,source,lux\n{more}Quay,"{source}",\n')
    log = read_meter_log(folder / "meter.csv")
    assert not log.errors and not log.warnings, (log.errors, log.warnings)
    return log.readings[-1]


@pytest.mark.parametrize("parts", MIXTURES)
def test_the_card_under_a_mixture(parts: tuple[tuple[str, float], ...], tmp_path: Path) -> None:
    reading = the_reading(tmp_path, written(parts))
    xyz = xyz_of(1.0, parts)
    assert reading.white_xy == pytest.approx(tuple(xyz[:2] / xyz.sum()), abs=2e-4)
    found = light_spectrum(reading)
    assert found is not None
    assert found.spectrum.xy == pytest.approx(tuple(xyz[:2] / xyz.sum()), abs=2e-4)


@pytest.mark.parametrize("parts", MIXTURES)
def test_the_wall_under_a_mixture(parts: tuple[tuple[str, float], ...], tmp_path: Path) -> None:
    """24 paints: within 0.5 CIEDE2000 of the lamp-by-lamp sum (the paints are tabled at 10 nm)."""
    from lookdev.paint.spectra import GRID_NM

    light = light_of(the_reading(tmp_path, written(parts)))
    white = xyz_of(1.0, parts)
    off = []
    for sd in colour.SDS_COLOURCHECKERS["BabelColor Average"].values():
        want = xyz_of(on(sd), parts)
        got = np.interp(GRID_NM, sd.wavelengths, sd.values) @ light.weights
        lab = [colour.XYZ_to_Lab(v, white[:2] / white.sum()) for v in (want, got)]
        off.append(float(colour.delta_E(lab[0], lab[1], method="CIE 2000")))
    assert max(off) < 0.5, off
    assert "daylight, tungsten and flame" not in light.trust


def test_two_rows_of_one_place_give_the_shares_by_their_lux(tmp_path: Path) -> None:
    rows = "Quay,D65,300\nQuay,HP1,200\n"
    reading = the_reading(tmp_path, "D65 + HP1", rows)
    assert [(p.name, p.share) for p in reading.mixture] == [("D65", 0.6), ("HP1", 0.4)]
    parts = (("D65", 0.6), ("HP1", 0.4))
    xyz = xyz_of(1.0, parts)
    assert reading.white_xy == pytest.approx(tuple(xyz[:2] / xyz.sum()), abs=2e-4)


def test_shares_come_from_the_meter_where_nothing_else_gives_them(tmp_path: Path) -> None:
    white = xyz_of(1.0, (("D65", 0.3), ("HP1", 0.7)))
    x, y = white[:2] / white.sum()
    (tmp_path / "meter.csv").write_text(f"location,source,x,y\nQuay,D65 + HP1,{x:.5f},{y:.5f}\n")
    (reading,) = read_meter_log(tmp_path / "meter.csv").readings
    assert [p.share for p in reading.mixture] == pytest.approx([0.3, 0.7], abs=0.005)


def test_parts_may_be_other_rows_by_their_own_names(tmp_path: Path) -> None:
    rows = (
        "source,location,cct_k,duv,x,y,lux\nwindow,Loft,6500,0.0032,,,300\nquay lamp,Loft,,,0.533,0.415,100\n"
    )
    (tmp_path / "meter.csv").write_text(rows + "window and quay lamp,Loft,,,,,\n")
    *_, mixed = read_meter_log(tmp_path / "meter.csv").readings
    assert [(p.name, p.share) for p in mixed.mixture] == [("window", 0.75), ("quay lamp", 0.25)]


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("window daylight and tungsten", None),
        ("tubes, dimmed to 40%", None),
        ("D65 60%, sodum 40%", "'sodum' is no CIE illuminant"),
        ("window 50%, lamp 50%", "none of window, lamp"),
        ("D65 30%, HP1 30%", "make 60%"),
        ("D65 120%, HP1", "leave nothing for the rest"),
        ("D65 and HP1", "without shares"),
    ],
)
def test_what_is_no_mixture_is_said(source: str, words: str | None, tmp_path: Path) -> None:
    (tmp_path / "meter.csv").write_text(f'location,source,lux\nQuay,"{source}",100\n')
    log = read_meter_log(tmp_path / "meter.csv")
    if words is None:
        assert log.warnings == () and log.readings[0].mixture == ()
    else:
        assert any(words in line for line in log.warnings), log.warnings


@pytest.mark.parametrize("source", ["dim LED with sodium", "LED panel and sodium lamps", "tubes + window"])
def test_a_mixture_in_free_words_is_not_called_right(source: str) -> None:
    """By x, y alone it may lie on the locus, as some of LED and sodium do: its spectrum is not smooth."""
    light = light_of(Reading(source=source, cct_k=3000))
    assert light.trust.startswith("doubtful") and "D65 60%, HP1 40%" in light.trust
    assert "wrong for" in light_of(Reading(source="window", cct_k=5600)).trust
