"""The look before a display transform that is not ours: OpenColorIO (PyPI opencolorio) reads the file and
shows it with the ACES output transform that is built into it."""

from __future__ import annotations

from colorsys import hsv_to_rgb
from pathlib import Path

import numpy as np
import pytest
from PyOpenColorIO import (
    INTERP_TETRAHEDRAL,
    BuiltinTransform,
    Config,
    CPUProcessor,
    FileTransform,
    GroupTransform,
    Transform,
)

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import ACESCCT, BT709, encoding_names, get_encoding
from lookdev.colorimetry.rgb_spaces import WORKING, matrix_between
from lookdev.looks.model import Look
from lookdev.lut.bake import export_cube
from lookdev.lut.cdl import fit_cdl, write_cc
from lookdev.lut.clf import clf_text, write_clf
from lookdev.lut.cube import lattice_points
from lookdev.lut.error import appearance, picture_inputs
from lookdev.lut.received import open_look

LOOKS = sorted((Path(__file__).parents[2] / "looks").glob("*.toml"))
LOGS = ["ACEScct", *[n for n in encoding_names() if n.startswith(("S-Log3 S-Gamut3", "ARRI LogC4", "V-Log"))]]
OUTPUT = "ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - SDR-VIDEO_1.0"


def through(*transforms: Transform) -> CPUProcessor:
    processor = Config.CreateRaw().getProcessor(GroupTransform(list(transforms)))
    return processor.getDefaultCPUProcessor()


def applied(processor: CPUProcessor, codes: np.ndarray) -> np.ndarray:
    out = np.ascontiguousarray(codes, dtype=np.float32).copy()
    processor.applyRGB(out)
    return out.astype(float)


def aces_shown() -> list[Transform]:
    return [BuiltinTransform("ACEScct_to_ACES2065-1"), BuiltinTransform(OUTPUT)]


def lab(xyz: np.ndarray) -> np.ndarray:
    """CIELAB of CIE XYZ, D65 white (CIE 15)."""
    t = np.maximum(xyz, 0) / np.array([0.95046, 1.0, 1.08906])
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=-1)


@pytest.mark.parametrize("path", LOOKS, ids=lambda p: p.stem)
@pytest.mark.parametrize("name", LOGS)
def test_no_node_leaves_the_encoding(path: Path, name: str) -> None:
    """Codes of -41 stood in ACEScct, -500 in wider gamuts."""
    encoding = get_encoding(name)
    out = open_look(path).transform(encoding, encoding)(lattice_points(17).reshape(-1, 3))
    assert out.min() > -0.03 and out.max() <= 1.1


@pytest.mark.parametrize("path", LOOKS, ids=lambda p: p.stem)
@pytest.mark.parametrize("name", ["ACEScct", "S-Log3 S-Gamut3", "ARRI LogC4 ARRI Wide Gamut 4", "L-Log"])
def test_no_step_is_much_larger_than_the_encodings_own(path: Path, name: str) -> None:
    """The largest step of code on ramps of a sixty-fourth of a stop, 12 stops under to 8 over mid grey, is at
    most 1.5 times that of the plain encoding: greys, and all round the hues to the purest of BT.2020 and of
    the encoding itself."""
    encoding = get_encoding(name)
    hues = np.array([hsv_to_rgb(h / 36, s, 1.0) for h in range(36) for s in (0.0, 0.3, 0.6, 0.8, 0.98, 1.0)])
    hues = np.concatenate([hues, hues[5::6] @ matrix_between(encoding.space, WORKING).T])
    light = 0.18 * hues[:, None] * (2.0 ** np.arange(-12, 8, 1 / 64))[:, None]
    codes = encoding.from_working(light)
    held = np.all((codes[:, 1:] >= 0) & (codes[:, 1:] <= 1), axis=-1)
    own = np.abs(np.diff(codes, axis=1)).max(axis=-1)[held].max()
    graded = open_look(path).transform(encoding, encoding)(np.clip(codes, 0, 1))
    assert np.abs(np.diff(graded, axis=1)).max(axis=-1)[held].max() <= 1.5 * own


def test_identity_is_exact() -> None:
    codes = lattice_points(17).reshape(-1, 3)
    assert np.array_equal(Look(title="i").transform(ACESCCT, ACESCCT)(codes), codes)


@pytest.mark.parametrize("path", LOOKS, ids=lambda p: p.stem)
def test_through_another_display_transform(path: Path, tmp_path: Path) -> None:
    """At most 0.4 CIEDE2000 a sixty-fourth of a stop, or what the transform itself takes times the contrast
    that was asked for: 0.31 for a look that does nothing, 0.404 for one with a contrast of 1.3."""
    file, look = tmp_path / "l.cube", open_look(path)
    export_cube(look, ACESCCT, ACESCCT, file, size=65)
    grey = ACESCCT.from_working(np.repeat((0.18 * 2.0 ** np.arange(-6, 8, 1 / 64))[:, None], 3, axis=1))
    read = FileTransform(str(file), interpolation=INTERP_TETRAHEDRAL)
    shown, plain = (applied(through(*before, *aces_shown()), grey) for before in ((read,), ()))
    assert np.all(np.diff(shown[:, 1]) > -2e-6)
    step, of_transform = (ciede2000(lab(c)[1:], lab(c)[:-1]).max() for c in (shown, plain))
    contrast = look.curve.contrast if isinstance(look, Look) else 1.0
    assert step <= max(0.4, 1.01 * of_transform * contrast)


def test_the_clf_is_the_look(tmp_path: Path) -> None:
    look = open_look(LOOKS[-1])
    write_clf(tmp_path / "l.clf", clf_text(look, ACESCCT, ACESCCT, "l", size=65))
    codes = picture_inputs(ACESCCT)[::10]
    read = applied(through(FileTransform(str(tmp_path / "l.clf"))), codes)
    assert np.abs(read - look.transform(ACESCCT, ACESCCT)(codes)).mean() < 0.001


def test_ten_numbers_and_the_plain_rendering_read_by_another(tmp_path: Path) -> None:
    """As a colourist would load them: the difference from the look is what the fit states."""
    look = open_look(next(p for p in LOOKS if p.stem == "slack_water"))
    codes = picture_inputs(ACESCCT)[::4]
    fit = fit_cdl(look, ACESCCT, BT709, scout_inputs=codes)
    write_cc(tmp_path / "l.cc", fit, "l", "the plain rendering: luts/plain_rendering.clf")
    export_cube(Look(title="p"), ACESCCT, BT709, tmp_path / "p.cube", size=65)
    numbers = FileTransform(str(tmp_path / "l.cc"), cccId="l")
    plain = FileTransform(str(tmp_path / "p.cube"), interpolation=INTERP_TETRAHEDRAL)
    shown = appearance(applied(through(numbers, plain), codes), BT709)
    apart = ciede2000(appearance(look.transform(ACESCCT, BT709)(codes), BT709), shown)
    assert fit.scout is not None and apart.mean() == pytest.approx(fit.scout.mean, abs=0.15)
    assert "ViewingDescription" in (tmp_path / "l.cc").read_text()
