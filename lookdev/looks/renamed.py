"""Keys of a look that had other names in the first edition of the file: what they are called now.

They are refused, not read: a file says one thing, in one way. The answer gives the line to type instead.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

FAMILY_KEYS = {"shift": "hue_deg", "value": "lightness"}
RANGES = {"shadows": (-3.5, 5.0), "midtones": (0.0, 4.0), "highlights": (4.0, 5.0)}
"""The three fixed ranges of toning: at which stop, and how far, a tone comes nearest to each."""


@dataclass(frozen=True)
class Renamed:
    """A key as it was, what stands there, and what to write instead."""

    key: str
    found: object
    wanted: str


def renamed_key(data: dict[str, Any]) -> Renamed | None:
    """The first key in a look's data that has another name now; None if all are of today."""
    colour = data.get("colour")
    families = colour.get("families") if isinstance(colour, dict) else None
    for family, keys in families.items() if isinstance(families, dict) else ():
        for old, new in FAMILY_KEYS.items():
            if isinstance(keys, dict) and old in keys:
                wanted = f"{new} = {_typed(keys[old])}"
                return Renamed(f"colour.families.{family}.{old}", f"{old} = {_typed(keys[old])}", wanted)
    if "toning" not in data:
        return None
    toning = data["toning"]
    for name, (at, reach) in RANGES.items():
        keys = toning.get(name) if isinstance(toning, dict) else None
        if isinstance(keys, dict):
            hue, amount = _typed(keys.get("hue", "5YR")), _typed(keys.get("amount", 0.0))
            tone = f"at_stops = {at:g}, reach_stops = {reach:g}, towards = {hue}, chroma = {amount}"
            return Renamed(f"toning.{name}", f"hue = {hue}, amount = {amount}", f"[[tone]] with {tone}")
    keys_now = "at_stops, reach_stops, towards, chroma"
    return Renamed("toning", "toning", f"[[tone]] with {keys_now}, once for each level of light")


def _typed(value: object) -> str:
    """A value as one types it in TOML."""
    return json.dumps(value, ensure_ascii=False, default=str)[:80]
