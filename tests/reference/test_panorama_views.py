"""Views of a panorama against a ray-traced pair: one room as an equirectangular picture and by a pinhole.

The room is traced here, analytically: each ray meets a wall of a box, whose paint is a function of the place.
Both pictures are means of rays over each pixel. The equirectangular projection is the one of GPano
(ProjectionType "equirectangular", Photo Sphere XMP metadata); the pinhole that of any textbook on projective
geometry. Bounds as asked for: a mean CIEDE2000 under 1.0 away from edges, lines straight within 0.5 px.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import StillError
from lookdev.lut.error import appearance
from lookdev.stills.part import View
from lookdev.stills.reader import read_info, read_still
from lookdev.stills.still import Metadata, code_values
from lookdev.stills.writer import write_still

WALLS = (
    np.array([-3.1, -1.6, -2.3]),
    np.array([2.4, 1.9, 4.2]),
)  # x right, y down, z ahead; metres from the eye
LINE_WIDTH = 0.09
PANORAMA_PX = 1280
SAMPLES = 2

VIEWS = [
    View(lens_mm=18),
    View(pan_deg=35, tilt_deg=-12, lens_mm=18),
    View(pan_deg=-170, tilt_deg=8, lens_mm=24),  # over the panorama's edge
    View(pan_deg=100, tilt_deg=70, roll_deg=15, lens_mm=14),  # past a pole
    View(pan_deg=-60, tilt_deg=-35, roll_deg=-25, lens_mm=12, gate_mm=(24.9, 10.4)),
]


def light_along(rays: np.ndarray) -> np.ndarray:
    """Linear BT.709 light (…, 3) of the wall that a ray from the eye meets."""
    low, high = WALLS
    rays = np.where(np.abs(rays) < 1e-12, 1e-12, rays)
    reach = np.where(rays > 0, high / rays, low / rays)
    wall = np.argmin(reach, axis=-1)
    at = rays * np.min(reach, axis=-1)[..., None]
    base = np.array([[0.30, 0.42, 0.50], [0.55, 0.50, 0.44], [0.20, 0.14, 0.10]])[wall]
    side = np.sign(np.take_along_axis(rays, wall[..., None], axis=-1))[..., 0]
    paint = base * (1.0 + 0.35 * np.sin(2.1 * at + 0.7 * side[..., None]))
    paint *= (1.0 + 0.3 * np.cos(3.3 * at.sum(axis=-1)) * side)[..., None]
    on_line = np.zeros(wall.shape, bool)
    for axis in range(3):  # a line across every wall, in the middle of its other sides
        on_line |= (wall != axis) & (np.abs(at[..., axis] - 0.45) < LINE_WIDTH / 2)
    return np.where(on_line[..., None], 0.02, np.clip(paint, 0.02, 0.9))


def mean_over(pixels: tuple[int, int], rays_at, samples: int = SAMPLES) -> np.ndarray:
    """Mean light of each pixel of a picture (height, width): rays_at(x, y), from 0 to 1 across and down."""
    height, width = pixels
    total = np.zeros((height, width, 3))
    for i in range(samples):
        for j in range(samples):
            x, y = np.meshgrid(
                (np.arange(width) + (j + 0.5) / samples) / width,
                (np.arange(height) + (i + 0.5) / samples) / height,
            )
            total += light_along(rays_at(x, y))
    return total / samples**2


def equirectangular(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    longitude, latitude = (x - 0.5) * 2 * np.pi, (0.5 - y) * np.pi
    return np.stack(
        [np.cos(latitude) * np.sin(longitude), -np.sin(latitude), np.cos(latitude) * np.cos(longitude)],
        axis=-1,
    )


def turned(axis: int, degrees: float) -> np.ndarray:
    """A rotation about one axis, right-handed (Rodrigues)."""
    k = np.zeros((3, 3))
    i, j = (axis + 1) % 3, (axis + 2) % 3
    k[j, i], k[i, j] = 1.0, -1.0
    angle = np.radians(degrees)
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k


def pinhole(view: View):
    """Rays through a pinhole camera that is panned right, tilted up and turned clockwise, in this order."""
    turn = turned(1, view.pan_deg) @ turned(0, view.tilt_deg) @ turned(2, view.roll_deg)

    def rays(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        across, down = (x - 0.5) * view.gate_mm[0], (y - 0.5) * view.gate_mm[1]
        local = np.stack([across, down, np.full_like(x, view.lens_mm)], axis=-1)
        return local / np.linalg.norm(local, axis=-1, keepdims=True) @ turn.T

    return rays


@pytest.fixture(scope="module")
def panorama(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("room") / "room.png"
    light = mean_over((PANORAMA_PX // 2, PANORAMA_PX), equirectangular)
    write_still(path, code_values(np.asarray(SRGB.encode(light)), np.uint8), SRGB)
    return path


@pytest.mark.parametrize("view", VIEWS, ids=lambda v: f"{v.pan_deg:g} {v.tilt_deg:g} {v.roll_deg:g}")
def test_a_view_is_what_a_pinhole_sees_from_the_same_place(panorama: Path, view: View) -> None:
    import cv2

    still = read_still(panorama, part=view)
    assert still.full_size == still.pixels.shape[:2] == read_info(panorama, part=view)[0]
    traced = np.asarray(SRGB.encode(mean_over(still.full_size, pinhole(view))))
    off = ciede2000(appearance(still.signal(), SRGB), appearance(traced, SRGB))
    steep = np.max(np.hypot(*(np.stack(np.gradient(traced, axis=a)) for a in (0, 1))), axis=-1) > 0.02
    away = cv2.dilate(steep.astype(np.uint8), np.ones((5, 5), np.uint8)) == 0
    assert 0.3 < np.mean(away) < 0.99  # neither is everything an edge nor is there none
    figures = f"mean {np.mean(off[away]):.2f}, largest {np.max(off[away]):.2f}, edges too {np.mean(off):.2f}"
    print(f"\n{view}: {figures}")
    assert np.mean(off[away]) < 1.0
    assert np.mean(off) < 2.5  # a view of another place has 8 and more: see below


def test_a_view_of_another_place_would_be_seen(panorama: Path) -> None:
    view = VIEWS[1]
    still = read_still(panorama, part=view)
    for wrong in (View(-35, -12, 0, 18), View(35, 12, 0, 18), View(35, -12, 5, 18), View(35, -12, 0, 20)):
        traced = np.asarray(SRGB.encode(mean_over(still.full_size, pinhole(wrong), 1)))
        assert np.mean(ciede2000(appearance(still.signal(), SRGB), appearance(traced, SRGB))) > 2.5


def test_straight_lines_are_straight(panorama: Path) -> None:
    """The lines on the wall ahead, in a wide view: their middles against a fitted line, and the trace."""
    view = View(lens_mm=12, gate_mm=(24.0, 16.0))
    still = read_still(panorama, part=view)
    height, width = still.full_size
    dark = np.clip(1.0 - still.encoding.decode(still.signal()).mean(axis=-1) / 0.06, 0.0, None)
    focal_px = width * view.lens_mm / view.gate_mm[0]
    for axis in (0, 1):
        at = (
            (0.45 / WALLS[1][2]) * focal_px + (width, height)[axis] / 2 - 0.5
        )  # where the wall's line is seen
        lines = dark if axis == 0 else dark.T
        other = (height, width)[axis]
        near = np.arange(round(at) - 8, round(at) + 9)
        along = np.arange(round(other * 0.35), round(other * 0.65))
        other_line = 0.45 / WALLS[1][2] * focal_px + other / 2 - 0.5
        along = along[np.abs(along - other_line) > 14]
        weights = lines[np.ix_(along, near)]
        middle = (weights * near).sum(axis=1) / weights.sum(axis=1)
        slope, start = np.polyfit(along, middle, 1)
        bend = float(np.max(np.abs(middle - (slope * along + start))))
        print(f"\nline {axis}: bends by {bend:.2f} px, off by {np.mean(middle) - at:+.2f} px")
        assert bend < 0.5
        assert abs(float(np.mean(middle)) - at) < 0.5


def test_16_bits_floats_and_reduced_decoding_show_the_same(panorama: Path, tmp_path: Path) -> None:
    view = VIEWS[1]
    whole = read_still(panorama)
    deep = tmp_path / "deep.tif"
    write_still(deep, whole.pixels.astype(np.uint16) * 257, SRGB)
    want = read_still(panorama, part=view).signal()
    assert np.max(np.abs(read_still(deep, part=view).signal() - want)) <= 1 / 255
    jpeg = tmp_path / "small.jpg"
    write_still(jpeg, whole.pixels, SRGB, quality=98)
    small = read_still(jpeg, part=view, enough_px=60)
    assert small.full_size == want.shape[:2]
    assert 120 <= max(small.pixels.shape[:2]) < max(want.shape[:2])  # twice what is enough, and no more work
    fitted = read_still(panorama, part=view, max_edge_px=120)
    assert max(fitted.pixels.shape[:2]) == 120
    assert abs(np.mean(small.signal()) - np.mean(want)) < 0.01
    assert abs(np.mean(fitted.signal()) - np.mean(want)) < 0.01


def test_a_lamp_in_the_dark_has_no_black_ring(tmp_path: Path) -> None:
    """Lanczos overshoots beside a lamp; in light that would be less than nothing."""
    pixels = np.full((256, 512, 3), 40, np.uint8)
    pixels[100:110, 240:250] = 255
    write_still(tmp_path / "lamp.png", pixels, SRGB)
    shown = read_still(tmp_path / "lamp.png", part=View(lens_mm=10)).pixels
    assert shown.min() == 40
    assert shown.max() == 255


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_graded_copies_keep_the_tag_and_nothing_else_of_the_packet(tmp_path: Path, suffix: str) -> None:
    """Read again by Pillow; an equirectangular JPEG with an XMP packet as a 360 degree camera writes it."""
    from PIL import Image

    packet = (
        b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        b'<rdf:Description xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" '
        b'xmlns:exif="http://ns.adobe.com/exif/1.0/" exif:GPSLatitude="59,1.2N">'
        b"<GPano:ProjectionType>equirectangular</GPano:ProjectionType><GPano:PoseHeadingDegrees>12"
        b"</GPano:PoseHeadingDegrees></rdf:Description></rdf:RDF></x:xmpmeta>"
    )
    source, copy = tmp_path / "pano.jpg", tmp_path / f"copy{suffix}"
    Image.new("RGB", (128, 64), (90, 80, 70)).save(source, xmp=packet)
    still = read_still(source)
    assert still.metadata.projection == "equirectangular"
    assert still.is_panorama
    write_still(copy, still.pixels, still.encoding, metadata=still.metadata)
    with Image.open(copy) as image:
        found = image.info.get("xmp") or image.tag_v2[700]  # type: ignore[attr-defined]
    text = found if isinstance(found, bytes) else found.encode()
    assert b'GPano:ProjectionType="equirectangular"' in text
    assert b"GPS" not in copy.read_bytes()
    assert b"Pose" not in copy.read_bytes()
    assert read_still(copy).metadata.projection == "equirectangular"
    view = tmp_path / f"view{suffix}"
    flat = read_still(source, part=View())
    write_still(view, flat.pixels, flat.encoding, metadata=flat.metadata)
    assert b"ProjectionType" not in view.read_bytes()
    assert flat.metadata.focal_length_mm == 24.0


def test_a_piece_of_a_panorama_has_no_views(tmp_path: Path) -> None:
    from PIL import Image

    packet = (
        b'<rdf:Description GPano:ProjectionType="equirectangular" GPano:FullPanoWidthPixels="512" '
        b'GPano:CroppedAreaImageWidthPixels="128"/>'
    )
    Image.new("RGB", (128, 64)).save(tmp_path / "piece.jpg", xmp=packet)
    with pytest.raises(StillError, match="marked equirectangular, part"):
        read_still(tmp_path / "piece.jpg", part=View())


def test_what_is_no_panorama_has_no_views(tmp_path: Path) -> None:
    path = tmp_path / "flat.png"
    write_still(path, np.zeros((60, 90, 3), np.uint8), SRGB, metadata=Metadata())
    for call in (read_info, read_still):
        with pytest.raises(
            StillError, match="no panorama that views can be taken of; found '90 x 60 pixels'"
        ):
            call(path, part=View())
