"""ASC CDL v1.2: the formula, worked values, the files; second implementation: colour-clf-io's ASC_CDL."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from lxml import etree

from lookdev.colorimetry.encodings import ACESCCT, BT709
from lookdev.colorimetry.library import colour_science
from lookdev.looks.model import Look
from lookdev.looks.stages.cdl import CDL, cdl_signal
from lookdev.lut.cdl import NAMESPACE, ccc_text, cdl_text, fit_cdl, read_cdl, write_cc

NUMBERS = CDL(slope=(1.1, 0.95, 0.9), offset=(0.01, -0.02, 0.03), power=(1.2, 1.0, 0.85), saturation=0.8)

# ASC CDL v1.2: out = (in * slope + offset) ** power; saturation about luma, weights .2126 .7152 .0722.
WORKED = [
    ((0.5, 0.5, 0.5), (2, 1, 0.5), (0, 0, 0), (1, 1, 1), 1.0, (1.0, 0.5, 0.25)),
    ((0.5, 0.5, 0.5), (1, 1, 1), (0.1, 0.0, -0.1), (1, 1, 1), 1.0, (0.6, 0.5, 0.4)),
    ((0.5, 0.5, 0.5), (1, 1, 1), (0, 0, 0), (2, 1, 0.5), 1.0, (0.25, 0.5, 0.5**0.5)),
    ((0.4, 0.3, 0.2), (1.5, 1.5, 1.5), (0.1, 0.1, 0.1), (2, 2, 2), 1.0, (0.49, 0.3025, 0.16)),
    ((1.0, 0.0, 0.0), (1, 1, 1), (0, 0, 0), (1, 1, 1), 0.0, (0.2126, 0.2126, 0.2126)),
    ((0.0, 1.0, 0.0), (1, 1, 1), (0, 0, 0), (1, 1, 1), 0.5, (0.3576, 0.8576, 0.3576)),
]


@pytest.mark.parametrize(("signal", "slope", "offset", "power", "saturation", "wanted"), WORKED)
def test_worked_values(signal, slope, offset, power, saturation, wanted) -> None:
    np.testing.assert_allclose(cdl_signal(signal, slope, offset, power, saturation), wanted, atol=1e-12)


def test_against_colour_clf_io(tmp_path: Path) -> None:
    """SMPTE ST 2136-1, ASC_CDL style FwdNoClamp, one pixel at a time."""
    colour_science()
    import colour_clf_io
    from colour_clf_io.processing import CLFProcessList

    from lookdev.lut.clf import clf_text

    text = clf_text(Look(title="c", cdl=NUMBERS), ACESCCT, ACESCCT, "c", size=2)
    read = colour_clf_io.read_clf(text.encode())
    assert [type(n).__name__ for n in read.process_nodes] == ["ASC_CDL"]
    for pixel in np.random.default_rng(3).random((20, 3)) * 1.4 - 0.2:
        ours = cdl_signal(pixel, NUMBERS.slope, NUMBERS.offset, NUMBERS.power, NUMBERS.saturation)
        np.testing.assert_allclose(CLFProcessList(read).apply(pixel), ours, atol=1e-9)


def test_a_look_that_is_a_cdl_comes_back_exactly(tmp_path: Path) -> None:
    look = Look(title="only a CDL", cdl=NUMBERS)
    fit = fit_cdl(look, ACESCCT, BT709)
    assert fit.exact and fit.cdl == NUMBERS and fit.overall.maximum < 1e-9
    write_cc(tmp_path / "look.cc", fit, "only")
    (back,) = read_cdl(tmp_path / "look.cc")
    assert back.cdl == NUMBERS and back.identifier == "only"


def test_schema_order_and_namespace(tmp_path: Path) -> None:
    """v1.2 schema: SOPNode (Description*, Slope, Offset, Power) then SatNode (Saturation); ids; MediaRef."""
    fit = fit_cdl(Look(title="a & <b>", cdl=NUMBERS), ACESCCT, BT709)
    write_cc(tmp_path / "a.cc", fit, 'x "1"')
    one = etree.parse(str(tmp_path / "a.cc")).getroot()
    tag = f"{{{NAMESPACE}}}"
    assert one.tag == f"{tag}ColorCorrection" and one.get("id") == 'x "1"'
    assert [c.tag.removeprefix(tag) for c in one] == ["SOPNode", "SatNode"]
    kinds = [c.tag.removeprefix(tag) for c in one[0]]
    assert kinds == ["Description"] * 3 + ["Slope", "Offset", "Power"]
    assert one[0][3].text == "1.100000 0.950000 0.900000"
    many = etree.fromstring(ccc_text([("a", fit), ("b", fit)], "note").encode())
    assert many.tag == f"{tag}ColorCorrectionCollection"
    assert [c.tag.removeprefix(tag) for c in many] == ["InputDescription", "Description"] + [
        "ColorCorrection"
    ] * 2
    decisions = etree.fromstring(cdl_text([("still.tif", "a", fit)], "note").encode())
    decision = decisions.find(f"{tag}ColorDecision")
    assert [c.tag.removeprefix(tag) for c in decision] == ["MediaRef", "ColorCorrection"]
    assert decision[0].get("ref") == "still.tif"


@pytest.mark.parametrize("namespace", ["", ' xmlns="urn:ASC:CDL:v1.01"', ' xmlns="urn:ASC:CDL:v1.2"'])
@pytest.mark.parametrize("saturation", ["SatNode", "SATNode"])
def test_files_of_others(tmp_path: Path, namespace: str, saturation: str) -> None:
    """The older namespace, none, and the older spelling of SatNode."""
    path = tmp_path / "theirs.cc"
    path.write_text(
        f"<ColorCorrection id='shot 1'{namespace}><SOPNode><Slope>1.1 1 0.9</Slope><Offset>0 0 0</Offset>"
        f"<Power>1 1 1.0</Power></SOPNode><{saturation}><Saturation>0.9</Saturation></{saturation}>"
        "</ColorCorrection>"
    )
    (read,) = read_cdl(path)
    assert read.cdl.slope == (1.1, 1.0, 0.9) and read.cdl.saturation == 0.9 and read.cdl.encoding == "ACEScct"
    assert read_cdl(path, "V-Log")[0].cdl.encoding == "V-Log V-Gamut"
