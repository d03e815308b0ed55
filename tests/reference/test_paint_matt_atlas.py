"""What a matt paint can be: facts of the Munsell atlas, and how measured surfaces fit in it."""

import numpy as np

from lookdev.colorimetry.munsell_notation import parse_notation
from lookdev.paint.chip import munsell_set, paintable_set
from lookdev.paint.paintable import BEYOND_WORDS, highest_paint_chroma, is_paintable


def test_highest_papers():
    """Read off the notation list of the 1269 matt papers (University of Eastern Finland)."""
    for paper, chroma in (("5R 4", 14), ("5Y 8", 12), ("7.5PB 3", 10), ("5BG 5", 8), ("5B 8", 4)):
        colour = parse_notation(f"{paper}/2")
        assert highest_paint_chroma(colour.hue, colour.value)[0] == chroma


def test_the_circle_closes():
    a, b = highest_paint_chroma([99.999, 0.0], [5.0, 5.0])
    assert abs(a - b) < 0.01


def test_default_set_holds_what_can_be_painted_and_the_rest_is_marked():
    every, can = munsell_set(), paintable_set()
    names = {c.name for c in can.chips}
    assert {"5R 4/14", "N 5", "5Y 8/12", "5PB 5/10"} <= names
    assert not names & {"5BG 5/14", "5B 8/8", "5PB 5/18", "5R 4/20"}
    for chip in every.chips:
        assert (chip.name in names) != (BEYOND_WORDS in chip.remarks)
    assert len(every) - len(can) >= 969  # chips beyond the measured chroma of the atlas: the count


def test_papers_of_cie_13_3_that_are_matt_are_in():
    """The eight moderate papers of CIE 13.3-1995, by their notations; R9 to R12 are the saturated ones."""
    for text in ("7.5R 6/4", "5Y 6/4", "5GY 6/8", "2.5G 6/6", "10BG 6/4", "5PB 6/8", "2.5P 6/8", "10P 6/8"):
        colour = parse_notation(text)
        assert is_paintable(colour.hue, colour.value, colour.chroma)[0]
    assert not np.any(is_paintable([5.0], [4.0], [16.0]))
