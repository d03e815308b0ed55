"""What a batch makes beside its stills: made once, found again by --resume, made again where it changed."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from lookdev.errors import LookdevError
from lookdev.jobs import beside
from lookdev.jobs.batch import BatchRequest, BatchResult, run
from lookdev.jobs.common import open_scout
from lookdev.looks.model import Look

LOOKS = (Look(title="Cold"), Look.model_validate({"title": "Warm", "curve": {"contrast": 1.2}}))


def make_scout(folder: Path) -> Path:
    rows = ["still,location,cct_k,camera_balance_k"]
    for i, place in enumerate(("Quay", "Quay", "Shed")):
        folder.mkdir(exist_ok=True)
        shoot(folder / f"{i}.jpg", i)
        rows.append(f"{i}.jpg,{place},{3000 + 500 * (place == 'Shed')},4300")
    (folder / "meter.csv").write_text("\n".join(rows) + "\n")
    return folder


def shoot(path: Path, seed: int) -> None:
    small = np.random.default_rng(seed).integers(20, 230, (4, 6, 3), dtype=np.uint8)
    cv2.imwrite(str(path), cv2.resize(small, (180, 120)))


def batch(scout: Path, out: Path, *, resume: bool = False) -> BatchResult:
    return run(BatchRequest(open_scout(scout), LOOKS, out, resume=resume, cube_size=17))


def content(out: Path) -> dict[str, bytes]:
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in out.rglob("*")
        if path.is_file() and path.name != "journal.jsonl"
    }


@pytest.fixture
def made(tmp_path: Path) -> tuple[Path, Path, dict[str, bytes]]:
    scout, out = make_scout(tmp_path / "scout"), tmp_path / "out"
    assert not batch(scout, out).errors
    return scout, out, content(out)


def forbid(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("made again")

    for name in names:
        monkeypatch.setattr(beside, name, never)


def test_nothing_is_made_again(
    made: tuple[Path, Path, dict[str, bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    scout, out, before = made
    (out / "summary.json").unlink()
    forbid(monkeypatch, "write_one", "draw_sheet", "preview_of", "stood_of")
    assert not batch(scout, out, resume=True).errors
    assert content(out) == before  # the summary too, to the byte


@pytest.mark.parametrize(
    "what",
    [
        "cubes/*/*17.cube",
        "sheets/Shed.pdf",
        "sheets/overview.png",
        "pitch/pitch.pdf",
        "pitch/frames/Shed.jpg",
    ],
)
@pytest.mark.parametrize("how", ["gone", "changed"])
def test_what_is_not_as_it_was_written_is_made_again(
    made: tuple[Path, Path, dict[str, bytes]], what: str, how: str
) -> None:
    scout, out, before = made
    path, kept = sorted(out.glob(what))[0], {}
    if how == "gone":
        path.unlink()
    else:
        path.write_bytes(path.read_bytes() + b" ")
        kept = {f"kept/{path.relative_to(out).as_posix()}": path.read_bytes()}
    assert not batch(scout, out, resume=True).errors
    assert content(out) == before | kept


def test_one_still_changes(
    made: tuple[Path, Path, dict[str, bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its place's sheet, the overview and the pitch are drawn anew; LUTs and the other sheet stay."""
    scout, out, before = made
    shoot(scout / "2.jpg", 7)
    forbid(monkeypatch, "write_one")
    drawn: list[str] = []
    real = beside.draw_sheet

    def noted(model: object, stem: Path, *rest: object) -> object:
        drawn.append(stem.name)
        return real(model, stem, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(beside, "draw_sheet", noted)
    assert not batch(scout, out, resume=True).errors
    assert sorted(drawn) == ["Shed", "overview"]
    after = content(out)
    assert {n for n in before if n.startswith("sheets/Shed") and before[n] != after[n]}
    monkeypatch.undo()
    fresh = out.with_name("fresh")
    assert not batch(scout, fresh).errors
    assert content(fresh) == after


def test_a_sheet_that_failed_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scout, out = make_scout(tmp_path / "scout"), tmp_path / "out"
    with monkeypatch.context() as patch:

        def full(*_: object, **__: object) -> None:
            raise LookdevError("cannot be written: No space left on device")

        patch.setattr("lookdev.lut.bake.write_cube", full)
        assert len(batch(scout, out).errors) == 6  # two looks, alone and at two places
    assert not batch(scout, out, resume=True).errors
    fresh = tmp_path / "fresh"
    batch(scout, fresh)
    assert content(out) == content(fresh)


def shoot_card(folder: Path, *, hero: str) -> Path:
    """Two places with two stills each, 16-bit TIFF and JPEG, larger than the pitch (of the test) is wide."""
    folder.mkdir()
    for i, name in enumerate(("quay_1.tif", "quay_2.tif", "shed_1.jpg", "shed_2.jpg")):
        small = np.random.default_rng(i).integers(20, 230, (10, 15, 3), dtype=np.uint8)
        picture = cv2.resize(small, (360, 240), interpolation=cv2.INTER_NEAREST)
        cv2.imwrite(str(folder / name), picture.astype(np.uint16) * 257 if name.endswith("tif") else picture)
    (folder / "meter.csv").write_text("stills,location,cct_k\nquay_*,Quay,3000\nshed_*,Shed,3500\n")
    (folder / "scout.toml").write_text(f'[pitch]\nframe = "2.39:1"\nhero = {{ Shed = "{hero}" }}\n')
    return folder


@pytest.mark.parametrize("hero", ["shed_1.jpg", "shed_2.jpg"])
def test_a_still_of_the_pitch_is_decoded_once(
    hero: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first that may stand for its place is made smaller where it was read; the pages stay the same."""
    from lookdev.jobs import pitch
    from lookdev.stills import reader

    monkeypatch.setattr(pitch, "PAGE_WIDE_PX", 200)
    scout, real, read = shoot_card(tmp_path / "scout", hero=hero), reader.read_still, []

    def counted(path: Path, **options: object) -> object:
        read.append(path.name)
        return real(path, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(reader, "read_still", counted)
    assert not batch(scout, tmp_path / "out").errors
    assert sorted(read) == ["quay_1.tif", "quay_2.tif", "shed_1.jpg", "shed_2.jpg"]
    alone = pitch.run(pitch.PitchRequest(open_scout(scout), LOOKS, tmp_path / "alone"))
    assert not alone.errors
    assert content(tmp_path / "alone") == {
        name.removeprefix("pitch/"): data
        for name, data in content(tmp_path / "out").items()
        if name.startswith("pitch/")
    }
