"""Tasks, their results, and the journal."""

from __future__ import annotations

import hashlib
import io
import os
import pickle
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from lookdev.colorimetry.encodings import DISPLAY_P3, SRGB, Encoding
from lookdev.errors import LookdevError
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.render import tasks as tasks_module
from lookdev.render.grader import Output
from lookdev.render.journal import Record, content_key, folder_lock, open_journal, sweep_parts
from lookdev.render.reference import grade_reference
from lookdev.render.tasks import Task, do_task, output_key
from lookdev.render.thumbnail import reduced_to_box
from lookdev.stills.reader import read_still
from lookdev.stills.still import Metadata, code_values, signal_of
from lookdev.stills.writer import write_still

LOOK = Look.model_validate({"title": "cold", "exposure": {"stops": -0.5}, "colour": {"saturation": 0.4}})
PLAIN = Look.model_validate({"title": "plain"})


def averaged(pixels: np.ndarray, encoding: Encoding, size: tuple[int, int]) -> np.ndarray:
    """Area average of the light, in one go, to ``size`` (height, width)."""
    light = np.asarray(encoding.decode(signal_of(pixels)))
    small = cv2.resize(light, size[::-1], interpolation=cv2.INTER_AREA)
    return code_values(encoding.encode(small), pixels.dtype)


@pytest.fixture
def still(tmp_path: Path) -> Path:
    pixels = np.random.default_rng(3).integers(0, 256, (12, 18, 3)).astype(np.uint8)
    path = tmp_path / "still.png"
    large = np.repeat(np.repeat(pixels, 20, 0), 20, 1)
    write_still(path, large, DISPLAY_P3, metadata=Metadata(camera="Box", iso=400.0))
    return path


def task_of(still: Path, out: Path, **options: object) -> Task:
    outputs = (
        Output(LOOK, out / "cold.png", **options),
        Output(PLAIN, out / "plain.png", **options),
        Output(LOOK, out / "cold.jpg", target=SRGB, quality=95),
    )
    return Task(still, outputs, thumbnails=out / "small", thumbnail_box=(90, 90))


def test_a_task_pickles_and_gives_the_same_in_another_life(still: Path, tmp_path: Path) -> None:
    cast = Cast((0.45, 0.41), (0.3127, 0.329), "metered")
    task = task_of(still, tmp_path / "one", cast=cast, exposure_stops=0.25)
    one = do_task(task)
    again = do_task(pickle.loads(pickle.dumps(task)))
    assert one.ok
    assert [o.sha256 for o in one.outputs] == [o.sha256 for o in again.outputs]
    assert pickle.loads(pickle.dumps(one)) == one


def test_outputs_are_what_the_reference_gives_in_the_stills_own_encoding(still: Path, tmp_path: Path) -> None:
    result = do_task(task_of(still, tmp_path))
    source = read_still(still)
    written = read_still(tmp_path / "cold.png")
    assert written.encoding.name == "Display P3"
    assert written.metadata.camera == "Box"
    expected = grade_reference(source.pixels, LOOK.transform(source.encoding, source.encoding))
    assert np.abs(written.pixels.astype(int) - expected).max() <= 1
    assert np.array_equal(read_still(tmp_path / "plain.png").pixels, source.pixels)
    for output in result.outputs:
        assert output.sha256 == hashlib.sha256(output.path.read_bytes()).hexdigest()


def test_the_exact_path_is_the_reference_to_the_bit(still: Path, tmp_path: Path) -> None:
    assert do_task(replace(task_of(still, tmp_path, bits=16), exact=True)).ok
    source = read_still(still)
    expected = grade_reference(source.pixels, LOOK.transform(source.encoding, source.encoding), bits=16)
    assert np.array_equal(read_still(tmp_path / "cold.png").pixels, expected)


@pytest.mark.parametrize("bits", [8, 16])
def test_fast_and_exact_path_agree(still: Path, tmp_path: Path, bits: int) -> None:
    do_task(task_of(still, tmp_path / "fast", bits=bits))
    do_task(replace(task_of(still, tmp_path / "exact", bits=bits), exact=True))
    for name in ("cold.png", "plain.png"):
        fast, exact = (read_still(tmp_path / way / name).pixels.astype(int) for way in ("fast", "exact"))
        assert np.abs(fast - exact).max() <= (1 if bits == 8 else 300)


