"""Damaged stills, profiles, meter logs and looks: one line or a good read, never a traceback or hang."""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hostile.mutate import mutations, text_mutations
from hostile.samples import LOG, LOOK, profiles, stills

SECONDS, PEAK_MB = 5.0, 2048
STILL_COPIES, PROFILE_COPIES, TEXT_COPIES = 36, 10, 90
WORKER = Path(__file__).with_name("worker.py")


def run_worker(folder: Path, home: Path) -> list[dict[str, Any]]:
    """Results for every file in ``folder``; a file that kills or stalls the reader gets such an outcome."""
    names = sorted(p.name for p in folder.iterdir())
    results: list[dict[str, Any]] = []
    while len(results) < len(names):
        results += _one_process(folder, home, len(results), names)
    return results


def _one_process(folder: Path, home: Path, skip: int, names: list[str]) -> list[dict[str, Any]]:
    environment = {**os.environ, "HOME": str(home), "TMPDIR": str(home), "PYTHONDONTWRITEBYTECODE": "1"}
    process = subprocess.Popen(
        [sys.executable, str(WORKER), str(folder), str(skip)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=home,
        env=environment,
    )
    lines: queue.Queue[str] = queue.Queue()
    said: list[str] = []
    assert process.stdout is not None and process.stderr is not None
    threading.Thread(
        target=lambda: [lines.put(line) for line in process.stdout] + [lines.put("")], daemon=True
    ).start()
    errors = threading.Thread(target=lambda: said.extend(process.stderr), daemon=True)
    errors.start()
    results: list[dict[str, Any]] = []
    current = ""
    try:
        while True:
            line = lines.get(timeout=60 if not current else 12 * SECONDS)
            if line == "":
                break
            record = json.loads(line)
            current = record.get("start", "")
            if "outcome" in record:
                results.append(record)
    except queue.Empty:
        process.kill()
        results.append({"name": current or names[skip], "outcome": "hang", "said": "", "wrote": []})
        return results
    process.wait(timeout=10)
    errors.join(timeout=10)
    if skip + len(results) < len(names):
        reason = f"exit status {process.returncode}: {''.join(said)[-2000:]}"
        results.append({"name": names[skip + len(results)], "outcome": "crash", "said": reason, "wrote": []})
    elif said:
        results[-1]["stderr"] = "".join(said)
    return results


def faults(results: list[dict[str, Any]]) -> list[str]:
    """What must not have happened, one line each."""
    out = []
    for r in results:
        if r["outcome"] not in ("read", "refused"):
            out.append(f"{r['name']}: {r['outcome']}: {r['said']}")
        elif r["seconds"] > SECONDS:
            out.append(f"{r['name']}: {r['seconds']} s")
        elif r["peak_mb"] > PEAK_MB:
            out.append(f"{r['name']}: {r['peak_mb']} MB")
        if r["wrote"]:
            out.append(f"{r['name']}: wrote {r['wrote']}")
        if "\n" in r["said"] and r["outcome"] == "refused":
            out.append(f"{r['name']}: more than one line: {r['said']!r}")
        if r.get("stderr"):
            out.append(f"{r['name']} or before: standard error: {r['stderr'][:500]}")
    return out


def make(folder: Path) -> dict[str, int]:
    """Write the damaged files; how many of each kind."""
    folder.mkdir()
    counts = {"stills": 0, "profiles": 0, "meter logs": 0, "looks": 0}
    for name, data in stills().items():
        stem, suffix = name.split(".")
        for i, damaged in enumerate(mutations(data, STILL_COPIES, name)):
            (folder / f"{stem}{suffix}_{i:03d}{'s' if i % 2 else ''}.{suffix}").write_bytes(damaged)
            counts["stills"] += 1
    for number, icc in enumerate(profiles()):
        for i, damaged in enumerate(mutations(icc, PROFILE_COPIES, f"profile {number}")):
            (folder / f"icc{number:02d}_{i:03d}.icc").write_bytes(damaged)
            (folder / f"iccpng{number:02d}_{i:03d}.png").write_bytes(png_with(damaged))
            counts["profiles"] += 2
    for i, damaged in enumerate(text_mutations(LOG, TEXT_COPIES, "log")):
        (folder / f"log_{i:03d}.csv").write_bytes(damaged)
        counts["meter logs"] += 1
    for i, damaged in enumerate(text_mutations(LOOK, TEXT_COPIES, "look")):
        (folder / f"look_{i:03d}.toml").write_bytes(damaged)
        counts["looks"] += 1
    return counts


def png_with(icc: bytes) -> bytes:
    """A small PNG that carries a profile."""
    import cv2

    from lookdev.stills.png import insert_chunks

    plain = cv2.imencode(".png", np.full((8, 8, 3), 90, np.uint8))[1].tobytes()
    return insert_chunks(plain, [(b"iCCP", b"x\0\0" + zlib.compress(icc))])


def test_damaged_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home = tmp_path / "home"
    home.mkdir()
    counts = make(tmp_path / "damaged")
    before = {p.name: p.read_bytes() for p in (tmp_path / "damaged").iterdir()}
    assert sum(counts.values()) == len(before) >= 500
    results = run_worker(tmp_path / "damaged", home)
    with capsys.disabled():
        read = sum(r["outcome"] == "read" for r in results)
        slowest = max(r.get("seconds", 0) for r in results)
        peak = max(r.get("peak_mb", 0) for r in results)
        said = ", ".join(f"{n} {kind}" for kind, n in counts.items())
        print(
            f"\nhostile: {len(results)} damaged files ({said}): {read} read, {len(results) - read} refused; "
            f"slowest {slowest:.2f} s, peak {peak} MB"
        )
    assert len(results) == len(before)
    assert not faults(results), "\n".join(faults(results)[:20])
    assert {p.name: p.read_bytes() for p in (tmp_path / "damaged").iterdir()} == before
    assert list(home.iterdir()) == []


def test_damage_is_the_same_every_time() -> None:
    first = list(mutations(bytes(range(256)) * 8, 40, "x"))
    assert first == list(mutations(bytes(range(256)) * 8, 40, "x"))
    assert len(set(first)) > 35 and first != list(mutations(bytes(range(256)) * 8, 40, "y"))


def test_the_watch_sees_a_crash_a_hang_and_a_stray_file() -> None:
    """The suite can fail: each kind of fault is reported."""
    good = {"name": "a", "outcome": "read", "said": "", "seconds": 0.1, "peak_mb": 90, "wrote": []}
    assert faults([good]) == []
    for change in (
        {"outcome": "crash"},
        {"outcome": "hang"},
        {"outcome": "traceback"},
        {"seconds": 6.0},
        {"peak_mb": 4000},
        {"wrote": ["/elsewhere/file"]},
        {"outcome": "refused", "said": "two\nlines"},
        {"stderr": "libpng error"},
    ):
        assert len(faults([{**good, **change}])) == 1
