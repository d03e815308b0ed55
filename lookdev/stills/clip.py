"""Clips (.mp4, .mov): one picture of one, decoded by FFmpeg's libraries through PyAV.

What its code values mean is what the stream's tags say (ITU-T H.273: primaries, transfer, matrix, range);
a stream without tags is read as BT.709 of narrow range, which is said. A clip is never read in whole: the
index, and what lies between the key picture before the moment and the moment.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import StillError
from lookdev.stills.hdr import hdr_words, scene_light
from lookdev.stills.marking import UNSPECIFIED, marked_by_code_points
from lookdev.stills.part import Moment, Part, moment_words
from lookdev.stills.still import Metadata, Still

if TYPE_CHECKING:
    import av

MOST_DECODED = 2000
"""Pictures from a key picture to a moment: a phone has one a second; one in half a minute at 60 a second."""
_BT709 = 1
# ITU-T H.273 (2024) table 4, matrix coefficients, by FFmpeg's name for its conversion
_MATRICES = {1: "bt709", 4: "fcc", 5: "bt601", 6: "bt601", 7: "smpte240m", 9: "bt2020"}
_FULL = 2  # FFmpeg's AVCOL_RANGE_JPEG
_OPENED = 1990  # clocks that were never set say 1904 or 1970


def info(path: Path, part: Part | None, max_pixels: int) -> tuple[tuple[int, int], Metadata]:
    """(height, width) upright, and the metadata, of a clip; its first picture is decoded.

    Raises
    ------
    StillError : it is empty, broken, has no picture, or ends before the moment.
    """
    with _opened(path) as (container, stream):
        at_s = _checked_moment(container, stream, part)
        frame = next(_frames(container, stream), None)
        if frame is None:
            raise StillError("this clip is broken or cut short", wanted="one with a picture")
        _check_size(frame, max_pixels)
        turned = _quarters(frame) % 2 == 1
        size = (frame.width, frame.height) if turned else (frame.height, frame.width)
        return size, _metadata(container, stream, at_s)


def read(
    path: Path,
    part: Part | None,
    max_pixels: int,
    *,
    salvage: bool = False,
    admit: Callable[[int], None] | None = None,
) -> Still:
    """One picture of a clip, upright; see :func:`lookdev.stills.reader.read_still`.

    Raises
    ------
    StillError : it is empty, broken, has no picture, ends before the moment, or is damaged there.
    """
    with _opened(path) as (container, stream):
        at_s = _checked_moment(container, stream, part)
        frame = _frame_at(container, stream, at_s)
        _check_size(frame, max_pixels)
        if frame.is_corrupt and not salvage:
            raise StillError(
                "the clip is damaged at this moment",
                found=moment_words(at_s),
                wanted="another moment, or --salvage to use it as it is",
            )
        if admit is not None:
            admit(frame.width * frame.height * 24)
        metadata = _metadata(container, stream, at_s)
    pixels, encoding, origin, warnings = _colours(frame)
    if frame.is_corrupt:
        warnings = (*warnings, "the clip is damaged at this moment: used as it is")
    pixels = np.ascontiguousarray(np.rot90(pixels, _quarters(frame)))
    pixels, encoding, hdr = scene_light(pixels, encoding)
    which = "the middle" if part is None or part == Moment() else "the moment asked for"
    notes = [f"a picture of a clip, at {moment_words(at_s)}: {which}"]
    return Still(
        path=path,
        pixels=pixels,
        encoding=encoding,
        encoding_origin=origin,
        metadata=metadata,
        warnings=warnings,
        notes=(*notes, *([hdr_words(hdr)] if hdr else [])),
        full_size=(int(pixels.shape[0]), int(pixels.shape[1])),
        hdr=hdr,
    )


@contextmanager
def _opened(path: Path) -> Iterator[tuple[av.container.InputContainer, av.VideoStream]]:
    """The container and its stream of pictures; whatever FFmpeg says of a broken file becomes one line."""
    import av

    av.logging.set_level(None)
    broken = "this clip is broken or cut short"
    try:
        # the format is given, and no file but this one: a list of other files or an address is none
        with av.open(
            str(path), format="mov", options={"protocol_whitelist": "file", "enable_drefs": "0"}
        ) as container:
            streams = [s for s in container.streams.video if not _is_cover(s)]
            if not streams:
                raise StillError("this clip has no picture", wanted="a stream of pictures beside the sound")
            stream = streams[0]
            stream.thread_type = "AUTO"
            yield container, stream
    except StillError:
        raise
    except MemoryError as error:
        raise StillError("this clip needs more memory than there is") from error
    except (av.FFmpegError, ValueError, OSError, EOFError, ArithmeticError) as error:
        said = getattr(error, "strerror", None) or str(error)
        raise StillError(f"{broken} ({' '.join(str(said).split())})" if said else broken) from error


def _is_cover(stream: Any) -> bool:
    """Whether a stream is a picture on the cover, not the clip's."""
    return "attached_pic" in str(stream.disposition)


def _duration_s(container: Any, stream: Any) -> float | None:
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    return None if container.duration is None else container.duration / 1e6


def _checked_moment(container: Any, stream: Any, part: Part | None) -> float:
    """Seconds from the clip's beginning of the picture that is asked for."""
    length = _duration_s(container, stream)
    at_s = part.at_s if isinstance(part, Moment) else None
    if at_s is None:
        return (length or 0.0) / 2
    if length is not None and at_s > length:
        raise StillError(
            "the clip ends before this moment",
            found=moment_words(at_s),
            wanted=f"a moment up to {moment_words(length)}",
        )
    return at_s


def _frames(container: Any, stream: Any) -> Iterator[Any]:
    for count, frame in enumerate(container.decode(stream)):
        if count >= MOST_DECODED:
            raise StillError("no key picture near this moment", wanted="another moment of the clip")
        yield frame


