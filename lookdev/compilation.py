"""Compiled loops: numba's compiler, asked late, with a cache of our own on disk.

numba's own cache looks at the file that a function stands in, not at those of the functions that it calls: an
edited helper left the old code running. Here the folder's name is a digest of every source that holds a
kernel, and of the versions and the processor that the code was made for, so that an edit or an upgrade never
runs stale code; each file begins with a digest of the rest, so that a damaged one is never run either. Any
fault of the cache means compiling without it, and :func:`faults` says what was wrong.

What is kept is called without numba (:mod:`lookdev.kept_code`): it is loaded where there is something to be
compiled, and where a trial of that way did not end well.

The folder is ``NUMBA_CACHE_DIR`` where that is set, else beside this file, else the user's cache folder.

A kernel may refer to numbers of its own file and to other kernels; all else comes in as an argument, as
compiled code keeps what it was compiled with (``tests/unit/test_compilation.py`` reads the sources).
"""

from __future__ import annotations

import contextlib
import gc
import hashlib
import os
import pickle
import shutil
import sys
import threading
from collections.abc import Callable, Hashable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from lookdev.kept_code import (
    UnloadableError,
    beside,
    host,
    kinds,
    kinds_in_words,
    linked,
    packed,
    works_alone,
)

_HERE = Path(__file__).resolve().parent
_KEPT_FOLDERS = 3  # of earlier digests: another branch or version may be in use at the same time
_DIGEST_BYTES = 32
_COMPLETE, _TRIED = "complete", "tried"
_PLACE = "NUMBA_CACHE_DIR"
_SOURCES = (
    "compilation.py",
    "kept_code.py",
    "looks/elementary.py",
    "looks/rendering.py",
    "looks/signal.py",
    "looks/stages",
    "looks/steps.py",
    "render/averages.py",
    "render/deep_kernel.py",
    "render/distinct.py",
    "render/every_pixel.py",
    "render/grid_kernel.py",
    "render/kernel.py",
    "render/quarters.py",
)
"""Files and folders, named here, as to look through the package takes 15 ms of every start; a test does."""
_BLAS = "scipy.linalg.cython_blas"

_kernels: list[Kernel] = []
_faults: list[str] = []
_unloadable: set[str] = set()
_trials: list[bool] = []
_lock = threading.Lock()


class Kernel:
    """A loop to be compiled when it is first called, or when another kernel that calls it is compiled.

    It runs without the interpreter's lock. Division by zero is NumPy's: to look out for it keeps loops from
    taking several numbers at once.
    """

    def __init__(self, function: Callable[..., Any], inline: bool = False) -> None:
        self.function, self.inline = function, inline
        self.__doc__, self.__name__ = function.__doc__, function.__name__
        self.__module__ = function.__module__
        self._dispatcher: Any = None
        self._calls: dict[Hashable, Callable[..., Any]] = {}

    def __call__(self, *arguments: Any) -> Any:
        kind = kinds(arguments)
        call = self._calls.get(kind)
        if call is None:
            if self.inline:
                raise TypeError(f"{self.name} is for kernels to call")
            words = kinds_in_words(arguments)
            if words is None:
                return self.dispatcher(*arguments)
            with _lock:
                call = self._calls.get(kind) or _kept_call(self.name, words)
            if call is None:
                done = self.dispatcher(*arguments)
                with _lock:
                    _keep_call(self.name, words, self.dispatcher, arguments)
                self._calls[kind] = self.dispatcher
                return done
            self._calls[kind] = call
        return call(*arguments)

    @property
    def dispatcher(self) -> Any:
        """numba's own object; two threads get the same one."""
        if self._dispatcher is None:
            with _lock:
                if self._dispatcher is None:
                    options = {"nogil": True, "error_model": "numpy", "no_cfunc_wrapper": True}
                    if self.inline:
                        options |= {"forceinline": True, "no_cpython_wrapper": True}
                    made = load_numba().njit(**options)(self.function)
                    made._cache = _Cache(self.name)
                    self._dispatcher = made
        return self._dispatcher

    @property
    def name(self) -> str:
        """Module, below the package, and function."""
        return f"{self.__module__.partition('.')[2]}.{self.__name__}"

    @property
    def _numba_type_(self) -> Any:
        return self.dispatcher._numba_type_

    def __reduce__(self) -> str:
        return self.__name__  # pickled as what its module calls it


