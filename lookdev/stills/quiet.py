"""Keeps C libraries from writing to a terminal that belongs to the command line."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from io import StringIO
from threading import Lock

_LOCK = Lock()
_state: dict[str, int] = {"inside": 0, "kept": -1}


@contextmanager
def quiet() -> Iterator[StringIO]:
    """Drop what is written to file descriptor 2; catch what Python prints. Threads may overlap.

    OpenEXR and LibRaw describe broken files on standard error on their own account; the caller has the error
    as an exception and says it in one line.
    """
    said = StringIO()
    _enter()
    try:
        with redirect_stdout(said):
            yield said
    finally:
        _leave()


def _enter() -> None:
    with _LOCK:
        _state["inside"] += 1
        if _state["inside"] > 1:
            return
        try:
            sys.stderr.flush()
            _state["kept"] = os.dup(2)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 2)
            os.close(nowhere)
        except (OSError, AttributeError, ValueError):
            _state["kept"] = -1


def _leave() -> None:
    with _LOCK:
        _state["inside"] -= 1
        if _state["inside"] == 0 and _state["kept"] >= 0:
            os.dup2(_state["kept"], 2)
            os.close(_state["kept"])
            _state["kept"] = -1
