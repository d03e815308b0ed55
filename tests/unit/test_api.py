"""The small public API, and what it costs to ask for help."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from types import FunctionType

import numpy as np
import pytest

import lookdev


def test_every_public_name_is_there() -> None:
    for name in lookdev.__all__:
        assert getattr(lookdev, name) is not None
    with pytest.raises(AttributeError):
        lookdev.no_such_name  # noqa: B018


def test_jobs_are_not_hidden_by_rooms_of_their_name() -> None:
    """Importing a module of a room sets the package's attribute, by the import system's rule; not here."""
    import lookdev.pages.page
    import lookdev.paint.chip
    import lookdev.survey.places

    for name in ("survey", "batch", "sheets", "cubes", "handoff", "light", "paint"):
        assert isinstance(getattr(lookdev, name), FunctionType), name
        assert name in dir(lookdev)


def test_type_checkers_see_every_name() -> None:
    """The stub names what the package gives, and nothing else."""
    stub = Path(lookdev.__file__).with_suffix(".pyi").read_text(encoding="utf-8")
    given = set(re.findall(r"^from \S+ import (?!\w+ as _)\w+ as (\w+)$|^(\w+) = _\w+$", stub, re.M))
    assert {a or b for a, b in given} | {"__version__"} == set(lookdev.__all__)


def test_from_a_still_to_a_lut(tmp_path: Path) -> None:
    srgb = lookdev.get_encoding("sRGB")
    pixels = np.random.default_rng(1).integers(0, 256, (40, 60, 3), dtype=np.uint8)
    lookdev.write_still(tmp_path / "scout" / "a.png", pixels, srgb)
    (tmp_path / "scout" / "meter.csv").write_text(
        "stills,location,x,y,camera_balance_k\na.png,Slip,0.45,0.41,5600\n"
    )
    (tmp_path / "look.toml").write_text("[balance]\nkeep = 0.2\n")
    scout = lookdev.open_scout(tmp_path / "scout")
    still = lookdev.read_still(tmp_path / "scout" / "a.png")
    (surveyed,) = lookdev.survey(scout).stills
    assert surveyed.location == "Slip"
    cast = surveyed.cast
    transform = lookdev.load_look(tmp_path / "look.toml").transform(still.encoding, srgb, cast)
    graded = lookdev.grade_reference(still.pixels, transform)
    lookdev.write_cube(tmp_path / "look.cube", lookdev.bake_cube(transform, 33))
    lut = lookdev.read_cube(tmp_path / "look.cube")
    assert np.abs(np.clip(lut(pixels / 255), 0, 1) * 255 - graded).mean() < 0.5
    assert np.abs(graded.astype(int) - pixels).mean() > 5


def test_help_imports_nothing_heavy() -> None:
    """Time itself is measured in tests/benchmarks; here, what would cost it."""
    code = (
        "import sys, lookdev.cli.main as m\n"
        "try:\n    m.main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'colour', 'cv2', 'numba', 'numpy', 'scipy', 'pydantic', 'PIL', 'reportlab', 'rawpy'}\n"
        "print('HEAVY', sorted(heavy & set(sys.modules)))"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert "HEAVY []" in result.stdout, result.stdout + result.stderr
    for verb in ("batch", "sheet", "cube", "handoff", "inspect", "light", "paint", "encodings"):
        assert verb in result.stdout


def test_names_of_encodings_are_listed_without_their_formulas() -> None:
    code = (
        "import sys, lookdev.cli.main as m\n"
        "try:\n    m.main(['encodings', '--all'])\nexcept SystemExit:\n    pass\n"
        "print('HEAVY', sorted({'colour', 'scipy', 'numba'} & set(sys.modules)))"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert "HEAVY []" in result.stdout and "S-Log3 S-Gamut3.Cine" in result.stdout, result.stderr
