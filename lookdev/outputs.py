"""Where a verb writes: checked against all that it reads, and held for one run at a time.

Every verb goes through :func:`writing` before its first file. A request that would touch an input, or a
folder that another run holds, ends there, and nothing is written.
"""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookdev.errors import RequestError, one_line
from lookdev.files import clip_utf8

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout

_SCOUT_FILES = ("scout.toml", *(f"meter{end}" for end in (".csv", ".tsv", ".txt", ".md", ".xlsx", ".ods")))
_HELD: ContextVar[frozenset[Path]] = ContextVar("folders held", default=frozenset())
_PART = re.compile(r"\.(.+)\.\d+\.part")
_PAGE_NUMBER = re.compile(r"_\d+(?=\.[^.]+$)")
_ELSEWHERE = "another folder (--out DIR)"


@dataclass(frozen=True)
class Inputs:
    """What a verb reads: ``files``, and the ``scout`` folder, into which nothing is ever written.

    ``linked`` : folders elsewhere that the scout links to and has stills in; the same holds for them.
    """

    files: tuple[Path, ...] = ()
    scout: Path | None = None
    linked: tuple[Path, ...] = ()


def inputs_of(scout: Scout | None = None, more: Iterable[Path] = ()) -> Inputs:
    """The inputs of a job: stills, log, scout.toml and spectra of a scout; other files."""
    files = list(more)
    if scout is not None:
        files += [*scout.stills, scout.folder / "scout.toml"]
        files += [scout.log.path] if scout.log.path is not None else []
        files += [r.spectrum for r in scout.log.readings if r.spectrum is not None]
        files += [lamp.spectrum for lamp in scout.kit.lamps if lamp.spectrum is not None]
        files += [f.transmittance for f in scout.kit.filters if f.transmittance is not None]
    if scout is None:
        return Inputs(tuple(dict.fromkeys(files)))
    folders = {p for still in scout.stills for p in still.parents if scout.folder in p.parents}
    linked = tuple(sorted(folder.resolve() for folder in folders if folder.is_symlink()))
    return Inputs(tuple(dict.fromkeys(files)), scout.folder, linked)


def without_places(value: Any, *folders: Path) -> Any:
    """``value``, and every text in it, without the places of ``folders`` on this machine.

    For what is handed on: a file in the scout is called by its path in the scout.

    >>> without_places(["/home/me/day1/a.jpg: the file is empty"], Path("/home/me/day1"))
    ['a.jpg: the file is empty']
    """
    spelled = {text for f in folders for text in (str(f), str(f.absolute()), str(f.resolve()))}
    places = sorted((one_line(text).rstrip("/") + "/" for text in spelled if len(text) > 1), key=len)

    def clean(item: Any) -> Any:
        if isinstance(item, str):
            for place in reversed(places):
                item = re.sub(rf"(?<![^\s'\"(:]){re.escape(place)}", "", item)
            return item
        if isinstance(item, dict):
            return {key: clean(each) for key, each in item.items()}
        return [clean(each) for each in item] if isinstance(item, list | tuple) else item

    return clean(value)


def refuse_scout(scout: Path, out: Path) -> None:
    """Refuse an output folder that is the scout, lies in it, or is no folder.

    Raises
    ------
    RequestError : which folder, and what is wanted.
    """
    if _lies_in(out, scout):
        raise RequestError(
            "the output folder lies inside the scout", file=out, wanted="a folder beside it (--out DIR)"
        )
    if out.exists() and not out.is_dir():
        raise RequestError("the output folder is a file", file=out, wanted="a folder (--out DIR)")


def refuse_any_scout(out: Path) -> None:
    """As :func:`refuse_scout`, for a verb that was given no scout: whatever scout lies around ``out``."""
    scout = scout_around(out)
    refuse_scout(scout if scout is not None else out / "none", out)


def scout_around(folder: Path) -> Path | None:
    """The scout that a folder is or lies in, links followed; None if there is none."""
    here = folder.resolve()
    for place in (here, *here.parents):
        with suppress(OSError):
            if any(entry.name.casefold() in _SCOUT_FILES for entry in os.scandir(place)):
                return place
    return None


def default_folder(name: str, read: Path | None = None) -> Path:
    """Where a verb writes that was not told: ``name`` here; from inside a scout, ``SCOUT_name`` beside it.

    ``read`` : the folder that is read, which counts as a scout even without a log.
    """
    scout = scout_around(Path())
    if scout is None and read is not None and _lies_in(Path(), read):
        scout = read.resolve()
    return Path(name) if scout is None else scout.with_name(f"{scout.name}_{name}")


def _lies_in(path: Path, folder: Path) -> bool:
    here, there = folder.resolve(), path.resolve()
    return there == here or here in there.parents


