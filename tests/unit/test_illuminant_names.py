"""The names of illuminants are those that colour-science has a chromaticity and a spectrum for."""

from __future__ import annotations

from lookdev.colorimetry.illuminants import find_illuminant, illuminant_names
from lookdev.colorimetry.library import colour_science


def test_names_are_the_librarys() -> None:
    colour = colour_science()
    wanted = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    assert illuminant_names() == [name for name in wanted if name in colour.SDS_ILLUMINANTS]
    assert all(find_illuminant(name) == name for name in illuminant_names())
