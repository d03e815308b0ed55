"""Attacks by names: places, stills, where outputs go, decks, and what is learned from."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hostile.attack import Attack, contents, make_home, named, run, survives


def place(
    name: str, label: str, verb: str = "batch scout --looks low.toml --cube-size 17 --out out"
) -> Attack:
    quoted = '"' + label.replace('"', '""') + '"'
    log = f"stills,location,cct_k,camera_balance_k\na.png,{quoted},3200,5600\nb.png,Quay,4300,5600\n"
    return Attack(f"place: {name}", verb, (0, 1), files={"scout/meter.csv": log})


def moved(new: str) -> Callable[[Path], object]:
    return lambda home: (home / "scout" / "a.png").rename(home / "scout" / new)


NAMES = [
    place("markup", "<img src=x onerror=alert(1)>", "pitch scout --looks low.toml --out out"),
    place("the end of a script", "</script><script>alert(1)//", "pitch scout --looks low.toml --out out"),
    place("a path upwards", "../../../x"),
    place("an absolute path", "/etc/x"),
    place("dots", ".."),
    place("a device", "NUL.txt"),
    place("from right to left", "\u202egpj.x"),
    place("a hundred accents on a letter", "a" + "\u0301" * 100),
    place("the other place in another case", "QUAY"),
    place("the overview's name", "overview"),
    place("emoji alone", "\U0001f6a2\U0001f6a2"),
    place("300 letters", "x" * 300),
    place("a percent sign and braces", "%s {0} {x}"),
    Attack(
        "still: an end of line in its name",
        "batch scout --looks low.toml --cube-size 17 --out out",
        (0, 1),
        setup=moved("a\nb.png"),
    ),
    Attack(
        "still: bytes that are no text in its name",
        "batch scout --looks low.toml --cube-size 17 --out out",
        (0, 1),
        setup=moved("a\udcff.png"),
    ),
    Attack(
        "still: from right to left",
        "sheet scout --looks low.toml --out out",
        (0, 1),
        setup=moved("\u202ea.png"),
    ),
    Attack(
        "still: begins with a dash",
        "sheet scout --looks low.toml --out out",
        (0, 1),
        setup=moved("--out.png"),
    ),
    Attack(
        "still: a pattern for a name",
        "sheet scout --looks low.toml --out out",
        (0, 1),
        setup=moved("[a]*.png"),
    ),
    Attack(
        "still: a link to itself",
        "sheet scout --looks low.toml --out out",
        (0, 1),
        setup=lambda home: (home / "scout" / "c.png").symlink_to("c.png"),
    ),
    Attack(
        "still: a link to a device",
        "sheet scout --looks low.toml --out out",
        (0, 1),
        setup=lambda home: (home / "scout" / "c.png").symlink_to("/dev/zero"),
    ),
    Attack(
        "still: a folder that links to itself",
        "sheet scout --looks low.toml --out out",
        (0, 1),
        setup=lambda home: (home / "scout" / "day").symlink_to(".", target_is_directory=True),
    ),
    Attack(
        "still: a name of 255 bytes",
        "batch scout --looks low.toml --cube-size 17 --out out",
        (0, 1),
        setup=moved("x" * 251 + ".png"),
    ),
    Attack(
        "out: a link to nothing",
        "sheet scout --looks low.toml --out out",
        (0, 2),
        setup=lambda home: (home / "out").symlink_to("gone"),
    ),
    Attack("out: a file in the way", "batch scout --looks low.toml --out low.toml", (2,), ("low.toml",)),
    Attack("out: below a file", "batch scout --looks low.toml --out low.toml/x", (2,), ("low.toml",)),
    Attack("out: nothing", "batch scout --looks low.toml --out ''", (0, 2)),
    Attack("log: written over the log", "log scout --write scout/meter.csv", (2,), ("meter.csv",)),
    Attack("log: written over a look", "log scout --write low.toml", (2,), ("low.toml",)),
    Attack(
        "learn: a log for a picture",
        "learn -b scout/meter.csv -a scout/a.png -o l.toml",
        (2,),
        ("meter.csv",),
    ),
    Attack("learn: over a look", "learn -b scout/a.png -a scout/b.png -o low.toml", (2,), ("low.toml",)),
    Attack("learn: into the scout", "learn -b scout/a.png -a scout/b.png -o scout/l.toml", (2,), ("scout",)),
    Attack(
        "learn: two before, one after", "learn -b scout/a.png -b scout/b.png -a scout/b.png -o l.toml", (2,)
    ),
    Attack(
        "learn: a title of two lines",
        "learn -b scout/a.png -a scout/b.png -o l.toml --title 'a\nb'",
        (2,),
        ("--title",),
    ),
    Attack(
        "learn: a file's name of two lines", "learn -b scout/a.png -a scout/b.png -o 'l\nm.toml'", (0, 1, 2)
    ),
    Attack("learn: a folder", "learn -b scout -a scout -o l.toml", (2,), ("scout",)),
    Attack("learn: nothing", "learn -o l.toml", (2,)),
    Attack(
        "paint: a target that is none",
        "paint match scout '#12345' --looks low.toml --out out",
        (2,),
        ("#12345",),
    ),
    Attack(
        "paint: a target outside the still",
        "paint match scout 'scout/a.png:900,900,5,5' --looks low.toml --out out",
        (2,),
    ),
    Attack(
        "paint: a patch of minus pixels",
        "paint match scout 'scout/a.png:1,1,-5,5' --looks low.toml --out out",
        (2,),
    ),
    Attack(
        "paint: a deck of nothing",
        "paint predict scout --looks low.toml --chips d.csv --out out",
        (2,),
        ("d.csv",),
        files={"d.csv": ""},
    ),
    Attack(
        "paint: a deck of headings",
        "paint predict scout --looks low.toml --chips d.csv --out out",
        (2,),
        ("d.csv",),
        files={"d.csv": "name,code,hex\n"},
    ),
    Attack(
        "paint: a deck that is the log",
        "paint predict scout --looks low.toml --chips scout/meter.csv --out out",
        (2,),
        ("meter.csv",),
    ),
    Attack(
        "paint: colours that are none",
        "paint predict scout --looks low.toml --chips d.csv --out out",
        (1, 2),
        ("row 2",),
        files={"d.csv": "name,hex\nA,#zzzzzz\n"},
    ),
    Attack(
        "paint: a spectrum over 1",
        "paint predict scout --looks low.toml --chips d.csv --out out",
        (1, 2),
        (),
        files={"d.csv": "name,400,500,600,700\nA,9,9,9,9\n"},
    ),
    Attack(
        "paint: a formula for a name",
        "paint predict scout --looks low.toml --chips d.csv --out out",
        (0, 1),
        (),
        files={"d.csv": "name,hex\n=1+1,#708090\n"},
    ),
    Attack(
        "paint: two chips of one name",
        "paint predict scout --looks low.toml --chips d.csv --out out",
        (0, 1, 2),
        (),
        files={"d.csv": "name,hex\nA,#708090\nA,#807060\n"},
    ),
]


ATTACKS = [*NAMES]


@named(ATTACKS)
def test_it_survives(
    attack: Attack, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    survives(attack, tmp_path, capsys, monkeypatch)


@pytest.mark.parametrize(
    "words",
    [
        ("batch", "scout", "--looks", "low.toml", "--out", ""),
        ("batch", "scout", "--looks", "low.toml", "--out="),
        ("batch", "", "--looks", "low.toml", "--out", "out"),
        ("batch", "scout", "--looks=", "--out", "out"),
        ("cube", "low.toml", "--encoding-in", "", "--out", "out"),
        ("pitch", "scout", "--only=", "--out", "out"),
    ],
)
def test_an_empty_word_is_no_folder_and_no_default(
    words: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A shell's variable that is not set leaves one, and a folder of no name is the one that one is in."""
    monkeypatch.chdir(make_home(tmp_path / "home"))
    before = contents(Path())
    assert run(*words) == 2
    assert "is empty" in capsys.readouterr().err
    assert contents(Path()) == before
