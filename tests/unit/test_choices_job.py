"""What the director chose, on its way into the next outputs."""

from __future__ import annotations

import hashlib
import io
import json
from pathlib import Path

import cv2
import numpy as np
import pytest

import lookdev
from lookdev.cli.main import main
from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import RequestError
from lookdev.jobs.choices import settle, settle_for_one
from lookdev.stills.writer import write_still

MAILED = "Hi!\n> LOADING DOCK · STOVE LIGHT\n>     words: warmer still\n> LOFT: slack water\n"


def _run(*arguments: str | Path) -> int:
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in arguments])
    return int(stop.value.code or 0)


@pytest.fixture(scope="module")
def scout(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("trip") / "day"
    folder.mkdir()
    rng = np.random.default_rng(5)
    for name in ("dock.png", "loft.png"):
        picture = cv2.resize(rng.integers(20, 235, (6, 9, 3), dtype=np.uint8), (144, 96))
        write_still(folder / name, np.asarray(picture, np.uint8), SRGB)
    (folder / "meter.csv").write_text(
        'stills,location,cct_k,lux,camera_balance_k\ndock*,"Loading dock, Østkai",2900,120,5600\n'
        "loft*,Loft,6500,900,5600\n",
        encoding="utf-8",
    )
    looks = folder.parent / "looks"
    looks.mkdir()
    (looks / "a.toml").write_text('title = "Slack water"\n[exposure]\nstops = -0.3\n')
    (looks / "b.toml").write_text('title = "Stove light"\n[balance]\nmired = 20\n')
    return folder


def test_a_text_becomes_choices_toml_and_the_scout_is_as_it_was(
    scout: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in scout.iterdir()}
    (tmp_path / "choices.txt").write_text(MAILED, encoding="utf-8")
    looks = ("--looks", scout.parent / "looks")
    assert _run("pitch", scout, *looks, "--choices", tmp_path / "choices.txt", "--out", tmp_path / "out") == 0
    told = capsys.readouterr()
    assert 'chosen for Loading dock, Østkai: Stove light ("warmer still")' in told.out
    assert "not understood: Hi!" in told.err
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["choices.toml"]
    assert before == {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in scout.iterdir()}
    pasted = io.TextIOWrapper(io.BytesIO(MAILED.encode()))
    monkeypatch.setattr("sys.stdin", pasted)
    assert _run("pitch", scout, *looks, "--choices", "-", "--out", tmp_path / "again") == 0
    written = (tmp_path / "again" / "choices.toml").read_bytes()
    assert written == (tmp_path / "out" / "choices.toml").read_bytes()
    again = lookdev.open_looks([scout.parent / "looks"])
    settled = settle(lookdev.survey(lookdev.open_scout(scout)), again, written.decode())
    assert dict(settled.by_location) == {"Loading dock, Østkai": 1, "Loft": 0}
    assert settled.warnings == ()
    assert settled.choices[0].words == "warmer still"


def test_a_text_without_a_choice_is_refused(scout: Path, tmp_path: Path) -> None:
    surveyed = lookdev.survey(lookdev.open_scout(scout))
    looks = lookdev.open_looks([scout.parent / "looks"])
    for text in ("", "Lovely, all of it!", "[[choice]]\nplace = 3 4\n", '[[choice]]\nplace = "MOON"\n'):
        with pytest.raises(RequestError):
            settle(surveyed, looks, text)
    (tmp_path / "no.txt").write_text("Lovely!")
    assert _run("pitch", scout, "--looks", scout.parent / "looks", "--choices", tmp_path / "no.txt",
                "--out", tmp_path / "out") == 2  # fmt: skip
    assert not (tmp_path / "out").exists()
    assert _run("pitch", scout, "--choices", tmp_path / "absent.txt", "--out", tmp_path / "out") == 2


def test_a_look_that_changed_since_is_named(scout: Path) -> None:
    surveyed = lookdev.survey(lookdev.open_scout(scout))
    looks = lookdev.open_looks([scout.parent / "looks"])
    settled = settle(surveyed, looks, "LOFT · SLACK WATER · 0123456789ab")
    (line,) = settled.warnings
    assert "Slack water changed since it was chosen for Loft" in line
    assert settled.lines() == ["chosen for Loft: Slack water, whose parameters changed since"]


def test_the_batch_leads_with_what_was_chosen(
    scout: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    import pypdf

    (tmp_path / "choices.txt").write_text(MAILED, encoding="utf-8")
    plan = scout / "scout.toml"
    plan.write_text('[pitch]\nlooks = ["Slack watr", "Stove light"]\n')
    request.addfinalizer(plan.unlink)
    looks, out = ("--looks", scout.parent / "looks"), ("--out", tmp_path / "out", "--cube-size", "17")
    assert _run("batch", scout, *looks, *out, "--choices", tmp_path / "choices.txt") == 0
    summary = json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))
    assert summary["choices"][0].startswith("chosen for Loading dock, Østkai: Stove light")
    proposed = {place["code"]: (place["proposed"], place["chosen"]) for place in summary["pitch"]["places"]}
    (line,) = summary["pitch"]["warnings"]
    assert "Slack watr" in line
    assert proposed == {"LOADING DOCK": ("Stove light", True), "LOFT": ("Slack water", True)}

    def words(name: str) -> str:
        return "".join(p.extract_text() for p in pypdf.PdfReader(tmp_path / "out" / name).pages)

    assert "Stove light, chosen" in words("sheets/Loading_dock_Østkai.pdf")
    assert words("sheets/Loft.pdf").index("Slack water, chosen") < words("sheets/Loft.pdf").index(
        "Stove light"
    )
    assert "Stove light, chosen" in words("pitch/pitch.pdf")


def test_one_look_alone_knows_who_gets_it_and_who_gets_others(scout: Path) -> None:
    surveyed = lookdev.survey(lookdev.open_scout(scout))
    slack, stove = lookdev.open_looks([scout.parent / "looks"])
    settled = settle_for_one(surveyed, stove, MAILED)
    assert settled.lines() == [
        'chosen for Loading dock, Østkai: Stove light ("warmer still")',
        "chosen for Loft: Slack water",
    ]
    nobody = settle_for_one(surveyed, slack, "LOFT · STOVE LIGHT")
    assert "no place was given Slack water" in nobody.warnings[-1]
