"""A batch on a Dask scheduler with two workers on loopback, one of them killed midway: the same bytes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from distributed import Client

from lookdev.cli.main import main
from lookdev.colorimetry.encodings import SRGB
from lookdev.errors import RequestError
from lookdev.render.executor import Event, run_tasks
from lookdev.stills.writer import write_still

sys.path.insert(0, str(Path(__file__).parent))
from batch_child import LOOKS, tasks_for

STILLS = 8


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[str]]]]:
    """Address of a scheduler on 127.0.0.1, and its two workers, each a process of its own."""
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parent)}
    log = (tmp_path / "cluster.log").open("w")

    def start(kind: str, *arguments: str) -> subprocess.Popen[str]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{kind}", *arguments, "--no-dashboard"]
        return subprocess.Popen(command, stdout=log, stderr=log, text=True, env=environment, cwd=tmp_path)

    said = tmp_path / "scheduler.json"
    scheduler = start("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(said))
    address = ""
    while not address:  # the file is there before it is written
        assert scheduler.poll() is None, (tmp_path / "cluster.log").read_text()
        with suppress(OSError, ValueError):
            address = json.loads(said.read_text())["address"]
        time.sleep(0.02)
    worker = (address, "--host", "127.0.0.1", "--nthreads", "1", "--no-nanny", "--death-timeout", "60")
    workers = [start("worker", *worker) for _ in range(2)]
    with Client(address) as client:
        client.wait_for_workers(2)  # or the one that is killed may not have come yet
    yield address, workers
    for process in (*workers, scheduler):
        process.kill()
        process.wait()
    log.close()


@pytest.fixture
def stills(tmp_path: Path) -> Path:
    folder = tmp_path / "stills"
    for i in range(STILLS):
        pixels = np.random.default_rng(i).integers(0, 256, (20, 30, 3)).astype(np.uint8)
        write_still(folder / f"still_{i}.jpg", np.repeat(np.repeat(pixels, 30, 0), 30, 1), SRGB)
    return folder


def graded(out: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted((out / "graded").iterdir())}


def test_a_worker_killed_midway_costs_nothing(
    cluster: tuple[str, list[subprocess.Popen[str]]], stills: Path, tmp_path: Path
) -> None:
    address, workers = cluster
    here = tasks_for(stills, tmp_path / "here")
    assert all(result.ok for result in run_tasks(here, state=tmp_path / "here" / ".lookdev"))

    killed = []

    def kill(event: Event) -> None:
        if event.done == 2:
            killed.append(workers[0].pid)
            os.kill(workers[0].pid, signal.SIGKILL)

    out = tmp_path / "there"
    results = run_tasks(tasks_for(stills, out), state=out / ".lookdev", cluster=address, on_event=kill)
    assert killed
    assert workers[0].wait(10) == -signal.SIGKILL
    assert [result.error for result in results] == [None] * STILLS
    assert all(result.ok for result in results)
    assert graded(out) == graded(tmp_path / "here")
    assert len(graded(out)) == STILLS * len(LOOKS)
    assert not list(out.rglob("*.part"))

    again = run_tasks(tasks_for(stills, out), state=out / ".lookdev", cluster=address, resume=True)
    assert all(o.skipped for result in again for o in result.outputs)


def test_no_scheduler_is_one_clear_line(
    stills: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lookdev.render.executor.CONNECT_SECONDS", 0.5)
    with pytest.raises(RequestError) as caught:
        run_tasks(tasks_for(stills, tmp_path), state=tmp_path / ".lookdev", cluster="tcp://127.0.0.1:1")
    assert not (tmp_path / ".lookdev").exists()
    assert str(caught.value).startswith("key --cluster: no Dask scheduler answers; found 'tcp://127.0.0.1:1'")
    assert "\n" not in str(caught.value)


def test_a_batch_without_its_scheduler_writes_nothing(
    stills: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("lookdev.render.executor.CONNECT_SECONDS", 0.5)
    (tmp_path / "plain.toml").write_text('title = "Plain"\n')
    options = ["--looks", str(tmp_path / "plain.toml"), "--out", str(tmp_path / "deep" / "out")]
    with pytest.raises(SystemExit) as stop:
        main(["batch", str(stills), *options, "--cluster", "tcp://127.0.0.1:1"])
    assert stop.value.code == 2
    assert "no Dask scheduler answers" in capsys.readouterr().err
    assert not (tmp_path / "deep").exists()
