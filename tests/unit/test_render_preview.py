"""Small pictures from stills decoded at reduced scale, through a coarse lattice, against the full road."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000, lab_from_working
from lookdev.colorimetry.encodings import DISPLAY_P3, SRGB
from lookdev.colorimetry.temperature import balance_white_xy, xy_from_cct
from lookdev.jobs.graded import plan_tasks
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.toml_file import load_look
from lookdev.meter.scout import load_scout
from lookdev.render import kernel
from lookdev.render.grader import Output
from lookdev.render.lattice import COARSE, CodeLattice, StillGrader
from lookdev.render.preview import do_preview
from lookdev.render.reference import grade_reference
from lookdev.render.tasks import Task
from lookdev.render.thumbnail import reduced_to_box
from lookdev.stills.reader import read_still
from lookdev.survey.survey import survey

ROOT = Path(__file__).parents[2]
LOOKS = {path.stem: load_look(path) for path in sorted((ROOT / "looks").glob("*.toml"))}
TUNGSTEN = Cast(tuple(xy_from_cct(2850.0)), tuple(balance_white_xy(5600.0)), "a lamp under daylight balance")

Array = NDArray[np.float64]


def difference(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> Array:
    """CIEDE2000 between two sRGB pictures."""
    labs = [lab_from_working(SRGB.to_working(picture / 255.0)) for picture in (one, other)]
    return np.asarray(ciede2000(labs[0], labs[1]))


@pytest.fixture(scope="module")
def large_still(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sample frame at 3000 x 2000 with a camera's noise."""
    frame = cv2.imread(str(min((ROOT / "sample_frames").glob("*.jpg"))))
    large = cv2.resize(frame, (3000, 2000), interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(3).normal(0.0, 2.5, large.shape)
    path = tmp_path_factory.mktemp("still") / "large.jpg"
    pixels = np.clip(large + noise, 0, 255).astype(np.uint8)
    path.write_bytes(cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes())
    return path


@pytest.mark.parametrize("edge", [230, 370])  # decoded at 1/4, with margins of 3.3 and 2.0
def test_a_preview_is_the_small_picture_of_the_whole_still(large_still: Path, edge: int) -> None:
    """Fine detail differs a little, as a decoder weights pixels otherwise; the colour of areas does not."""
    outputs = tuple(Output(look, Path(f"{name}.jpg"), TUNGSTEN) for name, look in LOOKS.items())
    task = Task(large_still, outputs, thumbnail_box=(edge, edge))
    preview, whole = do_preview(task), task.read()
    assert preview.error is None
    small = reduced_to_box(whole.pixels, whole.encoding, task.thumbnail_box)
    transforms = [output.look.transform(SRGB, SRGB, output.cast) for output in outputs]
    wanted = [small, *(grade_reference(small, transform) for transform in transforms)]
    for name, full, picture in zip(
        ["ungraded", *LOOKS], wanted, (preview.as_it_stood, *preview.graded), strict=True
    ):
        assert picture is not None and full.shape == picture.shape
        off = difference(full, picture)
        areas = difference(*(cv2.resize(p, (30, 20), interpolation=cv2.INTER_AREA) for p in (full, picture)))
        numbers = f"mean {off.mean():.3f}, p99 {np.percentile(off, 99):.2f}"
        print(f"{name}: {numbers}; areas: mean {areas.mean():.3f}, max {areas.max():.2f}")
        assert off.mean() <= 0.6 and np.percentile(off, 99) <= 3.0
        assert areas.mean() <= 0.3 and areas.max() <= 2.0


def test_what_is_cut_before_it_is_graded_is_what_would_be_cut_after(large_still: Path) -> None:
    output = Output(LOOKS["slack_water"], Path("a.jpg"), TUNGSTEN)
    task = Task(large_still, (output,), thumbnail_box=(230, 230))
    whole, part = do_preview(task), do_preview(task, lambda pixels: np.ascontiguousarray(pixels[20:90]))
    pairs = ((whole.as_it_stood, part.as_it_stood), (whole.graded[0], part.graded[0]))
    for before, after in pairs:
        assert before is not None and after is not None
        assert np.array_equal(before[20:90], after)


@pytest.mark.parametrize("name", LOOKS)
def test_a_coarse_lattice_is_near_the_look(name: str, tmp_path: Path) -> None:
    """On the sample frames, each with its own reading's balance; both pictures are rounded to 8 bits."""
    tasks = plan_tasks(survey(load_scout(ROOT / "sample_frames")), (LOOKS[name],), tmp_path)
    seen = 0
    for task in tasks.values():
        still = read_still(task.still, max_edge_px=300)
        output = task.outputs[0]
        transform = output.look.transform(still.encoding, SRGB, output.cast, output.exposure_stops)
        if still.pixels.dtype != np.uint8:
            continue
        off = difference(
            StillGrader(still.pixels)(CodeLattice(transform, COARSE)),
            grade_reference(still.pixels, transform),
        )
        numbers = f"mean {off.mean():.3f}, p99 {np.percentile(off, 99):.2f}, max {off.max():.1f}"
        print(f"{name} {task.still.name}: {numbers}")
        assert off.mean() <= 0.2 and np.percentile(off, 99) <= 1.2, task.still.name
        seen += 1
    assert seen


@pytest.mark.parametrize("cast", [None, TUNGSTEN], ids=["alone", "balanced"])
@pytest.mark.parametrize("name", LOOKS)
def test_coarse_nodes_are_the_look_and_halfway_lies_the_mean_of_two(name: str, cast: Cast | None) -> None:
    transform = LOOKS[name].transform(DISPLAY_P3, SRGB, cast)
    codes = np.minimum(np.array([0, 8, 120, 240, 248, 256]), 255).astype(np.uint8)
    at = np.stack(np.meshgrid(codes, codes, codes), axis=-1).reshape(1, -1, 3)
    lattice = CodeLattice(transform, COARSE)
    graded = StillGrader(at)(lattice).astype(int)
    assert np.abs(graded - grade_reference(at, transform)).max() <= 1  # carried on to 256 and back to 255
    inner = (at < 255).all(axis=-1)
    assert np.array_equal(graded[inner], grade_reference(at, transform)[inner])
    middle = StillGrader(np.array([[[124, 120, 124]]], np.uint8))(lattice)[0, 0].astype(int)
    ends = lattice.nodes[15, 15, 15].astype(int) + lattice.nodes[16, 15, 16]
    assert np.array_equal(middle, (ends + (1 << 18)) >> 19)


def test_work_in_pieces_gives_the_same_lattice() -> None:
    """Nodes that one picture needed and those that the next adds."""
    transform = LOOKS["slack_water"].transform(SRGB, SRGB, TUNGSTEN)
    pixels = np.random.default_rng(4).integers(0, 256, (40, 100, 3), dtype=np.uint8)
    once, twice = CodeLattice(transform, COARSE), CodeLattice(transform, COARSE)
    wanted = StillGrader(pixels)(once)
    for part in (pixels[:7], pixels[7:]):
        StillGrader(part)(twice)
    assert np.array_equal(StillGrader(pixels)(twice), wanted)
    assert np.array_equal(once.nodes, twice.nodes)


def test_a_look_that_changes_nothing_changes_nothing() -> None:
    pixels = np.random.default_rng(5).integers(0, 256, (9, 9, 3), dtype=np.uint8)
    lattice = CodeLattice(Look(title="nothing").transform(SRGB, SRGB), COARSE)
    assert np.array_equal(StillGrader(pixels)(lattice), pixels)
    assert not lattice.is_exact(kernel.packed(pixels.reshape(-1, 3))).any()