def compiled(function: Callable[..., Any]) -> Kernel:
    """``function`` as a :class:`Kernel`: loops over arrays and numbers, no Python objects."""
    kernel = Kernel(function)
    _kernels.append(kernel)
    return kernel


def inlined(function: Callable[..., Any]) -> Kernel:
    """``function`` of a few numbers, put into the loops that call it whatever its length.

    Left to itself the compiler calls the longer ones, and then takes one number at a time: 18 times as long.
    """
    kernel = Kernel(function, inline=True)
    _kernels.append(kernel)
    return kernel


def faults() -> list[str]:
    """What was wrong with the cache so far, for a person; empty where nothing was."""
    return list(_faults)


def mark_complete() -> None:
    """Note that what is in the cache now is what a run needs."""
    folder = _folder()
    if folder is None or _faults:
        return
    names = sorted(path.name for path in folder.iterdir() if path.suffix in (".code", ".object"))
    with contextlib.suppress(Exception):
        _write(folder / _COMPLETE, "\n".join(names).encode())


def try_alone(statement: str) -> bool:
    """Whether ``statement`` calls kept code without numba and ends well; then later runs may, which is noted.

    It has a process of its own, as whatever is wrong with such code would end the process; there it calls
    :func:`trial`.
    """
    folder = _folder()
    if folder is None or _faults:
        return False
    with contextlib.suppress(OSError):
        (folder / _TRIED).unlink(missing_ok=True)
        if works_alone(statement, _HERE.parent):
            (folder / _TRIED).touch()
            return True
    return False


def compile_beside(statement: str) -> contextlib.AbstractContextManager[object]:
    """Another process compiles what ``statement`` calls, into the same folder, while the body goes on."""
    if _folder() is None or _faults:
        return contextlib.nullcontext()
    return beside(statement, _HERE.parent)


@contextlib.contextmanager
def without_collecting() -> Iterator[None]:
    """Python does not look for garbage while numba compiles, of millions of objects: a tenth less."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


def trial(work: Callable[[], object]) -> int:
    """Do ``work`` with kept code, tried or not; how many kernels were not to be had so."""
    _trials.append(True)
    work()
    return len(_unloadable) + len(_faults)


def are_compiled() -> bool:
    """Whether an earlier run left all kernels here for these very sources, each file whole."""
    folder = _folder()
    try:
        names = _read(folder / _COMPLETE).decode().split("\n") if folder is not None else []
        return bool(names) and all(bool(_read(folder / name)) for name in names)  # type: ignore[operator]
    except (OSError, ValueError):
        return False


# ---- numba


@cache
def load_numba() -> Any:
    """The compiler, imported."""
    with _without_blas():
        import numba
        import numba.np.arraymath
    return numba


@contextlib.contextmanager
def _without_blas() -> Iterator[None]:
    """numba loads SciPy's linear algebra, for products that no kernel here takes: a third of its start-up."""
    hidden = _BLAS not in sys.modules
    if hidden:
        sys.modules[_BLAS] = None  # type: ignore[assignment]  # not to be found, for this one moment
    try:
        yield
    finally:
        if hidden:
            del sys.modules[_BLAS]


class _Cache:
    """What numba's dispatcher asks of a cache, for one kernel."""

    def __init__(self, name: str) -> None:
        self.name = name

    @property
    def cache_path(self) -> str | None:
        folder = _folder()
        return str(folder) if folder is not None else None

    def load_overload(self, signature: Any, target: Any) -> Any:
        """The compiled code for these types, or None."""
        path = self._path(signature)
        if path is None or not path.exists():
            return None
        try:
            target.refresh()
            rebuild: Any = load_numba().core.compiler.CompileResult._rebuild
            return rebuild(target, *pickle.loads(_read(path)))
        except Exception as error:
            _fault(path, "cannot be read", error)
            with contextlib.suppress(OSError):
                path.unlink()  # so that the next run finds a good one
            return None

    def save_overload(self, signature: Any, result: Any) -> None:
        """Keep code just compiled; where that cannot be, it serves for this run."""
        path = self._path(signature)
        if path is None or result.library.has_dynamic_globals:
            return
        try:
            dumps: Any = load_numba().core.serialize.dumps
            _write(path, dumps(result._reduce()))
        except Exception as error:
            _fault(path, "cannot be written", error)

    def _path(self, signature: Any) -> Path | None:
        folder = _folder()
        types = hashlib.sha256(repr(signature).encode()).hexdigest()[:16]
        return folder / f"{self.name}.{types}.code" if folder is not None else None

    def enable(self) -> None:
        """It always is."""

    def disable(self) -> None:
        """It cannot be."""

    def flush(self) -> None:
        """Nothing waits."""


