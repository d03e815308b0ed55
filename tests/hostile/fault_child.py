"""The body of a process in which something goes wrong: killed at a step, short of room, files or rights."""

from __future__ import annotations

import ctypes
import os
import resource
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

# loaded once, in the server from which the processes are forked
import lookdev.cli.batch
import lookdev.cli.cube
import lookdev.cli.handoff
import lookdev.cli.pitch
import lookdev.cli.sheet
import lookdev.jobs.batch
import lookdev.jobs.cubes
import lookdev.jobs.handoff
import lookdev.jobs.learn
import lookdev.jobs.pitch
import lookdev.jobs.sheets
import lookdev.pages.from_batch
import lookdev.pages.pitch_html
import lookdev.pages.pitch_pdf
import lookdev.render.lattice
import lookdev.stills.reader  # noqa: F401
from lookdev.cli.main import main


def child(arguments: list[str], here: Path, said: Path, fault: str, value: int) -> None:
    """``main`` with ``arguments`` in ``here``, what it prints in the file ``said``, under one fault:

    "steps" : none; how many steps there were (flushes to the disk and renames) is written beside ``said``.
    "kill" : the process is gone before step number ``value``.
    "memory" : so many MB more than now. "files" : so many open files more. "size" : no file of more bytes.
    "rights" : without the rights of root, where it had them (capset, Linux).
    """
    handle = os.open(said, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o666)
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    os.chdir(here)
    steps = _count_steps(value if fault == "kill" else 0)
    if fault == "memory":
        pages = int(Path("/proc/self/statm").read_text().split()[0])
        _limit(resource.RLIMIT_AS, pages * resource.getpagesize() + value * 1_000_000)
    elif fault == "files":
        _limit(resource.RLIMIT_NOFILE, len(list(Path("/proc/self/fd").iterdir())) + value)
    elif fault == "size":
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        _limit(resource.RLIMIT_FSIZE, value)
    elif fault == "rights":
        head = (ctypes.c_uint32 * 2)(0x20080522, 0)  # linux/capability.h: version 3, this process
        assert ctypes.CDLL(None).capset(head, (ctypes.c_uint32 * 6)()) == 0
    try:
        main(arguments)
    finally:
        if fault == "steps":
            said.with_suffix(".steps").write_text(str(steps()))


def _limit(what: int, value: int) -> None:
    resource.setrlimit(what, (value, resource.getrlimit(what)[1]))


def _count_steps(last: int) -> Callable[[], int]:
    count = 0

    def counted(step: Callable[..., Any]) -> Callable[..., Any]:
        def one(*arguments: Any, **more: Any) -> Any:
            nonlocal count
            count += 1
            if count == last:
                os.kill(os.getpid(), signal.SIGKILL)
            return step(*arguments, **more)

        return one

    os.fsync, os.replace = counted(os.fsync), counted(os.replace)
    return lambda: count
