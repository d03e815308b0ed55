"""Chip files as nobody should write them: one line that names file and row, never a traceback."""

import random

import pytest
from hostile.guard import no_hang

from lookdev.errors import ChipError, LookdevError
from lookdev.paint.chip_file import read_chips

GOOD = "name,code,munsell,hex,L,a,b,illuminant,observer\nRope,1,5YR 6/4,,,,,,\nRed,2,,,38,42,25,D65,10\n"
NM = ",".join(str(n) for n in range(380, 741, 10))
FLAT = ",".join("0.3" for _ in range(380, 741, 10))


def attempt(tmp_path, data, name="deck.csv"):
    path = tmp_path / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode("utf-8", "surrogatepass"))
    return read_chips(path)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"\n\n,,,\n", "no heading row"),
        (b"# only a comment\n", "is empty"),
        (b"PK\x03\x04rest", "spreadsheet"),
        (b"\x89PNG\r\n", "picture"),
        (b"hello\nworld\n", "no heading row"),
        (b"name,code\nA,1\n", "no column that holds a colour"),
        (b"name,munsell\n", "holds no chip"),
        (b"name,munsell\nA,purple\n", "row 2, column munsell: not a Munsell notation; found 'purple'"),
        (b"name,munsell\nA,N 0\n", "no paint is that black"),
        (b"name,hex\nA,#12\n", "not an sRGB hex value"),
        (b"name,L,a,b\nA,50,,\n", "half a CIELAB colour"),
        (b"name,L,a,b\nA,150,0,0\n", "out of range"),
        (b"name,L,a,b\nA,nan,0,0\n", "not a number"),
        (b"name,L,a,b\nA,1e999,0,0\n", "not a finite number"),
        (b"name,L,a,b,observer\nA,50,0,0,5\n", "unknown observer"),
        (b"name,L,a,b,illuminant\nA,50,0,0,moonlight\n", "unknown illuminant"),
        (b"name,spectrum\nA,missing.csv\n", "no such spectrum file"),
        (b"name,spectrum\nA,../../../etc\n", "no such spectrum file"),
    ],
)
def test_nothing_to_use(tmp_path, data, words):
    with pytest.raises(ChipError) as caught:
        attempt(tmp_path, data)
    line = str(caught.value)
    assert words in line
    assert line.startswith("deck.csv")
    assert "\n" not in line


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (FLAT.replace("0.3", "x", 1), "column 380: not a number; found 'x'"),
        (FLAT.replace("0.3", "-0.5", 1), "negative reflectance"),
        (",".join(["0.3"] * 4 + [""] * 29 + ["0.3"] * 4), "a gap in the spectrum"),
        (",".join(["0.3"] * 10 + [""] * 27), "does not cover the visible range"),
        (FLAT + ",0.3,0.3", "more cells than headings"),
        ("", "no colour"),
    ],
)
def test_a_bad_spectrum_costs_its_row_only(tmp_path, row, words):
    found = attempt(tmp_path, f"name,{NM}\nGood,{FLAT}\nBad,{row}\n")
    assert [c.name for c in found.chips.chips] == ["Good"]
    assert len(found.errors) == 1
    line = str(found.errors[0])
    assert line.startswith("deck.csv, row 3") and words in line


def test_too_coarse(tmp_path):
    with pytest.raises(ChipError, match="nothing between 400 and 450 nm"):
        attempt(tmp_path, "name,400,450,500,550,600,650,700\nA,.3,.3,.3,.3,.3,.3,.3\n")


def test_a_fraction_among_percents_is_not_silently_scaled_to_nothing(tmp_path):
    percent = FLAT.replace("0.3", "30")
    found = attempt(tmp_path, f"name,{NM}\nOne,{percent}\nTwo,{percent}\nOdd,{FLAT}\n")
    assert any("row 4" in w and "fraction" in w for w in found.warnings)


def test_reflectance_of_thousands(tmp_path):
    found = attempt(
        tmp_path, f"name,{NM}\nGood,{FLAT.replace('0.3', '30')}\nBad,{FLAT.replace('0.3', '3000')}\n"
    )
    assert [c.name for c in found.chips.chips] == ["Good"]
    assert "out of range" in str(found.errors[0])


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1252"])
def test_encodings(tmp_path, encoding):
    found = attempt(tmp_path, "name;munsell\nMöwe;5B 7/2\n".encode(encoding))
    assert found.chips.chips[0].name == "Möwe"


@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_decimal_commas(tmp_path, separator):
    found = attempt(
        tmp_path, separator.join(["name", *NM.split(",")]) + "\n" + separator.join(["A", *["0,3"] * 37])
    )
    assert found.chips.reflectances[0, 20] == pytest.approx(0.3)


def test_decimal_commas_between_commas_say_what_to_do(tmp_path):
    found_or_error = None
    try:
        found_or_error = attempt(tmp_path, "name,L,a,b\nA,50,0,0\nB,50,1,2,3,4,5\n").errors[0]
    except ChipError as error:
        found_or_error = error
    assert "separate the cells by semicolons" in str(found_or_error)


def test_wavelength_columns_in_any_order_and_twice(tmp_path):
    order = list(range(740, 379, -10))
    text = (
        "name," + ",".join(map(str, order)) + ",500\nA," + ",".join(f"{n / 1000}" for n in order) + ",0.9\n"
    )
    found = attempt(tmp_path, text)
    assert found.chips.reflectances[0, 28] == pytest.approx(0.5, abs=1e-3)
    assert "second column for one wavelength" in str(found.errors[0])


def test_rows_of_nm_with_a_broken_row(tmp_path):
    rows = "\n".join(f"{n},0.4" for n in range(380, 741, 10))
    with pytest.raises(ChipError, match="row 3"):
        attempt(tmp_path, "nm,Wall\n380,0.4\nabc,0.4\n" + rows)
    found = attempt(tmp_path, "nm,Wall,\n" + rows.replace("\n", ",\n") + "\n500,0.4,\n")
    assert "a wavelength twice" in str(found.errors[0])


def test_five_thousand_chips(tmp_path):
    rows = "".join(f"C{i},{i % 10 + 1}{'RYGBP'[i % 5]} {i % 7 + 2}/{i % 6 + 1}\n" for i in range(5000))
    with no_hang():
        found = attempt(tmp_path, "name,munsell\n" + rows.replace(",10R", ",9R"))
    assert len(found.chips) == 5000


@pytest.mark.parametrize("seed", range(60))
def test_mangled_files_end_in_one_line_or_in_chips(tmp_path, seed):
    rng = random.Random(seed)
    data = bytearray((GOOD if seed % 2 else f"name,{NM}\nGood,{FLAT}\nAlso,{FLAT}\n").encode())
    for _ in range(rng.randint(1, 12)):
        at = rng.randrange(len(data)) if data else 0
        how = rng.randrange(4)
        if how == 0:
            data[at : at + 1] = bytes([rng.randrange(256)])
        elif how == 1:
            del data[at : at + rng.randint(1, 20)]
        elif how == 2:
            data[at:at] = bytes(rng.choice(b'",;\n\t|#\0\xff-9e') for _ in range(rng.randint(1, 6)))
        else:
            data = data[: max(at, 1)]
    try:
        found = attempt(tmp_path, bytes(data))
    except LookdevError as error:
        assert "\n" not in str(error)
        return
    assert len(found.chips) >= 1
    assert all("\n" not in str(e) for e in found.errors)
    assert (found.chips.reflectances >= 0).all() and (found.chips.reflectances <= 2).all()
