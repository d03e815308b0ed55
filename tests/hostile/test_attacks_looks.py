"""Attacks on looks: their files, wedges, mixes."""

from __future__ import annotations

from pathlib import Path

import pytest
from hostile.attack import LOOK, Attack, named, survives


def look(
    name: str, text: str | bytes, ends: tuple[int, ...] = (2,), says: tuple[str, ...] = ("low.toml",)
) -> Attack:
    words = "cube low.toml --size 17 --out out"
    return Attack(f"look: {name}", words, ends, says, files={"low.toml": text})


def wedge(name: str, words: str, says: tuple[str, ...] = (), ends: tuple[int, ...] = (2,)) -> Attack:
    return Attack(f"wedge: {name}", f"wedge scout {words} --out out", ends, says)


LOOKS = [
    look("empty", "", (0, 2), ()),
    look("binary", bytes(range(256))),
    look("a key twice", "title = 'a'\ntitle = 'b'\n"),
    look("a key that nobody knows", LOOK + "[gloss]\namount = 1\n", says=("gloss",)),
    look("a slip in a key", 'title = "x"\n[colour]\nsaturatoin = 1\n', says=("saturation",)),
    look("a strength without end", "strength = inf\n" + LOOK, says=("strength",)),
    look("a strength that is no number", "strength = nan\n" + LOOK, says=("strength",)),
    look("a strength of 1.6", "strength = 1.6\n" + LOOK, says=("strength",)),
    look("a strength below nothing", "strength = -0.5\n" + LOOK, says=("strength",)),
    look("a strength of nothing", "strength = 0\n" + LOOK, (0,), ()),
    look(
        "half as much again of all ends",
        'strength = 1.5\ntitle = "x"\n[exposure]\nstops = 6\n[curve]\n'
        "contrast = 3\ntoe = 1\nshoulder = 1\nblack = 0.1\n[colour]\nsaturation = 4\n"
        "[skin]\nhold = 1\ndaylight = 1\n",
        (0, 2),
        (),
    ),
    look("skin held more than all", LOOK + "[skin]\nhold = 1.5\n", says=("skin",)),
    look("skin held less than nothing", LOOK + "[skin]\nhold = -1\n", says=("skin",)),
    look("skin that is a word", LOOK + 'skin = "soft"\n'),
    look("a tone that is a table", LOOK + "[tone]\nat_stops = 0\n"),
    look("a tone without a hue", LOOK + "[[tone]]\nat_stops = 0\nchroma = 0.01\n", says=("tone",)),
    look(
        "a tone of a hue that is none",
        LOOK + '[[tone]]\ntowards = "11Q"\nat_stops = 0\nreach_stops = 2\nchroma = 0.01\n',
        says=("towards",),
    ),
    look(
        "a tone of a hue of 1e9 B",
        LOOK + '[[tone]]\ntowards = "1000000000B"\nat_stops = 0\nreach_stops = 2\nchroma = 0.01\n',
        says=("towards",),
    ),
    look(
        "a tone that reaches nothing",
        LOOK + '[[tone]]\ntowards = "5B"\nat_stops = 0\nreach_stops = 0\nchroma = 0.01\n',
        says=("reach",),
    ),
    look(
        "a tone of all the chroma",
        LOOK + '[[tone]]\ntowards = "5B"\nat_stops = 0\nreach_stops = 2\nchroma = 40\n',
        says=("chroma",),
    ),
    look(
        "a thousand tones",
        LOOK + '[[tone]]\ntowards = "5B"\nat_stops = 0\nreach_stops = 2\nchroma = 0.001\n' * 1000,
        (0, 2),
        (),
    ),
    look("a curve of no slope", "[curve]\ncontrast = 0\n", says=("contrast",)),
    look("a curve about no light", "[curve]\npivot = 0\n", says=("pivot",)),
    look("light of 1e300 stops", "[exposure]\nstops = 1e300\n", says=("stops",)),
    look("a number of 5,000 digits", "[exposure]\nstops = " + "9" * 5000 + "\n"),
    look("a colour family that is none", "[colour.families.XX]\nchroma = 1\n", says=("XX",)),
    look("a power of nothing", "[cdl]\npower = [0, 0, 0]\n", says=("power",)),
    look("a slope below nothing", "[cdl]\nslope = [-1, 1, 1]\n", says=("slope",)),
    look("a slope of two channels", "[cdl]\nslope = [1, 1]\n", says=("slope",)),
    look("a CDL in no encoding", '[cdl]\nencoding = "nope"\nslope = [2, 1, 1]\n', says=("nope",)),
    look("based on itself", 'based_on = "low.toml"\n' + LOOK, says=("based",)),
    look("based on a path far away", 'based_on = "../../../../etc/passwd"\n' + LOOK, says=("passwd",)),
    look("based on a folder", 'based_on = "scout"\n' + LOOK, says=("scout",)),
    look("a title of nothing", 'title = ""\n', (0, 2), ()),
    look("a title of a megabyte", 'title = "' + "x" * 1_000_000 + '"\n', (0, 2), ()),
    look("a title of a path", 'title = "../../../tmp/x"\n', (0,), ()),
    look("a title of dots", 'title = "..."\n', (0,), ()),
    look("a title of NUL and ends of line", 'title = "a\\u0000b\\nc"\n', (0, 2), ()),
    look("a title in which quotes are", 'title = "a\\"b"\n', (0,), ()),
    look("a title from right to left", 'title = "\\u202Eevil"\n', (0, 2), ()),
    look("a title of emoji", 'title = "\U0001f600\U0001f600"\n', (0,), ()),
    look("a title of a device", 'title = "CON"\n', (0,), ()),
    look("half a surrogate", 'title = "\\uD800"\n'),
    look("tables in tables, 2,000 deep", "a = " + "[" * 2000 + "]" * 2000 + "\n"),
    look("UTF-16 with its mark", LOOK.encode("utf-16"), (0, 2), ()),
    Attack(
        "look: a loop of bases",
        "cube low.toml --size 17 --out out",
        (2,),
        ("based",),
        files={"low.toml": 'based_on = "wet.toml"\n', "wet.toml": 'based_on = "low.toml"\n'},
    ),
    Attack(
        "look: bases 200 deep",
        "cube l0.toml --size 17 --out out",
        (0, 2),
        (),
        files={f"l{i}.toml": f'based_on = "l{i + 1}.toml"\n' if i < 199 else LOOK for i in range(200)},
    ),
]


