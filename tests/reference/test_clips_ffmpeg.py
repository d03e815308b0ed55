"""Pictures of clips against FFmpeg's own conversion, within one 8-bit code; clips are made by ffmpeg here.

What the tags mean: ITU-T H.273 (2024), tables 2 to 4. The matrix is checked once more against BT.709-6 3.2
and BT.2020-2 table 4 on a picture of one colour, whose code values are worked out here.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from lookdev.errors import StillError
from lookdev.stills.part import Moment
from lookdev.stills.reader import read_info, read_still

SIZE = (192, 108)
MADE = {
    # name: ffmpeg's pixel format, encoder and its options, matrix for ffmpeg, what the code values mean
    "phone.mp4": ("yuv420p", ["libx264"], (1, 1, 1), "bt709", "BT.709"),
    "hlg.mov": ("yuv420p10le", ["libx265"], (9, 18, 9), "bt2020", "BT.2100 HLG"),
    "pq.mov": ("yuv420p10le", ["libx265"], (9, 16, 9), "bt2020", "BT.2100 PQ"),
    "plain.mp4": ("yuv420p", ["libx264"], None, "bt709", "BT.709"),
    "full.mp4": ("yuvj420p", ["libx264"], (1, 1, 1), "bt709", "BT.709"),
    "old.mp4": ("yuv420p", ["libx264"], (6, 6, 6), "smpte170m", "BT.709 curve, BT.601 525 primaries"),
}


def ffmpeg() -> str:
    """An ffmpeg with the encoders of phones: the system's, else the one that imageio-ffmpeg brings."""
    import imageio_ffmpeg

    for exe in (shutil.which("ffmpeg"), imageio_ffmpeg.get_ffmpeg_exe()):
        if exe is not None:
            have = subprocess.run(
                [exe, "-hide_banner", "-encoders"], capture_output=True, text=True, check=False
            )
            if "libx264" in have.stdout and "libx265" in have.stdout:
                return exe
    pytest.skip("no ffmpeg with libx264 and libx265 on this machine")