def check_outputs(inputs: Inputs, out: Path, files: Iterable[Path], pages: Iterable[Path] = ()) -> None:
    """Refuse outputs that would be written into the scout or over an input, links of both kinds followed.

    Parameters
    ----------
    files : every file that is to be written.
    pages : of those that come as numbered pages (``NAME.png``, ``NAME_2.png``, ...), the first.

    Raises
    ------
    RequestError : which output, and which input it is.
    """
    planned = [*files, *pages]
    if inputs.scout is not None:
        refuse_scout(inputs.scout, out)
        for folder in dict.fromkeys(path.parent for path in planned):
            if any(_lies_in(folder, place) for place in (inputs.scout, *inputs.linked)):
                raise RequestError("the output folder lies inside the scout", file=folder, wanted=_ELSEWHERE)
    known = {key: path for path in inputs.files if (key := identity(path)) is not None}
    for page in pages:
        planned += _further_pages(page)
    for path in (*planned, _lock_file(out.resolve())):
        key = identity(path)
        if key in known:
            raise RequestError(
                "an output would be written over an input",
                file=path,
                found=str(known[key]),
                wanted=_ELSEWHERE,
            )


def identity(path: Path) -> tuple[int, int] | None:
    """What tells a file from every other, under any name, links followed; None where there is none."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_dev, found.st_ino


def _further_pages(first: Path) -> list[Path]:
    number = re.compile(re.escape(first.stem) + r"_\d+" + re.escape(first.suffix), re.IGNORECASE)
    try:
        return [p for p in first.parent.iterdir() if number.fullmatch(p.name)]
    except OSError:
        return []


@contextmanager
def writing(
    out: Path, inputs: Inputs, files: Sequence[Path], pages: Sequence[Path] = (), *, as_one: bool = False
) -> Iterator[None]:
    """Check what is to be written, then hold ``out`` and every folder in it: the one door to writing.

    ``as_one`` : ``out`` is built aside and put in place as a whole, so that nothing but it is held.

    Raises
    ------
    RequestError : an output is an input, lies in the scout, or another run holds one of the folders.
    """
    check_outputs(inputs, out, files, pages)
    own = dict.fromkeys(path.parent for path in (*files, *pages))
    between = {place for folder in own for place in folder.parents if out in place.parents}
    with ExitStack() as held:
        for folder in [out] if as_one else sorted({out, *own, *between}):  # outer ones first
            held.enter_context(hold(folder))
        _sweep([*files, *pages])
        yield


def every_page(pages: Iterable[Path]) -> list[Path]:
    """First pages, and what further pages of theirs are there."""
    return [path for page in pages for path in (page, *_further_pages(page))]


def _sweep(planned: Iterable[Path]) -> None:
    """Take away what a killed run left half written of these very files."""
    names: dict[Path, set[str]] = {}
    for path in planned:
        names.setdefault(path.parent, set()).add(clip_utf8(path.name, 200))
    for folder, wanted in names.items():
        with suppress(OSError):
            for path in folder.iterdir():
                left = _PART.fullmatch(path.name)
                if left and (left[1] in wanted or _PAGE_NUMBER.sub("", left[1]) in wanted):
                    path.unlink(missing_ok=True)


@contextmanager
def hold(out: Path) -> Iterator[None]:
    """Hold an output folder for this run; held twice by one run, it counts once.

    The lock is a file beside the folder, or in it where its parent cannot be written. It is gone when the run
    ends; what a killed run leaves of it holds nobody up.

    Raises
    ------
    RequestError : another run holds it, or no lock can be made there.
    """
    folder = out.resolve()
    if folder in _HELD.get():
        yield
        return
    absent = [path for path in (folder, *folder.parents) if not path.exists()]
    lock = None
    try:
        lock = _acquire(folder, out)
        before = _HELD.set(_HELD.get() | {folder})
        try:
            yield
        finally:
            _HELD.reset(before)
    finally:
        if lock is not None:
            _release(lock, _lock_file(folder))
        for path in absent:  # made for the lock, and nothing else came into it
            with suppress(OSError):
                path.rmdir()


def _acquire(folder: Path, out: Path) -> object:
    from filelock import FileLock, Timeout

    if out.exists() and not out.is_dir():
        raise RequestError("the output folder is a file", file=out, wanted="a folder (--out DIR)")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        path = _lock_file(folder)
        lock = FileLock(path, timeout=0)
        lock.acquire()
        while True:  # a lock on a file that its last holder has just taken away is no lock
            probe = FileLock(path, timeout=0)
            try:
                probe.acquire()
            except Timeout:
                return lock
            lock.release()
            lock = probe
    except Timeout:
        raise RequestError(
            "another run is writing into this folder",
            file=out,
            wanted=f"that one to end first, or {_ELSEWHERE}",
        ) from None
    except (OSError, NotImplementedError) as error:
        words = getattr(error, "strerror", None) or str(error)
        if isinstance(error, FileExistsError):  # a file where a folder would have to be
            words = os.strerror(errno.ENOTDIR)
        raise RequestError(f"cannot be written: {words}", file=out, wanted=_ELSEWHERE) from error


def _release(lock: object, path: Path) -> None:
    with suppress(OSError):
        path.unlink(missing_ok=True)
    lock.release()  # type: ignore[attr-defined]


def _lock_file(folder: Path) -> Path:
    if folder.is_dir() and not os.access(folder.parent, os.W_OK):
        return folder / ".lookdev.lock"
    name = folder.name.encode()[:200].decode("utf-8", "ignore")
    return folder.parent / f".{name}.lookdev.lock"
