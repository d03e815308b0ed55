"""Files that cannot be used: each is one named line, and nothing else happens."""

from __future__ import annotations

import io
import os
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, UnidentifiedImageError
from still_files import dng, exif_block, picture

from lookdev.errors import StillError
from lookdev.stills import open_file
from lookdev.stills.jpeg import header, scan_extent
from lookdev.stills.reader import find_stills, read_info, read_still


def samples() -> dict[str, bytes]:
    """One good file of each format."""
    import imagecodecs
    import OpenEXR
    import pillow_heif

    out: dict[str, bytes] = {}
    image = Image.fromarray(picture(96, 128))
    for kind, name in (("JPEG", "a.jpg"), ("PNG", "a.png"), ("WEBP", "a.webp"), ("AVIF", "a.avif")):
        buffer = io.BytesIO()
        image.save(buffer, kind, exif=exif_block({0x0110: "Tin"}))
        out[name] = buffer.getvalue()
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", progressive=True)
    out["p.jpg"] = buffer.getvalue()
    for name, options in (("a.tif", {}), ("z.tif", {"compression": "lzw", "predictor": True})):
        buffer = io.BytesIO()
        tifffile.imwrite(buffer, picture(96, 128, bits=16), photometric="rgb", metadata=None, **options)
        out[name] = buffer.getvalue()
    buffer = io.BytesIO()
    pillow_heif.from_pillow(image).save(buffer, quality=90)
    out["a.heic"] = buffer.getvalue()
    out["t.avif"] = imagecodecs.avif_encode(picture(96, 128, bits=16) >> 6, bitspersample=10)
    buffer = io.BytesIO()
    light = picture(96, 128, bits=16).astype(np.float32) / 65535
    header = {"type": OpenEXR.scanlineimage}
    with OpenEXR.File(header, {"RGB": light}) as file:
        file.write(buffer)
    out["a.exr"] = buffer.getvalue()
    out["a.dng"] = dng(np.ones((96, 128, 3)) * 0.3)
    import cv2

    out["s.png"] = cv2.imencode(".png", picture(96, 128, bits=16))[1].tobytes()
    return out


SAMPLES = samples()


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def one_line(path: Path) -> str:
    """The error of reading ``path``: one line that names the file."""
    with pytest.raises(StillError) as caught:
        read_still(path)
    text = str(caught.value)
    assert "\n" not in text and text.isprintable()
    assert (
        path.name.encode("ascii", "backslashreplace").decode()[:8]
        in text.encode("ascii", "backslashreplace").decode()
    )
    return text


@pytest.mark.parametrize("name", SAMPLES)
def test_samples_are_good(tmp_path: Path, name: str) -> None:
    assert read_still(put(tmp_path, name, SAMPLES[name])).pixels.shape == (96, 128, 3)


