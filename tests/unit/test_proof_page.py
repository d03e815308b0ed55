"""The proof of an HDR LUT: levels beside BT.2408's table, the curve and the check frame up to the peak."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pypdf
import pytest

from lookdev.colorimetry.encodings import get_encoding
from lookdev.looks.model import Look
from lookdev.lut.bake import bake_cube, export_cube
from lookdev.lut.cdl import fit_cdl
from lookdev.lut.check_frame import brightest_words, check_patches, check_values
from lookdev.lut.proof import prove
from lookdev.pages.proof_page import write_proof

LOOK = Look(title="As it stood")


def test_an_hdr_proof_states_its_levels_and_goes_up_to_them(tmp_path: Path) -> None:
    """BT.2408-8 (2024) table 1, from memory: 18% grey card at 26 cd/m2, HDR reference white at 203."""
    source, target = get_encoding("ACEScct"), get_encoding("PQ 600")
    report = export_cube(LOOK, source, target, tmp_path / "a.cube", size=17)
    proof = prove(LOOK, source, target, report, fit_cdl(LOOK, source, target))
    assert proof.curve_stops[-1] > 10.2  # ACEScct ends 10.27 stops over mid grey
    write_proof(proof, tmp_path / "proof.pdf")
    text = " ".join(
        " ".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "proof.pdf").pages).split()
    )
    for words in ("display white at 203 cd/m2", "peak at 600", "stands at 36.5 cd/m2", "18% grey card at 26"):
        assert words in text
    assert brightest_words(proof.values) in text


@pytest.mark.parametrize(
    ("source", "peak", "grey"), [("ACEScct", 1000, 871), ("LogC4", 4000, 2850), ("S-Log3 S-Gamut3", 600, 452)]
)
def test_the_check_frame_goes_to_the_peak(source: str, peak: int, grey: int) -> None:
    """Its brightest patch to 95% of the peak and more, its greys as far as the encoding has greys: grey at
    code 1 worked out by the rendering's own formula (its slope at white, rolled into the peak)."""
    encoding, target = get_encoding(source), get_encoding(f"PQ {peak}")
    transform = LOOK.transform(encoding, target)
    values = check_values(check_patches(encoding), bake_cube(transform, 17), transform)
    light = target.decode(np.clip(values.lut, 0, 1)) * 203.0
    assert 0.95 * peak < light.max() <= 1.001 * peak
    top = float(encoding.to_working(np.ones(3))[0])
    run, rise = 0.18 * 15, 0.82
    slope = (rise / run) ** 2
    over, room = (top - 2.88) * slope, peak / 203.0 - 1
    assert 203 * (1 + over / (1 + over / room)) == pytest.approx(grey, rel=0.01)
    assert f"its greys to {grey} cd/m2" in brightest_words(values)


def test_an_sdr_proof_stays_as_it_was() -> None:
    from lookdev.lut.proof import curve_top_stops

    assert curve_top_stops(get_encoding("BT.709")) == 4.5


def test_pq_as_it_stood_ends_at_its_peak() -> None:
    """It passed 10,000 cd/m2 by a shortcut that no look has; below the peak nothing changes, to the bit."""
    pq = get_encoding("PQ")
    transform = LOOK.transform(pq, pq)
    codes = np.linspace(0, 1, 4001)[:, None].repeat(3, axis=1)
    out = transform(codes)
    top = pq.from_working(np.full(3, pq.peak))[0]
    assert np.array_equal(out[codes < top], codes[codes < top]) and out.max() == pytest.approx(top)
    assert not transform.is_identity
    hlg = get_encoding("HLG")
    assert np.array_equal(LOOK.transform(hlg, hlg)(codes), codes)
