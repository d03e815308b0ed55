"""One still with all its looks: the unit of work of a batch.

A :class:`Task` is plain data that pickles; :func:`do_task` needs nothing else, so that it runs in a thread,
in another process or on another machine that sees the same folders. It decodes the still once, grades it
through every look, writes every output whole, and makes the small pictures that the sheets need. A look is
graded and encoded while the one before it goes to the disk.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Any

from lookdev.errors import LookdevError
from lookdev.files import write_whole
from lookdev.render.buffers import Loan
from lookdev.render.grader import Grader, Output, target_of
from lookdev.render.in_flight import IN_FLIGHT
from lookdev.render.journal import Record, content_key, tool_version
from lookdev.stills.ahead import wait_until_free
from lookdev.stills.digest import file_sha256, still_sha256

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lookdev.stills.formats import TakeMemory
    from lookdev.stills.part import Part
    from lookdev.stills.still import Metadata, Still

_THUMBNAIL_QUALITY = 97


@dataclass(frozen=True)
class Task:
    """One still and everything to be made of it.

    Attributes
    ----------
    still : the file to read; it is never written.
    outputs : graded stills; may be empty if only the thumbnail as it stood is wanted.
    thumbnails : folder for the small sRGB pictures, or None for none.
    thumbnail_box : (width, height) in pixels within which they fit.
    exact : grade through the float64 reference, not the lattice.
    write_stills : whether the outputs themselves are wanted, or their thumbnails alone.
    salvage : use a truncated or damaged JPEG as far as it decodes, with a warning.
    keep_private : write position, owner and serial numbers too, where the still has them.
    max_pixels : refuse stills larger than this; None for the reader's own limit.
    light_xy : the light that was metered at the still, which raw files with two matrices are developed for.
    part : what of the file the still is: a view of a panorama, a moment of a clip; None: the file's own.
    """

    still: Path
    outputs: tuple[Output, ...] = ()
    thumbnails: Path | None = None
    thumbnail_box: tuple[int, int] = (720, 480)
    exact: bool = False
    write_stills: bool = True
    salvage: bool = False
    keep_private: bool = False
    max_pixels: int | None = None
    light_xy: tuple[float, float] | None = None
    part: Part | None = None

    def read(
        self,
        *,
        reduced: bool = False,
        take: TakeMemory | None = None,
        admit: Callable[[int], None] | None = None,
    ) -> Still:
        """The still; ``reduced``: at a scale that is enough for the thumbnails; the rest as in the reader.

        Raises
        ------
        StillError : it cannot be read.
        """
        from lookdev.stills.reader import MAX_PIXELS, read_still

        return read_still(
            self.still,
            max_pixels=self.max_pixels or MAX_PIXELS,
            salvage=self.salvage,
            enough_px=max(self.thumbnail_box) if reduced else None,
            light_xy=self.light_xy,
            part=self.part,
            take=take,
            admit=admit,
        )

    def read_info(self) -> tuple[tuple[int, int], Metadata]:
        """(height, width) and what the still says of itself, without its pixels.

        Raises
        ------
        StillError : it cannot be read.
        """
        from lookdev.stills.reader import MAX_PIXELS, read_info

        limit = self.max_pixels or MAX_PIXELS
        return read_info(self.still, max_pixels=limit, light_xy=self.light_xy, part=self.part)


@dataclass(frozen=True)
class OutputResult:
    """What became of one output: ``error`` is one line or None; ``skipped`` if it was up to date."""

    path: Path
    sha256: str | None = None
    key: str | None = None
    error: str | None = None
    skipped: bool = False
    thumbnail: Path | None = None
    thumbnail_sha256: str | None = None


@dataclass(frozen=True)
class TaskResult:
    """What became of a still. ``error`` is set if the still could not be used; then so is each output's.

    Attributes
    ----------
    as_it_stood : thumbnail of the still ungraded (sRGB), or None.
    encoding, encoding_origin, warnings, notes : as the still says, for reports.
    part : as in the task.
    seconds : wall time in the worker by kind of work ("read", "grade", "encode", "wait"). Not for files: it
        differs from run to run.
    """

    still: Path
    outputs: tuple[OutputResult, ...] = ()
    as_it_stood: Path | None = None
    error: str | None = None
    still_sha256: str | None = None
    encoding: str | None = None
    encoding_origin: str | None = None
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    stood_sha256: str | None = None
    part: Part | None = None
    seconds: dict[str, float] = field(default_factory=dict)

    def facts(self) -> dict[str, Any]:
        """What reports want to know about the still, as the journal keeps it; see :func:`still_facts`."""
        return {name: list(v) if isinstance(v := getattr(self, name), tuple) else v for name in _FACTS}

    @property
    def ok(self) -> bool:
        """Whether the still and every output came out well."""
        return self.error is None and all(o.error is None for o in self.outputs)

    @property
    def thumbnails(self) -> list[Path]:
        """The small pictures of it."""
        paths = (self.as_it_stood, *(o.thumbnail for o in self.outputs))
        return [path for path in paths if path is not None]

    @property
    def errors(self) -> list[str]:
        """One line for each thing that failed, in order."""
        if self.error is not None:
            return [self.error]
        return [o.error for o in self.outputs if o.error is not None]


_FACTS = ("encoding", "encoding_origin", "warnings", "notes")


def still_facts(still: Still) -> dict[str, Any]:
    """What a still says of itself for reports: names as in :class:`TaskResult`, values as JSON has them."""
    values = (still.encoding.name, still.encoding_origin, list(still.warnings), list(still.notes))
    return dict(zip(_FACTS, values, strict=True))


def _told(facts: dict[str, Any]) -> dict[str, Any]:
    """The same as :class:`TaskResult` takes it; what an older journal lacks is left out."""
    return {n: tuple(facts[n]) if isinstance(facts[n], list) else facts[n] for n in _FACTS if n in facts}


Stop = Callable[[], bool]
See = Callable[["Task", "Still"], None]


def do_task(
    task: Task,
    done: dict[str, Record] | None = None,
    stop: Stop | None = None,
    see: See | None = None,
) -> TaskResult:
    """Do everything in ``task``; failures come back in the result, each as one line.

    Parameters
    ----------
    task : what to do.
    done : journal records by output path (as text). An output whose record has the same key, and whose file
        still has the recorded content, is skipped.
    stop : asked before each output; once it says yes, the outputs left come back as interrupted.
    see : is shown the still as it was read, before it is graded, which uses its pixels up.
    """
    try:
        return _Work(task, stop or (lambda: False), see).run(done or {})
    except LookdevError as error:
        return failed(task, str(error))
    except (OSError, MemoryError) as error:
        return failed(task, str(LookdevError(f"cannot be used: {error}", file=task.still)))
    except Exception as error:  # a fault of ours must not take the other stills with it
        words = f"a fault in lookdev, please report it: {type(error).__name__}: {error}"
        return failed(task, str(LookdevError(words, file=task.still)))


def failed(task: Task, line: str) -> TaskResult:
    """The result of a task of which nothing came, with ``line`` for a person."""
    outputs = tuple(OutputResult(o.path, error=line) for o in task.outputs)
    return TaskResult(task.still, outputs, error=line, part=task.part)


def output_key(still_sha256: str, output: Output, task: Task) -> str:
    """What an output is made from: content of the still, reading, look, options, and this tool."""
    return content_key(
        tool_version(),
        still_sha256,
        output.look.fingerprint(),
        output.cast,
        output.exposure_stops,
        output.target.name if output.target is not None else None,
        [output.path.suffix.lower(), output.bits, output.quality, output.subsampling],
        [
            task.exact,
            task.salvage,
            task.keep_private,
            task.light_xy,
            task.part,
            task.thumbnail_box if task.thumbnails is not None else None,
        ],
    )


class _Work:
    """One task while it is being done."""

    def __init__(self, task: Task, stop: Stop, see: See | None) -> None:
        self.task, self.stop, self.see = task, stop, see
        self.seconds = {"read": 0.0, "grade": 0.0, "encode": 0.0, "wait": 0.0}
        self.stood, self.thumbnails = _thumbnail_paths(task)
        self.stood_sha256: str | None = None

    def run(self, done: dict[str, Record]) -> TaskResult:
        start = perf_counter()
        task = self.task
        digest = still_sha256(task.still)
        keys = [output_key(digest, output, task) for output in task.outputs]
        results: list[OutputResult | None] = [
            self._up_to_date(i, key, done.get(str(task.outputs[i].path))) for i, key in enumerate(keys)
        ]
        facts = next((r.facts for r in map(done.get, (str(o.path) for o in task.outputs)) if r), None)
        if facts and all(results) and results and _is_as_written(self.stood, facts.get("stood_sha256")):
            self.stood_sha256 = facts.get("stood_sha256")
            return self._result(digest, results, facts)

        memory = Loan()
        with IN_FLIGHT.place() as place:
            still = task.read(take=memory.take, admit=place.take)
            memory.give_back(in_use=still.pixels)
            facts = still_facts(still)
            self.seconds["read"] += perf_counter() - start
            if self.see is not None:
                self.see(task, still)
            self._grade(still, keys, results)
            memory.give_back()
        return self._result(digest, results, facts)

    def _up_to_date(self, i: int, key: str, record: Record | None) -> OutputResult | None:
        output, thumbnail = self.task.outputs[i], self.thumbnails[i]
        if record is None or record.key != key or not output.path.is_file():
            return None
        if not _is_as_written(thumbnail, record.thumbnail_sha256):
            return None
        if file_sha256(output.path) != record.sha256:
            return None
        done = OutputResult(output.path, record.sha256, key, skipped=True, thumbnail=thumbnail)
        return replace(done, thumbnail_sha256=record.thumbnail_sha256)

    def _result(self, digest: str, results: list[OutputResult | None], facts: dict[str, Any]) -> TaskResult:
        return TaskResult(
            self.task.still,
            tuple(result for result in results if result is not None),
            self.stood,
            still_sha256=digest,
            part=self.task.part,
            stood_sha256=self.stood_sha256,
            seconds=self.seconds,
            **_told(facts),
        )

    def _grade(self, still: Still, keys: list[str], results: list[OutputResult | None]) -> None:
        task, start = self.task, perf_counter()
        small = None
        if self.stood is not None:
            from lookdev.render.thumbnail import as_srgb, reduced_to_box

            small = reduced_to_box(still.pixels, still.encoding, task.thumbnail_box)
            self.stood_sha256 = _write_thumbnail(self.stood, as_srgb(small, still.encoding))
        wait_until_free(still.pixels)
        todo = [i for i, result in enumerate(results) if result is None]
        grader = Grader(still, small, [task.outputs[i] for i in todo], task.exact)
        self.seconds["grade"] += perf_counter() - start
        with closing(grader), ThreadPoolExecutor(1) as disk:
            pending: dict[int, Future[OutputResult]] = {}
            while todo:
                i = grader.first_idle([(j, task.outputs[j]) for j in todo])
                todo.remove(i)
                if self.stop():
                    results[i] = OutputResult(task.outputs[i].path, error=_interrupted(task.outputs[i]))
                    continue
                try:
                    pending[i] = self._one(grader, still, i, keys[i], disk, last=not todo)
                except LookdevError as error:
                    path = task.outputs[i].path
                    results[i] = OutputResult(path, error=str(error.about(path)))
            start = perf_counter()
            for i, future in pending.items():
                try:
                    results[i] = future.result()
                except LookdevError as error:
                    path = task.outputs[i].path
                    results[i] = OutputResult(path, error=str(error.about(path)))
            self.seconds["wait"] += perf_counter() - start

    def _one(
        self, grader: Grader, still: Still, i: int, key: str, disk: ThreadPoolExecutor, last: bool
    ) -> Future[OutputResult]:
        from lookdev.stills.writer import still_bytes

        output, thumbnail = self.task.outputs[i], self.thumbnails[i]
        start = perf_counter()
        pixels, small = grader(output, self.task.write_stills, last)
        self.seconds["grade"] += perf_counter() - start
        start = perf_counter()
        data = None
        if pixels is not None:
            data = still_bytes(
                output.path.suffix,
                pixels,
                target_of(output, still),
                metadata=still.metadata,
                quality=output.quality,
                subsampling=output.subsampling,
                keep_private=self.task.keep_private,
            )
        self.seconds["encode"] += perf_counter() - start

        def write() -> OutputResult:
            seen = None
            if small is not None and thumbnail is not None:
                seen = _write_thumbnail(thumbnail, small)
            if data is None:
                return OutputResult(output.path, thumbnail=thumbnail, thumbnail_sha256=seen)
            write_whole(output.path, data)
            digest = hashlib.sha256(data).hexdigest()
            return OutputResult(output.path, digest, key, thumbnail=thumbnail, thumbnail_sha256=seen)

        return disk.submit(write)


def small_pictures(task: Task, still: Still) -> list[NDArray[np.uint8]]:
    """``still`` (read at reduced scale) as it stood and through each output's look, sRGB code values."""
    from lookdev.render.thumbnail import as_srgb

    grader = Grader(still, still.pixels, task.outputs, task.exact, coarse=True)
    graded = (grader(output, False)[1] for output in task.outputs)
    return [as_srgb(still.pixels, still.encoding), *(picture for picture in graded if picture is not None)]


def _thumbnail_paths(task: Task) -> tuple[Path | None, list[Path | None]]:
    """Names that depend on the still's name and on those of the outputs, nothing else."""
    if task.thumbnails is None:
        return None, [None] * len(task.outputs)
    names = [(o.path.parent.name, o.path.name) for o in task.outputs]
    stem = content_key(task.still.name, names)[:24]
    paths = [task.thumbnails / f"{stem}_{i}.jpg" for i in range(len(task.outputs) + 1)]
    return paths[0], list(paths[1:])


def _interrupted(output: Output) -> str:
    return str(LookdevError("interrupted before it was written", file=output.path))


def _write_thumbnail(path: Path, pixels: NDArray[np.uint8]) -> str:
    from lookdev.stills.jpeg import encode

    data = encode(pixels, _THUMBNAIL_QUALITY, "4:4:4")
    write_whole(path, data)
    return hashlib.sha256(data).hexdigest()


def _is_as_written(thumbnail: Path | None, sha256: str | None) -> bool:
    if thumbnail is None:
        return True
    try:
        return file_sha256(thumbnail) == sha256
    except LookdevError:
        return False
