"""Files that would take the machine's time or memory: size and kind are looked at before they are read."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from hostile.guard import no_hang
from PIL import Image
from still_files import exif_block, picture

from lookdev.errors import StillError
from lookdev.stills import jpeg
from lookdev.stills.reader import read_info, read_still


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def coded(**options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(picture(240, 320)).save(out, "JPEG", quality=90, **options)
    return out.getvalue()


@pytest.mark.parametrize("where", ["first", "before the scan", "between the tables"])
def test_twenty_megabytes_of_fill_bytes(tmp_path: Path, where: str) -> None:
    """T.81 B.1.1.2 allows fill bytes before any marker; the picture and its tags are read all the same."""
    data = coded(exif=exif_block({0x0110: "Tin"}))
    starts = [start for _, start, _ in jpeg.segments(data)]
    at = {"first": 2, "before the scan": jpeg.header_end(data), "between the tables": starts[3]}[where]
    path = put(tmp_path, "f.jpg", data[:at] + b"\xff" * 20_000_000 + data[at:])
    calls = counted_reads(path)
    still = read_still(path)
    assert calls() < 200_000
    assert still.metadata.camera == "Tin"
    assert np.array_equal(still.pixels, read_still(put(tmp_path, "g.jpg", data)).pixels)
    assert read_info(path)[0] == (240, 320)


def counted_reads(path: Path):
    """How often Pillow asks for bytes of the file's header: no timing, and a byte at a time shows."""
    from unittest.mock import patch

    count = 0

    class Counting(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            nonlocal count
            count += 1
            return super().read(size)

    with patch.object(jpeg.io, "BytesIO", Counting):
        jpeg.header(path.read_bytes())
    return lambda: count


@pytest.mark.parametrize("end", [True, False])
def test_nothing_but_fill_bytes(tmp_path: Path, end: bool) -> None:
    with no_hang(), pytest.raises(StillError) as caught:
        read_still(put(tmp_path, "f.jpg", b"\xff\xd8" + b"\xff" * 20_000_000 + (b"\xff\xd9" if end else b"")))
    assert "f.jpg" in str(caught.value)


def test_four_hundred_scans(tmp_path: Path) -> None:
    """Each scan is a pass over the whole picture: refused by count, before the first is decoded."""
    data = coded(progressive=True)
    last = [(start, end) for code, start, end in jpeg.segments(data) if code == 0xDA][-1][0]
    scan = data[last:-2]
    path = put(tmp_path, "s.jpg", data[:-2] + scan * 400 + b"\xff\xd9")
    with pytest.raises(StillError, match="too many scans") as caught:
        read_still(path)
    assert "s.jpg" in str(caught.value) and "more than 64" in str(caught.value)
    with pytest.raises(StillError, match="too many scans"):
        read_still(path, salvage=True)
    read_still(put(tmp_path, "t.jpg", data))


# Size and kind before a byte more than the first is read


def sparse(path: Path, size: int, head: bytes = b"") -> Path:
    with path.open("wb") as handle:
        handle.write(head)
        handle.truncate(size)
    return path


def bytes_asked_for(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """What the reader asked its files for, by the one function through which it reads."""
    from lookdev.stills.open_file import OpenFile

    asked: list[int] = []
    real = OpenFile.read

    def counted(self: OpenFile, size: int | None = -1) -> bytes:
        data = real(self, size)
        asked.append(len(data))
        return data

    monkeypatch.setattr(OpenFile, "read", counted)
    return asked


TIFF_HEAD = b"II*\0\x08\0\0\0\0\0\0\0\0\0"


@pytest.mark.parametrize(
    ("name", "size", "head", "words"),
    [
        ("disk.raw", 40_000_000_000, b"", "too large for a still"),
        ("disk.raw", 500_000_000, b"\xeb\x3c\x90", "not a raw file that can be read"),
        ("disk.img.raw", 500_000_000, b"\xeb\x3c\x90", "not a raw file that can be read"),
        ("sparse.tif", 3_000_000_000, TIFF_HEAD, "too large for a still"),
        ("film.jpg", 5_000_000_000, b"\xff\xd8\xff\xe0", "too large for a still"),
        ("film.png", 5_000_000_000, b"\x89PNG\r\n\x1a\n", "too large for a still"),
        ("film.heic", 500_000_000, b"\0\0\0\x18ftypisom", "not a still that can be read"),
        ("nothing.jpg", 5_000_000_000, b"", "not a still that can be read"),
    ],
)
def test_size_and_kind_are_looked_at_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, size: int, head: bytes, words: str
) -> None:
    path = sparse(tmp_path / name, size, head)
    asked = bytes_asked_for(monkeypatch)
    for read in (read_still, read_info):
        with pytest.raises(StillError) as caught:
            read(path)
        assert words in str(caught.value) and name in str(caught.value)
    assert max(asked) <= 1 << 18


def test_a_disk_image_does_not_end_the_batch(tmp_path: Path) -> None:
    from typer.testing import CliRunner

    from lookdev.cli.main import app

    scout = tmp_path / "scout"
    scout.mkdir()
    sparse(scout / "card.raw", 40_000_000_000)
    sparse(scout / "sparse.tif", 3_000_000_000, TIFF_HEAD)
    put(scout, "good.jpg", coded())
    (scout / "meter.csv").write_text("stills,location,cct_k,camera_balance_k\n*,Quay,3200,5600\n")
    look = put(tmp_path, "plain.toml", b'title = "Plain"\n')
    out = tmp_path / "out"
    result = CliRunner().invoke(app, ["batch", str(scout), "--looks", str(look), "--out", str(out)])
    assert result.exit_code == 1
    assert "card.raw" in result.output and "sparse.tif" in result.output
    assert [path.name for path in out.rglob("*__plain.jpg")] == ["good__plain.jpg"]


# Bytes in flight


def test_stills_in_hand_stay_within_the_bound() -> None:
    """Eight threads with stills of all sizes: what is held together is within the bound, or is one still."""
    import threading

    from lookdev.render.in_flight import BytesInFlight

    gate, lock = BytesInFlight(1000), threading.Lock()
    held: dict[int, int] = {}
    wrong: list[list[int]] = []

    def work(number: int) -> None:
        sizes = np.random.default_rng(number).integers(1, 1500, 60)
        for turn, size in enumerate(sizes.tolist()):
            with gate.place() as place:
                place.take(size)
                with lock:
                    held[number * 100 + turn] = size
                    if sum(held.values()) > 1000 and len(held) > 1:
                        wrong.append(list(held.values()))
                with lock:
                    del held[number * 100 + turn]

    threads = [threading.Thread(target=work, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_large_stills_of_a_batch_take_their_turns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four 16-bit RGBA TIFFs, four workers, and a bound that holds one."""
    import threading

    import tifffile

    from lookdev.looks.model import Look
    from lookdev.render import in_flight, tasks
    from lookdev.render.executor import run_tasks
    from lookdev.render.grader import Output
    from lookdev.render.tasks import Task

    stills = []
    for n in range(4):
        rgba = np.dstack([picture(200, 300, seed=n, bits=16), np.full((200, 300), 65535, np.uint16)])
        path = tmp_path / f"{n}.tif"
        tifffile.imwrite(path, rgba, photometric="rgb", extrasamples=["unassalpha"], metadata=None)
        stills.append(path)
    estimate = 200 * 300 * (2 * 8 + 6)  # the file itself is never in memory
    gate = in_flight.BytesInFlight(estimate + estimate // 2)
    monkeypatch.setattr(tasks, "IN_FLIGHT", gate)
    lock, inside, most = threading.Lock(), 0, 0
    real = tasks._Work._grade

    def watched(self: object, *args: object) -> None:
        nonlocal inside, most
        with lock:
            inside += 1
            most = max(most, inside)
        try:
            real(self, *args)  # type: ignore[arg-type]
        finally:
            with lock:
                inside -= 1

    monkeypatch.setattr(tasks._Work, "_grade", watched)
    work = [Task(p, (Output(Look(title="x"), tmp_path / "o" / f"{p.stem}.png"),)) for p in stills]
    results = run_tasks(work, state=tmp_path / "o" / ".lookdev", workers=4)
    assert all(result.ok for result in results) and most == 1


def test_a_still_that_no_memory_holds_is_refused_by_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from lookdev.render import in_flight
    from lookdev.render.tasks import Task, do_task

    monkeypatch.setattr(in_flight, "machine_bytes", lambda: 100_000)
    result = do_task(Task(put(tmp_path, "a.jpg", coded())))
    assert result.error is not None
    assert "a.jpg" in result.error and "more memory than there is" in result.error


# Text that would take for ever


@pytest.mark.parametrize("words", ["1e99999999", "1/1e99999999", "1e-99999999", "9" * 100_000, "1/0", "nan"])
def test_a_shutter_that_is_no_time(tmp_path: Path, words: str) -> None:
    from lookdev.errors import MeterError
    from lookdev.meter.scout import load_scout

    put(tmp_path, "scout.toml", f'[plan]\nshutter_s = "{words}"\n'.encode())
    with no_hang(), pytest.raises(MeterError, match="shutter_s"):
        load_scout(tmp_path)


def test_a_log_of_a_million_rows(tmp_path: Path) -> None:
    from lookdev.errors import MeterError
    from lookdev.meter.log import read_meter_log

    rows = b"stills,location,cct_k\n" + b"a.jpg,Q,1\n" * 1_000_000
    with no_hang(), pytest.raises(MeterError) as caught:
        read_meter_log(put(tmp_path, "meter.csv", rows))
    assert "meter.csv" in str(caught.value) and "1000001 lines" in str(caught.value)
    assert len(read_meter_log(put(tmp_path, "meter.csv", rows[: 22 + 10 * 2000])).readings) <= 2000


def test_a_pipe_as_journal(tmp_path: Path) -> None:
    """Opening a pipe that nobody writes to would wait for ever: an alarm ends the test if it does."""
    import os
    import signal

    from lookdev.errors import LookdevError
    from lookdev.render.journal import open_journal

    os.mkfifo(tmp_path / "journal.jsonl")
    signal.alarm(60)
    try:
        with pytest.raises(LookdevError, match=r"journal\.jsonl"), open_journal(tmp_path, keep=True):
            pass
    finally:
        signal.alarm(0)
