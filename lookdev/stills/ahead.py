"""The first stills of a batch, decoded while the program is still loading.

A third of a second goes by from a scout's list of stills to the first task, and nothing but Python runs. The
decoder needs no interpreter, so that it has a core to itself meanwhile. What comes of it is taken by whoever
decodes the same bytes; a still that this cannot decode is decoded by him, who says what is wrong. Where two
will want it at once, the still's own task and its place in the pitch, one of them gets a copy: a sixth of the
time of decoding again.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_PIXELS = 40_000_000
_MOST_BYTES = 60_000_000
_SUFFIXES = (".jpg", ".jpeg")

_coming: list[_Ahead] = []
_lock = threading.Lock()


class _Ahead(threading.Thread):
    """One still on its way; ``size_bytes`` of its file, ``wanted`` by how many."""

    def __init__(self, path: Path, size_bytes: int) -> None:
        super().__init__(name="ahead", daemon=True)
        self.path, self.size_bytes, self.wanted = path, size_bytes, 1
        self.copying = threading.Lock()
        self.data, self.pixels = b"", None  # type: bytes, NDArray[Any] | None

    def run(self) -> None:
        try:
            import simplejpeg

            data = self.path.read_bytes()
            height, width, colours, _ = simplejpeg.decode_jpeg_header(data)
            if height * width <= MOST_PIXELS and colours == "YCbCr":
                self.pixels = simplejpeg.decode_jpeg(data, "RGB", strict=True)
                self.data = data
        except Exception:  # it is read again, and named then
            self.pixels = None


def begin(paths: Sequence[Path]) -> None:
    """Begin to decode those of ``paths`` that are JPEGs of usual size."""
    for path in paths:
        try:
            size = path.stat().st_size if path.is_file() else 0
        except OSError:
            continue
        if path.suffix.lower() in _SUFFIXES and 0 < size <= _MOST_BYTES:
            ahead = _Ahead(path, size)
            with _lock:
                _coming.append(ahead)
            ahead.start()


def wanted_twice(path: Path) -> None:
    """Say that the still at ``path``, if it was begun, will be taken by one more."""
    with _lock:
        for ahead in _coming:
            ahead.wanted += ahead.path == path


def taken(data: bytes) -> NDArray[Any] | None:
    """RGB pixels (h, w, 3) of a whole JPEG without a fault, if they were decoded ahead.

    They are given once, and are the taker's own; before that, copies to as many as :func:`wanted_twice` said.
    The first other JPEG shows that the beginning is over: what nobody took until then is let go.
    """
    with _lock:
        coming = list(_coming)
    for ahead in coming:
        if ahead.size_bytes != len(data):
            continue
        ahead.join()
        with ahead.copying:  # who gets the pixels themselves may write over them
            with _lock:
                found = ahead in _coming and ahead.data == data
                if found:
                    ahead.wanted -= 1
                    if not ahead.wanted:
                        _coming.remove(ahead)
            if found and ahead.pixels is not None:
                return ahead.pixels.copy() if ahead.wanted else ahead.pixels
    with _lock:
        _coming.clear()
    return None
