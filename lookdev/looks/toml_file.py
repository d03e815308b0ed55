"""look.toml: reading it, naming what is wrong in it, and ``based_on``."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from lookdev.errors import LookError, RequestError
from lookdev.looks.model import Look
from lookdev.looks.renamed import renamed_key
from lookdev.text.toml_in import MAX_BYTES, parse_toml, read_toml
from lookdev.text.validation import first_error

MAX_DEPTH = 16


def load_look(path: Path | str) -> Look:
    """The look in a TOML file, with what it is ``based_on`` under it.

    Raises
    ------
    LookError : names the file, the key, what was found and what is wanted.
    """
    path = Path(path)
    return _validate({"title": _title_from(path)} | _load(path, ()), path)


def look_of_text(text: str, path: Path | str) -> Look:
    """The look that ``text`` would be if it stood in the file ``path``; ``based_on`` is sought beside that.

    Raises
    ------
    LookError : as of :func:`load_look`.

    >>> look_of_text("[curve]\\ncontrast = 1.2", "dusk.toml").curve.contrast
    1.2
    """
    path = Path(path)
    try:
        size = len(text.encode("utf-8"))
    except UnicodeEncodeError:
        raise LookError("holds half a letter, which no file can keep", file=path) from None
    if size > MAX_BYTES:
        raise LookError("too large to be a look", file=path, wanted=f"at most {MAX_BYTES} bytes")
    data = parse_toml(text, LookError, path)
    return _validate({"title": _title_from(path)} | _on_its_base(data, path, ()), path)


def _title_from(path: Path) -> str:
    words = "".join(c if c.isprintable() else " " for c in path.stem.replace("_", " "))
    return words.strip().capitalize()[:120] or "untitled"


def _validate(data: dict[str, Any], path: Path) -> Look:
    old = renamed_key(data)
    if old is not None:
        raise LookError("has another name now", file=path, key=old.key, found=old.found, wanted=old.wanted)
    try:
        return Look.model_validate(data)
    except ValidationError as error:
        raise first_error(error, Look, LookError, path, ("based_on",)) from None


def find_looks(paths: list[Path]) -> list[Path]:
    """Look files: each path itself, or the .toml files of a folder by name.

    Raises
    ------
    RequestError : a path is missing, or a folder holds no look.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(
                p for p in path.iterdir() if p.suffix.lower() == ".toml" and not p.name.startswith(".")
            )
            if not inside:
                raise RequestError("no look in this folder", file=path, wanted="at least one .toml file")
            found += inside
        elif path.exists() or _names_a_lut(path):
            found.append(path)
        else:
            raise RequestError("no such look", file=path, wanted="a .toml file or a folder of them")
    return list(dict.fromkeys(found))


def _names_a_lut(path: Path) -> bool:
    """Whether ``path`` is FILE.cube@IN:OUT (or a CDL file @ENCODING) with the file there."""
    file, at, _ = str(path).rpartition("@")
    return bool(at) and Path(file).is_file()


def _load(path: Path, above: tuple[Path, ...]) -> dict[str, Any]:
    here = Path(os.path.realpath(path))
    if here in above:
        raise LookError("based_on goes round in a circle", file=path, key="based_on")
    if len(above) >= MAX_DEPTH:
        raise LookError(f"based_on goes more than {MAX_DEPTH} deep", file=path, key="based_on")
    return _on_its_base(read_toml(path, LookError, "look"), path, above)


def _on_its_base(data: dict[str, Any], path: Path, above: tuple[Path, ...]) -> dict[str, Any]:
    base = data.pop("based_on", None)
    _validate({"title": "-"} | data, path)  # each file by itself, so that an error names the one it is in
    if base is None:
        return data
    if not isinstance(base, str):
        raise LookError("wrong type", file=path, key="based_on", found=base, wanted="the name of a look file")
    parent = path.parent / base
    if not os.path.isfile(parent):  # noqa: PTH113, Path.is_file raises where a name is too long
        raise LookError(
            "no such file", file=path, key="based_on", found=base, wanted="a look beside this one"
        )
    merged = _merge(_load(parent, (*above, Path(os.path.realpath(path)))), data)
    if "title" not in data:
        merged.pop("title", None)
    return merged


def _merge(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    out = dict(base)
    for key, value in over.items():
        below = out.get(key)
        out[key] = _merge(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return out
