"""Common LUT Format (Academy S-2014-006 v3, SMPTE ST 2136-1), read by colour-clf-io.

colour-clf-io 0.2.0 reads LUT3D nodes but scales their input twice when it runs them, so the arrays it read
are applied here by colour-science.
"""

from __future__ import annotations

import numpy as np
import pytest

from lookdev.colorimetry.encodings import ACESCCT, ACESCG, BT709, SRGB, Encoding
from lookdev.colorimetry.library import colour_science
from lookdev.looks.model import Look
from lookdev.looks.stages.cdl import CDL
from lookdev.lut.bake import bake_cube
from lookdev.lut.clf import clf_text
from lookdev.lut.error import picture_inputs

GRADE = Look.model_validate({"title": "g & h", "curve": {"contrast": 1.2}, "colour": {"saturation": 0.6}})
ONLY_CDL = Look(title="c", cdl=CDL(slope=(1.2, 1.0, 0.9), saturation=0.7))


def _read(text: str):
    colour_science()
    import colour_clf_io

    return colour_clf_io.read_clf(text.encode())


def _names(read) -> list[str]:
    return [type(node).__name__ for node in read.process_nodes]


def test_header() -> None:
    read = _read(clf_text(GRADE, ACESCCT, BT709, "g_h", size=3, notes=["a < b"]))
    assert (read.id, read.name, read.compatible_CLF_version) == ("g_h", "g & h", "3")
    assert (read.input_descriptor, read.output_descriptor) == ("ACEScct", "BT.709")
    assert list(read.description) == ["a < b"]


@pytest.mark.parametrize("source", [ACESCCT, SRGB])
def test_the_lut_node_is_the_look(source: Encoding) -> None:
    colour = colour_science()
    read = _read(clf_text(GRADE, source, BT709, "g", size=17))
    (node,) = read.process_nodes
    assert node.interpolation.value == "tetrahedral" and list(node.array.dim) == [17, 17, 17, 3]
    transform = GRADE.transform(source, BT709)
    lut = bake_cube(transform, 17)
    np.testing.assert_allclose(node.array.as_array(), lut.table.round(lut.decimals), atol=1e-9)
    x = np.random.default_rng(4).random((200, 3))
    out = colour.LUT3D(node.array.as_array()).apply(
        x, interpolator=colour.algebra.table_interpolation_tetrahedral
    )
    np.testing.assert_allclose(out, lut(x), atol=0.51 * 10.0**-lut.decimals)


def test_linear_input_is_shaped_exactly() -> None:
    colour = colour_science()
    read = _read(clf_text(GRADE, ACESCG, SRGB, "g", size=17))
    assert _names(read) == ["Range", "Log", "LUT3D"]
    span, log, lut = read.process_nodes
    assert (span.min_in_value, span.max_in_value, span.min_out_value, span.max_out_value) == (0, 16, 0, 16)
    (p,) = log.log_params
    assert log.style.value == "linToLog" and p.base == 2 and not p.log_side_offset
    x = picture_inputs(ACESCG)[:300]
    light = np.clip(x, 0, 16)
    shaped = p.log_side_slope * np.log2(p.lin_side_slope * light + p.lin_side_offset)  # S-2014-006, Log
    assert shaped.min() >= 0 and p.log_side_slope * np.log2(p.lin_side_slope * 16 + 1) == pytest.approx(1.0)
    table = colour.LUT3D(lut.array.as_array())
    out = table.apply(shaped, interpolator=colour.algebra.table_interpolation_tetrahedral)
    np.testing.assert_allclose(out, bake_cube(GRADE.transform(ACESCG, SRGB), 17)(x), atol=2e-5)


def test_a_cdl_look_is_a_cdl_node_and_the_plain_rendering() -> None:
    read = _read(clf_text(ONLY_CDL, ACESCCT, BT709, "c", size=5))
    assert _names(read) == ["ASC_CDL", "LUT3D"]
    node, lut = read.process_nodes
    assert node.style.value == "FwdNoClamp"
    assert tuple(node.sopnode.slope) == (1.2, 1.0, 0.9) and node.sat_node.saturation == 0.7
    plain = bake_cube(Look(title="c").transform(ACESCCT, BT709), 5)
    np.testing.assert_allclose(lut.array.as_array(), plain.table.round(plain.decimals), atol=1e-9)


def test_the_identity_is_a_unit_matrix() -> None:
    read = _read(clf_text(Look(title="i"), SRGB, SRGB, "i"))
    assert _names(read) == ["Matrix"]
    np.testing.assert_array_equal(read.process_nodes[0].array.as_array(), np.eye(3))
