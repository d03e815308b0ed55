"""The check frame: right loads pass by either interpolation, wrong ones are told apart; light in an EXR."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.encodings import get_encoding
from lookdev.looks.model import Look
from lookdev.lut.bake import bake_cube
from lookdev.lut.check_frame import (
    check_csv,
    check_patches,
    check_values,
    code,
    draw_frame,
    frame_name,
    frame_signal,
    read_trilinear,
    write_check_frame,
)
from lookdev.lut.mistakes import wrong_answers
from lookdev.stills.reader import read_still

LOOK = Look.model_validate(
    {
        "title": "test",
        "exposure": {"stops": -0.3},
        "balance": {"mired": -12.0},
        "curve": {"contrast": 1.14, "toe": 0.3, "shoulder": 0.3, "black": 0.003},
        "colour": {"saturation": 0.72},
    }
)
PAIRS = [
    ("ACEScct", "BT.709"),
    ("ACEScct", "ACEScct"),
    ("S-Log3 S-Gamut3.Cine", "BT.709 narrow"),
    ("ARRI LogC4 ARRI Wide Gamut 4", "BT.2100 PQ"),
    ("sRGB", "sRGB"),
    ("BT.709 narrow", "BT.709"),
    ("ACEScg", "BT.709"),
]


def rows_of(values) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(check_csv(values).lstrip("\ufeff"))))


@pytest.mark.parametrize(("source", "target"), PAIRS)
@pytest.mark.parametrize("size", [33, 65])
def test_a_right_load_passes_by_either_interpolation(source: str, target: str, size: int) -> None:
    """24 of 48 right loads by trilinear readers failed the tell-tales."""
    encoding, shown = get_encoding(source), get_encoding(target)
    transform = LOOK.transform(encoding, shown)
    lut, patches = bake_cube(transform, size), check_patches(encoding)
    tells, right, wrong = wrong_answers(patches, lut, encoding, shown)
    assert len(tells) == 5 and not any("trilinear" in w.meaning for w in wrong)
    for patch, codes in zip(tells, right.codes, strict=True):
        read = read_trilinear(lut, patch.signal[None])[0]
        assert max(abs(code(float(v), 10) - c) for v, c in zip(read, codes, strict=True)) <= 1
    signals = np.stack([p.signal for p in patches])
    rows = rows_of(check_values(patches, lut, transform))
    for name, read in (("after_lut", lut(signals)), ("trilinear", read_trilinear(lut, signals))):
        for row, signal in zip(rows, read, strict=True):
            off = [
                abs(code(float(v), 10) - int(row[f"{name}_10bit_{c}"]))
                for v, c in zip(signal, "rgb", strict=True)
            ]
            assert max(off) <= int(row["within_10bit"])


@pytest.mark.parametrize(("source", "target"), PAIRS)
def test_mistakes_are_told_apart(source: str, target: str) -> None:
    """No two rows alike, none within what a right reading may be off."""
    encoding, shown = get_encoding(source), get_encoding(target)
    lut = bake_cube(LOOK.transform(encoding, shown), 33)
    _, right, wrong = wrong_answers(check_patches(encoding), lut, encoding, shown)
    kinds = " ".join(w.meaning for w in wrong)
    for word in ("order", "channels", "not on", "twice", *(() if encoding.is_linear else ("range",))):
        assert word in kinds
    assert ("shaper" in kinds) == encoding.is_linear
    answers = np.array([right.codes, *(w.codes for w in wrong)])
    for i, one in enumerate(answers):
        for other in answers[i + 1 :]:
            assert np.abs(one - other).max() > 2, (i, source, target)


@pytest.mark.parametrize(
    "name", ["ACEScct", "V-Log V-Gamut", "BT.709", "BT.709 narrow", "ACEScg", "BT.2100 PQ"]
)
def test_patches_do_not_overlap_and_the_frame_holds_them(name: str) -> None:
    encoding = get_encoding(name)
    patches = check_patches(encoding)
    owner = np.full((1080, 1920), -1)
    for i, patch in enumerate(patches):
        x, y, w, h = patch.box
        assert (owner[y : y + h, x : x + w] == -1).all()
        owner[y : y + h, x : x + w] = i
    signal = frame_signal(draw_frame(patches, encoding))
    for patch in patches:
        x, y = patch.centre
        np.testing.assert_allclose(signal[y, x], patch.signal, atol=1e-9, rtol=1e-6)


def test_light_to_sixteen_in_an_exr(tmp_path: Path) -> None:
    """Codes of a 16-bit TIFF end at 1, a twelfth of what the LUT takes."""
    encoding = get_encoding("ACEScg")
    patches = check_patches(encoding)
    write_check_frame(tmp_path, patches, encoding)
    assert [p.name for p in tmp_path.iterdir()] == [frame_name(encoding)] == ["check_frame.exr"]
    still = read_still(tmp_path / "check_frame.exr")
    assert still.encoding.name == "ACEScg"
    pixels = np.asarray(still.pixels, dtype=np.float64)
    assert pixels.max() == 16.0
    for patch in patches:
        x, y = patch.centre
        np.testing.assert_allclose(pixels[y, x], patch.signal, rtol=1e-6)
    first = (tmp_path / "check_frame.exr").read_bytes()
    write_check_frame(tmp_path, patches, encoding)
    assert (tmp_path / "check_frame.exr").read_bytes() == first
