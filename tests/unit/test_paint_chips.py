"""Chip files: every form a person or an instrument writes."""

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000
from lookdev.errors import ChipError
from lookdev.paint.chip import munsell_set
from lookdev.paint.chip_file import read_chips
from lookdev.paint.draft import chip_from_text
from lookdev.paint.spectra import GRID_NM, illuminant_weights


def written(tmp_path, text, name="deck.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_one_chip_a_row_with_a_column_a_wavelength(tmp_path):
    nm = range(400, 701, 10)
    text = "name,code," + ",".join(f"{n} nm" for n in nm) + "\nFlat,F1," + ",".join("0.25" for _ in nm) + "\n"
    found = read_chips(written(tmp_path, text))
    assert not found.errors
    chip = found.chips.chips[0]
    assert (chip.name, chip.code, chip.kind, chip.estimated) == ("Flat", "F1", "spectrum", False)
    assert np.allclose(found.chips.reflectances, 0.25)
    assert any("400 to 700 nm; end values held" in w for w in found.warnings)


def test_percent_is_noticed_and_said(tmp_path):
    nm = range(380, 741, 10)
    text = "name," + ",".join(f"R{n}" for n in nm) + "\nFlat," + ",".join("25" for _ in nm) + "\n"
    found = read_chips(written(tmp_path, text))
    assert np.allclose(found.chips.reflectances, 0.25)
    assert any("percent" in w for w in found.warnings)


def test_one_chip_a_column(tmp_path):
    rows = "\n".join(f"{n};0,2;0,{3 + n // 400}" for n in range(380, 731, 10))
    found = read_chips(written(tmp_path, "nm;Grey wall;Warm wall\n" + rows))
    assert [c.name for c in found.chips.chips] == ["Grey wall", "Warm wall"]
    assert np.allclose(found.chips.reflectances[0], 0.2)
    assert found.chips.reflectances[1, 0] == pytest.approx(0.3)


def test_lab_munsell_and_hex(tmp_path):
    text = (
        "Name;Code;Munsell;Hex;L;a;b;Illuminant;Observer\n"
        "Rope;1;5YR 6/4;;;;;;\n"
        "Red;2;;;38,2;42,1;25,3;D65;10°\n"
        "Plain;3;;;50;0;0;;\n"
        "Screen;4;;#8a8f95;;;;;\n"
    )
    found = read_chips(written(tmp_path, text))
    assert not found.errors
    assert [c.kind for c in found.chips.chips] == ["Munsell", "CIELAB", "CIELAB", "hex"]
    assert found.chips.munsell()[0] == "5YR 6/4"
    lab = found.chips.lab("D65")
    assert lab[2] == pytest.approx([50, 0, 0], abs=0.1)
    from lookdev.paint.predict import lab_from_signal

    assert float(ciede2000(lab[3], lab_from_signal(np.array([0x8A, 0x8F, 0x95]) / 255))) < 0.1
    assert any("no illuminant given: D50 taken" in r for r in found.chips.chips[2].remarks)


def test_lab_for_the_10_degree_observer_is_met_for_that_observer(tmp_path):
    from lookdev.colorimetry.difference import lab_from_xyz
    from lookdev.paint.spectra import white_xy

    found = read_chips(written(tmp_path, "name,L,a,b,illuminant,observer\nRed,38.2,42.1,25.3,D65,10\n"))
    weights = illuminant_weights("D65", 10)
    seen = lab_from_xyz(found.chips.reflectances[0] @ weights, white_xy(weights))
    assert seen == pytest.approx([38.2, 42.1, 25.3], abs=0.01)


def test_a_file_of_a_spectrum(tmp_path):
    written(tmp_path, "nm,value\n" + "\n".join(f"{n},0.5" for n in range(380, 781, 5)), "white.csv")
    found = read_chips(written(tmp_path, "name,spectrum\nHalf,white.csv\n"))
    assert np.allclose(found.chips.reflectances[0], 0.5)
    assert found.chips.chips[0].kind == "spectrum"


def test_a_spectrum_beats_the_other_columns(tmp_path):
    nm = range(380, 741, 20)
    text = "name,munsell," + ",".join(map(str, nm)) + "\nBoth,5R 4/14," + ",".join("0.4" for _ in nm) + "\n"
    found = read_chips(written(tmp_path, text))
    assert found.chips.chips[0].kind == "spectrum"


def test_small_gaps_are_filled_and_said(tmp_path):
    nm = list(range(380, 741, 10))
    cells = ["" if n in (500, 510) else "0.3" for n in nm]
    found = read_chips(
        written(tmp_path, "name," + ",".join(map(str, nm)) + "\nGap," + ",".join(cells) + "\n")
    )
    assert np.allclose(found.chips.reflectances, 0.3)
    assert any("gap at 500, 510 nm" in w for w in found.warnings)


def test_fluorescent_paint_is_kept_and_said(tmp_path):
    nm = list(range(380, 741, 10))
    cells = ["1.4" if 600 <= n <= 620 else "0.3" for n in nm]
    found = read_chips(
        written(tmp_path, "name," + ",".join(map(str, nm)) + "\nGlow," + ",".join(cells) + "\n")
    )
    assert found.chips.reflectances.max() == pytest.approx(1.4)
    assert any("fluorescent" in w for w in found.warnings)


def test_duplicate_names_are_told_apart(tmp_path):
    found = read_chips(written(tmp_path, "name,munsell\nFog,N 8\nFog,N 7\n"))
    assert [c.name for c in found.chips.chips] == ["Fog", "Fog (row 3)"]
    assert any("row 3" in w and "taken by row 2" in w for w in found.warnings)


def test_bad_rows_cost_only_themselves(tmp_path):
    text = "name,munsell,L,a,b,illuminant\nGood,5G 5/4,,,,\nBad,5Q 5/4,,,,\nLamp,,50,0,0,D66\nNone,,,,,\n"
    found = read_chips(written(tmp_path, text))
    assert [c.name for c in found.chips.chips] == ["Good"]
    lines = [str(e) for e in found.errors]
    assert lines[0] == (
        "deck.csv, row 3, column munsell: not a Munsell notation; found '5Q 5/4'; "
        "wanted such as 5YR 6/4 or N 5.5"
    )
    assert (
        "row 4, column illuminant: unknown illuminant; found 'D66'; wanted a CIE illuminant such as D6"
        in lines[1]
    )
    assert "row 5: no colour" in lines[2]


def test_a_colour_that_no_surface_has(tmp_path):
    found = read_chips(written(tmp_path, "name,L,a,b,illuminant,observer\nGreen,90,-120,100,D65,2\n"))
    assert any("no surface has this colour" in r for r in found.chips.chips[0].remarks)


def test_one_chip_from_text():
    chip, reflectance = chip_from_text("5YR 6/4")
    deck = munsell_set()
    built_in = deck.reflectances[[c.name for c in deck.chips].index("5YR 6/4")]
    assert chip.kind == "Munsell"
    assert np.abs(reflectance - built_in).max() < 2e-3
    assert chip_from_text("#808080")[0].kind == "hex"
    with pytest.raises(ChipError):
        chip_from_text("chartreuse")


def test_neutrals_are_flat():
    _, reflectance = chip_from_text("N 5")
    assert len(reflectance) == len(GRID_NM)
    assert reflectance == pytest.approx(np.full(85, 0.19272), abs=1e-3)