def run(*words: str | Path) -> bytes:
    done = subprocess.run(
        [ffmpeg(), "-y", "-v", "error", *map(str, words)],
        capture_output=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


def make(path: Path, source: str = "testsrc2", seconds: float = 2.0, *more: str) -> Path:
    pixel, coder, tags, matrix, _ = MADE[path.name]
    options: list[str] = []
    if tags is not None:
        options = ["-color_primaries", str(tags[0]), "-color_trc", str(tags[1]), "-colorspace", str(tags[2])]
        options += ["-color_range", "pc" if pixel.startswith("yuvj") else "tv"]
    if coder == ["libx265"] and tags is not None:
        names = dict(zip(("colorprim", "transfer", "colormatrix"), tags, strict=True))
        options += [
            "-x265-params",
            "log-level=0:range=limited:" + ":".join(f"{k}={v}" for k, v in names.items()),
        ]
    wide, high = SIZE
    out = "pc" if pixel.startswith("yuvj") else "tv"
    to = f"scale=out_color_matrix={matrix}:out_range={out},format={pixel}"
    given = f"{source}{':' if '=' in source else '='}s={wide}x{high}:r=25:d={seconds}"
    run("-f", "lavfi", "-i", given, "-vf", to, "-c:v", *coder,
        "-qp" if coder == ["libx264"] else "-crf", "6", *options, *more, path)  # fmt: skip
    return path


def as_ffmpeg_has_it(path: Path, at_s: float, deep: bool, *before: str) -> np.ndarray:
    """R'G'B' in 8-bit codes, full range, by the program's own decoding and conversion."""
    matrix = MADE[path.name][3] if path.name in MADE else "bt709"
    made = "rgb48le" if deep else "rgb24"
    flags = "bicubic+accurate_rnd+full_chroma_int+full_chroma_inp"
    how = f"scale=in_color_matrix={matrix}:out_range=pc:flags={flags}"
    raw = run(*before, "-ss", str(at_s), "-i", path, "-frames:v", "1", "-vf", f"{how},format={made}",
              "-f", "rawvideo", "-pix_fmt", made, "-")  # fmt: skip
    codes = np.frombuffer(raw, "<u2" if deep else np.uint8).astype(float) / (257 if deep else 1)
    return codes.reshape(SIZE[1], SIZE[0], 3)


@pytest.mark.parametrize("name", MADE)
def test_a_picture_is_ffmpegs_within_a_code(tmp_path: Path, name: str) -> None:
    path = make(tmp_path / name)
    still = read_still(path, part=Moment(1.2))
    want = as_ffmpeg_has_it(path, 1.2, "10le" in MADE[name][0])
    means = MADE[name][4]
    assert still.encoding.name.startswith(means)
    if means == "BT.2100 PQ":  # scene light: back through the display's inverse in the test of HDR rendering
        assert still.pixels.dtype == np.float32
        assert still.hdr is not None
        from lookdev.stills.clip import _colours, _frame_at, _opened

        with _opened(path) as (container, stream):
            codes = _colours(_frame_at(container, stream, 1.2))[0] / 257
    else:
        codes = still.pixels / (257 if still.pixels.dtype == np.uint16 else 1)
    off = np.abs(codes - want)
    print(f"\n{name}: largest {off.max():.2f} of 255")
    assert off.max() <= 1.0
    assert read_info(path)[0] == (SIZE[1], SIZE[0])
    assumed = [line for line in still.warnings if "no colour tags" in line]
    assert bool(assumed) == (name == "plain.mp4")


@pytest.mark.parametrize(
    ("name", "kr", "kb", "bits"), [("phone.mp4", 0.2126, 0.0722, 8), ("hlg.mov", 0.2627, 0.0593, 10)]
)
def test_one_colour_by_the_standards_own_formula(
    tmp_path: Path, name: str, kr: float, kb: float, bits: int
) -> None:
    """Y' = Kr R' + (1 - Kr - Kb) G' + Kb B', narrow range: BT.709-6 3.2 to 3.4, BT.2020-2 table 4."""
    path = make(tmp_path / name, "color=c=0xB06030", 0.4)
    raw = run("-i", path, "-frames:v", "1", "-f", "rawvideo", "-pix_fmt", MADE[name][0], "-")
    codes = np.frombuffer(raw, np.uint8 if bits == 8 else "<u2") / 2 ** (bits - 8)
    pixels = SIZE[0] * SIZE[1]
    luma, chroma = codes[:pixels].mean(), codes[pixels:].reshape(2, -1).mean(axis=1)
    y, pb, pr = (luma - 16) / 219, *((chroma - 128) / 224)
    red, blue = y + (2 - 2 * kr) * pr, y + (2 - 2 * kb) * pb
    want = np.array([red, (y - kr * red - kb * blue) / (1 - kr - kb), blue])
    got = read_still(path, part=Moment(0.2)).signal().reshape(-1, 3).mean(axis=0)
    print(f"\n{name}: {np.round(got * 255, 2)} against {np.round(want * 255, 2)}")
    assert got * 255 == pytest.approx(want * 255, abs=1.0)


def test_a_turned_phone_gives_an_upright_picture(tmp_path: Path) -> None:
    path, turned = make(tmp_path / "phone.mp4"), tmp_path / "turned.mp4"
    data = path.read_bytes()
    at = data.index(b"tkhd") + 4 + 4 + 36  # ISO/IEC 14496-12 8.3.2: the matrix behind ten words, version 0
    quarter = b"".join(v.to_bytes(4, "big", signed=True) for v in (0, 65536, 0, -65536, 0, 0))
    turned.write_bytes(data[:at] + quarter + data[at + 24 :])
    still, flat = read_still(turned, part=Moment(1.2)), read_still(path, part=Moment(1.2))
    assert still.full_size == (SIZE[0], SIZE[1]) == read_info(turned)[0]
    assert np.array_equal(still.pixels, np.rot90(flat.pixels, -1))  # clockwise
    raw = run("-ss", "1.2", "-i", turned, "-frames:v", "1", "-f", "rawvideo", "-pix_fmt", "rgb24", "-")
    program = np.frombuffer(raw, np.uint8).reshape(SIZE[0], SIZE[1], 3).astype(float)
    ways = [
        program,
        program[::-1, ::-1],
        program[::-1],
        program[:, ::-1],
    ]
    assert np.argmin([np.mean(np.abs(way - still.pixels)) for way in ways]) == 0


def test_the_moment_is_the_one_asked_for(tmp_path: Path) -> None:
    """testsrc counts seconds in its picture; each moment's picture is ffmpeg's of that moment, none other."""
    path = make(tmp_path / "phone.mp4", "testsrc", 4.0)
    seen = {at: read_still(path, part=Moment(at)).pixels for at in (0.0, 0.48, 1.04, 2.0, 3.96)}
    for at, pixels in seen.items():
        assert np.max(np.abs(as_ffmpeg_has_it(path, at, False) - pixels)) <= 1.0
    assert np.array_equal(read_still(path, part=Moment(0.5)).pixels, seen[0.48])  # what is seen then
    assert np.array_equal(read_still(path).pixels, seen[2.0])  # without one, the middle
    with pytest.raises(
        StillError, match="ends before this moment; found '00:09'; wanted a moment up to 00:04"
    ):
        read_still(path, part=Moment(9.0))


def test_time_and_camera_come_from_the_container(tmp_path: Path) -> None:
    path = make(tmp_path / "phone.mp4", "testsrc2", 4.0, "-metadata", "creation_time=2031-03-04T21:31:00Z")
    metadata = read_info(path, part=Moment(3.0))[1]
    assert (metadata.date, metadata.is_utc) == ("2031-03-04T21:31:03", True)
    assert read_info(make(tmp_path / "plain.mp4"))[1].date is None


def test_a_long_clip_is_not_read_in_whole(tmp_path: Path) -> None:
    """600 MB that no picture needs (a box "free", ISO/IEC 14496-12 8.1.2, of a sparse file) cost nothing."""
    from lookdev.stills.digest import END_BYTES, file_sha256, still_sha256

    path, long = make(tmp_path / "phone.mp4"), tmp_path / "long.mp4"
    data, more = path.read_bytes(), 600_000_000
    with long.open("wb") as handle:
        handle.write(data + more.to_bytes(4, "big") + b"free")
        handle.truncate(len(data) + more)
    assert long.stat().st_size > 8 * 2 * END_BYTES
    assert np.array_equal(read_still(long).pixels, read_still(path).pixels)
    assert still_sha256(long).startswith("ends:") and still_sha256(path) == file_sha256(path)


def test_what_is_broken_is_said_in_a_line(tmp_path: Path) -> None:
    whole = make(tmp_path / "phone.mp4").read_bytes()
    files = {
        "empty.mov": (b"", "the file is empty"),
        "cut.mp4": (whole[: len(whole) // 2], "broken or cut short"),
        "head.mp4": (whole[:40], "broken or cut short"),
        "noise.mov": (bytes(range(256)) * 40, "broken or cut short"),
        "text.mov": (b"file 'other.mov'\n" * 20, "broken or cut short"),
    }
    for name, (data, words) in files.items():
        (tmp_path / name).write_bytes(data)
        for call in (read_info, read_still):
            with pytest.raises(StillError, match=words) as told:
                call(tmp_path / name)
            assert "\n" not in str(told.value)
    run("-f", "lavfi", "-i", "sine=d=1", tmp_path / "sound.mp4")
    with pytest.raises(StillError, match="this clip has no picture"):
        read_info(tmp_path / "sound.mp4")
    with pytest.raises(StillError, match="too large"):
        read_still(tmp_path / "phone.mp4", max_pixels=1000)


def test_a_damaged_moment_is_told_and_salvaged(tmp_path: Path) -> None:
    data = bytearray(make(tmp_path / "phone.mp4").read_bytes())
    start = data.index(b"mdat") + 2000
    rng = np.random.default_rng(3)
    end = start + (data.index(b"moov") - start) * 3 // 4
    data[start:end] = bytes(rng.integers(0, 256, end - start, dtype=np.uint8))
    (tmp_path / "bad.mp4").write_bytes(bytes(data))
    with pytest.raises(StillError):
        read_still(tmp_path / "bad.mp4")
