"""What the verbs share: loading a scout and looks, progress, the closing table."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout


def open_scout(folder: Path) -> Scout:
    """The scout, or a RequestError that says what is missing."""
    from lookdev.errors import RequestError
    from lookdev.files import check_spelling
    from lookdev.meter.scout import load_scout

    if not folder.exists():
        raise RequestError("no such folder", file=folder, wanted="a scout: stills and meter.csv")
    if not folder.is_dir():
        raise RequestError("is a file", file=folder, wanted="a scout folder: stills and meter.csv")
    scout = load_scout(folder)
    for reading in scout.log.readings:  # files are named after these, some of them late in the work
        for text in (reading.location, reading.source, *reading.stills):
            check_spelling(text or "")
    return scout


def looks_for(scout: Scout, given: list[str] | None) -> tuple[LookLike, ...]:
    """The looks asked for; without any, those in the scout's own ``looks`` folder."""
    from lookdev.errors import RequestError
    from lookdev.lut.received import open_looks

    if not given:
        own = scout.folder / "looks"
        if not own.is_dir():
            raise RequestError(
                "no looks given", wanted="--looks FOLDER or --looks FILE.toml (may be repeated)"
            )
        given = [str(own)]
    return open_looks(given)


def cube_ends(given_in: str | None, given_out: str | None, footage: str | None) -> tuple[Encoding, Encoding]:
    """What a .cube takes and gives: as asked, else the scout's footage, else sRGB; out to BT.709 or sRGB.

    Raises
    ------
    RequestError : an encoding that is not known.
    """
    from lookdev.colorimetry.encodings import get_encoding
    from lookdev.errors import RequestError

    try:
        source = get_encoding(given_in or footage or "sRGB")
    except RequestError as error:
        if given_in is not None:
            raise
        key = "plan.footage_encoding"
        raise RequestError(
            error.problem, file="scout.toml", key=key, found=footage, wanted=error.wanted
        ) from None
    return source, get_encoding(given_out or ("sRGB" if source.name == "sRGB" else "BT.709"))


def check_cube_size(size: int, option: str) -> None:
    """Refuse a .cube of another size than those on offer."""
    from lookdev.errors import RequestError
    from lookdev.lut.bake import SIZES

    if size not in SIZES:
        raise RequestError("no such cube size", key=option, found=size, wanted="17, 33 or 65")


def check_folder(folder: Path) -> None:
    """Refuse an output folder that cannot be made, before any work; nothing is left behind."""
    from lookdev.errors import RequestError

    absent = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise RequestError(
            "the output folder is a file", file=folder, wanted="a folder (--out DIR)"
        ) from None
    except OSError as error:
        raise RequestError(
            f"cannot be made: {error.strerror or error}", file=folder, wanted="--out DIR"
        ) from None
    finally:
        for path in absent:
            with suppress(OSError):
                path.rmdir()


def say(line: str) -> None:
    """A line for a person, on standard error, whatever the terminal can show."""
    encoding = sys.stderr.encoding or "utf-8"
    print(line.encode(encoding, "replace").decode(encoding), file=sys.stderr, flush=True)


def compile_on_first_use() -> None:
    """Compile the pixel kernels, and say so, unless an earlier run has."""
    from lookdev.compilation import are_compiled

    if not are_compiled():
        from lookdev.render.lattice import warm_up

        warm_up(say)


class Steps(Protocol):
    """Counts work as it gets done."""

    def __call__(self, done: int, total: int, text: str) -> None: ...


@contextmanager
def progress(quiet: bool = False) -> Iterator[Steps]:
    """A bar on a terminal, plain lines elsewhere, nothing if ``quiet``."""
    if quiet:
        yield lambda done, total, text: None
    elif sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
            line = bar.add_task("", total=None)

            def step(done: int, total: int, text: str) -> None:
                bar.update(line, completed=done, total=total, description=text)

            yield step
    else:
        yield lambda done, total, text: say(f"[{done}/{total}] {text}")