@pytest.mark.parametrize("tenth", range(10))
@pytest.mark.parametrize("name", SAMPLES)
def test_truncated_at_every_tenth(
    tmp_path: Path, name: str, tenth: int, capfd: pytest.CaptureFixture[str]
) -> None:
    data = SAMPLES[name]
    path = put(tmp_path, name, data[: len(data) * tenth // 10])
    one_line(path)
    said = capfd.readouterr()
    assert said.out == "" and said.err == ""


@pytest.mark.parametrize("name", SAMPLES)
def test_wrong_content_under_every_suffix(tmp_path: Path, name: str) -> None:
    for data in (b"hello, this is a list of locations\n" * 20, b"\0" * 3000, bytes(range(256)) * 12):
        one_line(put(tmp_path, name, data))


def test_empty(tmp_path: Path) -> None:
    assert "the file is empty" in one_line(put(tmp_path, "e.jpg", b""))


def test_folder_link_pipe_missing(tmp_path: Path) -> None:
    (tmp_path / "f.jpg").mkdir()
    assert "this is a folder" in one_line(tmp_path / "f.jpg")
    (tmp_path / "l.jpg").symlink_to(tmp_path / "nowhere.jpg")
    assert "the link leads nowhere" in one_line(tmp_path / "l.jpg")
    os.mkfifo(tmp_path / "p.jpg")
    assert "no regular file" in one_line(tmp_path / "p.jpg")
    assert "No such file" in one_line(tmp_path / "missing.jpg")


def test_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The refusal comes from the system; root reads everything, so the system's answer is played."""
    path = put(tmp_path, "n.jpg", SAMPLES["a.jpg"])

    def refuse(self: Path, *args: object, **kwargs: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert "cannot be read: Permission denied" in one_line(path)


def test_unknown_format(tmp_path: Path) -> None:
    line = one_line(put(tmp_path, "a.jpg", b"%PDF-1.7\n" + bytes(33)))
    assert "not a still that can be read; found '42 bytes that begin with %PDF-1.7'" in line


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"hello, this is a list", "'21 bytes that begin with hello, this is a'"),
        ("žluť".encode(), "'6 bytes that begin with c5 be 6c 75 c5 a5 in hexadecimal'"),
        (b'<?xml version="1.0"?>', "'21 bytes that begin with <?xml version='"),
        (bytes(300), "'300 bytes that begin with 00 00 00 00 00 00 00 00 in hexadecimal'"),
    ],
)
def test_unknown_bytes_are_shown_in_plain_words(tmp_path: Path, data: bytes, words: str) -> None:
    line = one_line(put(tmp_path, "a.jpg", data))
    assert f"found {words}; wanted" in line


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.webp", "a.tif", "s.png"])
def test_one_pixel(tmp_path: Path, name: str) -> None:
    buffer = io.BytesIO()
    kind = {"jpg": "JPEG", "png": "PNG", "webp": "WEBP", "tif": "TIFF"}[name.split(".")[1]]
    Image.new("RGB", (1, 1), (10, 200, 30)).save(buffer, kind)
    still = read_still(put(tmp_path, name, buffer.getvalue()), max_edge_px=1)
    assert still.pixels.shape == (1, 1, 3)


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def test_header_bomb_is_refused_before_a_pixel_is_made(tmp_path: Path) -> None:
    ihdr = struct.pack(">IIBBBBB", 30000, 30000, 8, 2, 0, 0, 0)
    png = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", ihdr)
        + chunk(b"IDAT", zlib.compress(b"\0" * 90001))
        + chunk(b"IEND", b"")
    )
    path = put(tmp_path, "bomb.png", png)
    line = one_line(path)
    assert "30000 x 30000 pixels" in line and "--max-pixels" in line
    with pytest.raises(StillError, match="30000 x 30000"):
        read_info(path)
    jpeg = bytearray(SAMPLES["a.jpg"])
    at = jpeg.index(b"\xff\xc0")
    jpeg[at + 5 : at + 9] = struct.pack(">HH", 30000, 30000)
    assert "30000 x 30000" in one_line(put(tmp_path, "bomb.jpg", bytes(jpeg)))


def test_limit_can_be_set(tmp_path: Path) -> None:
    path = put(tmp_path, "a.jpg", SAMPLES["a.jpg"])
    with pytest.raises(StillError, match="at most 1000 pixels"):
        read_still(path, max_pixels=1000)


def test_zero_sized(tmp_path: Path) -> None:
    png = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", 0, 5, 8, 2, 0, 0, 0))
        + chunk(b"IEND", b"")
    )
    one_line(put(tmp_path, "z.png", png))
    jpeg = bytearray(SAMPLES["a.jpg"])
    at = jpeg.index(b"\xff\xc0")
    jpeg[at + 5 : at + 9] = b"\0\0\0\0"
    one_line(put(tmp_path, "z.jpg", bytes(jpeg)))


def test_file_that_changes_while_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = put(tmp_path, "c.jpg", SAMPLES["a.jpg"])
    real = os.fstat

    def grown(fd: int) -> os.stat_result:
        with path.open("ab") as handle:
            handle.write(b"more")
        return real(fd)

    monkeypatch.setattr(open_file.os, "fstat", grown)
    assert "the file changed while it was read" in one_line(path)


@pytest.mark.parametrize(
    "name",
    [
        "with space.jpg",
        "quote'\".jpg",
        "new\nline.jpg",
        "\U0001f3a8\U0001f469‍\U0001f3a8.jpg",
        "עברית‏ ليل.jpg",
        "caf\udce9.jpg",
        "-rf.jpg",
        "%s{0}.jpg",
    ],
)
def test_odd_names(tmp_path: Path, name: str) -> None:
    path = put(tmp_path, name, SAMPLES["a.jpg"])
    assert find_stills(tmp_path) == [path]
    assert read_still(path).pixels.shape == (96, 128, 3)
    path.write_bytes(SAMPLES["a.jpg"][:500])
    with pytest.raises(StillError) as caught:
        read_still(path)
    assert "\n" not in str(caught.value)
    str(caught.value).encode("utf-8")