TOOLS = [
    wedge("nothing", "low.toml"),
    wedge("no values", 'low.toml --vary "colour.saturation ="', ("saturation",)),
    wedge("no key", 'low.toml --vary "= 1, 2"'),
    wedge("a key that is none", 'low.toml --vary "colour.gloss = 1, 2"', ("gloss",)),
    wedge("a key with a program in it", "low.toml --vary \"__import__('os') = 1, 2\""),
    wedge("values that are words", 'low.toml --vary "colour.saturation = a, b"'),
    wedge("values that are no numbers", 'low.toml --vary "colour.saturation = nan, inf"'),
    wedge("a value twice", 'low.toml --vary "colour.saturation = 1, 1.0"', ("twice",)),
    wedge("a billion steps", 'low.toml --vary "colour.saturation = 0 to 1 in 1000000000"', ("1000000000",)),
    wedge("steps of 5,000 digits", f'low.toml --vary "colour.saturation = 0 to 1 in {"9" * 5000}"'),
    wedge("a value of 5,000 digits", f'low.toml --vary "colour.saturation = 1, {"9" * 5000}"'),
    wedge("values out of range", 'low.toml --vary "colour.saturation = 1, 1000"', ("saturation",)),
    wedge(
        "three keys",
        'low.toml --vary "colour.saturation = 1, 2" --vary "exposure.stops = 0, 1" --vary "curve.toe = 0, 1"',
    ),
    wedge(
        "one key twice",
        'low.toml --vary "colour.saturation = 1, 2" --vary "colour.saturation = 0, 1"',
        ("twice",),
    ),
    wedge("between a look and nothing", "--between low.toml gone.toml", ("gone.toml",)),
    wedge("between and vary", 'low.toml --vary "colour.saturation = 1, 2" --between low.toml wet.toml'),
    wedge("between in two steps", "--between low.toml wet.toml --steps 2", ("3 to 9",)),
    wedge("a still that is none", 'low.toml --vary "colour.saturation = 1, 2" --stills gone', ("gone",)),
    wedge("take a cell that is none", 'low.toml --vary "colour.saturation = 1, 2" --take Z9', ("Z9",)),
    wedge("take a cell of nothing", 'low.toml --vary "colour.saturation = 1, 2" --take ""'),
    wedge("take a path", 'low.toml --vary "colour.saturation = 1, 2" --take ../../x', ("../../x",)),
    wedge(
        "take over the look itself",
        'low.toml --vary "colour.saturation = 1, 2" --take 1 --take-to low.toml',
        ("low.toml",),
    ),
    wedge(
        "take over a still",
        'low.toml --vary "colour.saturation = 1, 2" --take 1 --take-to scout/a.png',
        ("a.png",),
    ),
    wedge(
        "take into the scout",
        'low.toml --vary "colour.saturation = 1, 2" --take 1 --take-to scout/x.toml',
        ("scout",),
    ),
    wedge(
        "take into no folder",
        'low.toml --vary "colour.saturation = 1, 2" --take 1 --take-to gone/x.toml',
        (),
        (0, 2),
    ),
    wedge("take another's title", 'low.toml --vary "colour.saturation = 1, 2" --take 1', (), (0,)),
    Attack(
        "mix: over one of the two",
        "mix low.toml wet.toml --share 0.5 --out low.toml",
        (2,),
        ("is there already",),
    ),
    Attack("mix: over a still", "mix low.toml wet.toml --share 0.5 --out scout/a.png", (2,), ("a.png",)),
    Attack("mix: into the scout", "mix low.toml wet.toml --share 0.5 --out scout/m.toml", (2,), ("scout",)),
    Attack(
        "mix: over a link to nothing",
        "mix low.toml wet.toml --share 0.5 --out m.toml",
        (0, 2),
        setup=lambda home: (home / "m.toml").symlink_to("gone.toml"),
    ),
    Attack("mix: a share of no number", "mix low.toml wet.toml --share nan --out m.toml", (2,), ("share",)),
    Attack("mix: a share without end", "mix low.toml wet.toml --share inf --out m.toml", (2,), ("share",)),
    Attack("mix: a share below nothing", "mix low.toml wet.toml --share -0.1 --out m.toml", (2,), ("share",)),
    Attack("mix: a share of 1e308", "mix low.toml wet.toml --share 1e308 --out m.toml", (2,), ("share",)),
    Attack("mix: with itself", "mix low.toml low.toml --share 0.5 --out m.toml", (0, 2)),
    Attack("mix: into a folder", "mix low.toml wet.toml --share 0.5 --out scout", (2,)),
    Attack(
        "mix: a title of quotes and ends of line",
        "mix low.toml wet.toml --share 0.5 --out m.toml --title 'a\"\n[x]\nb=1'",
        (2,),
        ("--title",),
    ),
    Attack("mix: a title of nothing", "mix low.toml wet.toml --share 0.5 --out m.toml --title ''", (0,)),
    Attack(
        "mix: ways to adapt that do not mix",
        "mix low.toml wet.toml --share 0.5 --out m.toml",
        (0, 2),
        files={
            "low.toml": '[balance]\nmethod = "CAT16"\nkeep = 0.1\n',
            "wet.toml": '[balance]\nmethod = "CAT02"\nkeep = 0.9\n',
        },
    ),
    Attack("looks: a still for a look", "looks low.toml scout/a.png", (2,), ("a.png",)),
    Attack("looks: a folder for a look", "looks low.toml scout", (2,)),
    Attack("looks: one look alone", "looks low.toml", (2,)),
    Attack(
        "looks: a place that is none", "looks low.toml wet.toml --scout scout --only Pier", (2,), ("Pier",)
    ),
]


ATTACKS = [*LOOKS, *TOOLS]


@named(ATTACKS)
def test_it_survives(
    attack: Attack, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    survives(attack, tmp_path, capsys, monkeypatch)
