"""A learned look as the text of its file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def look_text(title: str, note: str, tables: Mapping[str, Any]) -> str:
    """TOML of a look: its title, its note, and its tables in the order in which they act.

    >>> tables = {"curve": {"contrast": 1.1}, "tone": [{"at_stops": -3.0, "towards": "5B"}]}
    >>> print(look_text("Quay", "Learned.", tables), end="")
    title = "Quay"
    note = "Learned."
    <BLANKLINE>
    [curve]
    contrast = 1.1
    <BLANKLINE>
    [[tone]]
    at_stops = -3
    towards = "5B"
    """
    head = [f"title = {_value(title)}", f"note = {_value(note)}"]
    return "\n".join([*head, *_tables(tables, "")]) + "\n"


def _tables(tables: Mapping[str, Any], above: str) -> list[str]:
    lines: list[str] = []
    for name, value in tables.items():
        if isinstance(value, list):
            for each in value:
                lines += ["", f"[[{above}{name}]]", *(f"{k} = {_value(v)}" for k, v in each.items())]
            continue
        plain = {k: v for k, v in value.items() if not isinstance(v, Mapping)}
        if plain:
            lines += ["", f"[{above}{name}]", *(f"{k} = {_value(v)}" for k, v in plain.items())]
        below = {k: v for k, v in value.items() if isinstance(v, Mapping)}
        lines += _tables(below, f"{above}{name}.")
    return lines


def _value(value: object) -> str:
    if isinstance(value, str):
        import json

        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return f"{float(value):.6f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
