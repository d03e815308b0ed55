"""Decoders' own chatter is dropped; what anyone else writes meanwhile is kept."""

from __future__ import annotations

import os
import threading

import pytest

from lookdev.stills.quiet import quiet


def test_chatter_is_dropped_and_other_words_are_kept(capfd: pytest.CaptureFixture[str]) -> None:
    def another() -> None:
        print("another thread")

    with quiet() as said:
        print("Warning: Exception raised reading pixel data")
        os.write(2, b"<python_buffer>: (EXR_ERR_BAD_CHUNK_LEADER) Invalid chunk size\n")
        os.write(2, b"unknown file: Unexpected end of file\n")
        os.write(2, b"b.jpg: this JPEG file is broken\n")
        worker = threading.Thread(target=another)
        worker.start()
        worker.join()
    print("after")
    out = capfd.readouterr()
    assert said.getvalue() == "Warning: Exception raised reading pixel data\n"
    assert out.out == "another thread\nafter\n"
    assert out.err == "b.jpg: this JPEG file is broken\n"


def test_overlapping_threads_leave_everything_as_it_was(capfd: pytest.CaptureFixture[str]) -> None:
    inside, done = threading.Event(), threading.Event()

    def first() -> None:
        with quiet():
            inside.set()
            done.wait(5)

    worker = threading.Thread(target=first)
    worker.start()
    inside.wait(5)
    with quiet():
        os.write(2, b"kept\n")
        done.set()
        worker.join()
    print("out")
    os.write(2, b"err\n")
    assert capfd.readouterr() == ("out\n", "kept\nerr\n")
