"""The first stills of a batch, decoded while the program is still loading.

A third of a second goes by from a scout's list of stills to the first task, and nothing but Python runs. The
decoder needs no interpreter, so that it has a core to itself meanwhile. What comes of it is taken by whoever
decodes the same bytes; a still that this cannot decode is decoded by him, who says what is wrong. Where two
want it at once, the still's own task and its place in the pitch, they share it: the one writes over it when
the other has looked. To touch memory for a copy takes as long as to decode again.
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
_shared: list[_Ahead] = []
_lock = threading.Lock()


class _Ahead(threading.Thread):
    """One still on its way: its file's ``size_bytes``, ``wanted`` by so many, ``free`` to be written into."""

    def __init__(self, path: Path, size_bytes: int) -> None:
        super().__init__(name="ahead", daemon=True)
        self.path, self.size_bytes, self.wanted = path, size_bytes, 1
        self.free, self.place = threading.Event(), range(0)
        self.free.set()
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


def will_look(path: Path) -> None:
    """Say that somebody will look at the still at ``path``, if it was begun, beside the one whose it is."""
    with _lock:
        for ahead in _coming:
            if ahead.path == path and ahead.wanted == 1:
                ahead.wanted = 2
                ahead.free.clear()
                _shared.append(ahead)


def has_looked(at: Path | NDArray[Any]) -> None:
    """Say that this is over: of a still at a path, or of pixels that :func:`taken` gave."""
    for ahead in _shared_at(at):
        ahead.free.set()


def wait_until_free(pixels: NDArray[Any]) -> None:
    """Wait until nobody looks at ``pixels`` any more, so that they may be written over.

    Who has not come for them yet is not waited for, and decodes them himself: it may be memory that he waits
    for, which the caller holds.
    """
    for ahead in _shared_at(pixels):
        with _lock:
            if ahead.wanted:
                ahead.wanted, ahead.pixels, ahead.data = 0, None, b""
                _coming[:] = [other for other in _coming if other is not ahead]
                ahead.free.set()
        ahead.free.wait()


def _shared_at(at: Path | NDArray[Any]) -> list[_Ahead]:
    if isinstance(at, Path):
        return [ahead for ahead in _shared if ahead.path == at]
    return [ahead for ahead in _shared if at.__array_interface__["data"][0] in ahead.place]


def taken(data: bytes) -> NDArray[Any] | None:
    """RGB pixels (h, w, 3) of a whole JPEG without a fault, if they were decoded ahead; they are given once.

    After :func:`will_look` they are given twice: see there before writing into them.
    The first other JPEG shows that the beginning is over: what nobody took until then is let go.
    """
    with _lock:
        coming = list(_coming)
    for ahead in coming:
        if ahead.size_bytes != len(data):
            continue
        ahead.join()
        with _lock:
            if ahead in _coming and ahead.data == data and ahead.pixels is not None:
                pixels, ahead.wanted = ahead.pixels, ahead.wanted - 1
                start = pixels.__array_interface__["data"][0]
                ahead.place = range(start, start + pixels.nbytes)
                if not ahead.wanted:
                    _coming.remove(ahead)
                    ahead.pixels, ahead.data = None, b""
                return pixels
    with _lock:
        _coming.clear()
    return None
