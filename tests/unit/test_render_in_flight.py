"""How many workers there are without a word: the cores that the process may use."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from lookdev import cores


@pytest.mark.parametrize(
    ("may_run_on", "quota", "wanted"),
    [(4, None, 4), (8, "max 100000", 8), (8, "150000 100000", 2), (8, "20000 100000", 1), (200, None, 64)],
)
def test_as_many_workers_as_cores(
    may_run_on: int, quota: str | None, wanted: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """cpu.max as the kernel's cgroup v2 documentation has it: quota and period in microseconds."""
    limit = tmp_path / "cpu.max"
    if quota is not None:
        limit.write_text(quota + "\n")
    monkeypatch.setattr(cores, "_QUOTA", str(limit))
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: set(range(may_run_on)), raising=False)
    cores.usable_cores.cache_clear()
    try:
        assert cores.usable_cores() == wanted
    finally:
        cores.usable_cores.cache_clear()