# ---- code that is called without numba


def _object(folder: Path, name: str, words: str) -> Path:
    return folder / f"{name}.{hashlib.sha256(words.encode()).hexdigest()[:16]}.object"


def _kept_call(name: str, words: str) -> Callable[..., Any] | None:
    """A kernel's kept code for such arguments, where there is any and it may be called."""
    folder = _folder()
    if folder is None or not (_trials or (folder / _TRIED).exists()):
        return None
    path = _object(folder, name, words)
    if not path.exists():
        return None
    try:
        return linked(name, _read(path))
    except UnloadableError:
        _unloadable.add(name)
    except (OSError, ValueError) as error:
        _fault(path, "cannot be read", error)
        for damaged in (path, *folder.glob(f"{name}.*.code")):  # so that the next run finds good ones
            with contextlib.suppress(OSError):
                damaged.unlink()
    return None


def _keep_call(name: str, words: str, dispatcher: Any, arguments: tuple[Any, ...]) -> None:
    """Keep what numba compiled for ``arguments``; what it loaded was kept when it was compiled."""
    folder = _folder()
    if folder is None:
        return
    path = _object(folder, name, words)
    try:
        typeof = load_numba().typeof
        result = dispatcher.overloads[tuple(typeof(argument) for argument in arguments)]
        data = packed(result)
    except Exception:  # inner matters of numba's: without them it loads the code itself
        return
    try:
        if data is not None and not path.exists():
            _write(path, data)
    except OSError as error:
        _fault(path, "cannot be written", error)


# ---- files


def _fault(path: Path, what: str, error: Exception) -> None:
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    line = f"the kernels' cache {what} ({words}): compiling without it; {path.parent}"
    if line not in _faults:
        _faults.append(line)


def _read(path: Path) -> bytes:
    """What :func:`_write` wrote.

    Raises
    ------
    ValueError : the file is not what was written.
    """
    data = path.read_bytes()
    digest, rest = data[:_DIGEST_BYTES], data[_DIGEST_BYTES:]
    if hashlib.sha256(rest).digest() != digest:
        raise ValueError("a file in it is damaged")
    return rest


def _write(path: Path, data: bytes) -> None:
    part = path.with_name(f"{path.name}.{os.getpid()}.{threading.get_ident()}.part")
    try:
        part.write_bytes(hashlib.sha256(data).digest() + data)
        part.replace(path)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def kernel_sources() -> list[Path]:
    """Every file of the package that holds a kernel, and those that compile them, in a stable order."""
    named = [_HERE / name for name in _SOURCES]
    return [file for path in named for file in ([path] if path.suffix else sorted(path.glob("*.py")))]


@cache
def _digest() -> str:
    import numpy as np

    set_by_hand = sorted(f"{n}={v}" for n, v in os.environ.items() if n.startswith("NUMBA_") and n != _PLACE)
    made_for = (sys.version, np.__version__, *host(), *set_by_hand)
    out = hashlib.sha256(repr(made_for).encode())
    for path in kernel_sources():
        out.update(str(path.relative_to(_HERE)).encode() + b"\0" + path.read_bytes() + b"\0")
    return out.hexdigest()[:24]


def _places() -> list[Path]:
    set_by_hand = os.environ.get(_PLACE)
    if set_by_hand:
        return [Path(set_by_hand) / "lookdev-kernels"]
    from platformdirs import user_cache_path

    return [_HERE / "__pycache__" / "kernels", user_cache_path("lookdev") / "kernels"]


@cache
def _folder() -> Path | None:
    """The folder of these sources' code; None where there is no place to keep it."""
    problem: OSError | None = None
    places = _places()
    for place in places:
        folder = place / _digest()
        try:
            if folder.is_dir():
                return folder
            folder.mkdir(parents=True)
        except OSError as error:
            problem = error
            continue
        _forget_old(place, folder)
        return folder
    _fault(places[0] / "x", "cannot be made", problem or OSError())
    return None


def _forget_old(place: Path, new: Path) -> None:
    with contextlib.suppress(OSError):
        others = sorted((p for p in place.iterdir() if p != new), key=lambda path: path.stat().st_mtime)
        for path in others[:-_KEPT_FOLDERS]:
            shutil.rmtree(path, ignore_errors=True)