def test_find_stills(tmp_path: Path) -> None:
    for name in ("b.JPG", "a.png", "notes.txt", ".hidden.jpg", "sub/c.dng", ".trash/d.jpg", "meter.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    for name in ("f.jpg", ".g.jpg", "roll.raw", "roll.raw/deep.jpg"):
        (tmp_path / name).mkdir()
    (tmp_path / "roll.raw" / "e.png").write_bytes(b"x")
    assert [p.relative_to(tmp_path).as_posix() for p in find_stills(tmp_path)] == [
        "a.png",
        "b.JPG",
        "f.jpg",
        "roll.raw/deep.jpg",
        "roll.raw/e.png",
        "sub/c.dng",
    ]
    with pytest.raises(StillError, match="no such folder"):
        find_stills(tmp_path / "nowhere")


# salvage


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_salvage_of_a_baseline_jpeg(tmp_path: Path, share: float) -> None:
    buffer = io.BytesIO()
    rng = np.random.default_rng(3)
    noisy = np.clip(picture(400, 300).astype(int) + rng.integers(-20, 20, (400, 300, 3)), 0, 255).astype(
        np.uint8
    )
    Image.fromarray(noisy).save(buffer, "JPEG", quality=90)
    data = buffer.getvalue()
    whole = read_still(put(tmp_path, "w.jpg", data)).pixels
    path = put(tmp_path, "s.jpg", data[: int(len(data) * share)])
    assert "--salvage" in one_line(path)
    still = read_still(path, salvage=True)
    assert still.pixels.shape == whole.shape
    kept = int(400 * (share - 0.08))
    assert np.array_equal(still.pixels[:kept], whole[:kept])
    assert np.all(still.pixels[-8:] == 118) or share > 0.85
    assert still.warnings[0].startswith("salvaged from a file that is cut short: the lowest")


def test_salvage_leaves_a_whole_file_alone(tmp_path: Path) -> None:
    path = put(tmp_path, "w.jpg", SAMPLES["a.jpg"])
    assert np.array_equal(read_still(path, salvage=True).pixels, read_still(path).pixels)
    assert read_still(path, salvage=True).warnings == ()


def test_salvage_of_a_progressive_jpeg(tmp_path: Path) -> None:
    path = put(tmp_path, "p.jpg", SAMPLES["p.jpg"][: len(SAMPLES["p.jpg"]) * 7 // 10])
    still = read_still(path, salvage=True)
    assert still.pixels.shape == (96, 128, 3) and still.warnings


def test_end_of_image_is_looked_for_in_the_scan_and_not_in_a_thumbnail() -> None:
    """EXIF thumbnails hold a whole JPEG with its own end marker."""
    thumb = io.BytesIO()
    Image.new("RGB", (8, 8)).save(thumb, "JPEG")
    buffer = io.BytesIO()
    Image.fromarray(picture()).save(buffer, "JPEG", exif=b"Exif\0\0" + b"x" * 50 + thumb.getvalue())
    data = buffer.getvalue()
    assert scan_extent(data)[1] == len(data)
    assert scan_extent(data[:-2])[1] is None
    assert scan_extent(data + b"trailing maker data")[1] == len(data)
    for whole in (data, data + b"trailing maker data", data + data):
        assert header(whole).extra.is_whole
    for cut in (data[:-2], data[:-20]):
        assert not header(cut).extra.is_whole
    with pytest.raises(UnidentifiedImageError):  # ends in an end of image, but not in this picture's
        header(data[: data.index(thumb.getvalue()) + len(thumb.getvalue())])


def test_headers_alone_say_the_same_as_the_whole_file(tmp_path: Path) -> None:
    """Also where they do not fit the first bytes that are read of a JPEG."""
    for name, exif in (("short", 60), ("long", 60_000)):
        buffer = io.BytesIO()
        many = b"".join(b"\xff\xe4" + (60_000).to_bytes(2, "big") + bytes(59_998) for _ in range(5))
        large = np.random.default_rng(0).integers(0, 256, (400, 600, 3), dtype=np.uint8)
        Image.fromarray(large).save(buffer, "JPEG", quality=100, exif=b"Exif\0\0" + b"x" * exif)
        data = buffer.getvalue()
        path = tmp_path / f"{name}.jpg"
        path.write_bytes(data[:2] + (many if name == "long" else b"") + data[2:])
        assert path.stat().st_size > 1 << 18
        assert read_info(path)[0] == read_still(path).pixels.shape[:2] == (400, 600)


def test_a_tiff_and_an_openexr_are_told_of_when_they_change_while_they_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are read bit by bit: what was decoded before is worth nothing."""
    from lookdev.stills import exr, tiff

    for name, module in (("a.tif", tiff), ("a.exr", exr)):
        path = put(tmp_path, name, SAMPLES[name])
        real = module.decode

        def grown(*args: object, path: Path = path, real: object = real, **options: object) -> object:
            decoded = real(*args, **options)  # type: ignore[operator]
            with path.open("ab") as handle:
                handle.write(b"more")
            return decoded

        monkeypatch.setattr(module, "decode", grown)
        assert "the file changed while it was read" in one_line(path)


def test_a_file_gives_no_more_than_it_holds_and_takes_no_memory_for_more(tmp_path: Path) -> None:
    path = put(tmp_path, "a.tif", b"II*\0")
    with open_file.open_file(path) as file:
        assert file.read(1 << 60) == b"II*\0" and file.read(1 << 60) == b""
        file.seek(1)
        assert file.read() == b"I*\0"
