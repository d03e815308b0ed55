"""Attacks on the cache of compiled kernels: a run compiles without it and says so, and never dies of it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = """
import numpy as np
from lookdev.render.lattice import warm_up
warm_up(lambda line: print(line))
from lookdev.compilation import faults
print(faults())
"""


def warm(cache: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        env={**os.environ, "NUMBA_CACHE_DIR": str(cache)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0 and "Traceback" not in done.stderr, done.stderr[-1000:]
    return done.stdout


def test_damaged_files_in_the_cache_are_made_again(tmp_path: Path) -> None:
    """Empty, cut short, and of another content: each once, in one folder."""
    assert warm(tmp_path).endswith("[]\n")
    files = sorted(p for p in tmp_path.rglob("*") if p.is_file())
    assert len(files) > 3
    files[0].write_bytes(b"")
    files[1].write_bytes(files[1].read_bytes()[:50])
    files[2].write_bytes(b"\0" * 5000)
    assert "compiling" in warm(tmp_path)
    assert warm(tmp_path).endswith("[]\n")


@pytest.mark.parametrize("kind", ["file", "nowhere"])
def test_a_cache_that_cannot_be_kept_is_said_and_no_more(tmp_path: Path, kind: str) -> None:
    """E 24: what cannot be kept is compiled on every run, and is not promised to be compiled once."""
    place = tmp_path / "cache"
    place.write_text("") if kind == "file" else None
    said = warm(place if kind == "file" else Path("/proc/nowhere"))
    assert "compil" in said and "cannot be" in said and "later runs load them" not in said
