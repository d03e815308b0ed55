"""Attacks by the shape of stills, by HDR results, and by what already lies where the pitch's frames go."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hostile.attack import Attack, named, survives
from PIL import Image


def shaped(*sizes: tuple[int, int]) -> Callable[[Path], object]:
    """Stills of such sizes (width, height) in place of the two."""

    def make(home: Path) -> None:
        for name, (width, height) in zip(("a.png", "b.png"), sizes, strict=False):
            ramp = np.linspace(20, 235, width * height * 3).reshape(height, width, 3).astype(np.uint8)
            Image.fromarray(ramp).save(home / "scout" / name)

    return make


def lies(path: str) -> Callable[[Path], object]:
    """A folder of the person's, with a file in it, where a file is to be written."""

    def make(home: Path) -> None:
        (home / path).mkdir(parents=True)
        (home / path / "mine.txt").write_text("mine")

    return make


LINES = shaped((1, 900), (900, 1))
BATCH = "batch scout --looks low.toml --cube-size 17 --out out"

SHAPES = [
    Attack("a column and a row of pixels: batch", BATCH, says=("2 stills, 1 looks",), setup=LINES),
    Attack("a column and a row of pixels: sheet", "sheet scout --looks low.toml --out out", setup=LINES),
    Attack("a column and a row of pixels: pitch", "pitch scout --looks low.toml --out out", setup=LINES),
    Attack("a column of pixels: palette", "paint palette scout/a.png --out out", setup=LINES),
    Attack("a column among others", BATCH, setup=shaped((1, 900))),
    Attack("one pixel", BATCH, setup=shaped((1, 1), (2, 1))),
    *(
        Attack(
            f"HDR {kind} of odd sizes, {chroma}",
            f"{BATCH} --format {kind} --subsampling {chroma}",
            setup=shaped((1, 1), (3, 5)),
        )
        for kind in ("avif", "heic")
        for chroma in ("4:4:4", "4:2:0")
    ),
    *(
        Attack(f"HDR in '{words}'", f'{BATCH} --format avif --encoding "{words}"', (2,))
        for words in ("PQ 599", "PQ 4001", "PQ -1", "PQ nan", "PQ 4000 narrow", "sRGB")
    ),
    Attack("PQ as jpeg", f"{BATCH} --encoding PQ", (2,), says=("--format avif or heic",)),
    Attack(
        "a folder named like a frame",
        BATCH,
        (1,),
        says=("pitch/frames/Loft.jpg",),
        setup=lies("out/pitch/frames/Loft.jpg"),
    ),
]


@named(SHAPES)
def test_it_survives(
    attack: Attack, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    survives(attack, tmp_path, capsys, monkeypatch)


def test_a_bad_still_is_named_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Though the pitch, in search of what stands for the place, looks at it again."""

    def cut(home: Path) -> None:
        scout = home / "scout"
        for name, quality in (("0.jpg", 90), ("1.jpg", 80)):
            Image.open(scout / "b.png").resize((240, 160)).save(scout / name, quality=quality)
            whole = (scout / name).read_bytes()
            (scout / name).write_bytes(whole[: len(whole) * 2 // 3] + b"\xff\xd9")
        (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*,Quay,3200,5600\n")

    said = survives(Attack("two damaged", BATCH, (1,), setup=cut), tmp_path, capsys, monkeypatch)
    for name in ("0.jpg", "1.jpg"):
        assert sum(name in line and "damaged" in line for line in said.splitlines()) == 1, said
