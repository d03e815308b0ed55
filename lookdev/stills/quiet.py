"""Keeps C libraries from writing to a terminal that belongs to the command line.

OpenEXR, LibRaw and libpng describe broken files on standard error (OpenEXR on ``sys.stdout`` too) on their
own account; the caller has the error as an exception and says it in one line. What others write meanwhile is
not lost: it is held back and written when the decoder is done.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from threading import Lock, get_ident
from typing import Any

_LOCK = Lock()
_inside = 0
_terminal = -1
_held: Any = None
_CHATTER = re.compile(
    rb"^(<python_buffer>|<?unknown file>?: |\S*: data corrupted at |.*EXR_ERR_|.*: Unexpected end of file"
    rb"|PNG warning: ).*\n?",
    re.MULTILINE,
)


class _Sieve(StringIO):
    """A ``sys.stdout`` that keeps one thread's words and passes on everyone else's."""

    def __init__(self, passed_on: Any) -> None:
        super().__init__()
        self.passed_on, self.thread, self.active = passed_on, get_ident(), True

    def write(self, text: str) -> int:
        if self.active and get_ident() == self.thread:
            return super().write(text)
        return int(self.passed_on.write(text))

    def flush(self) -> None:
        if not self.active or get_ident() != self.thread:
            self.passed_on.flush()


@contextmanager
def quiet() -> Iterator[StringIO]:
    """Hold back file descriptor 2, and catch this thread's prints (yielded). Threads may overlap."""
    sieve = _Sieve(sys.stdout)
    sys.stdout = sieve
    _enter()
    try:
        yield sieve
    finally:
        _leave()
        sieve.active = False
        if sys.stdout is sieve:
            sys.stdout = sieve.passed_on


def _holder() -> Any:
    if hasattr(os, "memfd_create"):
        return os.fdopen(os.memfd_create("lookdev"), "w+b", buffering=0)
    return tempfile.TemporaryFile(buffering=0)


def _enter() -> None:
    global _inside, _terminal, _held
    with _LOCK:
        _inside += 1
        if _inside > 1:
            return
        try:
            sys.stderr.flush()
            _terminal, _held = os.dup(2), _holder()
            os.dup2(_held.fileno(), 2)
        except (OSError, AttributeError, ValueError):  # no standard error to speak of
            _terminal, _held = -1, None


def _leave() -> None:
    global _inside, _terminal, _held
    with _LOCK:
        _inside -= 1
        if _inside or _held is None:
            return
        sys.stderr.flush()
        os.dup2(_terminal, 2)
        os.close(_terminal)
        _held.seek(0)
        others = _CHATTER.sub(b"", _held.read())
        _held.close()
        _terminal, _held = -1, None
        if others:
            os.write(2, others)
