"""Stills taken as good, or whose colours were wrong, without a word: each is read right or named."""

from __future__ import annotations

import io
import json
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from still_files import exif_block, picture

from lookdev.errors import StillError
from lookdev.render.preview import do_preview
from lookdev.render.tasks import Output, Task, do_task
from lookdev.stills.reader import read_still
from lookdev.stills.summary import summary


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def line_of(path: Path) -> str:
    """The refusal of ``path``: one line that names it."""
    with pytest.raises(StillError) as caught:
        read_still(path)
    text = str(caught.value)
    assert "\n" not in text and path.name in text
    return text


# Damaged JPEGs: the decoder's warnings count


def grainy(height: int = 480, width: int = 640) -> np.ndarray:
    """A picture with grain, so that its JPEG is large for its size."""
    grain = np.random.default_rng(5).integers(-25, 26, (height, width, 3))
    return np.clip(picture(height, width).astype(int) + grain, 0, 255).astype(np.uint8)


def jpeg(mode: str = "RGB", **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(grainy()).convert(mode).save(out, "JPEG", quality=95, **options)
    return out.getvalue()


KINDS = {
    "plain": {},
    "444": {"subsampling": 0},
    "restarts": {"restart_marker_rows": 1},
    "progressive": {"progressive": True},
    "grey": {"mode": "L"},
    "cmyk": {"mode": "CMYK"},
}
GOOD = {name: jpeg(**options) for name, options in KINDS.items()}


def zeros(data: bytes) -> bytes:
    at = len(data) // 3
    return data[:at] + bytes(16_000) + data[at + 16_000 :]


def missing(data: bytes) -> bytes:
    at = len(data) // 3
    return data[:at] + data[at + 32_000 :]


def half_with_an_end(data: bytes) -> bytes:
    return data[: len(data) // 2] + b"\xff\xd9"


def header_larger_than_its_data(data: bytes) -> bytes:
    at = next(i for i in range(len(data)) if data[i : i + 2] in (b"\xff\xc0", b"\xff\xc2"))
    return data[: at + 5] + struct.pack(">HH", 960, 640) + data[at + 9 :]


Damage = Callable[[bytes], bytes]
DAMAGE = (zeros, missing, half_with_an_end, header_larger_than_its_data)


@pytest.mark.parametrize("kind", KINDS)
def test_good_jpegs_are_read_without_a_word(tmp_path: Path, kind: str) -> None:
    """Pillow's own libjpeg-turbo as second decoder, within one code (T.81 allows that)."""
    still = read_still(put(tmp_path, "a.jpg", GOOD[kind]))
    assert not [line for line in still.warnings if "CMYK" not in line]
    if kind != "cmyk":
        second = np.asarray(Image.open(io.BytesIO(GOOD[kind])).convert("RGB")).astype(int)
        assert np.abs(still.pixels.astype(int) - second).max() <= 1


@pytest.mark.parametrize("damage", DAMAGE)
@pytest.mark.parametrize("kind", KINDS)
def test_a_damaged_jpeg_is_refused_or_salvaged_and_marked(tmp_path: Path, kind: str, damage: object) -> None:
    path = put(tmp_path, "d.jpg", damage(GOOD[kind]))
    assert "the picture is damaged" in (line := line_of(path)) and "--salvage" in line
    still = read_still(path, salvage=True)
    assert still.pixels.shape[2] == 3
    assert any("salvaged from a damaged file" in warning for warning in still.warnings)
    with pytest.raises(StillError, match="damaged"):  # the reduced picture of sheets is held to the same
        read_still(path, enough_px=40)


def test_damage_anywhere_is_seen() -> None:
    """16 kB of zeros at forty places in the scan of a JPEG."""
    from lookdev.stills import jpeg as ours

    data = GOOD["plain"]
    first = (ours.header_end(data) or 0) + 20
    for at in np.linspace(first, len(data) - 16_010, 40).astype(int):
        bad = data[:at] + bytes(16_000) + data[at + 16_000 :]
        with pytest.raises(StillError, match="damaged"):
            ours.decode(bad, ours.header(bad))


def test_a_progressive_jpeg_that_ends_after_any_scan(tmp_path: Path) -> None:
    """T.81 G.1.1.1: the decoder itself takes a picture that lacks scans as good."""
    from lookdev.stills import jpeg as ours

    data = GOOD["progressive"]
    scans = [start for code, start, _ in ours.segments(data) if code == 0xDA]
    assert len(scans) > 4
    for start in scans[1:]:
        cut = data[:start] + b"\xff\xd9"
        line = line_of(put(tmp_path, "p.jpg", cut))
        assert "scans are missing" in line
        assert Image.open(io.BytesIO(cut)).convert("RGB").size == (640, 480)  # which another reader takes


def test_a_jpeg_with_a_harmless_oddity_is_no_damage(tmp_path: Path) -> None:
    """A JFIF revision of the future: libjpeg warns of it, and every pixel is right."""
    data = GOOD["plain"].replace(b"JFIF\0\x01\x01", b"JFIF\0\x07\x01", 1)
    still = read_still(put(tmp_path, "j.jpg", data))
    assert still.warnings == () and still.encoding_origin == "assumed sRGB"
    assert np.array_equal(still.pixels, read_still(put(tmp_path, "k.jpg", GOOD["plain"])).pixels)


def test_salvage_is_marked_on_pages_and_in_the_summary(tmp_path: Path) -> None:
    from lookdev.looks.model import Look

    path = put(tmp_path, "d.jpg", zeros(GOOD["plain"]))
    look = Look(title="as it stood")
    task = Task(path, (Output(look, tmp_path / "out" / "d.jpg"),), thumbnails=tmp_path / "t", salvage=True)
    result, row = do_task(task), do_preview(task)
    assert result.error is None and row.error is None
    assert any("salvaged" in line for line in result.warnings)
    assert any("salvaged" in line for line in row.warnings)
    assert "salvaged" in json.dumps(summary(read_still(path, salvage=True)))
    refused = do_task(Task(path, (Output(look, tmp_path / "out" / "e.jpg"),)))
    assert (
        refused.error is not None and "d.jpg" in refused.error and not (tmp_path / "out" / "e.jpg").exists()
    )


def test_salvage_is_marked_on_the_sheet_and_in_summary_json(tmp_path: Path) -> None:
    """The command itself: the sheet's words, by pypdf, and summary.json."""
    import pypdf
    from typer.testing import CliRunner

    from lookdev.cli.main import app

    scout = tmp_path / "scout"
    scout.mkdir()
    put(scout, "d.jpg", zeros(GOOD["plain"]))
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\nd.jpg,Quay,3200,5600\n")
    look = tmp_path / "plain.toml"
    look.write_text('title = "Plain"\n')
    out = tmp_path / "out"
    words = ["batch", str(scout), "--looks", str(look), "--out", str(out), "--salvage"]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 0, result.output
    assert "salvaged" in (out / "summary.json").read_text()
    pages = [page.extract_text() for pdf in out.rglob("*.pdf") for page in pypdf.PdfReader(pdf).pages]
    assert pages and any("salvaged" in " ".join(text.split()) for text in pages)


def test_a_profile_with_a_segment_missing_is_named(tmp_path: Path) -> None:
    """ICC.1:2022 annex B.4: a profile in several APP2 segments, of which one is lost."""
    from lookdev.stills import jpeg as ours

    whole = ours.with_segments(jpeg(), exif_block({0x0110: "Tin"}), bytes(150_000))
    for lost in (0, 1, 2):
        parts = [(s, e) for code, s, e in ours.segments(whole) if code == 0xE2]
        assert len(parts) == 3
        start, end = parts[lost]
        still = read_still(put(tmp_path, "i.jpg", whole[:start] + whole[end:]))
        assert still.warnings == ("the embedded profile is incomplete (2 of 3 segments): read without it",)
