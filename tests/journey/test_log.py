"""`lookdev log`: the joins of a scout shown, and written again so that they hold by name."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from lookdev.cli.main import main
from lookdev.meter.join_table import join_table
from lookdev.meter.log import read_meter_log
from lookdev.meter.scout import load_scout

STILLS = {
    "A/IMG_2041.JPG": "21:20",
    "A/IMG_2042.JPG": "11:00",
    "B/IMG_2041.JPG": "11:12",
    "B/IMG_2042.JPG": "15:00",
}


def scout(folder: Path) -> Path:
    """EXIF 3.0: DateTimeOriginal 0x9003 in the Exif IFD 0x8769, Make 0x010F."""
    for name, taken in STILLS.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        exif = Image.Exif()
        exif[0x010F] = "Phone"
        exif.get_ifd(0x8769)[0x9003] = f"2031:03:04 {taken}:00"
        Image.new("RGB", (32, 24), (90, 90, 90)).save(path, exif=exif)
    note = "Dock\nHPS 1950K ~42 lx 21:15\nLoft\nwindow 6500 +8M 900lx 11:05\nCabin\nlamp 2500 19:40\n"
    (folder / "meter.txt").write_text(note)
    return folder


def run(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as end:
        main(arguments)
    return int(end.value.code or 0)


def test_the_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = scout(tmp_path / "scout")
    assert run(["log", str(folder), "--json"]) == 0
    out = capsys.readouterr()
    joins = json.loads(out.out)["joins"]
    assert [(j["location"], j["rung"], j["minutes_apart"], j["guessed"]) for j in joins] == [
        ("Dock", "time", 5, True),
        ("Loft", "time", -5, True),
        ("Loft", "time", 7, True),
        (None, None, None, False),
    ]
    assert "2 readings used; 1 matches no still (line 6); 1 still has none" in out.err
    assert run(["log", str(folder)]) == 0
    table = capsys.readouterr().out
    assert "time?" in table and "~42" in table and "common practice" in table


def test_written_again_every_join_holds_by_name(tmp_path: Path) -> None:
    folder = scout(tmp_path / "scout")
    before = join_table(load_scout(folder))
    clean = tmp_path / "meter.csv"
    assert run(["log", str(folder), "--write", str(clean)]) == 0
    assert run(["log", str(folder), "--write", str(clean)]) == 2
    assert run(["log", str(folder), "--write", str(folder / "new.csv")]) == 2
    log = read_meter_log(clean)
    assert log.errors == ()
    (folder / "meter.txt").unlink()
    clean.rename(folder / "meter.csv")
    after = join_table(load_scout(folder))
    assert [s.rung for s in after.steps] == ["name", "name", "name", ""]
    for old, new in zip(before.steps, after.steps, strict=True):
        assert (old.reading is None) == (new.reading is None)
        if old.reading and new.reading:
            assert old.reading.white_xy == pytest.approx(new.reading.white_xy)
            assert (old.reading.illuminance_lux, old.reading.location) == (
                new.reading.illuminance_lux,
                new.reading.location,
            )
