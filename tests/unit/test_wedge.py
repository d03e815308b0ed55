"""Wedges: what is typed, what becomes of it, and the pages."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from lookdev.cli.main import app
from lookdev.errors import RequestError
from lookdev.looks.model import Look
from lookdev.looks.toml_file import load_look
from lookdev.looks.wedge import between, parse_variation, wedge_of
from lookdev.pages.wedge_page import HOW_TO_READ, WedgeCell, WedgePage, wedge_document
from lookdev.paint.faces import Face

ROOT = Path(__file__).parents[2]
LOOKS = ROOT / "tests" / "fixed_looks"  # as they were once shipped: these tests know their numbers
SLACK = LOOKS / "slack_water.toml"
LOOK = Look.model_validate({"title": "Mine", "balance": {"keep": 0.35}, "exposure": {"stops": -0.3}})


@pytest.mark.parametrize(
    ("typed", "key", "values"),
    [
        ("balance.keep = 0, .25, .5", "balance.keep", (0, 0.25, 0.5)),
        ("keep=0.1", None, None),
        ("exposure.stops = −1 to 1 in 5", "exposure.stops", (-1, -0.5, 0, 0.5, 1)),
        ("exposure.stops = 0.3 to -0.3 in 3", "exposure.stops", (0.3, 0, -0.3)),
        ("balance.mired=-30 0 30", "balance.mired", (-30, 0, 30)),
    ],
)
def test_what_is_typed(typed: str, key: str | None, values: tuple[float, ...] | None) -> None:
    if key is None:
        with pytest.raises(RequestError, match=r"wanted balance\.keep"):
            parse_variation(typed, LOOK)
        return
    found = parse_variation(typed, LOOK)
    assert found.key == key
    assert found.values == pytest.approx(values)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("balance.keep", "not a key with its values"),
        ("balance.keep = ", "not a key with its values"),
        ("balance.keep = a, b", "not numbers"),
        ("balance.keep = 0, 2", "out of range"),
        ("balance.keep = 0, 0", "a value stands twice"),
        ("balance.keep = 0 to 1 in 1", "so many steps"),
        ("balance.keep = 0 to 1 in 99", "so many steps"),
        ("balance.keep = 0,.1,.2,.3,.4,.5,.6,.7,.8,.9", "so many values"),
        ("balance.method = 1", "is no number of a look"),
    ],
)
def test_slips_are_answered(typed: str, said: str) -> None:
    with pytest.raises(RequestError, match=said):
        parse_variation(typed, LOOK)


def test_a_ring_around_has_the_look_itself_in_its_middle() -> None:
    wedge = wedge_of(
        LOOK, [parse_variation(t, LOOK) for t in ("balance.keep = .1, .6", "exposure.stops = 0, -.6")]
    )
    assert [[cell.sign for cell in row] for row in wedge.rows] == [
        ["A1", "B1", "C1"],
        ["A2", "B2", "C2"],
        ["A3", "B3", "C3"],
    ]
    assert [cell.sign for cell in wedge.cells if cell.itself] == ["B2"]
    assert wedge.cell("b2").look is LOOK
    assert [row[0].look.exposure.stops for row in wedge.rows] == [0, -0.3, -0.6]
    with pytest.raises(RequestError, match="no such cell in this wedge; found 'D1'; wanted A1 to C3"):
        wedge.cell("D1")


def test_between_two_looks_both_ends_are_there() -> None:
    two = Look.model_validate({"title": "Other", "exposure": {"stops": 0.7}})
    wedge = between(LOOK, two, 5)
    assert [cell.look.exposure.stops for cell in wedge.cells] == pytest.approx([-0.3, -0.05, 0.2, 0.45, 0.7])
    assert [cell.itself for cell in wedge.cells] == [True, False, False, False, True]


FACES = tuple(Face(f"skin {k}", np.zeros((4, 3)), np.full(3, 0.6), np.full(3, 0.4)) for k in range(6))


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (1, 9), (3, 3), (7, 7)])
@pytest.mark.parametrize("size", [(60, 90), (90, 60), (40, 160)])
@pytest.mark.parametrize("faces", [(), FACES], ids=["no light", "faces"])
def test_pages_fit_whatever_is_on_them(
    shape: tuple[int, int], size: tuple[int, int], faces: tuple[Face, ...]
) -> None:
    picture = np.full((*size, 3), 90, np.uint8)
    head = "B2 · families YR chroma 1.25, stops −0.3 · the look itself"
    step = "ΔE00 1.2 from A2, ΔE00 0.3 from B1, hardly told apart"
    row = [WedgeCell(head, step, picture, k == 1, faces) for k in range(shape[1])]
    page = WedgePage("A place with a long name, still.jpg", "what is varied", size, (tuple(row),) * shape[0])
    document = wedge_document("wedge", [page])
    assert document.faults() == []
    content = document.pages[0].content
    assert all(
        box.bottom <= content.bottom + 1 and box.right <= content.right + 1
        for box in document.pages[0].pictures
    )
    said = [box.what for box in document.pages[0].texts]
    assert any(HOW_TO_READ.startswith(words[:40]) for words in said if len(words) > 30) == bool(faces)


def test_the_verb(tmp_path: Path) -> None:
    scout = tmp_path / "scout"
    scout.mkdir()
    for name in ("meter.csv", "06_net_loft_gable.jpg", "03_loading_dock_wide.jpg"):
        shutil.copy(ROOT / "sample_frames" / name, scout)
    out = tmp_path / "out"
    typed = [
        "wedge",
        str(scout),
        str(SLACK),
        "--vary",
        "balance.keep = .1, .6",
        "--vary",
        "curve.contrast = 1, 1.3",
    ]
    done = CliRunner().invoke(app, [*typed, "--take", "A1", "--out", str(out), "--json"])
    answer = json.loads(done.stdout)
    assert done.exit_code == 0
    assert sorted(p.name for p in out.iterdir()) == [
        "slack_water_a1.toml",
        "wedge.pdf",
        "wedge_03_loading_dock_wide.jpg",
        "wedge_06_net_loft_gable.jpg",
    ]
    taken = load_look(out / "slack_water_a1.toml")
    assert (taken.balance.keep, taken.curve.contrast) == (0.1, 1.0)
    assert taken.note == load_look(SLACK).note
    assert len(answer["steps"]) == 2 * 12
    assert min(step["mean_de00"] for step in answer["steps"]) > 0.3
    assert [c["cell"] for c in answer["cells"] if c["is_the_look"]] == ["B2"]
    before = (out / "wedge.pdf").read_bytes()
    CliRunner().invoke(app, [*typed, "--out", str(out)])
    assert (out / "wedge.pdf").read_bytes() == before


def test_mix_and_looks(tmp_path: Path) -> None:
    stove, out = LOOKS / "stove_light.toml", tmp_path / "between.toml"
    done = CliRunner().invoke(app, ["mix", str(SLACK), str(stove), "--share", "0.3", "--out", str(out)])
    assert done.exit_code == 0
    assert load_look(out).balance.keep == pytest.approx(0.35 + 0.3 * (load_look(stove).balance.keep - 0.35))
    said = CliRunner().invoke(app, ["looks", str(SLACK), str(out), "--json"])
    answer = json.loads(said.stdout)
    assert answer["keys"]["exposure.stops"] == pytest.approx([-0.3, load_look(out).exposure.stops])
    assert answer["mean_de00"] > 0.5
    same = CliRunner().invoke(app, ["looks", str(SLACK), str(SLACK)])
    assert "do the same" in same.stdout
    assert "ΔE00 0.0" in same.stdout
