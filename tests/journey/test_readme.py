"""What the README shows works as it stands there."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from pydantic import BaseModel

from lookdev.looks.toml_file import load_look
from lookdev.meter.scout import load_scout

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def block(language: str, holding: str) -> str:
    found = [text for text in re.findall(rf"```{language}\n(.*?)```", README, re.S) if holding in text]
    assert len(found) == 1, f"{language} with {holding!r}"
    return found[0]


def test_the_meter_log_and_the_plan(tmp_path: Path) -> None:
    (tmp_path / "meter.csv").write_text(block("csv", "camera_balance_k"), encoding="utf-8")
    (tmp_path / "scout.toml").write_text(block("toml", "exposure_index"), encoding="utf-8")
    scout = load_scout(tmp_path)
    assert scout.log.errors == ()
    hall, dock, loft, snap = scout.log.readings
    assert hall.white_xy == (0.3721, 0.3751)
    assert dock.white_origin == "CIE illuminant HP1"
    assert (loft.cct_k, loft.duv) == (6500, 0.0032)
    assert snap.camera_balance_auto
    assert scout.plan.match == "meter"


def test_the_view_and_the_moment(tmp_path: Path) -> None:
    from PIL import Image

    Image.new("RGB", (64, 32)).save(tmp_path / "pano.jpg")
    (tmp_path / "clip.mov").write_bytes(b"clip")
    (tmp_path / "scout.toml").write_text(block("toml", "[[view]]"), encoding="utf-8")
    names = [still.name for still in load_scout(tmp_path).parts]
    assert names == ["clip.mov@00:07", "pano.jpg", "pano.jpg@To the ramp"]


def test_the_note(tmp_path: Path) -> None:
    (tmp_path / "meter.txt").write_text(block("text", "HPS over ramp"), encoding="utf-8")
    log = load_scout(tmp_path).log
    assert [(r.location, r.stills, r.cct_k) for r in log.readings] == [
        ("Loading dock", ("IMG_2041-44",), 1950),
        ("Net loft", (), 6500),
        ("Net loft", (), 3800),
    ]
    assert not any("not understood" in line for line in log.warnings)


def test_the_look(tmp_path: Path) -> None:
    (tmp_path / "look.toml").write_text(block("toml", "[[tone]]"), encoding="utf-8")
    look = load_look(tmp_path / "look.toml")
    assert look.balance.keep == 0.35
    assert not look.is_identity


def test_every_shipped_look_loads_and_one_changes_nothing() -> None:
    looks = [load_look(path) for path in sorted((ROOT / "looks").glob("*.toml"))]
    assert len(looks) >= 5
    assert sum(look.is_identity for look in looks) == 1
    assert min(look.colour.saturation for look in looks) < 0.1


def test_pictures_and_verbs_named_here_exist() -> None:
    for picture in re.findall(r"!\[[^]]*\]\(([^)]+)\)", README):
        assert (ROOT / picture).is_file(), picture
    from lookdev.cli.main import VERBS

    named = set(re.findall(r"`lookdev (\w+)", README)) - {"VERB"}
    assert named <= set(VERBS)


def named(text: str) -> set[str]:
    """The keys and headings of a TOML block, and the words of its comments, which name those left out."""
    keys = re.findall(r"^[# ]*(\w+)\s*=", text, re.M)
    headings = re.findall(r"^\[+([\w.]+)\]+", text, re.M)
    words = [word for comment in re.findall(r"#(.*)", text) for word in re.findall(r"\w+", comment)]
    return {*keys, *words, *(part for heading in headings for part in heading.split("."))}


def test_every_key_of_a_look_and_a_plan_is_here() -> None:
    from lookdev.looks.model import Look
    from lookdev.looks.stages.colour import FAMILIES
    from lookdev.meter.lamps import FilterEntry, LampEntry
    from lookdev.meter.scout import Fixture, Meter, PitchPlan, Plan, ScoutFile, Stills
    from lookdev.meter.scout_parts import ViewEntry

    def keys(model: type[BaseModel]) -> set[str]:
        found = set(model.model_fields)
        for field in model.model_fields.values():
            if isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel):
                found |= keys(field.annotation)
        return found

    look = named(block("toml", "[[tone]]"))
    assert keys(Look) | set(FAMILIES) <= look
    scout = (
        named(block("toml", "exposure_index"))
        | named(block("toml", "[[view]]"))
        | set(re.findall(r"`\[?(\w+)\]?`", README))
    )
    assert keys(ScoutFile) | keys(Plan) | keys(Meter) | keys(Fixture) | keys(PitchPlan) <= scout
    assert keys(LampEntry) | keys(FilterEntry) | keys(ViewEntry) | keys(Stills) <= scout


def test_every_column_of_a_meter_log_is_here() -> None:
    from lookdev.meter.headings import HEADINGS

    table = README[README.index("| column | means |") : README.index("`scout.toml`, every key optional")]
    assert set(HEADINGS) <= set(re.findall(r"`(\w+)`", table))


def test_the_script(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The frame made by hand has the very pixels of the batch, exposure match included."""
    for name in ("sample_frames", "looks"):
        (tmp_path / name).symlink_to(ROOT / name)
    monkeypatch.chdir(tmp_path)
    names: dict[str, Any] = {}
    exec(compile(block("python", "lookdev.batch"), "README.md", "exec"), names)
    assert names["done"].errors == []
    assert abs(names["still"].exposure_stops) > 0.01
    (made,) = (tmp_path / "out" / "graded").rglob("06_net_loft_gable__slack_water.png")
    by_hand, by_batch = (np.asarray(Image.open(p)) for p in (tmp_path / "out" / "by_hand.png", made))
    assert np.array_equal(by_hand, by_batch)


def command(holding: str, monkeypatch: pytest.MonkeyPatch, folder: Path) -> list[str]:
    """The README's command after ``lookdev``, as typed in a folder with the same things in it."""
    for name in ("sample_frames", "looks"):
        (folder / name).symlink_to(ROOT / name)
    monkeypatch.chdir(folder)
    words = shlex.split(block("sh", holding).strip())
    return words[next(i for i, word in enumerate(words) if word.rpartition("/")[2] == "lookdev") + 1 :]


def status(words: list[str]) -> object:
    from lookdev.cli.main import main

    with pytest.raises(SystemExit) as stop:
        main(words)
    return stop.value.code or 0


def test_the_first_command_does_the_whole_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert status(command("lookdev batch", monkeypatch, tmp_path)) == 0
    out = tmp_path / "out"
    made = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert made["errors"] == []
    stills = len(load_scout(ROOT / "sample_frames").stills)
    looks = len(list((ROOT / "looks").glob("*.toml")))
    assert len(list((out / "graded").rglob("*__*.*"))) == stills * looks
    assert (out / "sheets" / "overview.pdf").read_bytes().startswith(b"%PDF")
    assert len(list((out / "sheets").glob("*.pdf"))) == 8  # seven places and the overview


def test_the_worked_case_of_paint(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status([*command("paint match", monkeypatch, tmp_path), "--out", "paint", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["target"]["hex"] == "#5f7480"
    first = answer["ranked"][0]
    assert re.fullmatch(r"[\d.]+(R|YR|Y|GY|G|BG|B|PB|P|RP) [\d.]+/[\d.]+", first["as_made_d65"]["munsell"])
    assert first["worst_ciede2000"] == min(c["worst_ciede2000"] for c in answer["ranked"])
    assert answer["verdict"] and (tmp_path / "paint" / "match.pdf").is_file()
