"""What stills decode to, against colour-science: linear BT.2020 within 1e-4."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from still_files import picture

from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.library import colour_science
from lookdev.stills.reader import read_still
from lookdev.stills.writer import write_still

SPACES = {
    "sRGB": "sRGB",
    "Display P3": "Display P3",
    "Adobe RGB": "Adobe RGB (1998)",
    "BT.2020": "ITU-R BT.2020",
    "BT.709": "ITU-R BT.709",
    "P3-D65": "P3-D65",
}


@pytest.mark.parametrize("name", SPACES)
@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_written_and_read_again(tmp_path: Path, name: str, suffix: str) -> None:
    """Video encodings decode as BT.1886 displays show them (power 2.4), P3-D65 with power 2.6."""
    colour = colour_science()
    path = tmp_path / f"a{suffix}"
    pixels = picture(bits=16)
    write_still(path, pixels, get_encoding(name))
    still = read_still(path)
    ours = still.encoding.to_working(still.signal())
    space, target = colour.RGB_COLOURSPACES[SPACES[name]], colour.RGB_COLOURSPACES["ITU-R BT.2020"]
    signal = pixels / 65535.0
    if name in ("BT.2020", "BT.709"):
        light = colour.models.eotf_BT1886(signal)
    else:
        light = space.cctf_decoding(signal)
    theirs = colour.RGB_to_RGB(light, space, target, chromatic_adaptation_transform="Bradford")
    assert np.abs(ours - theirs).max() < 1e-4
