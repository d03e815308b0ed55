"""One still with all its looks: the unit of work of a batch.

A :class:`Task` is plain data that pickles; :func:`do_task` needs nothing else, so that it runs in a thread,
in another process or on another machine that sees the same folders. It decodes the still once, grades it
through every look, writes every output whole, and makes the small pictures that the sheets need.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import LookdevError
from lookdev.files import whole_file
from lookdev.render.journal import Record, content_key, file_sha256

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lookdev.looks.pipeline import LookLike
    from lookdev.looks.stages.balance import Cast
    from lookdev.stills.still import Still


@dataclass(frozen=True)
class Output:
    """One graded still to write.

    Attributes
    ----------
    look : a look, or a received LUT that stands in for one.
    path : where it goes; the suffix picks JPEG, PNG or TIFF.
    cast, exposure_stops : what was metered for this still, as ``look.transform`` takes it.
    target : encoding to write; None keeps the still's own (sRGB for scene-referred stills).
    bits : 8 or 16 (16 in PNG and TIFF only).
    quality, subsampling : JPEG quality 1 to 100; "4:4:4", "4:2:2" or "4:2:0".
    """

    look: LookLike
    path: Path
    cast: Cast | None = None
    exposure_stops: float = 0.0
    target: Encoding | None = None
    bits: int = 8
    quality: int = 92
    subsampling: str = "4:4:4"


@dataclass(frozen=True)
class Task:
    """One still and everything to be made of it.

    Attributes
    ----------
    still : the file to read; it is never written.
    outputs : graded stills; may be empty if only the thumbnail as it stood is wanted.
    thumbnails : folder for the small sRGB pictures (PNG), or None for none.
    thumbnail_box : (width, height) in pixels within which they fit.
    exact : grade through the float64 reference, not the lattice.
    """

    still: Path
    outputs: tuple[Output, ...] = ()
    thumbnails: Path | None = None
    thumbnail_box: tuple[int, int] = (720, 480)
    exact: bool = False


@dataclass(frozen=True)
class OutputResult:
    """What became of one output: ``error`` is one line or None; ``skipped`` if it was up to date."""

    path: Path
    sha256: str | None = None
    key: str | None = None
    error: str | None = None
    skipped: bool = False
    thumbnail: Path | None = None


@dataclass(frozen=True)
class TaskResult:
    """What became of a still. ``error`` is set if the still could not be used; then so is each output's.

    Attributes
    ----------
    as_it_stood : thumbnail of the still ungraded (PNG, sRGB), or None.
    encoding, encoding_origin, warnings : as the still says, for reports.
    seconds : read, grade, write; wall time in the worker. Not for files: it differs from run to run.
    """

    still: Path
    outputs: tuple[OutputResult, ...] = ()
    as_it_stood: Path | None = None
    error: str | None = None
    still_sha256: str | None = None
    encoding: str | None = None
    encoding_origin: str | None = None
    warnings: tuple[str, ...] = ()
    seconds: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def ok(self) -> bool:
        """Whether the still and every output came out well."""
        return self.error is None and all(o.error is None for o in self.outputs)

    @property
    def errors(self) -> list[str]:
        """One line for each thing that failed, in order."""
        if self.error is not None:
            return [self.error]
        return [o.error for o in self.outputs if o.error is not None]


def do_task(task: Task, done: dict[str, Record] | None = None) -> TaskResult:
    """Do everything in ``task``; failures come back in the result, each as one line.

    Parameters
    ----------
    task : what to do.
    done : journal records by output path (as text). An output whose record has the same key, and whose file
        still has the recorded content, is skipped.
    """
    try:
        return _do(task, done or {})
    except LookdevError as error:
        return _failed(task, str(error))
    except (OSError, MemoryError) as error:
        return _failed(task, str(LookdevError(f"cannot be used: {error}", file=task.still)))


def _failed(task: Task, line: str) -> TaskResult:
    return TaskResult(task.still, tuple(OutputResult(o.path, error=line) for o in task.outputs), error=line)


def _thumbnail_paths(task: Task) -> tuple[Path | None, list[Path | None]]:
    """Names that depend on the still and on the place of the output in the task, nothing else."""
    if task.thumbnails is None:
        return None, [None] * len(task.outputs)
    stem = content_key(task.still.name, [o.path.as_posix() for o in task.outputs])[:24]
    names = [task.thumbnails / f"{stem}_{i + 1}.png" for i in range(len(task.outputs))]
    return task.thumbnails / f"{stem}_0.png", list(names)


def _do(task: Task, done: dict[str, Record]) -> TaskResult:
    from lookdev.stills.reader import read_still

    still_sha = file_sha256(task.still)
    still = read_still(task.still)
    stood, thumbs = _thumbnail_paths(task)
    small = None
    if stood is not None:
        small = _reduced(still, task.thumbnail_box)
        _write_thumbnail(stood, _as_srgb(small))
    results = []
    for output, thumb in zip(task.outputs, thumbs, strict=True):
        try:
            results.append(_one_output(task, still, output, small, thumb))
        except LookdevError as error:
            results.append(OutputResult(output.path, error=str(error)))
    return TaskResult(
        still=task.still,
        outputs=tuple(results),
        as_it_stood=stood,
        still_sha256=still_sha,
        encoding=still.encoding.name,
        encoding_origin=still.encoding_origin,
        warnings=tuple(still.warnings),
    )


def _one_output(
    task: Task, still: Still, output: Output, small: Still | None, thumb: Path | None
) -> OutputResult:
    from lookdev.render.reference import grade_reference
    from lookdev.stills.writer import write_still

    target = output.target or (still.encoding if still.encoding.state == "output" else get_encoding("sRGB"))
    transform = output.look.transform(still.encoding, target, output.cast, output.exposure_stops)
    pixels = grade_reference(still.pixels, transform, bits=output.bits)
    write_still(
        output.path,
        pixels,
        target,
        metadata=still.metadata,
        quality=output.quality,
        subsampling=output.subsampling,
    )
    if small is not None and thumb is not None:
        to_srgb = output.look.transform(
            still.encoding, get_encoding("sRGB"), output.cast, output.exposure_stops
        )
        _write_thumbnail(thumb, grade_reference(small.pixels, to_srgb, bits=8))
    return OutputResult(output.path, sha256=file_sha256(output.path), thumbnail=thumb)


def _reduced(still: Still, box: tuple[int, int]) -> Still:
    """The still reduced in linear light to fit ``box`` (width, height)."""
    import cv2
    import numpy as np

    height, width = still.pixels.shape[:2]
    scale = min(box[0] / width, box[1] / height, 1.0)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    light = np.asarray(still.encoding.decode(still.signal()), dtype=np.float32)
    light = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    return replace(still, pixels=np.asarray(still.encoding.encode(light), dtype=np.float32))


def _as_srgb(still: Still) -> NDArray[np.uint8]:
    """An ungraded still as sRGB code values: scene-referred light is rendered."""
    from lookdev.looks.model import Look
    from lookdev.render.reference import grade_reference

    plain = Look(title="as it stood").transform(still.encoding, get_encoding("sRGB"))
    return grade_reference(still.pixels, plain, bits=8)  # type: ignore[return-value]


def _write_thumbnail(path: Path, pixels: NDArray[np.uint8]) -> None:
    import cv2

    with whole_file(path) as part:
        part.write_bytes(cv2.imencode(".png", pixels[..., ::-1])[1].tobytes())
