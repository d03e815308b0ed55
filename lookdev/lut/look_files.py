"""Which files a look is read from."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from lookdev.errors import LookError
from lookdev.lut.received import split_request
from lookdev.text.toml_in import read_toml


def files_of_looks(looks: Iterable[Path | str] | None) -> tuple[Path, ...]:
    """The files of several looks, as they were asked for; for a request's ``reads``."""
    return tuple(dict.fromkeys(file for look in looks or () for file in look_files(look)))


def look_files(look: Path | str) -> list[Path]:
    """The files that a look is read from: itself, what it is based on, the LUT that it names.

    Of a folder, those of all of its looks.
    """
    todo, found = [split_request(str(look))[0]], []
    while todo:
        path = todo.pop()
        if path in found:
            continue
        if path.is_dir():
            with suppress(OSError):
                todo += sorted(p for p in path.glob("*.toml") if p.is_file())
            continue
        found.append(path)
        if path.suffix.lower() == ".toml":
            todo += _named_in(path)
    return found


def _named_in(path: Path) -> list[Path]:
    try:
        data = read_toml(path, LookError)
    except LookError:
        return []
    named = [
        path.parent / split_request(data[k])[0]
        for k in ("based_on", "cube", "look")
        if isinstance(data.get(k), str)
    ]
    return [file for each in named for file in (each, each.with_name(each.name + ".toml")) if file.is_file()]
