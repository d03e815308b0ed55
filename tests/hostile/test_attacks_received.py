"""Attacks on what comes back: LUTs, CDLs, packages, choices."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from hostile.attack import Attack, named, survives

ROWS = "0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n"


def cdl(name: str, text: str, ends: tuple[int, ...] = (2,), says: tuple[str, ...] = ("x.cdl",)) -> Attack:
    words = "handoff scout --look x.cdl --encoding ACEScct --size 17 --still-edge 64 --out out"
    return Attack(f"CDL: {name}", words, ends, says, files={"x.cdl": text})


def cube(
    name: str, text: str | bytes, ends: tuple[int, ...] = (2,), says: tuple[str, ...] = ("x.cube",)
) -> Attack:
    return Attack(f"LUT: {name}", "inspect x.cube", ends, says, files={"x.cube": text})


def choices(name: str, text: str | bytes, ends: tuple[int, ...] = (2,), says: tuple[str, ...] = ()) -> Attack:
    words = "pitch scout --looks low.toml --choices c.txt --out out"
    return Attack(f"choices: {name}", words, ends, says, files={"c.txt": text})


def node(slope: str = "1 1 1", offset: str = "0 0 0", power: str = "1 1 1", saturation: str = "1") -> str:
    return (
        '<ColorCorrection id="a"><SOPNode>'
        f"<Slope>{slope}</Slope><Offset>{offset}</Offset><Power>{power}</Power>"
        f"</SOPNode><SatNode><Saturation>{saturation}</Saturation></SatNode></ColorCorrection>"
    )


def zip_of(path: Path, members: dict[str, bytes]) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)


def big_zip(path: Path) -> None:
    """A zip whose one member says that it is two gigabytes, and is a thousand bytes."""
    zip_of(path, {"p/manifest.json": b"{}", "p/a.bin": bytes(1000)})
    raw = bytearray(path.read_bytes())
    at = raw.rfind(b"PK\x01\x02")
    raw[at + 24 : at + 28] = (2_000_000_000).to_bytes(4, "little")  # APPNOTE 4.3.12: uncompressed size
    path.write_bytes(raw)


RECEIVED = [
    cube("of no points", "LUT_3D_SIZE 0\n"),
    cube("of 256 points and one row", "LUT_3D_SIZE 256\n0 0 0\n"),
    cube("of 1e9 points", "LUT_3D_SIZE 1000000000\n"),
    cube("a size of 5,000 digits", "LUT_3D_SIZE " + "9" * 5000 + "\n"),
    cube("a title that never ends", 'TITLE "x\nLUT_3D_SIZE 2\n' + ROWS, (0, 1, 2), ()),
    cube("a title that colours the terminal", 'TITLE "\x1b[31mred"\nLUT_3D_SIZE 2\n' + ROWS, (0, 1, 2), ()),
    cube("all rows alike", "LUT_3D_SIZE 2\n" + "0.5 0.5 0.5\n" * 8, (0, 1), ()),
    cube("light of 1e38", "LUT_3D_SIZE 2\n" + "1e38 1e38 1e38\n" * 8, (0, 1, 2), ()),
    cube("light below nothing", "LUT_3D_SIZE 2\n" + "-1e38 0 0\n" * 8, (0, 1, 2), ()),
    cube("a domain without end", "LUT_3D_SIZE 2\nDOMAIN_MAX 1e400 1 1\n" + ROWS),
    cube(
        "a domain of a hair",
        "LUT_3D_SIZE 2\nDOMAIN_MIN 0 0 0\nDOMAIN_MAX 1e-320 1e-320 1e-320\n" + ROWS,
        (0, 1, 2),
        (),
    ),
    cube("one dimension of two points", "LUT_1D_SIZE 2\n1 1 1\n0 0 0\n", (0, 1), ()),
    cube("one dimension of 1e8 points", "LUT_1D_SIZE 100000000\n0 0 0\n"),
    cube("a comment of 5 MB", "#" + "x" * 5_000_000 + "\nLUT_3D_SIZE 2\n" + ROWS, (0, 1, 2), ()),
    Attack(
        "LUT: a folder of that name",
        "inspect x.cube",
        (2,),
        ("x.cube",),
        setup=lambda home: (home / "x.cube").mkdir(),
    ),
    Attack(
        "LUT: a link to itself",
        "inspect x.cube",
        (2,),
        ("x.cube",),
        setup=lambda home: (home / "x.cube").symlink_to("x.cube"),
    ),
    Attack(
        "LUT: encodings that are none",
        "batch scout --looks x.cube@nope:sRGB --out out",
        (2,),
        ("nope",),
        files={"x.cube": "LUT_3D_SIZE 2\n" + ROWS},
    ),
    Attack(
        "LUT: three encodings",
        "batch scout --looks x.cube@sRGB:sRGB:sRGB --out out",
        (2,),
        (),
        files={"x.cube": "LUT_3D_SIZE 2\n" + ROWS},
    ),
    Attack(
        "LUT: one encoding",
        "batch scout --looks x.cube@sRGB --out out",
        (2,),
        (),
        files={"x.cube": "LUT_3D_SIZE 2\n" + ROWS},
    ),
    Attack(
        "LUT: no encoding",
        "batch scout --looks x.cube@: --out out",
        (2,),
        (),
        files={"x.cube": "LUT_3D_SIZE 2\n" + ROWS},
    ),
    cdl("empty", ""),
    cdl("no XML", "slope 1 1 1"),
    cdl("another's XML", "<html/>"),
    cdl("numbers that are none", node(slope="nan nan nan")),
    cdl("numbers without end", node(slope="inf 1 1")),
    cdl("two numbers", node(slope="1 1")),
    cdl("a power below nothing", node(power="-1 1 1")),
    cdl("a power of nothing", node(power="0 0 0")),
    cdl("saturation below nothing", node(saturation="-1")),
    cdl("saturation of 1e300", node(saturation="1e300"), (0, 1, 2), ()),
    cdl("decimal commas", node(slope="1,1 1,0 0,9"), (2,)),
    cdl(
        "a file from the machine",
        '<!DOCTYPE a [<!ENTITY e SYSTEM "file:///etc/passwd">]>' + node(slope="&e;"),
        (2,),
        ("x.cdl",),
    ),
    cdl(
        "entities that multiply",
        '<!DOCTYPE a [<!ENTITY a "1 1 1">'
        + "".join(f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(9))
        + "]>"
        + node(slope="&j;"),
    ),
    cdl("elements 20,000 deep", "<a>" * 20_000 + node() + "</a>" * 20_000, (0, 1, 2), ()),
    Attack("verify: a folder without a manifest", "handoff --verify scout", (1, 2), ("manifest",)),
    Attack("verify: a still", "handoff --verify scout/a.png", (1, 2)),
    Attack("verify: a device", "handoff --verify /dev/null", (1, 2)),
    Attack("verify: nothing there", "handoff --verify gone", (1, 2), ("gone",)),
    Attack(
        "verify: a digest that is none", "handoff --verify p.zip --sha256 xyz", (1, 2), files={"p.zip": b"PK"}
    ),
    Attack("verify: a digest without a package", "handoff --sha256 " + "0" * 64, (2,)),
    Attack(
        "verify: a digest of 1 MB",
        "handoff --verify p.zip --sha256 " + "0" * 100_000,
        (1, 2),
        files={"p.zip": b"PK"},
    ),
    Attack(
        "verify: a manifest of numbers",
        "handoff --verify p",
        (1, 2),
        files={"p/manifest.json": json.dumps({"files": 7})},
    ),
    Attack(
        "verify: a manifest 50,000 deep",
        "handoff --verify p",
        (1, 2),
        files={"p/manifest.json": "[" * 50_000},
    ),
    Attack(
        "verify: a zip of paths upwards",
        "handoff --verify p.zip",
        (1, 2),
        setup=lambda home: zip_of(home / "p.zip", {"../../x": b"x", "p/manifest.json": b"{}"}),
    ),
    Attack(
        "verify: a zip that unpacks to 2 GB",
        "handoff --verify p.zip",
        (1, 2),
        setup=lambda home: big_zip(home / "p.zip"),
    ),
]


CHOICES = [
    choices("nothing", ""),
    choices("bytes that are no text", bytes(range(256)) * 10),
    choices("more than a megabyte", "LOFT · LOW TIDE\n" * 100_000, (2,), ("too long",)),
    choices("a place that is none", "PIER · LOW TIDE\n"),
    choices("a look that is none", "LOFT · HIGH TIDE\n"),
    choices("separators alone", "· · · · ·\n" * 1000),
    choices("one place, a thousand times", "LOFT · LOW TIDE\n" * 1000, (0,)),
    choices("a fingerprint of another", "LOFT · LOW TIDE · 000000000000\n", (0,), ("changed since",)),
    choices("words of a program", "LOFT · LOW TIDE\n    words: <script>alert(1)</script>\n", (0,)),
    choices("words of 900,000 letters", "LOFT · LOW TIDE\n    words: " + "x" * 900_000 + "\n", (0, 2)),
    choices("quoted fifty times", "> " * 50 + "LOFT · LOW TIDE\n", (0,)),
    choices("half a UTF-16 letter", "LOFT · LOW TIDE\n".encode("utf-16") + b"\x00", (0, 2)),
    choices("a choices.toml that is broken", "[[choice]]\nplace = \n", (2,), ("choices.toml",)),
    choices("a choices.toml of numbers", "[[choice]]\nplace = 7\nlook = [1, 2]\n", (2,)),
    choices(
        "a choices.toml whose words go on",
        '[[choice]]\nplace = "LOFT"\nlook = "LOW TIDE"\nwords = "a\\nQUAY · LOW TIDE"\n',
        (0,),
    ),
    Attack(
        "choices: a folder", "pitch scout --looks low.toml --choices scout --out out", (2,), ("--choices",)
    ),
    Attack(
        "choices: not there", "pitch scout --looks low.toml --choices gone.txt --out out", (2,), ("gone.txt",)
    ),
    Attack(
        "choices: the scout for OUT",
        "pitch scout --looks low.toml --choices c.txt --out scout",
        (2,),
        files={"c.txt": "LOFT · LOW TIDE\n"},
    ),
]


ATTACKS = [*RECEIVED, *CHOICES]


@named(ATTACKS)
def test_it_survives(
    attack: Attack, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    survives(attack, tmp_path, capsys, monkeypatch)
