"""Faces: what lamp, rendering and look do to skin, told apart.

The lamp's part is held against spectral sums of colour-science (CIE 15:2018, Bradford to D65).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import lookdev
from lookdev.colorimetry.encodings import get_encoding
from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.skins import skin_names, skin_reflectances, skin_wavelengths_nm
from lookdev.looks.model import Look
from lookdev.looks.stages.balance import Cast
from lookdev.pages.document import Document
from lookdev.pages.faces_page import faces_document, faces_strip, strip_height
from lookdev.paint.faces import FAR_DEG, PARTS, UNEQUAL, VISIBLE_DEG, Faces, faces_at
from lookdev.paint.light import light_from_illuminant
from lookdev.paint.predict import Site
from lookdev.stills.writer import write_still

LOG = get_encoding("ACEScct")


def at(lamp: str, camera_xy: tuple[float, float] | None = None) -> Site:
    light = light_from_illuminant(lamp)
    camera = camera_xy or light.xy
    return Site("here", light, camera, "", Cast(light.xy, camera))


def look(**stages: object) -> Look:
    return Look.model_validate({"title": "t", **stages})


@pytest.mark.parametrize("lamp", ["A", "FL2", "FL11", "HP4", "LED-B3"])
def test_the_lamp_s_part_is_what_published_spectra_give(lamp: str) -> None:
    colour = colour_science()
    shape = colour.SpectralShape(380, 780, 1)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    skins = np.stack(
        [np.interp(shape.wavelengths, skin_wavelengths_nm(), row) for row in skin_reflectances()]
    )
    hue, chroma = {}, {}
    d65 = np.array([0.3127, 0.3290])
    for name in ("D65", lamp):
        light = colour.SDS_ILLUMINANTS[name].copy()
        light = light.align(shape, extrapolator_kwargs={"method": "constant", "left": 0, "right": 0}).values
        xyz = skins @ (observer * light[:, None]) / (observer[:, 1] @ light)
        white = observer.T @ light / (observer[:, 1] @ light)
        xyz = colour.chromatic_adaptation(xyz, white, colour.xy_to_XYZ(d65), transform="Bradford")
        lab = colour.XYZ_to_Lab(xyz, d65)
        hue[name], chroma[name] = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])), np.hypot(*lab[:, 1:].T)
    found = faces_at(at(lamp), None, LOG)
    for k, face in enumerate(found.faces):
        assert face.hue_deg.lamp == pytest.approx(hue[lamp][k] - hue["D65"][k], abs=0.6)
        assert face.chroma_kept.lamp == pytest.approx(chroma[lamp][k] / chroma["D65"][k], rel=0.02)


@pytest.mark.parametrize("lamp", ["D65", "FL2", "HP1"])
def test_the_parts_make_up_the_whole(lamp: str) -> None:
    one = look(balance={"keep": 0.2, "mired": 20}, colour={"saturation": 0.7}, curve={"contrast": 1.2})
    found = faces_at(at(lamp, (0.3457, 0.3585)), one, LOG)
    assert tuple(f.name for f in found.faces) == skin_names()
    for face in found.faces:
        for split in (face.lightness, face.hue_deg):
            parts = sum(getattr(split, part) for part in PARTS)
            assert (parts - split.whole + 180) % 360 - 180 == pytest.approx(0, abs=1e-9)
        kept = face.chroma_kept
        assert kept.whole == pytest.approx(kept.lamp * kept.rendering * kept.look)


def test_in_daylight_as_it_stood_faces_are_themselves() -> None:
    """Log footage: the rendering leaves skin its hue and nearly all of its chroma."""
    found = faces_at(at("D65"), None, LOG)
    assert found.words == ()
    for face in found.faces:
        assert abs(face.hue_deg.whole) < 2
        assert 0.94 < face.chroma_kept.whole < 1.02
    assert found.spread.whole < 1.05


def test_over_8_and_over_15_degrees_it_is_said_in_words() -> None:
    def said(mired: float) -> Faces:
        return faces_at(at("D65"), look(title="cold", balance={"mired": mired}), LOG)

    steps = [said(m) for m in np.arange(0, -60, -4.0)]
    turns = [abs(f.farthest_deg or 0.0) for f in steps]
    assert min(turns) < VISIBLE_DEG < FAR_DEG < max(turns)
    for found, turn in zip(steps, turns, strict=True):
        text = " ".join(found.words)
        assert ("visibly" in text) == (VISIBLE_DEG < turn <= FAR_DEG)
        assert ("far towards red" in text) == (turn > FAR_DEG)
        assert ("look's doing" in text) == (turn > VISIBLE_DEG)
    lamp = faces_at(at("HP1"), None, LOG)
    assert any("far towards yellow" in text and "the lamp's doing" in text for text in lamp.words)
    assert lamp.line.startswith("as it stood under CIE illuminant HP1: +19°, the lamp +19°")


def test_complexions_not_treated_alike_are_named() -> None:
    toned = look(tone=[{"at_stops": -2, "reach_stops": 4, "towards": "5B", "chroma": 0.04}])
    found = faces_at(at("D65"), toned, LOG)
    assert found.spread.whole > UNEQUAL
    assert any("of dark" in text and "not treated alike" in text for text in found.words)


def test_without_colour_no_hue_is_told() -> None:
    found = faces_at(at("D65"), look(colour={"saturation": 0.0}), LOG)
    assert found.hue_deg.whole is None and found.farthest_deg is None
    assert found.words == ("hardly any blood left in faces",)
    assert json.loads(json.dumps(found.data(), allow_nan=False))["hue_deg"]["whole"] is None


def test_the_strip_takes_the_room_it_says(tmp_path: Path) -> None:
    rows = [
        faces_at(
            at("HP1"), look(title="A title that goes on for longer than its place is wide", **stages), LOG
        )
        for stages in (
            {},
            {"colour": {"saturation": 0.0}},
            {"tone": [{"at_stops": -2, "towards": "5B", "chroma": 0.1}]},
        )
    ]
    document = faces_document("Faces", [rows * 3, rows], ["a", "b"])
    assert document.faults() == []
    assert len(document.png_pages()) >= 3
    page = Document("t").new_page("t")
    for faces in rows:
        end = faces_strip(page, page.content.left, page.content.top, 700, faces)
        assert end == pytest.approx(page.content.top + strip_height(faces, 700))


def test_the_job_and_the_verb(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from lookdev.cli.main import main

    scout = tmp_path / "day1"
    scout.mkdir()
    (scout / "meter.csv").write_text(
        "location,source,x,y,camera_balance_k\nHall,FL2,0.3721,0.3751,5600\nHall,FL2,0.3722,0.3751,5600\n"
        "Dock,HP1,0.533,0.415,4300\nNowhere,lamp,,,\n"
    )
    (tmp_path / "t.toml").write_text('title = "T"\n[colour]\nsaturation = 0.5\n')
    out = tmp_path / "out"
    with pytest.raises(SystemExit) as stop:
        main(["faces", str(scout), "--looks", str(tmp_path / "t.toml"), "--out", str(out)])
    assert stop.value.code == 1  # Nowhere has no light
    printed = capsys.readouterr()
    assert "Nowhere" in printed.err or "row 5" in printed.err
    data = json.loads((out / "faces.json").read_text("utf-8"))
    assert [p["place"] for p in data["places"]] == ["Hall", "Dock"]  # readings alike are said once
    assert data["places"][0]["looks"][0]["line"].startswith("T under FL2: +")
    assert {p.name for p in out.iterdir()} == {"faces.json", "faces.pdf", "faces.png", "faces_2.png"}
    first = {p.name: p.read_bytes() for p in out.iterdir()}
    looks = lookdev.open_looks([tmp_path / "t.toml"])
    done = lookdev.faces(lookdev.FacesRequest(lookdev.open_scout(scout), tuple(looks), out))
    assert {p.name: p.read_bytes() for p in out.iterdir()} == first
    assert len(done.places) == 2 and len(done.errors) == 1
    assert data["seams"] == done.seams == []
    (tmp_path / "far.toml").write_text('title = "Far"\n[balance]\nmired = -45\n[skin]\nhold = 1.0\n')
    far = lookdev.open_looks([tmp_path / "far.toml"])
    told = lookdev.faces(lookdev.FacesRequest(lookdev.open_scout(scout), tuple(far))).seams
    assert len(told) == 1 and told[0].startswith(
        "Far: on a blend out of held skin the largest step is 1.9 times"
    )


def test_sheet_and_pitch_show_faces_behind_the_pictures(tmp_path: Path) -> None:
    """The page of numbers and the appendix: the same figures as ``lookdev faces`` gives for stills."""
    import pypdfium2

    scout = tmp_path / "day1"
    scout.mkdir()
    for name in ("hall_1.png", "deck_1.png"):
        picture = np.random.default_rng(3).integers(30, 220, (120, 180, 3), dtype=np.uint8)
        write_still(scout / name, picture, get_encoding("sRGB"))
    (scout / "meter.csv").write_text(
        "stills,location,source,x,y,camera_balance_k\nhall_*,Hall,FL2,0.3721,0.3751,5600\ndeck_*,Deck,,,,\n"
    )
    looks = (look(title="Cold", balance={"keep": 0, "mired": -40}), look(title="Warm"))
    opened = lookdev.open_scout(scout)
    lookdev.sheets(lookdev.SheetsRequest(opened, looks, tmp_path / "sheets"))
    request = lookdev.PitchRequest(opened, looks, tmp_path / "pitch", numbers=True)
    lookdev.pitch(request)
    told = lookdev.faces(lookdev.FacesRequest(opened, looks, as_still=True)).places
    want = [f"{faces.hue_deg.whole:+.0f}°".replace("-", "−") for faces in told[0]]

    def words(path: Path) -> list[str]:
        return [page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(path)]

    for path in (tmp_path / "sheets" / "Hall.pdf", tmp_path / "pitch" / "pitch.pdf"):
        page = next(text for text in words(path) if "very light" in text)
        assert all(f"hue {hue} (lamp" in page for hue in want), path.name
    assert not any("very light" in text for text in words(tmp_path / "sheets" / "Deck.pdf"))
