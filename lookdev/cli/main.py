"""The command line: one verb a file, errors as one line, exit statuses 0, 1 and 2.

0: all done. 1: some inputs failed, the rest is done, each failure named. 2: the request itself was wrong, or
could not be done at all, and nothing was written.
"""

from __future__ import annotations

import atexit
import gc
import importlib
import io
import os
import re
import sys
from collections.abc import Sequence
from contextlib import suppress
from itertools import pairwise
from typing import Any

import typer
from typer.core import TyperGroup

_ClickException: Any = typer.BadParameter.__mro__[2]  # newer typer carries its own click

VERBS = (
    "batch",
    "pitch",
    "watch",
    "wedge",
    "mix",
    "looks",
    "learn",
    "log",
    "sheet",
    "cube",
    "handoff",
    "inspect",
    "light",
    "faces",
    "paint",
    "encodings",
)


class _Verbs(TyperGroup):
    """Loads a verb's file when it is asked for."""

    def list_commands(self, ctx: Any) -> list[str]:
        return list(VERBS)

    def get_command(self, ctx: Any, name: str) -> Any:
        if name not in VERBS:
            return None
        module = importlib.import_module(f"lookdev.cli.{name}")
        app = getattr(module, "app", None)
        if isinstance(app, typer.Typer):
            command = typer.main.get_command(app)
        else:
            single = typer.Typer(add_completion=False, rich_markup_mode="markdown")
            single.command(name=name)(getattr(module, name))
            command = typer.main.get_command(single)
        command.name = name
        return command


app = typer.Typer(
    cls=_Verbs,
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
    context_settings={"help_option_names": ["-h", "--help"]},
    help="""Look development on scout stills.

A **scout** is a folder: stills, `meter.csv` (what the colour meter read) and, if you like, `scout.toml` (the
production's plan). A **look** is one `.toml` file. From these:

`lookdev batch SCOUT --looks LOOKS --out OUT` does the whole job: graded stills, comparison sheets, .cube LUTs
and summary.json. Nothing is ever written beside or over a still. Every verb explains itself: `lookdev VERB
--help`.

Exit status: 0 all done; 1 some inputs failed, each named, the rest is done; 2 the request itself was wrong,
nothing written.""",
)


def _version(value: bool) -> None:
    if value:
        from lookdev import __version__

        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def root(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version and stop."
    ),
) -> None:
    """See the help text of ``app``."""


_EMPTY_OPTION = re.compile(r"--[a-z-]+=")
_INTERRUPTED = 130  # 128 and the number of SIGINT, by custom of the shells


_ENVIRONMENT = {"OPENBLAS_NUM_THREADS": "1", "PYDANTIC_DISABLE_PLUGINS": "__all__"}
"""For libraries that are loaded later. Matrices here are small: threads for them wait in a loop (a tenth of a
second of one still), and what comes out would hang on their number. To look for plugins takes 10 ms."""
_COLLECT = (50_000, 20, 50)
"""New objects before Python looks for cycles among them, and how often among the older ones: by its own
setting, made for programs that stay, it takes a quarter of a second of a short run."""
_NO_MEMORY = ("can't start new thread", "failed to map segment", "Cannot allocate memory")


def main(arguments: list[str] | None = None) -> None:
    """Run the command line; anything a person typed wrong ends in one line and exit status 2."""
    from lookdev.errors import LookdevError
    from lookdev.files import begin_count

    for name, value in _ENVIRONMENT.items():
        os.environ.setdefault(name, value)
    gc.set_threshold(*_COLLECT)
    atexit.register(gc.freeze)  # else Python looks through all there is for cycles before it ends: 0.1 s
    begin_count()
    _open_streams()
    _print_anything()
    try:
        _refuse_empty(sys.argv[1:] if arguments is None else arguments)
        status = app(args=arguments, prog_name="lookdev", standalone_mode=False)
        if status == _INTERRUPTED:  # Typer turns Ctrl-C into this, and says nothing
            raise KeyboardInterrupt
    except LookdevError as error:
        _say(f"lookdev: {error}")
        status = _wrong()
    except UnicodeEncodeError as error:
        if error.encoding != sys.getfilesystemencoding():
            raise
        from lookdev.files import spelling_error

        _say(f"lookdev: {spelling_error(error.object)}")
        status = _wrong()
    except typer.Abort:
        _say("lookdev: stopped")
        status = _INTERRUPTED
    except _ClickException as error:
        message = " ".join(error.format_message().split()).replace("Value error, ", "")
        if message:
            _say(f"lookdev: {message}")
        status = error.exit_code
    except KeyboardInterrupt:
        _say("lookdev: stopped; every file that is there is whole")
        status = _INTERRUPTED
    except BrokenPipeError:
        _discard(sys.stdout)
        status = 0
    except OSError as error:
        _say(f"lookdev: {_os_words(error)}")
        status = _wrong()
    except (MemoryError, RuntimeError, ImportError) as error:
        if not isinstance(error, MemoryError) and not any(words in str(error) for words in _NO_MEMORY):
            raise
        _say("lookdev: not enough memory; fewer --workers, or --max-pixels, take less")
        status = _wrong()
    sys.exit(_flushed(status if isinstance(status, int) else 0))


def _refuse_empty(words: Sequence[str]) -> None:
    """Refuse an empty word, which a shell's variable that is not set leaves: as a path it is this folder."""
    from lookdev.errors import RequestError

    for before, word in pairwise(["", *words]):
        key = (word or before).rstrip("=")
        if (not word or _EMPTY_OPTION.fullmatch(word)) and key != "--title":
            raise RequestError("is empty", key=key if key.startswith("-") else "a word", wanted="a value")


def _wrong() -> int:
    """2 where nothing was written, else 1."""
    from lookdev.files import anything_written

    return 1 if anything_written() else 2


def _os_words(error: OSError) -> str:
    """A fault of the system in one line: what it was about, cut where it is too long, and what was wrong."""
    from lookdev.errors import one_line

    names = [
        one_line(os.fsdecode(n)) for n in (error.filename, error.filename2) if isinstance(n, str | bytes)
    ]
    short = [name if len(name) <= 200 else f"{name[:120]}…{name[-60:]}" for name in names]
    where = " and ".join(short) or "standard output"
    return f"{where}: {error.strerror or error}"


def _open_streams() -> None:
    """A closed standard stream goes nowhere; else the next file that is opened would take its place."""
    closed = []
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest free number: this one
            closed.append(name)
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(number, "r" if number == 0 else "w", closefd=False))
    if "stdout" in closed:
        _say("lookdev: standard output is closed: what would be printed is lost")


def _flushed(status: int) -> int:
    """``status``, or 1 where what was printed could not go out."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _discard(sys.stdout)
    except OSError as error:
        _discard(sys.stdout)
        _say(f"lookdev: standard output: {error.strerror or error}")
        return status or 1
    return status


def _discard(stream: Any) -> None:
    """What is still held for a stream goes nowhere."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except (OSError, ValueError):
        return


def _print_anything() -> None:
    """Letters that the terminal's encoding lacks are printed as escapes, not as a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and stream.errors == "strict":
            stream.reconfigure(errors="backslashreplace")


def _say(line: str) -> None:
    with suppress(OSError):  # a full or closed standard error: there is nobody left to tell
        print(line.encode("utf-8", "replace").decode("utf-8"), file=sys.stderr)


if __name__ == "__main__":
    main()
