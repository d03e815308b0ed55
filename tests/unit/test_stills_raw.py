"""Camera raw through LibRaw: DNG files made here, whose scene light is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from still_files import COLOR_MATRIX, dng

from lookdev.colorimetry.adaptation import adaptation_matrix, xy_from_xyz, xyz_from_xy
from lookdev.colorimetry.rgb_spaces import D65_XY, WORKING
from lookdev.colorimetry.temperature import daylight_xy, xy_from_cct
from lookdev.stills.dng import DngColour
from lookdev.stills.reader import read_info, read_still
from lookdev.stills.still import Still

NEUTRAL = np.array([0.5, 1.0, 0.66])


def put(folder: Path, camera: np.ndarray, **options: object) -> Path:
    path = folder / "a.dng"
    path.write_bytes(dng(camera, **options))
    return path


def flat(camera: np.ndarray, height: int = 40, width: int = 60) -> np.ndarray:
    return np.ones((height, width, 3)) * camera


def light(still: Still, row: int = 20, column: int = 20) -> np.ndarray:
    return still.encoding.to_working(still.signal()[row, column])


def test_grey_card_at_the_saturation_based_exposure_is_mid_grey(tmp_path: Path) -> None:
    """ISO 12232:2019: an 18 % card at 18 % / sqrt 2 of saturation."""
    still = read_still(put(tmp_path, flat(NEUTRAL * 0.18 / np.sqrt(2))))
    assert still.pixels.dtype == np.uint16 and still.encoding.state == "scene"
    assert light(still) == pytest.approx([0.18] * 3, abs=2e-4)
    assert still.warnings == ()


def test_no_brightening_by_what_the_picture_holds(tmp_path: Path) -> None:
    dark = read_still(put(tmp_path, flat(NEUTRAL * 0.01)))
    mixed = flat(NEUTRAL * 0.01)
    mixed[:, 30:] = 1.0
    beside = read_still(put(tmp_path, mixed))
    assert np.array_equal(dark.pixels[20, 10], beside.pixels[20, 10])
    assert light(dark, 20, 10) == pytest.approx([0.01 * np.sqrt(2)] * 3, abs=2e-4)


def test_baseline_exposure_counts_in_stops(tmp_path: Path) -> None:
    """DNG 1.7, BaselineExposure (50730)."""
    plain = light(read_still(put(tmp_path, flat(NEUTRAL * 0.1))))
    lifted = light(read_still(put(tmp_path, flat(NEUTRAL * 0.1), baseline=0.5)))
    assert lifted == pytest.approx(plain * 2**0.5, rel=1e-6)


def test_blown_highlights_are_neutral(tmp_path: Path) -> None:
    still = read_still(put(tmp_path, flat(np.ones(3))))
    assert light(still) == pytest.approx([np.sqrt(2)] * 3, rel=1e-4)
    partly = read_still(put(tmp_path, flat(np.array([0.6, 1.0, 0.8]))))  # green clipped, red and blue not
    rgb = light(partly)
    assert rgb.max() - rgb.min() < 1e-3 * rgb.max()


def test_metered_lamp_shows_where_the_balance_expects_it(tmp_path: Path) -> None:
    """Bradford from the camera's white to D65, applied to the lamp (the balance stage's own model)."""
    lamp, camera = xy_from_cct(2800, 0.004), daylight_xy(5200)
    neutral = COLOR_MATRIX @ xyz_from_xy(camera)
    still = read_still(
        put(tmp_path, flat(COLOR_MATRIX @ xyz_from_xy(lamp) * 0.1), neutral=neutral / neutral[1])
    )
    assert still.metadata.camera_balance_xy == pytest.approx(tuple(camera), abs=1e-4)
    assert still.metadata.camera_balance_k == pytest.approx(5200, abs=10)
    shown = xy_from_xyz(WORKING.to_xyz @ light(still))
    wanted = xy_from_xyz(adaptation_matrix(camera, D65_XY) @ xyz_from_xy(lamp))
    assert shown == pytest.approx(wanted, abs=2e-4)


def test_balance_from_a_reading(tmp_path: Path) -> None:
    lamp = xy_from_cct(3000)
    path = put(tmp_path, flat(COLOR_MATRIX @ xyz_from_xy(lamp) * 0.2))
    still = read_still(path, balance_xy=(float(lamp[0]), float(lamp[1])))
    rgb = light(still)
    assert rgb == pytest.approx([rgb[1]] * 3, rel=1e-3)
    assert still.metadata.camera_balance_k == pytest.approx(3000, abs=2)
    assert still.metadata.origins["camera_balance_k"] == "given by the caller"
    assert "developed for white" in still.encoding_origin


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_orientation_is_applied_once(tmp_path: Path, orientation: int) -> None:
    camera = flat(NEUTRAL * 0.05)
    camera[:16, :16] = NEUTRAL * 0.8
    path = put(tmp_path, camera, orientation=orientation)
    still = read_still(path)
    height, width = still.pixels.shape[:2]
    assert (height, width) == ((60, 40) if orientation >= 5 else (40, 60)) == read_info(path)[0]
    corner = {1: (4, 4), 3: (-5, -5), 6: (4, -5), 8: (-5, 4)}[orientation]
    bright = still.pixels[..., 1].astype(float)
    assert bright[corner] > 0.7 * bright.max() and np.mean(bright > 0.5 * bright.max()) < 0.2


def test_settings(tmp_path: Path) -> None:
    meta = read_still(put(tmp_path, flat(NEUTRAL * 0.1))).metadata
    assert (meta.camera, meta.f_number, meta.iso) == ("Tin Box 3", 4.0, 800)
    assert meta.exposure_time_s == pytest.approx(0.02)
    assert meta.origins["camera_balance_xy"] == "raw file, as-shot neutral"


def test_dng_named_tif_is_still_raw(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    path.write_bytes(dng(flat(NEUTRAL * 0.1)))
    still = read_still(path)
    assert still.encoding.state == "scene"
    assert still.warnings[0] == "named .tif, but it is raw: read as raw"


def test_small_pictures_are_made_of_mosaic_cells(tmp_path: Path) -> None:
    path = put(tmp_path, flat(NEUTRAL * 0.18 / np.sqrt(2), 80, 120), orientation=6)
    small = read_still(path, max_edge_px=30)
    assert small.pixels.shape == (30, 20, 3) and small.full_size == (120, 80)
    assert light(small, 10, 10) == pytest.approx([0.18] * 3, abs=2e-4)


# Two illuminants (DNG 1.7.1 chapter 6). Matrices, neutrals and results from the documentation of colour-hdri
# 0.2.6 (matrix_XYZ_to_camera_space, camera_neutral_to_xy), whose illuminants are 2850 K and 6500 K.
WARM = np.array([[0.5309, -0.0229, -0.0336], [-0.6241, 1.3265, 0.3337], [-0.0817, 0.1215, 0.6664]])
COLD = np.array([[0.4716, 0.0603, -0.0830], [-0.7798, 1.5474, 0.2480], [-0.1496, 0.1937, 0.6651]])
BETWEEN = np.array(
    [
        [0.4854908, 0.0408106, -0.0714282],
        [-0.7433278, 1.4956549, 0.2680749],
        [-0.1336946, 0.1767874, 0.6654045],
    ]
)
TWO = ((17, WARM), (21, COLD))


def test_matrix_between_two_illuminants_as_published() -> None:
    """Within the difference of two ways to the colour temperature (Robertson's there, Ohno's here)."""
    colour = DngColour((2850.0, 6500.0), (WARM, COLD))
    assert colour.camera_from_xyz((0.34510414, 0.35162252)) == pytest.approx(BETWEEN, abs=3e-4)
    assert colour.white_of_neutral(np.array([0.413070, 1.0, 0.646465])) == pytest.approx(
        (0.3281624, 0.3469816), abs=2e-4
    )


@pytest.mark.parametrize("order", [TWO, TWO[::-1]])
def test_as_shot_white_of_a_dng_with_two_illuminants(tmp_path: Path, order: tuple) -> None:
    still = read_still(put(tmp_path, flat(NEUTRAL * 0.1), neutral=(0.413070, 1.0, 0.646465), matrices=order))
    assert still.metadata.camera_balance_xy == pytest.approx((0.3281624, 0.3469816), abs=3e-4)


@pytest.mark.parametrize(
    ("kelvin", "share"), [(2000, 1.0), (2850, 1.0), (4000, None), (6500, 0.0), (9000, 0.0)]
)
def test_developed_for_the_light_that_was_metered(tmp_path: Path, kelvin: float, share: float | None) -> None:
    """A lamp, seen by the camera through the matrix of its own light, is where the balance expects it."""
    lamp = xy_from_cct(kelvin) if kelvin < 5000 else daylight_xy(kelvin)
    if share is None:
        share = (1 / kelvin - 1 / 6500) / (1 / 2850 - 1 / 6500)
    matrix = share * WARM + (1 - share) * COLD
    card = matrix @ xyz_from_xy(lamp)
    path = put(tmp_path, flat(card / card.max() * 0.2), neutral=(0.45, 1.0, 0.6), matrices=TWO)
    told = (float(lamp[0]), float(lamp[1]))
    still = read_still(path, light_xy=told)
    camera = still.metadata.camera_balance_xy
    assert camera is not None and camera == read_info(path, light_xy=told)[1].camera_balance_xy
    shown = xy_from_xyz(WORKING.to_xyz @ light(still))
    wanted = xy_from_xyz(adaptation_matrix(camera, D65_XY) @ xyz_from_xy(lamp))
    assert shown == pytest.approx(wanted, abs=3e-4)
    balanced = light(read_still(path, balance_xy=told))
    a_code = card.max() / card.min() / 0.2 / (16383 - 512)  # of the sensor, in its weakest channel
    assert balanced == pytest.approx([balanced[1]] * 3, rel=max(1e-3, a_code))


def test_one_matrix_for_all_lights_would_be_off(tmp_path: Path) -> None:
    """What the interpolation is for: under a lamp the daylight matrix alone shows another colour."""
    lamp = xy_from_cct(2850)
    card = WARM @ xyz_from_xy(lamp)
    path = put(tmp_path, flat(card / card.max() * 0.2), matrices=TWO)
    told = (float(lamp[0]), float(lamp[1]))
    by_light, by_camera = (
        xy_from_xyz(WORKING.to_xyz @ light(read_still(path, **o))) for o in ({"light_xy": told}, {})
    )
    assert np.abs(by_light - by_camera).max() > 0.003


def test_a_batch_develops_for_its_reading(tmp_path: Path) -> None:
    from lookdev.jobs.graded import plan_tasks
    from lookdev.looks.model import Look
    from lookdev.meter.scout import load_scout
    from lookdev.survey.survey import survey

    put(tmp_path, flat(NEUTRAL * 0.1), matrices=TWO)
    (tmp_path / "meter.csv").write_text("stills,location,cct_k\na.dng,Quay,2850\n")
    surveyed = survey(load_scout(tmp_path))
    light_xy = plan_tasks(surveyed, (Look(title="x"),), tmp_path.parent / "out")["a.dng"].light_xy
    assert light_xy == pytest.approx(tuple(xy_from_cct(2850)), abs=1e-3)
    cast = surveyed.stills[0].cast
    read = read_still(tmp_path / "a.dng", light_xy=light_xy)
    assert cast is not None and cast.camera_xy == read.metadata.camera_balance_xy


@pytest.mark.parametrize("surface", [(1.0, 1.0, 1.0), (1.6, 0.8, 0.5), (0.7, 1.0, 1.6)])
def test_past_clipping_colour_fades_and_a_grey_stays_grey(
    tmp_path: Path, surface: tuple[float, float, float]
) -> None:
    """Every half stop from 3 under to 4 over the first channel's clipping: chroma over lightness only falls.

    LibRaw's other modes, tried here: unclipped channels kept make a grey magenta; its reconstruction takes
    neighbours into account and turns this orange by 50 degrees (DEVELOPERS.md has the numbers).
    """
    from lookdev.colorimetry.oklab import oklab_from_working

    stops, width = np.arange(-3, 4.01, 0.5), 24
    top = np.array(surface) * NEUTRAL / (np.array(surface) * NEUTRAL).max()
    ramp = np.clip(np.repeat(2.0**stops, width)[None, :, None] * top, 0, 1) * np.ones((48, 1, 1))
    still = read_still(put(tmp_path, ramp, neutral=tuple(NEUTRAL)))
    lab = oklab_from_working(still.encoding.to_working(still.signal()))[24, width // 2 :: width]
    share = np.hypot(lab[:, 1], lab[:, 2]) / lab[:, 0]
    assert (np.diff(share) < 1e-3).all()
    assert share[-1] < 1e-3
    assert (np.diff(lab[:, 0]) > -0.015).all()
