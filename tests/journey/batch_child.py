"""A small batch for tests to start in processes of its own; importing this loads all that it needs."""

from __future__ import annotations

import itertools
import signal
from multiprocessing.synchronize import Event as Flag
from pathlib import Path

from lookdev.looks.model import Look
from lookdev.render import executor
from lookdev.render.executor import Event, run_tasks
from lookdev.render.grader import Output
from lookdev.render.lattice import warm_up
from lookdev.render.tasks import Task
from lookdev.stills import reader, writer

warm_up()
READY = (reader, writer)

LOOKS = (
    Look.model_validate({"title": "warm", "exposure": {"stops": -0.3}, "colour": {"saturation": 0.6}}),
    Look.model_validate({"title": "flat", "curve": {"contrast": 0.8}}),
    Look.model_validate({"title": "plain"}),
)


def tasks_for(stills: Path, out: Path) -> list[Task]:
    return [
        Task(
            still,
            tuple(Output(look, out / "graded" / f"{still.stem}__{look.title}.jpg") for look in LOOKS),
            thumbnails=out / ".lookdev" / "thumbnails",
            thumbnail_box=(120, 80),
        )
        for still in sorted(stills.glob("*.jpg"))
    ]


def run(stills: Path, out: Path, resume: bool = False, **options: object) -> list[str]:
    """Errors of a batch of every still in ``stills`` through LOOKS."""
    results = run_tasks(tasks_for(stills, out), state=out / ".lookdev", resume=resume, **options)
    return [line for result in results for line in result.errors]


def child(stills: Path, out: Path, resume: bool) -> None:
    """The body of a process that may be killed at any moment."""
    raise SystemExit(1 if run(stills, out, resume) else 0)


def held_child(stills: Path, out: Path, two_done: Flag, go_on: Flag) -> None:
    """The body of a process that does two stills, says so, and waits until it may go on or is stopped."""
    signal.signal(signal.SIGINT, signal.default_int_handler)  # whatever shell the suite was started by
    do_task, number = executor.do_task, itertools.count()

    def held(task: Task, *arguments: object) -> object:
        _, stopped, _ = arguments
        if next(number) >= 2:
            while not (stopped() or go_on.wait(0.01)):
                pass
        return do_task(task, *arguments)

    def tell(event: Event) -> None:
        if event.kind == "still" and event.done == 2:
            two_done.set()

    executor.do_task = held
    raise SystemExit(1 if run(stills, out, on_event=tell) else 0)
