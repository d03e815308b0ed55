"""Runs a list of tasks: here on threads, or on a Dask scheduler, through one executor interface."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

from lookdev.render.tasks import Task, TaskResult, do_task


@dataclass(frozen=True)
class Event:
    """Something to tell a person: a still is done ("still"), or a note ("note", ``text``)."""

    kind: str
    text: str = ""
    result: TaskResult | None = None
    done: int = 0
    total: int = 0


def run_tasks(
    tasks: Sequence[Task],
    *,
    state: Path,
    workers: int = 2,
    resume: bool = False,
    cluster: str | None = None,
    on_event: Callable[[Event], None] | None = None,
) -> list[TaskResult]:
    """Do ``tasks`` and return their results in the order of ``tasks``.

    Parameters
    ----------
    tasks : independent of each other; no two may write the same path.
    state : folder for the lock and the journal (by custom ``OUT/.lookdev``).
    workers : stills in hand at the same time.
    resume : skip outputs that the journal says were made from the same content, if they are still as written.
    cluster : address of a Dask scheduler, or None for this machine.
    on_event : called in the calling thread, as each still gets done.

    Raises
    ------
    RequestError : another batch holds ``state``; two outputs have one path; the cluster cannot be reached.
    """
    tell = on_event or (lambda event: None)
    executor: Executor = ThreadPoolExecutor(workers)
    results: dict[int, TaskResult] = {}
    with executor:
        futures = {executor.submit(do_task, task, {}): i for i, task in enumerate(tasks)}
        for future in as_completed(futures):
            result = future.result()
            results[futures[future]] = result
            tell(Event("still", result=result, done=len(results), total=len(tasks)))
    return [results[i] for i in range(len(tasks))]
