"""The numbers of a look by dotted names: ``balance.keep``, ``colour.families.YR.chroma``, ``tone.1.chroma``.

Entries of a list count from 1, as in errors about a look file.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from lookdev.errors import RequestError
from lookdev.looks.model import Look
from lookdev.text.toml_in import parse_toml
from lookdev.text.validation import first_error


def numbers_of(look: Look) -> dict[str, float]:
    """Every number of a look by its dotted name, in the order in which the stages act.

    >>> numbers_of(Look(title="x"))["balance.keep"]
    1.0
    """
    found: dict[str, float] = {}
    _collect(look.model_dump(), "", found)
    return found


def _collect(value: Any, name: str, found: dict[str, float]) -> None:
    if isinstance(value, bool | str):
        return
    if isinstance(value, float | int):
        found[name] = float(value)
        return
    pairs = value.items() if isinstance(value, dict) else ((str(i), v) for i, v in enumerate(value, 1))
    for key, below in pairs:
        _collect(below, f"{name}.{key}" if name else str(key), found)


def known_key(look: Look, key: str) -> str:
    """``key`` as the look spells it.

    Raises
    ------
    RequestError : it is no number of the look; names the nearest.
    """
    known = list(numbers_of(look))
    by_case = {name.casefold(): name for name in known}
    typed = key.strip().casefold()
    if typed in by_case:
        return by_case[typed]
    tails = {name.casefold().rpartition(".")[2]: name for name in reversed(known)}
    near = difflib.get_close_matches(typed, [*by_case, *tails], n=1, cutoff=0.5)
    if typed.split(".")[0] == "tone" and not look.tone:
        wanted = "a [[tone]] in the look first"
    elif near:
        wanted = f"{by_case.get(near[0]) or tails[near[0]]} (the nearest)"
    else:
        wanted = "a key with a number, such as balance.keep or curve.contrast"
    raise RequestError("is no number of a look", found=key.strip()[:80], wanted=wanted)


def with_numbers(look: Look, values: Mapping[str, float]) -> Look:
    """The look with other numbers, by their dotted names.

    Raises
    ------
    RequestError : a name is not known, or a number out of its range.
    """
    data = look.model_dump()
    for key, value in values.items():
        _put(data, known_key(look, key).split("."), value)
    try:
        return Look.model_validate(data)
    except ValidationError as fault:
        raise first_error(fault, Look, RequestError, None) from None


def _put(data: Any, steps: list[str], value: float) -> None:
    for step in steps[:-1]:
        data = _into(data, step)
    last = steps[-1]
    if isinstance(data, dict):
        data[last] = value
    else:
        data[int(last) - 1] = value


def _into(data: Any, step: str) -> Any:
    if not isinstance(data, dict):
        return data[int(step) - 1]
    if isinstance(data.get(step), tuple):  # frozen in the model, written over here
        data[step] = list(data[step])
    return data[step]


def file_with_numbers(path: Path, values: Mapping[str, float], title: str, folder: Path) -> str:
    """The text of a look file with other numbers and title, its comments and its order kept.

    What it is ``based_on`` is named as seen from ``folder``, where the text is to be written; a number in a
    list that only that file has (a tone, a slope) is written out with its list.
    """
    import os

    import tomlkit

    from lookdev.looks.toml_file import load_look

    look = load_look(path)
    names = {known_key(look, key): value for key, value in values.items()}
    document = tomlkit.parse(path.read_text(encoding="utf-8-sig"))
    if "title" in document:
        document["title"] = title
    else:
        head = tomlkit.parse(f"title = {json.dumps(title, ensure_ascii=False)}\n")
        document = tomlkit.parse(tomlkit.dumps(head) + tomlkit.dumps(document))
    if "based_on" in document:
        document["based_on"] = os.path.relpath(path.parent / str(document["based_on"]), folder)
    changed = with_numbers(look, values).model_dump()
    for name, value in names.items():
        _write(document, name.split("."), value, changed)
    return tomlkit.dumps(document)


def _write(table: Any, steps: list[str], value: float, changed: Any) -> None:
    """Put a number into a tomlkit table; the tables above it are made where they are missing."""
    import tomlkit

    number = tidy(value)
    for depth, step in enumerate(steps[:-1]):
        changed = changed[step]
        if isinstance(changed, tuple | list):
            _write_entry(table, step, steps[depth + 1 :], number, changed)
            return
        if step not in table:
            table[step] = tomlkit.table(is_super_table=depth < len(steps) - 2)
        table = table[step]
    table[steps[-1]] = number


def _write_entry(table: Any, name: str, rest: list[str], number: float, whole: Any) -> None:
    import tomlkit

    place = int(rest[0]) - 1
    if len(rest) == 1:  # three numbers in brackets
        if name not in table:
            table[name] = [tidy(v) for v in whole]
        else:
            table[name][place] = number
        return
    if name not in table:  # all of the tables under [[name]], of which the file itself has none
        array = tomlkit.aot()
        for entry in whole:
            array.append(tomlkit.item({k: tidy(v) if isinstance(v, float) else v for k, v in entry.items()}))
        table[name] = array
    table[name][place][rest[1]] = number


def tidy(value: float) -> float:
    """A number with at most six figures, as one would type it."""
    return float(f"{value:.6g}")


def look_text(look: Look, remark: str = "") -> str:
    """A look as a file: title, note, and every key that is not at its default; tables in their order.

    ``keep`` stands there where the look names it, also at 1: then the whole of the cast stays, and not what
    the camera left of it.
    """
    out = [f"# {line}" for line in remark.splitlines()]
    out += [f"title = {json.dumps(look.title, ensure_ascii=False)}"]
    out += [f"note = {json.dumps(look.note, ensure_ascii=False)}"] if look.note else []
    out += [f"strength = {tidy(look.strength)}"] if look.strength != 1.0 else []
    plain = Look(title=look.title).model_dump()
    if look.balance.names_keep:
        del plain["balance"]["keep"]
    for name, value in look.model_dump(exclude={"title", "note", "strength"}).items():
        _lines(name, value, plain[name], out)
    return "\n".join(out) + "\n"


def parameters(look: Look) -> dict[str, Any]:
    """What :func:`look_text` writes, without title and note, as plain tables: a named ``keep`` of 1 is there.

    >>> parameters(Look.model_validate({"title": "whole cast", "balance": {"keep": 1.0}}))
    {'balance': {'keep': 1.0}}
    """
    tables = parse_toml(look_text(look), RequestError)
    return {k: v for k, v in tables.items() if k not in ("title", "note")}


def _lines(name: str, value: Any, plain: Any, out: list[str]) -> None:
    if isinstance(value, list | tuple):
        for entry in value:
            out += ["", f"[[{name}]]", *(f"{k} = {_typed(v)}" for k, v in entry.items())]
        return
    own = [f"{k} = {_typed(v)}" for k, v in value.items() if not isinstance(v, dict) and v != plain.get(k)]
    out += ["", f"[{name}]", *own] if own else []
    for key, below in value.items():
        if isinstance(below, dict):
            _lines(f"{name}.{key}", below, plain[key], out)


def _typed(value: Any) -> str:
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_typed(v) for v in value) + "]"
    return json.dumps(tidy(value) if isinstance(value, float) else value, ensure_ascii=False)
