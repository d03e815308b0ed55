"""look.toml: reading it, naming what is wrong in it, and ``based_on``."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from lookdev.errors import LookError, RequestError
from lookdev.files import read_ordinary
from lookdev.looks.model import Look

MAX_DEPTH = 16
MAX_BYTES = 200_000
_LONG_KEY = re.compile(
    r"""(?<![\w\- \t"'])(?:[ \t]*+(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.){16}"""
)  # tomllib takes memory with the square of the parts of a key: 100,000 parts end the process


def load_look(path: Path | str) -> Look:
    """The look in a TOML file, with what it is ``based_on`` under it.

    Raises
    ------
    LookError : names the file, the key, what was found and what is wanted.
    """
    path = Path(path)
    return _validate({"title": _title_from(path)} | _load(path, ()), path)


def _title_from(path: Path) -> str:
    words = "".join(c if c.isprintable() else " " for c in path.stem.replace("_", " "))
    return words.strip().capitalize()[:120] or "untitled"


def _validate(data: dict[str, Any], path: Path) -> Look:
    try:
        return Look.model_validate(data)
    except ValidationError as error:
        raise _first_error(error, path) from None


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
    data = _read(path)
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
    merged = _merge(_load(parent, (*above, here)), data)
    if "title" not in data:
        merged.pop("title", None)
    return merged


def _read(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise LookError("too large to be a look", file=path, wanted=f"at most {MAX_BYTES} bytes")
        text = read_ordinary(path).decode("utf-8-sig")
    except OSError as error:
        raise LookError(f"cannot be read: {error.strerror}", file=path) from None
    except UnicodeDecodeError as error:
        raise LookError(f"is not UTF-8 text (byte {error.start})", file=path, wanted="a TOML file") from None
    if _LONG_KEY.search(text):
        raise LookError(
            "a key has too many parts", file=path, wanted="keys such as colour.families.YR.chroma"
        )
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise LookError(f"is not TOML: {error}", file=path) from None


def _merge(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    out = dict(base)
    for key, value in over.items():
        below = out.get(key)
        out[key] = _merge(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return out


def _first_error(error: ValidationError, path: Path) -> LookError:
    details = error.errors()
    first = next((e for e in details if e["type"] == "extra_forbidden"), details[0])
    steps = [str(step) for step in first["loc"]]
    key = ".".join(steps)
    kind, context = first["type"], first.get("ctx", {})
    if kind == "extra_forbidden":
        known = _keys_at(steps[:-1])
        by_case = {name.casefold(): name for name in known}
        near = difflib.get_close_matches(steps[-1].casefold()[:80], by_case, n=1, cutoff=0.5)
        wanted = f"{by_case[near[0]]} (the nearest)" if near else "one of " + ", ".join(known)
        return LookError("unknown key", file=path, key=key, found=steps[-1], wanted=wanted)
    wanted = _wanted(steps, kind, first["msg"], context)
    problem = "out of range" if kind.startswith(("greater", "less")) else "wrong value"
    found = first.get("input")
    if kind == "missing":
        found = None
    return LookError(problem, file=path, key=key, found=found, wanted=wanted)


def _field_at(steps: list[str]) -> Any:
    model: type[BaseModel] | None = Look
    field = None
    for step in steps:
        if model is None or step not in model.model_fields:
            break
        field = model.model_fields[step]
        kind = field.annotation
        model = kind if isinstance(kind, type) and issubclass(kind, BaseModel) else None
    return field, model


def _keys_at(steps: list[str]) -> list[str]:
    _, model = _field_at(steps)
    known = list((model or Look).model_fields)
    return [*known, "based_on"] if not steps else known


def _wanted(steps: list[str], kind: str, message: str, context: dict[str, Any]) -> str:
    if kind == "value_error":
        return str(context.get("error", message))
    if kind == "literal_error":
        return str(context.get("expected", message))
    if kind == "string_type":
        return "text in quotes"
    if kind.startswith("string_too"):
        return "text of 1 to 120 characters"
    if kind in ("model_type", "dict_type"):
        return f"a table of keys ({', '.join(_keys_at(steps))})"
    field, _ = _field_at(steps)
    number = kind.startswith(("greater", "less", "float", "finite"))
    bounds = _bounds(field) if field is not None else ""
    if number and bounds:
        return f"a number {bounds}"
    if steps and steps[0] == "cdl" and len(steps) > 1:
        ranges = {"slope": "0 to 16", "offset": "-4 to 4", "power": "over 0 to 16"}
        if steps[1] in ranges:
            return f"three numbers, each {ranges[steps[1]]}"
    return message[0].lower() + message[1:]


def _bounds(field: Any) -> str:
    low = next((m.ge for m in field.metadata if hasattr(m, "ge")), None)
    high = next((m.le for m in field.metadata if hasattr(m, "le")), None)
    return f"from {low:g} to {high:g}" if low is not None and high is not None else ""