@pytest.mark.parametrize("box", [(90, 90), (720, 480)], ids=["smaller", "its own thumbnail"])
def test_looks_that_share_a_lattice_come_out_as_each_alone(tmp_path: Path, box: tuple[int, int]) -> None:
    """Five looks of a 16-bit still, in 8 and 16 bits, with thumbnails, which a small still is itself."""
    pixels = np.random.default_rng(4).integers(0, 65536, (120, 180, 3)).astype(np.uint16)
    still = tmp_path / "still.tif"
    write_still(still, pixels, SRGB)
    looks = [LOOK.model_copy(update={"strength": share}) for share in (1.0, 0.8, 0.6, 0.4, 0.2)]
    bits = (8, 8, 16, 8, 8, 8)
    looks = [*looks, PLAIN]

    def graded(folder: Path, which: list[int]) -> dict[int, tuple[str | None, str | None]]:
        outputs = tuple(Output(looks[i], folder / f"{i}.png", bits=bits[i]) for i in which)
        result = do_task(Task(still, outputs, thumbnails=folder / "small", thumbnail_box=box))
        assert result.ok, result.errors
        done = zip(which, result.outputs, strict=True)
        return {i: (output.sha256, output.thumbnail_sha256) for i, output in done}

    together = graded(tmp_path / "all", list(range(6)))
    alone = {i: graded(tmp_path / str(i), [i])[i] for i in range(6)}
    assert together == alone
    assert len({sha256 for sha256, _ in together.values()}) == 6
    assert read_still(tmp_path / "all" / "2.png").pixels.dtype == np.uint16


def test_a_jpeg_carries_profile_and_settings(still: Path, tmp_path: Path) -> None:
    do_task(task_of(still, tmp_path))
    data = (tmp_path / "cold.jpg").read_bytes()
    image = Image.open(io.BytesIO(data))
    assert image.info["icc_profile"]
    assert image.getexif()[0x0110] == "Box"
    assert image.getexif()[0x0112] == 1
    assert image.size == (360, 240)
    assert read_still(tmp_path / "cold.jpg").encoding.name == "sRGB"


@pytest.mark.parametrize(("text", "layers"), [("4:4:4", (1, 1)), ("4:2:2", (2, 1)), ("4:2:0", (2, 2))])
def test_chroma_subsampling_is_as_asked(
    still: Path, tmp_path: Path, text: str, layers: tuple[int, int]
) -> None:
    output = Output(PLAIN, tmp_path / "a.jpg", target=SRGB, subsampling=text)
    assert do_task(Task(still, (output,))).ok
    image = Image.open(tmp_path / "a.jpg")
    assert image.layer[0][1:3] == layers  # type: ignore[attr-defined]


def test_thumbnails_fit_the_box_and_show_the_still_as_it_stood(still: Path, tmp_path: Path) -> None:
    result = do_task(task_of(still, tmp_path))
    assert result.as_it_stood is not None
    stood = read_still(result.as_it_stood)
    assert stood.pixels.shape == (60, 90, 3)
    small = averaged(read_still(still).pixels, DISPLAY_P3, (60, 90))
    expected = grade_reference(small, PLAIN.transform(DISPLAY_P3, SRGB))
    assert np.abs(stood.pixels.astype(int) - expected).mean() < 3
    assert len({output.thumbnail for output in result.outputs}) == 3


def test_sheets_alone_write_thumbnails_alone(still: Path, tmp_path: Path) -> None:
    result = do_task(replace(task_of(still, tmp_path / "out"), write_stills=False))
    assert result.ok
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"small"}
    assert all(o.thumbnail is not None and o.thumbnail.exists() for o in result.outputs)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32])
@pytest.mark.parametrize("box", [(100, 100), (31, 500), (400, 400)])
def test_reduction_is_the_readers_up_to_whole_blocks(dtype: type, box: tuple[int, int]) -> None:
    y, x = np.mgrid[0:301, 0:403]
    signal = np.stack([x / 402, y / 300, (x + y) / 702], axis=-1)
    top = {np.uint8: 255, np.uint16: 65535}.get(dtype, 1)
    pixels = np.asarray(signal * top, dtype=dtype)
    small = reduced_to_box(pixels, SRGB, box)
    scale = min(box[0] / 403, box[1] / 301)
    assert small.shape[:2] == (round(301 * scale), round(403 * scale))
    other = averaged(pixels, SRGB, small.shape[:2])
    assert np.abs(small / top - other / top).max() < 0.03


def test_bad_stills_and_bad_places_are_lines(tmp_path: Path, still: Path) -> None:
    gone = do_task(Task(tmp_path / "gone.jpg", (Output(LOOK, tmp_path / "a.jpg"),)))
    assert gone.errors == [f"{tmp_path / 'gone.jpg'}: cannot be read: No such file or directory"]
    wrong = do_task(Task(still, (Output(LOOK, tmp_path / "a.gif"), Output(LOOK, tmp_path / "a.png"))))
    assert len(wrong.errors) == 1
    assert wrong.outputs[1].error is None


