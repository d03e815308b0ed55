"""A guard against hangs: not a measure of speed, which a busy machine would fail."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

import pytest

MINUTE_S = 60.0


@contextmanager
def no_hang() -> Iterator[None]:
    """Fail if what is inside has not ended after a minute of this process's own computing."""

    def give_up(_number: int, _frame: FrameType | None) -> None:
        pytest.fail(f"still not done after {MINUTE_S:.0f} s of computing")

    before = signal.signal(signal.SIGPROF, give_up)
    signal.setitimer(signal.ITIMER_PROF, MINUTE_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)
