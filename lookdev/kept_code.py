"""Machine code that an earlier run compiled, called without the compiler, which takes half a second to load.

numba keeps a function as an object file. In that stands, beside the loop, a function of Python's own calling
convention, which takes the arguments apart and lets go of the interpreter's lock. LLVM links such a file in
less than a millisecond; what it asks for is in three small extension modules of numba, which load alone.

That they do is nowhere promised. So a process of its own tries it, once for each folder of kept code
(:func:`works_alone`), and where that does not end well code is loaded by way of numba, as ever.
"""

from __future__ import annotations

import builtins
import ctypes
import json
import os
import subprocess
import sys
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from typing import Any

import numpy as np

_LAYOUT = 0x1 | 0x2  # NumPy's flags of arrays: C order, Fortran order
_FLAGS = _LAYOUT | 0x100 | 0x400  # and: aligned, may be written
_TRY_SECONDS = 120
_PLAIN = {float: "float", int: "int", bool: "bool", np.float64: "float", np.int64: "int", np.bool_: "bool"}
"""One word for what numba compiles once: code is kept when it is compiled, under the words of that time."""


class UnloadableError(Exception):
    """The code, or what it needs, is not to be had this way."""


def kinds(arguments: tuple[Any, ...]) -> Hashable:
    """What decides which code takes ``arguments``: quick to make, and of this process alone.

    NumPy has one object for each of its own types of number; any other stands for a type that is not kept.
    """
    return tuple(
        [(id(a.dtype), a.ndim, a.flags.num & _FLAGS) if type(a) is np.ndarray else type(a) for a in arguments]
    )


def kinds_in_words(arguments: tuple[Any, ...]) -> str | None:
    """The same as text, for a file's name; None for kinds that are not kept."""
    words = []
    for a in arguments:
        if type(a) is np.ndarray:
            flags = a.flags.num
            if a.dtype is not np.dtype(a.dtype.char) or not a.dtype.isnative:
                return None
            layout = "C" if flags & 1 else "F" if flags & 2 else "A"
            words.append(f"{a.dtype.str}{a.ndim}{layout}{(flags & _FLAGS) >> 8}")
        elif type(a) in _PLAIN:
            words.append(_PLAIN[type(a)])
        elif isinstance(a, np.generic) and a.dtype.kind in "iuf":
            words.append(a.dtype.str)
        else:
            return None
    return " ".join(words)


def packed(result: Any) -> bytes | None:
    """numba's compiled function, as :func:`linked` takes it; None where it can only be loaded by numba."""
    library, described = result.library, result.fndesc
    if result.reload_init or result.lifted or result.objectmode or result.environment.consts:
        return None
    module = library._final_module
    outside = [value.name for value in (*module.functions, *module.global_variables) if value.is_declaration]
    needs = sorted(name for name in outside if not name.startswith("llvm."))
    head = {"call": described.llvm_cpython_wrapper_name, "env": described.env_name, "needs": needs}
    code: bytes = library.serialize_using_object_code()[2][0]
    return json.dumps(head).encode() + b"\n" + code


def linked(name: str, data: bytes) -> Callable[..., Any]:
    """The function in ``data``, as :func:`packed` gave it.

    Raises
    ------
    UnloadableError : it is not to be had.
    """
    try:
        line, _, code = data.partition(b"\n")
        head = json.loads(line)
        engine, llvm, dynfunc = _machine()
        missing = [symbol for symbol in head["needs"] if llvm.address_of_symbol(symbol) is None]
        if missing:
            raise UnloadableError(f"nothing here is called {missing[0]}")
        engine.add_object_file(llvm.ObjectFileRef.from_data(code))
        engine.finalize_object()
        environment = dynfunc.Environment({})
        place = engine.get_global_value_address(head["env"])
        (ctypes.c_void_p * 1).from_address(place)[0] = id(environment)
        call = engine.get_function_address(head["call"])
        if not (place and call):
            raise UnloadableError("it is without an entry")
        made: Callable[..., Any] = dynfunc.make_function(
            sys.modules[__name__], name, name, call, environment, (engine, environment)
        )
    except UnloadableError:
        raise
    except Exception as error:
        raise UnloadableError(str(error) or type(error).__name__) from error
    return made


def host() -> tuple[str, ...]:
    """The processor, and the versions of what code is compiled with."""
    import llvmlite
    import llvmlite.binding as llvm

    found = find_spec("numba")
    version = Path(found.origin or "").with_name("_version.py").read_text() if found is not None else ""
    features = llvm.get_host_cpu_features().flatten()
    return (version, llvmlite.__version__, llvm.get_process_triple(), llvm.get_host_cpu_name(), features)


def works_alone(statement: str, home: Path) -> bool:
    """Whether ``statement``, with packages from ``home``, ends well in a process of its own."""
    with beside(statement, home) as process:
        pass
    return process is not None and process.returncode == 0


@contextmanager
def beside(statement: str, home: Path) -> Iterator[subprocess.Popen[bytes] | None]:
    """A process for ``statement``, with packages from ``home``; waited for when the body is done. None where
    there can be none."""
    paths = os.pathsep.join(filter(None, (str(home), os.environ.get("PYTHONPATH"))))
    silent, process = subprocess.DEVNULL, None
    with suppress(OSError, ValueError, subprocess.SubprocessError):
        process = subprocess.Popen(
            [sys.executable, "-c", statement], stdin=silent, stdout=silent, stderr=silent,
            env={**os.environ, "PYTHONPATH": paths},
        )  # fmt: skip
    try:
        yield process
        if process is not None:
            with suppress(subprocess.TimeoutExpired):
                process.wait(_TRY_SECONDS)
    finally:
        if process is not None and process.poll() is None:
            process.kill()
            process.wait()


@cache
def _machine() -> tuple[Any, Any, Any]:
    """LLVM's linker with all that kept code asks for, the module that it is in, and numba's functions."""
    import llvmlite.binding as llvm

    dynfunc, helpers, memory = map(_extension, ("_dynfunc", "_helperlib", "core.runtime._nrt_python"))
    known = {"_Py_NoneStruct": id(None)}
    for name, value in vars(builtins).items():
        if isinstance(value, type) and issubclass(value, BaseException) and value.__name__ == name:
            known[f"PyExc_{name}"] = id(value)
    for prefix, module in (("numba_", helpers), ("numba_", dynfunc), ("NRT_", memory)):
        for name, address in module.c_helpers.items():
            known[name if name.startswith("_") else prefix + name] = address
    for name, address in known.items():
        llvm.add_symbol(name, address)
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    target = llvm.Target.from_default_triple()
    model = "static" if target.name.startswith("x86") else "default"
    machine = target.create_target_machine(
        opt=3, reloc=model, codemodel="jitdefault", jit=True,
        cpu=llvm.get_host_cpu_name(), features=llvm.get_host_cpu_features().flatten(),
    )  # fmt: skip
    return llvm.create_mcjit_compiler(llvm.parse_assembly(""), machine), llvm, dynfunc


def _extension(name: str) -> Any:
    """One of numba's extension modules, without numba; numba takes it over where it is loaded later."""
    whole = f"numba.{name}"
    if whole in sys.modules:
        return sys.modules[whole]
    package = find_spec("numba")
    if package is None or package.origin is None:
        raise UnloadableError("numba is not installed")
    folder = Path(package.origin).parent.joinpath(*name.split(".")[:-1])
    found = PathFinder.find_spec(whole, [str(folder)])
    if found is None or found.loader is None:
        raise UnloadableError(f"numba has no {name}")
    module = module_from_spec(found)
    found.loader.exec_module(module)
    sys.modules[whole] = module
    return module
