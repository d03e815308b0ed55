"""Runs a list of tasks: here on threads, or on a Dask scheduler, through one executor interface.

Threads and not processes: decoding, grading, encoding and hashing all run outside the interpreter's lock, so
that threads keep every core busy as processes would, and share lattices, code and memory.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib import import_module
from itertools import islice
from pathlib import Path
from time import monotonic
from typing import Any, TypeVar

from lookdev.errors import LookdevError, RequestError
from lookdev.render.journal import Journal, Record, folder_lock, open_journal, sweep_parts, tool_version
from lookdev.render.tasks import See, Task, TaskResult, do_task, failed

CONNECT_SECONDS = 10
TICK_SECONDS = 10.0
CLUSTER_WAIT_SECONDS = 600.0
RETRIES = 5


@dataclass(frozen=True)
class Event:
    """Something to tell a person: a still is done ("still", with ``result``), or a line of text ("note")."""

    kind: str
    text: str = ""
    result: TaskResult | None = None
    done: int = 0
    total: int = 0


Tell = Callable[[Event], None]
T = TypeVar("T")


def run_tasks(
    tasks: Sequence[Task],
    *,
    state: Path,
    workers: int = 2,
    resume: bool = False,
    cluster: str | None = None,
    cluster_wait_s: float = CLUSTER_WAIT_SECONDS,
    on_event: Tell | None = None,
) -> list[TaskResult]:
    """Do ``tasks`` and return their results in the order of ``tasks``.

    Parameters
    ----------
    tasks : independent of each other; no two may write the same path.
    state : folder for the lock and the journal (by custom ``OUT/.lookdev``).
    workers : stills in hand at the same time.
    resume : skip outputs that the journal says were made from the same content, if they are still as written.
    cluster : address of a Dask scheduler, or None for this machine.
    cluster_wait_s : how long a cluster may be without any worker before the run ends.
    on_event : called in the calling thread, as each still gets done.

    Raises
    ------
    RequestError : another run holds the folder; two outputs have one path; the cluster cannot be reached.
    LookdevError : the cluster was without workers for too long; what was finished is in the journal.
    KeyboardInterrupt : after Ctrl-C; what was finished is in the journal, and ``resume`` goes on from there.
    """
    with open_run(state, workers=workers, resume=resume, cluster=cluster) as run:
        return run.stills(tasks, on_event, cluster_wait_s)


class Run:
    """A batch that runs: its stills, and what is made of them beside. Made by :func:`open_run`.

    ``journal`` : what was done; ``is_remote`` : whether the stills go to a cluster.
    """

    def __init__(
        self,
        journal: Journal,
        pool: ThreadPoolExecutor,
        send: _Sender | None,
        workers: int,
        stopping: threading.Event,
        sweep: list[Path],
    ) -> None:
        self.journal, self.is_remote = journal, send is not None
        self._pool, self._send, self._workers = pool, send, workers
        self._stopping, self._sweep = stopping, sweep

    def also(self, work: Callable[[], T]) -> Future[T]:
        """Have ``work`` done by the threads of this machine that stills are done by, in its turn."""
        return self._pool.submit(work)

    def stills(
        self,
        tasks: Sequence[Task],
        on_event: Tell | None = None,
        cluster_wait_s: float = CLUSTER_WAIT_SECONDS,
        see: See | None = None,
    ) -> list[TaskResult]:
        """Do ``tasks``; the rest as in :func:`run_tasks`.

        ``see`` is shown each still that is read on this machine, as in :func:`do_task`.
        """
        tell = on_event or (lambda event: None)
        _refuse_doubles(tasks)
        folders = {p.parent for task in tasks for p in _paths(task)}
        folders |= {task.thumbnails for task in tasks if task.thumbnails is not None}
        sweep_parts(folders)
        self._sweep += sorted(folders)
        idle = None
        if self._send is not None:
            idle = _Idle(self._send.workers, self._send.address, cluster_wait_s, tell)
        return self._done(tasks, idle, tell, see)

    def _done(
        self, tasks: Sequence[Task], idle: _Idle | None, tell: Tell, see: See | None
    ) -> list[TaskResult]:
        results: dict[int, TaskResult] = {}
        said: set[str] = set()
        futures: dict[Future[TaskResult], int] = {}
        waiting = iter(enumerate(tasks))

        def submit(count: int) -> None:
            for i, task in islice(waiting, count):
                futures[self._submit(task, see)] = i

        def finish(i: int, result: TaskResult) -> None:
            results[i] = result
            fault = self.journal.add(_records(self.journal, result))
            if fault is not None and fault not in said:
                said.add(fault)
                tell(Event("note", text=f"{fault}; --resume will make again what is not in it"))
            tell(Event("still", result=result, done=len(results), total=len(tasks)))

        try:
            # Here only so many are handed in that no thread waits: what is made beside gets its turn.
            submit(len(tasks) if self.is_remote else self._workers + 1)
            if not self.is_remote and not all(task.exact or self._may_stand(task) for task in tasks):
                from lookdev.render.lattice import warm_up

                warm_up(lambda text: tell(Event("note", text=text)))
            while left := [future for future, i in futures.items() if i not in results]:
                done, _ = wait(left, None if idle is None else TICK_SECONDS, FIRST_COMPLETED)
                submit(len(done))
                for future in sorted(done, key=futures.__getitem__):
                    finish(futures[future], _outcome(future, tasks[futures[future]]))
                if idle is not None:
                    idle.look(bool(done))
        except BaseException:
            self._stopping.set()
            if self._send is not None:
                self._send.shutdown(wait=idle is not None and idle.workers() > 0)
            self._pool.shutdown(wait=True, cancel_futures=True)
            for future, i in futures.items():
                if i not in results and future.done() and not future.cancelled():
                    self.journal.add(_records(self.journal, _outcome(future, tasks[i])))
            raise
        return [results[i] for i in range(len(tasks))]

    def _may_stand(self, task: Task) -> bool:
        """Whether an earlier run did all of it, for all that the journal tells."""
        return len(self.journal.records_for(_paths(task))) == len(task.outputs)

    def _submit(self, task: Task, see: See | None) -> Future[TaskResult]:
        known = self.journal.records_for(_paths(task))
        if self._send is not None:
            return self._send(task, known)
        return self._pool.submit(do_task, task, known, self._stopping.is_set, see)


@contextmanager
def open_run(
    state: Path, *, workers: int = 2, resume: bool = False, cluster: str | None = None
) -> Iterator[Run]:
    """Hold the folder, open the journal and have threads ready; parameters as in :func:`run_tasks`.

    Raises
    ------
    RequestError : another run holds the folder, or the cluster cannot be reached.
    """
    stopping = threading.Event()
    folders = [state, state.parent]
    with _sender(cluster) as send, _threads(workers) as pool, folder_lock(state):
        sweep_parts(folders)
        try:
            with open_journal(state, keep=resume) as journal:
                yield Run(journal, pool, send, workers, stopping, folders)
        except BaseException:
            stopping.set()
            pool.shutdown(wait=True, cancel_futures=True)
            raise
        finally:
            sweep_parts(folders)


def check_cluster(address: str) -> None:
    """Refuse a scheduler that does not answer, before anything is written.

    Raises
    ------
    RequestError : no scheduler answers at ``address``, or Dask is not installed.
    """
    with _cluster_executor(address):
        pass


class _Idle:
    """Says every ten seconds that a cluster has no worker, and ends the run when that has lasted long."""

    def __init__(self, workers: Callable[[], int], address: str, limit_s: float, tell: Tell) -> None:
        self.workers, self._address = workers, address
        self._limit_s, self._tell, self._since = limit_s, tell, monotonic()

    def look(self, progress: bool) -> None:
        """Look at the workers, unless something has just been done."""
        if progress or self.workers() > 0:
            self._since = monotonic()
            return
        waited = monotonic() - self._since
        if waited > self._limit_s:
            raise LookdevError(
                f"no worker for {self._limit_s:.0f} s",
                key="--cluster",
                found=self._address,
                wanted="workers, then --resume",
            )
        self._tell(Event("note", text=f"no worker at {self._address} for {waited:.0f} s: waiting"))


def do_task_of(version: str, task: Task, done: dict[str, Record]) -> TaskResult:
    """:func:`do_task` in a worker of a cluster, which must run the very source that the task is from."""
    if version != tool_version():
        words = f"the worker runs lookdev {tool_version()}, this is {version}"
        return failed(task, str(LookdevError(words, file=task.still, wanted="one version on all machines")))
    return do_task(task, done)


def _outcome(future: Future[TaskResult], task: Task) -> TaskResult:
    """The result under the paths that the task was given with."""
    try:
        result = future.result()
    except Exception as error:  # a worker that died again and again, a cluster that went away
        words = f"no worker got it done: {type(error).__name__}: {error}"
        return failed(task, str(LookdevError(words, file=task.still)))
    outputs = tuple(
        replace(done, path=output.path) for done, output in zip(result.outputs, task.outputs, strict=True)
    )
    return replace(result, still=task.still, outputs=outputs)


def _records(journal: Journal, result: TaskResult) -> list[Record]:
    facts = {**result.facts(), "stood_sha256": result.stood_sha256}
    return [
        Record(journal.name(output.path), output.key, output.sha256, facts, output.thumbnail_sha256)
        for output in result.outputs
        if output.error is None and not output.skipped and output.key and output.sha256
    ]


def _paths(task: Task) -> list[Path]:
    return [output.path for output in task.outputs]


def _refuse_doubles(tasks: Sequence[Task]) -> None:
    seen: set[str] = set()
    for path in (path for task in tasks if task.write_stills for path in _paths(task)):
        key = str(path.absolute()).casefold()
        if key in seen:
            raise RequestError("two outputs would have the same name", file=path)
        seen.add(key)


@contextmanager
def _threads(workers: int) -> Iterator[ThreadPoolExecutor]:
    with _alone_in_opencv(), ThreadPoolExecutor(workers, thread_name_prefix="lookdev") as pool:
        yield pool


_OPENCV_THREADS = "OPENCV_FOR_THREADS_NUM"


@contextmanager
def _alone_in_opencv() -> Iterator[None]:
    """OpenCV works in the thread that calls it: the stills share the cores, a decoder must not take them all.

    It takes a tenth of a second to load, and a batch of JPEGs has no need of it: what is not loaded yet reads
    the number when it is.
    """
    before: Any = sys.modules.get("cv2")
    if before is not None:
        threads = before.getNumThreads()
        before.setNumThreads(1)
    outer = os.environ.get(_OPENCV_THREADS)
    os.environ[_OPENCV_THREADS] = "1"
    try:
        yield
    finally:
        if outer is None:
            del os.environ[_OPENCV_THREADS]
        else:
            os.environ[_OPENCV_THREADS] = outer
        if before is not None:
            before.setNumThreads(threads)
        elif (loaded := sys.modules.get("cv2")) is not None:
            loaded.setNumThreads(
                int(outer) if outer is not None and outer.isdecimal() else loaded.getNumberOfCPUs()
            )


class _Sender:
    """Sends tasks to a cluster."""

    def __init__(self, executor: Any, workers: Callable[[], int], address: str) -> None:
        self._executor, self.workers, self.address = executor, workers, address

    def __call__(self, task: Task, done: dict[str, Record]) -> Future[TaskResult]:
        sent: Future[TaskResult] = self._executor.submit(do_task_of, tool_version(), *_absolute(task, done))
        return sent

    def shutdown(self, wait: bool) -> None:
        self._executor.shutdown(wait=wait, cancel_futures=True)


@contextmanager
def _sender(cluster: str | None) -> Iterator[_Sender | None]:
    if cluster is None:
        yield None
        return
    with _cluster_executor(cluster) as (remote, count):
        yield _Sender(remote, count, cluster)


def _absolute(task: Task, done: dict[str, Record]) -> tuple[Task, dict[str, Record]]:
    """A task, and what is known of it, for a worker whose working folder is another."""
    outputs = tuple(replace(output, path=output.path.absolute()) for output in task.outputs)
    thumbnails = task.thumbnails.absolute() if task.thumbnails is not None else None
    there = replace(task, still=task.still.absolute(), outputs=outputs, thumbnails=thumbnails)
    return there, {str(Path(path).absolute()): record for path, record in done.items()}


@contextmanager
def _cluster_executor(address: str) -> Iterator[tuple[Any, Callable[[], int]]]:
    """An executor on a scheduler, and how many workers that has now."""
    try:
        distributed: Any = import_module("distributed")
    except ImportError as error:
        raise RequestError(
            "a cluster needs Dask's distributed", key="--cluster", wanted="pip install 'lookdev[cluster]'"
        ) from error
    try:
        client = distributed.Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise RequestError(
            "no Dask scheduler answers",
            key="--cluster",
            found=address,
            wanted="the address of a running scheduler, such as tcp://127.0.0.1:8786",
        ) from error
    with client:
        yield (
            client.get_executor(pure=False, retries=RETRIES),
            lambda: len(client.scheduler_info(n_workers=-1)["workers"]),
        )
