"""What is wrong with a file's keys and values, in plain words: pydantic's findings as one of our errors."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from lookdev.errors import LookdevError

_COUNTS = {2: "two", 3: "three", 4: "four"}
Model = type[BaseModel]


def first_error(
    fault: ValidationError,
    model: Model,
    error: type[LookdevError],
    file: str | Path | None,
    further_keys: tuple[str, ...] = (),
) -> LookdevError:
    """The first thing wrong, unknown keys before all: key, what was found, what is wanted.

    Parameters
    ----------
    model : what the file was held against.
    error : the kind of error to make.
    further_keys : keys of the file that are no fields of the model.
    """
    details = fault.errors()
    first = next((e for e in details if e["type"] == "extra_forbidden"), details[0])
    steps = [str(step) for step in first["loc"]]
    key = ".".join(str(step + 1) if isinstance(step, int) else step for step in first["loc"]) or None
    kind = first["type"]
    if kind == "extra_forbidden":
        wanted = _nearest(model, steps, further_keys)
        return error("unknown key", file=file, key=key, found=steps[-1], wanted=wanted)
    found = None if kind == "missing" or isinstance(first["input"], dict) else first["input"]
    wanted = _wanted(model, steps, first)
    problem = "missing" if kind == "missing" and not steps[-1].isdigit() else "wrong value"
    if kind.startswith(("greater", "less")):
        problem = "out of range"
    return error(problem, file=file, key=key, found=found, wanted=wanted)


def _nearest(model: Model, steps: list[str], further: tuple[str, ...]) -> str:
    at = _model_at(model, steps[:-1]) or model
    known = [*at.model_fields, *(further if len(steps) == 1 else ())]
    typed = steps[-1].casefold()[:80]
    near = _close(typed, known, 0.5)
    if near is not None:
        return f"{near} (the nearest)"
    elsewhere = {path.rpartition(".")[2]: path for path in reversed(list(_paths(model)))}
    far = _close(typed, list(elsewhere), 0.75)
    return f"{elsewhere[far]} (the nearest)" if far is not None else "one of " + ", ".join(known)


def _close(typed: str, names: list[str], least: float) -> str | None:
    by_case = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(typed, by_case, n=1, cutoff=least)
    return by_case[near[0]] if near else None


def _paths(model: Model, above: str = "") -> Iterator[str]:
    """Every key of a model that takes no table of its own, with its tables before it."""
    for name, field in model.model_fields.items():
        below = _model_of(field.annotation)
        if below is None:
            yield above + name
        else:
            yield from _paths(below, f"{above}{name}.")


def _parts(kind: Any) -> Iterator[Any]:
    """A type without its None, Annotated and containers: the types that it is made of."""
    if get_origin(kind) in (Union, UnionType, Annotated, list, tuple):
        for part in get_args(kind):
            yield from _parts(part)
    else:
        yield kind


def _model_of(kind: Any) -> Model | None:
    return next((p for p in _parts(kind) if isinstance(p, type) and issubclass(p, BaseModel)), None)


def _model_at(model: Model, steps: list[str]) -> Model | None:
    at: Model | None = model
    for step in steps:
        if step.isdigit():
            continue
        if at is None or step not in at.model_fields:
            return None
        at = _model_of(at.model_fields[step].annotation)
    return at


def _field_at(model: Model, steps: list[str]) -> FieldInfo | None:
    names = [step for step in steps if not step.isdigit()]
    at = _model_at(model, names[:-1])
    return at.model_fields.get(names[-1]) if at is not None and names else None


def _wanted(model: Model, steps: list[str], detail: Any) -> str:
    kind, context, message = detail["type"], detail.get("ctx", {}), str(detail["msg"])
    if kind == "value_error":
        return str(context.get("error", message))
    if kind == "literal_error":
        return str(context.get("expected", message))
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        at = _model_at(model, steps)
        return f"a table of keys ({', '.join(at.model_fields)})" if at is not None else "a table of keys"
    if kind == "string_type":
        return "text in quotes"
    field = _field_at(model, steps)
    if kind in ("tuple_type", "list_type") and field is not None and _model_of(field.annotation) is not None:
        return f"[[{steps[-1]}]], in two brackets, once for each"
    if kind.startswith("string_too") and field is not None:
        low, high = _limit(field, "min_length"), _limit(field, "max_length")
        return f"text of {low or 0:g} to {high:g} characters" if high is not None else "text"
    if kind.startswith("bool"):
        return "true or false"
    said = _numbers(field) if field is not None else None
    if said is not None:
        if kind == "too_long" and context.get("actual_length") == 2 * context.get("max_length", 0):
            return said + ", with a point (no comma) before the fraction"
        bare = isinstance(detail["input"], str) and kind.startswith(("float", "int"))
        return said + (", without quotes" if bare else "")
    if kind == "missing":
        return "a value"
    return message[0].lower() + message[1:]


def _numbers(field: FieldInfo) -> str | None:
    """What a field of numbers takes; None for another field."""
    kind = field.annotation
    for part in get_args(kind) if get_origin(kind) in (Union, UnionType) else (kind,):
        inner = get_args(part)[0] if get_origin(part) is Annotated else part
        if get_origin(inner) is tuple:
            each = get_args(inner)
            if each[-1] is Ellipsis:
                return f"{_several(field)} x, y in square brackets" if _is_pair(each[0]) else "numbers"
            if not all(set(_parts(one)) & {float, int} for one in each):
                return None
            if any(get_origin(one) is tuple for one in each):
                return f"{_COUNTS.get(len(each), len(each))} x, y in square brackets"
            limits = _range(each[0])
            count = _COUNTS.get(len(each), str(len(each)))
            return f"{count} numbers" + (f", each {limits.removeprefix('from ')}" if limits else "")
    if not set(_parts(kind)) & {float, int}:
        return None
    limits = _range(kind, field.metadata)
    return f"a number {limits}" if limits else "a number"


def _is_pair(kind: Any) -> bool:
    return get_origin(kind) is tuple and len(get_args(kind)) == 2


def _several(field: FieldInfo) -> str:
    low, high = _limit(field, "min_length"), _limit(field, "max_length")
    return f"{low:g} to {high:g}" if low is not None and high is not None else "several"


def _range(kind: Any, metadata: list[Any] | None = None) -> str:
    known = list(metadata or []) + list(_metadata(kind))
    ge, gt, le, lt = (_first(known, name) for name in ("ge", "gt", "le", "lt"))
    low = f"over {_short(gt)}" if gt is not None else f"from {_short(ge)}" if ge is not None else ""
    high = f"under {_short(lt)}" if lt is not None else _short(le) if le is not None else ""
    if low and high:
        return f"{low} to {high}"
    if ge is not None:
        return f"of at least {_short(ge)}"
    return low or (f"of at most {high}" if le is not None else high)


def _short(value: float) -> str:
    return f"{value:g}" if abs(value) < 1e6 else f"{value:.0f}"


def _metadata(kind: Any) -> Iterator[Any]:
    if get_origin(kind) is Annotated:
        inner, *notes = get_args(kind)
        for note in notes:
            yield from note.metadata if isinstance(note, FieldInfo) else [note]
        yield from _metadata(inner)
    elif get_origin(kind) in (Union, UnionType):
        for part in get_args(kind):
            yield from _metadata(part)


def _first(known: list[Any], name: str) -> float | None:
    return next((getattr(m, name) for m in known if getattr(m, name, None) is not None), None)


def _limit(field: FieldInfo, name: str) -> float | None:
    return _first(field.metadata, name)
