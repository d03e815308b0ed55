"""A .clf that came in stands in for a look, every process node of the standard in it.

Academy S-2014-006 version 3 / SMPTE ST 2136-1: Matrix, LUT1D, LUT3D, Range, Log, Exponent, ASC_CDL. Read by
OpenColorIO; colour-clf-io, another reader, must find the same nodes; each node's effect is reckoned here from
the standard's formula (formulas from memory, values by hand).
"""

from __future__ import annotations

import pickle
from pathlib import Path

import colour_clf_io
import numpy as np
import pytest

from lookdev.cli.main import main
from lookdev.colorimetry.encodings import ACESCCT, BT709, SRGB
from lookdev.errors import LutError
from lookdev.looks.model import Look
from lookdev.lut.bake import TABLE_DECIMALS
from lookdev.lut.clf import clf_text
from lookdev.lut.cube import lattice_points
from lookdev.lut.inspection import inspect_lut
from lookdev.lut.process_list import ProcessList, read_clf
from lookdev.lut.received import ReceivedLut, open_look

DEPTHS = 'inBitDepth="32f" outBitDepth="32f"'
CUBE = "\n".join("{:.9f} {:.9f} {:.9f}".format(*v**2) for v in lattice_points(3).reshape(-1, 3))
NODES = {
    "Matrix": (
        f'<Matrix {DEPTHS}><Array dim="3 3">0.5 0.25 0.25 0 1 0 0 0.5 0.5</Array></Matrix>',
        lambda v: v @ np.array([[0.5, 0.25, 0.25], [0, 1, 0], [0, 0.5, 0.5]]).T,
    ),
    "LUT1D": (
        f'<LUT1D {DEPTHS}><Array dim="3 1">0\n0.25\n1</Array></LUT1D>',
        lambda v: np.interp(v, [0, 0.5, 1], [0, 0.25, 1]),
    ),
    "LUT3D": (
        f'<LUT3D {DEPTHS} interpolation="tetrahedral"><Array dim="3 3 3 3">{CUBE}</Array></LUT3D>',
        None,
    ),
    "Range": (
        f"<Range {DEPTHS}><minInValue>0.2</minInValue><maxInValue>0.8</maxInValue>"
        "<minOutValue>0</minOutValue><maxOutValue>1</maxOutValue></Range>",
        lambda v: np.clip((v - 0.2) / 0.6, 0, 1),
    ),
    "Log": (
        f'<Log {DEPTHS} style="linToLog"><LogParams base="2" linSideSlope="1" linSideOffset="0.1" '
        'logSideSlope="0.2" logSideOffset="0.5"/></Log>',
        lambda v: 0.2 * np.log2(v + 0.1) + 0.5,
    ),
    "Exponent": (
        f'<Exponent {DEPTHS} style="basicFwd"><ExponentParams exponent="2"/></Exponent>',
        lambda v: v**2,
    ),
    "ASC_CDL": (
        f'<ASC_CDL {DEPTHS} style="FwdNoClamp"><SOPNode><Slope>1.1 1 0.9</Slope><Offset>0.01 0 0</Offset>'
        "<Power>1.2 1 1</Power></SOPNode></ASC_CDL>",
        lambda v: (v * [1.1, 1.0, 0.9] + [0.01, 0, 0]) ** np.array([1.2, 1, 1]),
    ),
}


def listed(*nodes: str, ends: str = "") -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList id="theirs" name="Their answer" '
        f'compCLFversion="3" xmlns="urn:AMPAS:CLF:v3.0">{ends}{"".join(nodes)}</ProcessList>'
    )


@pytest.mark.parametrize("name", NODES)
def test_every_node(tmp_path: Path, name: str) -> None:
    node, wanted = NODES[name]
    path = tmp_path / "theirs.clf"
    path.write_text(listed(node))
    read = read_clf(path)
    assert [type(n).__name__ for n in colour_clf_io.read_clf_from_file(str(path)).process_nodes] == [name]
    x = np.random.default_rng(5).random((200, 3))
    if wanted is None:  # the table's own points
        x = lattice_points(3).reshape(-1, 3)
        assert np.allclose(read(x), x**2, atol=2e-6)
    else:
        assert np.allclose(read(x), wanted(x), atol=5e-6)
    again = pickle.loads(pickle.dumps(read))
    assert np.array_equal(again(x), read(x))


def test_all_nodes_one_after_the_other(tmp_path: Path) -> None:
    order = ("Range", "Log", "Matrix", "ASC_CDL", "Exponent", "LUT1D", "LUT3D")
    (tmp_path / "theirs.clf").write_text(listed(*(NODES[name][0] for name in order)))
    read = read_clf(tmp_path / "theirs.clf")
    assert len(read.nodes) == 7 and "3D LUT of 3" in read.nodes and "1D LUT of 3" in read.nodes
    assert np.isfinite(read(np.random.default_rng(6).random((100, 3)))).all()


def test_our_own_clf_comes_back_as_the_look(tmp_path: Path) -> None:
    look = Look.model_validate({"title": "Grade", "colour": {"saturation": 0.6}})
    (tmp_path / "ours.clf").write_text(clf_text(look, ACESCCT, BT709, "ours", size=33))
    (tmp_path / "answer.toml").write_text('cube = "ours.clf@ACEScct:BT.709"\nkeep = 0.5\n')
    for name in (f"{tmp_path / 'ours.clf'}@ACEScct:BT.709", tmp_path / "answer.toml"):
        received = open_look(name)
        assert isinstance(received, ReceivedLut) and isinstance(received.lut, ProcessList)
        assert received.title == "Grade" and "process list: 3D LUT of 33" in received.describe()
        x = lattice_points(33)[::8, ::8, ::8].reshape(-1, 3)
        got, wanted = received.transform(ACESCCT, BT709)(x), look.transform(ACESCCT, BT709)(x)
        assert np.abs(got - wanted).max() < 0.51 * 10.0**-TABLE_DECIMALS + 1e-7  # a half of its last digit
        still = received.transform(SRGB, SRGB)(np.full((2, 2, 3), 0.4))
        assert np.isfinite(still).all()
    assert open_look(f"{tmp_path / 'ours.clf'}@ACEScct:BT.709").fingerprint() != received.fingerprint()


def test_it_is_inspected(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    look = Look.model_validate({"title": "Grade", "colour": {"saturation": 0.6}})
    (tmp_path / "ours.clf").write_text(clf_text(look, ACESCCT, BT709, "ours", size=17))
    found = inspect_lut(tmp_path / "ours.clf")
    assert found.encodings == (ACESCCT, BT709) and "process list: 3D LUT of 17" in found.head
    with pytest.raises(SystemExit) as stop:
        main(["inspect", str(tmp_path / "ours.clf")])
    assert not stop.value.code and "its comments say it: ACEScct in, BT.709 out" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no process list"),
        ("<ProcessList", "cannot be read as a process list"),
        (listed("<Foo/>", NODES["Matrix"][0]), "Unrecognized element 'Foo'"),
        (listed(), "cannot be read as a process list"),
        ("<!DOCTYPE x [<!ENTITY a 'b'>]>" + listed(NODES["Matrix"][0]), "document type"),
        (listed(f'<LUT1D {DEPTHS}><Array dim="3 1">0 1</Array></LUT1D>'), "cannot be read"),
    ],
)
def test_what_cannot_be_read_is_refused_in_a_line(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "theirs.clf").write_text(text)
    with pytest.raises(LutError, match=said) as error:
        read_clf(tmp_path / "theirs.clf")
    assert "\n" not in str(error.value) and "list.clf" not in str(error.value)