def _frame_at(container: Any, stream: Any, at_s: float) -> Any:
    """The picture that is seen ``at_s`` seconds from the clip's beginning."""
    start = float((stream.start_time or 0) * stream.time_base)
    container.seek(int((start + at_s) / stream.time_base), stream=stream, backward=True, any_frame=False)
    seen = None
    for frame in _frames(container, stream):
        ahead = frame.time is not None and frame.time - start > at_s + 1e-4
        if ahead and seen is not None:
            break
        seen = frame
        if ahead:
            break
    if seen is None:
        raise StillError("this clip is broken or cut short", found=f"no picture at {moment_words(at_s)}")
    return seen


def _check_size(frame: Any, max_pixels: int) -> None:
    if frame.width * frame.height > max_pixels:
        raise StillError(
            "the picture is too large",
            found=f"{frame.width} x {frame.height} pixels",
            wanted=f"at most {max_pixels} pixels (--max-pixels)",
        )


def _quarters(frame: Any) -> int:
    """Quarters of a turn, counterclockwise, that make a picture upright (the track's matrix)."""
    return int(round(frame.rotation / 90) % 4)


def _colours(frame: Any) -> tuple[NDArray[Any], Encoding, str, tuple[str, ...]]:
    """Full-range RGB (h, w, 3), its encoding, what decided that, and warnings."""
    matrix, primaries, transfer = int(frame.colorspace), int(frame.color_primaries), int(frame.color_trc)
    said = [
        f"{name} {value}"
        for name, value in (("primaries", primaries), ("transfer", transfer), ("matrix", matrix))
        if value not in (UNSPECIFIED, 0)
    ]
    is_rgb = frame.format.name.startswith(("gbr", "rgb", "bgr"))
    if not is_rgb and matrix not in (*_MATRICES, UNSPECIFIED, 0):
        raise StillError(
            "the clip's matrix is not known",
            found=f"matrix {matrix} (ITU-T H.273)",
            wanted="BT.709 or BT.2020",
        )
    pixels = _rgb(frame, _MATRICES.get(matrix, "bt709"))
    if not said:
        words = "assumed BT.709, narrow range: the clip has no colour tags"
        return pixels, get_encoding("BT.709"), words, (words,)
    marked, warnings = marked_by_code_points(
        _BT709 if primaries in (UNSPECIFIED, 0) else primaries,
        _BT709 if transfer in (UNSPECIFIED, 0) else transfer,
        f"the clip's tags ({', '.join(said)})",
    )
    left = [n for n, v in (("primaries", primaries), ("transfer", transfer), ("matrix", matrix))
            if v in (UNSPECIFIED, 0) and not (n == "matrix" and is_rgb)]  # fmt: skip
    if left:
        warnings = (*warnings, f"the clip's tags leave {' and '.join(left)} open: BT.709 is assumed")
    if marked is None:
        return pixels, get_encoding("BT.709"), "assumed BT.709", warnings
    return pixels, marked[0], marked[1], warnings


def _rgb(frame: Any, matrix: str) -> NDArray[Any]:
    """R'G'B' of full range (h, w, 3): uint8 of 8-bit pictures, uint16 of deeper ones."""
    from av.filter import Graph

    deep = max(component.bits for component in frame.format.components) > 8
    full = int(frame.color_range) == _FULL or frame.format.name.startswith("yuvj")
    graph = Graph()
    made = "rgb48le" if deep else "rgb24"
    size = {
        "width": frame.width,
        "height": frame.height,
        "format": frame.format,
        "time_base": frame.time_base,
    }
    steps = [
        graph.add_buffer(**size),
        graph.add(
            "scale",
            f"in_color_matrix={matrix}:in_range={'full' if full else 'limited'}:out_range=full:"
            "flags=bicubic+accurate_rnd+full_chroma_int+full_chroma_inp",
        ),
        graph.add("format", made),
        graph.add("buffersink"),
    ]
    graph.link_nodes(*steps).configure()
    graph.push(frame)
    made_frame: Any = graph.pull()
    return np.ascontiguousarray(made_frame.to_ndarray(format=made))


def _metadata(container: Any, stream: Any, at_s: float) -> Metadata:
    """Time and camera, as the container has them; a clip says nothing of its exposure."""
    tags = {str(k).casefold(): str(v) for m in (stream.metadata, container.metadata) for k, v in m.items()}
    # keys of ISO/IEC 14496-12 and of the QuickTime file format
    local, utc = tags.get("com.apple.quicktime.creationdate"), tags.get("creation_time")
    found, is_utc, origin = _time(local), False, "the clip's creationdate"
    if found is None:
        found, is_utc, origin = _time(utc), True, "the clip's creation_time"
    make = tags.get("make") or tags.get("com.apple.quicktime.make") or ""
    model = tags.get("model") or tags.get("com.apple.quicktime.model") or ""
    camera = " ".join((model if model.startswith(make) else f"{make} {model}").split()) or None
    metadata = Metadata(camera=camera, origins={} if camera is None else {"camera": "the clip's tags"})
    if found is None:
        return metadata
    date = (found + dt.timedelta(seconds=at_s)).replace(microsecond=0).isoformat()
    return replace(metadata, date=date, is_utc=is_utc, origins={**metadata.origins, "date": origin})


def _time(text: str | None) -> dt.datetime | None:
    """A date and time as written, its zone left aside."""
    if text is None:
        return None
    try:
        plain = re.sub(r"([+-]\d\d)(\d\d)$", r"\1:\2", text.strip())
        found = dt.datetime.fromisoformat(plain).replace(tzinfo=None)
    except ValueError:
        return None
    return found if found.year >= _OPENED else None
