"""What the verbs share: a line for a person, and the bar that counts."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lookdev.jobs.common import Line, Progress, Tell


def say(line: str) -> None:
    """A line for a person, on standard error, whatever the terminal can show."""
    encoding = sys.stderr.encoding or "utf-8"
    print(line.encode(encoding, "replace").decode(encoding), file=sys.stderr, flush=True)


@contextmanager
def told(quiet: bool = False) -> Iterator[Tell]:
    """What a job tells: lines, and a bar on a terminal, plain lines elsewhere; no progress if ``quiet``."""
    from lookdev.jobs.common import Aside, Line

    with _progress(quiet) as step:

        def tell(told: Line | Progress) -> None:
            if isinstance(told, Aside) and (quiet or not sys.stderr.isatty()):
                return
            if isinstance(told, Line):
                say(told.text)
            else:
                step(told.done, told.total, told.text)

        yield tell


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[int, int, str], None]]:
    if quiet:
        yield lambda done, total, text: None
    elif sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
            line = bar.add_task("", total=None)

            def step(done: int, total: int, text: str) -> None:
                bar.update(line, completed=done, total=total, description=text)

            yield step
    else:
        yield lambda done, total, text: say(f"[{done}/{total}] {text}")