def test_a_fault_of_ours_is_a_line_too(still: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("oh\nno")

    monkeypatch.setattr(tasks_module, "_thumbnail_paths", broken)
    (line,) = do_task(Task(still, ())).errors
    assert "a fault in lookdev" in line
    assert "ZeroDivisionError" in line
    assert "\n" not in line


@pytest.mark.parametrize(
    "change",
    [
        {"look": PLAIN},
        {"cast": Cast((0.4, 0.4), (0.31, 0.33))},
        {"exposure_stops": 0.1},
        {"target": SRGB},
        {"bits": 16},
        {"quality": 91},
        {"subsampling": "4:2:0"},
        {"path": Path("a.tif")},
    ],
)
def test_the_key_knows_every_option(change: dict[str, object]) -> None:
    output = Output(LOOK, Path("a.jpg"))
    task = Task(Path("still.jpg"), (output,))
    key = output_key("0" * 64, output, task)
    assert output_key("0" * 64, replace(output, **change), task) != key  # type: ignore[arg-type]
    assert output_key("1" * 64, output, task) != key
    assert output_key("0" * 64, output, replace(task, exact=True)) != key
    assert output_key("0" * 64, replace(output, path=Path("elsewhere/b.jpg")), task) == key


def test_the_title_of_a_look_is_no_part_of_the_key() -> None:
    other = LOOK.model_copy(update={"title": "another name"})
    task = Task(Path("still.jpg"))
    keys = {output_key("0" * 64, Output(look, Path("a.jpg")), task) for look in (LOOK, other)}
    assert len(keys) == 1


def test_keys_are_of_content_alone() -> None:
    assert content_key(1, "a", [2.5, None]) == content_key(1, "a", (2.5, None))
    assert content_key("1") != content_key(1)
    assert content_key("ab", "c") != content_key("a", "bc")
    with pytest.raises(TypeError, match="no key"):
        content_key(object())


def test_a_journal_survives_a_torn_line_and_a_moved_folder(tmp_path: Path) -> None:
    state = tmp_path / "out" / ".lookdev"
    state.mkdir(parents=True)
    inside, outside = tmp_path / "out" / "a.jpg", tmp_path / "b.jpg"
    with open_journal(state, keep=False) as journal:
        journal.add([Record(journal.name(path), "k", "s", {"n": 1}) for path in (inside, outside)])
    with (state / "journal.jsonl").open("a") as handle:
        handle.write('{"path": "torn')
    moved = (tmp_path / "out").rename(tmp_path / "moved")
    with open_journal(moved / ".lookdev", keep=True) as journal:
        journal.add([Record("c.jpg", "k", "s")])
    with open_journal(moved / ".lookdev", keep=True) as journal:
        found = journal.records_for([moved / "a.jpg", outside, moved / "c.jpg", moved / "torn"])
    assert sorted(Path(path).name for path in found) == ["a.jpg", "b.jpg", "c.jpg"]
    assert found[str(moved / "a.jpg")].facts == {"n": 1}
    with open_journal(moved / ".lookdev", keep=False) as journal:
        assert journal.records_for([moved / "a.jpg"]) == {}


def test_a_state_folder_that_cannot_be_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with (
        pytest.raises(LookdevError, match="output folder is a file"),
        folder_lock(tmp_path / "file" / ".lookdev"),
    ):
        pass


def test_half_written_files_are_swept_and_nothing_else(tmp_path: Path) -> None:
    names = [".a.jpg.123.part", "a.jpg", ".hidden", "b.part", ".c.part"]
    for name in names:
        (tmp_path / name).write_text("")
    sweep_parts([tmp_path, tmp_path / "none"])
    assert {path.name for path in tmp_path.iterdir()} == set(names[1:])


@pytest.mark.parametrize("loaded", [True, False])
def test_opencv_works_in_the_thread_that_calls_it(loaded: bool) -> None:
    """Whether it was loaded before the batch, or comes to be within it; afterwards it is as it was."""
    code = (
        "import os, sys; from lookdev.render.executor import _alone_in_opencv\n"
        f"if {loaded}: import cv2; cv2.setNumThreads(3)\n"
        "with _alone_in_opencv():\n    import cv2; assert cv2.getNumThreads() == 1\n"
        f"assert cv2.getNumThreads() == (3 if {loaded} else cv2.getNumberOfCPUs())\n"
        "assert 'OPENCV_FOR_THREADS_NUM' not in os.environ\n"
    )
    outer = {k: v for k, v in os.environ.items() if k != "OPENCV_FOR_THREADS_NUM"}
    subprocess.run([sys.executable, "-c", code], check=True, env=outer)
